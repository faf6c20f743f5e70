"""A recorded voice on disk: ``voices/NAME`` beside the plan, its clips and their index."""

from __future__ import annotations

import json
import re
import unicodedata
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import UsageError
from cuelane.base.files import Staged, all_or_nothing
from cuelane.recording.decode import CLIP_RATE
from cuelane.speech.recorded import match_key
from cuelane.takes.run import TakesResult

INDEX = "index.json"
LISTEN = "listen"
_OWN_CLIP = re.compile(r"\d{3,}-[a-z0-9-]+\.wav")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")


def voice_folder(plan_folder: Path, name: str) -> Path:
    """Return the folder of the recorded voice `name` beside a plan.

    Raises
    ------
    UsageError : not a name for a voice, or the name of one that is not made of recordings.
    """
    if not _NAME.fullmatch(name):
        raise UsageError(f"--voice: {name!r} is not a name; use letters, digits, - and _, 40 at most")
    folder = plan_folder / "voices" / name
    if (folder / "voice.toml").exists() or (folder / "index.toml").exists():
        raise UsageError(f"{folder}: is a voice that takes did not make; give another name")
    return folder


def file_name(number: int, text: str) -> str:
    """Return a file name that a person recognises: the line's number and its first words."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    words = "-".join(re.findall(r"[a-z0-9]+", plain))[:40].strip("-")
    return f"{number:03d}-{words or 'line'}.wav"


def write_voice(folder: Path, result: TakesResult) -> int:
    """Write the placed clips into the voice, the uncertain ones beside it; return how many were placed.

    Lines that the voice already had and that were not read again stay.
    """
    listen = folder / LISTEN
    listen.mkdir(parents=True, exist_ok=True)
    entries = {entry["text"]: entry for entry in _known(folder / INDEX)}
    placed = [line for line in result.lines if line.state == "placed" and line.clip is not None]
    uncertain = [line for line in result.lines if line.state == "uncertain" and line.clip is not None]
    for line in placed:
        entries[line.text] = {"text": line.text, "file": file_name(line.number, line.text)}
    wanted = {file_name(line.number, line.text) for line in uncertain}
    with all_or_nothing() as staged:
        for line in placed:
            assert line.clip is not None
            _write(staged.path_for(folder / file_name(line.number, line.text)), line.clip)
        for line in uncertain:
            assert line.clip is not None
            _write(staged.path_for(listen / file_name(line.number, line.text)), line.clip)
        _write_index(staged, folder, list(entries.values()))
    for path in listen.glob("*.wav"):
        if path.name not in wanted:
            path.unlink(missing_ok=True)
    return len(placed)


def keep_clip(folder: Path, number: int, text: str, clip: npt.NDArray[np.float32]) -> None:
    """Write one line's clip (48 kHz mono) into the voice, in place of an earlier one of the same words.

    Raises
    ------
    UsageError : the index there is not one of recordings.
    DeliveryError : the disk refused; nothing was changed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    known = _known(folder / INDEX)
    others = [entry for entry in known if match_key(entry["text"]) != match_key(text)]
    taken = {entry.get("file") for entry in others}
    name = file_name(number, text)
    for n in range(2, len(others) + 3):
        if name not in taken:
            break
        name = f"{Path(file_name(number, text)).stem}-{n}.wav"
    with all_or_nothing() as staged:
        _write(staged.path_for(folder / name), clip)
        _write_index(staged, folder, [*others, {"text": text, "file": name}])
    _remove_own(folder, known, taken | {name})


def take_back(folder: Path, text: str) -> None:
    """Take a line's clip out of the voice; the line is then spoken as one that was never recorded.

    Raises as :func:`keep_clip` does.
    """
    known = _known(folder / INDEX)
    others = [entry for entry in known if match_key(entry["text"]) != match_key(text)]
    with all_or_nothing() as staged:
        _write_index(staged, folder, others)
    _remove_own(folder, known, {entry.get("file") for entry in others})


def _write_index(staged: Staged, folder: Path, entries: list[dict[str, Any]]) -> None:
    text = json.dumps({"clips": entries}, ensure_ascii=False, indent=1) + "\n"
    staged.write_text(folder / INDEX, text)


def _remove_own(folder: Path, known: list[dict[str, Any]], wanted: set[Any]) -> None:
    """Delete the clips of `known` that no entry names any more; a name that leaves the folder is let be."""
    for entry in known:
        name = entry.get("file")
        if isinstance(name, str) and name not in wanted and _OWN_CLIP.fullmatch(name):
            (folder / name).unlink(missing_ok=True)


def _known(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    try:
        clips = json.loads(path.read_text(encoding="utf-8"))["clips"]
        return [entry for entry in clips if isinstance(entry.get("text"), str)]
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise UsageError(f"{path}: is not an index of recordings; move it away and try again") from error


def _write(path: Path, clip: npt.NDArray[np.float32]) -> None:
    import soundfile

    from cuelane.base.errors import DeliveryError

    try:
        soundfile.write(path, clip, CLIP_RATE, subtype="PCM_24")
    except (OSError, soundfile.SoundFileError) as error:
        raise DeliveryError(f"{path}: cannot be written: {error}") from error
