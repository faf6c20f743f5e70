"""The sessions in a folder of tracks: each with its files, its other formats, and what its schedule tells."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from cuelane.base.errors import AudioFileError, UsageError
from cuelane.base.ordinary import read_ordinary
from cuelane.base.schedule import LISTING, Schedule, from_json
from cuelane.base.schedule_limits import MAX_BYTES
from cuelane.base.seals import digest_of, is_inside, is_sealed
from cuelane.base.units import to_ms
from cuelane.media.formats import SUFFIXES, media_type_of
from cuelane.web.page_parts import plain

MOST_SESSIONS = 2_000
PARTS = {
    ".html": "text/html",
    ".vtt": "text/vtt",
    ".srt": "application/x-subrip",
    ".chapters.json": "application/json+chapters",
    ".md": "text/markdown",
    ".cues.csv": "text/csv",
    LISTING: "application/json",
}
"""What is put online beside a track, by its ending, with its media type."""


@dataclass(frozen=True)
class SessionSound:
    """One audio file of a session; ``href`` is where it lies in the site."""

    path: Path
    href: str

    @property
    def n_bytes(self) -> int:
        return self.path.stat().st_size

    @property
    def media_type(self) -> str:
        return media_type_of(self.path.name)


@dataclass(frozen=True)
class ShelfSession:
    """One session: its schedule, its audio, the same in other formats, and its parts by ending."""

    stem: str
    schedule: Schedule
    sound: SessionSound
    others: tuple[SessionSound, ...] = ()
    parts: dict[str, Path] = field(default_factory=dict)
    left_out: tuple[Path, ...] = ()
    """Files of such names that were not written with the track, or changed since: perhaps private notes; and
    audio of that name in another format's folder that is another session."""

    @property
    def length_ms(self) -> int:
        return to_ms(self.schedule.n_frames, self.schedule.sample_rate)

    @property
    def cautions(self) -> tuple[str, ...]:
        return _texts(self.schedule.extra.get("cautions"))

    @property
    def description(self) -> str:
        """What the plan says of the session, or nothing."""
        found = self.schedule.extra.get("description")
        return found if isinstance(found, str) else ""

    @property
    def equipment(self) -> tuple[str, ...]:
        rows = self._facts().get("equipment")
        items = [row.get("item") for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
        return _texts(items)

    @property
    def regions(self) -> tuple[str, ...]:
        return _texts(self._facts().get("regions"))

    def _facts(self) -> dict[str, Any]:
        facts = self.schedule.extra.get("facts")
        return facts if isinstance(facts, dict) else {}


def titles_apart(sessions: Sequence[ShelfSession]) -> list[str]:
    """Return what each session is called on page and feed: its title, and more if others have that.

    The more is the variant's name, none for the plan as it is, if that is enough; else the file's name. Two
    titles that differ only in capitals are one: read aloud, they are the same.
    """
    titles = [plain(session.schedule.title) or plain(session.stem) for session in sessions]
    alike: dict[str, list[int]] = {}
    for number, title in enumerate(titles):
        alike.setdefault(title.casefold(), []).append(number)
    for numbers in alike.values():
        told = [sessions[number].schedule.extra.get("variant") for number in numbers]
        names = [plain(one) if isinstance(one, str) else "" for one in told]
        if len({name.casefold() for name in names}) < len(names):
            names = [plain(sessions[number].stem) for number in numbers]
        for number, name in zip(numbers, names, strict=True):
            titles[number] += f" ({name})" if name and len(numbers) > 1 else ""
    return titles


def _texts(values: Any) -> tuple[str, ...]:
    return tuple(one for one in values if isinstance(one, str)) if isinstance(values, list | tuple) else ()


def sessions_in(folder: Path, order: Sequence[str] = ()) -> list[ShelfSession]:
    """Return the sessions of a folder, those of `order` (stems) first and in that order, then by name.

    A folder in it named after a format holds the same sessions in that format, as a batch writes them.
    Formats that were rendered one after the other into one folder are the same session, if the plan was the
    same.

    Raises
    ------
    UsageError : no such folder, no session in it, or a track that is not as its schedule lists it.
    AudioFileError : a schedule that cannot be read.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder}: there is no such folder of tracks")
    homes = [folder, *(folder / suffix[1:] for suffix in SUFFIXES if (folder / suffix[1:]).is_dir())]
    found: dict[str, list[ShelfSession]] = {}
    for home in homes:
        for path in sorted(home.glob(f"*{LISTING}")):
            session = _session(path, "" if home == folder else f"{home.name}/")
            if session is not None:
                found.setdefault(session.stem, []).append(session)
    if not found:
        raise UsageError(f"{folder}: holds no track with its schedule beside it; see: cuelane batch")
    if len(found) > MOST_SESSIONS:
        raise UsageError(
            f"{folder}: holds {len(found):,} sessions; at most {MOST_SESSIONS:,} go on one shelf"
        )
    place = {stem: number for number, stem in enumerate(order)}

    def rank(stem: str) -> tuple[int, str]:
        fits = [known for known in place if stem == known or stem.startswith(f"{known}-")]
        return (place[max(fits, key=len)] if fits else len(place), stem)

    return [_merged(found[stem]) for stem in sorted(found, key=rank)]


def _merged(same: list[ShelfSession]) -> ShelfSession:
    """Return one session of those that folders of formats hold; another session of that name is left out."""
    first, *rest = same
    heard = replace(first.schedule, extra={})
    others, left_out = [*first.others], [path for one in same for path in one.left_out]
    for one in rest:
        sounds = (one.sound, *one.others)
        if replace(one.schedule, extra={}) == heard:
            others += sounds
        else:
            # It was rendered from another state of the plan, or with another voice.
            left_out += [sound.path for sound in sounds]
    return ShelfSession(first.stem, first.schedule, first.sound, tuple(others), first.parts, tuple(left_out))


def _session(listing: Path, inside: str) -> ShelfSession | None:
    """Return the session of a schedule; None for one whose audio is not beside it."""
    try:
        text = read_ordinary(listing, MAX_BYTES).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise AudioFileError(f"{listing}: cannot read this schedule: {error}") from error
    schedule = from_json(text, str(listing))
    told = json.loads(text)
    name, entries = told.get("audio"), told.get("files")
    if not isinstance(name, str) or not isinstance(entries, dict) or not is_inside(name) or "/" in name:
        return None
    audio = listing.with_name(name)
    stem = listing.name.removesuffix(LISTING)
    if not audio.is_file():
        return None
    if stem.casefold() == "index":
        raise UsageError(f"{audio}: its page would be the site's own first page; give the plan another name")
    if digest_of(audio) != _listed(entries, name):
        raise UsageError(f"{audio}: is not as its schedule lists it; render it again before it goes online")
    beside = {ending: path for ending in PARTS if (path := listing.with_name(stem + ending)).is_file()}
    parts = {
        ending: path
        for ending, path in beside.items()
        if (is_sealed(path) if path == listing else digest_of(path) == _listed(entries, path.name))
    }
    left_out = tuple(path for ending, path in beside.items() if ending not in parts)
    others = tuple(
        SessionSound(listing.with_name(one), inside + one) for one in _formats(listing, name, entries)
    )
    return ShelfSession(stem, schedule, SessionSound(audio, inside + name), others, parts, left_out)


def _formats(listing: Path, audio: str, entries: dict[str, Any]) -> list[str]:
    """Return the names of the same session in other formats beside it: those that its schedule lists.

    One that was rendered from an earlier state of the plan is another session, and is left out.
    """
    stem = listing.name.removesuffix(LISTING)
    heard = _heard(entries, audio)
    found = []
    for name in (stem + suffix for suffix in SUFFIXES if stem + suffix != audio):
        path = listing.with_name(name)
        if heard is None or _heard(entries, name) != heard or not path.is_file():
            continue
        if digest_of(path) != _listed(entries, name):
            raise UsageError(
                f"{path}: is not as its schedule lists it; render it again before it goes online"
            )
        found.append(name)
    return found


def _heard(entries: dict[str, Any], name: str) -> str | None:
    entry = entries.get(name)
    heard = entry.get("schedule") if isinstance(entry, dict) else None
    return heard if isinstance(heard, str) else None


def _listed(entries: dict[str, Any], name: str) -> object:
    entry = entries.get(name)
    return entry.get("sha256") if isinstance(entry, dict) else entry
