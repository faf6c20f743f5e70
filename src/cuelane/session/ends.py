"""How a session begins and ends: what it is and how it goes, and at the end what was done.

A plan's own closing stands as written. A session that is scripted outright gets its title, its equipment and
its cautions, and nothing more.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from cuelane.base.language import Language
from cuelane.plan.model import CueLine, Plan
from cuelane.session.arc import arc_of, first_halves
from cuelane.session.model import Interval, Session
from cuelane.session.pattern_words import how_it_goes

# An easy pace, as slow as any voice here speaks, so that the same plan has the same boundaries with every
# voice: 133 words a minute, a breath at each full stop and between lines.
_EASY_WORD_MS = 450
_EASY_STOP_MS = 250
_EASY_EDGES_MS = 1_500
SHORTEST_TALK_MS = 3_000


def easy_talk_ms(texts: Sequence[str]) -> int:
    """Return time enough to say `texts` at an easy pace, in whole seconds' milliseconds.

    A digit takes as long as a word, and a language written without spaces about a word for four letters.
    """
    words = sum(
        max(len(text.split()), len(text) // 8) + sum(letter.isdigit() for letter in text) for text in texts
    )
    stops = sum(text.count(mark) for text in texts for mark in ".!?") + len(texts)
    time_ms = words * _EASY_WORD_MS + stops * _EASY_STOP_MS + _EASY_EDGES_MS
    return max(SHORTEST_TALK_MS, -(-time_ms // 1000) * 1000)


_NO_COOL_DOWN_FROM_MS = 10 * 60_000
_MOST_PARTS = 6
# Work so gentle that it is a cool-down itself.
_GENTLE = ("flow", "breath", "script")


def as_lines(texts: Sequence[str]) -> tuple[CueLine, ...]:
    """Return texts as cue lines."""
    return tuple(CueLine(text=text) for text in texts)


def opening(
    plan: Plan,
    cautions: tuple[CueLine, ...],
    words: Language,
    body: Sequence[Interval],
    session: Session | None,
) -> Interval:
    """Return a talk interval: the title, how long and how it goes, what is needed, and the cautions.

    `session` is a first count of the whole, None for that first count itself.
    """
    title = words.say("opening", "title", title=plan.title)
    lines = [title]
    if session is not None and plan.coaching != "spare" and any(row.appearance for row in session.intervals):
        minutes = max(1, round(session.length_ms / 60_000))
        about = words.say("opening", "length", count=minutes, n=words.number(minutes))
        lines = [f"{title} {about}", *_parts(session, words)]
    needs = equipment(body)
    if needs:
        lines.append(words.say("opening", "needs", items=words.listing(needs)))
    heavier = [thing for thing in _heavier(body) if thing not in needs]
    if heavier:
        lines.append(words.say("opening", "needs_option", items=words.listing(heavier)))
    told = (*as_lines(lines), *cautions)
    length_ms = easy_talk_ms([line.text for line in told])
    return Interval(0, words.phrase("blocks", "opening"), -1, "opening", "talk", 0, length_ms, lines=told)


def _parts(session: Session, words: Language) -> list[str]:
    """Return how the one block goes, or which parts there are."""
    blocks: dict[int, str] = {}
    for entry in session.intervals:
        if entry.exercise is not None or entry.cycle is not None:
            blocks.setdefault(entry.block_index, entry.block)
    if len(blocks) == 1:
        how = how_it_goes(arc_of(session), next(iter(blocks)), words)
        return [how] if how else []
    names = list(blocks.values())
    if len(names) > _MOST_PARTS or len(set(names)) < len(names):
        return []
    return [words.say("opening", "parts", n=words.number(len(names)), items=words.listing(names))]


def closing(plan: Plan, words: Language, body: Sequence[Interval], session: Session | None) -> list[Interval]:
    """Return a talk interval at the very end: the last words, or room for the last pip to ring out."""
    if body and body[-1].kind == "talk" and (body[-1].lines or body[-1].length_ms >= SHORTEST_TALK_MS):
        return []
    if plan.closing is False:
        lines: tuple[CueLine, ...] = ()
    else:
        lines = tuple(plan.closing) or as_lines(_own_closing(plan, words, session))
    length_ms = easy_talk_ms([line.text for line in lines])
    return [Interval(0, words.phrase("blocks", "closing"), -1, "closing", "talk", 0, length_ms, lines=lines)]


def _own_closing(plan: Plan, words: Language, session: Session | None) -> list[str]:
    """Return what was done, and that the body is to slow down: it has, or this track does not lead it."""
    usual = words.phrases("closing", "lines")
    sets = first_halves(session.intervals) if session is not None else []
    if len(sets) < 2 or plan.coaching == "spare" or session is None:
        return usual
    cools = [re.compile(entry, re.I) for entry in words.phrases("lint", "cool_down")]
    last = [entry for entry in session.intervals if entry.exercise is not None or entry.cycle is not None][-1]
    if any(entry.search(last.block) for entry in cools) and last.block_index != sets[0].block_index:
        return [
            words.say("closing", "done", count=len(sets), n=words.number(len(sets))),
            words.phrase("closing", "cooled"),
        ]
    if session.length_ms < _NO_COOL_DOWN_FROM_MS or last.pattern in _GENTLE:
        return usual
    done = words.say("closing", "done", count=len(sets), n=words.number(len(sets)))
    return [done, words.phrase("closing", "no_cool_down")]


def equipment(intervals: Sequence[Interval]) -> list[str]:
    """Return what the session needs, each thing once, in order of first need."""
    needs: dict[str, None] = {}
    for interval in intervals:
        for thing in interval.spec.needs if interval.spec else ():
            needs.setdefault(thing)
    return list(needs)


def _heavier(intervals: Sequence[Interval]) -> list[str]:
    needs: dict[str, None] = {}
    for interval in intervals:
        for thing in interval.spec.heavier_needs if interval.spec else ():
            needs.setdefault(thing)
    return list(needs)
