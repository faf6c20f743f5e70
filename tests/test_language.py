"""The language pack: numbers, lists and time calls as they are spoken."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from typing import Any

import pytest

from cuelane.base.errors import UsageError
from cuelane.base.language import Language, available_languages, fill, load_language

ENGLISH = load_language("en")


@pytest.mark.parametrize(
    ("value", "words"), [(0, "zero"), (13, "thirteen"), (20, "twenty"), (45, "forty-five"), (90, "ninety")]
)
def test_numbers_are_words(value: int, words: str) -> None:
    """Numbers below a hundred are spelled out, so that no voice has to guess."""
    assert ENGLISH.number(value) == words


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("en", "twenty-one"), ("es", "veintiuno"), ("fr", "vingt et un"), ("it", "ventuno"),
        ("pt", "vinte e um"), ("de", "einundzwanzig"), ("xx", "21"),
    ],
)  # fmt: skip
def test_a_language_needs_no_number_code(code: str, words: str) -> None:
    """A pack of phrases alone speaks numbers in its language; in one that num2words lacks, in digits."""
    assert Language(code, {}).number(21) == words
    assert Language(code, {}).number(120) == "120"


def test_a_thing_spoken_of_before_is_the_thing() -> None:
    """Only an article or "one" gives way; a count and an owner stay."""
    told = [
        ENGLISH.definite(thing) for thing in ("one kettlebell", "a long band", "An oar", "two bells", "chalk")
    ]
    assert told == ["the kettlebell", "the long band", "the oar", "the two bells", "the chalk"]


def test_a_sentence_inside_another_has_no_capital_of_its_own() -> None:
    """But for a word that is written with one, or in capitals, wherever it stands."""
    inside = [
        ENGLISH.inside(text) for text in ("Bend less.", "I count for you.", "TRX rows.", "I'll wait.", "")
    ]
    assert inside == ["bend less.", "I count for you.", "TRX rows.", "I'll wait.", ""]


def test_lists_are_joined_with_and() -> None:
    """One, two or three things."""
    assert [ENGLISH.listing(["a"]), ENGLISH.listing(["a", "b"]), ENGLISH.listing(["a", "b", "c"])] == [
        "a",
        "a and b",
        "a, b and c",
    ]


def test_a_region_falls_back_to_its_language() -> None:
    """en-GB speaks English."""
    assert load_language("en-GB").code == "en"


def test_an_unknown_language_is_a_usage_error() -> None:
    """It names what there is."""
    with pytest.raises(UsageError, match=r"no words for language 'xx'; there are: .*en"):
        load_language("xx")
    assert "en" in available_languages()


def test_every_sentence_of_a_phrase_begins_with_a_capital() -> None:
    """A side or a name is capitalised only where a sentence begins; braces in names are kept."""
    assert ENGLISH.say("side_change", "switch", side="right") == "Switch. Right side."
    assert ENGLISH.say("announce", "exercise", exercise="{odd} name") == "{odd} name."
    assert fill("Stay tall. {side} foot back, {side} knee soft. “{side}?”", {"side": "élan"}) == (
        "Stay tall. Élan foot back, élan knee soft. “Élan?”"
    )
    assert fill("About 2.5 {unit}: {unit}", {"unit": "kilos"}) == "About 2.5 kilos: kilos"


def _pack(code: str) -> dict[str, Any]:
    file = resources.files("cuelane") / "languages" / f"{code}.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def _slots(entry: Any) -> set[str]:
    return set(re.findall(r"\{(\w+)\}", str(entry)))


@pytest.mark.parametrize("code", available_languages())
def test_a_pack_says_all_that_the_program_can_say(code: str) -> None:
    """Every pack has the sections and keys of the English one, and fills no slot that is not filled."""
    english, pack = _pack("en"), _pack(code)
    assert {(section, key) for section in pack for key in pack[section]} == {
        (section, key) for section in english for key in english[section]
    }
    for section in english:
        if section != "lint":
            for key, entry in english[section].items():
                assert _slots(pack[section][key]) <= _slots(entry), (section, key)
