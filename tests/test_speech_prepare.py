"""Written words become the words that are said."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuelane.speech.lexicon import Lexeme, Lexicon
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
    "30s on, 15s off": "thirty seconds on, fifteen seconds off.",
    "1 rep": "one rep.",
    "12 reps each": "twelve reps each.",
    "2 sets of 8": "two sets of eight.",
    "1 hr walk": "one hour walk.",
    "90 secs": "ninety seconds.",
    "1 lb plate": "one pound plate.",
    "5 lbs": "five pounds.",
    "40s/20s": "forty seconds or twenty seconds.",
    "20 lb bell": "twenty pound bell.",
    "3 x 30s": "three times thirty seconds.",
    "4 × 100 m": "four times one hundred meters.",
    "2 1/2 minutes": "two and a half minutes.",
    "Set 2/4": "Set two of four.",
    "3rd round": "third round.",
    "2nd set": "second set.",
    "approx. 5 min": "about five minutes.",
    "max. 20 kg": "at most twenty kilos.",
    "min. 3 sets": "at least three sets.",
    "Mat, band, etc.": "Mat, band, and so on.",
    "band w/ handle": "band with handle.",
    "w/o weight": "without weight.",
    "no. 3": "number three.",
    "#2": "number two.",
    "70 rpm": "seventy turns a minute.",
    "150 bpm": "one hundred and fifty beats a minute.",
    "200 kcal": "two hundred kilocalories.",
    "-5 degrees": "minus five degrees.",
    "STOP NOW": "Stop now.",
    "REST and breathe": "Rest and breathe.",
    "Drink water. STAND UP slowly": "Drink water. Stand up slowly.",
    "5-4-3-2-1": "five, four, three, two, one.",
    "0.5 km": "zero point five kilometers.",
    "100%": "one hundred percent.",
    "1½ min": "one and a half minutes.",
    "½ min rest": "a half minute rest.",
    "Round 1/2": "Round one of two.",
    "¾ of the way": "three quarters of the way.",
    "KEEP GOING": "Keep going.",
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


def test_languages_without_rules_keep_their_figures():
    """The engine knows its own numbers; punctuation is still tidied."""
    assert spoken_as("40 sekunder … sedan vila", "sv") == "40 sekunder, sedan vila."


# Common practice, no source: written by the rules of each language's grammar, read line by line.
TABLES = sorted((Path(__file__).parent / "sentences").glob("said_*.txt"))
OTHERS = [
    (path.stem.removeprefix("said_"), *line.split(" → "))
    for path in TABLES
    for line in path.read_text(encoding="utf-8").splitlines()
]


@pytest.mark.parametrize(("language", "written", "said"), OTHERS, ids=lambda value: value)
def test_other_languages_say_figures_and_short_forms_their_way(language, written, said):
    """Gender, order, decimals, ordinals and clock times are those of the language."""
    assert spoken_as(written, language) == said


def test_each_language_has_a_table_of_sixty_lines():
    """Each language with rules has one, and no other; none leaves a figure to the engine."""
    rules = resources.files("cuelane") / "languages"
    known = {entry.name[:2] for entry in rules.iterdir() if entry.name.endswith("_speech.toml")}
    counts = {language: sum(row[0] == language for row in OTHERS) for language in known}

    assert {path.stem.removeprefix("said_") for path in TABLES} == known == {"de", "es", "fr", "it", "pt"}
    assert min(*counts.values(), len(SAID)) >= 60
    assert [row for row in OTHERS if re.search(r"\d", row[2])] == []


def test_all_rules_have_the_same_keys():
    """No table of a language's rules is forgotten in another."""
    packs = [
        tomllib.loads(
            (resources.files("cuelane") / "languages" / f"{path.stem[5:]}_speech.toml").read_text("utf-8")
        )
        for path in TABLES
    ]
    for key in ("words", "fractions"):
        assert len({frozenset(pack[key]) for pack in packs}) == 1
    assert len({frozenset(pack) for pack in packs}) == 1
    for pack in packs:
        assert all(len(unit) == 3 for unit in pack["units"].values())
        assert {"kg", "s", "min", "m", "%", "°", "x"} <= set(pack["units"])


def test_words_of_a_lexicon_keep_their_capitals():
    """Words in capitals are written small, but not those that a lexicon says."""
    lexicon = Lexicon("en", (Lexeme(("EMOM",), "every minute on the minute", None),))

    assert spoken_as("EMOM NOW", "en", lexicon) == "every minute on the minute now."
    assert spoken_as("AGAIN NOW", "en", lexicon) == "Again now."


def test_abbreviations_among_words_in_capitals_keep_theirs():
    """One without a vowel is none that is shouted."""
    assert spoken_as("TRX ROW") == "TRX row."
    assert spoken_as("TRX AND KB") == "TRX and KB."
    assert spoken_as("Now PUSH THE KB") == "Now push the KB."
    assert spoken_as("KB") == "KB."


def test_sentences_are_split_at_their_marks():
    """Each sentence keeps its final mark."""
    assert sentences("Rest. Now what? Go!") == ["Rest.", "Now what?", "Go!"]


@settings(derandomize=True, deadline=None, max_examples=300)
@given(st.text(max_size=60), st.sampled_from(["en", "de", "es", "fr", "it", "pt-BR", "sv"]))
def test_any_text_is_prepared_without_harm(text, language):
    """No text raises; what comes out is one line, ends in a mark, and has no digit that 0 to 9 spells."""
    said = spoken_as(text, language)

    assert said == "" or said[-1] in ".!?"
    assert "\n" not in said
    assert "[[" not in said
    assert said == "" or re.search(r"\w", said)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(st.integers(0, 999_999), st.sampled_from(["en", "de", "es", "fr", "it", "pt-BR"]))
def test_every_number_is_spelled_out(number, language):
    """No digit reaches the engine, alone or with a unit."""
    assert not re.search(r"\d", spoken_as(f"{number} ... {number}s ({number} kg).", language))
