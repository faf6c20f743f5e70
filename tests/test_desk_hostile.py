"""The one table of hostile texts through the pages of the desk: words stay words, in every page and part."""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from cuelane.audio.store import ClipStore
from cuelane.base.errors import PlanError
from cuelane.desk.app import application
from cuelane.desk.workspace import Workspace
from cuelane.plan.load import load_plan
from deskkit import ask
from hostile import HOSTILE


@pytest.fixture(autouse=True)
def nothing_is_spoken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the pages show what is planned; the speaking beside it takes long and is tried elsewhere."""
    monkeypatch.setattr(Workspace, "_speak_all", lambda _self: None)


class Elements(HTMLParser):
    """How often each element with the names of its attributes is there, and the scripts that are."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: Counter[tuple[str, ...]] = Counter()
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found[(tag, *sorted(name for name, _ in attrs))] += 1


def plan_of(texts: Sequence[str]) -> str:
    """Return a plan, as JSON, which YAML holds, that shows each text in several places."""
    return json.dumps(
        {
            "title": texts[0],
            "author": texts[-1],
            "description": " ".join(texts)[:500],
            "session": [
                {
                    "block": text,
                    "pattern": "circuit",
                    "work": "20s",
                    "rest": "10s",
                    "exercises": [f"{n} {text}"],
                }
                for n, text in enumerate(texts)
            ],
            "exercises": {f"{n} {text}": {"setup": text, "needs": text} for n, text in enumerate(texts)},
        }
    )


def accepted(text: str, folder: Path) -> bool:
    """Tell whether a plan may hold `text`; signs that command are refused where they are written."""
    path = folder / "one.yaml"
    try:
        path.write_text(plan_of([text]), encoding="utf-8")
        load_plan(path)
    except PlanError:
        return False
    finally:
        path.unlink()
    return True


def html_in(value: Any) -> Iterator[str]:
    """Yield each part of a page in the JSON of an answer."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for inner in value:
            yield from html_in(inner)
    elif isinstance(value, str) and value.lstrip().startswith("<"):
        yield value


def shown(texts: Sequence[str], folder: Path) -> Counter[tuple[str, ...]]:
    """Return the elements of all pages that show a plan with these texts."""
    folder.mkdir()
    (folder / "p.yaml").write_text(plan_of(texts), encoding="utf-8")
    desk = application(folder, ClipStore(folder / "clips"))
    found: Counter[tuple[str, ...]] = Counter()
    for path in ("/", "/plan/p.yaml", "/booth/p.yaml", "/finish/p.yaml", "/classes"):
        answer = ask(desk, "GET", path)
        assert answer.status in (200, 400, 404), (path, answer.status)
        if answer.status == 200:
            found += Elements(answer.body.decode()).found
    answer = ask(desk, "GET", "/api/plan/p.yaml")
    assert answer.status == 200
    # Only these are put into the page as HTML; the rest of the state is data.
    for part in html_in(answer.json["parts"]):
        found += Elements(part).found
    return found


def test_words_add_no_element_to_any_page(tmp_path: Path) -> None:
    """A plan with all texts that a plan may hold gives the elements that one with plain words gives."""
    texts = [text for text in HOSTILE.values() if accepted(text, tmp_path)]
    assert len(texts) > 30
    plain = [f"word{n}" for n in range(len(texts))]
    hostile, honest = shown(texts, tmp_path / "hostile"), shown(plain, tmp_path / "honest")
    assert sum(honest.values()) > 100
    # Other warnings may be shown, by elements that are there for others.
    assert {row[0] for row in hostile} <= {row[0] for row in honest}
    assert {name for row in hostile for name in row[1:]} <= {name for row in honest for name in row[1:]}
    assert hostile[("script",)] == honest[("script",)]


def test_words_that_a_plan_may_not_hold_add_none_either(tmp_path: Path) -> None:
    """What is refused is shown with its message, in the same page."""
    refused = [text for text in HOSTILE.values() if not accepted(text, tmp_path)]
    assert refused
    honest = shown(["a\x07b"], tmp_path / "honest")
    for n, text in enumerate(refused):
        assert set(shown([text], tmp_path / str(n))) <= set(honest)


def test_names_of_files_add_none(tmp_path: Path) -> None:
    """The shelf shows names of files as words, too, and those of what was deleted."""
    names = [t for t in HOSTILE.values() if not set(t) & set("/\0\ud800") and len(t.encode()) < 180]
    if os.name == "nt":
        names = [t for t in names if not set(t) & set('<>:"|?*\\') and t.isprintable()]
    found = []
    for kind in ("hostile", "honest"):
        folder = tmp_path / kind
        folder.mkdir()
        for n, name in enumerate(names):
            called = f"{name if kind == 'hostile' else 'word'}{n}"
            away = folder / "deleted" / f"2026-01-02 03.04.05 {called}"
            away.mkdir(parents=True)
            for path in (folder / f"{called}.yaml", away / f"{called}.yaml"):
                path.write_text("title: A\nsession:\n  - rest: 30s\n", encoding="utf-8")
        answer = ask(application(folder, ClipStore(folder / "clips")), "GET", "/")
        assert answer.status == 200
        found.append(set(Elements(answer.body.decode()).found))
    assert len(names) > 5
    assert found[0] == found[1]
