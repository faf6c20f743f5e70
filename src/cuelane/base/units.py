"""Conversions between milliseconds, samples and what people write. The only place that rounds time.

Plans hold integer milliseconds and schedules absolute integer samples. :func:`to_sample` rounds to the
nearest sample (halves up) in integer arithmetic, so that no binary float is ever truncated: at 48 kHz
``int(0.29 * 48000)`` is 13919, the right answer is 13920.
"""

from __future__ import annotations

import re
from decimal import Decimal

SAMPLE_RATE = 48_000
SAMPLE_RATES = range(4_000, 768_001)
"""Hz, of sound that is read: from a telephone's half rate to sixteen times 48 kHz (chosen)."""

_SPELT_MS = {
    3_600_000: ("h", "hr", "hrs", "hour", "hours"),
    60_000: ("m", "min", "mins", "minute", "minutes"),
    1_000: ("s", "sec", "secs", "second", "seconds"),
    1: ("ms",),
}
_UNITS_MS = {unit: unit_ms for unit_ms, units in _SPELT_MS.items() for unit in units}
UNITS = tuple(sorted(_UNITS_MS, key=len, reverse=True))
"""How a duration's units are written, in small letters; a longer one comes before what it begins with."""

_UNIT = "|".join(UNITS)
_PART = re.compile(rf"(\d+(?:\.\d+)?)\s*({_UNIT})\s*", re.ASCII)
_STOPPED = re.compile(rf"(\d+(?:\.\d+)?)\s*({_UNIT})\.", re.ASCII)
_COMMA = re.compile(rf"(\d+),(\d+)\s*({_UNIT})?", re.ASCII)
_CLOCK = re.compile(r"(?:(\d+):)?(\d+):(\d\d(?:\.\d{1,3})?)", re.ASCII)
_NUMBER = re.compile(r"\d+(?:\.\d+)?", re.ASCII)


def to_sample(time_ms: int, sample_rate: int) -> int:
    """Return the sample nearest to `time_ms` (>= 0); an exact half rounds up."""
    return (time_ms * sample_rate * 2 + 1000) // 2000


def to_ms(sample: int, sample_rate: int) -> int:
    """Return the millisecond nearest to `sample` (>= 0); an exact half rounds up."""
    return (sample * 2000 + sample_rate) // (2 * sample_rate)


def to_seconds(sample: int, sample_rate: int) -> float:
    """Return `sample` in seconds, for people and for formats that want a float."""
    return sample / sample_rate


def parse_duration_ms(text: str | int | float) -> int:
    """Return milliseconds for ``40s``, ``1m30s``, ``1:30``, ``1:02:03``, ``2.5s``, ``250ms`` or ``90``.

    A bare number is seconds. Units may be written out, as in ``2 minutes`` or ``1 min 30 secs``.

    Raises
    ------
    ValueError : not a duration, negative, or finer than a millisecond.
    """
    if isinstance(text, bool) or len(str(text)) > 32:
        raise ValueError("a duration, such as 40s, 1m30s or 1:30")
    written = str(text).strip().lower()
    total: Decimal
    if match := _CLOCK.fullmatch(written):
        hours, minutes, seconds = match.groups()
        if (hours is not None and int(minutes) > 59) or Decimal(seconds) >= 60:
            raise ValueError("a clock time whose minutes and seconds are below 60, such as 1:30")
        total = Decimal(int(hours or 0) * 3600 + int(minutes) * 60) + Decimal(seconds)
        total *= 1000
    elif _NUMBER.fullmatch(written):
        total = Decimal(written) * 1000
    else:
        rest = written
        total = Decimal(0)
        last_unit_ms = 10**9
        while rest:
            part = _PART.match(rest)
            if part is None or _UNITS_MS[part[2]] >= last_unit_ms:
                raise ValueError(_expected(written))
            last_unit_ms = _UNITS_MS[part[2]]
            total += Decimal(part[1]) * last_unit_ms
            rest = rest[part.end() :]
        if last_unit_ms == 10**9:
            raise ValueError("a duration, such as 40s, 1m30s or 1:30")
    if total != total.to_integral_value():
        raise ValueError("a duration in whole milliseconds")
    return int(total)


def _expected(written: str) -> str:
    """Return what a duration would have been, written as it seems to be meant."""
    if stopped := _STOPPED.fullmatch(written):
        return f"a duration, such as {stopped[1]} {stopped[2]}"
    if comma := _COMMA.fullmatch(written):
        unit = comma[3] or "s"
        return f"a duration with a decimal point, such as {comma[1]}.{comma[2]}{' ' * (len(unit) > 3)}{unit}"
    return "a duration, such as 40s, 1m30s or 1:30"


def counted(n: int, thing: str, things: str = "") -> str:
    """Return ``1 cue`` or ``3 cues``; `things` is what several are called where that is not with an s."""
    return f"{n} {thing if n == 1 else things or thing + 's'}"


def format_duration(time_ms: int) -> str:
    """Return a duration as people write it: ``40s``, ``1m30s``, ``2.5s``, ``1h05m``."""
    seconds, millis = divmod(time_ms, 1000)
    fraction = f".{millis:03d}".rstrip("0") if millis else ""
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        tail = f"{seconds:02d}{fraction}s" if seconds or millis else ""
        return f"{hours}h{minutes:02d}m{tail}"
    if minutes:
        return f"{minutes}m{seconds:02d}{fraction}s" if seconds or millis else f"{minutes}m"
    return f"{seconds}{fraction}s"


def format_clock(time_ms: int) -> str:
    """Return ``M:SS`` or ``H:MM:SS``, rounded down to the second as a running clock shows it."""
    minutes, seconds = divmod(time_ms // 1000, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{minutes}:{seconds:02d}"
