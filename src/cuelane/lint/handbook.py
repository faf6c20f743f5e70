"""Checks of cue words after coaching handbooks: one thing at a time, what to do, an aim outside, one name.

That a listener takes in one cue at a time, and that what to do comes before what not to do, is common
practice, no source; that an aim outside the body often does better than one inside is Wulf (2013),
"Attentional focus and motor learning: a review of 15 years", International Review of Sport and Exercise
Psychology 6 (value from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from cuelane.lint.instead import Instead, apart, do_first, one_name, unnamed
from cuelane.lint.line_signs import patterns
from cuelane.lint.spoken_lines import SpokenLine, plans_of, spoken_lines
from cuelane.plan.loaded import LoadedPlan
from cuelane.session.model import Interval, Session

# Chosen: a way down and a way up are one thing ("in on the way down, out on the way up"); four parts are not.
_FORM_COMMAS = 2
_NAME_WORDS = 4


@dataclass(frozen=True)
class Told:
    """One remark about a line: `part` is the words of it that are meant."""

    code: str
    part: str
    message: str
    hint: str
    instead: tuple[Instead, ...] = ()


def sentences_of(text: str) -> list[str]:
    """Return a text as sentences with their closing signs; a small letter begins none ("approx. ten")."""
    found: list[str] = []
    for part in re.split(r"(?<=[.!?])\s+", text):
        if found and part[:1].islower():
            found[-1] += f" {part}"
        elif part.strip():
            found.append(part)
    return found


def handbook(line: SpokenLine, language: str) -> Iterator[Told]:
    """Yield what a handbook would say about one line by itself."""
    text = line.text.replace("’", "'")
    sentences = sentences_of(line.text)
    if line.role == "form" and (len(sentences) > 1 or len(re.findall(r"[,;:]", text)) > _FORM_COMMAS):
        hint = "make it two lines; they are said in turn"
        message = "this point of form holds more than one thing"
        yield Told("two-things", "", message, hint, apart(sentences))
    if line.role in ("form", "setup", "remind"):
        if match := patterns(language, "not_first").search(text):
            hint = "say first what to do"
            message = f"this begins with what not to do: '{match[0]}'"
            yield Told("not-first", match[0], message, hint, do_first(sentences))
        if match := patterns(language, "inside").search(text):
            message = f"'{match[0]}' aims at the body itself"
            hint = "an aim outside it is often learnt better: push the floor away, reach for the wall"
            yield Told("inside-aim", match[0], message, hint)
    yield from _names(line, text)


def _names(line: SpokenLine, text: str) -> Iterator[Told]:
    """Yield a name spoken twice in a row, and a preview's name that is nearly the exercise's own."""
    if line.exercise is None:
        return
    head = re.split(r"[.!?:,]", text, maxsplit=1)[0].strip()
    first, name = head.lower(), line.exercise.lower()
    if line.role in ("setup", "remind") and first == name and len(text) > len(head) + 1:
        message = f"'{head}' has just been spoken as its name"
        yield Told("name-twice", head, message, "begin with what to do", unnamed(line.text, head))
    if line.role == "preview" and first != name and 1 < len(first.split()) <= _NAME_WORDS:
        same = first.split()[-1] == name.split()[-1] and len(first.split()) == len(name.split())
        if same and len(text) > len(head) + 1:
            message = f"previewed as '{head}', announced as '{line.exercise}'"
            instead = one_name(line.text, head, line.exercise)
            yield Told("two-names", head, message, "use one name", instead)


def follows_down(loaded: LoadedPlan, session: Session) -> Iterator[tuple[SpokenLine, Told]]:
    """Yield lines that keep a listener down where a rest, or an exercise that is done standing, follows."""
    language = session.plan.language
    down = patterns(language, "stay_down")
    after: dict[tuple[str | None, int], str] = {}
    sets = [entry for entry in session.intervals if entry.kind != "change"]
    for entry, following in pairwise(sets):
        if entry.exercise is not None and (what := _stands(following, language)):
            after.setdefault((entry.exercise, id(entry.spec)), what)
    for plan in plans_of(loaded):
        for line in spoken_lines(plan):
            match = down.search(line.text) if line.role == "change" else None
            what = after.get((line.exercise, id(line.spec)))
            # A line with a `to` is said only before what it names.
            if match and what and getattr(line.source, "to", None) is None:
                message = f"'{match[0]}', but {what} follows"
                yield (
                    line,
                    Told("stay-down", match[0], message, "write  to: NAME  for the exercise it is meant for"),
                )


def _stands(entry: Interval, language: str) -> str | None:
    """Return what follows, where it is a rest or is done standing."""
    if entry.kind == "rest":
        return "a rest"
    lines = [*entry.spec.preview, *entry.spec.setup] if entry.spec else []
    if any(patterns(language, "standing").search(line.text) for line in lines):
        return f"'{entry.exercise}', which is done standing,"
    return None
