"""A recorded voice on disk: ``voices/NAME`` beside the plan, its clips and their index."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Callable, Collection, Sequence
from contextlib import AbstractContextManager
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import UsageError
from cuelane.base.files import Staged, all_or_nothing, finish_interrupted
from cuelane.base.seals import sealable_json
from cuelane.recording.cutting import write_clip
from cuelane.speech.recorded import match_key
from cuelane.takes.run import TakesResult

INDEX = "index.json"
LISTEN = "listen"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")


def voice_folder(plan_folder: Path, name: str) -> Path:
    """Return the folder of the recorded voice `name` beside a plan; finish what a run that died left in it.

    Raises
    ------
    UsageError : not a name for a voice, or the name of one that is not made of recordings.
    """
    if not _NAME.fullmatch(name):
        raise UsageError(f"--voice: {name!r} is not a name; use letters, digits, - and _, 40 at most")
    folder = plan_folder / "voices" / name
    if (folder / "voice.toml").exists() or (folder / "index.toml").exists():
        raise UsageError(f"{folder}: is a voice that takes did not make; give another name")
    finish_interrupted(folder)
    return folder


def file_name(number: int, text: str) -> str:
    """Return a file name that a person recognises: the line's number and its first words."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    words = "-".join(re.findall(r"[a-z0-9]+", plain))[:40].strip("-")
    return f"{number:03d}-{words or 'line'}.wav"


def voice_delivery(
    folder: Path, inputs: Sequence[Path], *, report: Path | None = None, force: bool = False
) -> AbstractContextManager[Staged]:
    """Return the delivery of a voice and of a report on it, if one is wanted; see :func:`write_voice`.

    Raises UsageError, on entry, where one would be written onto an input or onto somebody's own file.
    """
    targets = [folder / INDEX, *([] if report is None else [report])]
    return all_or_nothing(*targets, home=folder, inputs=inputs, listing=folder / INDEX, force=force)


def check_voice(folder: Path) -> None:
    """Raise UsageError if the voice's index is there, but not one of recordings."""
    _known(folder / INDEX)


def write_voice(staged: Staged, folder: Path, result: TakesResult) -> int:
    """Write the placed clips into the voice, the uncertain ones beside it; return how many were placed.

    Lines that the voice already had and that were not read again stay; uncertain clips of before are removed.
    """
    listen = folder / LISTEN
    placed = [line for line in result.lines if line.state == "placed" and line.clip is not None]
    uncertain = [line for line in result.lines if line.state == "uncertain" and line.clip is not None]
    read = {match_key(line.text) for line in placed}
    taken = {entry["file"] for entry in _others(folder, read)}
    rows = [{"text": line.text, "file": _free_name(line.number, line.text, taken)} for line in placed]
    targets = [folder / row["file"] for row in rows]
    targets += [listen / file_name(line.number, line.text) for line in uncertain]
    for place in (folder, listen):
        place.mkdir(parents=True, exist_ok=True)
    for line, target in zip([*placed, *uncertain], targets, strict=True):
        assert line.clip is not None
        write_clip(staged.path_for(target), line.clip, target)
    _write_index(
        staged, lambda: [*_others(folder, read), *rows], lambda name: not name.startswith(f"{LISTEN}/")
    )
    return len(placed)


def keep_clip(folder: Path, number: int, text: str, clip: npt.NDArray[np.float32]) -> None:
    """Write one line's clip into the voice, in place of an earlier one of the same words.

    `clip` is 48 kHz mono, shape (n,), full scale 1.0.

    Raises
    ------
    UsageError : the index there is not one of recordings.
    DeliveryError : the disk refused; nothing was changed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    known = _known(folder / INDEX)
    name = _free_name(number, text, {entry["file"] for entry in _others(folder, {match_key(text)})})
    target = folder / name
    # A person records a line again to have the new clip in the old one's place.
    own = [target] if any(entry["file"] == name for entry in known) else []
    with _desk_delivery(folder, own) as staged:
        write_clip(staged.path_for(target), clip, target)
        _rewrite_line(staged, folder, text, [{"text": text, "file": name}])


def take_back(folder: Path, text: str) -> None:
    """Take a line's clip out of the voice; the line is then spoken as one that was never recorded.

    Raises as :func:`keep_clip` does.
    """
    with _desk_delivery(folder, []) as staged:
        _rewrite_line(staged, folder, text, [])


def _desk_delivery(folder: Path, own: Sequence[Path]) -> AbstractContextManager[Staged]:
    index = folder / INDEX
    return all_or_nothing(index, home=folder, owned=[index, *own], listing=index)


def _rewrite_line(staged: Staged, folder: Path, text: str, rows: Sequence[dict[str, Any]]) -> None:
    """Write the index with `rows` for the words of `text`; a clip is removed once no entry names it."""
    entries = cache(lambda: [*_others(folder, {match_key(text)}), *rows])
    named = cache(lambda: {entry["file"] for entry in entries()})
    _write_index(staged, entries, lambda name: name in named() or name.startswith(f"{LISTEN}/"))


def _others(folder: Path, read: Collection[str]) -> list[dict[str, Any]]:
    """Return what the index holds now besides the words of these keys.

    Asked for once more when it is put in place: another process may have put something into it meanwhile.
    """
    return [entry for entry in _known(folder / INDEX) if match_key(entry["text"]) not in read]


def _write_index(
    staged: Staged, entries: Callable[[], list[dict[str, Any]]], keep: Callable[[str], bool]
) -> None:
    def text(files: dict[str, Any]) -> str:
        value = {"clips": entries(), "files": files}
        return sealable_json(json.dumps(value, ensure_ascii=False, indent=1))

    staged.write_listing(text, lambda name, _before: keep(name))


def _free_name(number: int, text: str, taken: Collection[str]) -> str:
    """Return the line's file name, numbered on where a clip of other words bears it."""
    name = first = file_name(number, text)
    for n in range(2, len(taken) + 3):
        if name not in taken:
            break
        name = f"{Path(first).stem}-{n}.wav"
    return name


def _known(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    try:
        clips = json.loads(path.read_text(encoding="utf-8"))["clips"]
        named = [entry[key] for entry in clips for key in ("text", "file")]
        if not isinstance(clips, list) or not all(isinstance(one, str) for one in named):
            raise TypeError("is no list of texts and names of files")
        return clips
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise UsageError(f"{path}: is not an index of recordings; move it away and try again") from error
