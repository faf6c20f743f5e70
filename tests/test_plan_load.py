"""Reading plans that are right, and plans from elsewhere that try to be more than a plan."""

from __future__ import annotations

import json
import re
import unicodedata
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cuelane.base.errors import Mark, PlanError
from cuelane.plan import own_folder
from cuelane.plan.limits import size_of
from cuelane.plan.load import load_plan
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import (
    Breath,
    Build,
    Circuit,
    Flow,
    Ladder,
    OnTheMinute,
    Plan,
    Script,
)
from cuelane.plan.parts import Part
from cuelane.session.expand import expand
from plan_text import EXERCISE_NAMES, FULL_PLAN

SAY = "title: Short\nsession:\n  - say: Hello.\n"
FUZZ = settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def write(folder: Path, text: str | bytes, name: str = "plan.yaml") -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def refusal(path: Path) -> str:
    with pytest.raises(PlanError) as caught:
        load_plan(path)
    return str(caught.value).replace(str(path.parent) + "/", "")


def parts_of(value: object) -> list[Part]:
    if isinstance(value, Part):
        return [value, *(part for key in type(value).model_fields for part in parts_of(getattr(value, key)))]
    if isinstance(value, list | tuple):
        return [part for item in value for part in parts_of(item)]
    if isinstance(value, dict):
        return parts_of(list(value.values()))
    return []


def test_every_pattern_and_key_is_read(tmp_path: Path) -> None:
    """A plan with every pattern loads, with the times it states in milliseconds."""
    plan = load_plan(write(tmp_path, FULL_PLAN)).plan

    kinds = [type(item) for item in plan.session]
    assert [kind for kind in kinds if hasattr(kind, "model_fields") and "block" in kind.model_fields] == [
        Flow, Circuit, Build, Ladder, OnTheMinute, Breath, Script,
    ]  # fmt: skip
    circuit = plan.session[2]
    assert isinstance(circuit, Circuit)
    assert (circuit.work, circuit.settle, circuit.rest, circuit.round_rest) == (40_000, 5_000, 20_000, 60_000)
    assert circuit.exercises[1].exercise == "lunge"
    assert circuit.exercises[1].work == 30_000
    assert circuit.pips is False
    assert circuit.calls == [15_000]
    assert plan.guard == 250
    assert plan.activity == "02214"
    assert str(plan.date) == "2026-05-31"
    assert [line.text for line in plan.exercises["squat"].form] == [
        "Knees track over your toes.",
        "Keep your heels heavy.",
    ]
    assert plan.exercises["squat"].form[1].rounds == [2, 3]
    assert plan.exercises["arm circles"].needs == []


# What is trained with in each other language where nothing is: one's own body.
OWN_WEIGHT = ["peso corporal", "Poids du corps", "a corpo libero", "peso do corpo", "Körpergewicht"]


@pytest.mark.parametrize(
    "word", ["nothing", "None.", "no equipment", "[bodyweight]", "nichts", '"-"', *OWN_WEIGHT]
)
def test_a_word_for_nothing_is_no_equipment(tmp_path: Path, word: str) -> None:
    """Where a lone word says that nothing is needed, nothing is: it is no thing to have near and pick up."""
    text = f"{SAY}exercises:\n  squat:\n    needs: {word}\n    heavier_needs: {word}\n"
    squat = load_plan(write(tmp_path, text)).plan.exercises["squat"]

    assert (squat.needs, squat.heavier_needs) == ([], [])


def test_every_part_knows_its_place(tmp_path: Path) -> None:
    """Each object made from the file has the line and column where it stands, and where each key stands."""
    path = write(tmp_path, FULL_PLAN)
    loaded = load_plan(path)
    lines = FULL_PLAN.split("\n")

    without_place = [part for part in parts_of(loaded.plan) if part.mark is None]
    assert {type(part).__name__ for part in without_place} == set()
    squat = loaded.plan.exercises["squat"]
    assert squat.mark == Mark(str(path), lines.index("  squat:") + 1, 3)
    form = squat.form[1]
    assert form.mark is not None
    assert loaded.line_at(form.mark) == "      - text: Keep your heels heavy."
    assert form.mark.column == 9
    assert form.mark_of("weight") == Mark(str(path), form.mark.line + 2, 9)
    entry = loaded.plan.session[2].exercises[0]  # type: ignore[union-attr]
    assert entry.mark == Mark(str(path), lines.index("      - squat") + 1, 9)


def test_text_is_normalised(tmp_path: Path) -> None:
    """Texts come in one Unicode form, on one line, without spaces around; a BOM and CRLF do no harm."""
    text = "title: '  Cafe\u0301\u00a0legs '\r\nsession:\r\n  - say: >\r\n      One\r\n      two.\r\n"

    plan = load_plan(write(tmp_path, b"\xef\xbb\xbf" + text.encode())).plan

    assert plan.title == "Caf\u00e9 legs"
    assert plan.session[0].say[0].text == "One two."  # type: ignore[union-attr]


def test_words_that_yaml_1_1_would_change_stay(tmp_path: Path) -> None:
    """off, no, 1:30 and a date stay what they are (YAML 1.2.2, section 10.3: only true and false are)."""
    plan = load_plan(
        write(tmp_path, "title: off\nauthor: no\nsession:\n  - say: 'yes'\n    lasts: 1:30\n")
    ).plan

    assert (plan.title, plan.author) == ("off", "no")
    assert plan.session[0].lasts == 90_000  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("data", "message"),
    {
        "empty": (b"", "plan.yaml:1:1: this file is empty\n    start one with: cuelane new"),
        "blank": (b" \n\n", "plan.yaml:1:1: this file is empty\n    start one with: cuelane new"),
        "UTF-16": (
            "title: x".encode("utf-16"),
            "plan.yaml:1:1: this file is UTF-16 or UTF-32 text\n    save it as UTF-8 text",
        ),
        "zero byte": (
            b"title: x\nvoice: a\0b\n",
            "plan.yaml:2:9: this is not text: it holds a zero byte\n    save it as UTF-8 text",
        ),
        "Latin-1": (
            "title: x\nauthor: Zoë\n".encode("latin-1"),
            "plan.yaml:2:11: this is not UTF-8 text: byte 0xeb does not belong here\n"
            "    save it as UTF-8 text",
        ),
        "a track": (
            b"\0\0\0\x1cftypM4A \0" + bytes(600_000),
            "plan.yaml:1:1: this is a sound or video file, not a plan",
        ),
        "rich text": (
            b"{\\rtf1\\ansi title: Legs}",
            "plan.yaml:1:1: this is rich text (RTF), not a plan\n    save it as plain text (UTF-8)",
        ),
        "an office document": (
            b"PK\x03\x04\x14\0",
            "plan.yaml:1:1: this is a document of an office program, or an archive, not a plan\n"
            "    save it as plain text (UTF-8)",
        ),
        "a page": (
            b"\xef\xbb\xbf\n<!doctype html><html>",
            "plan.yaml:1:1: this is a web page or other XML, not a plan",
        ),
        "a schedule": (
            b'{"schema": "cuelane.schedule/1",\n "title": "Legs"}',
            "plan.yaml:1:1: this is the schedule of a track, not a plan\n"
            "    name the plan that the track was made of",
        ),
        "too large": (
            b"#" * (512 * 1024 + 1),
            "plan.yaml:1:1: this file is larger than 512 KiB, the most a plan may have",
        ),
    }.values(),
    ids=[
        "empty",
        "blank",
        "UTF-16",
        "zero byte",
        "Latin-1",
        "a track",
        "rich text",
        "an office document",
        "a page",
        "a schedule",
        "too large",
    ],
)
def test_bytes_that_are_no_plan_are_refused(tmp_path: Path, data: bytes, message: str) -> None:
    """A file that is not UTF-8 text of at most 512 KiB is refused, with the place where there is one."""
    assert refusal(write(tmp_path, data)) == message


def test_what_is_not_a_file_is_refused(tmp_path: Path) -> None:
    """A missing file and a folder each have their own message, with the plan that may be meant."""
    assert refusal(tmp_path / "none.yaml") == "none.yaml:1:1: there is no such file"
    (tmp_path / "folder.yaml").mkdir()
    assert refusal(tmp_path / "folder.yaml") == "folder.yaml:1:1: this is a folder, not a plan file"
    (tmp_path / "folder.yaml" / "legs.yaml").write_text("title: Legs\n", encoding="utf-8")
    assert refusal(tmp_path / "folder.yaml" / "legz.yaml").endswith("\n    did you mean 'legs.yaml'?")
    assert refusal(tmp_path / "folder.yaml").endswith(
        "\n    name a plan in it, such as folder.yaml/legs.yaml"
    )


def test_aliases_cannot_multiply(tmp_path: Path) -> None:
    """The well-known plan of nine lines that would become a billion values stops at its first anchor."""
    lines = ['a: &a ["lol", "lol"]']
    lines += [
        f"{b}: &{b} [*{a}, *{a}, *{a}, *{a}, *{a}, *{a}, *{a}, *{a}, *{a}]"
        for a, b in zip("abcdefgh", "bcdefghi", strict=True)
    ]

    assert refusal(write(tmp_path, "\n".join(lines))).startswith(
        "plan.yaml:1:4: a plan may not use YAML anchors (&a)"
    )


@pytest.mark.parametrize("opening", ["[", "{a: ", "- "])
def test_deep_nesting_stops(tmp_path: Path, opening: str) -> None:
    """Nesting without end stops at 24 levels, not in the stack."""
    message = refusal(write(tmp_path, opening * 100_000))

    assert "this is nested more than 24 levels deep" in message


def test_keys_inside_keys_stop(tmp_path: Path) -> None:
    """A key that is itself a group of keys, without end, is refused at the first."""
    message = refusal(write(tmp_path, "? " * 100_000))

    assert "plan.yaml:1:3: a key must be a word or words, not a list or a group of keys" in message


def test_too_many_values_stop(tmp_path: Path) -> None:
    """A plan of more than fifty thousand keys and values is refused."""
    text = "title: x\nallow: [" + "a, " * 60_000 + "]\n"

    assert "may hold 50,000 keys and values; here they are used up" in refusal(write(tmp_path, text))


def test_more_problems_than_anyone_reads_are_counted(tmp_path: Path) -> None:
    """After two hundred problems the rest are counted, not listed."""
    keys = "".join(f"    k{number}: 1\n" for number in range(300))
    with pytest.raises(PlanError) as caught:
        load_plan(write(tmp_path, f"{SAY}exercises:\n  squat:\n{keys}"))

    assert len(caught.value.problems) == 201
    assert caught.value.problems[-1].message == "and 100 more, which are not listed"


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("{head}exercises:\n{bodies}", "'exercises' has no value"),
        ("{head}exercises:\n{names}", "'exercises' has no value"),
        ("{head}  intervlas:\n{items}", "'intervlas' has no value"),
    ],
)
def test_what_one_lost_place_makes_wrong_is_told_once_and_counted(
    tmp_path: Path, text: str, first: str
) -> None:
    """The cause comes first; of a hundred parts that stand a level too far out five are listed."""
    head = "title: x\nsession:\n- block: b\n  pattern: script\n"
    if "items" not in text:
        head += "  intervals:\n  - {kind: work, length: 40s}\n"
    bodies = "".join(f"move {number}:\n  setup: Stand.\n" for number in range(100))
    names = "".join(f"move {number}:\n" for number in range(100))
    items = "- {kind: work, length: 40s}\n" * 100
    with pytest.raises(PlanError) as caught:
        load_plan(write(tmp_path, text.format(head=head, bodies=bodies, names=names, items=items)))

    messages = [problem.message for problem in caught.value.problems]
    assert messages[0] == first
    assert len(messages) == 7
    assert messages[-1] == "and 95 more, which are not listed"


def test_thousands_of_unknown_names_are_counted(tmp_path: Path) -> None:
    """2,250 names that nothing defines are counted; only the listed ones get a likeness."""
    block = "  - {{block: b, pattern: flow, work: 5s, exercises: [{}]}}\n"
    blocks = "".join(block.format(", ".join(f"a{i}x{j}" for j in range(50))) for i in range(45))
    names = "".join(f"  b{number}:\n" for number in range(5_000))

    message = refusal(write(tmp_path, f"title: x\nsession:\n{blocks}exercises:\n{names}"))

    assert message.endswith("and 2,050 more, which are not listed")
    assert len(message) < 60_000


def test_a_session_of_too_many_intervals_is_refused(tmp_path: Path) -> None:
    """The item with which a session passes 5,000 intervals is named; at the limit it loads."""
    block = "  - {block: B, pattern: breath, inhale: 1s, hold: 1s, exhale: 1s, hold_out: 1s, cycles: 1000}\n"
    text = "title: x\nsession:\n" + block + block.replace("1000", "250")

    assert load_plan(write(tmp_path, text)).plan.title == "x"
    assert refusal(write(tmp_path, text + "  - rest: 1s\n")) == (
        "plan.yaml:5:5: with this the session comes to more than 5,000 intervals\n"
        "      - rest: 1s\n        ^\n    make it shorter, or two plans of it"
    )


def test_a_session_of_more_than_a_day_is_refused(tmp_path: Path) -> None:
    """The item with which a session passes 24 hours is named; at the limit it loads."""
    text = "title: x\nsession:\n" + "  - rest: 1h\n" * 24

    assert len(load_plan(write(tmp_path, text)).plan.session) == 24
    assert "plan.yaml:27:5: with this the session comes to more than 24 hours" in refusal(
        write(tmp_path, text + "  - rest: 200ms\n")
    )


class TestIncludes:
    def test_included_plans_come_along(self, tmp_path: Path) -> None:
        """Includes are loaded in their place, from folders below too, and back up inside the folder."""
        write(tmp_path, SAY, "shared.yaml")
        write(tmp_path, "title: In\nsession:\n  - include: ../shared.yaml\n", "parts/in.yaml")
        path = write(
            tmp_path,
            "title: Out\nsession:\n  - say: A\n  - include: parts/in.yaml\n  - include: shared.yaml\n",
        )

        loaded = load_plan(path)

        assert {index: inner.plan.title for index, inner in loaded.includes.items()} == {1: "In", 2: "Short"}
        assert loaded.includes[1].includes[0].plan.title == "Short"

    def test_problems_of_all_files_come_at_once(self, tmp_path: Path) -> None:
        """Faults in a plan and in what it includes are listed together, each with its own file."""
        write(tmp_path, "titel: In\nsession:\n  - say: Hello.\n", "in.yaml")
        path = write(tmp_path, "title: Out\nsession:\n  - include: in.yaml\n  - rest: soon\n")

        assert re.findall(r"(?m)^\S+:\d+:\d+", refusal(path)) == ["plan.yaml:4:11", "in.yaml:1:1"]

    def test_a_link_out_of_the_folder_is_refused(self, tmp_path: Path) -> None:
        """A link beside the plan that leads outside its folder is not followed."""
        write(tmp_path, SAY, "secret.yaml")
        inside = tmp_path / "mine"
        inside.mkdir()
        (inside / "link.yaml").symlink_to(tmp_path / "secret.yaml")
        path = write(inside, "title: x\nsession:\n  - include: link.yaml\n")

        assert "include: 'link.yaml' lies outside the plan's folder" in refusal(path)

    def test_a_clip_behind_a_link_is_refused(self, tmp_path: Path) -> None:
        """A recording that is a link to a file outside the plan's folder is not used."""
        (tmp_path / "secret.wav").write_bytes(b"RIFF")
        inside = tmp_path / "mine"
        inside.mkdir()
        (inside / "go.wav").symlink_to(tmp_path / "secret.wav")
        interval = "{kind: work, length: 9s, cues: [{at: 1s, text: Go., clip: go.wav}]}"
        path = write(
            inside,
            f"title: x\nsession:\n  - block: B\n    pattern: script\n    intervals: [{interval}]\n",
        )

        assert "clip: 'go.wav' lies outside the plan's folder" in refusal(path)

    def test_links_in_a_circle_are_refused(self, tmp_path: Path) -> None:
        """A link that leads to itself gives a message."""
        (tmp_path / "a.yaml").symlink_to(tmp_path / "b.yaml")
        (tmp_path / "b.yaml").symlink_to(tmp_path / "a.yaml")
        path = write(tmp_path, "title: x\nsession:\n  - include: a.yaml\n")

        assert "include: 'a.yaml' cannot be reached" in refusal(path)

    def test_a_circle_of_plans_is_refused(self, tmp_path: Path) -> None:
        """Plans that include one another are refused where the circle closes."""
        for name, other in (("a", "b"), ("b", "c"), ("c", "a")):
            write(tmp_path, f"title: {name}\nsession:\n  - include: {other}.yaml\n", f"{name}.yaml")

        assert refusal(tmp_path / "a.yaml") == (
            "c.yaml:3:5: include: this goes in a circle: a.yaml → b.yaml → c.yaml → a.yaml\n"
            "      - include: a.yaml\n        ^\n    remove one of these includes"
        )

    @pytest.mark.parametrize(("n_deep", "loads"), [(8, True), (9, False)])
    def test_includes_are_at_most_eight_deep(self, tmp_path: Path, n_deep: int, *, loads: bool) -> None:
        """Eight includes inside one another load; nine do not, whichever was read first."""
        for level in range(n_deep):
            write(tmp_path, f"title: x\nsession:\n  - include: p{level + 1}.yaml\n", f"p{level}.yaml")
        write(tmp_path, SAY, f"p{n_deep}.yaml")

        if loads:
            assert load_plan(tmp_path / "p0.yaml").plan.title == "x"
        else:
            assert "includes are nested more than 8 deep here" in refusal(tmp_path / "p0.yaml")

    def test_depth_counts_plans_that_were_read_before(self, tmp_path: Path) -> None:
        """A plan that is read early and included again far down still counts with its own depth."""
        for level in range(6):
            write(tmp_path, f"title: x\nsession:\n  - include: p{level + 1}.yaml\n", f"p{level}.yaml")
        write(tmp_path, "title: x\nsession:\n  - include: q0.yaml\n", "p6.yaml")
        for level in range(3):
            write(tmp_path, f"title: x\nsession:\n  - include: q{level + 1}.yaml\n", f"q{level}.yaml")
        write(tmp_path, SAY, "q3.yaml")
        path = write(tmp_path, "title: x\nsession:\n  - include: q0.yaml\n  - include: p0.yaml\n")

        assert "includes are nested more than 8 deep here" in refusal(path)

    @pytest.mark.parametrize(("n_includes", "loads"), [(64, True), (65, False)])
    def test_includes_are_at_most_64(self, tmp_path: Path, n_includes: int, *, loads: bool) -> None:
        """Sixty-four includes load, sixty-five do not, though all are the same file."""
        write(tmp_path, SAY, "in.yaml")
        path = write(tmp_path, "title: x\nsession:\n" + "  - include: in.yaml\n" * n_includes)

        if loads:
            assert len(load_plan(path).includes) == 64
        else:
            assert "more than 64 plans are included, counting those inside them" in refusal(path)

    def test_all_files_together_are_at_most_1_mib(self, tmp_path: Path) -> None:
        """Many large included files are refused before they are all read."""
        for number in range(5):
            write(tmp_path, SAY + "#" * 250_000, f"in{number}.yaml")
        path = write(
            tmp_path, "title: x\nsession:\n" + "".join(f"  - include: in{i}.yaml\n" for i in range(5))
        )

        assert refusal(path) == (
            "in4.yaml:1:1: with this file the plan and all it includes are larger than 1 MiB"
        )

    def test_includes_cannot_multiply(self, tmp_path: Path) -> None:
        """Eight levels of eight includes each, sixteen million in all, are refused at once."""
        for level in range(8):
            lines = f"  - include: p{level + 1}.yaml\n" * 8
            write(tmp_path, f"title: x\nsession:\n{lines}", f"p{level}.yaml")
        write(tmp_path, SAY, "p8.yaml")

        assert "more than 64 plans are included" in refusal(tmp_path / "p0.yaml")


_KEY_LINE = re.compile(r"^(\s*(?:- )?)([a-z_]+(?: [a-z]+)?):")
_KEY_LINES = [
    index
    for index, line in enumerate(FULL_PLAN.split("\n"))
    if (match := _KEY_LINE.match(line)) and match[2] not in EXERCISE_NAMES
]


def damaged(lines: list[str], index: int, damage: str) -> tuple[str, int]:
    """Return the plan with the key at `index` spoilt, and the 1-based line that should be named."""
    line = lines[index]
    match = _KEY_LINE.match(line)
    assert match is not None
    before, name = match[1], match[2]
    if damage == "misspelt":
        new = [line.replace(name, name[:-1] + "q" + name[-1], 1)]
    elif damage == "nonsense":
        new = [line.replace(name, "zzzzz", 1)]
    elif damage == "twice":
        new = [line, " " * len(before) + name + ": 1"]
    else:
        new = [match[0]]
    return "\n".join([*lines[:index], *new, *lines[index + 1 :]]), index + len(new)


@pytest.mark.parametrize("damage", ["misspelt", "nonsense", "twice", "empty"])
def test_a_damaged_key_is_reported_on_its_line(tmp_path: Path, damage: str) -> None:
    """Whichever key of a plan is misspelt, unknown, doubled or left empty, a problem names its line."""
    lines = FULL_PLAN.split("\n")
    # Where a key's value is on the lines below it, emptying its own line changes nothing.
    indices = [i for i in _KEY_LINES if damage != "empty" or not lines[i].endswith(":")]
    assert len(indices) > 80
    # Misspelling is tried on every key; the rest on each third one, which together are all of them.
    start = ["nonsense", "twice", "empty", "misspelt"].index(damage)
    for index in indices if damage == "misspelt" else indices[start::3]:
        text, expected = damaged(lines, index, damage)

        with pytest.raises(PlanError) as caught:
            load_plan(write(tmp_path, text))

        assert expected in [problem.mark.line for problem in caught.value.problems], str(caught.value)


def load_or_refuse(path: Path) -> LoadedPlan | PlanError:
    try:
        return load_plan(path)
    except PlanError as error:
        n_lines = path.read_bytes().count(b"\n") + path.read_bytes().count(b"\r") + 1
        for problem in error.problems:
            assert 1 <= problem.mark.line <= n_lines + 1
            assert problem.mark.column >= 1
            assert problem.message
        return error


@FUZZ
@given(
    edits=st.lists(
        st.tuples(
            st.integers(0, len(FULL_PLAN) - 1),
            st.integers(0, 12),
            st.sampled_from(
                ["", " ", "\n", "\t", "- ", ": ", "[", "]", "{", "}", "'", '"', "#", "&a ", "*a", "!!x ", "|",
                 ">", "%", "? ", "---\n", "null", "true", "-1", "1e9", "\u2028", "\x00", "\x07", "🦵"]
            ),
        ),
        min_size=1,
        max_size=5,
    )
)  # fmt: skip
def test_a_plan_changed_at_random_loads_or_is_refused(
    tmp_path: Path, edits: list[tuple[int, int, str]]
) -> None:
    """Random damage to a plan gives a plan or a PlanError with places, never another exception."""
    text = FULL_PLAN
    for start, length, new in edits:
        text = text[:start] + new + text[start + length :]

    load_or_refuse(write(tmp_path, text))


@FUZZ
@given(data=st.binary(max_size=400))
def test_bytes_at_random_are_refused(tmp_path: Path, data: bytes) -> None:
    """Bytes that nobody meant as a plan give a PlanError."""
    assert isinstance(load_or_refuse(write(tmp_path, data)), PlanError)


_YAML = st.recursive(
    st.one_of(st.integers(), st.booleans(), st.sampled_from(["40s", "squat", "", "{side}", "circuit"])),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(
            st.sampled_from(
                ["title", "session", "exercises", "block", "pattern", "work", "rest", "say", "include",
                 "text", "rounds", "pips", "count", "form", "squat", "cautions", "calls", "cues"]
            ),
            inner,
            max_size=6,
        ),
    ),
    max_leaves=25,
)  # fmt: skip


@FUZZ
@given(value=_YAML)
def test_any_shape_of_data_loads_or_is_refused(tmp_path: Path, value: object) -> None:
    """Known keys in places where they make no sense give a PlanError, never another exception."""
    load_or_refuse(write(tmp_path, json.dumps(value)))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    pattern=st.sampled_from(
        ["circuit", "build-up", "build-up-and-down", "build-down", "on-the-minute", "flow"]
    ),
    n_exercises=st.integers(1, 6),
    n_rounds=st.integers(1, 4),
    work_s=st.integers(8, 50),
    rest_s=st.integers(0, 40),
    sides=st.sampled_from(["none", "alternate", "each"]),
    last_rest=st.booleans(),
)
def test_the_size_of_a_block_is_never_underrated(
    pattern: str, n_exercises: int, n_rounds: int, work_s: int, rest_s: int, sides: str, *, last_rest: bool
) -> None:
    """The limits count at least as many intervals and as much time as a block comes to when expanded."""
    block: dict[str, object] = {"block": "B", "pattern": pattern, "work": work_s, "exercises": []}
    block["exercises"] = [f"e{number}" for number in range(n_exercises)]
    if pattern in ("circuit", "on-the-minute", "flow"):
        block["rounds"] = n_rounds
    if pattern == "circuit" or pattern.startswith("build"):
        block |= {"rest": rest_s, "last_rest": last_rest}
    if pattern == "circuit" and rest_s > 20:
        block["round_rest"] = rest_s * 2
    exercises = {f"e{number}": {"sides": sides, "rest": rest_s // 2} for number in range(n_exercises)}
    plan = Plan.model_validate({"title": "T", "session": [block], "exercises": exercises})

    rows = [entry for entry in expand(LoadedPlan(plan, Path("t.yaml"), ())).intervals if entry.block == "B"]
    size = size_of(plan.session[0], plan.exercises)

    assert size.n_intervals >= len(rows)
    assert size.length_ms >= rows[-1].end_ms - rows[0].start_ms


def test_an_unknown_voice_is_reported_with_all_else(tmp_path: Path) -> None:
    """A misspelt voice has its place and the nearest name, beside the plan's other faults."""
    path = write(tmp_path, "title: x\ngap: wide\nvoice: naturall\nsession:\n  - say: Hello.\n")

    with pytest.raises(PlanError) as caught:
        load_plan(path, voices=lambda folder: ["natural", "system", folder.name])

    assert [(problem.mark.line, problem.mark.column) for problem in caught.value.problems] == [(2, 6), (3, 8)]
    assert caught.value.problems[1].message == "voice: there is no voice called 'naturall'"
    assert caught.value.problems[1].hint == "did you mean 'natural'?"


def test_an_included_plans_voice_does_not_matter(tmp_path: Path) -> None:
    """Only the outermost plan's voice speaks, so that only it must exist; with another chosen, none."""
    write(tmp_path, SAY + "voice: someone\n", "in.yaml")
    path = write(tmp_path, "title: x\nvoice: system\nsession:\n  - include: in.yaml\n")

    assert load_plan(path, voices=lambda _: ["system"]).plan.voice == "system"
    assert load_plan(tmp_path / "in.yaml").plan.voice == "someone"


def test_a_tag_that_takes_the_parser_long_is_not_parsed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A tag of 100,000 letters, which the parser reads in quadratic time, is refused before it."""
    monkeypatch.setattr("cuelane.plan.parse.YAML", None)

    message = refusal(write(tmp_path, "title: x\nsession: " + "!" * 100_000 + "\n"))

    assert message.startswith("plan.yaml:2:10: a plan may not use YAML tags")


def test_a_session_too_long_is_reported_with_all_else(tmp_path: Path) -> None:
    """A session of more than a day is named beside faults elsewhere in the plan."""
    message = refusal(write(tmp_path, "title: x\ngap: wide\nsession:\n" + "  - rest: 1h\n" * 25))

    assert "plan.yaml:2:6: gap: expected a duration" in message
    assert "plan.yaml:28:5: with this the session comes to more than 24 hours" in message


def test_a_line_for_the_turn_needs_an_exercise_with_sides(tmp_path: Path) -> None:
    """`to: other side` is right where an exercise has sides, and a fault with its place where it has none."""
    plan = (
        "title: x\nsession:\n  - {block: B, pattern: circuit, work: 40s, exercises: lunge}\nexercises:\n"
        '  lunge: {sides: SIDES, change: {text: "Turn round.", to: other side}}\n'
    )
    for sides in ("each", "alternate"):
        assert load_plan(write(tmp_path, plan.replace("SIDES", sides)))
    message = refusal(write(tmp_path, plan.replace("SIDES", "none")))

    assert "plan.yaml:5:54: to: this exercise has no other side" in message


def test_a_name_in_another_encoding_is_told_apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Accents that a Mac writes apart from their letters: two names that look alike, and what to do.

    The folder's names stand for a file, since on a Mac itself both names find it.
    """
    monkeypatch.setattr(own_folder, "_names", lambda _: [unicodedata.normalize("NFD", "échelle.yaml")])
    message = refusal(write(tmp_path, "title: x\nsession:\n  - include: échelle.yaml\n"))
    assert "there is no file 'échelle.yaml'" in message
    assert "another encoding (NFD); rename it to this very name" in message
