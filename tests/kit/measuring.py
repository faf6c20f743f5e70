"""Measuring audio without the program's own code: matched filters, an onset rule, plain decoding.

Imports nothing from cuelane, so that it can contradict it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import av
import numpy as np
import soundfile
from scipy.signal import oaconvolve

Track = np.ndarray


def decode_by_soundfile(path: Path) -> tuple[Track, int]:
    """Return (samples, rate) of a mono file as libsndfile decodes it."""
    samples, rate = soundfile.read(path, dtype="float64", always_2d=True)
    return samples[:, 0], rate


def decode_by_av(path: Path) -> tuple[Track, int]:
    """Return (samples, rate) of a mono file as PyAV decodes it, cut to the stream's stated length.

    Samples are counted, times are not read: an mp3's first time stamp is 23 ms although its samples are in
    place, and AAC's end padding is not trimmed by this decoder.
    """
    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        rate = int(stream.rate)
        blocks = [frame.to_ndarray().reshape(-1) for frame in container.decode(stream)]
        duration = stream.duration
        base = stream.time_base
    samples = np.concatenate(blocks).astype(np.float64)
    if path.suffix == ".m4a" and duration is not None and base is not None:
        samples = samples[: round(duration * float(base) * rate)]
    if np.abs(samples).max() > 4:  # integer formats
        samples /= 2**31 if np.abs(samples).max() > 2**20 else 2**15
    return samples, rate


def tone_onset(track: Track, rate: int, event: dict[str, Any], reach_s: float = 0.1) -> int:
    """Return the sample at which a pip starts, by the peak of a complex matched filter's envelope.

    The template is a plain tone of the event's own pitch and length, with silence of that length before and
    after it, so that a longer tone does not match a shorter one.
    """
    length = event["end_sample"] - event["onset_sample"]
    reach = int(reach_s * rate)
    first = event["onset_sample"] - reach
    around = track[max(0, first) : event["end_sample"] + reach]
    times = np.arange(length) / rate
    tone = np.exp(2j * np.pi * event["frequency_hz"] * times)
    found = np.abs(oaconvolve(around, tone[::-1].conj(), mode="valid"))
    return max(0, first) + int(np.argmax(found))


def first_sound(track: Track, first: int, last: int) -> int:
    """Return the first sample in [first, last) that is not zero."""
    return first + int(np.flatnonzero(track[first:last])[0])


def speech_span(track: Track, rate: int, first: int, last: int) -> tuple[int, int]:
    """Return (onset, end) of speech in [first, last): 5 ms RMS within 35 dB of the loudest 5 ms."""
    window = rate // 200
    part = np.concatenate([np.zeros(window), track[first:last], np.zeros(window)])
    power = np.convolve(part**2, np.ones(window) / window, mode="valid")
    audible = np.flatnonzero(power >= power.max() * 10**-3.5)
    # power[k] covers part[k : k + window], centred on track sample k - window / 2.
    return first + int(audible[0]) - window // 2, first + int(audible[-1]) - window // 2 + 1
