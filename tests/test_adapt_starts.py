"""Recorded classes in which a set starts each minute, and what its repetitions leave of it is rest."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from ruamel.yaml import YAML

from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.beeps.timing_grid import Lengths
from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.exercise_lines import OWN_CALL, OWN_REST
from cuelane.adapt.pattern_plan import PatternPlan, pattern_plan
from cuelane.adapt.pattern_report import shape_doubts
from cuelane.adapt.report import doubts
from cuelane.adapt.run import adapt_recording
from cuelane.adapt.timed_starts import TimedStarts
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.role_judge import plan_role
from cuelane.plan.load import load_plan
from cuelane.session.expand import expand

ON_THE_MINUTE = "This is on the minute, and whatever is left of it is your rest."
NAMES = ["Swings, fifteen.", "Push ups, ten.", "Goblet squats, twelve."]


def made_of(
    said: dict[int, list[tuple[float, str, str]]],
    *,
    starts: str = ON_THE_MINUTE,
    every_s: float = 60.0,
    named: Lengths | None = None,
) -> tuple[PatternPlan, dict[str, Any]]:
    """Return six sets without a rest between, each with its name and what is `said` in it (share, ...)."""
    rows = [FoundInterval("talk", 0.0, 30.0, 30.0, True)]
    for n in range(6):
        rows.append(FoundInterval("work", 30 + n * every_s, 30 + (n + 1) * every_s, every_s, True))
    rows.append(FoundInterval("talk", rows[-1].end_s, rows[-1].end_s + 20, 20.0, False))
    lines: dict[int, list[tuple[float, str, str]]] = {0: [(0.1, "say", starts), *said.get(0, [])]}
    for n in range(6):
        lines[n + 1] = [(0.01, "announce", NAMES[n % 3]), *said.get(n + 1, [])]
    cues = [
        CutCue(at, at + 1500, text, plan_role(purpose), index, f"{index}-{k}.wav", purpose)
        for index, own in lines.items()
        for k, (share, purpose, text) in enumerate(own)
        for at in [round(1000 * (rows[index].start_s + share * rows[index].length_s))]
    ]
    made = pattern_plan("Garage", rows, cues, None, named=named)
    assert made is not None
    return made, YAML(typ="safe").load(made.text)


def block_of(plan: dict[str, Any]) -> dict[str, Any]:
    return next(row for row in plan["session"] if "pattern" in row)


def test_a_class_on_the_minute_is_one_in_its_plan(tmp_path):
    """Sets of a minute with no rest between: a start each minute, some of it work; and it loads so."""
    made, plan = made_of({})

    assert block_of(plan) == {
        "block": "Class",
        "pattern": "on-the-minute",
        "every": "1m",
        "work": "40s",
        "rounds": 2,
        "exercises": ["swings", "push ups", "goblet squats"],
    }
    assert any("A set starts every 1m" in row and "40s is a guess" in row for row in shape_doubts(made.shape))
    path = tmp_path / "class.yaml"
    path.write_text(made.text, encoding="utf-8")
    (tmp_path / "clips").mkdir()
    for line in (line for roles in made.lines.exercises.values() for rows in roles.values() for line in rows):
        (tmp_path / "clips" / line.cue.clip).touch()
    starts = [entry.start_ms for entry in expand(load_plan(path)).intervals if entry.kind == "work"]
    assert {two - one for one, two in pairwise(starts)} == {60_000}


@pytest.mark.parametrize(
    ("starts", "is_timed"),
    [
        ("Every ninety seconds you start a new one.", True),
        ("At the top of every minute, ten swings.", True),
        ("Once you've done your reps you rest until the next beep.", True),
        ("Whatever time you've got left is your rest.", True),
        ("It's an EMOM, six rounds.", True),
        ("Every minute counts.", False),
        ("Every minute we change the exercise.", False),
        ("No rest today, keep moving until the last beep.", False),
        ("Rest whenever you need.", False),
    ],
)
def test_words_tell_whether_set_follows_set_or_rest_is_what_is_left(starts, is_timed):
    """The sounds are the same in both; a class without rests stays one."""
    _, plan = made_of({}, starts=starts)

    assert block_of(plan)["pattern"] == ("on-the-minute" if is_timed else "circuit")


@pytest.mark.parametrize(
    ("shares", "work"),
    [
        ([0.75, 0.7, 0.72], "1m05s"),
        # Two may be short sets.
        ([0.75, 0.75], "1m"),
        # Called for those who are quick: less than half is no work.
        ([0.2, 0.25, 0.3, 0.25], "45s"),
    ],
)
def test_work_ends_where_rest_is_called(shares, work):
    """In most of the sets in which it is, to five seconds, of a minute and a half."""
    said = {n + 1: [(share, "praise", "Rest up, you earned it.")] for n, share in enumerate(shares)}
    _, plan = made_of(said, every_s=90.0)

    assert (block_of(plan)["every"], block_of(plan)["work"]) == ("1m30s", work)


@pytest.mark.parametrize(
    ("starts", "named", "pattern", "work"),
    [
        (ON_THE_MINUTE, Lengths(45.0, 15.0), "on-the-minute", "45s"),
        # Whoever names a rest in sets without one says that it is what is left of them.
        ("Six sets today.", Lengths(35.0, 25.0), "on-the-minute", "35s"),
        # These make no set: the work stays a guess, or there is none.
        (ON_THE_MINUTE, Lengths(40.0, 30.0), "on-the-minute", "40s"),
        ("Six sets today.", Lengths(40.0, 30.0), "circuit", "1m"),
        ("Six sets today.", Lengths(60.0, 0.0), "circuit", "1m"),
    ],
)
def test_a_work_and_a_rest_that_are_a_set_together_are_taken(starts, named, pattern, work):
    made, plan = made_of({}, starts=starts, named=named)
    block = block_of(plan)
    is_set = named.rest_s > 0 and named.period_s == 60

    assert (block["pattern"], block["work"]) == (pattern, work)
    assert made.shape.is_named is is_set
    assert any("is a guess" in row for row in shape_doubts(made.shape)) is (
        pattern == "on-the-minute" and not is_set
    )


def test_work_that_is_named_for_sets_on_the_minute_is_used(tmp_path: Path):
    """It is not called unused, and what makes no set together is told what would."""
    rng = np.random.default_rng(1)
    sound = rng.standard_normal(48_000 * 130).astype(np.float32) * 3e-4
    for start in range(10 * 48_000, 122 * 48_000, 20 * 48_000):
        sound[start : start + 12_000] += 0.2 * np.sin(2 * np.pi * 1_300 * np.arange(12_000) / 48_000)
    recording, captions = tmp_path / "class.wav", tmp_path / "class.txt"
    soundfile.write(recording, sound, 48_000)
    captions.write_text("0:02 Swings all the way.\n", encoding="utf-8")

    said = {}
    for work_s, rest_s in ((12.0, 8.0), (12.0, 5.0)):
        options = AdaptOptions(captions, work_s=work_s, rest_s=rest_s)
        adapted = adapt_recording(recording, tmp_path / f"{rest_s:.0f}", options)
        assert adapted.patterns is not None
        said[rest_s] = block_of(YAML(typ="safe").load(adapted.patterns.text)), doubts(adapted.analysis)

    used, unused = said[8.0], said[5.0]
    assert (used[0]["pattern"], used[0]["every"], used[0]["work"]) == ("on-the-minute", "20s", "12s")
    assert not any("--work" in row for row in used[1])
    assert unused[0]["pattern"] == "circuit"
    assert any("are not used" in row and "that make 20.0 s together" in row for row in unused[1])


def test_what_is_said_to_those_who_are_done_is_in_no_set():
    """Rest begins where the plan says now; what is put down is for what follows the rest."""
    made, plan = made_of(
        {
            1: [(0.3, "caution", "If you're done, bell down and breathe.")],
            2: [(0.4, "form", "Finished? Shake the arms out."), (0.8, "change", "Leave the bell there.")],
            3: [(0.5, "form", "Heels heavy.")],
        }
    )  # fmt: skip
    left = {cue.text: why for cue, why in made.lines.left}

    assert left["If you're done, bell down and breathe."] == OWN_REST
    assert left["Finished? Shake the arms out."] == OWN_REST
    assert left[ON_THE_MINUTE] == OWN_CALL
    assert plan["exercises"]["push ups"]["change"][0]["to"] == "goblet squats"
    assert [line["text"] for line in plan["exercises"]["goblet squats"]["form"]] == ["Heels heavy."]


def test_one_exercise_after_another_on_the_minute_is_a_block_for_each():
    """Three minutes of one, three of the next: what is left of the last minute is the rest between."""
    rows = [FoundInterval("talk", 0.0, 30.0, 30.0, True)]
    rows += [FoundInterval("work", 30 + n * 60.0, 90 + n * 60.0, 60.0, True) for n in range(6)]
    texts = [(0, "say", ON_THE_MINUTE)]
    texts += [(n + 1, "announce", "Swings." if n < 3 else "Push ups.") for n in range(6)]
    cues = [
        CutCue(round(rows[at].start_s * 1000) + 500, round(rows[at].start_s * 1000) + 1500, text,
               plan_role(purpose), at, f"{at}.wav", purpose)
        for at, purpose, text in texts
    ]  # fmt: skip
    parted = pattern_plan("Garage", rows, cues, None)
    assert parted is not None
    session = YAML(typ="safe").load(parted.text)["session"]

    assert [row["pattern"] for row in session if "block" in row] == ["on-the-minute"] * 2
    assert not any("rest" in row for row in session)


def test_what_is_called_done_is_for_those_who_are():
    starts = TimedStarts()

    assert starts.rests("Once you've finished, hands on your head.")
    assert starts.rests("Get your rest in.")
    assert not starts.rests("If you've got a heavy bell, take ten.")
    assert not starts.rests("Finish each one tall.")
