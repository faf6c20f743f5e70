"""The decisions file: one line a cue, ``keep`` or ``drop``, for a person to edit.

::

    keep  1:05.3  form   | Keep your heels heavy.
    drop  2:10.0  form   | Watch how my knee moves.    # points at a picture

Only the first word and the time are read; a cue that begins within a third of a second of the time is meant.
So a decision holds when words, roles or reasons change, and a line for a cue that is no longer found is kept
at the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cuelane.adapt.words.found_cues import FoundCue
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
# the same command again. Only that word and the time are read. After # is why a line was proposed for
# dropping, or what is uncertain, so that you should listen to it.
"""


@dataclass(frozen=True)
class Decision:
    """What a person decided on the cue that begins at `at_s`."""

    keep: bool
    at_s: float
    line: str


def read_decisions(path: Path) -> list[Decision]:
    """Return the decisions in `path`; none if there is no such file.

    Raises
    ------
    PlanError : a line that is not a decision, with its place; all of them at once.
    """
    if not path.exists():
        return []
    try:
        lines = read_ordinary(path, MAX_BYTES).decode("utf-8-sig").split("\n")
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
        except ValueError as error:
            mark = Mark(str(path), number, 1)
            hint = "such as: drop 2:10.0 | Watch how my knee moves."
            problems.append(Problem(mark, f"expected {error}", line, hint))
            continue
        found.append(Decision(verb == "keep", at_ms / 1000, line))
    if len(found) > MAX_DECISIONS:
        problems = [
            Problem(Mark(str(path), 1, 1), f"has {len(found)} lines; at most {MAX_DECISIONS} are read")
        ]
    if problems:
        raise PlanError(problems[:MAX_PROBLEMS])
    return found


def decide(cues: Sequence[FoundCue], decisions: Sequence[Decision]) -> tuple[list[bool], list[Decision]]:
    """Return whether each cue is kept, and the decisions for which no cue was found."""
    kept: list[bool] = []
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
            kept.append(decisions[index].keep)
        else:
            kept.append(cue.keep)
    return kept, [decision for index, decision in enumerate(decisions) if index not in used]


def decisions_text(cues: Sequence[FoundCue], kept: Sequence[bool], left: Sequence[Decision]) -> str:
    """Return the file: every cue in order of time, then decisions whose cue was not found this time."""
    rows = []
    for cue, keep in zip(cues, kept, strict=True):
        minutes, tenths = divmod(round(cue.start_s * 10), 600)
        why = "; ".join((*cue.reasons, *cue.notes))
        verb = "keep" if keep else "drop"
        text = " ".join("".join(c for c in cue.text if not is_hidden(c)).split())
        row = f"{verb}  {minutes}:{tenths // 10:02d}.{tenths % 10}  {cue.role:<8} | {text}"
        rows.append(f"{row}    # {why}" if why else row)
    if left:
        rows += ["", "# Not found in the recording this time:", *(decision.line for decision in left)]
    return _HEAD + "\n".join(rows) + "\n"
