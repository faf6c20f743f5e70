"""How a session begins and ends: what it is and how it goes, and at the end what was done.

A plan's own closing stands as written. A session that is scripted outright gets its title, its equipment and
its cautions, and nothing more.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from cuelane.base.language import Language
from cuelane.plan.model import Plan
from cuelane.plan.parts import CueLine
from cuelane.plan.values import MAX_TEXT
from cuelane.session.arc import arc_of
from cuelane.session.equipment import heavier_needs_of, needs_of
from cuelane.session.model import Interval, Session
from cuelane.session.part_names import is_main, is_named, main_sets
from cuelane.session.pattern_words import how_it_goes

# An easy pace, as slow as any voice here speaks, so that the same plan has the same boundaries with every
# voice: 133 words a minute, a breath at each full stop and between lines.
_EASY_WORD_MS = 450
# What is no caution is said quicker: 150 words a minute.
_PLAIN_WORD_MS = 400
# Around breathing it is said slower: 120 words a minute.
_SLOW_WORD_MS = 500
_EASY_STOP_MS = 250
_EASY_EDGES_MS = 1_500
SHORTEST_TALK_MS = 3_000
AFTER_BREATH_MS = 5_000
"""The silence after the last breath of a block, before talk of which the plan gives no length."""


def easy_talk_ms(texts: Sequence[str], plain: Sequence[str] = ()) -> int:
    """Return time to say `texts` at an easy pace and `plain` quicker, in whole seconds' milliseconds."""
    time_ms = sum(map(_easy_ms, texts)) + sum(_easy_ms(text, _PLAIN_WORD_MS) for text in plain)
    time_ms += _EASY_EDGES_MS
    return max(SHORTEST_TALK_MS, -(-time_ms // 1000) * 1000)


def slow_talk_ms(texts: Sequence[str]) -> int:
    """Return time enough to say `texts` as slowly as before a breath, in whole seconds' milliseconds."""
    time_ms = sum(_easy_ms(text, _SLOW_WORD_MS) for text in texts) + _EASY_EDGES_MS
    return max(SHORTEST_TALK_MS, -(-time_ms // 1000) * 1000)


def easy_places(texts: Sequence[str], length_ms: int, from_ms: int = 0) -> list[float]:
    """Return where each text begins at an easy pace, as a part of the time in which it could begin.

    A voice is quicker than that; said there, its lines have the silence between them and not behind them.
    """
    places, at_ms = [], from_ms
    for text in texts:
        own_ms = _easy_ms(text)
        places.append(min(1.0, at_ms / max(1, length_ms - own_ms)))
        at_ms += own_ms
    return places


def word_count(text: str) -> int:
    """Return how many words a text takes the time of.

    A digit takes as long as a word, and a language without spaces about a word for eight letters.
    """
    return max(len(text.split()), len(text) // 8) + sum(letter.isdigit() for letter in text)


def _easy_ms(text: str, word_ms: int = _EASY_WORD_MS) -> int:
    return word_count(text) * word_ms + (sum(text.count(mark) for mark in ".!?") + 1) * _EASY_STOP_MS


# Below this length a session needs neither a warm-up nor a cool-down of its own: common practice, no source.
_ENDS_FROM_MS = 10 * 60_000
_MOST_PARTS = 6


def as_lines(texts: Sequence[str]) -> tuple[CueLine, ...]:
    """Return texts as cue lines, each in as many as its length needs: a list of names may be long."""
    return tuple(
        CueLine(text=part)
        for text in texts
        for part in ([text] if len(text) <= MAX_TEXT else textwrap.wrap(text, MAX_TEXT))
    )


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
    told = session is not None and any(row.appearance or row.cycle for row in session.intervals)
    if session is not None and told and plan.coaching != "spare":
        lines = [*_plan_of(session, title, words), *_cold(session, words)]
        # With time to get ready the pips are explained there, right before the first of them.
        if not plan.lead_in and has_pips(session):
            lines.append(words.phrase("opening", "pips"))
    needs = needs_of(body)
    if needs:
        lines.append(words.say("opening", "needs", items=words.listing(needs)))
    heavier = [thing for thing in heavier_needs_of(body) if thing not in needs]
    if heavier:
        lines.append(words.say("opening", "needs_option", items=words.listing(heavier)))
    whole = (*as_lines(lines), *cautions)
    length_ms = easy_talk_ms([line.text for line in cautions], plain=lines)
    return Interval(0, words.phrase("blocks", "opening"), -1, "opening", "talk", 0, length_ms, lines=whole)


def has_pips(session: Session) -> bool:
    """Return whether anything but talk ends with a long pip."""
    return any(row.countdown for row in session.intervals if row.kind != "talk")


def _plan_of(session: Session, title: str, words: Language) -> list[str]:
    """Return the title with how long it is, and which parts there are or how the one part goes."""
    # Not round, which takes 10.5 minutes for 10 and 11.5 for 12.
    minutes = max(1, (session.length_ms + 30_000) // 60_000)
    n = words.number(minutes)
    blocks: dict[int, str] = {}
    for entry in session.intervals:
        if entry.is_training:
            blocks.setdefault(entry.block_index, entry.block)
    names = list(blocks.values())
    if 1 < len(names) <= _MOST_PARTS and len(set(names)) == len(names):
        items = words.listing(names, "then")
        return [f"{title} {words.say('opening', 'length_parts', count=minutes, n=n, items=items)}"]
    about = f"{title} {words.say('opening', 'length', count=minutes, n=n)}"
    how = how_it_goes(arc_of(session), next(iter(blocks)), words) if len(names) == 1 else None
    return [about, how] if how else [about]


def _cold(session: Session, words: Language) -> list[str]:
    """Return that there is no warm-up, where a long session begins with its main work."""
    first = next(entry for entry in session.intervals if entry.is_training)
    if session.length_ms < _ENDS_FROM_MS or first.exercise is None or not is_main(first, words):
        return []
    return [words.phrase("opening", "no_warm_up")]


def closing(plan: Plan, words: Language, body: Sequence[Interval], session: Session | None) -> list[Interval]:
    """Return a talk interval at the very end: the last words, or room for the last pip to ring out."""
    last = body[-1] if body else None
    if (
        last
        and last.kind == "talk"
        and last.pattern != "breath"
        and (last.lines or last.length_ms >= SHORTEST_TALK_MS)
    ):
        return []
    if plan.closing is False:
        lines: tuple[CueLine, ...] = ()
    else:
        lines = tuple(plan.closing) or as_lines(_own_closing(plan, words, session))
    quiet_ms = AFTER_BREATH_MS if lines and last is not None and last.pattern == "breath" else 0
    length_ms = easy_talk_ms([line.text for line in lines]) + quiet_ms
    name = words.phrase("blocks", "closing")
    return [Interval(0, name, -1, "closing", "talk", 0, length_ms, lines=lines, quiet_ms=quiet_ms)]


def _own_closing(plan: Plan, words: Language, session: Session | None) -> list[str]:
    """Return what was done, and how to come out of it: softly after breathing, slowly after work."""
    done = [entry for entry in session.intervals if entry.is_training] if session is not None else []
    end = words.phrase("closing", "end")
    if session is None or not done:
        return [end, words.phrase("closing", "slow_down")]
    last = done[-1]
    if last.cycle is not None:
        return [end, words.phrase("closing", "after_breath")]
    n_sets = len(main_sets(session, words))
    if n_sets > 1 and plan.coaching != "spare":
        end = words.say("closing", "done", n=words.number(n_sets))
    if last.pattern == "flow" or is_named(last.block, "cool_down", words):
        return [end, words.phrase("closing", "after_stretch")]
    quiet = session.length_ms < _ENDS_FROM_MS or last.pattern == "script" or plan.coaching == "spare"
    return [end, words.phrase("closing", "slow_down" if quiet else "no_cool_down")]
