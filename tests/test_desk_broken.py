"""A plan file that holds no plan, and words that are no text: the desk says so and stays usable."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cuelane.audio.store import ClipStore
from cuelane.desk.app import application
from cuelane.desk.spoken_in import SpokenIn
from cuelane.desk.workspace import Workspace
from cuelane.desk.written_title import written_title
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
        assert (answer.status, answer.json["error"]) == (404, "p.yaml, line 1: this file is empty")


@pytest.mark.parametrize(
    ("url", "status", "wrong", "lang"),
    [
        ("/plan/p.yaml", 404, "p.yaml, line 1: this file is empty", "en"),
        ("/finish/<b>.yaml", 400, "in diesem Ordner liegt kein Plan „&lt;b&gt;.yaml“", "de"),
        ("/booth/none.yaml", 400, "in diesem Ordner liegt kein Plan „none.yaml“", "de"),
        (
            "/boots/p.yaml",
            404,
            "unter dieser Adresse gibt es keine Seite; weiter geht es mit „Alle Pläne“",
            "de",
        ),
        (
            "/api/new",
            405,
            "unter dieser Adresse gibt es keine Seite; weiter geht es mit „Alle Pläne“",
            "de",
        ),
    ],
)
def test_what_is_wrong_is_a_page_where_a_person_looks_at_it(
    url: str, status: int, wrong: str, lang: str, tmp_path: Path
) -> None:
    """In the desk's language, with a way back; a script gets the same in JSON."""
    (tmp_path / "p.yaml").write_text("", encoding="utf-8")
    desk = SpokenIn(application(tmp_path, ClipStore(tmp_path / "clips")), "de")
    # As the browsers ask for a page that is opened by its address (WHATWG Fetch, 3.2.4).
    accept = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
    shown = ask(desk, "GET", url, headers={"accept": accept})
    assert shown.status == status
    assert shown.headers["content-type"] == "text/html; charset=utf-8"
    page = shown.body.decode("utf-8")
    assert '<html lang="de">' in page
    assert '<a href="/">Alle Pläne</a>' in page
    found = re.search(r'<p id="wrong" role="alert" lang="(..)" dir="auto">(.*?)</p>', page)
    assert found is not None
    assert (found[2], found[1]) == (wrong, lang)
    asked = ask(desk, "GET", url, headers={"accept": "*/*"})
    assert (asked.status, asked.json["lang"]) == (status, lang)


@pytest.mark.parametrize(
    ("written", "told"),
    [("2026-01-02", "2026-01-02"), (".nan", ".nan"), ("3", "3"), ("[a, 2.5]", "[a, 2.5]")],
)
def test_a_change_that_met_another_is_told_whatever_the_other_holds(
    written: str, told: str, tmp_path: Path
) -> None:
    """A date as plans are written, for which JSON has no word, and a value that no plan takes."""
    (tmp_path / "p.yaml").write_text(f"date: {written}\n{PLAN}", encoding="utf-8")
    desk = application(tmp_path, ClipStore(tmp_path / "clips"))
    edit = {"op": "set", "place": "date", "value": "2027-01-02"}
    asked = {"edits": [edit], "number": 1, "seen": "earlier", "was": {"value": "2025-01-02"}}
    answer = post(desk, "/api/plan/p.yaml/edit", asked)
    assert (answer.status, answer.json["theirs"]) == (409, told)


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


@pytest.mark.parametrize(
    ("text", "title"),
    [
        ("title: Pier legs\nsession: [\n", "Pier legs"),
        ("# mine\ntitle: 'Pier: legs'  # for Monday\n", "Pier: legs"),
        ('title: "Pier legs" # mine\r\nsession: soon\n', "Pier legs"),
        ("title: Pier legs # mine\n", "Pier legs"),
        ("title: [\n", ""),
        ("title:\n  Pier legs\n", ""),
        ("title: |\n  Pier legs\n", ""),
        ("title: &a Pier\n", ""),
        ('title: "Pier \\x41"\n', ""),
        ("session:\n  - title: No\n", ""),
        ("", ""),
    ],
)
def test_a_title_is_read_from_a_text_that_is_no_plan(text: str, title: str) -> None:
    """Where it stands on one line, as it is; any other way of YAML to write it is left unread."""
    assert written_title(text) == title


def test_a_plan_that_is_to_be_mended_is_called_by_its_title(tmp_path: Path) -> None:
    """On the shelf, where it is composed and where it is read aloud, which says where to mend it."""
    (tmp_path / "p.yaml").write_text("title: Pier <legs>\nsession:\n  - rest: soon\n", encoding="utf-8")
    desk = application(tmp_path, ClipStore(tmp_path / "clips"))
    row = ask(desk, "GET", "/api/shelf/p.yaml").json["row"]
    assert ">Pier &lt;legs&gt;</a>" in row
    for url in ("/plan/p.yaml", "/booth/p.yaml"):
        assert ">Pier &lt;legs&gt;</h1>" in ask(desk, "GET", url).body.decode()
    assert "Mend it under Compose" in ask(desk, "GET", "/booth/p.yaml").body.decode()
