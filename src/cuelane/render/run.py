"""From a plan to the files of a track: the one place that names every step.

plan → session → clips and schedule → levels → mix → files. Each step is a plain function of the one before.
Everything is written whole or not at all.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane import __version__, media
from cuelane.audio.clip import Clip, Samples
from cuelane.audio.store import ClipStore
from cuelane.base.errors import DeliveryError, ScheduleError
from cuelane.base.files import Staged, all_or_nothing, finish_interrupted
from cuelane.base.levels import TARGET_LUFS
from cuelane.base.schedule import LISTING, Schedule, goes_with_another, listed_schedule
from cuelane.facts import facts
from cuelane.hearing.report import as_dict
from cuelane.hearing.room import room
from cuelane.media.formats import format_of
from cuelane.media.piecework import Piecework
from cuelane.plan.load import load_plan
from cuelane.plan.loaded import LoadedPlan, included_files, recordings_named
from cuelane.plan.variants import Chosen
from cuelane.render import mix
from cuelane.render.landing import landed
from cuelane.render.mix import LoadClip
from cuelane.render.recent_clips import recent
from cuelane.render.shaped_clips import shaped_for_music
from cuelane.render.voicing import Progress, Voiced, spoken_again, voiced
from cuelane.session.expand import expand
from cuelane.session.model import Session
from cuelane.session.remedies import Advice, advise
from cuelane.speech.choice import default_voice, voice_notes
from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.engines import engine_of
from cuelane.speech.voices import files_beside, find_voice, recordings_of, voice_names

Block = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Prepared:
    """A plan brought as far as its schedule, spoken at ``pace``.

    ``advice`` is empty if every must-cue has its place. ``voice_notes``: what a person should know of the
    voice for this plan, such as another language.
    """

    loaded: LoadedPlan
    session: Session
    voiced: Voiced
    schedule: Schedule
    advice: tuple[Advice, ...]
    pace: float = 1.0
    voice_notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class RenderOptions:
    """What a render may be asked for.

    Attributes
    ----------
    variant : a variant to make of the plan.
    voice : another voice than the plan's.
    pace : how fast the voice speaks, 0.8 to 1.15; None leaves it to the variant, and without one it is 1.
    for_music : shape a synthetic voice so that it carries over music.
    loudness_lufs : of the whole file, integrated.
    extras : write what goes with the audio beside it; ``subtitles`` adds SRT captions to that, and ``embed``
        puts the audio inside the page.
    """

    variant: Chosen | None = None
    voice: str | None = None
    pace: float | None = None
    for_music: bool = False
    loudness_lufs: float = TARGET_LUFS
    extras: bool = True
    subtitles: bool = False
    embed: bool = False


@dataclass(frozen=True)
class Rendered:
    """What a render wrote, and at what level."""

    prepared: Prepared
    files: tuple[Path, ...]
    levels: mix.Levels


def prepare(
    plan_path: Path,
    *,
    variant: Chosen | None = None,
    voice: str | None = None,
    pace: float | None = None,
    speak: bool = True,
    store: ClipStore | None = None,
    progress: Progress | None = None,
) -> Prepared:
    """Return a plan's schedule, spoken (or estimated, if not to `speak`), with its facts.

    Raises
    ------
    PlanError : the plan is wrong.
    UsageError : there is no such `voice`.
    VoiceError : the speech engine is missing or failed.
    """
    finish_interrupted(plan_path.parent)
    loaded = load_plan(
        plan_path, voices=None if voice else voice_names, variant=variant, default_voice=default_voice
    )
    pace = loaded.pace if pace is None else pace
    session = expand(loaded)
    definition = find_voice(voice or loaded.plan.voice, loaded.folder)
    result = voiced(
        session, definition, store=store or ClipStore(), pace=pace, speak=speak, progress=progress
    )
    advice = tuple(advise(result.arranged.misfits, result.arranged.schedule.sample_rate, pace))
    schedule = result.arranged.schedule
    extra: dict[str, Any] = {
        "generator": f"cuelane {__version__}",
        **schedule.extra,
        "voice": voice_facts(definition),
        "estimated": result.estimated,
        "facts": facts(session, schedule).to_dict(),
    }
    if loaded.variant is not None:
        extra["variant"] = loaded.variant
    if loaded.plan.description:
        extra["description"] = loaded.plan.description
    if loaded.plan.author:
        extra["author"] = loaded.plan.author
    if loaded.plan.date:
        extra["date"] = loaded.plan.date.isoformat()
    notes = voice_notes(
        definition,
        loaded.plan.language,
        chosen=voice is not None or loaded.names_voice,
        fell_back=bool(result.fallbacks),
    )
    return Prepared(loaded, session, result, replace(schedule, extra=extra), advice, pace, tuple(notes))


def voice_facts(definition: VoiceDefinition) -> dict[str, str]:
    """Return the voice's name, credit and licence as they are printed with a track."""
    return {"name": definition.name, "credit": definition.credit, "licence": definition.licence}


def clip_loader(store: ClipStore, again: Callable[[str], Clip | None] | None = None) -> LoadClip:
    """Return a function that gives a clip's samples for its hash, from the store. Threads may call it.

    Parameters
    ----------
    again : makes a clip anew that somebody took out of the store meanwhile; only one thread calls it at once.
    """
    one_speaks = threading.Lock()

    def load(sha256: str) -> Samples:
        clip = store.by_hash(sha256)
        if clip is None and again is not None:
            with one_speaks:
                clip = store.by_hash(sha256) or again(sha256)
        if clip is None:
            raise DeliveryError(
                f"the clip {sha256[:19]}… was taken out of the store {store.folder} while it was in use, and "
                "what it was made of has changed; render again"
            )
        return clip.samples

    return load


def render(
    plan_path: Path,
    out: Path,
    options: RenderOptions | None = None,
    *,
    store: ClipStore | None = None,
    speech_progress: Progress | None = None,
    progress: Progress | None = None,
    force: bool = False,
) -> Rendered:
    """Render a plan to `out` and write what goes with it beside it.

    Raises
    ------
    ScheduleError : must-cues do not fit; the message says where, by how much, and what would help.
    The errors of :func:`prepare`, UsageError where a file would be written onto the plan or, without `force`,
    onto one that cuelane did not write, and DeliveryError when an encoder or the disk fails. No file is
    touched then.
    """
    store, wanted = store or ClipStore(), options or RenderOptions()
    with _delivery(out, wanted, [plan_path], files_beside(plan_path.parent), force):
        # Refused here, before a minute of speaking.
        pass
    prepared = prepare(
        plan_path,
        variant=wanted.variant,
        voice=wanted.voice,
        pace=wanted.pace,
        store=store,
        progress=speech_progress,
    )
    return deliver(prepared, out, wanted, store=store, progress=progress, force=force)


def deliver(
    prepared: Prepared,
    out: Path,
    options: RenderOptions,
    *,
    store: ClipStore,
    progress: Progress | None = None,
    force: bool = False,
    n_encoders: int | None = None,
) -> Rendered:
    """Write the track of a plan that is prepared and spoken to `out`, and what goes with it beside it.

    Parameters
    ----------
    n_encoders : processes that encode at once; as many as there are cores if None.

    Raises as :func:`render`.
    """
    if prepared.advice:
        raise ScheduleError("\n".join(str(advice) for advice in prepared.advice))
    if options.for_music:
        prepared = _for_music(prepared, store)
    again = partial(spoken_again, voiced=prepared.voiced, store=store)
    levels, load_clip = landed(
        prepared.schedule,
        recent(clip_loader(store, again)),
        options.loudness_lufs,
        format_of(out).speech_headroom_db,
    )
    extra = prepared.schedule.extra | {
        "room": as_dict(room(prepared.schedule, load_clip), prepared.schedule.sample_rate),
        "loudness": {
            "gain_db": round(levels.gain_db, 3),
            "integrated_lufs": round(levels.integrated_lufs, 2),
            "true_peak_dbtp": round(levels.true_peak_dbtp, 2),
        },
    }
    schedule = replace(prepared.schedule, extra=extra)
    prepared = replace(prepared, schedule=schedule)
    loaded = prepared.loaded
    inputs = [loaded.path, *included_files(loaded), *recordings_named(loaded)]
    spoken_from = [*files_beside(loaded.folder), *recordings_of(prepared.voiced.voice)]
    with _delivery(out, options, inputs, spoken_from, force) as staged:
        work = Piecework(store, n_encoders)
        files = _write(prepared, out, staged, load_clip, levels, options, progress, work)
    return Rendered(prepared, files, levels)


def _delivery(
    out: Path, options: RenderOptions, inputs: list[Path], spoken_from: list[Path], force: bool
) -> AbstractContextManager[Staged]:
    format_of(out)
    listing = out.with_name(out.stem + LISTING)
    targets = [out.with_name(out.stem + ending) for ending in _endings(options)]
    page = out.with_name(f"{out.stem}.html")
    # A voice has up to 10,000 recordings: only those that are one of the results are compared with each.
    there = {_identity(target) for target in (out, *targets)} - {None}
    met = [path for path in spoken_from if _identity(path) in there] if there else []
    return all_or_nothing(out, *targets, inputs=[*inputs, *met], listing=listing, page=page, force=force)


def _identity(path: Path) -> tuple[int, int] | None:
    """Return what a file is told apart by, links followed; None where there is none."""
    try:
        status = path.stat()
    except (OSError, ValueError):
        return None
    return status.st_dev, status.st_ino


def _for_music(prepared: Prepared, store: ClipStore) -> Prepared:
    """Return `prepared` with its synthetic clips shaped to carry over music, and the choice stated."""

    def is_synthetic(name: str) -> bool:
        if name == "recording":
            return False
        return engine_of(find_voice(name, prepared.loaded.folder)).synthetic

    schedule, choice = shaped_for_music(prepared.schedule, store, is_synthetic)
    shape = {
        **vars(choice.shape),
        "mean_sii": {name: round(value, 3) for name, value in choice.mean_sii.items()},
    }
    return replace(prepared, schedule=replace(schedule, extra=schedule.extra | {"shape": shape}))


def _write(
    prepared: Prepared,
    out: Path,
    staged: Staged,
    load_clip: LoadClip,
    levels: mix.Levels,
    options: RenderOptions,
    progress: Progress | None,
    work: Piecework,
) -> tuple[Path, ...]:
    from cuelane.deliver.chapters import chapters_of

    schedule = prepared.schedule
    chapters = chapters_of(schedule)
    blocks = _reporting(mix.blocks(schedule, load_clip, gain_db=levels.gain_db), schedule.n_frames, progress)
    cover = None
    if format_of(out).holds_chapters:
        from cuelane.deliver.cover import draw_cover

        cover = draw_cover(schedule)
    audio = staged.path_for(out)
    media.encode(
        audio,
        blocks,
        sample_rate=schedule.sample_rate,
        n_frames=schedule.n_frames,
        metadata=media.Metadata(_tags(prepared), chapters, cover),
        work=work,
    )
    if not format_of(out).holds_chapters:
        from cuelane.deliver.marks import add_cue_chunk

        add_cue_chunk(audio, schedule)
    beside: dict[str, str] = {}
    if options.extras:
        from cuelane.deliver.publish import companions

        again = mix.blocks(schedule, load_clip, gain_db=levels.gain_db)
        embedded = audio.read_bytes() if options.embed else None
        beside = companions(
            schedule,
            out.name,
            chapters,
            again,
            subtitles=options.subtitles,
            embed=embedded,
            audio_sha256=staged.digest_of(out),
        )
    for ending, text in beside.items():
        staged.write_text(out.with_name(out.stem + ending), text)
    staged.write_listing(partial(listed_schedule, schedule, out.name), partial(goes_with_another, out.name))
    files = [out, *(out.with_name(out.stem + ending) for ending in (LISTING, *beside))]
    return tuple(files)


def _endings(options: RenderOptions) -> list[str]:
    from cuelane.deliver.publish import ENDINGS

    if not options.extras:
        return [LISTING]
    return [".html", *(ending for ending in ENDINGS if options.subtitles or ending != ".srt")]


def _tags(prepared: Prepared) -> dict[str, str]:
    plan = prepared.loaded.plan
    tags = {"title": plan.title, "album": plan.title}
    if plan.author:
        tags["artist"] = plan.author
    if plan.date:
        tags["date"] = plan.date.isoformat()
    cautions = prepared.schedule.extra.get("cautions", [])
    if cautions:
        tags["comment"] = " ".join(cautions)
    return tags


def _reporting(blocks: Iterable[Block], n_frames: int, progress: Progress | None) -> Iterator[Block]:
    done = 0
    for block in blocks:
        yield block
        done += len(block)
        if progress:
            progress(done, n_frames)
