"""Why a cue is where it is: in each of the desk's languages, whatever the program says."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest

from cuelane.base.language import available_languages
from cuelane.desk.reasons import Reason, reason_in_words
from cuelane.desk.words import in_language
from cuelane.plan.load import load_plan
from cuelane.plan.starter import PATTERNS, starter_plan
from cuelane.session.arrange import Arranged, Sounding, arrange
from cuelane.session.expand import expand
from plan_text import FULL_PLAN

DEMOS = sorted((Path(__file__).parents[1] / "demo").glob("*.yaml"))
OTHERS = [code for code in available_languages() if code != "en"]


def table(code: str) -> dict[str, str]:
    file = resources.files("cuelane") / "languages" / f"{code}_why.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def slots(text: str) -> list[str]:
    return sorted(re.findall(r"\{(\w+)\}", text))


def arranged(text: str, path: Path, frames_a_letter: int) -> Arranged:
    """Return a plan's session, each line so long for each of its letters."""
    return arrange(
        expand(load_plan(path, text=text)),
        lambda line: Sounding(max(1, frames_a_letter * len(line.text))),
        48_000,
    )


@pytest.fixture(scope="module")
def given() -> set[str]:
    """Every reason that is given for the demos, the starter plans and a plan with every key."""

    def every() -> Iterator[str]:
        texts = [(path.read_text(encoding="utf-8"), path) for path in DEMOS]
        texts += [(starter_plan(one, "Test"), Path("p.yaml")) for one in PATTERNS]
        texts += [(FULL_PLAN, Path("p.yaml"))]
        for text, path in texts:
            # As fast as speech is, and slower, so that some has no place.
            for frames_a_letter in (2_600, 4_200):
                found = arranged(text, path, frames_a_letter).schedule
                yield from (cue.why or "" for cue in found.cues)
                yield from (row.reason for row in found.dropped)

    return set(every())


@pytest.mark.parametrize("code", OTHERS)
def test_each_table_has_every_reason_with_every_slot(code: str) -> None:
    """The same sentences as the other tables, in words of its own."""
    mine = table(code)
    assert list(mine) == list(table(OTHERS[0]))
    for english, put in mine.items():
        assert slots(put) == slots(english), english
        assert put.strip() == put != english, english


@pytest.mark.parametrize("code", OTHERS)
def test_every_reason_that_is_given_has_words(code: str, given: set[str]) -> None:
    """None of them is shown in English."""
    assert len(given) > 100
    with in_language(code):
        assert [why for why in sorted(given) if reason_in_words(why).language != code] == []


def test_numbers_and_what_is_added_stand_in_the_sentence() -> None:
    """With the language's own decimal sign, and a reason within a reason."""
    why = "right after the pip, 2 of its 3 in the session, moved 0.4 s later to fit"
    with in_language("de"):
        told = reason_in_words(why)
    assert told == Reason(
        "gleich nach dem Ton, 2. von 3 Malen in der Einheit; 0,4 s später, damit es passt", "de"
    )
    with in_language("en"):
        assert reason_in_words(why) == Reason(why, "en")


def test_a_reason_without_words_is_told_in_english() -> None:
    """The whole of it, said to be English: half a sentence in each language would help nobody."""
    with in_language("fr"):
        for why in ("for a reason of its own", "for a reason of its own, moved 0.4 s later to fit"):
            assert reason_in_words(why) == Reason(why, "en")
