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

import numpy as np
from scipy.signal import sosfreqz

from cuelane.audio.clip import Samples
from cuelane.audio.pip_specs import ROLES
from cuelane.base.errors import SignalError
from cuelane.base.levels import REFERENCE_LUFS
from cuelane.meter import k_weighting_sos

EDGE_MS = 6
EAR_MS = 100.0
SECOND_HARMONIC_DB = -24.0
PHASE_GAIN_DB = -4.0
LOWEST_HZ, HIGHEST_HZ = 600.0, 4_000.0


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
