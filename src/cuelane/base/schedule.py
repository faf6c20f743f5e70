"""The schedule: the table that the renderer writes and that the checker, the page and others read.

Samples count from the first sample that a player outputs, encoder delay already removed. ``end_sample`` is
one past the last. The JSON form is ``cuelane.schedule/1``; unknown further keys are kept out of the way,
not refused.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from cuelane.base.errors import AudioFileError

SCHEMA = "cuelane.schedule/1"
MAX_SCHEDULE_BYTES = 64 * 1024 * 1024

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


def _whole(record: dict[str, Any], key: str, where: str) -> int:
    value = record.get(key)
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise AudioFileError(f"{where}: {key} must be a whole number of at least 0, got {value!r}")
    return value


def _text(record: dict[str, Any], key: str, where: str, *, optional: bool = False) -> Any:
    value = record.get(key)
    if value is None and optional:
        return None
    if not isinstance(value, str):
        raise AudioFileError(f"{where}: {key} must be text, got {value!r}")
    return value


def from_json(text: str, source: str = "schedule") -> Schedule:
    """Return the schedule written in `text`; `source` names the file in messages.

    Raises
    ------
    AudioFileError : not JSON, not this schema, or a position that cannot be.
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise AudioFileError(f"{source}: not a schedule: {error}") from error
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        found = data.get("schema") if isinstance(data, dict) else type(data).__name__
        raise AudioFileError(f"{source}: expected a schedule of schema {SCHEMA!r}, found {found!r}")
    rows: dict[str, list[dict[str, Any]]] = {}
    for name in ("intervals", "events", "dropped"):
        value = data.get(name, [])
        if not isinstance(value, list) or not all(isinstance(row, dict) for row in value):
            raise AudioFileError(f"{source}: {name} must be a list of objects")
        rows[name] = value
    sample_rate = _whole(data, "sample_rate", source)
    n_frames = _whole(data, "n_frames", source)
    if not 8_000 <= sample_rate <= 192_000:
        raise AudioFileError(f"{source}: sample_rate must be between 8000 and 192000 Hz, got {sample_rate}")
    intervals = tuple(_interval(row, f"{source}: intervals[{i}]") for i, row in enumerate(rows["intervals"]))
    events = tuple(_event(row, f"{source}: events[{i}]", n_frames) for i, row in enumerate(rows["events"]))
    dropped = tuple(
        Dropped(
            _text(row, "role", source),
            _text(row, "text", source),
            _whole(row, "interval", source),
            _text(row, "reason", source),
        )
        for row in rows["dropped"]
    )
    known = {"schema", "title", "language", "sample_rate", "n_frames", "intervals", "events", "dropped"}
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


def _interval(row: dict[str, Any], where: str) -> ScheduledInterval:
    kind = _text(row, "kind", where)
    if kind not in ("work", "rest", "change", "talk", "in", "hold", "out"):
        raise AudioFileError(f"{where}: unknown kind {kind!r}")
    return ScheduledInterval(
        index=_whole(row, "index", where),
        block=_text(row, "block", where),
        kind=kind,
        round=None if row.get("round") is None else _whole(row, "round", where),
        exercise=_text(row, "exercise", where, optional=True),
        side=_text(row, "side", where, optional=True),
        start_sample=_whole(row, "start_sample", where),
        end_sample=_whole(row, "end_sample", where),
        settle_samples=_whole(row, "settle_samples", where) if "settle_samples" in row else 0,
        set_index=_whole(row, "set_index", where) if row.get("set_index") is not None else None,
    )


def _event(row: dict[str, Any], where: str, n_frames: int) -> Event:
    kind = _text(row, "kind", where)
    if kind not in ("cue", "pip"):
        raise AudioFileError(f"{where}: kind must be cue or pip, got {kind!r}")
    onset, end = _whole(row, "onset_sample", where), _whole(row, "end_sample", where)
    if not onset < end <= n_frames:
        raise AudioFileError(f"{where}: needs onset_sample < end_sample <= {n_frames}, got {onset} and {end}")
    frequency = row.get("frequency_hz")
    if frequency is not None and not (isinstance(frequency, int | float) and 0 < frequency < 96_000):
        raise AudioFileError(f"{where}: frequency_hz must be a frequency, got {frequency!r}")
    words = row.get("words", [])
    try:
        spoken = tuple((str(word), int(start), int(stop)) for word, start, stop in words)
    except (TypeError, ValueError) as error:
        raise AudioFileError(f"{where}: words must be [word, onset, end] rows") from error
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
        words=spoken,
    )


def load_schedule(path: Path) -> Schedule:
    """Read a schedule file. Raises AudioFileError with the path when it cannot be used."""
    try:
        if path.stat().st_size > MAX_SCHEDULE_BYTES:
            raise AudioFileError(f"{path}: larger than a schedule may be ({MAX_SCHEDULE_BYTES} bytes)")
        return from_json(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise AudioFileError(f"{path}: cannot read this schedule: {error}") from error
