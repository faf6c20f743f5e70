"""Pips: short tones that say when to start and when to stop.

===========  =======================  ===========================
before       short pips               long pip, on the boundary
===========  =======================  ===========================
work         A5, 880 Hz, 0.1 s        A6, 1760 Hz, 0.5 s: up an octave
anything     D6, 1174.66 Hz, 0.1 s    G5, 783.99 Hz, 0.7 s: down a fifth
===========  =======================  ===========================

The middle of a two-sided set has one ``turn`` pip (E6, 1318.51 Hz, 0.25 s). Breath phases have a soft
``phase`` tone each, descending through a chord: in E6, hold C6, out G5, and E5 for the hold after it.
Pitches are equal-tempered (A4 = 440 Hz, ISO 16:1975; value from a secondary source), within the 600 Hz to
4 kHz that a phone's speaker reproduces. Short pips before a long one whose start marks the time are the form
of the Greenwich Time Signal (value from a secondary source); no standard fixes pitch or length.

Level. Clips come at -20 LUFS, and a pip is to be heard about as loud as they are: its K-weighted level while
it sounds is that of the speech, and shorter tones are raised by ``-10 lg(1 - exp(-T / 100 ms))`` for what the
ear loses below a few tenths of a second (2.0 dB at 0.1 s; an integrating ear of 100 ms, value from memory).
Phase tones are 4 dB softer, and swell. No pip's true peak passes -14.2 dBTP.

Shape. Edges are raised cosines of 6 ms: short enough for a clear beginning, long enough not to click. The
wave starts in cosine phase and the edge half a step up, so that the first sample is already audible at
24 bits (the onset is the first non-zero sample), and a pip lasts a whole number of periods, so that the last
one is too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.signal import sosfreqz

from cuelane.audio.clip import Samples
from cuelane.base.errors import SignalError
from cuelane.base.levels import REFERENCE_LUFS
from cuelane.base.units import SAMPLE_RATE
from cuelane.meter import k_weighting_sos

EDGE_MS = 6
EAR_MS = 100.0
SECOND_HARMONIC_DB = -24.0
PHASE_GAIN_DB = -4.0
LOWEST_HZ, HIGHEST_HZ = 600.0, 4_000.0

# MIDI note numbers and milliseconds.
_SHORT_MS, _LONG_WORK_MS, _LONG_REST_MS, _TURN_MS, _PHASE_MS = 100, 500, 700, 250, 600
_E5, _G5, _A5, _C6, _D6, _E6, _A6 = 76, 79, 81, 84, 86, 88, 93
_PHASE_NOTES = {"in": _E6, "hold": _C6, "out": _G5, "hold_out": _E5}

ROLES = ("short", "long", "turn", "phase")


@dataclass(frozen=True)
class PipSpec:
    """What a schedule's event holds of a pip."""

    role: str
    frequency_hz: float
    n_frames: int


def note_hz(midi_note: int) -> float:
    """Return the frequency of a note in equal temperament, A4 (69) = 440 Hz, to 0.01 Hz."""
    return round(440.0 * 2 ** ((midi_note - 69) / 12), 2)


def pip_for(next_kind: str, role: str, sample_rate: int = SAMPLE_RATE) -> PipSpec:
    """Return the pip of `role` that leads into an interval of `next_kind`.

    Parameters
    ----------
    next_kind : the kind of the interval that begins (``work``, ``rest``, ``change``, ``talk``, ``in``,
        ``hold``, ``out``, ``hold_out`` after breathing out), ``end`` for the session's end.
    role : ``short`` or ``long``, or ``turn`` for the middle of a two-sided set. A breath phase begins
        with a ``phase`` tone, whatever is asked for; short pips that lead up to one are those before a rest.

    Raises
    ------
    SignalError : an unknown role, or a rate too low for these pitches (below 8 kHz).
    """
    if role not in ROLES:
        raise SignalError(f"a pip's role is one of {', '.join(ROLES)}, got {role!r}")
    if sample_rate < 8_000:
        raise SignalError(f"pips need a sample rate of at least 8000 Hz, got {sample_rate}")
    if next_kind in _PHASE_NOTES and role != "short":
        return _spec("phase", _PHASE_NOTES[next_kind], _PHASE_MS, sample_rate)
    if role == "phase":
        raise SignalError(f"only breath phases have a phase tone, got {next_kind!r}")
    if role == "turn":
        return _spec(role, _E6, _TURN_MS, sample_rate)
    if next_kind == "work":
        return _spec(role, *((_A5, _SHORT_MS) if role == "short" else (_A6, _LONG_WORK_MS)), sample_rate)
    return _spec(role, *((_D6, _SHORT_MS) if role == "short" else (_G5, _LONG_REST_MS)), sample_rate)


@lru_cache(maxsize=256)
def _spec(role: str, note: int, length_ms: int, sample_rate: int) -> PipSpec:
    frequency_hz = note_hz(note)
    n_periods = round(frequency_hz * length_ms / 1000)
    return PipSpec(role, frequency_hz, round(n_periods * sample_rate / frequency_hz) + 1)


def shortened(pip: PipSpec, most_frames: int, sample_rate: int) -> PipSpec:
    """Return `pip` if it has at most `most_frames`, else the longest one that has, in whole periods.

    Raises
    ------
    SignalError : not even one period fits.
    """
    if pip.n_frames <= most_frames:
        return pip
    n_periods = int((most_frames - 1.5) * pip.frequency_hz / sample_rate)
    if n_periods < 1:
        raise SignalError(f"a pip of {pip.frequency_hz} Hz does not fit into {most_frames} frames")
    return PipSpec(pip.role, pip.frequency_hz, round(n_periods * sample_rate / pip.frequency_hz) + 1)


def render_pip(role: str, frequency_hz: float, n_frames: int, sample_rate: int) -> Samples:
    """Return a pip, shape (n_frames,), at the level that goes with clips of -20 LUFS.

    A function of what a schedule's event holds and of nothing else. At a low sample rate the harmonic that
    would not fit is left out.

    Raises
    ------
    SignalError : an unknown role, fewer than 2 frames, or a frequency at or over half the sample rate.
    """
    if role not in ROLES or n_frames < 2 or not 0 < frequency_hz < sample_rate / 2:
        raise SignalError(
            f"cannot render a pip of role {role!r}, {frequency_hz} Hz, {n_frames} frames at {sample_rate} Hz"
        )
    phase = 2 * np.pi * frequency_hz / sample_rate * np.arange(n_frames)
    second = 10 ** (SECOND_HARMONIC_DB / 20) if 2 * frequency_hz < 0.45 * sample_rate else 0.0
    wave = np.cos(phase) + second * np.cos(2 * phase)
    level = reference_amplitude(frequency_hz, n_frames / sample_rate)
    if role == "phase":
        level *= 10 ** (PHASE_GAIN_DB / 20)
    return np.asarray(level * wave * _envelope(role, n_frames, sample_rate), dtype=np.float32)


def reference_amplitude(frequency_hz: float, length_s: float) -> float:
    """Return the amplitude at which a tone of this length is heard as loud as speech at -20 LUFS."""
    shortness_db = -10 * math.log10(1 - math.exp(-1000 * length_s / EAR_MS))
    # A sine's mean square is half its amplitude's square: +3.01 dB.
    level_db = REFERENCE_LUFS + 0.691 - k_weighting_db(frequency_hz) + 3.0103 + shortness_db
    return float(10 ** (level_db / 20))


def k_weighting_db(frequency_hz: float) -> float:
    """Return BS.1770's K-weighting at a frequency, as its filters give it at 48 kHz."""
    _, response = sosfreqz(k_weighting_sos(48_000), worN=[frequency_hz], fs=48_000)
    return float(20 * np.log10(np.abs(response[0])))


def _envelope(role: str, n_frames: int, sample_rate: int) -> Samples:
    n_edge = min(sample_rate * EDGE_MS // 1000, n_frames // 2)
    edge = 0.5 - 0.5 * np.cos(np.pi * (np.arange(n_edge) + 0.5) / n_edge)
    envelope = np.ones(n_frames)
    envelope[:n_edge] = edge
    envelope[n_frames - n_edge :] = edge[::-1]
    if role == "phase":
        # A slow rise and a long fall, as of a breath, with edges steep enough to mark the beginning.
        envelope *= 0.5 + 0.5 * np.sin(np.pi * (np.arange(n_frames) + 0.5) / n_frames) ** 2
    return np.asarray(envelope)
