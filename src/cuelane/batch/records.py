"""What a track was made of, kept beside it, so that the next run can tell whether it must be made again.

Two looks, the cheap one first. Where every file that was read has the same content, the options and this
program are the same, and what was written is still there byte for byte, nothing is done at all. Otherwise
the schedule is made from the plan again: where it is the same, clip for clip, the track is kept too.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from cuelane.base.ordinary import read_ordinary
from cuelane.base.schedule import LISTING
from cuelane.base.schedule_limits import MAX_BYTES
from cuelane.base.seals import digest_if_there, is_sealed, listed_files
from cuelane.media.formats import SUFFIXES
from cuelane.plan.loaded import LoadedPlan, included_files, recordings_named
from cuelane.speech.choice import default_voice
from cuelane.speech.definition import voices_folder
from cuelane.speech.voices import files_beside

# Chosen: a voice has up to 10,000 recordings, each some 130 bytes here, and a plan several voices beside it.
MOST_BYTES = 64_000_000
_VOICES = "voices/"
_NOT_OURS = (".pyc", ".pyo")


@dataclass(frozen=True)
class Record:
    """What one track was made of.

    Attributes
    ----------
    program : :func:`program_digest`.
    options : what was asked for, as JSON.
    inputs : the digest of each file that was read, by its path from the plan's folder; None for one that was
        looked for and not there.
    basis : the digest of the schedule and all else that decides about the sound.
    outputs : the digest of each file that was written, by its name.
    length_ms : how long the track is.
    usual_voice : the language of a plan for which no voice was named, and the voice that then spoke it; empty
        where one was named.
    also_ours : digests of files that may lie there from an earlier track, while this one is being put there.
    """

    program: str
    options: str
    inputs: dict[str, str | None]
    basis: str
    outputs: dict[str, str]
    length_ms: int
    usual_voice: list[str] = field(default_factory=list)
    also_ours: list[str] = field(default_factory=list)


@cache
def program_digest() -> str:
    """Return the digest of this program, its voices' definitions, and the versions of what it uses."""
    digest = hashlib.sha256()
    root = Path(str(files("cuelane")))
    for folder in (root, voices_folder()):
        for path in sorted(folder.rglob("*")):
            if path.is_file() and path.suffix not in _NOT_OURS and "__pycache__" not in path.parts:
                digest.update(f"{path.relative_to(folder).as_posix()}\0".encode())
                digest.update(hashlib.sha256(path.read_bytes()).digest())
    for name in sorted(_used()):
        try:
            digest.update(f"{name} {importlib.metadata.version(name)}\n".encode())
        except importlib.metadata.PackageNotFoundError:
            continue
    return "sha256:" + digest.hexdigest()


def _used() -> set[str]:
    try:
        rows = importlib.metadata.requires("cuelane") or []
    except importlib.metadata.PackageNotFoundError:
        return set()
    cut = str.maketrans(dict.fromkeys("<>=!~[;( ", "\0"))
    # Extras too: which voice speaks a language depends on whether its package is there.
    return {row.translate(cut).split("\0")[0] for row in rows}


def inputs_of(loaded: LoadedPlan) -> list[Path]:
    """Return the files that decide what a plan comes to: it, what it includes, and the voices beside it.

    All voices, since a voice may fall back on another, or take its index or lexicon from another's folder.
    """
    return [loaded.path, *included_files(loaded), *files_beside(loaded.folder), *recordings_named(loaded)]


def _names_of_voices(folder: Path) -> str:
    """Return the digest of the names of all files of voices: a new one may be chosen before cuelane's own."""
    names = "\n".join(path.relative_to(folder).as_posix() for path in files_beside(folder))
    return "sha256:" + hashlib.sha256(names.encode("utf-8", "surrogateescape")).hexdigest()


def digests(paths: Iterable[Path], folder: Path) -> dict[str, str | None]:
    """Return the digest of each file by its path from `folder`, and of the names of the voices in that.

    None where there is no ordinary file.
    """
    found = {os.path.relpath(path, folder).replace(os.sep, "/"): _digest(path) for path in paths}
    return {**found, _VOICES: _names_of_voices(folder)}


def _digest(path: Path) -> str | None:
    try:
        return digest_if_there(path)
    except OSError:
        return None


def outputs_of(out: Path) -> dict[str, str]:
    """Return the digests of a track and of what was written with it, as its schedule lists them.

    What lies there of the same session in another format, and was not written again, is not among them.
    """
    listing = out.with_name(out.stem + LISTING)
    try:
        rows = json.loads(read_ordinary(listing, MAX_BYTES))["files"]
        with_it = {name for name, entry in rows.items() if entry["audio"] == out.name}
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        with_it = set()
    found = {name: digest for name, digest in listed_files(listing).items() if name in with_it}
    own = _digest(listing)
    return {**found, listing.name: own} if own is not None else found


def is_whole(record: Record, out: Path) -> bool:
    """Tell whether all that the record says was written lies there, byte for byte.

    What goes with the audio may have been written again since, with the same session in another format.
    """

    def digest_of(name: str) -> str | None:
        return _digest(out.with_name(name))

    if is_all_there(record, out.name, digest_of):
        return True
    listing = out.with_name(out.stem + LISTING)
    if record.outputs.get(out.name) != digest_of(out.name) or not _is_of_same_session(listing, out.name):
        return False
    newer = listed_files(listing)
    return all(
        name == listing.name or digest_of(name) in {digest, newer.get(name)} - {None}
        for name, digest in record.outputs.items()
    )


def _is_of_same_session(listing: Path, audio: str) -> bool:
    """Tell whether a schedule, unchanged since it was written, lists `audio` as what it has in a format."""
    try:
        told = json.loads(read_ordinary(listing, MAX_BYTES))
        heard = told["files"][audio]["schedule"]
        return is_sealed(listing) and heard == told["files"][told["audio"]]["schedule"]
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return False


def of_other_sessions(out: Path) -> list[str]:
    """Return the tracks beside `out`, in other formats, of which the captions and the page there are not.

    Each is whole in itself; but its plan, or what was asked for, was another than that of `out`.
    """
    listing = out.with_name(out.stem + LISTING)
    return sorted(
        name
        for name, digest in listed_files(listing).items()
        if name != out.name and Path(name).suffix in SUFFIXES and _digest(out.with_name(name)) == digest
        if not _is_of_same_session(listing, name)
    )


def is_all_there(record: Record, track: str, digest_of: Callable[[str], str | None]) -> bool:
    """Tell whether a record lists the file `track`, and every file listed has its digest by `digest_of`."""
    return track in record.outputs and all(
        digest_of(name) == digest for name, digest in record.outputs.items()
    )


def is_current(record: Record, plan: Path, options: str) -> bool:
    """Tell whether a track made now would be made of the same things."""
    if (record.program, record.options) != (program_digest(), options):
        return False
    if record.usual_voice and default_voice(record.usual_voice[0]) != record.usual_voice[1]:
        return False
    paths = [plan.parent / name for name in record.inputs if name != _VOICES]
    return digests(paths, plan.parent) == record.inputs


def read_record(path: Path) -> Record | None:
    """Return the record at `path`; None where there is none that can be used."""
    try:
        return record_from(read_ordinary(path, MOST_BYTES))
    except OSError:
        return None


def record_from(content: bytes) -> Record | None:
    """Return the record that a file's content holds; None if it cannot be used."""
    try:
        data: Mapping[str, Any] = json.loads(content)
        record = Record(**{key: data[key] for key in Record.__dataclass_fields__})
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    texts = (record.program, record.options, record.basis)
    right = all(isinstance(text, str) for text in texts) and isinstance(record.length_ms, int)
    right = right and isinstance(record.inputs, dict) and isinstance(record.outputs, dict)
    right = right and _are_texts(record.usual_voice) and _are_texts(record.also_ours)
    return record if right and len(record.usual_voice) in (0, 2) else None


def _are_texts(told: object) -> bool:
    return isinstance(told, list) and all(isinstance(one, str) for one in told)
