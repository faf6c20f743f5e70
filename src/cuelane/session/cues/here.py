"""Where a cue would be said, and the plan's own lines there: which apply, whose turn it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import gcd
from typing import Literal

from cuelane.base.language import Language, fill
from cuelane.plan.parts import CueLine
from cuelane.session.arc import Arc
from cuelane.session.candidates import WEIGHTS, Candidate, History
from cuelane.session.model import Interval
from cuelane.session.neighbours import Neighbours

LATE_MS = 12_000
"""Of a set of `LATE_FROM_MS` and more, the last part, in which at most `LATE_CUES` cues begin."""
LATE_FROM_MS = 20_000
LATE_CUES = 2
AFTER_SET_UP = ("start", 500)
"""In the order of a set: name, set-up or reminder and caution, options, and then all else."""
APART_MS = 3_500
"""The silence wished in a set before a cue that has nothing to do with the one before it."""

_SECOND_FORM_WEIGHT = 25
# Less than all else: where a set could carry more than is looked at, these are the first to be left out.
_MORE_FORM_WEIGHT = 9
_OPTIONS = ("easier", "harder")
# Three lines and more in one long set are spread over it, from well before where one would be.
_FIRST_OF_SEVERAL, _LAST_OF_SEVERAL = -0.25, 0.35
# Two are in both halves of a set as long as this.
_LONG_SET_MS, _TWO_IN_LONG = 90_000, (-0.15, 0.2)
# Where lines in turn are said moves with the appearance, so that no line stands in one place every time.
_SHIFTS = (0.0, 0.09, -0.08)


@dataclass(frozen=True)
class Here:
    """An interval with its session, as the rules look at it."""

    arc: Arc
    interval: Interval
    words: Language
    history: History

    @property
    def around(self) -> Neighbours:
        return self.arc.around[self.interval.index]

    @property
    def level(self) -> str:
        return self.arc.session.plan.coaching

    @property
    def late_from_ms(self) -> int | None:
        """Where the last part of a set begins, None in other intervals and short sets."""
        if self.interval.kind != "work" or self.interval.length_ms < LATE_FROM_MS:
            return None
        return self.interval.length_ms - LATE_MS

    @property
    def before_late_ms(self) -> int | None:
        """The last millisecond at which a cue may start that is not for the end of the set."""
        return None if self.late_from_ms is None else self.late_from_ms - 1

    @property
    def shift(self) -> float:
        """Return by how much, as a part of the interval, lines in turn are moved at this appearance."""
        return _SHIFTS[(self.interval.appearance or 0) % len(_SHIFTS)]

    def say(self, section: str, key: str, *, count: int | None = None, **values: str | None) -> str:
        """Return a phrase of the pack in the form whose turn it is; all but praise has a usual form."""
        turn = self.history.phrases.get(f"{section}.{key}", 0)
        return self.words.say(section, key, turn=turn, usual=section != "praise", count=count, **values)


def ends_training(here: Here) -> bool:
    """Return whether nothing is done after this set: no other set, and no breathing."""
    later = here.arc.session.intervals[here.interval.index + 1 :]
    return here.around.after is None and not any(entry.kind in ("in", "hold", "out") for entry in later)


def applies(line: CueLine, interval: Interval) -> bool:
    """Return whether a line's own `rounds` (counted in appearances) and `from_round` include this one."""
    appearance = interval.appearance or 1
    if line.from_round is not None and (interval.round or 1) < line.from_round:
        return False
    if line.rounds is None:
        return True
    if line.rounds == "first":
        return appearance == 1
    if line.rounds == "last":
        return appearance == interval.appearances
    if line.rounds == "odd":
        return appearance % 2 == 1
    if line.rounds == "even":
        return appearance % 2 == 0
    return appearance in (line.rounds if isinstance(line.rounds, list) else [line.rounds])


def own_lines(interval: Interval, role: str) -> list[CueLine]:
    """Return the lines that the plan has for a role of this interval's exercise."""
    return list(getattr(interval.spec, role)) if interval.spec else []


def due(here: Here, role: str) -> list[CueLine]:
    """Return the lines of a role that apply to this appearance."""
    return [line for line in own_lines(here.interval, role) if applies(line, here.interval)]


def tally_of(interval: Interval, role: str, line: CueLine) -> tuple[str, str, str]:
    """Return what a line is counted by: two exercises of one name in two plans have lines of their own.

    A line that names the side is another line on the other side, and so is an option where sides alternate.
    """
    sides = interval.spec.sides if interval.spec else "none"
    sided = "{" in line.text if role not in _OPTIONS else "{" in line.text or sides == "alternate"
    side = f" {interval.side}" if sided and sides != "each" else ""
    return f"{interval.exercise} {id(interval.spec)}{side}", role, line.text


def turn_of(interval: Interval, appearance: int | None = None) -> int:
    """Return the number of an exercise's turn, from 1; where sides alternate, two appearances make one."""
    number = interval.appearance if appearance is None else appearance
    alternates = interval.spec is not None and interval.spec.sides == "alternate"
    return ((number or 1) + 1) // 2 if alternates else number or 1


def turns_of(interval: Interval) -> int:
    """Return how many turns an exercise has in the whole session."""
    return turn_of(interval, interval.appearances or 1)


def was_said(here: Here, interval: Interval, role: str, line: CueLine) -> bool:
    """Return whether a line of an exercise has been spoken."""
    return here.history.times.get(tally_of(interval, role, line), 0) > 0


def is_told_now(here: Here, interval: Interval, role: str, line: CueLine) -> bool:
    """Return whether a line was last spoken for this appearance of its exercise."""
    return here.history.last.get(tally_of(interval, role, line)) == interval.appearance


@dataclass(frozen=True)
class Spot:
    """Where in an interval a line would be said, and why there; the fields are those of `Candidate`.

    ``weight`` None is the role's own.
    """

    wish: str
    toward: float = 0.0
    chain: tuple[str, int] | None = None
    not_before_ms: int = 0
    latest_ms: int | None = None
    quiet_ms: int = 0
    weight: int | None = None
    must: bool = False


def line_candidate(here: Here, role: str, line: CueLine, spot: Spot) -> Candidate:
    """Return a line of the plan as it would be spoken in this set."""
    text = with_sides(line.text, here.interval, here.words)
    uses: tuple[str, ...] = ()
    if role in ("easier", "harder", "swap") and not stands_as_written(line, here.words):
        text, uses = as_choice(here, role, text)
    pinned, must = line.at is not None, spot.must if line.must is None else line.must
    weight = WEIGHTS[role] if spot.weight is None else spot.weight
    return Candidate(
        role,
        text,
        weight if line.weight is None else line.weight,
        "where the plan fixes it" if pinned else spot.wish,
        must=must,
        start_ms=line.at,
        toward=spot.toward,
        chain=None if pinned else spot.chain,
        tally=tally_of(here.interval, role, line),
        not_before_ms=0 if pinned or must else spot.not_before_ms,
        latest_ms=None if pinned or must else spot.latest_ms,
        quiet_ms=spot.quiet_ms,
        uses=uses,
        clip=line.clip,
        mark=line.mark,
    )


def as_choice(here: Here, role: str, text: str) -> tuple[str, tuple[str, ...]]:
    """Return an option with words before it that say it is one, and the phrase they are."""
    return here.say("options", role, text=text, inner=here.words.inside(text)), (f"options.{role}",)


def stands_as_written(line: CueLine, words: Language) -> bool:
    """Return whether an option is a recording, or makes plain by itself that it is an option."""
    return line.clip is not None or any(
        word in line.text.lower() for word in words.phrases("options", "told")
    )


def in_turn(
    here: Here, role: str, spot: Spot, *, most: int = 1, rest_appearances: int = 0
) -> Iterator[Candidate]:
    """Yield the role's next lines in turn: only those used least, so none repeats before all have been used.

    Lines that name their rounds stand outside the turn. A lone line is not said at consecutive appearances,
    nor within ``rest_appearances`` of its last; an option has two where sides alternate, one for each.
    """
    turning: list[CueLine] = []
    for line in own_lines(here.interval, role):
        if line.rounds is None and line.at is None:
            turning += [line] if applies(line, here.interval) else []
        elif applies(line, here.interval):
            yield line_candidate(here, role, line, replace(spot, weight=None))
    times = {line.text: here.history.times.get(tally_of(here.interval, role, line), 0) for line in turning}
    due_now: list[CueLine] = []
    for line in mixed(turning, min(times.values(), default=0)):
        last = here.history.last.get(tally_of(here.interval, role, line))
        too_soon = last is not None and _since(here.interval, role, last) < 2 + rest_appearances
        if times[line.text] == min(times.values()) and not too_soon:
            due_now.append(line)
    for place, line in enumerate(due_now[:most]):
        toward = spot.toward + _apart(place, len(due_now[:most]), here.interval.length_ms)
        weight = (spot.weight, _SECOND_FORM_WEIGHT, _MORE_FORM_WEIGHT)[min(place, 2)]
        yield line_candidate(here, role, line, replace(spot, toward=toward, weight=weight))


def _apart(place: int, n_lines: int, length_ms: int) -> float:
    """Return how far behind where one line would be line `place` of several is, as a part of the interval."""
    if n_lines == 2 and length_ms >= _LONG_SET_MS:
        return _TWO_IN_LONG[place]
    if n_lines <= 2:
        return 0.22 * place
    return _FIRST_OF_SEVERAL + (_LAST_OF_SEVERAL - _FIRST_OF_SEVERAL) * place / (n_lines - 1)


def _since(interval: Interval, role: str, last: int) -> int:
    """Return how many appearances ago the one with number `last` was, in turns for an option."""
    if role in _OPTIONS:
        return turn_of(interval) - turn_of(interval, last)
    return (interval.appearance or 1) - last


def mixed(lines: Sequence[CueLine], times: int) -> list[CueLine]:
    """Return lines in the order in which they are taken once all have been said so many `times`.

    Each time through, they begin one later and go in other steps: two lines that once stood together, or
    that were heard on the left side only, do not do so for the rest of the session.
    """
    n = len(lines)
    steps = [step for step in range(1, n) if gcd(step, n) == 1] or [1]
    step = steps[times % len(steps)]
    return [lines[(times + step * number) % n] for number in range(n)]


def with_sides(text: str, interval: Interval, words: Language) -> str:
    """Return `text` with ``{side}`` and ``{other_side}`` filled in, capitals where sentences begin."""
    if interval.side is None or "{" not in text:
        return text
    values = {"side": words.side(interval.side), "other_side": words.side(other_side(interval))}
    filled = fill(text, values)
    return filled[:1].upper() + filled[1:]


def other_side(interval: Interval) -> Literal["left", "right"]:
    """Return the side that a set is not done on."""
    return "right" if interval.side == "left" else "left"


def side_form(interval: Interval) -> str:
    """Return which form of a phrase names a set's side: none, the side, or both where they come in one set.

    An exercise on each side has always both, and is named by the first; one whose sides alternate is said to
    have both in the set in which it has.
    """
    if not interval.side:
        return ""
    split = interval.half is not None and interval.spec is not None and interval.spec.sides == "alternate"
    return "_both" if split else "_side"
