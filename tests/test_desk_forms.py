"""Forms made from the plan's schema: every key of every part is there, and gives back what it shows."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from cuelane.desk.answers import object_in
from cuelane.desk.asked import BadRequestError, edits_asked
from cuelane.desk.edits import EditError, data_of, on_data, value_at
from cuelane.desk.fixes import error_fixes
from cuelane.desk.forms import Field, all_fields, exercise_items, plan_fields, session_items
from cuelane.desk.labels import label_of, unit_of
from cuelane.desk.page_pieces import ToldPages
from cuelane.desk.splice import apply
from cuelane.desk.typed_values import typed
from cuelane.desk.views import forms
from cuelane.desk.words import desk_words
from cuelane.plan.load import load_plan
from cuelane.plan.schema import plan_schema
from cuelane.plan.starter import PATTERNS, starter_plan

DEMOS = sorted((Path(__file__).parents[1] / "demo").glob("*.yaml"))
TEXTS = [path.read_text(encoding="utf-8") for path in DEMOS] + [starter_plan(one, "Test") for one in PATTERNS]


def fields_of(data: Any) -> list[Field]:
    items = [*session_items(data), *exercise_items(data)]
    return list(all_fields([*plan_fields(data), *(field for item in items for field in item.fields)]))


def test_every_key_of_the_schema_has_a_field() -> None:
    """A key that a part of the plan learns appears by itself."""
    schema = plan_schema()
    data = data_of(starter_plan("circuit", "Test"))
    exercise = exercise_items(data)[0]
    assert {field.label for field in exercise.fields} == set(schema["$defs"]["Exercise"]["properties"])
    assert {field.label for field in plan_fields(data)} == set(schema["properties"]) - {
        "session",
        "exercises",
    }
    for pattern in PATTERNS:
        block = next(
            item for item in session_items(data_of(starter_plan(pattern, "Test"))) if item.kind == "block"
        )
        part = next(
            body
            for body in schema["$defs"].values()
            if pattern in body.get("properties", {}).get("pattern", {}).get("enum", [])
            or body.get("properties", {}).get("pattern", {}).get("const") == pattern
        )
        assert {field.label for field in block.fields} == set(part["properties"]), pattern


def test_every_field_is_called_in_plain_words() -> None:
    """No key of the file stands in a label; times and numbers say in what they are given."""
    named = {field.label: field for text in TEXTS for field in fields_of(data_of(text)) if field.label}
    assert len(named) > 60
    for key, field in named.items():
        words = desk_words()
        known = words.find("label", key) or words.find("label", f"exercise.{key}")
        assert known or key in ("pattern", "text"), f"languages/en_desk.toml has no label for {key!r}"
        assert "_" not in label_of(field)
        if field.kind in ("duration", "durations", "whole", "number"):
            assert unit_of(field), key


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("durations", "22,5s, 40s", ["22.5s", "40s"]),
        ("durations", "22,5", [22.5]),
        ("durations", "30,40,50", [30, 40, 50]),
        ("durations", "30,40s", [30, "40s"]),
        ("durations", "30, 5", [30, 5]),
        ("durations", "1,2,3", [1, 2, 3]),
        ("duration", "2,5s", "2.5s"),
        ("duration", "2,5", 2.5),
        ("number", "72,25", 72.25),
        ("text", "2,5 kg", "2,5 kg"),
    ],
)
def test_a_decimal_comma_is_a_point(kind: str, text: str, value: Any) -> None:
    """A comma between figures is a decimal's where a list's item could not be meant."""
    assert typed(kind, text) == value


@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_a_field_gives_back_what_it_shows(text: str) -> None:
    """Typing what is shown into a field changes nothing that the plan means."""
    data = data_of(text)
    seen = 0
    for field in fields_of(data):
        if not field.present or field.kind in ("lines", "entries", "group", "switch"):
            continue
        value = value_at(data, field.path)
        back = typed(field.kind, field.shown)
        if field.kind in ("names", "durations") and not isinstance(value, list):
            value = [value]
        if isinstance(value, dict) and field.kind == "text":
            value = value.get("text", value.get("exercise"))
        assert back == value or str(back) == str(value), field
        seen += 1
    assert seen > 5


@pytest.mark.parametrize(
    "odd", [{"title": ["a"]}, {"pips": "no"}, {"calls": {"a": 1}}, {"allow": [["x"]]}, {"new": 1}]
)
def test_what_no_field_can_show_is_there_as_yaml(odd: dict[str, Any]) -> None:
    """Nothing that a plan holds is out of reach."""
    data = {"title": "T", "session": [{"rest": "30s"}], **odd}
    key = next(iter(odd))
    field = next((one for one in plan_fields(data) if one.label == key), None)
    assert field is not None
    assert field.kind == "yaml"
    assert typed("yaml", field.shown) == odd[key]


ENTRIES = ["row", {"exercise": "row", "work": "20s"}]
PLAN = {
    "title": "T",
    "session": [{"block": "A", "pattern": "circuit", "work": "40s", "exercises": ENTRIES}],
    "exercises": {"row": {"form": "Long back.", "setup": ["Sit.", {"text": "Pull.", "at": "3s"}]}},
}


def after(*rows: dict[str, Any]) -> Any:
    made: Any = PLAN
    for row in rows:
        for edit in edits_asked([row], made):
            made = on_data(made, edit)
    return made


def exercise_after(*rows: dict[str, Any]) -> Any:
    return after(*rows)["exercises"]["row"]


def test_what_the_buttons_mean() -> None:
    """Each press of a button is the edits it says."""
    row = "exercises/row"
    added = exercise_after({"op": "append", "at": f"{row}/form", "typed": "Elbows in."})
    assert added["form"] == ["Long back.", "Elbows in."]
    assert exercise_after({"op": "append", "at": f"{row}/say", "typed": "Hi."})["say"] == "Hi."
    pinned = exercise_after({"op": "wish", "at": f"{row}/form", "key": "must", "value": True})
    assert pinned["form"] == {"text": "Long back.", "must": True}
    freed = exercise_after({"op": "wish", "at": f"{row}/setup/1", "key": "at", "value": None})
    assert freed["setup"][1] == "Pull."
    changed = exercise_after({"op": "set", "at": f"{row}/setup/1", "kind": "line", "typed": "Pull hard."})
    assert changed["setup"][1] == {"text": "Pull hard.", "at": "3s"}
    renamed = after({"op": "rename", "at": row, "name": "oar"})
    assert renamed["session"][0]["exercises"] == ["oar", {"exercise": "oar", "work": "20s"}]
    assert list(renamed["exercises"]) == ["oar"]
    assert len(after({"op": "copy", "at": "session/0"})["session"]) == 2


@pytest.mark.parametrize("pattern", PATTERNS)
def test_an_added_block_is_ready(pattern: str, tmp_path: Path) -> None:
    """With the exercises that it names, whatever the plan had before."""
    path = tmp_path / "p.yaml"
    made = after({"op": "add", "kind": "block", "pattern": pattern})
    path.write_text(json.dumps(made), encoding="utf-8")
    loaded = load_plan(path)
    assert len(loaded.plan.session) == 2


BARE = """\
title: T
session:
  - block: A
    pattern: circuit
    work: 40s
    exercises: [row]
"""


def test_every_field_that_is_shown_can_be_filled() -> None:
    """Also in a group that the plan has not, such as the pips of one block; on the text too."""
    data = data_of(BARE)
    every = fields_of(data)
    assert {one.name for one in every} >= {"pips/count", "talk_share/work", "session/0/pips/count"}
    for field in every:
        if field.kind in ("group", "switch"):
            continue
        row = {"op": "set", "at": field.name, "kind": field.kind, "typed": "3"}
        if field.kind in ("lines", "entries"):
            row = {"op": "append", "at": field.name, "typed": "row"}
        (edit,) = edits_asked([row], data)
        assert data_of(apply(BARE, edit)) == on_data(data, edit) != data, field.name


@pytest.mark.parametrize("text", [BARE, f"{BARE}exercises:\n", f"{BARE}exercises: {{hop: {{}}}}\n"])
def test_an_exercise_is_added_whether_or_not_the_plan_has_any(text: str) -> None:
    """By its button, with a block of a pattern, and beside the message that it is missing."""
    for row, name in (
        ({"op": "add", "kind": "exercise", "name": "oar"}, "oar"),
        ({"op": "add", "kind": "block", "pattern": "flow"}, "chair squat"),
    ):
        made = text
        for edit in edits_asked([row], data_of(text)):
            made = apply(made, edit)
        assert name in data_of(made)["exercises"]
    fixes = error_fixes(text, ("session", 0, "exercises", 0))
    (edit,) = next(fix.edits for fix in fixes if "row" in str(fix.label) and len(fix.edits) == 1)
    assert "row" in data_of(apply(text, edit))["exercises"]


def test_an_exercise_has_its_new_name_wherever_the_plan_speaks_of_it() -> None:
    """Not where the same word stands for something else: a block's title, a line."""
    made: Any = {
        "session": [{"block": "row", "exercises": "row"}],
        "exercises": {
            "row": {"change": {"text": "row", "to": "row"}, "form": "row"},
            "to": {"change": [{"text": "Down.", "to": "row"}, {"text": "Up.", "to": "rest"}]},
        },
        "variants": {
            "a": {"leave_out": "row"},
            "b": {"leave_out": ["to", "row"], "swap": {"row": "to", "to": "row"}},
        },
    }
    for edit in edits_asked([{"op": "rename", "at": "exercises/row", "name": "oar"}], made):
        made = on_data(made, edit)
    assert made == {
        "session": [{"block": "row", "exercises": "oar"}],
        "exercises": {
            "oar": {"change": {"text": "row", "to": "oar"}, "form": "row"},
            "to": {"change": [{"text": "Down.", "to": "oar"}, {"text": "Up.", "to": "rest"}]},
        },
        "variants": {
            "a": {"leave_out": "oar"},
            "b": {"leave_out": ["to", "oar"], "swap": {"oar": "to", "to": "oar"}},
        },
    }


ODD_REQUESTS: list[Any] = [
    None,
    [],
    [1],
    [{"op": "set"}],
    [{"op": "x", "at": "a"}],
    [{"op": "move", "at": "session", "index": "0", "to": 1}],
    [{"op": "insert", "at": "session", "index": -1}],
    [{"op": "insert", "at": "session", "index": 10**30}],
    [{"op": "set", "at": "session/" + "9" * 5_000, "value": 1}],
    [{"op": "set", "at": [1.5], "value": 1}],
    [{"op": "append", "at": "x", "typed": " "}],
    [{"op": "wish", "at": "exercises/row/form", "key": "__class__", "value": 1}],
    [{"op": "add", "kind": "house"}],
    [{"op": "set", "at": "a/" * 30, "value": 1}],
    [{"op": "set", "at": "title", "value": 1}] * 101,
    [{"op": "set", "at": [], "value": 1}],
    [{"op": "copy", "at": []}],
    [{"op": "copy", "at": "title"}],
]


@pytest.mark.parametrize("rows", ODD_REQUESTS, ids=range(len(ODD_REQUESTS)))
def test_odd_requests_are_refused_in_words(rows: Any) -> None:
    """Never a traceback."""
    with pytest.raises((BadRequestError, EditError)):
        _ = [on_data(PLAN, edit) for edit in edits_asked(rows, PLAN)]


@pytest.mark.parametrize("body", [b"\xff", b"{", b"[1]", b'{"a": ' + b"9" * 5_000 + b"}"])
def test_a_body_that_is_no_object_is_refused_in_words(body: bytes) -> None:
    """Never a traceback, nor bytes that are no text, nor a number of more digits than Python reads."""
    with pytest.raises(BadRequestError, match="an object"):
        object_in(body)


class _References(HTMLParser):
    """The ids of a page, which of them describe a control, and the controls that have a help beside them."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.described: dict[str, str] = {}
        self.helps: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        self.ids.append(found.get("id", ""))
        if "data-kind" in found and "aria-describedby" in found:
            self.described[found["id"]] = found["aria-describedby"]
        if found.get("class") == "help" and found.get("id", "").startswith("n/"):
            self.helps.add(found["id"])


def test_the_help_beside_a_field_is_read_with_it(tmp_path: Path) -> None:
    """It stood below its field and belonged to none; an exercise's name may hold spaces and other signs."""
    plan = starter_plan("circuit", "Test") + '  "step 1/2 up":\n    sides: each\n    work: 30s\n'
    page = _References()
    for part in ToldPages().changes(forms(plan, [], tmp_path), "")[0].values():
        page.feed(part)
    ours = {name: told for name, told in page.described.items() if "step 1" in name}
    assert {name.rpartition("/")[2] for name in ours} >= {"sides", "work", "first_side"}
    assert page.helps == set(page.described.values()), "each help describes a field"
    for told in page.described.values():
        assert page.ids.count(told) == 1
        assert not any(letter.isspace() for letter in told), "a space would part it in two"


def test_a_language_is_chosen_by_its_name_and_a_voice_from_a_list(tmp_path: Path) -> None:
    """Nobody need know that German is written de; one that a plan has and nobody knows is kept."""
    for written, chosen in (("de", "de"), ("en-GB", "en-GB"), ("", "")):
        text = BARE + (f"language: {written}\n" if written else "")
        (about,) = forms(text, [], tmp_path)["about"]
        told = str(about)
        picked = re.search(r'<select id="f/language".*?</select>', told, re.DOTALL)
        assert picked is not None
        assert '<option value="de" lang="de"' in picked[0]
        assert "Português (Brasil)</option>" in picked[0]
        assert '<option value="">if left out: English</option>' in picked[0]
        assert re.findall(r'value="([^"]*)"[^>]* selected', picked[0]) == ([chosen] if chosen else [])
        assert 'list="known-voices"' in told
        assert ('<option value="natural"></option>' in told) == (written != "de")
