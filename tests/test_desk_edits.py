"""Edits of a plan's text: what they change reads as it should, and everything else stays byte for byte."""

from __future__ import annotations

import contextlib
import functools
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from ruamel.yaml.parser import Parser

from cuelane.desk import edits as editing
from cuelane.desk import places as placing
from cuelane.desk.edits import Edit, EditError, Insert, Move, Place, Remove, Rename, Set, data_of, on_data
from cuelane.desk.places import path_at
from cuelane.desk.splice import apply
from cuelane.plan.pieces import events_in_pieces, pieces_of
from cuelane.plan.starter import PATTERNS, starter_plan
from keystrokes import TYPING, typed_into

DEMOS = sorted((Path(__file__).parents[1] / "demo").glob("*.yaml"))
TEXTS = [path.read_text(encoding="utf-8") for path in DEMOS] + [starter_plan(one, "Test") for one in PATTERNS]

PLAN = """\
# what this is
title: Pier      # the name
session:
  # first
  - block: A     # a block
    pattern: circuit
    work: "40s"
    exercises: [row, 'press up']   # two

  # second
  - say: Rest now.
exercises:
  row:
    # about form
    form:
      - Long back.   # one
      - Elbows in.
  press up: {}
"""


def places(data: Any, before: Place = ()) -> list[Place]:
    """Return every place of a plan's data."""
    found: list[Place] = []
    for step, value in (
        data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    ):
        found += [(*before, step), *places(value, (*before, step))]
    return found


def there(data: Any, place: Place) -> Any:
    return functools.reduce(lambda here, step: here[step], place, data)


def test_a_value_changes_and_nothing_else() -> None:
    """Quotes, comments and spacing stay."""
    assert apply(PLAN, Set(("session", 0, "work"), "45s")) == PLAN.replace('"40s"', '"45s"')
    assert apply(PLAN, Set(("title",), "Quay")) == PLAN.replace("title: Pier ", "title: Quay ")
    assert apply(PLAN, Set(("exercises", "row", "form", 0), "Tall back.")) == PLAN.replace(
        "Long back.", "Tall back."
    )


def test_a_moved_block_takes_its_comments_along() -> None:
    """The comment above an item, and the one beside it, go where it goes."""
    made = apply(PLAN, Move(("session",), 1, 0))
    assert (
        made.index("# second")
        < made.index("- say: Rest now.")
        < made.index("# first")
        < made.index("- block: A")
    )
    assert "work: \"40s\"\n    exercises: [row, 'press up']   # two\n" in made


def test_a_new_key_stands_where_people_look_for_it() -> None:
    """Before the first key that comes later in the model's order."""
    made = apply(PLAN, Set(("voice",), "mine", order=("title", "voice", "session", "exercises")))
    assert "# the name\nvoice: mine\nsession:" in made


def test_removing_the_only_item_leaves_an_empty_list() -> None:
    """So that the key is still seen to be there."""
    once = apply(PLAN, Remove(("exercises", "row", "form", 0)))
    assert data_of(apply(once, Remove(("exercises", "row", "form", 0))))["exercises"]["row"] == {"form": []}


@pytest.mark.parametrize("words", ["?", "?now", ":", ": now", ":now", "? now: yes"])
def test_words_that_begin_with_a_sign_of_yaml_are_kept_in_brackets(words: str) -> None:
    """In a list on one line, in a line with wishes, and as a name there."""
    line = ("exercises", "row", "form", 0)
    for edit in (
        Insert(("session", 0, "exercises"), 1, words),
        Set(("exercises", "row", "form"), ["Long back.", words]),
        Set(line, {"text": words, "must": True}),
        Set(("exercises", "row", "swap"), [{words: "x", "b": "y"}]),
    ):
        assert data_of(apply(PLAN, edit)) == on_data(data_of(PLAN), edit)


@pytest.mark.parametrize(
    ("text", "edit", "after"),
    [
        (
            "row: {setup: Sit.}  # one\n",
            Set(("row", "setup"), "Sit tall."),
            "row: {setup: Sit tall.}  # one\n",
        ),
        ("pips: {count: 3, spacing: 1s}\n", Remove(("pips", "count")), "pips: {spacing: 1s}\n"),
        ("swap: {row: press up}\n", Rename(("swap", "row"), "oar"), "swap: {oar: press up}\n"),
        ("row: {form: [{text: Sit.}]}\n", Set(("row", "form", 0, "text"), "A"), "row: {form: [{text: A}]}\n"),
    ],
)
def test_a_group_of_one_key_in_brackets_keeps_its_braces(text: str, edit: Edit, after: str) -> None:
    """As exercises with a single line are often written."""
    assert apply(text, edit) == after


@pytest.mark.parametrize("beside", ["", "   # the first", "\n\n  # second"])
@pytest.mark.parametrize("row", ["", "  oar: {a: b}\n"])
@pytest.mark.parametrize(
    ("edit", "after"),
    [
        (Remove(("exercises", "row")), None),
        (Set(("exercises", "row"), "x"), "x"),
        (Set(("exercises", "row", "setup"), "Sit."), {"setup": "Sit."}),
        (Set(("exercises", "row", "form"), ["A.", "B."]), {"form": ["A.", "B."]}),
        (Set(("exercises", "hop"), {"setup": "Hop."}), ...),
    ],
)
def test_what_stands_with_its_name_alone_is_filled_and_taken_out(
    edit: Edit, after: Any, row: str, beside: str
) -> None:
    """As an exercise may be written; with whatever follows, and no comment lost but its own."""
    text = f"title: A\nexercises:\n  row:{beside}\n{row}"
    made = apply(text, edit)
    found = data_of(made)["exercises"]
    assert found.get("row") == (None if after is ... else after)
    assert ("row" in found) == (after is not None)
    assert found.get("oar") == ({"a": "b"} if row else None)
    if after is not None:
        assert beside.strip() in made


@pytest.mark.parametrize(
    ("text", "edit"),
    [
        ("? title\n", Remove(("title",))),
        ("? title\n? session\n", Set(("new",), "x")),
        ("\ufefftitle: A\n", Remove(("title",))),
    ],
)
def test_what_the_text_side_cannot_follow_is_said(text: str, edit: Edit) -> None:
    """A key without a colon, which YAML knows too, and a mark before the first key."""
    with pytest.raises(EditError, match="only the text can change"):
        apply(text, edit)


MIXED = """\
title: "T"
pips: {count: 3}
session:
  - {block: A, pattern: circuit, work: 40s, exercises: [squat, {exercise: lunge, work: 30s}, {exercise: row}]}
  - block: B      # a comment
    exercises:
    - squat
    - exercise: lunge
      work: 20s
  - say: >-
      Folded
      text.
  - say: |
      Literal.
  - say:
      - One.    # another
      - {text: Two., must: true}
exercises:
  row:
  squat: {setup: Sit down., form: [A., B.]}
  lunge:
    setup: "Go: down."
    form: [X., 'Y''s']
  hop:
"""


def edits_of(place: Place, value: Any) -> list[Edit]:
    """Return the edits that the desk's buttons and fields make of what stands at a place."""
    found: list[Edit] = [Remove(place)]
    if isinstance(value, list):
        found += [Insert(place, 0, "New."), Insert(place, len(value), {"text": "New.", "at": "3s"})]
        found += [Move(place, 0, len(value) - 1)] if len(value) > 1 else []
    elif isinstance(value, dict) or value is None:
        found += [Set((*place, "new"), new) for new in ("New.", ["A", "B"], {"key": "value"})]
    if not isinstance(value, list | dict):
        found += [Set(place, new) for new in ("New: #1.", {"text": value, "must": True}, [value, "New."])]
    if len(place) > 1 and place[-2] == "exercises" and isinstance(place[-1], str):
        found.append(Rename(place, "new name"))
    return found


def test_no_usual_way_of_writing_keeps_a_place_from_being_edited() -> None:
    """Brackets, quotes, folded and literal text, comments, names alone: each edit of each place is made."""
    data = data_of(MIXED)
    rows = [edit for place in places(data) for edit in edits_of(place, there(data, place))]
    assert len(rows) > 150
    for edit in rows:
        assert data_of(apply(MIXED, edit)) == on_data(data, edit)


def test_a_comment_inside_brackets_is_not_lost() -> None:
    """What would take a comment away is refused, with the way out."""
    text = "title: A\nexercises: [a, # first\n  b]\n"
    with pytest.raises(EditError, match="change it in the text"):
        apply(text, Set(("exercises", 0), "c"))


@pytest.mark.parametrize(
    "edit",
    [
        Set(("a", "b"), 1),
        Remove(("session", 9)),
        Insert(("title",), 0, "x"),
        Move(("session",), 5, 0),
        Move(("session",), 0, 2),
        Rename(("no",), "x"),
    ],
)
def test_a_place_that_is_gone_is_said(edit: Edit) -> None:
    """Never a KeyError, never another place."""
    with pytest.raises(EditError, match="no longer"):
        apply(PLAN, edit)


@pytest.mark.parametrize("text", ["a: [", "\t", "- x\n- y", "a: &x [*x", "%YAML 1.3\n---\na: 1"])
def test_text_that_is_no_plan_is_said(text: str) -> None:
    """An edit of broken text says so."""
    with pytest.raises(EditError):
        apply(text, Set(("title",), "x"))


def test_a_place_is_found_from_line_and_column() -> None:
    """The innermost value that a message points at."""
    lines = PLAN.splitlines()
    for words, place in (
        ("Elbows in.", ("exercises", "row", "form", 1)),
        ('"40s"', ("session", 0, "work")),
        ("say", ("session", 1, "say")),
        ("'press up'", ("session", 0, "exercises", 1)),
    ):
        number = next(i for i, line in enumerate(lines) if words in line)
        assert path_at(PLAN, number + 1, lines[number].index(words) + 1) == place


TRICKY = [
    *("50s", "a: b, # c", "'q' \"r\"", "yes", "null", "1:30", "– “x” é"),
    *("- x", "  ", "[a", "{b", "&x", "*y", "!z"),
]
HIDDEN = {"exclude_categories": ["Cc", "Cs", "Zl", "Zp"], "exclude_characters": "\ufeff\ufffe\uffff"}
VALUES = st.one_of(
    st.sampled_from(TRICKY),
    st.text(st.characters(**HIDDEN), max_size=30),
    st.booleans(),
    st.integers(0, 999),
    st.lists(st.sampled_from(["a", "b c", "x: y"]), min_size=1, max_size=3),
    st.just({"text": "Hi there", "must": True}),
)  # fmt: skip


@st.composite
def edits(draw: st.DrawFn, data: Any) -> Edit:
    everywhere = places(data)
    lists = [place for place in everywhere if isinstance(there(data, place), list) and there(data, place)]
    kind = draw(st.sampled_from(["set", "remove", "insert", "move", "rename"]))
    place = draw(st.sampled_from(everywhere))
    if kind == "set":
        return Set(place, draw(VALUES))
    if kind == "remove":
        return Remove(place)
    if kind == "rename" or not lists:
        return Rename(
            draw(st.sampled_from([one for one in everywhere if isinstance(one[-1], str)])),
            draw(st.sampled_from(["new", "x: y", "1"])),
        )
    items = draw(st.sampled_from(lists))
    n = len(there(data, items))
    if kind == "insert":
        return Insert(items, draw(st.integers(0, n)), draw(VALUES))
    return Move(items, draw(st.integers(0, n - 1)), draw(st.integers(0, n - 1)))


@settings(max_examples=25)
@given(st.data())
def test_text_and_data_agree_after_any_edits(data: st.DataObject) -> None:
    """Three edits in a row: the text reads as the data, comments stay unless their own lines went."""
    text = data.draw(st.sampled_from([PLAN, *TEXTS]))
    for _ in range(3):
        before = data_of(text)
        if not isinstance(before, dict) or not before:
            return
        edit = data.draw(edits(before))
        try:
            made = apply(text, edit)
        except EditError:
            continue
        assert data_of(made) == on_data(before, edit)
        if not isinstance(edit, Remove | Set):
            comments = sorted(line.strip() for line in text.splitlines() if line.strip().startswith("#"))
            assert (
                sorted(line.strip() for line in made.splitlines() if line.strip().startswith("#")) == comments
            )
        text = made


@settings(max_examples=20)
@given(st.data())
def test_setting_a_scalar_leaves_every_other_line_as_it_was(data: st.DataObject) -> None:
    """One line changes, and only after the place of the value."""
    text = data.draw(st.sampled_from(TEXTS))
    before = data_of(text)
    scalars = [one for one in places(before) if isinstance(there(before, one), str | int | float)]
    place = data.draw(st.sampled_from(scalars))
    lines, made = text.splitlines(), apply(text, Set(place, "other")).splitlines()
    assert len(lines) == len(made)
    assert sum(one != other for one, other in zip(lines, made, strict=True)) <= 1


def whole_path(text: str, line: int, column: int) -> Place:
    """Return the place at a line and column as the whole text's nodes have it."""
    try:
        return placing._inside(placing.nodes_of(text), (line - 1, column - 1))
    except EditError:
        return ()


def whole_data(text: str) -> Any:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(editing, "_data_in_pieces", lambda _: None)
        return data_of.__wrapped__(text)


@settings(max_examples=40)
@given(st.sampled_from(TEXTS), TYPING)
@example(PLAN, [])
@example("a: &x [*x]\n", [])
def test_a_text_read_in_pieces_holds_what_it_holds_as_a_whole(
    text: str, typing: list[tuple[int, int, str]]
) -> None:
    """The same data, and the same value at every line and column, whatever is typed into it."""
    changed = typed_into(text, typing)
    try:
        wanted = whole_data(changed)
    except EditError:
        with pytest.raises(EditError):
            data_of(changed)
        return
    assert repr(data_of(changed)) == repr(wanted)
    lines = changed.split("\n")
    starts = [(n, 1 + len(line) - len(line.lstrip())) for n, line in enumerate(lines, 1)]
    places = [(n, max(1, first + further)) for n, first in starts for further in (-1, 0, 2, 7)]
    assert [path_at(changed, *one) for one in places] == [whole_path(changed, *one) for one in places]


def test_a_piece_is_parsed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """For the plan, for the data and for the places in it, each of which needs what the parser tells."""
    text = PLAN.replace("Pier", "Parsed once")
    # What other tests have read is kept: no piece may be one of theirs.
    text = "".join(f"{line}  # parsed once\n" if line.strip() else "\n" for line in text.splitlines())
    parsed: list[Parser] = []
    begin = Parser.__init__

    def counted(self: Parser, *args: Any, **options: Any) -> None:
        parsed.append(self)
        begin(self, *args, **options)

    monkeypatch.setattr(Parser, "__init__", counted)
    assert data_of(text)["title"] == "Parsed once"
    n_pieces = len(pieces_of(text))
    assert len(parsed) == n_pieces > 4
    assert path_at(text, 2, 8) == ("title",)
    assert events_in_pieces(text) is not None
    assert len(parsed) == n_pieces


def test_the_pieces_are_in_use() -> None:
    """Every text here is read by its pieces, so that the test above compares two ways."""
    assert all(editing._data_in_pieces(text) is not None for text in [*TEXTS, PLAN])
    assert all(placing._parts_of(text) is not None for text in [*TEXTS, PLAN])


@given(st.sampled_from(TEXTS), st.data())
def test_an_edit_leaves_the_data_that_is_shared_as_it_was(text: str, data: st.DataObject) -> None:
    """What is kept of a text is not changed by edits that are made on it."""
    before = repr(data_of(text))
    place = data.draw(st.sampled_from(places(data_of(text))))
    for edit in (
        Set(place, "x"),
        Remove(place),
        Insert(place, 0, "x"),
        Move(place, 0, 1),
        Rename(place, "x"),
    ):
        with contextlib.suppress(EditError):
            on_data(data_of(text), edit)
    assert repr(data_of(text)) == before
