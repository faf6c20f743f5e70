"""Sets before which nothing names what they need and is not in the hand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from cuelane.base.language import Language, load_language
from cuelane.base.schedule import Event, Schedule
from cuelane.session.cues.handling import PUT_DOWN_FROM_MS, held
from cuelane.session.model import Interval, Session

# What in a set may be about the one that follows at once.
_ABOUT_THE_NEXT = ("time", "preview", "side", "change")


def not_picked_up(session: Session, schedule: Schedule) -> dict[tuple[str, str], int]:
    """Return how often an exercise begins without a word of a thing that it needs and is not in the hand."""
    words = load_language(session.plan.language)
    cues: dict[int, list[Event]] = {}
    for cue in schedule.cues:
        cues.setdefault(cue.interval, []).append(cue)
    found: Counter[tuple[str, str]] = Counter()
    last: Interval | None = None
    for entry in session.intervals:
        if entry.kind != "work" or entry.exercise is None or entry.half == 2 or entry.pattern == "script":
            continue
        first = 0 if last is None else last.index + 1
        between = [row for row in session.intervals[first : entry.index] if row.exercise is None]
        heard = list(_heard(between, last, cues))
        for thing in _missing(entry, last, between, words):
            if not any(_names(text, thing, words) for text in heard):
                found[entry.exercise, thing] += 1
        last = entry
    return dict(found)


def _missing(
    entry: Interval, last: Interval | None, between: Sequence[Interval], words: Language
) -> Iterator[str]:
    rests = any(row.kind != "change" and row.length_ms >= PUT_DOWN_FROM_MS for row in between)
    in_hand = () if last is None or rests else held(last, words)
    yield from (thing for thing in held(entry, words) if thing not in in_hand)


def _heard(between: Sequence[Interval], last: Interval | None, cues: dict[int, list[Event]]) -> Iterator[str]:
    for row in between:
        yield from (cue.text or "" for cue in cues.get(row.index, ()))
    if not between and last is not None:
        yield from (cue.text or "" for cue in cues.get(last.index, ()) if cue.role in _ABOUT_THE_NEXT)


def _names(text: str, thing: str, words: Language) -> bool:
    """Return whether a text names a thing: as the plan has it, as a known one, or by its last words."""
    bare = thing.split(" ", 1)[-1]
    return any(name.casefold() in text.casefold() for name in (thing, words.definite(thing), bare))
