"""The decisions file: one line a cue, ``keep`` or ``drop``, for a person to edit.

::

    keep  1:05.3  form   | Keep your heels heavy.
    drop  2:10.0  form?  | Watch how my knee moves.    # points at a picture

The first word, the time and what it is for (if that word ends without ``?``, which marks a guess) are read; a
cue that begins within a third of a second of the time is meant. So a decision holds when words or reasons
change, and a line for a cue that is no longer found is kept at the end.

Most lines a person leaves as they were proposed. What they changed is told from that by a record beside the
file, of each line as it was written and of what was a person's by then; what is only a proposal is made anew
each time. Without a record all lines are a person's.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from cuelane.adapt.adapted_folder import RECORD, own_text
from cuelane.adapt.clock import clock
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.adapt.words.role_judge import NAMES, plan_role
from cuelane.base.errors import Mark, PlanError, Problem
from cuelane.base.ordinary import read_ordinary
from cuelane.base.units import parse_duration_ms
from cuelane.plan.source_text import MAX_PROBLEMS, is_hidden

# Chosen: a time is written to a tenth of a second, and no two cues begin so close.
NEAR_S = 0.33
# Chosen, as the next: far more than a class of six hours needs; each decision is compared with each cue.
MAX_BYTES = 5_000_000
# Chosen, as the last.
MAX_DECISIONS = 20_000

_HEAD = """\
# What is kept of this recording. Change keep to drop, or drop to keep, at the start of a line, save, and run
# the same command again. The word after the time is what the line is for; form? with a question mark is a
# guess. Write what it is instead:
# {names}.
# Nothing else is read. After # is why a line was proposed for dropping, or what is uncertain, so that you
# should listen to it.
"""


@dataclass(frozen=True)
class Decision:
    """What is decided on the cue that begins at `at_s`; ``purpose`` is what the line says that it is for.

    ``keeps`` and ``names`` say whether a person decided on keeping it and on its purpose; else that is what
    an earlier run proposed.
    """

    keep: bool
    at_s: float
    line: str
    purpose: str | None = None
    keeps: bool = True
    names: bool = True


def read_decisions(path: Path) -> list[Decision]:
    """Return the decisions in `path`, held against the record beside it; none if there is no such file.

    Raises
    ------
    PlanError : a line that is not a decision, with its place; all of them at once.
    """
    if not path.exists():
        return []
    try:
        lines = read_ordinary(path, MAX_BYTES).decode("utf-8-sig").split("\n")
    except UnicodeDecodeError as error:
        # Such as by an editor that saves as UTF-16.
        place = Mark(str(path), error.object[: error.start].count(b"\n") + 1, 1)
        raise PlanError([Problem(place, "is not UTF-8 text", hint="save it as UTF-8 text")]) from error
    except (OSError, ValueError) as error:
        raise PlanError([Problem(Mark(str(path), 1, 1), f"cannot be read: {error}")]) from error
    found: list[Decision] = []
    problems: list[Problem] = []
    for number, ended in enumerate(lines, 1):
        line = ended.rstrip("\r")
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        parts = line.split(None, 2)
        verb = parts[0].lower()
        try:
            if verb not in ("keep", "drop") or len(parts) < 2:
                raise ValueError("a line that begins with keep or drop and a time")
            at_ms = parse_duration_ms(parts[1])
            purpose = _purpose(parts[2] if len(parts) > 2 else "")
        except ValueError as error:
            mark = Mark(str(path), number, 1)
            hint = "such as: drop 2:10.0 | Watch how my knee moves."
            problems.append(Problem(mark, f"expected {error}", line, hint))
            continue
        found.append(Decision(verb == "keep", at_ms / 1000, line, purpose))
    if len(found) > MAX_DECISIONS:
        problems = [
            Problem(Mark(str(path), 1, 1), f"has {len(found)} lines; at most {MAX_DECISIONS} are read")
        ]
    if problems:
        raise PlanError(problems[:MAX_PROBLEMS])
    written = _recorded(own_text(path.parent / RECORD))
    return [_held_against(written.get(round(1000 * one.at_s)), one) for one in found]


def _recorded(text: str) -> dict[int, dict[str, Any]]:
    """Return the rows of a record by their time in ms; none of one that is gone or damaged."""
    try:
        return {int(row["at_ms"]): row for row in json.loads(text)["lines"]}
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError):
        return {}


def _held_against(row: dict[str, Any] | None, one: Decision) -> Decision:
    """Return a decision with what of it is a person's: what was by then, and what is not as written."""
    if row is None:
        return one
    keeps = row.get("keeps") is not False or row.get("keep") is not one.keep
    names = row.get("names") is not False or row.get("purpose", "") != one.purpose
    return replace(one, keeps=keeps, names=names)


def record_text(cues: Sequence[FoundCue], kept: Sequence[bool], decisions: Sequence[Decision]) -> str:
    """Return the record of a file that says of `cues` what is `kept`, and what of it is from `decisions`."""
    rows = []
    for cue, keep, index in zip(cues, kept, _matched(cues, decisions), strict=True):
        own = None if index is None else decisions[index]
        rows.append(
            {
                "at_ms": parse_duration_ms(clock(cue.start_s)),
                "keep": keep,
                "purpose": cue.purpose if cue.is_sure else None,
                "keeps": own is not None and own.keeps,
                "names": own is not None and own.names,
            }
        )
    return json.dumps({"lines": rows}, indent=1) + "\n"


def _purpose(rest: str) -> str | None:
    """Return what a line says that its cue is for, None for a guess or nothing.

    `rest` is what follows the time. Raises ValueError for a word that is no purpose.
    """
    word, bar, _ = rest.partition("|")
    word = word.strip().lower()
    if not bar or not word or word.endswith("?"):
        return None
    if word not in NAMES:
        raise ValueError(f"what the line is for, one of {', '.join(NAMES)}, before the |")
    return word


def decide(cues: Sequence[FoundCue], decisions: Sequence[Decision]) -> tuple[list[bool], list[Decision]]:
    """Return whether each cue is kept, and a person's decisions for which no cue was found."""
    kept, matched = [], _matched(cues, decisions)
    for cue, index in zip(cues, matched, strict=True):
        decided = index is not None and decisions[index].keeps
        kept.append(decisions[index].keep if index is not None and decided else cue.keep)
    used = set(matched)
    rows = [decision for index, decision in enumerate(decisions) if index not in used]
    return kept, [row for row in rows if row.keeps or row.names]


def with_purposes(cues: Sequence[FoundCue], decisions: Sequence[Decision]) -> list[FoundCue]:
    """Return `cues`, each for what a person says that it is for."""
    found = []
    for cue, index in zip(cues, _matched(cues, decisions), strict=True):
        said = decisions[index].purpose if index is not None and decisions[index].names else None
        if said is None or said == cue.purpose:
            # What was a guess and stands without its question mark has been looked at.
            found.append(cue if said is None or cue.is_sure else replace(cue, share=1.0))
        else:
            found.append(replace(cue, role=plan_role(said), judged=said, share=1.0, second=""))
    return found


def _matched(cues: Sequence[FoundCue], decisions: Sequence[Decision]) -> list[int | None]:
    """Return for each cue the index of the decision on it, if there is one."""
    matched: list[int | None] = []
    used: set[int] = set()
    for cue in cues:
        near = [
            (abs(decision.at_s - cue.start_s), index)
            for index, decision in enumerate(decisions)
            if index not in used and abs(decision.at_s - cue.start_s) <= NEAR_S
        ]
        if near:
            index = min(near)[1]
            used.add(index)
            matched.append(index)
        else:
            matched.append(None)
    return matched


def decisions_text(
    cues: Sequence[FoundCue],
    kept: Sequence[bool],
    left: Sequence[Decision],
    instead: Sequence[Sequence[str]] = (),
) -> str:
    """Return the file: every cue in order of time, then decisions whose cue was not found this time.

    `instead` holds for each cue what may be said in its place.
    """
    rows = []
    for cue, keep, others in zip(cues, kept, instead or [()] * len(cues), strict=True):
        guess = () if cue.is_sure or not cue.second else (f"or {cue.second}",)
        better = (f"instead: {' or '.join(others)}",) if others else ()
        why = "; ".join(map(_on_one_line, (*cue.reasons, *cue.notes, *guess, *better)))
        verb = "keep" if keep else "drop"
        text = _on_one_line(cue.text)
        purpose = cue.purpose if cue.is_sure else f"{cue.purpose}?"
        row = f"{verb}  {clock(cue.start_s)}  {purpose:<8} | {text}"
        rows.append(f"{row}    # {why}" if why else row)
    if left:
        rows += ["", "# Not found in the recording this time:", *(decision.line for decision in left)]
    return (
        _HEAD.format(names=textwrap.fill(", ".join(NAMES), 105, subsequent_indent="# "))
        + "\n".join(rows)
        + "\n"
    )


def _on_one_line(text: str) -> str:
    return " ".join("".join(c for c in text if not is_hidden(c)).split())
