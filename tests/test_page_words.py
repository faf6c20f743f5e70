"""The words that people read beside a track: whole packs, plurals by rule, tags."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from typing import Any

import pytest

from cuelane.base.language import available_languages, pack_code, plural_form
from cuelane.base.page_words import page_words
from cuelane.base.roles import ROLES
from cuelane.deliver.outline import KINDS
from cuelane.deliver.page_facts import _energy_rows


def _pack(code: str) -> dict[str, Any]:
    file = resources.files("cuelane") / "languages" / f"{code}_page.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def _slots(entry: Any) -> set[str]:
    return set(re.findall(r"\{(\w+)\}", str(entry)))


@pytest.mark.parametrize("code", available_languages())
def test_a_page_pack_has_every_word_with_every_slot(code: str) -> None:
    """The same sections, keys and kinds of entry as in English, and in each the same slots filled."""
    english, pack = _pack("en"), _pack(code)
    assert [(section, key) for section in sorted(pack) for key in sorted(pack[section])] == [
        (section, key) for section in sorted(english) for key in sorted(english[section])
    ]
    for section, entries in english.items():
        for key, entry in entries.items():
            other = pack[section][key]
            assert type(other) is type(entry), (section, key)
            assert _slots(other) == _slots(entry), (section, key)
            if isinstance(entry, dict):
                assert set(other) == {"one", "other"}, (section, key)
            if isinstance(entry, list):
                assert len(other) == len(entry), (section, key)


@pytest.mark.parametrize("code", available_languages())
def test_every_role_and_kind_has_its_own_word(code: str) -> None:
    """No two roles and no two kinds of interval are called the same."""
    words = page_words(code)
    for section, names in (("role", ROLES), ("role_inside", ROLES), ("kind", KINDS)):
        assert len({words(f"{section}.{name}") for name in names}) == len(list(names))


# CLDR 44, cardinal plural rules (value from memory): "i = 1 and v = 0" in English, German and
# Italian; "n = 1" in Spanish; "i = 0,1" in French and Portuguese.
@pytest.mark.parametrize(
    ("code", "ones"), [("en", {1}), ("de", {1}), ("it", {1}), ("es", {1}), ("fr", {0, 1}), ("pt-BR", {0, 1})]
)
def test_plurals_follow_the_rules_of_the_language(code: str, ones: set[int]) -> None:
    """Which counts take the singular differs by language."""
    assert {count for count in range(200) if plural_form(code, count) == "one"} == ones


def test_a_tag_finds_the_pack_of_its_language() -> None:
    """A region falls back to its language, letters count alike, and what is not there is not found."""
    assert [pack_code(tag) for tag in ("en", "en-GB", "EN-us", "xx", "", "english")] == [
        "en", "en", "en", None, None, None
    ]  # fmt: skip
    assert page_words("xx").code == "en"


def test_braces_in_a_value_are_kept() -> None:
    """A title with a slot's name in it is a title."""
    assert page_words()("chapter.named", title="{names}", names="A, B") == "{names}: A, B"


@pytest.mark.parametrize(
    ("code", "told"), [("en", "at 70.5 kg"), ("it", "con 70,5 kg"), ("pt-BR", "70,5 kg")]
)
def test_a_body_mass_has_the_languages_decimal_sign(code: str, told: str) -> None:
    """A whole number has none."""
    words = page_words(code)
    (half,) = _energy_rows({"kcal": 100.0, "body_mass_kg": 70.5}, words)
    (whole,) = _energy_rows({"kcal": 100.0, "body_mass_kg": 70.0}, words)

    assert told in half.value
    assert re.search(r"\b70 kg", whole.value)
