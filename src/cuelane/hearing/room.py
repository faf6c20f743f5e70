"""How much room a session leaves for the listener's music, and whether each cue and pip is heard over it.

Each cue gets the Speech Intelligibility Index of its own words, at the level at which they are mixed, over a
masker so many LU above or below the speech: programme-like noise, or a music file. The calibration to sound
pressure is in :mod:`cuelane.hearing.bands`. The index is the standard's own, for a steady masker: over music
that comes and goes a listener catches a little more than it says.

Each pip gets its level over the masker in its critical band (Zwicker and Terhardt 1980; value from memory),
the spread of masking from lower bands included. 13 dB is what ISO 7731 asks of danger signals in a third of
an octave (value from memory); 6 dB, our least, is common practice, no source.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from cuelane.audio.clip import Samples
from cuelane.audio.tones import render_pip
from cuelane.base.levels import REFERENCE_LUFS
from cuelane.base.occupancy import Occupancy, occupancy
from cuelane.base.schedule import Event, Schedule
from cuelane.hearing.bands import band_powers, full_scale_db_spl, spectrum_levels_db
from cuelane.hearing.masker import Music, programme_powers, read_music
from cuelane.hearing.sii import (
    GOOD,
    ONE_THIRD_OCTAVE,
    POOR,
    highest_gain_db,
    highest_masker_gain_db,
    masking_spectrum_db,
    speech_intelligibility_index,
)
from cuelane.hearing.speech_shape import CLEAR, shape_speech

Array = npt.NDArray[np.float64]
LoadClip = Callable[[str], Samples]
Stretch = Literal["under", "loudest"]
Grade = Literal["good", "fair", "poor"]

DEFAULT_MUSIC_LEVEL_LU = -6.0
PIP_GOOD_DB = 13.0
PIP_POOR_DB = 6.0
MOST_RAISED_DB = 3.0

# Of cues measured last: lines come again, in another format of a plan and in other plans of a season.
_MOST_KEPT = 1_024
_kept: dict[tuple[object, ...], CueRoom] = {}


@dataclass(frozen=True)
class CueRoom:
    """One cue over the masker. Music may be ``good_to_lu`` above speech while the index is 0.75 or more, and
    ``understood_to_lu`` while it is 0.45 or more; -inf where no level is low enough."""

    event: Event
    sii: float
    grade: Grade
    good_to_lu: float
    understood_to_lu: float
    advice: str = ""


@dataclass(frozen=True)
class PipRoom:
    """One pip over the masker: its level in its critical band, and how loud music may be for it."""

    event: Event
    over_masker_db: float
    grade: Grade
    good_to_lu: float
    heard_to_lu: float


@dataclass(frozen=True)
class Room:
    """What a session leaves open, and what is heard over music at ``music_level_lu``.

    ``good_to_lu`` and ``understood_to_lu`` are those of the weakest cue, ``pips_heard_to_lu`` that of the
    weakest pip; None in a session that has none.
    """

    occupancy: Occupancy
    masker: str
    music_level_lu: float
    cues: tuple[CueRoom, ...]
    pips: tuple[PipRoom, ...]

    @property
    def good_to_lu(self) -> float | None:
        return min((cue.good_to_lu for cue in self.cues), default=None)

    @property
    def understood_to_lu(self) -> float | None:
        return min((cue.understood_to_lu for cue in self.cues), default=None)

    @property
    def pips_heard_to_lu(self) -> float | None:
        return min((pip.heard_to_lu for pip in self.pips), default=None)

    @property
    def weakest(self) -> CueRoom | None:
        return min(self.cues, key=lambda cue: cue.good_to_lu, default=None)


def room(
    schedule: Schedule,
    load_clip: LoadClip,
    *,
    music: Path | Music | None = None,
    music_level_lu: float = DEFAULT_MUSIC_LEVEL_LU,
    stretch: Stretch = "loudest",
) -> Room:
    """Return what the session leaves open, and how well each event is heard over music.

    Parameters
    ----------
    load_clip : gives a clip's samples, shape (n_frames,), at the level at which it is mixed, for an event's
        hash; speech is at -20 LUFS there, as pips expect.
    music : a file, or one already read; programme-like noise if None.
    music_level_lu : the music's integrated loudness relative to the speech's.
    stretch : of a file, the stretch that is under each event when both start together (it repeats when it is
        shorter), or its loudest of that length, for a listener who starts it anywhere.

    Raises
    ------
    AudioFileError : the music cannot be read or is silent.
    """
    source = read_music(music, sample_rate=schedule.sample_rate) if isinstance(music, Path) else music
    full_scale_db = full_scale_db_spl(REFERENCE_LUFS)

    def masker_of(event: Event) -> tuple[object, Array]:
        """Return what identifies the masker, and its levels when the music is as loud as speech."""
        if source is None:
            return None, spectrum_levels_db(programme_powers(REFERENCE_LUFS), full_scale_db)
        start, end = event.onset_sample / schedule.sample_rate, event.end_sample / schedule.sample_rate
        powers = source.stretch(start, end) if stretch == "under" else source.loudest(end - start)
        key = (start, end) if stretch == "under" else end - start
        return key, spectrum_levels_db(powers, full_scale_db + REFERENCE_LUFS - source.loudness_lufs)

    # The same words over the same masker, as a session often has them, are measured once.
    cues_known: dict[object, CueRoom] = {}
    pips_known: dict[object, PipRoom] = {}
    cues, pips = [], []
    for event in schedule.events:
        key, masker_db = masker_of(event)
        if event.kind == "cue" and event.clip is not None:
            known: tuple[object, ...] = (event.clip, key)
            if known not in cues_known:
                samples = load_clip(event.clip)
                cues_known[known] = _known(event, samples, schedule.sample_rate, masker_db, music_level_lu)
            cues.append(replace(cues_known[known], event=event))
        elif event.kind == "pip" and event.frequency_hz is not None:
            known = (event.role, event.frequency_hz, event.end_sample - event.onset_sample, key)
            if known not in pips_known:
                pip_db = pip_db_spl(event, schedule.sample_rate, full_scale_db)
                pips_known[known] = pip_over_masker(event, pip_db, masker_db, music_level_lu)
            pips.append(replace(pips_known[known], event=event))
    return Room(
        occupancy=occupancy(schedule),
        masker="programme-like noise" if source is None else f"{source.name}, {stretch}",
        music_level_lu=music_level_lu,
        cues=tuple(cues),
        pips=tuple(pips),
    )


def cue_over_masker(event: Event, speech_db: Array, masker_db: Array, music_level_lu: float) -> CueRoom:
    """Return how well a cue is heard over a masker at `music_level_lu` relative to speech.

    `speech_db` and `masker_db`, the masker at the loudness of speech, are spectrum levels, dB SPL per hertz,
    shape (18,).
    """
    sii = speech_intelligibility_index(speech_db, masker_db + music_level_lu)
    good, understood = (highest_masker_gain_db(speech_db, masker_db, target) for target in (GOOD, POOR))
    return CueRoom(
        event=event,
        sii=sii,
        grade="good" if sii >= GOOD else "fair" if sii >= POOR else "poor",
        good_to_lu=-math.inf if good is None else good,
        understood_to_lu=-math.inf if understood is None else understood,
    )


def pip_db_spl(event: Event, sample_rate: int, full_scale_db: float) -> float:
    """Return the level of a pip while it sounds, dB SPL, when speech is at -20 LUFS."""
    assert event.frequency_hz is not None
    pip = render_pip(event.role, event.frequency_hz, event.end_sample - event.onset_sample, sample_rate)
    return 10 * math.log10(float(np.square(pip, dtype=np.float64).mean())) + full_scale_db


def pip_over_masker_db(event: Event, pip_db: float, masker_db: Array) -> float:
    """Return by how many dB a pip of `pip_db` SPL exceeds the masker in its critical band.

    `masker_db` holds spectrum levels, dB SPL per hertz, shape (18,).
    """
    assert event.frequency_hz is not None
    kilohertz = event.frequency_hz / 1000
    width_hz = 25 + 75 * (1 + 1.4 * kilohertz**2) ** 0.69
    band = int(np.argmin(np.abs(np.log(ONE_THIRD_OCTAVE.centre_hz / event.frequency_hz))))
    masking = masking_spectrum_db(np.maximum(masker_db, -200.0))
    floor = max(float(masking[band]), float(ONE_THIRD_OCTAVE.internal_noise_db[band]))
    return pip_db - floor - 10 * math.log10(width_hz)


def highest_pip_masker_gain_db(
    event: Event, pip_db: float, masker_db: Array, target_db: float, *, highest_db: float = 60.0
) -> float | None:
    """Return the largest gain that may be given to the masker while the pip stands `target_db` over it.

    From -60 to `highest_db`, to 0.01 dB: see :func:`cuelane.hearing.sii.highest_gain_db`. `masker_db` holds
    spectrum levels, dB SPL per hertz, shape (18,).
    """

    def enough(gain_db: float) -> bool:
        return pip_over_masker_db(event, pip_db, masker_db + gain_db) >= target_db

    return highest_gain_db(enough, highest_db=highest_db)


def pip_over_masker(event: Event, pip_db: float, masker_db: Array, music_level_lu: float) -> PipRoom:
    """Return how well a pip of `pip_db` SPL is heard over a masker at `music_level_lu` relative to speech.

    `masker_db` holds the masker's spectrum levels at the loudness of speech, dB SPL per hertz, shape (18,).
    """
    level_db = pip_over_masker_db(event, pip_db, masker_db + music_level_lu)
    good, heard = (
        highest_pip_masker_gain_db(event, pip_db, masker_db, target_db)
        for target_db in (PIP_GOOD_DB, PIP_POOR_DB)
    )
    return PipRoom(
        event=event,
        over_masker_db=level_db,
        grade="good" if level_db >= PIP_GOOD_DB else "fair" if level_db >= PIP_POOR_DB else "poor",
        good_to_lu=-math.inf if good is None else good,
        heard_to_lu=-math.inf if heard is None else heard,
    )


def _known(
    event: Event, samples: Samples, sample_rate: int, masker_db: Array, music_level_lu: float
) -> CueRoom:
    """Return :func:`_measured`, measured before or now; its event may be another of the same words."""
    sound = hashlib.sha256(np.ascontiguousarray(samples).data).digest()
    key = (sound, samples.dtype.str, sample_rate, masker_db.tobytes(), music_level_lu)
    found = _kept.get(key)
    if found is None:
        found = _measured(event, samples, sample_rate, masker_db, music_level_lu)
        _kept[key] = found
        if len(_kept) > _MOST_KEPT:
            _kept.pop(next(iter(_kept)), None)
    return found


def _measured(
    event: Event, samples: Samples, sample_rate: int, masker_db: Array, music_level_lu: float
) -> CueRoom:
    """Return the cue with the advice that would make it good, the smallest change first; each was tried."""
    full_scale_db = full_scale_db_spl(REFERENCE_LUFS)
    speech_db = spectrum_levels_db(band_powers(samples, sample_rate), full_scale_db)
    cue = cue_over_masker(event, speech_db, masker_db, music_level_lu)
    missing_db = music_level_lu - cue.good_to_lu
    if missing_db <= 0:
        return cue
    shaped = shape_speech(samples, sample_rate, CLEAR)
    shaped_db = spectrum_levels_db(band_powers(shaped, sample_rate), full_scale_db)
    brightened = cue_over_masker(event, shaped_db, masker_db, music_level_lu)
    still_missing_db = music_level_lu - brightened.good_to_lu
    if missing_db <= MOST_RAISED_DB:
        advice = f"raise the speech by {_up(missing_db)} dB"
    elif still_missing_db <= 0:
        advice = f"brighten the voice with --for-music (index {brightened.sii:.2f})"
    elif still_missing_db <= MOST_RAISED_DB:
        advice = f"brighten the voice with --for-music and raise it by {_up(still_missing_db)} dB"
    elif math.isfinite(cue.good_to_lu):
        advice = f"turn the music down by {_up(missing_db)} LU, or have it said twice"
    else:
        advice = "have it said twice; no music level is low enough for this voice"
    return replace(cue, advice=advice)


def _up(level_db: float) -> str:
    """Round up to half a decibel: advice that is followed must be enough."""
    return f"{math.ceil(level_db * 2) / 2:g}"
