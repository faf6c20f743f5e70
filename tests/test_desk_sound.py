"""The sound of a plan that is not rendered: the same as the track, from any place, by HTTP ranges."""

from __future__ import annotations

import io
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from cuelane.audio.clip import Clip, content_hash, quantise24
from cuelane.audio.store import ClipStore
from cuelane.base.errors import SignalError
from cuelane.base.schedule import Event, Schedule, ScheduledInterval
from cuelane.desk.lines import Speaking
from cuelane.desk.sound import HEADER_BYTES, MOST_BYTES, PREVIEW_GAIN_DB, asked_range, bytes_of, total_bytes
from cuelane.desk.workspace import Workspaces
from cuelane.render import mix
from cuelane.speech.speak import Spoken, clip_from_file
from cuelane.speech.spoken_before import SpokenBefore

RATE = 48_000


@pytest.fixture
def session() -> tuple[Schedule, Any]:
    """A minute with a cue and a pip that overlap block edges, and the clips."""
    noise = np.random.default_rng(5).uniform(-0.2, 0.2, 70_001).astype(np.float32)
    samples = quantise24(noise)
    clip = Clip("hi", "v", RATE, samples, content_hash(samples), ())
    events = (
        Event("e1", "cue", "say", 0, 1_000, 71_001, text="hi", clip=clip.sha256),
        Event("e2", "pip", "long", 0, 100_000, 124_000, frequency_hz=880.0),
        Event("e3", "cue", "say", 0, 2_000_000, 2_070_001, text="hi", clip=clip.sha256),
    )
    interval = ScheduledInterval(0, "A", "work", None, None, None, 0, 60 * RATE)
    return Schedule("T", "en", RATE, 60 * RATE, (interval,), events, (), {}), lambda _: clip.samples


def whole(session: tuple[Schedule, Any]) -> np.ndarray:
    schedule, load = session
    blocks = mix.blocks(schedule, load, gain_db=PREVIEW_GAIN_DB)
    sound = np.concatenate([np.array(block) for block in blocks])[:, 0]
    return np.clip(np.rint(sound * 32_768.0), -32_768, 32_767).astype(np.int16)


def test_all_ranges_together_are_a_wav_file_of_the_mix(session: tuple[Schedule, Any]) -> None:
    """Read by libsndfile, which shares nothing with what wrote it."""
    schedule, load = session
    total = total_bytes(schedule.n_frames)
    parts, first = [], 0
    while first < total:
        wanted = asked_range(f"bytes={first}-", total)
        assert wanted is not None
        parts.append(bytes_of(schedule, load, wanted))
        assert len(parts[-1]) == wanted.last - wanted.first <= MOST_BYTES
        first = wanted.last
    read, rate = soundfile.read(io.BytesIO(b"".join(parts)), dtype="int16")
    assert rate == RATE
    assert np.array_equal(read, whole(session))


@pytest.mark.parametrize("seed", range(20))
def test_any_range_is_that_part_of_the_file(session: tuple[Schedule, Any], seed: int) -> None:
    """From odd bytes to odd bytes, across the header too."""
    schedule, load = session
    total = total_bytes(schedule.n_frames)
    full = b"".join(
        bytes_of(schedule, load, wanted)
        for start in range(0, total, MOST_BYTES)
        if (wanted := asked_range(f"bytes={start}-", total))
    )
    random = np.random.default_rng(seed)
    first = int(random.choice([0, 1, 43, 44, 45, int(random.integers(0, total))]))
    last = min(total, first + int(random.integers(1, 300_000)))
    wanted = asked_range(f"bytes={first}-{last - 1}", total)
    assert wanted is not None
    assert bytes_of(schedule, load, wanted) == full[first:last]


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        (None, (0, 1000)),
        ("bytes=0-0", (0, 1)),
        ("bytes=0-499", (0, 500)),
        ("bytes=500-999", (500, 1000)),
        ("bytes=-500", (500, 1000)),
        ("bytes=9-", (9, 1000)),
        ("bytes=0-4, 9-10", (0, 5)),
        ("bytes=0-99999", (0, 1000)),
        ("bytes=-99999", (0, 1000)),
        ("lines=0-4", (0, 1000)),
        ("bytes=1000-", None),
        ("bytes=5-4", None),
        ("bytes=", None),
        ("bytes=a-b", None),
        ("bytes=-", None),
        ("bytes=--5", None),
        ("bytes=²-3", None),
        ("bytes=-0", None),
    ],
)
def test_ranges_as_rfc_9110_has_them(header: str | None, expected: tuple[int, int] | None) -> None:
    """RFC 9110, 14.1.2: its examples for a length of 10,000, here of 1,000, and what is not valid."""
    found = asked_range(header, 1000)
    assert (found and (found.first, found.last)) == expected


def test_a_cue_without_a_clip_is_said(session: tuple[Schedule, Any]) -> None:
    """Not silence in its place."""
    schedule, load = session
    bare = replace(schedule, events=(replace(schedule.events[0], clip=None),))
    wanted = asked_range("bytes=0-9999", total_bytes(schedule.n_frames))
    assert wanted is not None
    with pytest.raises(SignalError):
        bytes_of(bare, load, wanted)
    assert HEADER_BYTES == 44, "the canonical header of PCM in RIFF WAVE: 12 + 24 + 8 bytes"


def test_words_offered_at_two_paces_are_spoken_at_both(tmp_path: Path) -> None:
    """A session with stretching in it says the same words slower there; none is left to be spoken."""
    demo = Path(__file__).parents[1] / "demo" / "ferry-landing-strength.yaml"
    shutil.copy(demo, tmp_path)
    asked: list[tuple[str, float]] = []

    def quiet(texts: list[str], voice: object, *, store: object, pace: float) -> Spoken:
        asked.extend((text, pace) for text in texts)
        samples = quantise24(np.full(RATE, 0.1, dtype=np.float32))
        return Spoken({text: Clip(text, "v", RATE, samples, content_hash(samples), ()) for text in texts})

    workspaces = Workspaces(tmp_path, ClipStore(tmp_path / "store"))
    workspaces.speech.set_result(Speaking(quiet, clip_from_file, SpokenBefore))
    workspace = workspaces.open(demo.name)
    assert workspace.spoken().n_unspoken == 0
    assert len(set(asked)) == len(asked)
    assert len({text for text, _ in asked}) < len(asked)
