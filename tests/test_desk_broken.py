"""A plan file that holds no plan, and words that are no text: the desk says so and stays usable."""

from __future__ import annotations

from pathlib import Path

import pytest

from cuelane.audio.store import ClipStore
from cuelane.desk.app import application
from cuelane.desk.workspace import Workspace
from deskkit import ask, post

PLAN = "title: One\nsession:\n  - rest: 30s\n"


@pytest.fixture(autouse=True)
def nothing_is_spoken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the desk plan alone; the speaking beside it is tried elsewhere."""
    monkeypatch.setattr(Workspace, "_speak_all", lambda _self: None)


def test_an_empty_file_is_said(tmp_path: Path) -> None:
    """There is nothing to show of it: it is refused in words, and the shelf shows it as broken."""
    (tmp_path / "p.yaml").write_text("", encoding="utf-8")
    desk = application(tmp_path, ClipStore(tmp_path / "clips"))
    assert ask(desk, "GET", "/").status == 200
    for url in ("/plan/p.yaml", "/api/plan/p.yaml", "/api/shelf/p.yaml"):
        answer = ask(desk, "GET", url)
        assert (answer.status, answer.json["error"]) == (404, "this file is empty")


@pytest.mark.parametrize("text", ["- a\n", "hello\n", "5\n", "# nothing\n", "null\n", "exercises: [a]\n"])
def test_a_file_that_holds_no_plan_is_said_and_can_be_mended(text: str, tmp_path: Path) -> None:
    """A list, a sentence, a number, nothing: each page answers, says an error, and takes a plan again."""
    path = tmp_path / "p.yaml"
    path.write_text(text, encoding="utf-8")
    desk = application(tmp_path, ClipStore(tmp_path / "clips"))
    for url in ("/", "/plan/p.yaml", "/api/plan/p.yaml", "/api/shelf/p.yaml", "/api/plan/p.yaml/score"):
        assert ask(desk, "GET", url).status == 200, url
    state = ask(desk, "GET", "/api/plan/p.yaml").json
    assert {row["level"] for row in state["findings"]} == {"error"}
    asked = {"text": PLAN, "number": 1, "seen": state["seen"]}
    assert post(desk, "/api/plan/p.yaml/text", asked).status == 200
    assert path.read_text(encoding="utf-8") == PLAN


@pytest.mark.parametrize("text", ["- a\n", "hello\n", "5\n"])
def test_a_text_that_is_no_plan_is_saved_and_taken_back(text: str, tmp_path: Path) -> None:
    """What is being written is saved as it is; one step back is the plan that was."""
    path = tmp_path / "p.yaml"
    path.write_text(PLAN, encoding="utf-8")
    desk = application(tmp_path, ClipStore(tmp_path / "clips"))
    seen = ask(desk, "GET", "/api/plan/p.yaml").json["seen"]
    saved = post(desk, "/api/plan/p.yaml/text", {"text": text, "number": 1, "seen": seen})
    assert saved.status == 200
    assert path.read_text(encoding="utf-8") == text
    undone = post(desk, "/api/plan/p.yaml/undo", {"seen": saved.json["seen"]})
    assert undone.status == 200
    assert path.read_text(encoding="utf-8") == PLAN


@pytest.mark.parametrize("half", ["\ud800", "title: \udfff\nsession:\n  - rest: 30s\n"])
def test_half_of_a_character_is_refused(half: str, tmp_path: Path) -> None:
    """A lone surrogate is no text: it is refused in words, and the file stays as it was."""
    path = tmp_path / "p.yaml"
    path.write_text(PLAN, encoding="utf-8")
    desk = application(tmp_path, ClipStore(tmp_path / "clips"))
    seen = ask(desk, "GET", "/api/plan/p.yaml").json["seen"]
    answer = post(desk, "/api/plan/p.yaml/text", {"text": half, "number": 1, "seen": seen})
    assert answer.status == 422
    assert "character" in answer.json["error"]
    edits = [{"op": "set", "path": ["title"], "value": half}]
    answer = post(desk, "/api/plan/p.yaml/edit", {"edits": edits, "number": 1, "seen": seen})
    assert answer.status in (200, 422)
    assert path.read_text(encoding="utf-8").startswith("title: ")
