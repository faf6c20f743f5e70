"""Must-cues that do not fit: where, how much, how many words, and remedies that do work."""

from __future__ import annotations

from pathlib import Path

import pytest

from cuelane.plan.load import load_plan
from cuelane.session.arrange import Sounding, arrange
from cuelane.session.candidates import Candidate
from cuelane.session.expand import expand
from cuelane.session.remedies import Advice, advise
from planning import RATE, arranged

SETUP = "Stand tall and reach."
CAUTION = "Mind your neck."


def advice(setup_s: float, caution_s: float = 0.0, rest: str = "0s") -> list[Advice]:
    """Return the advice for a second set of 20 s whose set-up and caution last so long."""
    block = {"block": "Main", "pattern": "circuit", "work": "20s", "rest": rest, "exercises": ["a", "b"]}
    spec = {"setup": SETUP} | ({"caution": CAUTION} if caution_s else {})
    plan = {"session": [block], "exercises": {"a": {}, "b": spec}}
    seconds = {SETUP: setup_s, f"Next: b. {SETUP}": setup_s + 0.8, CAUTION: caution_s}
    found = arranged(plan, seconds | {"Last one. B.": 1.0, "B.": 0.5})
    return advise(found.misfits, RATE)


def test_what_fits_needs_no_advice() -> None:
    """A set-up of 8 s fits a work interval of 20 s."""
    assert advice(8.0) == []


def test_the_missing_time_is_the_share_that_is_passed() -> None:
    """Name (0.5 s) and set-up (11 s) pass 55 % of 20 s, 11 s, by 0.5 s: about one word of the five."""
    (row,) = advice(11.0)
    assert row.missing_s == pytest.approx(0.5, abs=0.05)
    assert row.words_to_cut == 1
    assert row.place == "b, round 1 (work of 20s at 0:39)"
    assert "make this interval 1s longer" in row.remedies


@pytest.mark.parametrize(("setup_s", "words"), [(13.0, 2), (14.0, 2), (17.0, 3), (19.0, 4)])
def test_the_words_to_cut_are_whole_and_enough(setup_s: float, words: int) -> None:
    """Up to the next whole word of 1.38, 1.81, 2.81 and 3.32.

    Those are the seconds missing, at the rate of the lines that must be said: eight words in 1.5 s more than
    the set-up takes.
    """
    (row,) = advice(setup_s)
    assert row.words_to_cut == words


def test_the_lengthening_named_is_enough() -> None:
    """13.4 s of musts are 55 % of 24.4 s: 20 s must be made 5 s longer, not the 2.4 s that are too much."""
    (row,) = advice(10.0, caution_s=2.9)
    assert "make this interval 5s longer" in row.remedies
    block = {"block": "Main", "pattern": "circuit", "exercises": ["a", "b"]}
    exercises = {"a": {}, "b": {"setup": SETUP, "caution": CAUTION}}
    seconds = {SETUP: 10.0, CAUTION: 2.9, "Last one. B.": 1.0, "B.": 0.5}
    for work, fits in (("24s", False), ("25s", True)):
        plan = {"session": [block | {"work": work}], "exercises": exercises}
        assert (arranged(plan, seconds).misfits == ()) is fits


def test_a_cue_fixed_under_a_pip_is_told_so() -> None:
    """No length would do; the message says where a cue may be, and names no seconds and no words."""
    block = {"block": "Main", "pattern": "circuit", "work": "20s", "exercises": ["a"]}
    spec = {"setup": {"text": SETUP, "at": "0s"}}
    (row,) = advise(arranged({"session": [block], "exercises": {"a": spec}}).misfits, RATE)
    assert row.missing_s is None
    assert not [remedy for remedy in row.remedies if "longer" in remedy]
    assert row.clashes == (
        f"“{SETUP}” is fixed at 0.0 s; here a cue may start at 0.8 s and must end by 16.8 s",
    )


def test_no_pace_below_the_present_one_is_advised() -> None:
    """At pace 1.10 already, 1.05 is no remedy."""
    block = {"block": "Main", "pattern": "circuit", "work": "20s", "exercises": ["a", "b"]}
    plan = {"session": [block], "exercises": {"a": {}, "b": {"setup": SETUP}}}
    misfits = arranged(plan, {SETUP: 11.0, "Last one. B.": 1.0, "B.": 0.5}).misfits
    assert not [
        remedy for remedy in advise(misfits, RATE, 1.12)[0].remedies if "1.05" in remedy or "1.10" in remedy
    ]


def test_a_faster_pace_is_named_only_if_it_is_enough() -> None:
    """11.5 s over 11 s is mended by pace 1.05; 20 s by no pace up to 1.15."""
    assert "speak a little faster: --pace 1.05" in advice(11.0)[0].remedies
    assert not [remedy for remedy in advice(20.0)[0].remedies if "pace" in remedy]


def test_moving_to_the_rest_is_named_only_if_there_is_one() -> None:
    """With a rest of 30 s before, the set-up fits there; with none there is no such remedy."""
    assert [remedy for remedy in advice(11.0, rest="30s")[0].remedies if "rest before" in remedy]
    assert not [remedy for remedy in advice(11.0)[0].remedies if "rest before" in remedy]


@pytest.mark.parametrize(("preview_s", "named"), [(11.0, True), (13.4, True), (13.6, False)])
def test_moving_to_the_rest_is_tried_with_the_words_around_it(preview_s: float, named: bool) -> None:
    """There it is said as "Next: b. …", which takes longer: 75 % of 18 s are 13.5 s."""
    block = {"block": "Main", "pattern": "circuit", "work": "20s", "rest": "18s", "exercises": ["a", "b"]}
    said = f"Next: b. {SETUP}"
    seconds = {SETUP: 11.0, said: preview_s, "Last one. B.": 1.0, "B.": 0.5}
    plan = {"session": [block], "exercises": {"a": {}, "b": {"setup": SETUP}}}
    (row,) = advise(arranged(plan, seconds).misfits, RATE)
    assert any("rest before" in remedy for remedy in row.remedies) is named
    moved = {"preview": {"text": SETUP, "must": True}}
    tried = arranged({"session": [block], "exercises": {"a": {}, "b": moved}}, seconds)
    assert (tried.misfits == ()) is named
    assert said in {candidate.text for candidate in tried.offered}


def test_a_line_behind_another_preview_is_tried_as_it_is() -> None:
    """Only the first line of a preview is announced."""
    block = {"block": "Main", "pattern": "circuit", "work": "20s", "rest": "18s", "exercises": ["a", "b"]}
    seconds = {SETUP: 11.0, f"Next: b. {SETUP}": 14.0, "Last one. B.": 1.0, "B.": 0.5}
    plan = {"session": [block], "exercises": {"a": {}, "b": {"preview": "It comes.", "setup": SETUP}}}
    (row,) = advise(arranged(plan, seconds).misfits, RATE)
    assert any("rest before" in remedy for remedy in row.remedies)


def test_the_message_says_all_of_it() -> None:
    """The text a person reads has the place, the seconds, the words and each remedy."""
    text = str(advice(11.0)[0])
    assert text.splitlines()[0] == (
        "b, round 1 (work of 20s at 0:39): the cues that must be spoken need 0.5 s more than there is; "
        "cut about 1 word."
    )


def test_moving_to_a_rest_that_is_too_short_is_not_named() -> None:
    """A rest of 8 s has no room for a set-up of 11 s."""
    assert not [remedy for remedy in advice(11.0, rest="8s")[0].remedies if "rest before" in remedy]


def test_only_the_line_whose_loss_would_be_enough_is_named(tmp_path: Path) -> None:
    """Of a set-up of 11 s and a caution of 3 s, only without the set-up does the rest fit."""
    path = tmp_path / "plan.yaml"
    path.write_text(
        "title: T\ncautions: none\nsession:\n"
        "  - {block: B, pattern: circuit, work: 20s, exercises: [z, a]}\n"
        f"exercises:\n  z: {{}}\n  a:\n    setup: {SETUP}\n    caution: {CAUTION}\n",
        encoding="utf-8",
    )
    seconds = {SETUP: 11.0, CAUTION: 3.0}

    def voice(candidate: Candidate) -> Sounding:
        return Sounding(round(seconds.get(candidate.text, 0.5) * RATE))

    (row,) = advise(arrange(expand(load_plan(path)), voice, RATE).misfits, RATE)
    dropping = [remedy for remedy in row.remedies if "must: false" in remedy]
    assert dropping == [f"let it be dropped, with must: false: “{SETUP}”"]
    assert [(mark.line, mark.column) for mark in row.marks] == [(9, 14), (8, 12)]
