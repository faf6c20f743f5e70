"""Silence that an encoder is not fed: the same frames, byte for byte, as if it had been."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from cuelane.media import piecework, silence
from cuelane.media.counted import CountedBlocks
from cuelane.media.formats import Joining, LossyCoding, format_of
from cuelane.media.frames import split_frames
from cuelane.media.lossy import write_lossy
from cuelane.media.piecework import EncoderSettings, Fed
from cuelane.media.reader import Block
from cuelane.media.silence import GUARD_FRAMES, Gap, with_silence, without_long_silence

RATE = 48_000


def _settings(suffix: str, rate: int = RATE, channels: int = 1) -> EncoderSettings:
    coding = format_of(f"a{suffix}").coding
    assert isinstance(coding, LossyCoding)
    assert coding.joining is not None
    return EncoderSettings(coding, coding.joining, rate, channels, coding.bitrate_kbps * channels)


def _bursts(gaps: list[int], unit: int, channels: int = 1) -> np.ndarray:
    """Return bursts of noise with silences of so many frames, and some samples, between and round them."""
    rng = np.random.default_rng(7)
    parts = []
    for number, n_frames in enumerate(gaps):
        parts += [np.zeros((n_frames * unit + 131 * number, channels)), rng.normal(0, 0.2, (9_000, channels))]
    return np.concatenate(parts[:-1]).astype(np.float32)


@pytest.mark.parametrize(
    ("suffix", "rate", "channels"),
    [(".m4a", 48_000, 1), (".m4a", 22_050, 2), (".mp3", 48_000, 1), (".mp3", 44_100, 2), (".mp3", 32_000, 1)],
)
def test_a_piece_has_the_frames_of_all_its_sound(
    suffix: str, rate: int, channels: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With silence at the start, in the middle and at the end, and with one too short to be left out."""
    settings = _settings(suffix, rate, channels)
    joining = settings.joining
    sound = _bursts([300, 60, 170, 400, 200], joining.frame_samples, channels)
    n_fed: list[int] = []
    right = piecework._stream

    def counted(path: Path, blocks: list[Block], settings: EncoderSettings) -> list[bytes]:
        n_fed.append(sum(map(len, blocks)))
        return right(path, blocks, settings)

    monkeypatch.setattr(piecework, "_stream", counted)
    blocks = tuple(np.array_split(sound, 7))
    made = piecework._encoded(Fed(0, blocks, 0, last=True), settings, tmp_path)

    coding = replace(
        settings.coding, muxer=joining.muxer, options=(*settings.coding.options, *joining.options)
    )
    alone = tmp_path / f"alone.{joining.muxer}"
    write_lossy(alone, CountedBlocks([sound], channels), coding, rate, settings.bitrate_kbps)
    assert made == split_frames(alone.read_bytes(), joining)
    # Once, and not all of it.
    assert len(n_fed) == 1
    assert n_fed[0] < 0.6 * len(sound)


def _faint_and_loud(rng: np.random.Generator) -> np.ndarray:
    """Return sounds of -95 to -6 dBFS, some of which swell, each before a silence of 4 s; shape (n, 1)."""
    parts = []
    for number in range(24):
        noise = rng.standard_normal(RATE)
        sound = lfilter([0.25], [1, -0.97], noise) if number % 2 else noise
        swell = np.linspace(0, 1, RATE) ** rng.uniform(0, 3)
        parts += [sound * swell * 10 ** (rng.uniform(-95, -6) / 20), np.zeros(4 * RATE)]
    return np.concatenate(parts).astype(np.float32)[:, np.newaxis]


def test_faint_sound_after_silence_needs_as_much_of_it_as_an_mp3_is_given(tmp_path: Path) -> None:
    """For LAME's threshold of hearing falls meanwhile, and what is near it is coded by it."""
    settings = _settings(".mp3", RATE)
    sound = _faint_and_loud(np.random.default_rng(11))
    everything = replace(settings.joining, silence_frames=len(sound))
    fewer = replace(settings.joining, silence_frames=40)

    whole, ours, short = (
        piecework._encoded(Fed(number, (sound,), 0, last=True), replace(settings, joining=joining), tmp_path)
        for number, joining in enumerate((everything, settings.joining, fewer))
    )

    assert ours == whole
    assert sum(one != other for one, other in zip(short, whole, strict=True)) > 10


JOINING = Joining(
    muxer="adts",
    options=(),
    frame_samples=4,
    piece_frames=100,
    priming_frames=2,
    silence_frames=12,
    cycle_frames=3,
    cycle_rates=frozenset(),
    sample_rates=frozenset(),
)


def test_what_is_left_out_is_silence_in_whole_cycles_with_enough_of_it_kept() -> None:
    """Against a search through every frame, for silences of every length at every place in a frame."""
    for length in range(120):
        for lead in range(1, 9):
            sound = np.concatenate([np.ones(lead), np.zeros(length), np.ones(5)]).astype(np.float32)[:, None]
            kept, gaps = without_long_silence(tuple(np.array_split(sound, 3)), JOINING)
            whole = [n for n in range(len(sound) // 4) if not sound[4 * n : 4 * n + 4].any()]
            most = max(0, (len(whole) - 12) // 3 * 3)
            assert sum(gap.n_frames for gap in gaps) == most
            back = np.concatenate(kept)
            for gap in gaps:
                assert (gap.at - whole[0], whole[-1] + 1 - gap.at - gap.n_frames >= GUARD_FRAMES) == (4, True)
                back = np.insert(back, 4 * gap.at, np.zeros((4 * gap.n_frames, 1), np.float32), axis=0)
            assert np.array_equal(back, sound)


def test_no_sound_and_no_silence() -> None:
    assert without_long_silence((), JOINING) == ([], [])
    loud = np.ones((1_000, 2), np.float32)
    kept, gaps = without_long_silence((loud,), JOINING)
    assert gaps == []
    assert np.array_equal(np.concatenate(kept), loud)


def test_a_negative_zero_and_the_least_number_are_sound() -> None:
    """An encoder may tell them from silence."""
    for value in (-0.0, 1e-45):
        sound = np.zeros((400, 1), np.float32)
        sound[200] = value
        assert sum(gap.n_frames for gap in without_long_silence((sound,), JOINING)[1]) < 84


def test_frames_come_back_in_their_cycle() -> None:
    """Each gap in its own place, where two cycles before it and half the guard after it repeat."""
    frames = [b"x", *[b"a", b"b", b"c"] * 3, b"a", b"b", b"y"]
    found = with_silence(frames, [Gap(7, 3), Gap(10, 6)], JOINING)
    assert found is None
    frames = [b"x", *[b"a", b"b", b"c"] * 6, b"y", *[b"d", b"e", b"f"] * 4]
    found = with_silence(frames, [Gap(7, 3), Gap(26, 6)], JOINING)
    assert found == [b"x", *[b"a", b"b", b"c"] * 7, b"y", *[b"d", b"e", b"f"] * 6]


@pytest.mark.parametrize("odd", range(1, 11))
def test_an_encoder_whose_silence_does_not_repeat_is_noticed(odd: int) -> None:
    frames = [b"x", *[b"a", b"b", b"c"] * 6]
    frames[odd] = b"z"
    assert with_silence(frames, [Gap(7, 3)], JOINING) is None


def test_such_an_encoder_is_fed_everything(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings = _settings(".m4a")
    sound = _bursts([0, 200, 0], 1_024)
    fed = Fed(0, (sound,), 0, last=True)
    right = piecework._encoded(fed, settings, tmp_path)
    monkeypatch.setattr(piecework, "with_silence", lambda frames, gaps, joining: None)
    assert piecework._encoded(fed, settings, tmp_path) == right
    assert silence.GUARD_FRAMES >= 2 * piecework._TAIL_FRAMES
