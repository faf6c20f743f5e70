"""How much time is left: which call a set has, and in which words.

Where the plan has ``calls``, they are made, and no other. Otherwise each set of 30 s and more has one (from
60 s on, two), out of halfway, fifteen and ten seconds left: the one that has been made longest ago, so that
none comes in more than two sets in a row, and ten seconds only where the end of the set has room for it.
"""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import Here, ends_training

_FROM_MS = 30_000
_TWO_FROM_MS = 60_000
_KEPT_FROM_PIPS_MS = 4_000
_REST_FROM_MS = 20_000
_TEN_MS = 10_000


def time_calls(here: Here, late_room: int) -> Iterator[Candidate]:
    """Yield a set's calls; `late_room` is how many cues its last seconds still have room for."""
    interval = here.interval
    if interval.length_ms < _FROM_MS:
        return
    own = interval.calls_ms
    if own is None:
        own = _by_rule(here, late_room)
    for left_ms in own:
        if left_ms * 2 <= interval.length_ms and _is_clear(here, left_ms) and left_ms % 1000 == 0:
            yield _call(here, left_ms)


def _is_clear(here: Here, left_ms: int) -> bool:
    """Return whether the countdown is not about to say it anyway."""
    countdown = here.interval.countdown
    pips_ms = countdown.count * countdown.spacing_ms if countdown else 0
    return left_ms >= pips_ms + _KEPT_FROM_PIPS_MS


def _ends_all(here: Here) -> bool:
    return ends_training(here) and here.interval.half != 1


def _by_rule(here: Here, late_room: int) -> tuple[int, ...]:
    interval = here.interval
    half_ms = interval.length_ms // 2
    if _ends_all(here) and late_room > 0:
        # The end of everything is worth the same words every time.
        return (half_ms, _TEN_MS) if interval.length_ms >= _TWO_FROM_MS else (_TEN_MS,)
    choices = {"ten": _TEN_MS} if late_room > 0 else {}
    if here.level != "spare":
        if interval.length_ms >= 40_000:
            choices["fifteen"] = 15_000
        if half_ms % 1000 == 0:
            choices["half"] = half_ms
    ranked = sorted(choices, key=lambda name: here.history.calls.get(name, 0))
    if interval.length_ms >= _TWO_FROM_MS and here.level != "spare" and "half" in choices:
        other = [name for name in ranked if name != "half"][:1]
        return tuple(choices[name] for name in ("half", *other))
    return tuple(choices[name] for name in ranked[:1])


def _call(here: Here, left_ms: int) -> Candidate:
    interval, words = here.interval, here.words
    seconds, half = left_ms // 1000, left_ms * 2 == interval.length_ms
    key = "half" if half else ("minutes" if seconds % 60 == 0 else "seconds")
    name = {10: "ten", 15: "fifteen"}.get(seconds, str(seconds))
    wish = "starts exactly at its time left"
    uses = f"time.{key}"
    if _ends_all(here) and left_ms == _TEN_MS and interval.calls_ms is None:
        text = here.say("time", "session_end", n=words.number(seconds))
        uses, wish = "time.session_end", f"{wish}, which are the session's last of work"
    else:
        text = words.time_left(left_ms, interval.length_ms, here.history.phrases.get(uses, 0))
        if interval.calls_ms is None:
            wish += "; the call that was made longest ago"
    return Candidate(
        "time", text, WEIGHTS["time"], wish, start_ms=interval.length_ms - left_ms, uses=(uses,),
        tells=(("call", "half" if half else name),),
    )  # fmt: skip


def rest_call(here: Here) -> Iterator[Candidate]:
    """Yield the call ten seconds before a rest ends, in rests of 20 s and more that lead to a set."""
    interval = here.interval
    if interval.length_ms < _REST_FROM_MS or here.level == "spare" or here.around.following is None:
        return
    if not _is_clear(here, _TEN_MS):
        return
    text = here.say("time", "rest_seconds", n=here.words.number(10))
    yield Candidate(
        "time", text, WEIGHTS["time"], "ten seconds before the rest ends, after all else",
        start_ms=interval.length_ms - _TEN_MS, chain=("end", 95), uses=("time.rest_seconds",),
    )  # fmt: skip
