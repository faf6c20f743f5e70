"""What differs between two texts of a plan, in the words of the desk's form."""

from __future__ import annotations

import pytest

from cuelane.desk.differences import MOST_SHOWN, PlanDifference, differences
from cuelane.desk.words import in_language
from cuelane.plan.source_text import MAX_FILE_BYTES

PLAN = """\
title: Pier   # a comment
session:
  - block: Legs
    pattern: circuit
    work: 40s
    rest: 20s
    exercises: [squat, lunge]
  - rest: 1m
  - say: Walk about.
exercises:
  squat:
    setup: Sit down.
    form: [Heels heavy., Knees out.]
  lunge: {}
"""


@pytest.mark.parametrize(
    ("old", "new", "rows"),
    [
        ("title: Pier", "title: Jetty", [("Title of the session", "Pier", "Jetty")]),
        ("    work: 40s", "    work: 45s", [("Block Legs · Work", "40s", "45s")]),
        ("    rest: 20s\n", "", [("Block Legs · Rest", "20s", "")]),
        ("  - rest: 1m\n", "", [("Rest 1m", "Rest 1m", "")]),
        ("  - rest: 1m\n", "  - say: Shake.\n  - rest: 1m\n", [("Words Shake.", "", "Words Shake.")]),
        ("Heels heavy., Knees out.", "Heels heavy.", [("squat · Form · 2", "Knees out.", "")]),
        (
            "Heels heavy., Knees out.",
            "Knees out., Heels heavy.",
            [("squat · Form", "Heels heavy., Knees out.", "Knees out., Heels heavy.")],
        ),
        (
            "Sit down.",
            "{text: Sit down., must: true}",
            [("squat · Setting up, the first time", "Sit down.", None)],
        ),
        (
            "  - rest: 1m\n  - say: Walk about.\n",
            "  - say: Walk about.\n  - rest: 1m\n",
            [
                (
                    "The session",
                    "Block Legs, Rest 1m, Words Walk about.",
                    "Block Legs, Words Walk about., Rest 1m",
                )
            ],
        ),
        (
            "pattern: circuit",
            "pattern: on-the-minute",
            [("Block Legs · Pattern", "Circuit", "On the minute")],
        ),
        (
            "  lunge: {}",
            "  lunge: {sides: each}",
            [("lunge · Left and right", "", "each side in a set, half the time each")],
        ),
        ("   # a comment", "", []),
        ("title: Pier", "title: [Pier", []),
        ("title: Pier", "title: &a [*a]", []),
        ("title: Pier", "title: Pier\n" + "#" * MAX_FILE_BYTES, []),
    ],
)
def test_what_differs_is_called_as_the_form_calls_it(
    old: str, new: str, rows: list[tuple[str, str, str | None]]
) -> None:
    """Nothing of YAML is shown, and what only a reader of the file would see is no row."""
    assert old in PLAN
    changed = PLAN.replace(old, new)
    found = differences(PLAN, changed)
    assert [(row.what, row.before) for row in found] == [row[:2] for row in rows]
    for row, (_, _, now) in zip(found, rows, strict=True):
        assert now is None or row.now == now
    back = [PlanDifference(row.what, row.now, row.before) for row in found]
    assert [(row.before, row.now) for row in differences(changed, PLAN)] == [
        (row.before, row.now) for row in back
    ]


def test_it_is_told_in_the_desk_s_language_and_is_not_endless() -> None:
    """Work in German, and at most a dozen rows of a plan in which all is new."""
    with in_language("de"):
        (row,) = differences(PLAN, PLAN.replace("work: 40s", "work: 45s"))
    assert (row.what, row.before, row.now) == ("Block Legs · Belastung", "40s", "45s")
    lines = "".join(f"    - Line {n}.\n" for n in range(40))
    many = f"title: T\nsession:\n  - say:\n{lines}"
    assert len(differences(many, many.replace("Line", "Word"))) == MOST_SHOWN


def test_lists_too_long_to_compare_are_one_difference() -> None:
    """Two thousand items against as many would take the square of that in time."""
    text = "title: T\nallow: [" + ", ".join(f"a{n}" for n in range(2_000)) + "]\nsession: [{rest: 30s}]\n"
    (row,) = differences(text, text.replace("a1,", "b,"))
    assert row.before.startswith("a0, a1, a2")
    assert row.now.startswith("a0, b, a2")
