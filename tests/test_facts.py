"""A session's facts against sums done by hand, and energy against the published table and formula."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from cuelane.base.schedule import Dropped, Event, Schedule, ScheduledInterval
from cuelane.deliver.page_facts import warning_lines
from cuelane.facts import Facts, facts, summary_lines
from cuelane.facts.energy import compendium, energy
from cuelane.facts.talk import count_words
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Plan
from cuelane.plan.warning_codes import WARNINGS
from cuelane.session.expand import expand
from cuelane.session.model import Interval, Session
from cuelane.session.timetable import timetable

RATE = 48_000
EXERCISES = {
    "squat": {"load": ["Quads", "glutes"], "needs": ["a box", "one dumbbell"]},
    "lunge": {"load": ["quads", "hips"], "sides": "alternate", "needs": "one dumbbell"},
    "plank": {"load": "trunk", "sides": "each", "settle": "4s"},
}
CIRCUIT = {
    "block": "Main",
    "pattern": "circuit",
    "work": "40s",
    "settle": "5s",
    "rest": "20s",
    "round_rest": "60s",
    "rounds": 3,
    "exercises": ["squat", "lunge", "plank"],
}


def session_of(*blocks: dict[str, Any], **plan: Any) -> Session:
    whole = {
        "title": "T",
        "cautions": "none",
        "closing": False,
        "exercises": EXERCISES,
        "session": list(blocks),
    }
    return expand(LoadedPlan(Plan.model_validate(whole | plan), Path("t.yaml"), ()))


def facts_of(*blocks: dict[str, Any], **plan: Any) -> Facts:
    return facts(session_of(*blocks, **plan))


def test_times_of_a_circuit() -> None:
    """Three rounds of three sets of 40 s, with 5, 5 and 4 s to settle and two round rests, summed by hand."""
    found = facts_of(CIRCUIT)

    assert found.work_ms == 9 * 40_000
    # Squat and lunge settle 5 s a set; plank 4 s in each of its two halves.
    assert found.effective_work_ms == 360_000 - 3 * (5_000 + 5_000 + 2 * 4_000)
    # Rests of 20 s after all but each round's last set, and 60 s between rounds.
    assert found.rest_ms == 6 * 20_000 + 2 * 60_000
    assert found.work_to_rest == 360 / 240
    assert found.sets == 9
    assert found.total_ms == found.work_ms + found.rest_ms + found.talk_ms
    assert (found.change_ms, found.breath_ms) == (0, 0)


def test_sets_and_times_by_exercise_and_side() -> None:
    """Alternating sides count by set, halves by half: 2 left and 1 right lunge, 3 and 3 half planks."""
    squat, lunge, plank = facts_of(CIRCUIT).exercises

    assert (squat.name, squat.sets, squat.work_ms, squat.effective_ms) == ("squat", 3, 120_000, 105_000)
    assert (squat.left_ms, squat.right_ms) == (0, 0)
    assert (lunge.sets, lunge.left_sets, lunge.right_sets) == (3, 2, 1)
    assert (lunge.left_ms, lunge.right_ms) == (80_000, 40_000)
    assert (plank.sets, plank.left_sets, plank.right_sets) == (3, 3, 3)
    assert (plank.work_ms, plank.left_ms, plank.right_ms) == (120_000, 60_000, 60_000)
    assert plank.effective_ms == 120_000 - 6 * 4_000


def test_uneven_sides_are_warned_of() -> None:
    """An exercise with more time on one side is named with both; an even one is not."""
    found = facts_of(CIRCUIT)

    assert (found.left_ms, found.right_ms) == (140_000, 100_000)
    assert found.warnings[0] == (
        "lunge: 2 sets (1:20) on the left, 1 set (0:40) on the right; "
        "even_sides: true splits the last set, or add one"
    )
    assert found.warning_codes[0] == "uneven-sides"
    assert "uneven-sides" not in facts_of(CIRCUIT | {"rounds": 4}).warning_codes


def test_halves_of_an_odd_millisecond_are_even() -> None:
    """A set of 40.001 s cut in two differs by a millisecond, which is no imbalance."""
    found = facts_of(CIRCUIT | {"work": "40001ms", "exercises": ["plank"]})

    assert found.left_ms - found.right_ms == 3
    assert "uneven-sides" not in found.warning_codes


def test_regions_loaded_one_after_the_other_are_warned_of() -> None:
    """Squat then lunge share the quads three times, 20 s apart; plank shares nothing; case is ignored."""
    found = facts_of(CIRCUIT)

    (pair,) = found.consecutive_load
    assert (pair.first, pair.then, pair.regions) == ("squat", "lunge", ("Quads",))
    assert (pair.times, pair.shortest_pause_ms) == (3, 20_000)
    assert found.warnings[1] == "squat, then lunge: both load Quads, 3 times, 20s apart at the least"


def test_no_rest_between_is_said() -> None:
    """In a flow two exercises of the same region follow with no pause."""
    block = {"block": "F", "pattern": "flow", "work": "30s", "exercises": ["squat", "lunge"]}

    assert facts_of(block).warnings[-1] == "squat, then lunge: both load Quads, with no rest between"


def test_an_exercise_after_itself_is_the_plan() -> None:
    """Sets of one exercise in a row are what was asked for, not a warning."""
    assert facts_of(CIRCUIT | {"exercises": ["squat"]}).consecutive_load == ()


def test_warnings_can_be_allowed() -> None:
    """The plan's allow keeps each warning quiet by its code."""
    found = facts_of(CIRCUIT, allow=["uneven-sides", "same-load"])

    assert found.warnings == ()
    assert len(found.consecutive_load) == 1


def test_equipment_comes_in_order_of_need() -> None:
    """Each thing once, with the time it is first needed and who uses it."""
    found = facts_of(CIRCUIT | {"exercises": ["plank", "squat", "lunge"]}, lead_in="10s")
    start_ms = found.blocks[-2].start_ms if found.blocks[-1].name == "Closing" else found.blocks[-1].start_ms

    assert [(thing.item, thing.first_ms - start_ms, thing.exercises) for thing in found.equipment] == [
        ("a box", 60_000, ("squat",)),
        ("one dumbbell", 60_000, ("squat", "lunge")),
    ]


def test_blocks_tell_their_length_rounds_and_sets() -> None:
    """Block lengths are those of their intervals and add up to the total; 21 s tell how the breath goes."""
    breath = {"block": "Calm", "pattern": "breath", "inhale": "4s", "exhale": "6s", "cycles": 12}
    found = facts_of(CIRCUIT, breath)
    by_name = {block.name: block for block in found.blocks}

    assert (by_name["Main"].length_ms, by_name["Main"].rounds, by_name["Main"].sets) == (600_000, 3, 9)
    assert (by_name["Calm"].length_ms, by_name["Calm"].rounds, by_name["Calm"].sets) == (141_000, 12, 0)
    assert found.breath_ms == 120_000
    assert sum(block.length_ms for block in found.blocks) == found.total_ms
    assert found.work_to_rest == 1.5


def test_a_session_without_rest_has_no_ratio() -> None:
    """No rest gives None, not infinity."""
    found = facts_of({"block": "F", "pattern": "flow", "work": "30s", "exercises": ["squat"]})

    assert found.work_to_rest is None


def schedule_of(*spans: tuple[str, float, float, str | None], length_s: float = 60.0) -> Schedule:
    events = tuple(
        Event(f"e{i}", kind, "say", 0, round(start * RATE), round(end * RATE), text)  # type: ignore[arg-type]
        for i, (kind, start, end, text) in enumerate(spans)
    )
    return Schedule("T", "en", RATE, round(length_s * RATE), (), events)


EMPTY = Session(Plan.model_validate({"title": "T", "session": [{"rest": "1s"}]}), (), ())


def test_open_time_and_stretches_of_talk() -> None:
    """A minute with three cues and two pips: 11.5 s of sound; gaps of up to a second belong to the talk."""
    schedule = schedule_of(
        ("cue", 5.0, 8.0, "One two three four five six."),
        ("cue", 8.9, 12.9, "Seven eight nine ten."),
        ("pip", 12.8, 13.4, None),
        ("cue", 20.0, 23.5, "Eleven twelve."),
        ("pip", 59.5, 60.0, None),
    )

    talk = facts(EMPTY, schedule).talk

    assert talk is not None
    # 3.0 + 4.0 + 0.5 (a pip, less what lies under the cue) + 3.5 + 0.5
    assert talk.open_s == pytest.approx(60 - 11.5, abs=1e-9)
    assert talk.open_share == pytest.approx(48.5 / 60, abs=1e-12)
    assert (talk.longest_talk_s, talk.longest_talk_at_s) == (pytest.approx(7.9), 5.0)
    assert (talk.longest_without_talk_s, talk.longest_without_talk_at_s) == (pytest.approx(36.5), 23.5)
    assert talk.n_words == 12
    assert talk.spoken_s == pytest.approx(10.5)
    assert talk.words_per_minute == pytest.approx(12 * 60 / 10.5)


def test_silence_before_the_first_cue_counts() -> None:
    """The longest stretch without talk may be the one before anything is said."""
    talk = facts(EMPTY, schedule_of(("cue", 40.0, 42.0, "Now."))).talk

    assert talk is not None
    assert (talk.longest_without_talk_s, talk.longest_without_talk_at_s) == (40.0, 0.0)


def test_a_schedule_without_cues_is_all_open() -> None:
    """No talk: no rate of words, and the whole length is open and quiet."""
    talk = facts(EMPTY, schedule_of()).talk

    assert talk is not None
    assert (talk.open_s, talk.words_per_minute, talk.longest_without_talk_s) == (60.0, None, 60.0)
    assert talk.longest_talk_s == 0


@pytest.mark.parametrize(
    ("seconds", "warning"),
    [
        (6.0, "the voice speaks 90 words a minute, slower than the usual 100 or more"),
        (5.4, None),
        (2.16, None),
        (2.0, "the voice speaks 270 words a minute, faster than the 250 that listeners follow"),
    ],
)
def test_the_voice_is_held_against_usual_rates(seconds: float, warning: str | None) -> None:
    """Nine words in 6, 5.4, 2.16 and 2 s are 90, 100, 250 and 270 a minute; the limits are the lower end of
    presenting and the upper end of what is followed (values from a secondary source; no standard exists)."""
    text = "one two three four five six seven eight nine"

    found = facts(EMPTY, schedule_of(("cue", 1.0, 1.0 + seconds, text)))

    assert list(found.warnings) == ([warning] if warning else [])
    assert list(found.warning_codes) == (["speaking-rate"] if warning else [])


def test_a_side_that_is_never_done_is_said() -> None:
    """One set of an alternating exercise leaves the other side with none."""
    found = facts_of(CIRCUIT | {"rounds": 1})

    assert found.warnings[0] == "lunge: 1 set (0:40) on the left, none on the right"


def test_words_are_counted_as_spoken() -> None:
    """Signs alone are no words; what is joined is one."""
    assert count_words("Step-up, left side – don't rush … 3 more!") == 7


# MET values: Herrmann et al. 2024, J Sport Health Sci 13:6-12 (values from a secondary source).
@pytest.mark.parametrize(
    ("code", "met"),
    [("02020", 7.5), ("02022", 3.8), ("02024", 2.8), ("02032", 6.0), ("02035", 5.0), ("02040", 7.5),
     ("02057", 6.5), ("02101", 2.3), ("02160", 4.0), ("02185", 2.7), ("02210", 7.0), ("02214", 11.0)],
)  # fmt: skip
def test_the_table_holds_the_published_values(code: str, met: float) -> None:
    """The compendium's METs are those of its 2024 edition, which the table names."""
    assert compendium()["activity"][code]["met"] == met
    assert "2024" in compendium()["edition"]


def timed(*rows: tuple[str, int, str | None], mass_kg: float | None = 70) -> Session:
    plan = Plan.model_validate(
        {"title": "T", "session": [{"rest": "1s"}]} | ({"body_mass_kg": mass_kg} if mass_kg else {})
    )
    intervals, start_ms = [], 0
    for index, (kind, length_ms, activity) in enumerate(rows):
        intervals.append(
            Interval(index, "B", 0, "circuit", kind, start_ms, start_ms + length_ms, activity=activity)  # type: ignore[arg-type]
        )
        start_ms += length_ms
    return Session(plan, (), tuple(intervals))


def test_energy_is_met_times_mass_times_hours() -> None:
    """30 min at 5 MET and 70 kg are 175 kcal gross (the other formula's 183.75 is exactly 1.05 times it)."""
    found, unknown = energy(
        timed(("work", 1_200_000, "02035"), ("rest", 600_000, "02035"), ("talk", 60_000, "02035"))
    )

    assert found is not None
    assert found.kcal == pytest.approx(175.0, abs=1e-9)
    assert found.kcal * 1.05 == pytest.approx(183.75, abs=1e-9)
    assert found.time_ms == 1_800_000
    assert unknown == []
    assert "gross" in found.formula
    assert "2024" in found.edition
    assert found.caution


def test_energy_of_several_activities_adds_up() -> None:
    """10 min at 2.3 MET and 20 min at 7.5 MET, 60 kg: 23 + 150 kcal."""
    found, _ = energy(timed(("work", 600_000, "02101"), ("work", 1_200_000, "02040"), mass_kg=60))

    assert found is not None
    assert [round(row.kcal, 9) for row in found.activities] == [23.0, 150.0]
    assert found.kcal == pytest.approx(173.0)


def test_energy_needs_a_mass_and_a_known_activity() -> None:
    """Without a body mass or an activity there is no figure; an unknown code is said."""
    assert energy(timed(("work", 60_000, "02035"), mass_kg=None)) == (None, [])
    assert energy(timed(("work", 60_000, None))) == (None, [])
    assert energy(timed(("work", 60_000, "99999"))) == (None, ["99999"])
    assert facts(timed(("work", 60_000, "99999"))).warnings == (
        "activity 99999 is not in the table that energy is estimated from",
    )


def test_facts_are_json_and_lines() -> None:
    """The facts survive JSON and print as lines no wider than asked."""
    schedule = schedule_of(("cue", 5.0, 8.0, "One two three four five six."))
    found = facts(session_of(CIRCUIT, activity="02035", body_mass_kg=60), schedule).to_dict()

    assert json.loads(json.dumps(found)) == found
    lines = summary_lines(found, width=48)
    assert max(len(line) for line in lines) <= 48
    assert lines[1] == "Work              6:00, 5:06 after settling in"
    assert "lunge             3 sets, 2m (left 1m20s, right" in lines
    text = " ".join(" ".join(lines).split())
    # 5 MET x 60 kg x 600 s / 3600 s an hour
    assert "about 50 kcal at 60 kg over 10:00 of circuit training, moderate (5 MET). 2024 Adult Comp" in text
    assert (
        "note: lunge: 2 sets (1:20) on the left, 1 set (0:40) on the right; even_sides: true splits" in text
    )


def test_long_names_and_large_ratios_stay_readable() -> None:
    """A name wider than its column has a line of its own, and two hours of work to a minute are 120 to 1."""
    name = "slow step-up on the low bench by the harbour wall, as far as it goes"
    found = facts(session_of(CIRCUIT)).to_dict()
    row = dict(found["exercises"][0], name=name, sets=12, work_ms=480_000)
    wide = {**found, "exercises": [row], "work_ms": 7_200_000, "rest_ms": 60_000, "work_to_rest": 120.0}
    lines = summary_lines(wide, width=60)
    assert max(len(line) for line in lines) <= 60
    assert "                  12 sets, 8m" in lines
    assert " ".join(" ".join(lines).split()).count(name) == 1
    assert "Rest              1:00 (work to rest 120 to 1)" in lines


def test_a_timetable_keeps_its_columns() -> None:
    """Each interval is one line of the width asked for, cut at its end; reasons stand with their interval."""
    name = "slow step-up on the low bench by the harbour wall"
    rows = [
        ScheduledInterval(k, "Main", "work", 1, exercise, None, k * 40 * RATE, (k + 1) * 40 * RATE)
        for k, exercise in enumerate(("plank", name))
    ]
    dropped = tuple(Dropped("form", f"Line {k}.", k, "for no reason") for k in (1, 0, 1))
    at = 5 * RATE + RATE // 2
    cue = Event("e1", "cue", "form", 0, at, at + RATE, "Keep long.", why="once settled")
    schedule = Schedule("T", "en", RATE, 80 * RATE, tuple(rows), (cue,), dropped)
    lines = timetable(schedule, width=48, why=True).splitlines()
    assert lines == [
        "MAIN",
        "   0:00  work      40s  plank  (round 1)",
        "    5.5  Keep long.",
        "         · form: once settled",
        "      -  left out, form: “Line 0.” for no reason",
        "   0:40  work      40s  slow step-up on the low…",
        "      -  left out, form: “Line 1.” for no reason",
        "      -  left out, form: “Line 1.” for no reason",
    ]


def test_only_what_concerns_the_body_goes_on_the_page() -> None:
    """Sides and load are for whoever trains; all other warnings are for the plan's author."""
    codes = list(WARNINGS)
    told = {"warning_codes": codes, "warnings": [f"about {code}" for code in codes]}
    schedule = Schedule("T", "en", RATE, RATE, (), (), extra={"facts": told})
    assert warning_lines(schedule) == ["about uneven-sides", "about same-load"]
