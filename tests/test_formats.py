"""One record per audio format: it says what others rely on, and a new format is no more than one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest

from cuelane import media
from cuelane.audio.tones import render_pip
from cuelane.base.errors import UsageError
from cuelane.media import Chapter, Metadata, formats
from cuelane.media.formats import FORMATS, AudioFormat, LossyCoding, TagStyle, format_of, media_type_of
from cuelane.meter import Meter

RATE = 48_000
LOSSY = [form for form in FORMATS if form.lossy]
VORBIS = AudioFormat(
    suffix=".oga",
    name="Vorbis in Ogg",
    media_type="audio/ogg",
    coding=LossyCoding(
        muxer="ogg",
        encoder="libvorbis",
        options=(),
        bitrate_kbps=80,
        sample_rates=frozenset({22_050, 44_100, 48_000}),
    ),
    tags=TagStyle.OGG,
    speech_headroom_db=1.5,
    mix_headroom_db=1.5,
)


def test_media_types_are_the_registered_ones() -> None:
    """RFC 4337 (mp4), RFC 3003 (mpeg), RFC 5334 (ogg), RFC 9639 (flac); wav is common practice, no source."""
    assert {form.suffix: form.media_type for form in FORMATS} == {
        ".m4a": "audio/mp4",
        ".mp3": "audio/mpeg",
        ".opus": "audio/ogg",
        ".flac": "audio/flac",
        ".wav": "audio/wav",
    }
    assert media_type_of("a.MP3") == "audio/mpeg"
    assert media_type_of("a.doc") == "application/octet-stream"


def test_no_format_without_its_headroom() -> None:
    """A record that does not say by how much its encoder raises peaks cannot be made, nor one that says 0."""
    said = {name: getattr(VORBIS, name) for name in ("suffix", "name", "media_type", "coding", "tags")}
    with pytest.raises(TypeError, match="speech_headroom_db"):
        AudioFormat(**said, mix_headroom_db=1.0)
    with pytest.raises(TypeError, match="mix_headroom_db"):
        AudioFormat(**said, speech_headroom_db=1.0)
    for name in ("speech_headroom_db", "mix_headroom_db"):
        with pytest.raises(ValueError, match="how much its encoder raises peaks"):
            replace(VORBIS, **{name: 0.0})


@pytest.mark.parametrize("form", LOSSY, ids=lambda form: form.suffix)
def test_the_headroom_covers_what_the_encoder_adds(form: AudioFormat, tmp_path: Path) -> None:
    """Pips and bursts of partials with sharp attacks come back at most that much higher."""
    time_s = np.arange(RATE // 5) / RATE
    burst = sum(np.sin(2 * np.pi * 140 * k * time_s + k * k) / k for k in range(1, 40)) * np.exp(
        -time_s / 0.08
    )
    short = render_pip("short", 880.0, RATE // 10, RATE)
    long = render_pip("long", 1_320.0, RATE // 2, RATE)
    sound = np.zeros((6 * RATE, 1), np.float32)
    for second, piece in enumerate([short, long, burst] * 2):
        sound[second * RATE :][: len(piece), 0] = 0.5 * piece / np.abs(piece).max()
    media.encode(tmp_path / f"a{form.suffix}", [sound], sample_rate=RATE)
    before, after = Meter(RATE, 1), Meter(RATE, 1)
    before.push(sound)
    for block in media.decode(tmp_path / f"a{form.suffix}"):
        after.push(block)

    assert after.true_peak_dbtp - before.true_peak_dbtp <= form.speech_headroom_db


def test_a_new_format_is_one_record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ogg Vorbis, by its record alone: written in place and in time, with tags, chapters and a cover."""
    with pytest.raises(UsageError, match=r"cannot write \.oga; name a file that ends in \.m4a .* or \.wav"):
        format_of(tmp_path / "a.oga")
    monkeypatch.setitem(formats._BY_SUFFIX, ".oga", VORBIS)
    rng = np.random.default_rng(3)
    sound = np.zeros((3 * RATE, 1), np.float32)
    sound[RATE : RATE + 4_800] = rng.normal(0, 0.1, (4_800, 1))
    chapters = [Chapter(0, 1_500, "One"), Chapter(1_500, 3_000, "Zwei – ü")]
    media.encode(
        tmp_path / "a.oga",
        [sound],
        sample_rate=RATE,
        metadata=Metadata({"title": "T", "comment": "C"}, chapters),
    )

    with av.open(str(tmp_path / "a.oga")) as container:
        stream = container.streams.audio[0]
        assert stream.codec_context.name == "vorbis"
        assert {**container.metadata, **stream.metadata}["TITLE".lower()] == "T"
        found = [
            (round(row["start"] * row["time_base"] * 1000), row["metadata"]["title"])
            for row in container.chapters()
        ]
    assert found == [(chapter.start_ms, chapter.title) for chapter in chapters]
    heard = np.concatenate(list(media.decode(tmp_path / "a.oga")))[:, 0]
    assert len(heard) == len(sound)
    window = heard[RATE - 1_000 : RATE + 5_800]
    assert int(np.argmax(np.correlate(window, sound[RATE : RATE + 4_800, 0], "valid"))) == 1_000
