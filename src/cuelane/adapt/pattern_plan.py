"""A recorded class as a plan of exercises: the instructor's own lines by role, at any work and rest.

Beside the plan of pattern ``script``, which is the class as it was, this one says what is done, for how long
and how often; the placer finds the lines their places anew. Lines are recordings (``clip``); what has to be
said besides, such as names, times and rounds, is said by the plan's voice.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from cuelane.adapt.adapted_folder import CLIPS
from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.beeps.timing_grid import Lengths
from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.class_sections import in_sections
from cuelane.adapt.class_shape import ClassShape, class_shape, parted, repeats, rests_of, sets_of
from cuelane.adapt.exercise_lines import ClassLines, OwnLine, class_lines
from cuelane.adapt.exercise_names import NAMING, ExerciseNames
from cuelane.adapt.listed_names import as_listed, as_listed_in_blocks, is_of
from cuelane.adapt.misheard_names import as_meant
from cuelane.adapt.name_mentions import NameMentions
from cuelane.adapt.plan_file import fit_for_plan, pips_of
from cuelane.adapt.set_names import SetNames
from cuelane.adapt.timed_starts import TimedStarts
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.base.roles import ROLES
from cuelane.base.units import format_duration
from cuelane.plan.values import MAX_NAME, MAX_TEXT

# Chosen: of the time of an opening or closing, so much is left between and behind its lines.
_SPOKEN_SHARE = 0.7
# Chosen: quiet after each line of a talk, about a breath.
_AFTER_MS = 1000
# Chosen: less than the program's own "next: rows" (64), and more than what is said where there is time.
_BESIDE_NAME = 50
WARM_UP, FINISHER = "Warm-up", "Finisher"
_HEAD = """\
# Made from a recording by cuelane adapt, which writes it anew each time: copy it before you change it.
# The class as exercises: change work, rest, rounds and lines as you like. Lines with a clip are recordings.
"""


@dataclass(frozen=True)
class PatternPlan:
    """A class as exercises: what repeats in it, its lines, and the plan as YAML."""

    shape: ClassShape
    lines: ClassLines
    text: str
    titles: tuple[str, ...] = ()
    """What the sections of the class are called in its plan."""


def pattern_plan(
    title: str,
    intervals: Sequence[FoundInterval],
    cues: Sequence[CutCue],
    beep: Beep | None,
    language: str = "en",
    dropped: Sequence[CutCue] = (),
    named: Lengths | None = None,
) -> PatternPlan | None:
    """Return a class as a plan of exercises; None if it has not two sets.

    `cues` become its lines. What is `dropped` since a listener has no use for it ("goblet squat, like this")
    tells with them what is done, and how the class goes. `named` are a work and a rest that a person named
    and that no boundaries keep.
    """
    sets = sets_of(intervals)
    names = ExerciseNames(language)
    said = sorted([*cues, *_telling(dropped, sets)], key=lambda cue: cue.onset_ms)
    of_sets = SetNames(names, sets, said)
    heard = of_sets.as_said()
    opening = [cue.text for cue in said if sets and cue.interval < sets[0]]
    prepared = of_sets.as_prepared(heard)
    meant = as_meant(prepared, [cue.text for cue in said], opening, language)
    # Of two partners' sets the second is as the first is listed.
    firsts = [n for n in range(len(sets)) if not of_sets.is_partners(n)]
    listed = None if repeats(meant, language) else _listed(meant, firsts, intervals, said, names)
    if listed is not None:
        # What a set was called besides its name, such as "bend and push", begins it, but does not name it.
        pairs = zip(heard, listed, strict=True)
        heard = [one if one and other and is_of(one, other) else None for one, other in pairs]
        meant = listed
    n_listed = 0 if listed is None else sum(name is None for name in heard)
    shape = _shape(intervals, meant, of_sets, language)
    if shape is None:
        return None
    shape = TimedStarts(language).shape(replace(shape, n_listed=n_listed), intervals, said, named)
    shape = shape if meant == heard else replace(shape, heard=tuple(heard))
    lines = class_lines(shape, intervals, cues, language)
    titles = _titles(shape, said, names)
    return PatternPlan(shape, lines, _yaml(_plan(title, shape, lines, titles, beep, language)), titles)


def _listed(
    every: Sequence[str | None],
    firsts: Sequence[int],
    intervals: Sequence[FoundInterval],
    said: Sequence[CutCue],
    names: ExerciseNames,
) -> list[str | None] | None:
    """Return what sets are called by what is listed before them, block by block or all together.

    `every` is what each set is called; those that are not among `firsts` are done as the one before them.
    """
    of_all = sets_of(intervals)
    sets, meant = [of_all[n] for n in firsts], [every[n] for n in firsts]
    before = [
        [cue.text for cue in said if begin < cue.interval < end]
        for begin, end in zip([-1, *sets], sets, strict=False)
    ]
    rests, ends = rests_of(intervals), [*(n - 1 for n in firsts[1:]), len(of_all) - 1]
    listed = None
    if len(sets) > 1:
        listed = as_listed_in_blocks(meant, before, parted([rests[n] for n in ends]), names)
    if listed is None and sets:
        listed = as_listed(meant, before[0], names)
    return listed and [listed[bisect_right(firsts, n) - 1] for n in range(len(every))]


def _shape(
    intervals: Sequence[FoundInterval], meant: Sequence[str | None], of_sets: SetNames, language: str
) -> ClassShape | None:
    """Return what repeats in a class; a set that has no name is called as it begins, where it may be."""
    shape = class_shape(intervals, meant, language)
    if shape is None:
        return None
    # What the whole class shows of its names, such as "bridges" for glute bridges, holds in each part of it.
    unnamed = {f"exercise {n + 1}" for n in range(len(shape.sets))}
    whole = [None if name in unnamed else name for name in shape.names]
    shape = in_sections(shape, intervals, whole, language)
    numbered = [n for n, name in enumerate(shape.names) if meant[n] is None and name == f"exercise {n + 1}"]
    guesses = [(shape.names[n], of_sets.guessed(n)) for n in numbered]
    often = Counter([*shape.names, *(guess for _, guess in guesses)])
    called = {name: guess for name, guess in guesses if guess and often[guess] == 1}
    renamed = shape.renamed(called)
    return replace(renamed, named=shape.named + len(called), guessed=tuple(called.values()))


def _telling(dropped: Sequence[CutCue], sets: Sequence[int]) -> list[CutCue]:
    """Return those of `dropped` that may name what is done; an aside in a set or rest names nothing."""
    return [cue for cue in dropped if sets and (cue.interval < sets[0] or cue.purpose in (*NAMING, "side"))]


def _titles(shape: ClassShape, said: Sequence[CutCue], names: ExerciseNames) -> tuple[str, ...]:
    """Return what the sections of a class are called: the first a warm-up where it is spoken of as one."""
    if not shape.sections:
        return ()
    first, end = shape.sections[0], shape.sets[len(shape.sections[0].shape.sets) - 1]
    texts = [cue.text for cue in said if cue.interval <= end]
    is_warm_up = first.shape.rounds == 1 and any(map(names.speaks_of_warm_up, texts))
    others = len(shape.sections) - is_warm_up
    # "Part two: Part 2" would be heard.
    titles = ["Class"] if others == 1 else [f"Circuit {_letter(n)}" for n in range(others)]
    if others > 1 and len(shape.sections[-1].shape.sets) == 1:
        titles[-1] = FINISHER
    return (*[WARM_UP] * is_warm_up, *titles)


def _letter(number: int) -> str:
    """Return the letter of a circuit, its `number` from 0: A to Z, and AA behind them."""
    return (_letter(number // 26 - 1) if number >= 26 else "") + chr(ord("A") + number % 26)


def _plan(
    title: str,
    shape: ClassShape,
    lines: ClassLines,
    titles: Sequence[str],
    beep: Beep | None,
    language: str,
) -> dict[str, Any]:
    blocks = _sections(shape, lines, titles) or _parts(shape, lines) or [_block(shape, lines.praise)]
    session = [*_talk(lines.opening), *blocks, *_talk(lines.closing)]
    mentions = NameMentions(ExerciseNames(language))
    return {
        "title": fit_for_plan(title, MAX_NAME),
        "language": language,
        # The instructor said all of it.
        "coaching": "full",
        "pips": pips_of(beep),
        "session": session,
        "exercises": {
            name: {
                **_sides("each", lines.turned.get(name)),
                **_sides("alternate", lines.alternated.get(name)),
                **{role: [_line(line, role) for line in rows[role]] for role in ROLES if role in rows},
                **_previews([*rows.get("preview", [])], name, mentions),
            }
            for name, rows in lines.exercises.items()
        },
    }


def _sections(shape: ClassShape, lines: ClassLines, titles: Sequence[str]) -> list[dict[str, Any]]:
    """Return a class of circuits one after another as a block for each, with the rests between them."""
    found: list[dict[str, Any]] = []
    for number, (section, title) in enumerate(zip(shape.sections, titles, strict=True)):
        later = shape.sections[number + 1 :]
        begin = section.shape.sets[0] if number else 0
        own = [
            line for line in lines.praise
            if _lies_in(line.cue.interval, begin, later[0].shape.sets[0] if later else None)
        ]  # fmt: skip
        found.append(_block(section.shape, own, title))
        if later and section.rest_ms:
            found.append({"rest": format_duration(section.rest_ms)})
        elif not later and shape.last_rest:
            found[-1]["last_rest"] = True
    return found


def _block(shape: ClassShape, praise: Sequence[OwnLine], title: str = "Class") -> dict[str, Any]:
    """Return the class as one block: a circuit, a ladder, or sets that start each so much time."""
    if shape.every_ms is not None:
        names = [place.exercise for place in shape.places]
        return {"block": title, **_timed_starts(shape, shape.rounds, names), **_praise(praise)}
    work: Any = [format_duration(ms) for ms in shape.ladder_ms] or format_duration(shape.work_ms)
    pattern = "ladder" if shape.ladder_ms else "circuit"
    block: dict[str, Any] = {"block": title, "pattern": pattern, "work": work}
    block["rest"] = format_duration(shape.rest_ms)
    if shape.round_rest_ms is not None:
        block["round_rest"] = format_duration(shape.round_rest_ms)
    if not shape.ladder_ms:
        block["rounds"] = shape.rounds
    if shape.last_rest:
        block["last_rest"] = True
    block["exercises"] = [_entry(place.exercise, place.work_ms, place.rest_ms) for place in shape.places]
    return {**block, **_praise(praise)}


def _timed_starts(shape: ClassShape, rounds: int, exercises: list[str]) -> dict[str, Any]:
    every, work = (format_duration(ms) for ms in (shape.every_ms or 0, shape.work_ms))
    return {
        "pattern": "on-the-minute",
        "every": every,
        "work": work,
        "rounds": rounds,
        "exercises": exercises,
    }


def _parts(shape: ClassShape, lines: ClassLines) -> list[dict[str, Any]]:
    """Return a class of one exercise after another as a block for each, with the rests between them."""
    found: list[dict[str, Any]] = []
    for number, part in enumerate(shape.parts):
        begin = shape.sets[part.first]
        after = shape.sets[part.first + part.n_sets :][:1] or (None,)
        own = [line for line in lines.praise if _lies_in(line.cue.interval, begin if number else 0, after[0])]
        times = {"work": format_duration(shape.work_ms), "rest": format_duration(shape.rest_ms)}
        rounds, exercises = part.n_sets, [part.exercise]
        if shape.every_ms is not None:
            goes = _timed_starts(shape, rounds, exercises)
        else:
            goes = {"pattern": "circuit", **times, "rounds": rounds, "exercises": exercises}
        found.append({"block": part.exercise.capitalize(), **goes, **_praise(own)})
        if shape.every_ms is not None:
            # What is left behind the last set is its rest.
            continue
        if after[0] is not None and part.rest_ms:
            found.append({"rest": format_duration(part.rest_ms)})
        elif after[0] is None and shape.last_rest:
            found[-1]["last_rest"] = True
    return found


def _lies_in(interval: int, begin: int, end: int | None) -> bool:
    return begin <= interval and (end is None or interval < end)


def _praise(lines: Sequence[OwnLine]) -> dict[str, Any]:
    return {"praise": [_line(line) for line in lines]} if lines else {}


def _entry(exercise: str, work_ms: int | None, rest_ms: int | None) -> Any:
    own = {"work": work_ms, "rest": rest_ms}
    times = {key: format_duration(value) for key, value in own.items() if value is not None}
    return {"exercise": exercise, **times} if times else exercise


def _sides(sides: str, first: str | None) -> dict[str, str]:
    """Return the keys of an exercise that begins on side `first`: each set, or the first of two."""
    if first is None:
        return {}
    return {"sides": sides, "first_side": first} if first == "right" else {"sides": sides}


def _previews(rows: Sequence[OwnLine], name: str, mentions: NameMentions) -> dict[str, Any]:
    """Return the previews of an exercise: in a rest that is short now, those that name it come first."""
    lines = [_line(row, "preview") for row in rows]
    for row, line in zip(rows, lines, strict=True):
        if not mentions.holds(row.cue.text, name):
            line["weight"] = _BESIDE_NAME
    return {"preview": lines} if lines else {}


def _line(line: OwnLine, role: str = "") -> dict[str, Any]:
    row: dict[str, Any] = {"text": fit_for_plan(line.cue.text, MAX_TEXT), "clip": f"{CLIPS}/{line.cue.clip}"}
    if line.rounds is not None:
        row["rounds"] = [line.rounds, *line.again] if line.again else line.rounds
    if line.to is not None:
        row["to"] = line.to
    if line.from_round is not None:
        row["from_round"] = line.from_round
    if role in ("setup", "change", "remind"):
        # At another work some have no room; better without than not at all.
        row["must"] = False
    return row


def _talk(lines: Sequence[OwnLine]) -> list[dict[str, Any]]:
    if not lines:
        return []
    spoken_ms = sum(line.cue.end_ms - line.cue.onset_ms for line in lines)
    lasts_ms = -(-round(spoken_ms / _SPOKEN_SHARE + _AFTER_MS * len(lines)) // 1000) * 1000
    return [{"say": [_line(line) for line in lines], "lasts": format_duration(lasts_ms)}]


def _yaml(plan: Mapping[str, Any]) -> str:
    from ruamel.yaml import YAML

    yaml = YAML()
    yaml.default_flow_style = False
    yaml.width = 110
    out = io.StringIO()
    yaml.dump(plan, out)
    return _HEAD + out.getvalue()
