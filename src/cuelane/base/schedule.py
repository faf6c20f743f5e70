"""The schedule: the table that the renderer writes and that the checker, the page and others read.

Samples count from the first sample that a player outputs, encoder delay already removed. ``end_sample`` is
one past the last. The JSON form is ``cuelane.schedule/1``; keys that are not known here are not refused: at
the top level they are kept in ``extra``, elsewhere they are ignored.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, get_args

from cuelane.base import schedule_limits as limits
from cuelane.base.errors import AudioFileError
from cuelane.base.ordinary import read_ordinary
from cuelane.base.seals import sealable_json

SCHEMA = "cuelane.schedule/1"
LISTING = ".schedule.json"
"""The ending of a schedule's name; it lists the files of its set."""

IntervalKind = Literal["work", "rest", "change", "talk", "in", "hold", "out"]
EventKind = Literal["cue", "pip"]


@dataclass(frozen=True)
class ScheduledInterval:
    index: int
    block: str
    kind: IntervalKind
    round: int | None
    exercise: str | None
    side: str | None
    start_sample: int
    end_sample: int
    settle_samples: int = 0
    set_index: int | None = None
    """Which set of the session a work interval belongs to; the two halves of a sided exercise share one."""


@dataclass(frozen=True)
class Event:
    """A cue or a pip. ``clip`` is a cue's content hash; ``frequency_hz`` a pip's pitch.

    ``why`` says in one line why a cue is where it is. ``voice`` is who speaks it.
    ``words`` holds (word, onset_sample, end_sample), absolute, where the engine told them.
    """

    id: str
    kind: EventKind
    role: str
    interval: int
    onset_sample: int
    end_sample: int
    text: str | None = None
    clip: str | None = None
    frequency_hz: float | None = None
    voice: str | None = None
    must: bool = False
    why: str | None = None
    words: tuple[tuple[str, int, int], ...] = ()


@dataclass(frozen=True)
class Dropped:
    role: str
    text: str
    interval: int
    reason: str


@dataclass(frozen=True)
class Schedule:
    title: str
    language: str
    sample_rate: int
    n_frames: int
    intervals: tuple[ScheduledInterval, ...]
    events: tuple[Event, ...]
    dropped: tuple[Dropped, ...] = ()
    extra: dict[str, Any] = field(default_factory=dict)
    """Further top-level keys: ``facts``, ``cautions``, ``voice``, ``loudness`` and the like."""

    @property
    def cues(self) -> tuple[Event, ...]:
        return tuple(event for event in self.events if event.kind == "cue")

    @property
    def pips(self) -> tuple[Event, ...]:
        return tuple(event for event in self.events if event.kind == "pip")


def _without_empty(record: dict[str, Any], keep: set[str]) -> dict[str, Any]:
    # By identity: a set index of 0 equals False, and means something.
    return {
        key: value
        for key, value in record.items()
        if key in keep or not (value is None or value is False or value == ())
    }


def to_json(schedule: Schedule) -> str:
    """Return the schedule as JSON text, an interval or event a line, so that a diff shows what moved."""
    always = {"index", "block", "kind", "round", "exercise", "side", "start_sample", "end_sample"}
    head = {
        "schema": SCHEMA,
        "title": schedule.title,
        "language": schedule.language,
        "sample_rate": schedule.sample_rate,
        "n_frames": schedule.n_frames,
        **schedule.extra,
    }
    intervals = [_without_empty(vars(interval), always) for interval in schedule.intervals]
    events = []
    for event in schedule.events:
        record = _without_empty(vars(event), {"id", "kind", "role", "interval", "onset_sample", "end_sample"})
        events.append(record)
    parts = [f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in head.items()]
    for name, rows in (
        ("intervals", intervals),
        ("events", events),
        ("dropped", [vars(row) for row in schedule.dropped]),
    ):
        body = ",\n  ".join(json.dumps(row, ensure_ascii=False) for row in rows)
        parts.append(f'"{name}": [\n  {body}\n]' if rows else f'"{name}": []')
    return "{" + ",\n ".join(parts) + "}\n"


def listed_schedule(schedule: Schedule, audio_name: str, files: Mapping[str, Any]) -> str:
    """Return the JSON text of a schedule that lists its set, with a place for its seal.

    Parameters
    ----------
    audio_name : the track that the schedule was written with.
    files : by name, ``sha256:`` and digest of each file that was written with it, the audio's among them; for
        a file that stays from a previous set, its whole entry.

    The entry of the audio also holds the digest of what is heard, ``schedule``: audio in another format that
    stays from a previous set is the same session if its entry has the same.
    """
    entries = {
        name: {"sha256": entry, "audio": audio_name} if isinstance(entry, str) else entry
        for name, entry in files.items()
    }
    if isinstance(files.get(audio_name), str):
        heard = to_json(replace(schedule, extra={}))
        entries[audio_name]["schedule"] = "sha256:" + hashlib.sha256(heard.encode()).hexdigest()
    extra = {**schedule.extra, "audio": audio_name, "files": entries}
    return sealable_json(to_json(replace(schedule, extra=extra)))


def goes_with_another(audio_name: str, name: str, before: Mapping[str, Any]) -> bool:
    """Tell whether the file `name` of a listed set goes with another track than `audio_name`."""
    entry = before["files"][name]
    return not isinstance(entry, dict) or entry.get("audio") != audio_name


def _whole(record: dict[str, Any], key: str, where: str) -> int:
    value = record.get(key)
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise AudioFileError(f"{where}: {key} must be a whole number of at least 0, got {_shown(value)}")
    return value


def _text(record: dict[str, Any], key: str, where: str, *, optional: bool = False) -> Any:
    value = record.get(key)
    if value is None and optional:
        return None
    if not isinstance(value, str):
        raise AudioFileError(f"{where}: {key} must be text, got {_shown(value)}")
    limits.require_plain(value, f"{where}: {key}")
    return value


def _shown(value: Any) -> str:
    """Return a value as messages show it, cut short; what JSON calls null, and a key that is not there."""
    if value is None:
        return "nothing"
    try:
        text = repr(value)
    except (ValueError, RecursionError):
        # A whole number of more digits than Python writes, or lists in lists without end.
        return f"a {type(value).__name__}"
    return text if len(text) <= 60 else text[:59] + "…"


def from_json(text: str, source: str = "schedule") -> Schedule:
    """Return the schedule written in `text`; `source` names the file in messages.

    Raises
    ------
    AudioFileError : not JSON, not this schema, or a position that cannot be.
    """
    data = limits.parsed(text, source)
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        found = data.get("schema") if isinstance(data, dict) else type(data).__name__
        raise AudioFileError(f"{source}: expected a schedule of schema {SCHEMA!r}, found {_shown(found)}")
    rows = _rows(data, source)
    sample_rate = _whole(data, "sample_rate", source)
    n_frames = _whole(data, "n_frames", source)
    if not 8_000 <= sample_rate <= 192_000:
        raise AudioFileError(
            f"{source}: sample_rate must be between 8000 and 192000 Hz, got {_shown(sample_rate)}"
        )
    if n_frames > limits.MAX_LENGTH_S * sample_rate:
        raise AudioFileError(
            f"{source}: n_frames must be at most {limits.MAX_LENGTH_S * sample_rate}, which is "
            f"{limits.MAX_LENGTH_S // 3600} hours, got {_shown(n_frames)}"
        )
    events = _events(rows["events"], source, n_frames, sample_rate)
    intervals = tuple(
        _interval(row, f"{source}: intervals[{i}]", n_frames) for i, row in enumerate(rows["intervals"])
    )
    dropped = tuple(
        Dropped(
            _text(row, "role", where),
            _text(row, "text", where),
            _whole(row, "interval", where),
            _text(row, "reason", where),
        )
        for where, row in ((f"{source}: dropped[{i}]", row) for i, row in enumerate(rows["dropped"]))
    )
    known = {"schema", "title", "language", "sample_rate", "n_frames", "intervals", "events", "dropped"}
    # These keys describe the delivered files, not the session.
    known |= {"audio", "files", "seal"}
    return Schedule(
        title=_text(data, "title", source),
        language=_text(data, "language", source),
        sample_rate=sample_rate,
        n_frames=n_frames,
        intervals=intervals,
        events=events,
        dropped=dropped,
        extra={key: value for key, value in data.items() if key not in known},
    )


def _rows(data: dict[str, Any], source: str) -> dict[str, list[dict[str, Any]]]:
    """Return the three lists of a schedule, all of objects, and none longer than is read."""
    rows: dict[str, list[dict[str, Any]]] = {}
    for name, most in (
        ("intervals", limits.MAX_INTERVALS),
        ("events", limits.MAX_EVENTS),
        ("dropped", limits.MAX_DROPPED),
    ):
        value = data.get(name, [])
        if not isinstance(value, list):
            raise AudioFileError(f"{source}: {name} must be a list of objects, got {_shown(value)}")
        limits.require_count(value, most, f"{source}: {name}")
        for i, row in enumerate(value):
            if not isinstance(row, dict):
                raise AudioFileError(f"{source}: {name}[{i}]: must be an object, got {_shown(row)}")
        rows[name] = value
    return rows


def _interval(row: dict[str, Any], where: str, n_frames: int) -> ScheduledInterval:
    kind = _text(row, "kind", where)
    if kind not in get_args(IntervalKind):
        kinds = ", ".join(get_args(IntervalKind))
        raise AudioFileError(f"{where}: kind must be one of {kinds}, got {_shown(kind)}")
    start, end = _whole(row, "start_sample", where), _whole(row, "end_sample", where)
    if not start <= end <= n_frames:
        raise AudioFileError(
            f"{where}: needs start_sample <= end_sample <= {n_frames}, got {_shown(start)} and {_shown(end)}"
        )
    return ScheduledInterval(
        index=_whole(row, "index", where),
        block=_text(row, "block", where),
        kind=kind,
        round=None if row.get("round") is None else _whole(row, "round", where),
        exercise=_text(row, "exercise", where, optional=True),
        side=_text(row, "side", where, optional=True),
        start_sample=start,
        end_sample=end,
        settle_samples=_whole(row, "settle_samples", where) if "settle_samples" in row else 0,
        set_index=_whole(row, "set_index", where) if row.get("set_index") is not None else None,
    )


def _events(rows: list[dict[str, Any]], source: str, n_frames: int, sample_rate: int) -> tuple[Event, ...]:
    """Return the events. Raises if they sound for longer than a session's can, so that time stays bounded."""
    events = tuple(_event(row, f"{source}: events[{i}]", n_frames) for i, row in enumerate(rows))
    most = limits.MAX_EVENT_S * sample_rate
    for i, event in enumerate(events):
        if event.end_sample - event.onset_sample > most:
            raise AudioFileError(
                f"{source}: events[{i}]: lasts longer than {limits.MAX_EVENT_S} s, the longest that is read"
            )
    # Events of a session do not overlap; twice its length leaves room for tails that do.
    if sum(event.end_sample - event.onset_sample for event in events) > 2 * n_frames:
        raise AudioFileError(f"{source}: its events together last longer than twice the session")
    return events


def _event(row: dict[str, Any], where: str, n_frames: int) -> Event:
    kind = _text(row, "kind", where)
    if kind not in ("cue", "pip"):
        raise AudioFileError(f"{where}: kind must be cue or pip, got {_shown(kind)}")
    onset, end = _whole(row, "onset_sample", where), _whole(row, "end_sample", where)
    if not onset < end <= n_frames:
        raise AudioFileError(
            f"{where}: needs onset_sample < end_sample <= {n_frames}, got {_shown(onset)} and {_shown(end)}"
        )
    frequency = row.get("frequency_hz")
    if frequency is not None and not (isinstance(frequency, int | float) and 0 < frequency < 96_000):
        raise AudioFileError(f"{where}: frequency_hz must be a frequency, got {_shown(frequency)}")
    return Event(
        id=_text(row, "id", where),
        kind=kind,
        role=_text(row, "role", where),
        interval=_whole(row, "interval", where),
        onset_sample=onset,
        end_sample=end,
        text=_text(row, "text", where, optional=True),
        clip=_text(row, "clip", where, optional=True),
        frequency_hz=None if frequency is None else float(frequency),
        voice=_text(row, "voice", where, optional=True),
        must=row.get("must") is True,
        why=_text(row, "why", where, optional=True),
        words=_words(row.get("words", []), where, n_frames),
    )


def _words(rows: Any, where: str, n_frames: int) -> tuple[tuple[str, int, int], ...]:
    if not isinstance(rows, list) or len(rows) > limits.MAX_WORDS:
        raise AudioFileError(f"{where}: words must be a list of at most {limits.MAX_WORDS} rows")
    for row in rows:
        match row:
            case [str() as word, int() as start, int() as stop] if 0 <= start <= stop <= n_frames:
                limits.require_plain(word, f"{where}: a word")
            case _:
                raise AudioFileError(
                    f"{where}: words must be [word, onset, end] rows with places in the session, "
                    f"got {_shown(row)}"
                )
    return tuple((row[0], row[1], row[2]) for row in rows)


def schedule_beside(track: Path) -> Path:
    """Return where the schedule of `track` lies unless another place is named.

    Raises
    ------
    AudioFileError : it has no name, as ``.`` has none.
    """
    if not track.name:
        raise AudioFileError(f"{track}: is a folder; name an audio file")
    return track.with_name(track.stem + LISTING)


def load_schedule(path: Path) -> Schedule:
    """Read a schedule file. Raises AudioFileError with the path when it cannot be used."""
    try:
        return from_json(read_ordinary(path, limits.MAX_BYTES).decode("utf-8-sig"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise AudioFileError(f"{path}: cannot read this schedule: {reason}") from error
