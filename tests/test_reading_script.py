"""The script to read aloud."""

from __future__ import annotations

import json

from cuelane.base.schedule import Dropped, Event, Schedule, ScheduledInterval
from cuelane.takes.reading_script import Line, as_html, as_json, as_text, lines_of, plan_lines, reading_script

LINES = [
    Line("Goblet squat.", "announce", 3.0),
    Line("Keep your heels heavy.", "form", 9.04),
    Line("Goblet squat.", "announce", 2.0),
    Line("<b>Rest</b> & breathe.", "say", 1.0),
]


def test_every_distinct_line_comes_once_in_speaking_order():
    """A line used twice is read once, with its shortest room; numbers count from 1."""
    script = reading_script(LINES)

    assert [(line.number, line.text, line.n_uses, line.room_s) for line in script] == [
        (1, "Goblet squat.", 2, 2.0),
        (2, "Keep your heels heavy.", 1, 9.0),
        (3, "<b>Rest</b> & breathe.", 1, 1.0),
    ]


def test_lines_already_recorded_are_left_out_and_numbers_stay():
    """What a recording covers is not read again, and the others keep their numbers."""
    script = reading_script(LINES, {"Goblet squat."})

    assert [line.number for line in script] == [2, 3]


def test_room_reaches_to_the_next_event_or_boundary():
    """A line's time ends where a pip, another cue or the interval does; a dropped line is read too."""
    work = ScheduledInterval(0, "b", "work", 1, "x", None, 0, 10_000)
    rest = ScheduledInterval(1, "b", "rest", 1, None, None, 10_000, 20_000)
    schedule = Schedule(
        "t", "en", 1000, 20_000,
        (work, rest),
        (
            Event("e1", "cue", "form", 0, 1_000, 2_000, text="One."),
            Event("e2", "pip", "short", 0, 7_000, 7_100, frequency_hz=880.0),
            Event("e3", "cue", "form", 0, 8_000, 9_000, text="Two."),
            Event("e4", "cue", "say", 1, 12_000, 13_000, text="Three."),
        ),
        (Dropped("form", "Four.", 1, "no room"),),
    )  # fmt: skip

    assert [(line.text, line.room_s) for line in lines_of(schedule)] == [
        ("One.", 6.0),
        ("Two.", 2.0),
        ("Three.", 8.0),
        ("Four.", 0.0),
    ]


def test_the_room_of_many_lines_is_read_from_the_event_after_each():
    """Of a session of thousands of cues no more is copied than that: its time grows as they do."""

    class Copied(tuple):
        n_copied = 0

        def __getitem__(self, at):
            found = super().__getitem__(at)
            Copied.n_copied += len(found) if isinstance(at, slice) else 1
            return found

    n = 200
    events = Copied(Event(f"e{i}", "cue", "form", 0, 10 * i, 10 * i + 5, text=f"{i}") for i in range(n))
    row = ScheduledInterval(0, "b", "work", 1, "x", None, 0, 10 * n)
    lines = lines_of(Schedule("t", "en", 10, 10 * n, (row,), events, ()))

    assert [line.room_s for line in lines] == [1.0] * n
    assert Copied.n_copied <= n


def test_the_page_cannot_be_broken_by_a_line():
    """Texts and titles are escaped in the printed page."""
    page = as_html("<script>x</script>", reading_script(LINES))

    assert "<script>" not in page
    assert "<b>Rest" not in page
    assert "&lt;b&gt;Rest&lt;/b&gt; &amp; breathe." in page


def test_text_and_json_hold_the_same_lines():
    """Every line is in the text with its number, and in the JSON with its uses."""
    script = reading_script(LINES)

    text, data = as_text("Legs", script), json.loads(as_json("Legs", script))

    assert "  2  Keep your heels heavy." in text
    assert "short: at most 1 s" in text
    assert [row["text"] for row in data["lines"]] == [line.text for line in script]
    assert data["lines"][0]["roles"] == ["announce"]


def test_a_plan_gives_every_line_that_it_might_speak(tmp_path):
    """Each text of a plan is in its script, a dropped one too, once each and in speaking order."""
    plan = tmp_path / "plan.yaml"
    plan.write_text(
        "title: Short\ncautions: none\nlead_in: 5s\nclosing: Done.\nsession:\n"
        "  - {block: One, pattern: circuit, work: 20s, rest: 8s, rounds: 2, exercises: [wall press]}\n"
        "exercises:\n  wall press:\n    setup: Hands on the wall.\n    form: [Ribs down., Long neck.]\n",
        encoding="utf-8",
    )

    texts = [line.text for line in plan_lines(plan)]

    assert len(texts) == len(set(texts))
    wanted = ["Hands on the wall.", "Ribs down.", "Long neck.", "Done."]
    assert [text for text in texts if text in wanted] == wanted
