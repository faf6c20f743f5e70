"""Beeps, boundaries and intervals of generated classes."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

import classgen as gen
from classgen_music import music, with_music
from cuelane.adapt.beeps.accompaniment import company
from cuelane.adapt.beeps.boundaries import Boundary, boundaries_by_plan, measured
from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.beeps.plan_fit import fit, follow
from cuelane.adapt.beeps.search import Structure, find_structure
from cuelane.adapt.beeps.timing_grid import Lengths
from cuelane.adapt.beeps.tone_filter import tone_scores
from cuelane.adapt.beeps.tone_tracks import ToneTrack, tone_tracks
from cuelane.adapt.words.intervals import find_intervals
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.role_judge import role_judge
from cuelane.adapt.words.word_lists import word_lists
from cuelane.base.errors import UsageError
from cuelane.recording.decode import Recording, open_recording


def recording(samples: gen.Array) -> Recording:
    whole = lambda x: np.clip(np.rint(x * 32_768), -32_768, 32_767).astype(np.int16)  # noqa: E731
    return Recording(Path("generated"), whole(samples), whole(soxr.resample(samples, 48_000, 16_000)))


@cache
def short_class(kind: gen.BeepKind, seed: int = 1) -> gen.GeneratedClass:
    """A class that no test may change."""
    made = gen.generate(seed, kind=kind, work_s=12.0, rest_s=8.0, n_sets=3)
    for sound in (made.samples, made.speech_only):
        sound.flags.writeable = False
    return made


@cache
def found_alone(kind: gen.BeepKind) -> Structure:
    """What is found in a class without a plan and without a hint."""
    return find_structure(recording(short_class(kind).samples))


def assert_found(found_s: list[float], truth_s: list[float], tolerance_s: float) -> None:
    assert len(found_s) == len(truth_s)
    assert np.abs(np.array(found_s) - truth_s).max() <= tolerance_s


@pytest.mark.parametrize("kind", [gen.KINDS[0], gen.KINDS[4], gen.SINGLE], ids=lambda kind: kind.name)
def test_boundaries_are_found_without_a_plan(kind):
    """Every boundary is found within 15 ms, and nothing else, from the beeps' own pattern."""
    made = short_class(kind)

    found = found_alone(kind)

    assert_found([b.at_s for b in found.boundaries], made.boundaries_s, 0.015)
    assert found.beep is not None
    assert found.beep.count == kind.count
    if kind.count:
        assert found.beep.spacing_s == pytest.approx(kind.spacing_s, abs=0.01)
    assert found.confidence > 0.6


def test_boundaries_are_found_under_music_as_loud_as_speech():
    """Music at the loudness of the speech hides no countdown and adds none."""
    made = short_class(gen.KINDS[3])

    found = find_structure(recording(with_music(made, 0.0, seed=5)))

    assert_found([b.at_s for b in found.boundaries], made.boundaries_s, 0.015)


def test_speech_without_beeps_has_no_countdown():
    """A class with no beeps is not given any."""
    made = short_class(gen.KINDS[0])

    found = find_structure(recording(made.speech_only + np.float32(1e-4)))

    assert found.beep is None
    assert found.boundaries == ()


def test_steady_notes_of_music_are_not_taken_for_beeps():
    """Figures of steady notes that come again and again are found to be none, or said to be unsure."""
    for seed in (7, 104):
        found = find_structure(recording(0.1 * music(48_000 * 90, seed, "hook")))

        assert found.confidence < 0.6


def test_the_tones_around_music_return_and_those_around_beeps_do_not():
    """Of the tones around a pattern, those that return each time count in full, those elsewhere do not."""
    rng = np.random.default_rng(8)
    times = [float(t) for t in np.cumsum(rng.uniform(9, 20, 12))]
    figure = [
        ToneTrack(t + at, 0.2, hz) for t in times for at, hz in ((-1.5, 700.0), (-0.3, 930.0), (1, 1100.0))
    ]
    stray = [
        ToneTrack(t + float(rng.uniform(-4, 4)), 0.2, hz) for t in times for hz in (700.0, 930.0, 1100.0)
    ]
    by_onset = lambda tracks: sorted(tracks, key=lambda track: track.onset_s)  # noqa: E731

    assert company(by_onset(figure), times, [2000.0], [0.0, -1.0]) == pytest.approx(1.0)
    assert company(by_onset(stray), times, [2000.0], [0.0, -1.0]) < 0.1


def test_music_whose_bars_match_the_intervals_is_not_held_against_a_beep():
    """Bars that begin at every boundary, but at other times too, are no evidence against a beep."""
    bars = [ToneTrack(8.0 * k + at, 0.2, hz) for k in range(30) for at, hz in ((0.5, 700.0), (1.1, 930.0))]

    assert company(bars, [8.0 * k for k in range(1, 30)], [2000.0], [0.0]) > 0.9
    assert company(bars, [8.0 * k for k in range(1, 30, 5)], [2000.0], [0.0]) < 0.1


def test_the_spacing_is_measured_to_a_millisecond():
    """Tones proposed 8 ms too close together get the spacing they have, so that no boundary is early."""
    made = short_class(gen.KINDS[0])

    found = measured(recording(made.samples), Beep(1000.0, 0.5, 3, 1000.0, 0.1, 0.992))

    assert found.spacing_s == pytest.approx(1.0, abs=0.0011)


def test_a_room_does_not_make_boundaries_late():
    """In a reverberant room a tone matches best some 30 ms late; its boundary is where it rises."""
    made = short_class(gen.KINDS[0])

    found = find_structure(recording(gen.in_a_room(made.samples)), beep_at_s=made.boundaries_s[1])

    assert_found([b.at_s for b in found.boundaries], made.boundaries_s, 0.015)


def test_one_pointed_out_countdown_is_enough():
    """With --beep-at near one countdown, all of them are found."""
    made = short_class(gen.KINDS[1])

    found = find_structure(recording(made.samples), beep_at_s=made.boundaries_s[2] + 0.8)

    assert_found([b.at_s for b in found.boundaries], made.boundaries_s, 0.015)


def test_a_countdown_is_pointed_out_under_loud_music():
    """With --beep-at, a figure of music near the countdown that comes more often is not taken for it."""
    made = short_class(gen.KINDS[4])

    found = find_structure(recording(with_music(made, 3.0, 7, "hook")), beep_at_s=made.boundaries_s[1] - 1.0)

    assert_found([b.at_s for b in found.boundaries], made.boundaries_s, 0.015)


def test_pointing_at_no_countdown_is_refused():
    """--beep-at where nothing beeps says what to do."""
    rng = np.random.default_rng(4)
    noise = (rng.standard_normal(48_000 * 20) * 0.01).astype(np.float32)

    with pytest.raises(UsageError, match="no countdown was found within 5 s of --beep-at"):
        find_structure(recording(noise), beep_at_s=10.0)


def test_a_plan_places_the_countdown_that_cannot_be_heard():
    """A silenced countdown is put where the plan has it, and said to be; the others are measured."""
    made = short_class(gen.KINDS[0])
    truth = made.boundaries_s
    sound = made.samples.copy()
    a, b = round((truth[2] - 3.2) * 48_000), round((truth[2] + 0.7) * 48_000)
    sound[a:b] = 0.0
    kind = made.kind
    beep = Beep(
        kind.long_frequency_hz, kind.long_s, kind.count, kind.frequency_hz, kind.short_s, kind.spacing_s
    )

    found, fits = boundaries_by_plan(recording(sound), beep, [t - truth[0] + 3.0 for t in truth])

    assert fits > 0.35
    assert [not b.is_heard for b in found] == [k == 2 for k in range(len(truth))]
    assert_found([b.at_s for b in found], truth, 0.015)


def test_a_cut_and_a_pause_move_what_follows_a_plan():
    """Held against its plan, a recording that was cut once and paused once is followed through both."""
    plan = [float(t) for t in np.cumsum([5.0, *[30, 15] * 6])]
    true = np.array([t + 20 - 7.3 * (t > 100) + 12.1 * (t > 200) for t in plan])
    stray = np.random.default_rng(6).uniform(0, 320, 40)
    places = np.sort(np.concatenate([true, stray]))
    gains = np.where(np.isin(places, true), 0.5, 0.3)

    path = follow(places, gains, plan)

    assert [None if k is None else float(places[k]) for k in path.places] == pytest.approx(list(true))
    assert path.n_moves == 2
    assert fit(path, places, gains, plan) > 0.6


def test_another_session_does_not_fit():
    """A plan of other lengths than the recording's explains little of it."""
    places = np.cumsum([20.0, *[40.0, 20.0] * 6])
    plan = [float(t) for t in np.cumsum([5.0, *[35, 13] * 6])]
    gains = np.full(len(places), 0.9)

    assert fit(follow(places, gains, plan), places, gains, plan) < 0.35


def test_a_plan_of_another_class_is_left_aside():
    """The class's own plan is followed; another's is named as left aside, and changes nothing else."""
    made = short_class(gen.KINDS[0])
    sound = recording(made.samples)
    alone = found_alone(gen.KINDS[0])

    own = find_structure(sound, expected_s=[t - made.boundaries_s[0] + 3.0 for t in made.boundaries_s])
    other = find_structure(sound, expected_s=[float(t) for t in np.cumsum([3.0, *[17.0, 31.0] * 6])])

    assert (alone.plan_left_aside, own.plan_left_aside, other.plan_left_aside) == (False, False, True)
    nothing = find_structure(recording(made.speech_only + np.float32(1e-4)), expected_s=[3.0, 20.0, 50.0])
    assert (nothing.beep, nothing.plan_left_aside) == (None, True)
    assert other.boundaries == alone.boundaries
    assert_found([b.at_s for b in own.boundaries], made.boundaries_s, 0.015)


def test_a_part_of_a_recording_is_the_same_sound(tmp_path):
    """A part of a decoded file, and a part of that, hold the samples of the whole from where they begin."""
    rng = np.random.default_rng(1)
    soundfile.write(tmp_path / "a.wav", rng.uniform(-0.5, 0.5, 48_000 * 4), 48_000, subtype="PCM_16")

    whole = open_recording(tmp_path / "a.wav", tmp_path)
    inner = whole.part(1.0, 3.5).part(0.25, 9.0)

    assert (inner.start_s, inner.seconds, inner.n_listen) == (1.25, 2.25, 36_000)
    assert np.array_equal(inner.low(0.1, 0.6), whole.low(1.35, 1.85))
    assert np.array_equal(inner.full(2.0, 99.0), whole.full(3.25, 3.5))
    assert len(inner.low(-1.0, 0.0)) == 0


def test_a_tone_scores_one_at_its_onset_and_not_where_it_is_longer():
    """A lone tone of the right length scores 1 at its first sample; a longer tone scores less."""
    sound = np.zeros(48_000 * 4, np.float32)
    exact = gen.tone(gen.BeepKind("", 1000.0, 0.2, 1000.0, 0.6), long=False)
    longer = gen.tone(gen.BeepKind("", 1000.0, 0.2, 1000.0, 0.6), long=True)
    sound[48_000 : 48_000 + len(exact)] = exact
    sound[120_000 : 120_000 + len(longer)] = longer

    scores = tone_scores(recording(sound), 1000.0, 0.2)

    assert abs(int(scores.argmax()) - 1000) <= 2
    assert scores.max() > 0.95
    assert scores[2400:3400].max() < 0.7


def test_a_steady_tone_is_a_track_and_a_chirp_is_not():
    """A tone of 0.3 s is one track of its pitch and length; a glide over an octave is none."""
    time = np.arange(round(0.3 * 48_000)) / 48_000
    sound = np.random.default_rng(2).standard_normal(48_000 * 4).astype(np.float32) * np.float32(1e-4)
    sound[48_000 : 48_000 + len(time)] += 0.2 * np.sin(2 * np.pi * 1500 * time).astype(np.float32)
    glide = 0.2 * np.sin(2 * np.pi * (800 * time + 800 * time**2 / 0.6)).astype(np.float32)
    sound[120_000 : 120_000 + len(time)] += glide

    tracks = [t for t in tone_tracks(recording(sound)) if t.length_s > 0.1]

    assert len(tracks) == 1
    assert tracks[0].frequency_hz == pytest.approx(1500, abs=3)
    assert tracks[0].onset_s == pytest.approx(1.0, abs=0.015)
    assert tracks[0].length_s == pytest.approx(0.3, abs=0.03)


def interval_kinds(lengths: list[float], said: dict[int, str]) -> list[tuple[str, float]]:
    times = np.cumsum([10.0, *lengths])
    words = [PlacedWord(text, times[k] + 1.0, times[k] + 1.5, 0) for k, text in said.items()]
    found = find_intervals([Boundary(float(t), 0.9) for t in times], float(times[-1]), words, word_lists())
    return [(i.kind, i.true_s) for i in found if i.kind != "talk"]


def test_kinds_follow_what_is_said_and_lengths_that_come_again():
    """One spoken 'rest' labels every interval of its length; lengths are whole seconds again."""
    found = interval_kinds([30.01, 15.0, 29.99, 15.01, 30.0], {1: "And rest, shake it out."})

    assert found == [("work", 30.0), ("rest", 15.0), ("work", 30.0), ("rest", 15.0), ("work", 30.0)]


def said_in_intervals(lengths: list[float], said: dict[int, str], named: Lengths | None = None):
    """Return (kind, is a guess) of intervals in each of which a sentence may be said, by what it is for."""
    times = np.cumsum([10.0, *lengths])
    words = [
        PlacedWord(word, float(times[k]) + 2 + 0.4 * n, float(times[k]) + 2.3 + 0.4 * n, 0)
        for k, text in said.items()
        for n, word in enumerate(text.split())
    ]
    ends = [Boundary(float(t), 0.9) for t in times]
    found = find_intervals(ends, float(times[-1]), words, word_lists(), named, role_judge())
    return [(i.kind, "work or rest is a guess" in i.notes) for i in found if i.kind != "talk"]


def test_a_class_of_one_set_is_one():
    """Two boundaries: there is nothing for the one interval to take turns with, and no warning of it."""
    assert said_in_intervals([40.0], {}) == [("work", True)]


def test_relax_in_a_set_makes_no_second_rest_of_two_lengths_in_turn():
    """40 s and 20 s: rests are called in the short ones, and "relax your shoulders" said in a long one."""
    said = {
        1: "Have a sip of water.",
        2: "Relax your face and relax your shoulders.",
        3: "Take a break.",
        4: "Keep your heels heavy.",
    }
    found = said_in_intervals([40.0, 20.0] * 3 + [40.0], said)

    assert found == [("work", False), ("rest", False)] * 3 + [("work", False)]


def test_what_sentences_are_for_tells_rest_from_work_where_neither_is_called():
    """30 s and 30 s: what comes next is told in the odd ones; it stays a guess, and a hint is above it."""
    said = {
        0: "Next we have the goblet squat.",
        1: "Keep your knees over your toes.",
        2: "Coming up is the side plank.",
        3: "If that's too much drop your knees.",
        4: "After this one it's the reverse lunge.",
        5: "Great work, looking strong.",
    }
    found = said_in_intervals([30.0] * 6, said)
    named = said_in_intervals([30.0] * 6, said, Lengths(30.0, 0.0))

    assert found == [("rest", True), ("work", True)] * 3
    assert named == [("work", False)] * 6


def test_rests_in_turn_that_are_never_called_are_rests():
    """40 s and 20 s: the breaks only get one ready for what comes, in words that are not of rest."""
    said = {
        0: "Keep your elbows close to your ribs.",
        1: "Push ups are next down on the floor.",
        2: "Lower your chest slowly and keep your neck long.",
        3: "Halfway through the class.",
        4: "Keep your knees over your toes.",
        5: "Up you get.",
        6: "If that's too much drop your knees.",
        7: "Park the bell on the floor.",
    }
    found = said_in_intervals([40.0, 20.0] * 4 + [40.0], said)
    every_one = said_in_intervals([40.0, 20.0] * 4, {k: said[k % 2 * 4] for k in range(8)})

    assert [kind for kind, _ in found] == ["work", "rest"] * 4 + ["work"]
    assert [kind for kind, _ in every_one] == ["work"] * 8
    assert word_lists().kind_votes("push ups") == 0
    assert word_lists().kind_votes("push harder") < 0


def test_equal_work_and_rest_alternate():
    """Where work and rest last the same, what is said decides which is which."""
    found = interval_kinds([20.0] * 5, {0: "Rest now.", 2: "Recover.", 3: "Ten seconds left."})

    assert [kind for kind, _ in found] == ["rest", "work", "rest", "work", "rest"]


def test_set_follows_set_where_no_rest_is_called_in_turn():
    """Eight intervals of 60 s with 'relax' or 'let go' said here and there are eight sets, and no rest."""
    said = {
        0: "Cat and cow.",
        1: "And relax your jaw.",
        4: "Rest your head.",
        5: "Let it go.",
        6: "Keep going.",
    }
    found = interval_kinds([60.0] * 8, said)

    assert found == [("work", 60.0)] * 8


def kinds_and_guesses(said: str, lengths: Lengths | None) -> list[tuple[str, bool]]:
    """Return (kind, is a guess) of 16 intervals of 30 s, with `said` at the start of every second one."""
    times = 10.0 + 30.0 * np.arange(17)
    words = [
        PlacedWord(word, float(at_s) + k, float(at_s) + k + 0.4, 0)
        for at_s in times[:-1:2]
        for k, word in enumerate(said.split())
    ]
    found = find_intervals(
        [Boundary(float(t), 0.9) for t in times], float(times[-1]), words, word_lists(), lengths
    )
    return [(i.kind, "work or rest is a guess" in i.notes) for i in found if i.kind != "talk"]


def test_rests_that_nobody_calls_are_rests_where_work_is_called_in_turn():
    """30 s and 30 s: the work is called each time and the rest never; lengths that are named settle it."""
    heard = kinds_and_guesses("go go squats", None)
    settled = kinds_and_guesses("go go squats", Lengths(30.0, 30.0))
    together = kinds_and_guesses("go go squats", Lengths(20.0, 10.0))

    assert heard == [("work", True), ("rest", True)] * 8
    assert settled == [("work", False), ("rest", False)] * 8
    assert all(is_guess for _, is_guess in together)


def test_one_length_without_calls_in_turn_is_a_guess_until_lengths_are_named():
    """Sets only, where rests may just not have been called; a rest of 0 s settles it, whatever is said."""
    times = np.arange(10.0, 500.0, 30.0)
    words = [PlacedWord("relax", float(times[k]) + 1, float(times[k]) + 1.4, 0) for k in (2, 5)]
    ends = [Boundary(float(t), 0.9) for t in times]

    guessed = find_intervals(ends, float(times[-1]), words, word_lists())
    settled = find_intervals(ends, float(times[-1]), words, word_lists(), Lengths(30.0, 0.0))

    assert {i.kind for i in guessed[1:]} == {i.kind for i in settled[1:]} == {"work"}
    assert all("work or rest is a guess" in i.notes for i in guessed[1:])
    assert not any(i.notes for i in settled[1:])
    assert kinds_and_guesses("go go squats", Lengths(30.0, 0.0)) == [("work", False)] * 16


@pytest.mark.parametrize("turned", [False, True])
def test_sets_of_one_length_and_rests_of_many_take_turns(turned):
    """What sounds like a set, in a rest of a length of its own, makes no set: every second one is.

    So it is where the rests are alike and the sets are not.
    """
    lengths = [30.0, 20.0, 30.0, 25.0, 30.0, 35.0, 30.0, 20.0, 30.0, 60.0, 30.0]
    work, rest = "keep your heels down and chest up", "and rest there"
    said = {k: (rest if (k % 2 == 1) is not turned else work) for k in range(11) if k != 3}
    said[5] = "rest there" if turned else "keep your hands flat and as high as your shoulders"
    kinds = ["rest", "work"] if turned else ["work", "rest"]

    assert said_in_intervals(lengths, said) == [(kinds[k % 2], False) for k in range(11)]


def test_a_cut_interval_gets_its_true_length_and_a_note():
    """An interval shorter than all others of its kind is taken for cut, and that is said."""
    times = np.cumsum([10.0, 30.0, 15.0, 25.7, 15.0, 30.0, 15.0, 30.0, 15.0, 30.0])
    words = [PlacedWord("rest", float(times[1]) + 1, float(times[1]) + 1.4, 0)]

    found = find_intervals([Boundary(float(t), 0.9) for t in times], 250.0, words, word_lists())

    cut = found[3]
    assert (cut.kind, cut.true_s) == ("work", 30.0)
    assert cut.notes == ("4.3 s shorter than others of its kind: probably cut",)


def test_a_cut_among_equal_work_and_rest_is_still_found():
    """Where work and rest last the same and one work interval was cut, the alternation shows which it was."""
    times = np.cumsum([10.0, 20.0, 20.0, 20.0, 20.0, 14.9, 20.0, 20.0, 20.0, 20.0])
    words = [PlacedWord("rest", float(times[k]) + 1, float(times[k]) + 1.4, 0) for k in (1, 3, 5, 7)]

    found = find_intervals([Boundary(float(t), 0.9) for t in times], 250.0, words, word_lists())

    assert [i.kind for i in found[1:-1]] == ["work", "rest"] * 4 + ["work"]
    assert [i.true_s for i in found[1:-1]] == [20.0] * 9
