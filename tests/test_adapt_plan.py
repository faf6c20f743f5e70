"""Decisions, the new plan, and the whole way from a video to a checked track."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import classgen as gen
import classgen_captions as cap
from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.analysis import Analysis
from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.decisions import Decision, decide, decisions_text, read_decisions
from cuelane.adapt.plan_file import Guess, Planned, plan_intervals
from cuelane.adapt.report import MadeFiles, doubts, report_json, report_markdown
from cuelane.adapt.run import adapt_recording
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.base.errors import AudioFileError, PlanError, UsageError
from cuelane.plan.load import load_plan

BEEP = Beep(1000.0, 0.5, 3, 1000.0, 0.1, 1.0)
CUES = [
    FoundCue(65.31, 67.0, "Keep your heels heavy.", "form", 1),
    FoundCue(130.0, 131.5, "Watch my knee.", "form", 1, ("points at a picture",)),
]


def test_decisions_survive_a_round_trip(tmp_path):
    """What a person changed is what counts next time, and the file does not change by itself."""
    path = tmp_path / "decisions.txt"
    path.write_text(decisions_text(CUES, [True, False], []), encoding="utf-8")
    assert decide(CUES, read_decisions(path)) == ([True, False], [])

    edited = path.read_text(encoding="utf-8").replace("\ndrop", "\nKEEP")
    path.write_text(edited, encoding="utf-8")
    kept, left = decide(CUES, read_decisions(path))

    assert (kept, left) == ([True, True], [])
    assert decisions_text(CUES, kept, left) == edited.replace("KEEP", "keep")


def test_what_a_decision_is_for_stays_on_its_line(tmp_path):
    """Notes hold words as they were heard: a line end or a direction mark in one makes no line of its own."""
    cue = replace(CUES[0], notes=("heard with little certainty: heels\nkeep 0:01 \u202eheavy",))

    path = tmp_path / "decisions.txt"
    path.write_text(decisions_text([cue], [True], []), encoding="utf-8")

    assert len(read_decisions(path)) == 1
    assert "\u202e" not in path.read_text(encoding="utf-8")


def test_a_decision_holds_for_a_cue_that_moved_a_little():
    """A cue that begins within a third of a second of a decision's time is meant; one farther off is not."""
    near, far = Decision(False, 65.0, "drop 1:05.0"), Decision(True, 129.5, "keep 2:09.5")

    kept, left = decide(CUES, [near, far])

    assert kept == [False, False]
    assert left == [far]
    assert "keep 2:09.5" in decisions_text(CUES, kept, left)


def test_a_wrong_decision_is_named_with_its_line(tmp_path):
    """A line that is no decision says where it is and what was expected; all are shown at once."""
    path = tmp_path / "decisions.txt"
    path.write_text("# fine\nkept 1:05 | x\nkeep soon | y\n", encoding="utf-8")

    with pytest.raises(PlanError) as caught:
        read_decisions(path)

    assert [problem.mark.line for problem in caught.value.problems] == [2, 3]
    assert "expected a line that begins with keep or drop and a time" in str(caught.value)


@pytest.mark.parametrize(
    ("content", "line"), [("keep 0:01\n".encode("utf-16"), 1), (b"# a\n# b\nkeep 0:01 | caf\xe9\n", 3)]
)
def test_decisions_that_an_editor_saved_otherwise_are_told(tmp_path, content, line):
    """In words for whoever saved them, not in those of the decoder."""
    path = tmp_path / "decisions.txt"
    path.write_bytes(content)

    with pytest.raises(PlanError) as caught:
        read_decisions(path)

    (problem,) = caught.value.problems
    assert (problem.mark.line, problem.message) == (line, "is not UTF-8 text")
    assert problem.hint == "save it as UTF-8 text"


def cut(onset_ms: int, end_ms: int, interval: int, text: str = "Words.") -> CutCue:
    return CutCue(onset_ms, end_ms, text, "form", interval, "a.wav")


def intervals(work_true_s: float) -> list[FoundInterval]:
    return [
        FoundInterval("talk", 0.0, 20.0, 20.0, True),
        FoundInterval("work", 20.0, 45.7, work_true_s, True),
        FoundInterval("rest", 45.7, 60.7, 15.0, True),
        FoundInterval("talk", 60.7, 90.0, 29.3, False),
    ]


def test_recorded_timing_keeps_every_offset():
    """With recorded timing, intervals and cues lie as far apart as they did."""
    planned = plan_intervals(
        intervals(30.0), [cut(25_000, 26_000, 1), cut(40_000, 41_000, 1)], BEEP, "recorded"
    )

    assert [row.length_ms for row in planned.intervals] == [8_000, 25_700, 15_000]
    assert [p.at_ms for p in planned.intervals[1].cues] == [5_000, 20_000]
    assert (planned.crowded_out, planned.moved) == ((), ())


def test_exact_timing_puts_silence_where_the_longest_pause_is():
    """A cut interval gets its true length; cues after its longest pause move with its end."""
    planned = plan_intervals(intervals(30.0), [cut(25_000, 26_000, 1), cut(40_000, 41_000, 1)], BEEP, "exact")

    assert planned.intervals[1].length_ms == 30_000
    assert [p.at_ms for p in planned.intervals[1].cues] == [5_000, 24_300]
    assert planned.guesses == (Guess(1, 33_000, 4_300),)


def analysis(**changes: object) -> Analysis:
    """What was found in a class of four intervals."""
    rows = [("work", 20.0, 45.7), ("rest", 45.7, 60.7), ("work", 60.7, 90.7), ("rest", 90.7, 105.7)]
    found = [FoundInterval(kind, start, end, round(end - start), True) for kind, start, end in rows]
    cues = (FoundCue(25.0, 26.0, "Words.", "form", 0),)
    whole = Analysis(120.0, BEEP, 0.9, "by its own pattern", 5, 0, 0, tuple(found), cues, (), ())
    return replace(whole, **changes)  # type: ignore[arg-type]


def made(planned: Planned) -> MadeFiles:
    """What was made of :func:`analysis`, without the plan of exercises."""
    return MadeFiles(planned, None, "fewer than two sets", ((),))


def test_the_report_says_what_is_not_sure_and_what_to_do():
    """A guessed countdown, a plan left aside and odd lengths are named first, each with a way out."""
    assert doubts(analysis()) == []

    guess = doubts(analysis(confidence=0.41))
    assert len(guess) == 1
    assert "guess (confidence 0.41 of 1): 3 tones of 1000 Hz" in guess[0]
    assert "Listen at 0:20.0 and 0:45.7." in guess[0]
    assert "--beep-at 12:30" in guess[0]
    assert "--beep-at 12:30" in doubts(analysis(beep=None, intervals=()))[0]
    aside = analysis(plan_left_aside=True)
    assert "does not fit the recording" in doubts(aside)[0]
    assert (
        json.loads(report_json(aside, [True], made(Planned((), (), (), ())), "exact"))["plan_left_aside"]
        is True
    )
    odd = [FoundInterval("work", s, e, e - s, True) for s, e in ((9, 20), (20, 45), (45, 52), (52, 90))]
    assert doubts(analysis(intervals=tuple(odd)))[0].startswith("Of a length that no other has: 4 intervals,")


def test_the_report_speaks_of_one_as_of_several():
    """What is found once is told in the singular, in sentences that fit any number."""
    intervals = analysis().intervals
    lone = replace(intervals[0], end_s=33.0)
    for n, boundaries in ((1, "1 boundary"), (3, "3 boundaries")):
        found = doubts(
            analysis(
                n_placed=n,
                n_faint=1,
                n_boundaries=n,
                n_from_plan=n,
                lost_captions=("Words.",) * n,
                lengths_s=(30.0, 15.0),
                intervals=(lone, *intervals[1:]),
            )
        )
        told = " ".join(found)
        for words in (f"in turn: {boundaries};", f"of {boundaries};", f"plan has it: {boundaries}."):
            assert words in told
        assert f"Not found in the sound: {n} caption{'s' * (n > 1)}." in found
        assert "Of another length than 30.0 s and 15.0 s in turn: 1 interval (at 0:20.0)." in told


def test_the_report_says_where_a_cut_was_guessed():
    """With exact timing, the silence that was put in is named with its place and called a guess."""
    planned = Planned((), (), (), (Guess(0, 33_000, 4_300),))

    text = report_markdown("Legs", analysis(), [True], made(planned), "exact")

    assert "- 0:20.0 work: 4.3 s of silence put in at 0:33.0 of the recording" in text
    assert "Where it was really cut is not known" in text
    assert "found by its own pattern (confidence 0.90 of 1)." in text


def test_a_cue_over_the_pips_moves_or_is_named():
    """A cue that would sound over a pip is moved by up to 1.5 s; one that cannot be is reported."""
    late, long = cut(41_500, 43_200, 1, "Late."), cut(45_800, 58_900, 2, "Long.")

    planned = plan_intervals(intervals(25.7), [late, long], BEEP, "recorded")

    placed = planned.intervals[1].cues[0]
    assert placed.at_ms + 1_700 < 25_700 - 3_000
    assert planned.moved[0][0] is late
    assert planned.crowded_out == (long,)


def test_a_cue_at_an_end_too_short_for_an_interval_is_named():
    """Talk of less than the least length of an interval is left away, and so is what is heard in it."""
    last = FoundInterval("talk", 60.0, 60.15, 0.15, False)
    sound = cut(60_010, 60_140, 3)

    planned = plan_intervals([*intervals(25.7)[:3], last], [sound], BEEP, "recorded")

    assert len(planned.intervals) == 3
    assert planned.crowded_out == (sound,)


@pytest.fixture(scope="module")
def class_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("class")
    made = gen.generate(11, work_s=12.0, rest_s=8.0, n_sets=3, screen=True)
    gen.write_video(folder / "legs.mp4", made.samples, folder / "legs.wav")
    (folder / "legs.vtt").write_text(cap.as_vtt(cap.captions(made, 2, late_s=1.0)), encoding="utf-8")
    return folder, made


def test_a_video_becomes_a_track_that_passes_check(class_folder, monkeypatch):
    """From mp4 and captions to plan, clips, render and check, and again after a decision was changed."""
    from cuelane.audio.store import ClipStore
    from cuelane.base.schedule import load_schedule
    from cuelane.check.run import check
    from cuelane.render.run import RenderOptions, render

    folder, made = class_folder
    monkeypatch.setenv("CUELANE_CACHE", str(folder / "cache"))
    out = folder / "audio only"
    first = adapt_recording(folder / "legs.mp4", out, AdaptOptions(folder / "legs.vtt", timing="exact"))

    kinds = [(i.kind, i.true_s) for i in first.analysis.intervals if i.kind != "talk"]
    assert kinds == [(i.kind, round(i.end_s - i.start_s, 6)) for i in made.intervals]
    assert load_plan(out / "plan.yaml").plan.title == "legs"
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    reasons = {reason for cue in report["cues"] for reason in cue["reasons"]}
    assert "talks to viewers about the channel" in reasons

    decisions = (out / "decisions.txt").read_text(encoding="utf-8")
    assert "hit the subscribe button" in decisions
    line = next(row for row in decisions.splitlines() if "subscribe" in row)
    changed = decisions.replace(line, line.replace("drop", "keep", 1))
    (out / "decisions.txt").write_text(changed, encoding="utf-8")
    second = adapt_recording(folder / "legs.mp4", out, AdaptOptions(folder / "legs.vtt", timing="exact"))
    assert second.reused
    assert sum(second.kept) == sum(first.kept) + 1
    assert (out / "decisions.txt").read_text(encoding="utf-8") == changed

    track = folder / "track.wav"
    render(out / "plan.yaml", track, RenderOptions(extras=False))
    verdict = check(track, load_schedule(track.with_suffix(".schedule.json")), store=ClipStore())
    assert verdict.ok


def test_what_cannot_be_adapted_is_refused(class_folder, tmp_path):
    """A missing recording, captions that are none, and a folder with somebody's plan give messages."""
    folder, _ = class_folder
    with pytest.raises(UsageError, match="no such file; give the video or audio file"):
        adapt_recording(tmp_path / "none.mp4", tmp_path / "out")
    with pytest.raises(UsageError, match="is a folder; give the video or audio file"):
        adapt_recording(tmp_path, tmp_path / "out")
    (tmp_path / "plan.yaml").write_text("title: mine\n", encoding="utf-8")
    with pytest.raises(UsageError, match="there is a file already, and it was not written by cuelane"):
        adapt_recording(folder / "legs.mp4", tmp_path)
    (tmp_path / "bad.mp4").write_bytes(b"not a film at all" * 50)
    with pytest.raises(AudioFileError):
        adapt_recording(tmp_path / "bad.mp4", tmp_path / "out")
    assert not (tmp_path / "out" / "plan.yaml").exists()
