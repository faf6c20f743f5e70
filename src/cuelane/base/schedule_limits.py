"""What a schedule file may hold at most, and the checks of its JSON that need no knowledge of its keys.

A schedule comes with a track from anywhere. Within these limits reading it takes under 1.5 GB, and what is
done with it takes time in proportion to its session. All are beyond what a plan of 24 hours gives.
"""

from __future__ import annotations

import json
import math
import re
from typing import Any, NoReturn

from cuelane.base.errors import AudioFileError

MAX_BYTES = 48_000_000
"""In the worst case, JSON of empty lists, reading takes 22 times the file's size in memory."""

MAX_INTERVALS = 50_000
MAX_EVENTS = 200_000
MAX_DROPPED = 200_000
MAX_WORDS = 2_000
"""For each cue."""

MAX_CHARACTERS = 10_000
"""For each text; a plan's own have 600 at most."""

MAX_LENGTH_S = 25 * 3600
"""A plan lasts 24 hours at most."""

MAX_EVENT_S = 600
"""As long as the longest clip."""

_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def parsed(text: str, source: str) -> Any:
    """Return the JSON value in `text`, in which every number is finite and every character whole.

    Raises
    ------
    AudioFileError : not JSON, or it holds such a number or such text.
    """
    try:
        data = json.loads(text, parse_constant=_no_constant, parse_float=_finite, parse_int=_int64)
    except (ValueError, RecursionError) as error:
        if not text.lstrip().startswith("{"):
            why = "it is not JSON; a track's schedule lies beside it, as NAME.schedule.json"
            raise AudioFileError(f"{source}: not a schedule: {why}") from error
        raise AudioFileError(f"{source}: not a schedule: {error}") from error
    if _SURROGATE.search(text):
        try:
            json.dumps(data, ensure_ascii=False).encode("utf-8")
        except UnicodeEncodeError as error:
            raise AudioFileError(
                f"{source}: holds half of a character (a lone surrogate), which no file can keep"
            ) from error
    return data


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number that JSON has")


def _finite(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise ValueError(f"{digits[:20]} is larger than a number may be")
    return value


def _int64(digits: str) -> int:
    # The longest is 20 characters, sign included; longer ones take quadratic time to read.
    value = int(digits) if len(digits) <= 20 else 2**64
    if not -(2**63) <= value < 2**63:
        raise ValueError(f"{digits[:20]} is larger than a whole number may be")
    return value


def require_count(rows: list[Any], most: int, where: str) -> None:
    """Raise AudioFileError if there are more than `most` rows."""
    if len(rows) > most:
        raise AudioFileError(f"{where}: has {len(rows)} entries; at most {most} are read")


def require_plain(value: str, where: str) -> None:
    """Raise AudioFileError if a text is too long, or holds a character that controls a terminal."""
    if len(value) > MAX_CHARACTERS:
        raise AudioFileError(f"{where} has {len(value)} characters; at most {MAX_CHARACTERS} are read")
    if found := _CONTROL.search(value):
        raise AudioFileError(f"{where} holds a control character (U+{ord(found[0]):04X})")
