"""Ways out of what is wrong, as buttons: each is a few edits of the plan, made and taken back as one step."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from cuelane.desk.edits import Edit, EditError, Insert, Place, Remove, Set, data_of, set_in, value_at
from cuelane.desk.forms import WORDS, key_order
from cuelane.desk.longer import longer
from cuelane.desk.words import Said, desk_words
from cuelane.facts.count import Facts
from cuelane.lint import LintWarning
from cuelane.lint.handbook import sentences_of
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Exercise, ExerciseBlock, PatternBlock
from cuelane.plan.phrases import nearest
from cuelane.session.model import Session
from cuelane.session.remedies import Advice, Remedy

_SPOKEN_KEYS = {
    "announce", "preview", "setup", "remind", "form", "easier", "harder", "swap", "heavier", "change", "say",
    "praise", "caution", "cautions", "closing", "cues",
}  # fmt: skip
_TO_TAKE_OUT = {"screen-words", "too-long", "stay-down", "inside-aim"}
"""Warnings about a line that no other wording of ours mends: it can only be put in one's own words, or go."""
_LINE_ORDER = ("text", "rounds", "from_round", "to", "at", "must", "weight", "allow")
_MOST_LETTERS = 70
_ENTRY_DEPTH = 4
"""``session``, which of its parts, ``exercises``, which of them."""
_MOST_BLOCKS = 3
"""Chosen: a row of more buttons is harder to read than the session itself."""
_ENDS = {"no-warm-up": 0, "no-cool-down": -1}


@dataclass(frozen=True)
class Fix:
    """A way out that the desk can take by itself: what its button says, and its edits."""

    said: Said
    edits: tuple[Edit, ...]

    @property
    def label(self) -> str:
        """The words of its button, in the language of whoever looks."""
        return str(self.said)


@dataclass(frozen=True)
class _Called:
    """What a form calls a key of the plan."""

    key: str

    def __str__(self) -> str:
        return desk_words().find("label", self.key) or self.key


@dataclass(frozen=True)
class PlanRead:
    """A plan's text, and what it means: all that is needed to write a remedy down."""

    text: str
    loaded: LoadedPlan
    session: Session

    @property
    def data(self) -> Any:
        return data_of(self.text)

    def value(self, place: Place) -> Any:
        """Return what stands at a place, None where nothing does."""
        try:
            return value_at(self.data, place)
        except (KeyError, IndexError, TypeError):
            return None


def misfit_fixes(
    read: PlanRead, advice: Advice, placed: Sequence[Place], fits: Callable[[Sequence[Edit]], bool]
) -> tuple[tuple[Fix, ...], str]:
    """Return the ways out of cues that do not fit, and in words those that only a person can take.

    `placed` says for each of the advice's ways where the line it is about is written, empty for none here;
    `fits` plans edits, and tells whether they do away with this misfit and bring no other.
    """
    fixes: list[Fix] = []
    rest = list(advice.clashes)
    for remedy, place in zip(advice.ways, placed, strict=True):
        found = list(_misfit_fix(read, advice, remedy, _line_place(place)))
        # It was tried beside what else must be said there; what the plan then offers may be more.
        if remedy.way == "preview" and found and not fits(found[0].edits):
            continue
        fixes += found
        # How fast the whole is spoken is no matter of the plan.
        if not found and remedy.way != "pace":
            rest.append(remedy.text)
    return tuple(fixes), "; ".join(rest)


def _misfit_fix(read: PlanRead, advice: Advice, remedy: Remedy, place: Place) -> Iterator[Fix]:
    line = read.value(place) if place else None
    of_exercise = len(place) >= 3 and place[0] == "exercises"
    match remedy.way:
        case "longer":
            edits = longer(read.loaded, read.data, read.session.intervals, advice.interval, remedy.longer_s)
            if edits and isinstance(edits[0], Set):
                what = _Called(str(_key(edits[0].path)))
                yield Fix(
                    Said("remedy.longer", what=what, length=edits[0].value, more=remedy.longer_s), edits
                )
        case "preview" if of_exercise and line is not None:
            # It was found to fit as a line that must be said, and so it stays one.
            kept = {**(line if isinstance(line, dict) else {"text": line}), "must": True}
            edits = (_previewed(read, place[:2], kept), _taken_out(read, place))
            yield Fix(Said("remedy.preview", text=_short(_text_of(line))), edits)
        case "optional" if line is not None and _spoken(place) and "caution" not in str(_key(place)):
            edits = (_wished(place, line, "must", False),)
            yield Fix(Said("remedy.optional", text=_short(_text_of(line))), edits)


def warning_fixes(read: PlanRead, warning: LintWarning, place: Place) -> tuple[Fix, ...]:
    """Return the ways out of a warning about words that stand at `place` of this file."""
    ways = (*_rewritten(read, warning, place), *_by_code(read, warning, place))
    return (*ways, *quiet(read, warning.code, place))


def fact_fixes(read: PlanRead, code: str, counted: Facts, subject: str) -> tuple[Fix, ...]:
    """Return the ways out of a warning about a session's totals, or about the exercise `subject`."""
    fixes = []
    row = next((one for one in counted.exercises if one.name == subject), None)
    if code == "uneven-sides" and row is not None:
        fixes.append(Fix(Said("remedy.even"), (Set(("even_sides",), True, key_order(())),)))
    return (*fixes, *quiet(read, code, ()))


def error_fixes(text: str, place: Place) -> tuple[Fix, ...]:
    """Return the ways out of a block that names an exercise which is not in the plan; of no other error."""
    try:
        data = data_of(text)
        name = value_at(data, place)
    except (EditError, KeyError, IndexError, TypeError):
        return ()
    # A file may hold a list, a sentence or nothing where a plan should be.
    exercises = (data.get("exercises") if isinstance(data, dict) else None) or {}
    of_block = len(place) >= _ENTRY_DEPTH and place[0] == "session" and place[2] == "exercises"
    if not of_block or not isinstance(name, str) or not isinstance(exercises, dict) or name in exercises:
        return ()
    found = []
    if meant := nearest(name, map(str, exercises)):
        found.append(Fix(Said("remedy.meant", name=meant), (Set(place, meant),)))
    new = set_in(data, "exercises", {name: {"setup": f"{name[:1].upper()}{name[1:]}."}}, key_order(()))
    found.append(Fix(Said("remedy.add", name=_short(name)), tuple(new)))
    if len(value_at(data, place[:3])) > 1:
        found.append(Fix(Said("remedy.out_of_block", name=_short(name)), (Remove(place[:_ENTRY_DEPTH]),)))
    return tuple(found)


def quiet(read: PlanRead, code: str, place: Place) -> tuple[Fix, ...]:
    """Return the way to keep quiet about a warning: for the line that it is about, else for the plan."""
    place = _line_place(place)
    line = read.value(place) if _spoken(place) else None
    if isinstance(line, str | dict) and line not in WORDS:
        allowed = line.get("allow", []) if isinstance(line, dict) else []
        allowed = allowed if isinstance(allowed, list) else [allowed]
        return (Fix(Said("remedy.allow_line"), (_wished(place, line, "allow", [*allowed, code]),)),)
    allowed = list(read.loaded.plan.allow)
    if code in allowed or code == "unknown-warning":
        return ()
    return (Fix(Said("remedy.allow"), (Set(("allow",), [*allowed, code], key_order(())),)),)


def _rewritten(read: PlanRead, warning: LintWarning, place: Place) -> Iterator[Fix]:
    line_place = _line_place(place)
    line = read.value(line_place)
    if not warning.instead or line is None or not (_spoken(line_place) or line_place[:1] == ("title",)):
        return
    for instead in warning.instead:
        if len(instead.lines) > 1 and isinstance(line, dict) and "at" in line:
            # Two lines cannot be said at one time, and when the second begins only its writer knows.
            continue
        first, *more = (_with_text(line, text) for text in instead.lines)
        if not more:
            edits: tuple[Edit, ...] = (Set(line_place, first),)
        elif isinstance(line_place[-1], int):
            index = line_place[-1]
            later = (Insert(line_place[:-1], index + n, value) for n, value in enumerate(more, 1))
            edits = (Set(line_place, first), *later)
        else:
            edits = (Set(line_place, [first, *more]),)
        yield Fix(Said(f"remedy.{instead.how}", text=_short(" / ".join(instead.lines))), edits)


def _by_code(read: PlanRead, warning: LintWarning, place: Place) -> Iterator[Fix]:
    code = warning.code
    if code == "too-long":
        yield from _freed(read, _line_place(place))
    if code == "no-cautions":
        yield Fix(Said("remedy.cautions"), (Set(("cautions",), "standard", key_order(())),))
    elif code in _ENDS:
        blocks = [n for n, item in enumerate(read.loaded.plan.session) if isinstance(item, PatternBlock)]
        if blocks:
            at = ("session", blocks[_ENDS[code]], "block")
            # The name is a part of the plan, so it is in its language.
            own = desk_words(read.loaded.plan.language)
            named = own(f"remedy.{code}.name", title=read.value(at) or "")
            yield Fix(Said(f"remedy.{code}", title=_short(named)), (Set(at, named),))
    elif code in _TO_TAKE_OUT and _spoken(place := _line_place(place)) and place[0] == "exercises":
        yield Fix(Said("remedy.out"), (_taken_out(read, place),))
    elif code == "too-dense" and place[:1] == ("exercises",):
        yield from _thinned(read, place[:2])
    elif code == "not-done" and place[:1] == ("exercises",):
        yield from _done(read, place[:2])
    elif code == "unknown-warning" and place:
        # A list of one code stands for that code alone.
        lone = isinstance(place[-1], int) and len(read.value(place[:-1]) or ()) < 2
        yield Fix(Said("remedy.out_code"), (Remove(place[:-1] if lone else place),))


def _done(read: PlanRead, place: Place) -> Iterator[Fix]:
    """Yield the ways to have an exercise done in a block of exercises, and the way to take it out."""
    name = place[-1]
    blocks = [(n, one) for n, one in enumerate(read.loaded.plan.session) if isinstance(one, ExerciseBlock)]
    for n, block in blocks[:_MOST_BLOCKS]:
        into = ("session", n, "exercises")
        said = Said("remedy.into_block", name=_short(str(name)), block=_short(block.block))
        there = read.value(into)
        edit = Insert(into, len(there), name) if isinstance(there, list) else Set(into, [there, name])
        yield Fix(said, (edit,))
    yield Fix(Said("remedy.out_of_plan", name=_short(str(name))), (Remove(place),))


def _freed(read: PlanRead, place: Place) -> Iterator[Fix]:
    """Yield the way to let a line at a fixed place find its own: where it stands it may not fit."""
    line = read.value(place)
    if _spoken(place) and isinstance(line, dict) and "at" in line:
        alone = line.keys() == {"text", "at"}
        yield Fix(Said("hear.free"), (Set(place, line["text"]) if alone else Remove((*place, "at")),))


def _thinned(read: PlanRead, exercise: Place) -> Iterator[Fix]:
    """Yield the way to say a set-up in the rest before, all but its first sentence if it has more."""
    place = (*exercise, "setup")
    setup = read.value(place)
    lines = setup if isinstance(setup, list) else [setup]
    if len(lines) > 1:
        stays, goes = lines[:1], lines[1:]
    else:
        first, *more = sentences_of(_text_of(lines[0])) or [""]
        stays = [_with_text(lines[0], first)] if more else []
        goes = [" ".join(more)] if more else lines
    if setup is not None and len(goes) == 1:
        text = _text_of(goes[0])
        edit = Set(place, stays[0]) if stays else Remove(place)
        yield Fix(Said("remedy.before", text=_short(text)), (_previewed(read, exercise, text), edit))


def _previewed(read: PlanRead, exercise: Place, line: Any) -> Edit:
    """Return the edit that adds a line to an exercise's preview."""
    place = (*exercise, "preview")
    there = read.value(place)
    if isinstance(there, list):
        return Insert(place, len(there), line)
    return Set(place, line if there is None else [there, line], key_order(exercise))


def _line_place(place: Place) -> Place:
    """Return the place of a line, whose words may stand one step deeper."""
    return place[:-1] if place and place[-1] == "text" else place


def _key(place: Place) -> str | int:
    return next((step for step in reversed(place) if isinstance(step, str)), "")


def _spoken(place: Place) -> bool:
    """Tell whether a line with wishes of its own may stand at `place`."""
    if not place or _key(place) not in _SPOKEN_KEYS:
        return False
    depth = {"exercises": 3, "session": 3}.get(str(place[0]), 1)
    return len(place) >= depth and (place[0] != "exercises" or place[2] in Exercise.model_fields)


def _text_of(line: Any) -> str:
    return str(line.get("text", "")) if isinstance(line, dict) else str(line)


def _with_text(line: Any, text: str) -> Any:
    return {**line, "text": text} if isinstance(line, dict) else text


def _wished(place: Place, line: Any, key: str, value: Any) -> Edit:
    if isinstance(line, dict):
        return Set((*place, key), value, _LINE_ORDER)
    return Set(place, {"text": line, key: value})


def _taken_out(read: PlanRead, place: Place) -> Edit:
    """Return the edit that takes a line out, with its key where it was the only one."""
    lone = isinstance(place[-1], int) and len(read.value(place[:-1]) or ()) < 2
    return Remove(place[:-1] if lone else place)


def _short(text: str) -> str:
    if len(text) <= _MOST_LETTERS:
        return text
    head = text[: _MOST_LETTERS - 1]
    # At the end of a word, where there is one in the second half.
    whole = head.rpartition(" ")[0].rstrip(",;:")
    return f"{whole if 2 * len(whole) > len(head) else head}…"
