"""What a person sees for each of more than a hundred kinds of bad plan: the whole text, place included.

The plans and their messages lie in ``bad_plans/``: ``#### name``, the plan, ``>>>>``, the message.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from cuelane.base.errors import PlanError
from cuelane.plan.load import load_plan


def read_cases() -> dict[str, tuple[str, str]]:
    cases = {}
    for path in sorted((Path(__file__).parent / "bad_plans").glob("*.txt")):
        for part in path.read_text(encoding="utf-8").split("#### ")[1:]:
            name, _, body = part.partition("\n")
            plan, _, message = body.partition(">>>>\n")
            cases[name] = (plan, message.rstrip("\n"))
    return cases


CASES = read_cases()
# Words of the libraries underneath, which mean nothing to a coach.
LIBRARY_WORDS = (
    "Input should",
    "validation error",
    "pydantic",
    "ruamel",
    "Circuit",
    "CueLine",
    "<on>",
    "str_",
)


@pytest.mark.parametrize(("text", "message"), CASES.values(), ids=CASES.keys())
def test_a_bad_plan_is_refused_with_this_message(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, message: str
) -> None:
    """Each fault is reported at its place, with what came, what was expected and what to do."""
    monkeypatch.chdir(tmp_path)
    Path("plan.yaml").write_text(text, encoding="utf-8")

    with pytest.raises(PlanError) as caught:
        load_plan(Path("plan.yaml"))

    assert str(caught.value) == message


def test_the_table_is_whole() -> None:
    """The table holds at least a hundred kinds, none of them said in a library's words."""
    assert len(CASES) >= 100
    for _, message in CASES.values():
        assert message.startswith("plan.yaml:")
        assert not any(word in message for word in LIBRARY_WORDS)


def test_a_control_character_is_shown_harmless(tmp_path: Path) -> None:
    """A character that a terminal would obey is reported at its place and not sent to the terminal."""
    path = tmp_path / "plan.yaml"
    path.write_text("title: Legs\nauthor: A\x1b[31mda\n", encoding="utf-8")

    with pytest.raises(PlanError) as caught:
        load_plan(path)

    assert str(caught.value) == (
        f"{path}:2:10: a character that can be neither seen nor spoken stands here (U+001B)\n"
        "    author: A\ufffd[31mda\n"
        "             ^\n"
        "    remove it"
    )
