"""What each event should sound like, and where that knowledge came from.

In this order: the clip that the schedule names by its hash, if the store has it; the same stretch of an
original; nothing, and then the event is found without a model. Pips need neither: their template is drawn
from frequency and length alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, Protocol

import numpy as np
import numpy.typing as npt
import soxr

from cuelane.base.errors import AudioFileError
from cuelane.base.schedule import Event, Schedule
from cuelane.check.correlate import Signal, pre_emphasise
from cuelane.check.intake import ANALYSIS_RATE
from cuelane.media import decode
from cuelane.media.media_limits import require_file

Source = Literal["clip", "original", "tone", "none"]

# Chosen: longer tells nothing more about where a cue is, and costs time.
MAX_TEMPLATE_S = 30.0


class ClipSource(Protocol):
    """Anything that gives a clip by its content hash; the clip store does."""

    def by_hash(self, sha256: str, /) -> Any: ...


@dataclass
class Template:
    """One distinct cue's sound. ``samples`` at ``sample_rate``, its first sample the onset."""

    key: str
    text: str
    source: Source
    samples: npt.NDArray[np.float32]
    sample_rate: int
    _made: dict[float, Signal] = field(default_factory=dict, repr=False)

    @property
    def length_s(self) -> float:
        return len(self.samples) / self.sample_rate

    def sound(self, rate: float = 1.0) -> Signal:
        """Return the template at 16 kHz as in a file where everything takes `rate` times as long, shape
        (n,)."""
        if rate not in self._made:
            made = soxr.resample(self.samples, float(self.sample_rate), ANALYSIS_RATE * rate, quality="HQ")
            self._made = {rate: np.asarray(made, dtype=np.float32)}
        return self._made[rate]

    def emphasised(self, rate: float = 1.0) -> Signal:
        """Return :meth:`sound` with pre-emphasis; shape (n,)."""
        return pre_emphasise(self.sound(rate))


def cue_key(event: Event) -> str:
    """Return what makes two cues one sound: the clip's hash, else the text and its exact length."""
    return event.clip or f"text:{event.text}:{event.end_sample - event.onset_sample}"


def gather(schedule: Schedule, store: ClipSource | None, against: Path | None) -> dict[str, Template]:
    """Return a template for every distinct cue that has one, by :func:`cue_key`.

    Raises
    ------
    AudioFileError : `against` cannot be read, or none of the schedule's cues is heard in it.
    """
    if against is not None:
        # Also where the store has every clip and the original is not read: a wrong name is reported.
        require_file(against)
    found: dict[str, Template] = {}
    wanted: dict[str, Event] = {}
    for event in schedule.cues:
        key = cue_key(event)
        if key in found or key in wanted:
            continue
        clip = store.by_hash(event.clip) if store is not None and event.clip else None
        if clip is not None and len(clip.samples):
            samples = np.asarray(clip.samples, dtype=np.float32)
            samples = samples[: int(MAX_TEMPLATE_S * clip.sample_rate)]
            found[key] = Template(key, event.text or clip.text, "clip", samples, clip.sample_rate)
        else:
            wanted[key] = event
    if against is not None and wanted:
        found |= _from_original(schedule, wanted, against)
    return found


def _from_original(schedule: Schedule, wanted: dict[str, Event], against: Path) -> dict[str, Template]:
    rows = sorted(wanted.items(), key=lambda row: row[1].onset_sample)
    longest = int(MAX_TEMPLATE_S * schedule.sample_rate)
    spans = [(e.onset_sample, min(e.end_sample, e.onset_sample + longest)) for _, e in rows]
    found: dict[str, Template] = {}
    pieces = _stretches(decode(against, sample_rate=schedule.sample_rate, channels=1), spans)
    for (key, event), samples in zip(rows, pieces, strict=False):
        if samples.size and float(np.abs(samples).max()) > 1e-4:
            found[key] = Template(key, event.text or "", "original", samples, schedule.sample_rate)
    if not found:
        raise AudioFileError(f"{against}: none of the schedule's cues is heard in this original")
    return found


def _stretches(
    blocks: Iterable[npt.NDArray[np.float32]], spans: list[tuple[int, int]]
) -> list[npt.NDArray[np.float32]]:
    """Return the samples of each span (sorted by start) from a stream, holding only what is still needed."""
    parts: list[list[npt.NDArray[np.float32]]] = [[] for _ in spans]
    at, first_open = 0, 0
    for block in blocks:
        end = at + len(block)
        for i in range(first_open, len(spans)):
            start, stop = spans[i]
            if start >= end:
                break
            if stop > at:
                parts[i].append(block[max(0, start - at) : stop - at, 0])
            elif i == first_open:
                first_open += 1
        at = end
        if first_open == len(spans):
            break
    return [np.concatenate(part) if part else np.zeros(0, np.float32) for part in parts]
