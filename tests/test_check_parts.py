"""The checker's parts, each against arithmetic or an outside library."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

import synth
from cuelane.base.schedule import Schedule
from cuelane.check.clock_pieces import find_pieces
from cuelane.check.correlate import TemplateSpectra, best, delayed, pre_emphasise, scores
from cuelane.check.fault_words import Tolerance
from cuelane.check.file_faults import file_faults
from cuelane.check.findings import Findings
from cuelane.check.fit import Ballot, ClockPiece, Fit, Votes, find_line, robust_line
from cuelane.check.intake import ANALYSIS_RATE, CheckedSound, ClippingFinder, Intake, take_in
from cuelane.check.match import match
from cuelane.check.pips import tone_search as tones
from cuelane.check.speech.clip_match import least_score
from cuelane.check.speech.second_opinion import (
    FreeHearing,
    WordCheck,
    compound_phones,
    hear_all,
    rough_phones,
    spoken_words,
)
from cuelane.check.speech.without_model import find_speech
from cuelane.media import MediaInfo


def test_correlation_in_silence_stays_within_one() -> None:
    """Digital silence beside a loud stretch scores nothing: the energy floor holds, and no score passes 1."""
    rng = np.random.default_rng(1)
    sound = np.zeros(60_000, np.float32)
    sound[:8000] = rng.standard_normal(8000)
    template = rng.standard_normal(4000).astype(np.float32)

    normal = scores(sound, template)[1]

    assert np.abs(normal).max() <= 1.0
    assert np.abs(normal[20_000:]).max() < 1e-3


@pytest.mark.parametrize("fraction", [0, 1, 2, 3])
def test_a_top_between_samples_is_read_to_a_hundredth(fraction: int) -> None:
    """A clip a quarter of a sample late is found there within 0.02 samples, its level within 1 %."""
    clip = synth.speak("Shake your arms out.", rate=64_000)
    low = resample_poly(np.pad(clip, (64_000, 32_000)), 1, 4).astype(np.float32)
    late = resample_poly(np.pad(clip, (64_000 + fraction, 32_000)), 1, 4).astype(np.float32)
    template = low[16_000 : 16_000 + len(clip) // 4]

    peak = best(pre_emphasise(late), pre_emphasise(template))

    assert peak.lag == pytest.approx(16_000 + fraction / 4, abs=0.02)
    assert peak.gain == pytest.approx(1.0, abs=0.01)


def test_a_cue_without_a_template_may_end_in_a_t_let_go_after_its_closure() -> None:
    """8 ms of sound 190 ms after the rest of a cue are its end; so little sound alone is no cue."""
    words = synth.speak("Ten seconds of rest lef", rate=ANALYSIS_RATE)
    closure, release = ANALYSIS_RATE * 190 // 1000, ANALYSIS_RATE * 8 // 1000
    burst = np.random.default_rng(5).standard_normal(release).astype(np.float32)
    burst *= 0.1 * float(np.abs(words).max())
    cue = np.concatenate([words, np.zeros(closure, np.float32), burst])
    length_s, alone_s = len(cue) / ANALYSIS_RATE, 5 + len(cue) / ANALYSIS_RATE
    with CheckedSound() as recording:
        recording.append(np.concatenate([np.zeros(ANALYSIS_RATE, np.float32), cue]))
        recording.append(np.zeros(4 * ANALYSIS_RATE, np.float32))
        recording.append(np.concatenate([burst, np.zeros(2 * ANALYSIS_RATE, np.float32)]))

        said, alone = find_speech(recording, [(1.0, 1.0 + length_s), (alone_s, alone_s + 0.01)], [], -120.0)

    assert said is not None
    assert alone is None
    # The RMS over 5 ms, read each millisecond, sees an edge at most half its window and a step early.
    assert said.onset_s == pytest.approx(1.0, abs=0.0035)
    assert said.end_s == pytest.approx(1.0 + length_s, abs=0.0035)


@pytest.mark.parametrize("fraction", [-0.5, 0.0, 0.3])
def test_what_is_left_of_a_correlation_is_that_of_what_is_left(fraction: float) -> None:
    """Taking a cue out of the correlation gives what correlating without it gives, a second copy included."""
    rng = np.random.default_rng(4)
    template = pre_emphasise(synth.speak("Shake your arms out.", rate=ANALYSIS_RATE))
    without = 0.01 * rng.standard_normal(len(template) + 12_800).astype(np.float32)
    without[9_000 : 9_000 + len(template)] += 0.5 * template
    sound = without.copy()
    sound[2_999 : 2_999 + len(template) + 2] += 0.8 * delayed(template, fraction)

    left = TemplateSpectra.of(sound, template).correlation_without(3_000 + fraction, 0.8)

    expected = TemplateSpectra.of(without, template).correlation()
    own = 0.8 * float(np.square(template).sum())
    assert np.abs(left - expected).max() < 0.01 * own
    assert np.argmax(left) == 9_000


def test_matching_pairs_as_many_as_mir_eval_does() -> None:
    """On random onsets the number of pairs equals mir_eval.util.match_events, the reference for pairing."""
    import mir_eval

    rng = np.random.default_rng(2)
    for _ in range(50):
        expected = np.sort(rng.uniform(0, 10, rng.integers(1, 40)))
        found = np.sort(rng.uniform(0, 10, rng.integers(1, 40)))
        reference = mir_eval.util.match_events(expected, found, 0.05)

        pairs = match(list(expected), list(found), 0.05)

        assert len(pairs) == len(reference)
        assert len({i for i, _ in pairs}) == len({j for _, j in pairs}) == len(pairs)


def test_a_clipped_crest_counts_once_and_the_first_is_named(tmp_path: Path) -> None:
    """In both channels at once it is one; the right may clip before the left; two samples are no crest."""
    sound = np.zeros((5 * 48_000, 2), np.float32)
    for second, channels, n in ((1, [1], 3), (2, [0, 1], 2), (3, [0], 4), (4, [0, 1], 5)):
        at = second * 48_000
        for channel in channels:
            sound[at : at + n, channel] = 1.0
    soundfile.write(tmp_path / "a.wav", sound, 48_000, subtype="FLOAT")

    intake = take_in(tmp_path / "a.wav", [])

    assert (intake.n_clipped, intake.clipped) == (3, [1.0, 3.0, 4.0])
    intake.recording.close()


@pytest.mark.parametrize(
    "cut", [[], [100], [101], [102], [103], [104], [105], [99, 106], [101, 102], range(90, 120)]
)
def test_a_clipped_crest_over_the_end_of_a_block_is_one(cut: Iterable[int]) -> None:
    """However the sound is cut into blocks: one goes on in the other channel, two samples are none."""
    sound = np.zeros((300, 2), np.float32)
    sound[100:105, 0] = sound[105:110, 1] = sound[150:152, 0] = 1.0
    sound[297:300] = -1.0
    edges = [0, *cut, 151, 299, 300]
    intake = Intake(MediaInfo(2, 100, None, "", "", (), {}, False, True), CheckedSound())
    finder = ClippingFinder(100, 2, intake)
    for first, last in pairwise(edges):
        finder.push(sound[first:last])

    assert (intake.n_clipped, intake.clipped) == (2, [1.0, 2.97])
    intake.recording.close()


def test_matching_is_maximum_not_greedy() -> None:
    """The nearest sound is left to the event that has no other: two pairs, where greed would make one."""
    assert match([1.00, 1.04], [0.97, 1.01], 0.05) == [(0, 0), (1, 1)]


def test_a_long_tone_is_no_short_pip() -> None:
    """A half second tone scores low as a tenth of a second pip: the guards are as long as the pip."""
    kind = tones.PipKind(880.0, 0.1)
    sound = np.zeros(3 * 48_000, np.float32)
    sound[48_000 : 48_000 + 24_000] = synth.pip(880.0, 24_000)
    low = resample_poly(sound, 1, 3).astype(np.float32)

    found = tones.measure(low, 0.0, kind, 0.5, 1.9, 48_000)

    assert found is not None
    assert found.score < 0.8
    right = tones.measure(low, 0.0, tones.PipKind(880.0, 0.5), 0.7, 1.3, 48_000)
    assert right is not None
    assert right.score > 0.98
    assert right.time_s == pytest.approx(1.0, abs=2e-5)


@pytest.mark.parametrize("edge_ms", [5.0, 8.0, 10.0])
@pytest.mark.parametrize("harmonic", [0.0, 0.3])
def test_a_pip_is_measured_whatever_its_edges(edge_ms: float, harmonic: float) -> None:
    """Edges of 5 to 10 ms and a second harmonic move a pip's onset by less than a sample of 48 kHz."""
    sound = np.zeros(48_000, np.float32)
    sound[19_237 : 19_237 + 4_800] = synth.pip(1046.5, 4_800, edge_ms, harmonic)
    low = resample_poly(sound, 1, 3).astype(np.float32)

    found = tones.measure(low, 0.0, tones.PipKind(1046.5, 0.1), 0.2, 0.6, 48_000)

    assert found is not None
    assert found.time_s * 48_000 == pytest.approx(19_237, abs=0.9)


def test_the_carrier_settles_what_the_envelope_leaves_open() -> None:
    """Tones of one wave whose envelopes scatter by 0.2 ms agree to a hundredth of that by their phase."""
    rng = np.random.default_rng(3)
    kind = tones.PipKind(880.0, 0.1)
    shift = rng.normal(0, 1e-4, 20)
    heard = [tones.Tone(k + s, 0.95, kind, 0.1, 0.4 + 2 * np.pi * 880 * s) for k, s in enumerate(shift)]

    moved = tones.by_carrier(heard)
    away = np.array([tone.time_s - k for k, tone in enumerate(moved)])

    assert np.ptp(away) < 1e-6


def test_a_vote_finds_the_session_without_any_single_sound() -> None:
    """Twelve alike sounds at uneven times, a third of them lost and as many false: offset and rate stand."""
    rng = np.random.default_rng(4)
    session = np.cumsum(rng.uniform(3, 20, 12))
    heard = 7.25 + 1.0002 * session[rng.permutation(12)[:8]]
    heard = np.concatenate([heard, rng.uniform(0, 150, 4)])
    alike = [(i, "pip", float(t)) for i, t in enumerate(session)]
    votes = Ballot(alike, [("pip", float(f), 1.0) for f in heard]).few()

    line = find_line(votes, float(session[-1]))

    assert line is not None
    assert line[1] + line[0] * session[6] == pytest.approx(7.25 + 1.0002 * session[6], abs=0.06)


def test_pieces_never_run_back_in_time() -> None:
    """A cut makes two pieces; a repetition that fits only by running back makes none."""
    times = np.arange(0.0, 120.0, 5.0)
    one_each, sure = np.arange(len(times)), np.ones(len(times))
    cut = Votes(one_each, times, times - np.where(times >= 60, 2.0, 0.0), sure)
    lost = Votes(one_each, times, times - 20 + np.where(times < 20, 60, 0), sure)

    assert [(p.start_s, p.offset_s) for p in find_pieces(cut, 1.0, 0.0)] == [(0.0, 0.0), (60.0, -2.0)]
    assert [p.offset_s for p in find_pieces(lost, 1.0, -20.0)] == [-20.0]


def test_parallel_lines_share_one_rate() -> None:
    """Two pieces and some outliers: the common rate is found to 1 ppm, each offset to a microsecond."""
    rng = np.random.default_rng(5)
    x = np.sort(rng.uniform(0, 600, 80))
    group = (x > 250).astype(np.int64)
    y = 1.00015 * x + np.where(group == 1, 3.5, 1.25) + rng.normal(0, 1e-6, 80)
    y[::9] += rng.uniform(0.02, 0.3, len(y[::9]))

    rate, offsets = robust_line(x, y, np.ones(80), group)

    assert (rate - 1) * 1e6 == pytest.approx(150, abs=1)
    assert offsets == pytest.approx([1.25, 3.5], abs=2e-5)


def test_least_scores_grow_for_short_cues() -> None:
    """A fifth of a second needs a higher score than two seconds: chance correlates by 1/sqrt(2BT)."""
    assert least_score(2.0) == 0.15
    assert least_score(0.2) == pytest.approx(7.0 / np.sqrt(2 * 3000 * 0.2))


def test_words_are_written_as_a_recogniser_needs_them() -> None:
    """Case and punctuation go, apostrophes stay, and every word gets some pronunciation."""
    assert spoken_words("Don’t rush: 3 slow reps!") == ["don't", "rush", "slow", "reps"]
    assert rough_phones("glutes") == "G L AH T EH S"
    assert rough_phones("rack") == "R AE K"


def test_a_compound_is_said_as_its_two_words() -> None:
    """As a dictionary has them, where no rule of letters would say so; the more even parting is taken."""
    known = {"quay": "K IY", "side": "S AY D", "kettle": "K EH T AH L", "bell": "B EH L", "ket": "K EH T"}
    known |= {"tlebell": "T L EH B EH L"}
    assert compound_phones("quayside", known.get) == "K IY S AY D"
    assert compound_phones("kettlebell", known.get) == "K EH T AH L B EH L"
    assert compound_phones("bells", known.get) == rough_phones("bells")
    assert compound_phones("rack", known.get) == rough_phones("rack")


def test_nothing_is_heard_in_silence_or_noise() -> None:
    """Digital silence and noise are no cue to the recogniser: the whole grammar is optional."""

    class Still:
        def __init__(self, sound: np.ndarray) -> None:
            self.sound = sound

        def read(self, start: int, n: int) -> np.ndarray:
            return self.sound[:n]

    noise = np.random.default_rng(6).standard_normal(3 * ANALYSIS_RATE).astype(np.float32) * 0.1
    listener = WordCheck(["Rest.", "Round two.", "Push the floor away."])

    assert listener.heard(Still(np.zeros_like(noise)), 0.3, 1.0) is None  # type: ignore[arg-type]
    assert listener.heard(Still(noise), 0.3, 1.0) is None  # type: ignore[arg-type]


@pytest.mark.parametrize(("skew_ppm", "named"), [(3, False), (8, True), (-8, True), (50, True)])
def test_a_clock_is_named_where_an_hour_shows_it(skew_ppm: float, named: bool) -> None:
    """8 ppm are 29 ms in an hour, and 50 ppm, what IEC 60958-3 allows a good clock (from memory), are 180 ms.

    3 ppm are 11 ms in an hour: by the program's own bound no fault (chosen).
    """
    session = Schedule("Hour", "en", 48_000, 48_000 * 3_600, (), (), ())
    fit = Fit(1 + skew_ppm * 1e-6, (ClockPiece(0.0, 0.0),), 1.0)
    info = MediaInfo(1, 48_000, None, "pcm_s16le", "wav", (), {}, False, True)
    with CheckedSound() as sound:
        intake = Intake(info, sound, length_s=3_601.0)
        faults = file_faults(session, intake, fit, Findings([]), Tolerance(10.0, 40.0, 40.0), relative=False)

    assert [fault.kind for fault in faults] == ["speed"] * named
    assert not named or f"{abs(skew_ppm)} ppm" in faults[0].message


class Recording:
    """Noise of three seconds, as far as it is read."""

    def read(self, first: int, n_samples: int) -> np.ndarray:
        return np.random.default_rng(3).normal(0, 0.1, n_samples).astype(np.float32)


@pytest.mark.parametrize(
    ("written", "cue"),
    [
        ("keep your heels heavy", "Keep your heels heavy."),
        ("Zehn Sekunden!", "Zehn Sekunden."),
        ("10 seconds of something else", None),
        ("", None),
    ],
)
def test_a_free_recogniser_names_the_cue_that_its_words_are_most_like(written: str, cue: str | None) -> None:
    """Of any language; none where its words are like no cue."""
    asked = FreeHearing("another", lambda: lambda samples: written)
    rows = [("Keep your heels heavy.", 0.5, 1.0), ("Zehn Sekunden.", 2.0, 1.0)]

    assert hear_all(Recording(), rows, by=asked) == [cue, cue]  # type: ignore[arg-type]


def test_words_between_two_cues_are_neither() -> None:
    """As much like another cue as like the planned one is no finding; a side that is exchanged is one."""
    rows = [("Thigh stretch, left side.", 0.5, 1.0), ("Calf stretch, left side.", 2.0, 1.0)]
    rows += [("Thigh stretch, right side.", 4.0, 1.0)]
    for written, expected in (
        ("By stretch, left side.", [None, "Calf stretch, left side.", "Calf stretch, left side."]),
        ("thigh stretch left side", ["Thigh stretch, left side."] * 3),
    ):
        asked = FreeHearing("another", lambda written=written: lambda samples: written)  # type: ignore[misc]
        assert hear_all(Recording(), rows, by=asked) == expected  # type: ignore[arg-type]
    long = "Lift your {} knee as high as the hip, keep the standing knee soft, and let both shoulders hang."
    rows = [(long.format(side), at, 1.0) for side, at in (("left", 0.5), ("right", 2.0))]
    asked = FreeHearing("another", lambda: lambda samples: long.format("left"))
    assert hear_all(Recording(), rows, by=asked) == [rows[0][0]] * 2  # type: ignore[arg-type]


def test_cues_that_differ_in_punctuation_only_are_one_to_a_recogniser() -> None:
    """Of two cues with the same letters each is confirmed as itself, and not as the other."""
    asked = FreeHearing("another", lambda: lambda samples: "and go")
    rows = [("And go!", 0.5, 1.0), ("And go.", 2.0, 1.0)]

    assert hear_all(Recording(), rows, by=asked) == ["And go!", "And go."]  # type: ignore[arg-type]
