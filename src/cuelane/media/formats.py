"""The audio formats that can be written: one record for each, from which everything else is taken.

A new lossy format is one record here: the writer, the tags, the page, the levels of `render` and `under`, and
the command line's messages read it, and `tests/test_formats.py` and `tests/test_media.py` try every record.

The settings were chosen by measurement on speech with silence, 10 min mono: time on one core, and the signal
over the coding noise.

====== ========= ============================= ===== ===== ==========================================
format bitrate   setting                       time  SNR   remark
====== ========= ============================= ===== ===== ==========================================
AAC    96 kb/s   ``fast`` coder                1.5 s 41 dB
AAC    96 kb/s   ``twoloop`` coder             2.7 s 31 dB a file of the same size
Opus   48 kb/s   complexity 5                  1.7 s 21 dB
Opus   48 kb/s   complexity 10                 4.8 s 18 dB detects speech and models it: 0.3 LU too soft
MP3    96 kb/s   any                           0.9 to 1.4 s, 25 dB
====== ========= ============================= ===== ===== ==========================================

AAC goes without intensity stereo, noise substitution and temporal noise shaping. On 10 min of stereo
music at 192 kb/s this raises the SNR from 17 to 27 dB and lowers the largest error from 1.02 to 0.15; on
speech, from 42.4 to 43.0 dB and from 0.08 to 0.04; in files of the same size, and at a third of the bitrate
too. The noise in the 20 ms before a demo's pips stays at -93 dBFS.
MP3 keeps a constant bitrate, so that players find a place in it exactly. It goes without bit reservoir, so
that pieces can be joined: on generated speech the SNR at 96 kb/s went from 20.6 to 20.8 dB, on hard music
from 24.5 to 23.8 (at 128 kb/s from 24.8 to 24.5), in files of the same size.

AAC and MP3 are encoded in pieces. Opus is not: its rate control and its prediction from frame to frame run on
in the decoder too, so that a piece made alone is decoded from another state. FLAC and WAV have no need: 45
minutes take 1.6 s.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from pathlib import PurePath

from cuelane.base.errors import UsageError


class TagStyle(Enum):
    """How a container holds tags, chapters and a cover."""

    MP4 = "MPEG-4 metadata"
    ID3 = "ID3v2.4"
    FLAC = "FLAC metadata blocks"
    OGG = "Vorbis comments in Ogg"
    RIFF = "RIFF INFO"


def _as_given(_bitrate_kbps: int) -> float:
    return 1.0


@dataclass(frozen=True, kw_only=True)
class Joining:
    """How a track is encoded in pieces whose frames are joined (:mod:`cuelane.media.piecework`).

    Attributes
    ----------
    muxer : of the bare stream of frames, and ``options`` that only it takes.
    frame_samples : of each channel in a frame.
    piece_frames, priming_frames : what a piece owns, and how many frames before it are encoded and dropped.
    silence_frames : how much of a long silence is encoded (:mod:`cuelane.media.silence`).
    cycle_frames : after how many frames what comes out then repeats, at ``cycle_rates``; else after one.
    sample_rates : at which it is done.
    """

    muxer: str
    options: tuple[str, ...]
    frame_samples: int
    piece_frames: int
    priming_frames: int
    silence_frames: int
    cycle_frames: int
    cycle_rates: frozenset[int]
    sample_rates: frozenset[int]


@dataclass(frozen=True, kw_only=True)
class LossyCoding:
    """How the ffmpeg program makes one lossy format.

    ``makeup_gain`` gives, for a bitrate in kb/s, the linear gain that undoes what the encoder takes off.
    """

    muxer: str
    encoder: str
    options: tuple[str, ...]
    bitrate_kbps: int
    """For each channel."""
    sample_rates: frozenset[int]
    makeup_gain: Callable[[int], float] = _as_given
    joining: Joining | None = None


@dataclass(frozen=True, kw_only=True)
class PcmCoding:
    """How libsndfile names one lossless format of 24-bit samples."""

    container: str


@dataclass(frozen=True, kw_only=True)
class AudioFormat:
    """One format that can be written.

    Attributes
    ----------
    suffix : of a file's name, in lower case, with its dot.
    name : as a person calls it.
    media_type : for a page's player (RFC 6381 and the registered types of audio).
    coding : how the samples are made; a :class:`LossyCoding` makes the format lossy.
    tags : how it holds tags, chapters and a cover. RIFF holds neither chapters nor a cover.
    speech_headroom_db : kept free under the true-peak ceiling of a rendered track, 0 or more.
    mix_headroom_db : the same for a track with music beneath, before its decoded peaks are measured.

    Raises
    ------
    ValueError : a lossy format without headroom: every lossy encoder moves peaks.
    """

    suffix: str
    name: str
    media_type: str
    coding: LossyCoding | PcmCoding
    tags: TagStyle
    speech_headroom_db: float
    mix_headroom_db: float

    def __post_init__(self) -> None:
        least_db = min(self.speech_headroom_db, self.mix_headroom_db)
        if least_db < 0 or (self.lossy and least_db == 0):
            raise ValueError(f"{self.suffix}: say by how much its encoder raises peaks, got {least_db} dB")

    @property
    def lossy(self) -> bool:
        return isinstance(self.coding, LossyCoding)

    @property
    def holds_chapters(self) -> bool:
        """Whether chapters and a cover have a place in the file."""
        return self.tags is not TagStyle.RIFF


def lame_makeup(bitrate_kbps: int) -> float:
    """Return the gain that undoes what LAME takes off the signal at a constant bitrate.

    Measured for mono and stereo: 0.95 up to 160 kb/s, 0.97 at 192, nothing from 224 on.
    """
    return 1 / 0.95 if bitrate_kbps <= 160 else 1 / 0.97 if bitrate_kbps < 224 else 1.0


_MPEG_RATES = frozenset({16_000, 22_050, 24_000, 32_000, 44_100, 48_000})
_OPUS_RATES = frozenset({8_000, 12_000, 16_000, 24_000, 48_000})
_AAC = ("-aac_coder", "fast", "-aac_is", "0", "-aac_pns", "0", "-aac_tns", "0")

# A piece is about 90 s. AAC's rate control never forgets, so that no number of frames makes a piece the same
# as in one pass; it has settled after 32. LAME has: with the lag of its slots at 44.1 kHz repeating every 49
# frames, both counts are multiples of that, and its frames come out the same, byte for byte. Its threshold of
# hearing falls through a silence (for 95 frames by its source, from memory), and what is near it is coded by
# it: of 53,424 frames of faint, swelling and loud sounds between silences, 575 differed from those of the
# whole where 40 frames of each silence were encoded, 40 where it was 80, and none with 110. AAC has no such
# memory: 4 frames before a gap and 8 after it were enough, the fewest tried.
_ADTS = Joining(
    muxer="adts",
    options=(),
    frame_samples=1_024,
    piece_frames=4_096,
    priming_frames=32,
    silence_frames=40,
    cycle_frames=1,
    cycle_rates=frozenset(),
    sample_rates=_MPEG_RATES,
)
_MP3_FRAMES = Joining(
    muxer="mp3",
    options=("-write_xing", "0"),
    frame_samples=1_152,
    piece_frames=49 * 76,
    priming_frames=49 * 4,
    silence_frames=110,
    cycle_frames=49,
    cycle_rates=frozenset({44_100}),
    sample_rates=frozenset({32_000, 44_100, 48_000}),
)

# What encoding adds to true peaks. Speech, measured on the demos at these bitrates: AAC 0.1 dB, MP3 0.6,
# Opus 1.2. With music: on 28 songs, 3 minutes each, decoded peaks came at most 0.0, 0.3 and 1.2 dB over the
# plan; in a longer session more of them come together (AAC in 45 minutes: 0.4).
# Lossless files need room for nothing but the rounding of a mix to 24 bits and float32.
FORMATS = (
    AudioFormat(
        suffix=".m4a",
        name="AAC in MPEG-4",
        media_type="audio/mp4",
        coding=LossyCoding(
            muxer="ipod",
            encoder="aac",
            options=_AAC,
            bitrate_kbps=96,
            sample_rates=_MPEG_RATES,
            joining=_ADTS,
        ),
        tags=TagStyle.MP4,
        speech_headroom_db=0.5,
        mix_headroom_db=1.0,
    ),
    AudioFormat(
        suffix=".mp3",
        name="MP3",
        media_type="audio/mpeg",
        coding=LossyCoding(
            muxer="mp3",
            encoder="libmp3lame",
            options=("-id3v2_version", "0", "-reservoir", "0"),
            bitrate_kbps=96,
            sample_rates=_MPEG_RATES,
            makeup_gain=lame_makeup,
            joining=_MP3_FRAMES,
        ),
        tags=TagStyle.ID3,
        speech_headroom_db=1.0,
        mix_headroom_db=1.0,
    ),
    AudioFormat(
        suffix=".opus",
        name="Opus in Ogg",
        media_type="audio/ogg",
        coding=LossyCoding(
            muxer="opus",
            encoder="libopus",
            options=("-compression_level", "5"),
            bitrate_kbps=48,
            sample_rates=_OPUS_RATES,
        ),
        tags=TagStyle.OGG,
        speech_headroom_db=1.5,
        mix_headroom_db=1.5,
    ),
    AudioFormat(
        suffix=".flac",
        name="FLAC",
        media_type="audio/flac",
        coding=PcmCoding(container="FLAC"),
        tags=TagStyle.FLAC,
        speech_headroom_db=0.0,
        mix_headroom_db=0.02,
    ),
    AudioFormat(
        suffix=".wav",
        name="WAV",
        media_type="audio/wav",
        coding=PcmCoding(container="WAV"),
        tags=TagStyle.RIFF,
        speech_headroom_db=0.0,
        mix_headroom_db=0.02,
    ),
)
_BY_SUFFIX = {form.suffix: form for form in FORMATS}
SUFFIXES = tuple(_BY_SUFFIX)

SUFFIX_WORDS = f"{' '.join(SUFFIXES[:-1])} or {SUFFIXES[-1]}"
"""All suffixes as a person reads them in a sentence."""

LOSSLESS_WORDS = " or ".join(form.suffix for form in FORMATS if not form.lossy)


def format_of(path: PurePath | str) -> AudioFormat:
    """Return the format that the suffix of `path` names, in capitals or not.

    Raises
    ------
    UsageError : no format has this suffix; the message names those that there are.
    """
    suffix = PurePath(path).suffix.lower()
    if suffix not in _BY_SUFFIX:
        raise UsageError(
            f"{path}: cannot write {suffix or 'a file without a suffix'}; "
            f"name a file that ends in {SUFFIX_WORDS}"
        )
    return _BY_SUFFIX[suffix]


def media_type_of(name: str) -> str:
    """Return the media type of a file by its name; bytes of unknown kind where no format has its suffix."""
    form = _BY_SUFFIX.get(PurePath(name).suffix.lower())
    return form.media_type if form else "application/octet-stream"
