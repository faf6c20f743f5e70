"""What a check found, as plain data."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from cuelane.check.templates import Source

FaultKind = Literal[
    "missing", "late", "early", "doubled", "swapped", "wrong words", "cut short", "level", "pip count",
    "pip pitch", "pip length", "another voice", "clipping", "ends early", "head cut", "offset", "speed",
    "jump", "another session", "sound", "mixed set",
]  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """One thing wrong.

    ``event`` is the id of the event it is about, None where it is about the file. ``at_s`` is the place in
    the file, in seconds. ``error_ms`` is measured minus planned: positive is late. ``others`` are further
    events it covers.
    """

    kind: FaultKind
    message: str
    event: str | None = None
    at_s: float | None = None
    error_ms: float | None = None
    others: tuple[str, ...] = ()


@dataclass(frozen=True)
class EventResult:
    """One event: where the schedule has it, where the file has it, and how that was measured.

    ``expected_s`` is session time; ``planned_file_s`` where that is in this file by the fit; ``measured_s``
    the onset found in the file, None when it was not. ``error_ms`` is against the fit, ``absolute_error_ms``
    against the bare schedule. ``score`` is the normalised correlation with the template in [0, 1].
    ``level_db`` is against the middle of its kind.
    """

    id: str
    kind: Literal["cue", "pip"]
    role: str
    text: str | None
    expected_s: float
    planned_file_s: float
    length_s: float
    template: Source
    tolerance_ms: float
    measured_s: float | None = None
    error_ms: float | None = None
    absolute_error_ms: float | None = None
    score: float | None = None
    level_db: float | None = None
    heard_words: str | None = None

    @property
    def found(self) -> bool:
        return self.measured_s is not None


@dataclass(frozen=True)
class Summary:
    """Times in ms are residuals after the fit; None where nothing was matched."""

    events: int
    matched: int
    median_ms: float | None
    p95_ms: float | None
    largest_ms: float | None
    largest_event: str | None
    offset_ms: float
    skew_ppm: float
    fitted: bool
    length_s: float
    session_s: float
    loudness_lufs: float
    true_peak_dbtp: float
    open_s: float
    open_share: float
    background_dbfs: float
    tolerance_pip_ms: float
    tolerance_cue_ms: float
    templates: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Report:
    """The verdict and everything behind it. ``ok`` is True when there is no fault."""

    audio: str
    title: str
    ok: bool
    verdict: str
    summary: Summary
    events: tuple[EventResult, ...]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    pieces: tuple[tuple[float, float], ...] = ()
    """(session time in s from which it holds, offset in s) of each piece of a file from which something was
    cut out, or into which something was put."""
    envelope: npt.NDArray[np.float32] | None = field(default=None, repr=False, compare=False)
    """Lowest and highest sample of every 10 ms of the file, shape (n, 2); for the picture only."""

    def to_dict(self) -> dict[str, Any]:
        """Return everything but the picture's data as JSON-ready values; infinite levels become None."""
        data = {key: value for key, value in vars(self).items() if key != "envelope"}
        data["summary"] = asdict(self.summary)
        data["events"] = [asdict(event) for event in self.events]
        data["faults"] = [asdict(fault) for fault in self.faults]
        return {"schema": "cuelane.check/1", **_finite(data)}


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float):
        return round(value, 6) if math.isfinite(value) else None
    return value
