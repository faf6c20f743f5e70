"""Finding voices: TOML files that say which engine speaks, with what model, at what pace.

cuelane's own are in ``voices/`` (inside the wheel, or at the top of a checkout). A plan may bring its own:
``voices/NAME.toml``, or a folder ``voices/NAME/`` with ``voice.toml`` or with the ``index.toml`` (or
``index.json``) of recordings, beside the plan. A plan's voice reads nothing outside the plan's folder.
"""

from __future__ import annotations

import contextlib
import difflib
import itertools
import os
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from pydantic import ValidationError

from cuelane.base.errors import Mark, PlanError, Problem, UsageError
from cuelane.base.files import finish_interrupted
from cuelane.speech.bounded_toml import read_toml
from cuelane.speech.definition import (
    MAX_DEFINITION_BYTES,
    EngineSettings,
    VoiceDefinition,
    problem_at,
    voices_folder,
)
from cuelane.speech.engines import ENGINES
from cuelane.speech.recorded import RecordedSettings, read_index
from cuelane.speech.settings_faults import faults_of

_NAME = re.compile(r"[^\W_][\w .-]{0,79}")
_MOST_ENTRIES = 2_000


def find_voice(name: str, plan_folder: Path | None = None) -> VoiceDefinition:
    """Return the voice called `name`: one beside the plan if there is one, else cuelane's own.

    Raises
    ------
    UsageError : there is none of that name; the nearest is suggested.
    PlanError : its file is wrong; with file and line.
    """
    if _NAME.fullmatch(name):
        _finish_interrupted(plan_folder, [name])
        for folder, own in _folders(plan_folder):
            source = _source(folder, name)
            if source is not None:
                root = folder if own or plan_folder is None else plan_folder
                return _read(name, source, root, plan_folder, own)
    known = sorted(_names(plan_folder))
    near = difflib.get_close_matches(name[:80], known, 1)
    hint = f"; did you mean {near[0]}?" if near else "."
    raise UsageError(f"there is no voice called {name!r}{hint} Voices here: {', '.join(known)}.")


def voice_names(plan_folder: Path | None = None) -> list[str]:
    """Return the name of every voice that `find_voice` would find, in order; none of them is read."""
    return sorted(_names(plan_folder))


def readable_voices(plan_folder: Path | None = None) -> tuple[list[VoiceDefinition], list[Problem]]:
    """Return the voices whose files are right, by name, and what is wrong with the others."""
    voices, problems = [], []
    for name in voice_names(plan_folder):
        try:
            voices.append(find_voice(name, plan_folder))
        except PlanError as error:
            problems += error.problems
    return voices, problems


def files_beside(plan_folder: Path) -> list[Path]:
    """Return all files of the voices that a plan's folder brings, in order, used or not."""
    return sorted(path for path in (plan_folder / "voices").rglob("*") if path.is_file())


def with_fallbacks(voice: VoiceDefinition) -> Iterator[VoiceDefinition]:
    """Yield a voice, then the one that speaks where it has no recording, and so on, each once.

    Raises UsageError or PlanError as :func:`find_voice` does, where it comes to a voice that cannot be found.
    """
    seen: set[Path] = set()
    while voice.source not in seen:
        seen.add(voice.source)
        yield voice
        if isinstance(voice.settings, RecordedSettings):
            voice = find_voice(voice.settings.fallback, voice.plan_folder)


def recordings_of(voice: VoiceDefinition) -> list[Path]:
    """Return the recordings that a voice may play, and those of the voices that speak where it has none.

    None of a voice that cannot be read by now.
    """
    found: list[Path] = []
    with contextlib.suppress(PlanError, UsageError):
        for one in with_fallbacks(voice):
            if isinstance(one.settings, RecordedSettings):
                folder = one.path_of(one.settings.index, "index").parent
                found += [folder / clip.file for clip in read_index(one).clips]
    return found


def voice_places(name: str, plan_folder: Path | None) -> tuple[Path, ...]:
    """Return where a voice called `name` may stand beside a plan, there or not; the first counts."""
    if plan_folder is None or not _NAME.fullmatch(name):
        return ()
    return _candidates(plan_folder / "voices", name)


def _folders(plan_folder: Path | None) -> list[tuple[Path, bool]]:
    beside = [] if plan_folder is None else [(plan_folder / "voices", False)]
    return [*beside, (voices_folder(), True)]


def _names(plan_folder: Path | None) -> set[str]:
    found = set()
    folders = [folder for folder, _ in _folders(plan_folder)]
    for folder in folders:
        if folder.is_dir():
            some = itertools.islice(folder.iterdir(), _MOST_ENTRIES)
            found |= {path.name.removesuffix(".toml") if _is_file(path) else path.name for path in some}
    _finish_interrupted(plan_folder, found)
    return {
        name for name in found if _NAME.fullmatch(name) and any(_source(folder, name) for folder in folders)
    }


def _finish_interrupted(plan_folder: Path | None, names: Iterable[str]) -> None:
    """Complete or undo what a run that died left of these voices: clips, and the index that names them."""
    # At the desk this is asked at each keystroke, and most plans bring no voice.
    if plan_folder is not None and (plan_folder / "voices").is_dir():
        root = os.path.realpath(plan_folder)
        places = [
            Path(os.path.realpath(plan_folder / "voices" / name)) for name in names if _NAME.fullmatch(name)
        ]
        finish_interrupted(*(place for place in places if place.is_relative_to(root)))


def _candidates(folder: Path, name: str) -> tuple[Path, ...]:
    return (
        folder / f"{name}.toml",
        folder / name / "voice.toml",
        folder / name / "index.toml",
        folder / name / "index.json",
    )


def _source(folder: Path, name: str) -> Path | None:
    return next((path for path in _candidates(folder, name) if _is_file(path)), None)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def _read(name: str, source: Path, root: Path, plan_folder: Path | None, own: bool) -> VoiceDefinition:
    if not source.resolve().is_relative_to(root.resolve()):
        raise PlanError([Problem(Mark(str(source), 1, 1), f"this voice lies outside {root}")])
    if source.stem == "index":
        return VoiceDefinition(name, RecordedSettings(index=source.name), source, root, plan_folder)
    written = read_toml(source, MAX_DEFINITION_BYTES, "a voice definition")
    engine = written.get("engine")
    if not isinstance(engine, str) or engine not in ENGINES:
        said = f"got {engine[:40]!r}" if isinstance(engine, str) else "none is named"
        message = f"engine: expected one of {', '.join(ENGINES)}; {said}"
        raise PlanError([problem_at(source, "engine", message)])
    try:
        settings: EngineSettings = ENGINES[engine].settings.model_validate(written)
    except ValidationError as error:
        faults = faults_of(error, ENGINES[engine].settings, "the definition")
        raise PlanError(
            [problem_at(source, keys[-1] if keys else "engine", message) for keys, message in faults]
        ) from error
    return VoiceDefinition(name, settings, source, root, plan_folder, own=own)
