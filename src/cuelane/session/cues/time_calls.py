"""How much time is left: which calls a set has, and in which words.

Where the plan has ``calls``, they are made in sets of 30 s and more, and no other; one of more than half a
set, or that the countdown is about to say, is left out. Otherwise each set of 30 s and more has a call ten
seconds before its end (fifteen, where the countdown is about to say ten anyway); one of a minute and more
also has one at its half, and of shorter ones every other. The words say what follows: rest, the other side,
or, where equipment or position changes too, the next exercise itself. Where people stretch or cool
down nothing is called out.
"""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import APART_MS, Here, ends_training
from cuelane.session.manner import manner_of

TEN_MS = 10_000

_FROM_MS = 30_000
# Of a set on each side the second half is the end of the set.
_HALF_FROM_MS = 20_000
_HALF_CALL_FROM_MS = 40_000
_TWO_FROM_MS = 60_000
_KEPT_FROM_PIPS_MS = 4_000
_REST_FROM_MS = 20_000
_FIFTEEN_MS = 15_000
_EXTRA_WEIGHT = 22


def has_ten(here: Here) -> bool:
    """Return whether the rule gives this set a call ten seconds before its end."""
    interval = here.interval
    return interval.calls_ms is None and _is_long(here) and is_clear(here, TEN_MS) and not _is_still(here)


def _is_still(here: Here) -> bool:
    return manner_of(here.arc, here.interval.index, here.words) is not None


def _is_long(here: Here) -> bool:
    interval = here.interval
    return interval.length_ms >= (_HALF_FROM_MS if interval.half == 2 else _FROM_MS)


def time_calls(here: Here, late_room: int) -> Iterator[Candidate]:
    """Yield a set's calls; `late_room` is how many cues its last seconds still have room for."""
    interval = here.interval
    if interval.calls_ms is not None:
        for left_ms in interval.calls_ms if interval.length_ms >= _FROM_MS else ():
            if left_ms * 2 <= interval.length_ms and is_clear(here, left_ms) and left_ms % 1000 == 0:
                yield _call(here, left_ms)
        return
    if not _is_long(here) or _is_still(here):
        return
    half_ms = interval.length_ms // 2
    if late_room > 0:
        left_ms = TEN_MS if is_clear(here, TEN_MS) else _FIFTEEN_MS
        if is_clear(here, left_ms) and left_ms * 2 <= interval.length_ms:
            yield _call(here, left_ms)
    # Half of a set on each side is its turn.
    if interval.half or interval.length_ms < _HALF_CALL_FROM_MS or half_ms % 1000 or here.level == "spare":
        return
    if interval.length_ms >= _TWO_FROM_MS or (interval.set_index or 0) % 2:
        yield _call(here, half_ms, extra=interval.length_ms < _TWO_FROM_MS)


def is_clear(here: Here, left_ms: int) -> bool:
    """Return whether the countdown is not about to say it anyway."""
    countdown = here.interval.countdown
    pips_ms = countdown.count * countdown.spacing_ms if countdown else 0
    return left_ms >= pips_ms + _KEPT_FROM_PIPS_MS


def _key(here: Here, left_ms: int) -> tuple[str, str]:
    """Return the phrase for a call, and what is to be said of it by `--why`."""
    interval = here.interval
    seconds = left_ms // 1000
    if left_ms * 2 == interval.length_ms and left_ms != TEN_MS and interval.half is None:
        return "half", ""
    if seconds % 60 == 0:
        return "minutes", ""
    if interval.half == 1:
        return "side", "; the other side follows"
    if interval.calls_ms is None and left_ms == TEN_MS and ends_training(here):
        return "session_end", ", which are the session's last of work"
    following = here.arc.session.intervals[interval.index + 1 :][:1]
    if left_ms <= _FIFTEEN_MS and following and following[0].kind == "rest":
        return "rest", "; rest follows"
    return "seconds", ""


def _call(here: Here, left_ms: int, *, extra: bool = False) -> Candidate:
    interval, words = here.interval, here.words
    key, why = _key(here, left_ms)
    count = left_ms // (60_000 if key == "minutes" else 1000)
    text = here.say("time", key, count=count, n=words.number(count))
    return Candidate(
        "time", text, _EXTRA_WEIGHT if extra else WEIGHTS["time"], f"starts exactly at its time left{why}",
        start_ms=interval.length_ms - left_ms, quiet_ms=APART_MS, uses=(f"time.{key}",),
    )  # fmt: skip


def rest_call(here: Here) -> Iterator[Candidate]:
    """Yield the call ten seconds before the end of a rest or change of 20 s and more that leads to a set."""
    if not has_rest_call(here):
        return
    key = "rest_seconds" if here.interval.kind == "rest" else "change_seconds"
    text = here.say("time", key, n=here.words.number(10))
    yield Candidate(
        "time", text, WEIGHTS["time"], "ten seconds before the rest ends, after all else",
        start_ms=here.interval.length_ms - TEN_MS, chain=("end", 95), uses=(f"time.{key}",),
    )  # fmt: skip


def has_rest_call(here: Here) -> bool:
    """Return whether a rest has a call ten seconds before its end."""
    interval = here.interval
    return (
        interval.kind in ("rest", "change")
        and interval.length_ms >= _REST_FROM_MS
        and here.level != "spare"
        and here.around.following is not None
        and not interval.lines
        and is_clear(here, TEN_MS)
    )
