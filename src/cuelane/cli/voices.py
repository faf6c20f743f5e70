"""``cuelane voices``: which voices there are, and how one sounds."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cuelane.base.errors import PlanError, UsageError
from cuelane.base.unsafe_text import on_one_line
from cuelane.cli.options import Force, Pace
from cuelane.cli.output import out, out_json

if TYPE_CHECKING:
    from cuelane.audio.clip import Clip
    from cuelane.speech.definition import VoiceDefinition


def voices(
    name: Annotated[str | None, typer.Argument(help="A voice to speak with.")] = None,
    say: Annotated[str, typer.Option(help="The line to speak.")] = "Ten seconds left.",
    out_file: Annotated[Path | None, typer.Option("--out", "-o", help="Write the line to this file.")] = None,
    folder: Annotated[Path, typer.Option(help="The plan's folder, to find your own voices.")] = Path(),
    pace: Pace = 1.0,
    force: Force = False,
    as_json: Annotated[bool, typer.Option("--json", help="List as JSON.")] = False,
) -> None:
    """List the voices, or speak a line with one."""
    if name is None:
        _list(folder, as_json)
        return
    voice = _voice(name, folder)
    if out_file is None:
        raise UsageError("say where to write the line, for example: cuelane voices natural --out line.wav")
    if not say.strip():
        raise UsageError("--say: there is nothing to say; give it words")
    clip = _spoken(say, voice, out_file, pace, force)
    seconds = clip.n_frames / clip.sample_rate
    if as_json:
        out_json({"file": str(out_file), "seconds": round(seconds, 3), "clip": clip.sha256})
    else:
        out(f"{out_file}: {seconds:.2f} s")


def _voice(name: str, folder: Path) -> VoiceDefinition:
    from cuelane.speech.voices import find_voice

    return find_voice(name, folder)


def _list(folder: Path, as_json: bool) -> None:
    """Print each voice with its credit and, where its engine is not installed, what would install it.

    Raises
    ------
    PlanError : definitions that are wrong, after those that are right have been listed.
    """
    from cuelane.speech.definition import MEASURED_HOW
    from cuelane.speech.engines import engine_of
    from cuelane.speech.voices import readable_voices

    found, problems = readable_voices(folder)
    if as_json:
        out_json([_as_dict(voice) for voice in found])
    else:
        for voice in found:
            out(f"{voice.name:<16} {voice.engine:<10} {voice.language:<6} {on_one_line(voice.title)}")
            for line in _quality(voice):
                out(f"{'':16} {line}")
            out(f"{'':16} {on_one_line(voice.licence)}")
            out(f"{'':16} {on_one_line(voice.credit)}")
            if missing := engine_of(voice).missing():
                out(f"{'':16} not installed; install it with: {missing}")
        out(f"Figures: {MEASURED_HOW}.")
    if problems:
        raise PlanError(problems)


def _quality(voice: VoiceDefinition) -> list[str]:
    """Return lines with what was measured of a voice; of one of cuelane's own, also that nothing was."""
    from cuelane.speech.definition import AIM_CHARACTER_MATCH

    measured = voice.settings.measured
    if measured is None:
        return ["how well it is understood has not been measured"] if voice.own else []
    spent, times = measured.cpu_s_per_s, measured.times_natural
    speed = "" if spent is None else f"; {spent:.2g} s of processor for 1 s of speech"
    speed += "" if times is None else f", {times:.2g} times the light voice's"
    lines = [
        f"{measured.words_per_min:.0f} words a minute{speed}",
        f"measured on {measured.n_cues} cues: DNSMOS {measured.dnsmos:.2f} of 5; understood were "
        f"{measured.recall:.1%} of the words and {measured.character_match:.1%} of the letters",
    ]
    if measured.character_match < AIM_CHARACTER_MATCH:
        lines.append(f"less is understood than cuelane aims at, {AIM_CHARACTER_MATCH:.0%} of the letters")
    return lines


def _as_dict(voice: VoiceDefinition) -> dict[str, object]:
    from cuelane.speech.definition import MEASURED_HOW
    from cuelane.speech.engines import engine_of

    engine, measured = engine_of(voice), voice.settings.measured
    return {
        "name": voice.name,
        "title": voice.title,
        "engine": voice.engine,
        "language": voice.language,
        "credit": voice.credit,
        "licence": voice.licence,
        "about": engine.about,
        "installed": not engine.missing(),
        "missing": engine.missing() or None,
        "measured": None if measured is None else {**measured.model_dump(), "how": MEASURED_HOW},
    }


def _spoken(line: str, voice: VoiceDefinition, path: Path, pace: float, force: bool) -> Clip:
    """Speak `line` into the file `path`; return its clip."""
    from cuelane import media
    from cuelane.audio.store import ClipStore
    from cuelane.base.files import all_or_nothing
    from cuelane.base.seals import BLANK_SEAL
    from cuelane.media.formats import TagStyle, format_of
    from cuelane.speech.speak import speak_all

    with all_or_nothing(path, force=force):
        # Refused here, before anything is spoken.
        pass
    clip = speak_all([line], voice, store=ClipStore(), pace=pace).clips[line]
    with all_or_nothing(path, force=force) as staged:
        # Ogg pages have a checksum, which a seal filled in later would break.
        tags = {} if format_of(path).tags is TagStyle.OGG else {"comment": BLANK_SEAL}
        media.encode(
            staged.path_for(path),
            [clip.samples[:, None]],
            sample_rate=clip.sample_rate,
            metadata=media.Metadata(tags),
        )
        staged.seal(path)
    return clip
