"""One take of one line: cut and levelled as a whole reading is, and judged for what could be better."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, sosfilt

from cuelane.audio.clip import audible_span
from cuelane.base.errors import AudioFileError
from cuelane.desk.words import Said
from cuelane.meter.gating import clip_loudness_lufs
from cuelane.recording.cutting import LOUDNESS_LUFS, RUMBLE_HZ, cut_take, is_clipped
from cuelane.recording.decode import CLIP_RATE, Recording, open_recording
from cuelane.recording.recogniser import LISTEN_RATE
from cuelane.recording.room_tone import Spectrum, level_db, room_tone
from cuelane.speech.definition import MAX_LINE_S
from cuelane.takes.run import NOISY_DB
from cuelane.takes.splitting import SpokenPiece, measure_levels, split_at_pauses

Audio = npt.NDArray[np.float32]

LEAST_RISE_DB = 10.0
"""Levels of 10 ms of steady noise lie within some 3 dB; of speech in any room that is fit, far more apart."""

SOFT_GAIN_DB = 24.0
"""A take that must be raised by more brings up its room too, to where a quiet track lays it bare."""

LATE_START_S = 0.3
"""How much before the end of the count-in a person may begin."""

_EDGE_S = 0.05
_HUM_HZ = 400.0
_HUM_SHARE = 0.8
"""Of a room's power above 70 Hz; noise that is even over frequency has 2 % of it below 400 Hz."""


@dataclass(frozen=True)
class Remark:
    """Something about a take: a word of the desk's language file, ``booth.is_CODE``, and what fills it.

    ``again`` says that it should be read again; otherwise a person may well keep it.
    """

    code: str
    again: bool
    n: float = 0.0
    most: float = 0.0


@dataclass(frozen=True)
class OneTake:
    """A clip of one line at 48 kHz, mono, at -23 LUFS, with what there is to say about it.

    ``seconds`` is how long it sounds; ``room_db`` the level of the room's tone as
    :func:`cuelane.recording.room_tone.level_db` gives it, if there was enough of it.
    """

    clip: Audio
    seconds: float
    remarks: tuple[Remark, ...]
    room_db: float | None


def take_from(
    source: Path,
    *,
    room_s: float = 0.0,
    spoke_from_s: float = 0.0,
    until_s: float | None = None,
    quietest_db: float | None = None,
) -> OneTake:
    """Return the line that is spoken in the file `source`.

    Parameters
    ----------
    room_s : the seconds that there are for the line; 0 where they are not known.
    spoke_from_s : where the count-in ended. What sounds before is the room, and no part of the line.
    until_s : where the person pressed a key to end it, which the microphone heard too; None for a file.
    quietest_db : the level of the quietest room among the takes of this voice, which this one is brought to.

    Raises
    ------
    AudioFileError : not sound, longer than a line may be, or nothing to be heard in it.
    """
    with tempfile.TemporaryDirectory(prefix="cuelane-take-") as scratch:
        recording = open_recording(source, Path(scratch), least_s=0.2, most_s=MAX_LINE_S)
        if until_s is not None:
            recording = recording.part(0.0, until_s)
        if not recording.n_frames:
            raise AudioFileError(Said("booth.nothing_recorded"))
        levels = measure_levels(recording.low_frames, recording.n_listen, LISTEN_RATE)
        if levels.speech_dbfs - levels.floor_dbfs < LEAST_RISE_DB or levels.speech_dbfs < -70:
            raise AudioFileError(Said("booth.nothing_heard"))
        every = split_at_pauses(recording.low_frames, recording.n_listen, LISTEN_RATE, levels)
        pieces = [piece for piece in every if piece.end_s > spoke_from_s - LATE_START_S]
        if not pieces:
            raise AudioFileError(Said("booth.nothing_after"))
        return _judged(recording, every, pieces, room_s, quietest_db)


def _judged(
    recording: Recording,
    every: list[SpokenPiece],
    pieces: list[SpokenPiece],
    room_s: float,
    quietest_db: float | None,
) -> OneTake:
    start_s, end_s = pieces[0].start_s, pieces[-1].end_s
    tone = room_tone(recording, _with_ends(every, recording.seconds))
    room_db = None if tone is None else level_db(tone)
    excess_db = 0.0 if room_db is None or quietest_db is None else max(0.0, room_db - quietest_db)
    earliest_s = max((piece.end_s for piece in every if piece.end_s < start_s), default=0.0)
    clip = cut_take(
        recording,
        start_s,
        end_s,
        earliest_s=earliest_s,
        latest_s=recording.seconds,
        tone=tone,
        soften_by_db=excess_db,
    )
    onset, end = audible_span(clip, CLIP_RATE)
    seconds = (end - onset) / CLIP_RATE
    remarks = [
        *_level_remarks(recording, start_s, end_s),
        *_room_remarks(recording, every, start_s, end_s, tone),
    ]
    if start_s < _EDGE_S or end_s > recording.seconds - _EDGE_S:
        remarks.append(Remark("cut_off", True))
    if room_s and seconds > room_s:
        remarks.append(Remark("long", True, round(seconds, 1), round(room_s, 1)))
    return OneTake(clip, seconds, tuple(remarks), room_db)


def _with_ends(pieces: list[SpokenPiece], seconds: float) -> list[SpokenPiece]:
    """Return `pieces` with the recording's own ends around them: its pauses reach as far."""
    return [SpokenPiece(0.0, 0.0), *pieces, SpokenPiece(seconds, seconds)]


def _level_remarks(recording: Recording, start_s: float, end_s: float) -> list[Remark]:
    if is_clipped(recording, start_s, end_s):
        return [Remark("clipped", True)]
    loudness = clip_loudness_lufs(recording.full(start_s, end_s), CLIP_RATE)
    if not np.isfinite(loudness) or LOUDNESS_LUFS - loudness > SOFT_GAIN_DB:
        return [Remark("soft", True)]
    return []


def _room_remarks(
    recording: Recording, every: list[SpokenPiece], start_s: float, end_s: float, tone: Spectrum | None
) -> list[Remark]:
    """Return whether the room is nearly as loud as the speech, and whether it hums or rushes."""
    if tone is None:
        return []
    rise_db = _rms_db(recording.full(start_s, end_s)) - _pause_db(recording, every)
    if rise_db >= NOISY_DB:
        return []
    hertz = np.arange(len(tone)) * CLIP_RATE / (2 * (len(tone) - 1))
    low = tone[(hertz >= RUMBLE_HZ) & (hertz < _HUM_HZ)].sum()
    share = low / max(float(tone[hertz >= RUMBLE_HZ].sum()), 1e-20)
    return [Remark("hum" if share > _HUM_SHARE else "noise", False, round(rise_db))]


def _pause_db(recording: Recording, every: list[SpokenPiece]) -> float:
    """Return the level of the pauses in dBFS, rumble left out as it is left out of clips."""
    ends = _with_ends(every, recording.seconds)
    pauses = [recording.full(before.end_s + 0.1, after.start_s - 0.1) for before, after in pairwise(ends)]
    return _rms_db(np.concatenate([pause for pause in pauses if len(pause)] or [np.zeros(1, np.float32)]))


def _rms_db(samples: Audio) -> float:
    clean = sosfilt(butter(2, RUMBLE_HZ, "highpass", fs=CLIP_RATE, output="sos"), samples)
    return float(10 * np.log10(np.mean(np.square(clean)) + 1e-12))
