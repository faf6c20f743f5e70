"""Starter plans are plans: they load, expand and say what they are for."""

from __future__ import annotations

from pathlib import Path

import pytest

from cuelane.base.errors import UsageError
from cuelane.base.language import available_languages
from cuelane.facts import facts
from cuelane.lint import lint
from cuelane.plan.load import load_plan
from cuelane.plan.starter import PATTERNS, starter_plan, starter_words
from cuelane.session.expand import expand


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_starter_loads_and_expands(tmp_path: Path, pattern: str) -> None:
    """Each pattern's starter loads without a problem, has that pattern, and lasts 1 to 20 minutes."""
    path = tmp_path / "plan.yaml"
    path.write_text(starter_plan(pattern, "Porch legs"), encoding="utf-8")

    loaded = load_plan(path)

    assert loaded.plan.title == "Porch legs"
    assert getattr(loaded.plan.session[0], "pattern", None) == pattern
    assert 60_000 <= expand(loaded).length_ms <= 20 * 60_000


@pytest.mark.parametrize("language", available_languages())
@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_starter_teaches_good_habits(tmp_path: Path, pattern: str, language: str) -> None:
    """No starter gives a warning about its words, its balance or its load, in any language."""
    path = tmp_path / "plan.yaml"
    path.write_text(starter_plan(pattern, "Porch legs", language), encoding="utf-8")
    loaded = load_plan(path)
    session = expand(loaded)
    told = lint(loaded, session, lambda text: len(text.split()) / 2.5)

    assert loaded.plan.language == language
    assert [str(row) for row in told if row.code != "not-judged"] == []
    assert ("not-judged" in {row.code for row in told}) == (language != "en")
    assert facts(session).warnings == ()


def test_starters_have_the_same_words_in_every_language() -> None:
    """No language lacks a comment or a line, and each names the side where the English does."""
    english = starter_words("en")
    for code in available_languages():
        words = starter_words(code)
        assert list(words) == list(english), code
        for key, text in words.items():
            assert ("{" in text) == ("{" in english[key]), (code, key)
            assert ": " not in text or key in ("voice", "each", "build_up"), (code, key)


@pytest.mark.parametrize(
    "title", ["Legs: the rest", '"quoted" \\ # no', "{legs}", "- legs", "Füße 🦶", "null"]
)
def test_a_title_of_any_letters_comes_back(tmp_path: Path, title: str) -> None:
    """A title that YAML would take for something else is quoted, and read back the same."""
    path = tmp_path / "plan.yaml"
    path.write_text(starter_plan("circuit", title), encoding="utf-8")

    assert load_plan(path).plan.title == title


def test_what_cannot_be_a_starter_is_refused() -> None:
    """An unknown pattern names the nearest one; a title must be visible."""
    with pytest.raises(UsageError, match=r"^there is no pattern 'ladders'; did you mean 'ladder'\?$"):
        starter_plan("ladders", "x")
    with pytest.raises(UsageError, match=r"^there is no pattern 'zigzag'; choose circuit, build-up, "):
        starter_plan("zigzag", "x")
    with pytest.raises(UsageError, match=r"^there are no words for language 'xx' yet; choose de, en, es, "):
        starter_plan("circuit", "x", "xx")
    with pytest.raises(UsageError, match="a title is 1 to 80 visible characters"):
        starter_plan("circuit", " ")
    with pytest.raises(UsageError, match=r"^there are no words for language 'xx' yet; choose de, en, es, "):
        starter_plan("circuit", "x", "xx")
    with pytest.raises(UsageError, match="a title is 1 to 80 visible characters"):
        starter_plan("circuit", "a\x1b[0m")
