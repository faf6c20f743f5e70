"""Written words become the words that are said."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuelane.speech.prepare import sentences, spoken_as

# Common practice, no source: how a coach says these.
SAID = {
    "40s work, 20s rest.": "forty seconds work, twenty seconds rest.",
    "1 min": "one minute.",
    "10 sec left, 2 min.": "ten seconds left, two minutes.",
    "1:30 to go": "one minute thirty seconds to go.",
    "5:00": "five minutes.",
    "0:01": "one second.",
    "10 kg dumbbell, 2x.": "ten kilo dumbbell, two times.",
    "A 2.5 kg plate": "A two point five kilo plate.",
    "10 kg or less": "ten kilos or less.",
    "3x10 reps": "three times ten reps.",
    "6-8 reps": "six to eight reps.",
    "10–12 reps": "ten to twelve reps.",
    "3-2-1": "three, two, one.",
    "Round 1/3": "Round one of three.",
    "1/2 way there": "a half way there.",
    "50% effort": "fifty percent effort.",
    "90° bend": "ninety degrees bend.",
    "1,000 m row": "one thousand meters row.",
    "1st round, 22nd rep": "first round, twenty second rep.",
    "5 km/h": "five kilometers an hour.",
    "Left & right": "Left and right.",
    "left/right": "left or right.",
    "Hold... then go": "Hold, then go.",
    "chair—or wall": "chair, or wall.",
    "Hold it (if you can) now": "Hold it, if you can, now.",
    "e.g. a chair": "for example a chair.",
    "It’s great. Don’t stop!": "It's great. Don't stop!",
    "Rest\nNow go": "Rest. Now go.",
    "go 💪 on": "go on.",
    "well-known pull-up": "well-known pull-up.",
    "A4 paper, 3D": "A4 paper, three D.",
    "cafe\u0301": "caf\u00e9.",
}


@pytest.mark.parametrize(("written", "said"), SAID.items(), ids=SAID.keys())
def test_it_is_said_as_a_coach_says_it(written, said):
    """Numbers, units, signs and abbreviations are spelled out; all else stays."""
    assert spoken_as(written) == said


@pytest.mark.parametrize("nothing", ["", " ", "...", "💪", "—", "[[]]", "()", "\n\n"])
def test_nothing_to_say_is_empty(nothing):
    """Signs alone give no words."""
    assert spoken_as(nothing) == ""


def test_a_plan_cannot_hand_phonemes_to_the_engine():
    """Double brackets lose their meaning; only a lexicon may send phonemes."""
    assert "[[" not in spoken_as("[[ʃ]] hello [[[x]]]")


def test_other_languages_keep_their_figures():
    """The engine knows its own numbers; punctuation is still tidied."""
    assert spoken_as("40 Sekunden … dann Pause", "de") == "40 Sekunden, dann Pause."


def test_sentences_are_split_at_their_marks():
    """Each sentence keeps its final mark."""
    assert sentences("Rest. Now what? Go!") == ["Rest.", "Now what?", "Go!"]


@settings(derandomize=True, deadline=None, max_examples=300)
@given(st.text(max_size=60))
def test_any_text_is_prepared_without_harm(text):
    """No text raises; what comes out is one line, ends in a mark, and has no digit that 0 to 9 spells."""
    said = spoken_as(text)

    assert said == "" or said[-1] in ".!?"
    assert "\n" not in said
    assert "[[" not in said
    assert said == "" or re.search(r"\w", said)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(st.integers(0, 999_999))
def test_every_number_is_spelled_out(number):
    """No digit reaches the engine, alone or with a unit."""
    assert not re.search(r"\d", spoken_as(f"{number} and {number}s and {number} kg."))
