"""The page as text: whole, self-contained, true to its schedule, and closed to what a plan's texts try."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pagesession
from cuelane.base.page_words import page_words
from cuelane.base.schedule import Schedule, ScheduledInterval
from cuelane.deliver.outline import KINDS, outline_of
from cuelane.deliver.page import FileLink, PageExtras, file_href, write_page
from cuelane.deliver.page_text import interval_place
from cuelane.deliver.waveform import envelope_of
from cuelane.media import Chapter


class Reader(HTMLParser):
    """Collects a page's elements, attributes, text by element, and scripts."""

    VOID = frozenset({"meta", "link", "input", "track", "br"})

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[tuple[str, str]] = []
        self.open: list[str] = []
        self.problems: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        if len(names) != len(set(names)):
            self.problems.append(f"an attribute twice in <{tag}>")
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.problems.append(f"</{tag}> closes nothing")

    def handle_data(self, data: str) -> None:
        if self.open and data.strip():
            self.texts.append((self.open[-1], data))

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attrs for name, attrs in self.elements if name == tag]

    @property
    def text(self) -> str:
        return " ".join(data for tag, data in self.texts if tag not in ("script", "style"))

    @property
    def data(self) -> dict[str, Any]:
        return dict(json.loads(next(data for tag, data in self.texts if tag == "script")))


def page_of(schedule: Schedule, **extras: Any) -> str:
    return write_page(schedule, audio_name="session.m4a", extras=PageExtras(**extras))


@pytest.fixture(scope="module")
def boathouse() -> str:
    schedule = pagesession.boathouse()
    envelope = envelope_of(pagesession.sound_of(schedule), schedule.n_frames)
    return write_page(
        schedule,
        audio_name="boathouse legs.m4a",
        envelope=envelope,
        extras=PageExtras(
            files=(FileLink("boathouse legs.m4a", "the track"), FileLink("boathouse legs.vtt")),
            vtt="WEBVTT\n\n00:00.500 --> 00:06.500\nHello & <welcome>\n",
            chapters=(Chapter(0, 18_000, "Opening"), Chapter(18_000, 752_000, "Warm-up")),
            hearing="Keep it low enough to hear a bell.",
        ),
    )


def test_the_page_is_well_formed(boathouse: str) -> None:
    """Every element is closed where it should be, no attribute comes twice, ids are unique."""
    reader = Reader(boathouse)
    ids = [attrs["id"] for _, attrs in reader.elements if "id" in attrs]

    assert reader.problems == []
    assert reader.open == []
    assert len(ids) == len(set(ids))
    for _, attrs in reader.elements:
        for name in ("aria-labelledby", "for"):
            assert attrs.get(name, ids[0]) in ids


def test_the_page_asks_the_network_for_nothing(boathouse: str) -> None:
    """Every address in it is a file beside it, a place in it, or data; no style or script reaches out."""
    reader = Reader(boathouse)
    for tag, attrs in reader.elements:
        for name in ("src", "href", "srcset", "action", "poster", "data"):
            value = attrs.get(name, "./")
            assert value.startswith(("./", "#", "data:")), (tag, name, value)
    for tag, text in reader.texts:
        if tag in ("style", "script"):
            assert "http" not in text
            assert "@import" not in text
            assert "url(" not in text
    assert "fetch(" not in boathouse


def test_the_policy_names_the_pages_own_script(boathouse: str) -> None:
    """The content security policy allows one script, by the SHA-256 of its very text, and no other."""
    reader = Reader(boathouse)
    policy = next(
        m["content"] for m in reader.all("meta") if m.get("http-equiv") == "Content-Security-Policy"
    )
    script = next(text for tag, text in reversed(reader.texts) if tag == "script")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()

    assert f"script-src 'sha256-{digest}';" in policy
    assert "default-src 'none'" in policy
    assert policy.count("script-src") == 1
    assert len(reader.all("script")) == 2
    assert not any(name.startswith("on") for _, attrs in reader.elements for name in attrs)


def test_the_scripts_table_is_the_schedules(boathouse: str) -> None:
    """Positions in the page are the schedule's own samples, all of them, and its names are the intervals'."""
    schedule = pagesession.boathouse()
    data = Reader(boathouse).data

    assert (data["rate"], data["frames"]) == (schedule.sample_rate, schedule.n_frames)
    assert [row[:2] for row in data["intervals"]] == [
        [row.start_sample, row.end_sample] for row in schedule.intervals
    ]
    assert [data["kinds"][row[2]] for row in data["intervals"]] == [row.kind for row in schedule.intervals]
    assert data["cues"] == [[cue.onset_sample, cue.end_sample] for cue in schedule.cues]
    assert data["pips"] == [[pip.onset_sample, int(pip.role == "long")] for pip in schedule.pips]
    lunge = next(row.index for row in schedule.intervals if row.exercise == "reverse lunge")
    assert data["names"][data["intervals"][lunge][3]] == "Reverse lunge, left"
    assert data["names"][data["intervals"][lunge][4]] == "Legs, round 2 of 4, set 7 of 14"


def test_everything_is_in_the_markup(boathouse: str) -> None:
    """Without script: title, cues, exercises, facts, chapters, cautions, files and credits."""
    text = Reader(boathouse).text
    wanted = [
        "Boathouse legs", "The Boathouse", "12:32", "8 min 40 s", "1 min 15 s", "Opening", "Round 3",
        "Ten seconds left.", "Goblet squat", "left 1:20, right 0:40", "Before you begin",
        *pagesession.CAUTIONS, "Safe listening", "Keep it low enough to hear a bell.", "boathouse legs.vtt",
        "Voice: natural. Joe, CC0.",
    ]  # fmt: skip
    for words in wanted:
        assert words in text


def test_each_interval_is_a_piece_of_the_score(boathouse: str) -> None:
    """The score has each interval once, named by letter, name, length, kind and place."""
    schedule = pagesession.boathouse()
    buttons = [attrs for attrs in Reader(boathouse).all("button") if "data-i" in attrs]

    assert [int(button["data-i"]) for button in buttons] == list(range(len(schedule.intervals)))
    assert buttons[5]["aria-label"] == "E Goblet squat 40 s, work, from 2:18"
    assert buttons[9]["aria-label"].startswith("F L Reverse lunge 40 s, left, work, from ")
    assert {button["class"].split()[0] for button in buttons} == {
        "k-talk", "k-work", "k-rest", "k-change", "k-in", "k-hold", "k-out", "k-hold-low"
    }  # fmt: skip


def test_kinds_differ_by_word_and_shape_not_by_colour_alone(boathouse: str) -> None:
    """Each kind has a word in the legend and a shape in the style of its own."""
    reader = Reader(boathouse)
    css = next(text for tag, text in reader.texts if tag == "style")
    shapes = {kind: re.search(rf"\.k-{kind}::before {{([^}}]*)}}", css) for kind in KINDS}

    assert set(KINDS) >= {"work", "rest", "change"}
    for kind in KINDS:
        assert page_words()(f"kind.{kind}") in reader.text
        assert shapes[kind] is not None, kind
    without_colour = [
        re.sub(r"var\(--[a-z-]+\)", "", found[1]) for found in shapes.values() if found is not None
    ]
    assert len(set(without_colour)) >= len(KINDS) - 1


def test_a_screen_reader_is_told_the_keys_that_the_script_takes(boathouse: str) -> None:
    """Each sign named as a shortcut is in the script's table of keys, and on the list shown."""
    reader = Reader(boathouse)
    told = [attrs["aria-keyshortcuts"] for _, attrs in reader.elements if "aria-keyshortcuts" in attrs]
    signs = {key.lower() for key in told if len(key) == 1}
    script = next(text for tag, text in reader.texts if tag == "script" and "keydown" in text)
    table = re.search(r"const keys = \{(.*?)\n    \};", script, re.S)
    assert table is not None
    taken = set(re.findall(r'(?:^|[\s,])"?([\[\]a-z])"?: ', table[1]))

    assert signs == taken == {"[", "]", "s", "r", "c"}
    shown = {
        sign.lower() for tag, text in reader.texts if tag == "kbd" for sign in text.split() if len(sign) == 1
    }
    assert signs <= shown


def test_captions_chapters_and_files_are_linked(boathouse: str) -> None:
    """The track holds the captions whole; chapters are at their samples; links are beside the page."""
    reader = Reader(boathouse)
    kind, content = reader.all("track")[0]["src"].split(",", 1)

    assert kind == "data:text/vtt;base64"
    assert base64.b64decode(content).decode() == "WEBVTT\n\n00:00.500 --> 00:06.500\nHello & <welcome>\n"
    assert reader.all("audio")[0]["src"] == "./boathouse%20legs.m4a"
    assert [a["href"] for a in reader.all("a") if "download" in a] == [
        "./boathouse%20legs.m4a",
        "./boathouse%20legs.vtt",
    ]
    assert 'data-at="864000"><time>0:18</time>' in boathouse


def test_the_sound_can_be_inside() -> None:
    """Embedded audio stands in the page byte for byte under the type of its ending."""
    sound = bytes(range(256)) * 5
    kind, content = Reader(page_of(pagesession.boathouse(), embed=sound)).all("audio")[0]["src"].split(",", 1)

    assert kind == "data:audio/mp4;base64"
    assert base64.b64decode(content) == sound


def test_hostile_texts_make_no_element_and_no_attribute() -> None:
    """A session whose every text tries to break out has the elements and attributes of an honest one."""
    extras: dict[str, Any] = {
        "chapters": [Chapter(n * 1000, n * 1000 + 1000, text) for n, text in enumerate(pagesession.HOSTILE)],
        "hearing": " ".join(pagesession.HOSTILE[:4]),
        "about": pagesession.HOSTILE[0],
        "files": [FileLink(text, text) for text in pagesession.HOSTILE],
        "vtt": "WEBVTT\n\n" + pagesession.HOSTILE[0],
    }
    hostile = pagesession.hostile()
    facts = {
        "equipment": [{"item": text, "first_ms": 0, "exercises": [text]} for text in pagesession.HOSTILE],
        "warnings": list(pagesession.HOSTILE),
        "energy": {"kcal": 5, "body_mass_kg": 70, "edition": pagesession.HOSTILE[0]},
    }
    hostile = replace(hostile, extra=hostile.extra | {"facts": facts}, language=pagesession.HOSTILE[2])
    reader = Reader(write_page(hostile, audio_name=pagesession.HOSTILE[1], extras=PageExtras(**extras)))
    honest = Reader(page_of(pagesession.boathouse(), **{**extras, "about": "Legs"}))
    ours = {tag: set(attrs) for tag, attrs in honest.elements}
    for tag, attrs in honest.elements:
        ours[tag] |= set(attrs)

    assert reader.problems == []
    assert reader.open == []
    for tag, attrs in reader.elements:
        assert tag in ours, tag
        assert set(attrs) <= ours[tag] | {"lang", "dir"}, (tag, attrs)
    assert len(reader.all("script")) == 2
    assert reader.data["title"] == pagesession.HOSTILE[0] + pagesession.HOSTILE[2]
    assert pagesession.HOSTILE[1] in reader.text
    assert all(attrs.get("lang") in (None, "en", "und") for _, attrs in reader.elements)


@pytest.mark.parametrize(
    "name", ["../../etc/x", "javascript:alert(1)", "//host/x", "a b#?%.m4a", "é.m4a", "a\\b"]
)
def test_a_link_is_always_beside_the_page(name: str) -> None:
    """No file name becomes another scheme, host or folder, or loses its end to a query."""
    href = file_href(name)

    assert re.fullmatch(r"\./[A-Za-z0-9._~%-]+", href)
    assert "/" not in href[2:]


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(
        ["equipment", "item", "exercises", "warnings", "talk", "energy", "kcal", "first_ms", "cues", "grade",
         "id", "left_ms", "right_ms", "good_to_lu", "longest_without_talk_s",
         "longest_without_talk_at_s", "name"]
    ), inner, max_size=4),
    max_leaves=8,
)  # fmt: skip


@given(
    st.fixed_dictionaries(
        dict.fromkeys(("facts", "room", "cautions", "voice", "author", "description"), JUNK)
    )
)
@settings(derandomize=True, deadline=None, max_examples=40)
def test_further_keys_of_any_shape_are_borne(extra: dict[str, Any]) -> None:
    """A schedule written elsewhere, with these keys absent or of another type, still gives a page."""
    sketch = pagesession.Sketch("Borne")
    sketch.interval("work", 20, block="Legs", exercise="squat", cues=((2, 2, "form", "Slowly."),))

    reader = Reader(page_of(sketch.done(**extra)))

    assert reader.problems == []
    assert "Borne" in reader.text


def test_where_intervals_stand_is_told_without_counting_their_block_for_each() -> None:
    """Its last round and its kind are looked up once, so that the time grows as the intervals do."""

    class Counted(tuple):
        n_begun = 0

        def __iter__(self) -> Any:
            Counted.n_begun += 1
            return super().__iter__()

    rows = [
        ScheduledInterval(n, name, "work", n % 50 + 1, "x", None, n, n + 1)
        for n, name in enumerate(50 * ["A"] + 30 * ["B"])
    ]
    schedule = Schedule("t", "en", 1, 80, tuple(rows), ())
    outline = outline_of(schedule)
    sections = tuple(replace(one, intervals=Counted(one.intervals)) for one in outline.sections)
    Counted.n_begun = 0
    places = [interval_place(schedule, row, replace(outline, sections=sections)) for row in rows]
    assert [places[n] for n in (0, 49, 50, 79)] == [
        "A, round 1 of 50",
        "A, round 50 of 50",
        "B, round 1 of 30",
        "B, round 30 of 30",
    ]
    assert Counted.n_begun <= 4


def test_a_schedule_with_nothing_in_it_gives_a_page() -> None:
    """No interval, no event, no title: still a whole page."""
    reader = Reader(page_of(Schedule("", "en", 48_000, 48_000, (), ())))

    assert reader.problems == []
    assert "No words are spoken in this session." in reader.text
