"""Is a cue whole, and how loud: its template compared with the sound, 20 ms at a time."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import next_fast_len, rfft
from scipy.signal import fftconvolve, firwin

from cuelane.check.correlate import Signal, delayed, pre_emphasise
from cuelane.check.intake import ANALYSIS_RATE, CheckedSound
from cuelane.check.speech.clip_match import Heard
from cuelane.check.templates import Template

STEP = ANALYSIS_RATE // 50
# Chosen: a shorter stretch that is gone may be a codec's doing.
MIN_GAP_S = 0.06
ABSENT = 0.6
"""Chosen: a stretch is gone when leaving it out of the model saves this share of what having it would
cost."""
SURE = 100.0
"""Chosen: the stretch must hold this many times the energy that one sample of everything else does."""
# Chosen: of the cue's energy; less is a part that nobody hears missing.
MIN_SHARE = 0.01
QUIET = 0.25
"""Chosen: of the energy that should be there: where less sounds, the stretch is certainly gone."""
# Chosen, stricter: where something else sounds, chance and reflections can cancel a part of the cue.
LOUD_ABSENT = 0.8
LOUD_GAP_S = 0.12
"""Chosen: where something else sounds, only a longer stretch at either end counts: a room's reflections
can cancel a syllable, but not for so long."""
# Chosen: the voice's own band, which codecs keep and small loudspeakers give.
LEVEL_LOW_HZ, LEVEL_HIGH_HZ = 200.0, 3500.0
COLOUR = 4.0
"""Chosen: music and rooms are not white: the error of a gain is about twice what white noise would give."""
# Chosen: from above a telephone's band, 300 to 3400 Hz (ITU-T G.712, value from memory), to the highest that
# is measured in.
TREBLE_LOW_HZ, TREBLE_HIGH_HZ = 4300.0, 7600.0
# Chosen: 20 dB below what the templates have, where a codec that replaces hiss keeps its level.
NO_TREBLE = 0.01
# Chosen: so many cues, spread evenly, tell a file's band.
FEW_FOR_BAND = 40
# Chosen: within a telephone's band; 4 ms of filter round off no gap of 60 ms.
NARROW_HZ, NARROW_TAPS = 3200.0, 65
_BANDS = ((LEVEL_LOW_HZ, LEVEL_HIGH_HZ), (TREBLE_LOW_HZ, TREBLE_HIGH_HZ))


@dataclass(frozen=True)
class ClipShape:
    """``gain`` is the factor on the template where it is present, good to ``gain_error_db`` (one sigma).

    ``gain`` is read in the voice's band, ``wide_gain`` with the treble lifted. A codec that replaces hiss
    moves the second, a room's reflections the first; a change of level moves both.

    ``gap_s`` is the missing stretch from the cue's onset, (first, last), or None if the cue is whole.
    """

    gain: float
    wide_gain: float
    gain_error_db: float
    gap_s: tuple[float, float] | None
    length_s: float

    @property
    def gains_db(self) -> tuple[float, float]:
        return 20 * float(np.log10(max(self.gain, 1e-9))), 20 * float(np.log10(max(self.wide_gain, 1e-9)))


def is_narrow(
    recording: CheckedSound, templates: dict[str, Template], rate: float, heard: Sequence[Heard]
) -> bool:
    """Return whether the file has only a telephone's band: what it once had above that is gone everywhere.

    There a hiss is not heard at all, so that without this each would be taken for a missing stretch.
    """
    own, there = np.zeros(2), np.zeros(2)
    for cue in heard[:: max(1, len(heard) // FEW_FOR_BAND)]:
        model = templates[cue.key].sound(rate)
        sound = recording.read(round(cue.time_s * ANALYSIS_RATE), len(model))
        n = next_fast_len(len(model), real=True)
        hz = np.arange(n // 2 + 1) * ANALYSIS_RATE / n
        bands = [(hz >= low) & (hz <= high) for low, high in _BANDS]
        for total, signal in ((own, model), (there, sound)):
            power = np.square(np.abs(rfft(signal, n)))
            total += [float(power[band].sum()) for band in bands]
    if not (own > 0).all() or there[0] <= 0:
        return False
    return bool(there[1] / own[1] < NO_TREBLE * there[0] / own[0])


def shape(
    recording: CheckedSound, template: Template, rate: float, heard: Heard, *, narrow: bool = False
) -> ClipShape:
    """Return the level of a heard cue, and what of it is missing; in a telephone's band where `narrow`."""
    place = heard.time_s * ANALYSIS_RATE
    plain = delayed(template.sound(rate), place - round(place))
    at = round(place) - 1
    near = recording.read(at - 1, len(plain) + 1)
    if narrow:
        plain, near = _narrowed(plain), _narrowed(near)
    model = pre_emphasise(plain).astype(np.float64)
    sound = pre_emphasise(near)[1:].astype(np.float64)
    n = -(-len(model) // STEP)
    pad = n * STEP - len(model)
    model_steps = np.pad(model, (0, pad)).reshape(n, STEP)
    sound_steps = np.pad(sound, (0, pad)).reshape(n, STEP)
    cross = (model_steps * sound_steps).sum(axis=1)
    own = (model_steps**2).sum(axis=1)
    gain = max(float(cross.sum() / own.sum()), 1e-9)
    gap = None
    for _ in range(2):
        there = np.ones(n, bool)
        if gap is not None:
            there[gap[0] : gap[1]] = False
        if not own[there].sum() > 0:
            break
        gain = max(float(cross[there].sum() / own[there].sum()), 1e-9)
        rest = (sound_steps[there] - gain * model_steps[there]) ** 2
        noise = float(rest.mean())
        gap = _gap(cross, own, (sound_steps**2).sum(axis=1), gain, noise)
    whole = np.repeat(_outside(n, gap or (0, 0)), STEP)[: len(model)].astype(np.float32)
    in_band, error = _level(plain * whole, near[1:] * whole)
    length_s = len(model) / ANALYSIS_RATE
    span = None if gap is None else (gap[0] * 0.02, min(gap[1] * 0.02, length_s))
    return ClipShape(in_band, gain, error, span, length_s)


def _narrowed(sound: Signal) -> Signal:
    return np.asarray(fftconvolve(sound, _narrow_filter(), mode="same"), dtype=np.float32)


@functools.lru_cache(maxsize=1)
def _narrow_filter() -> Signal:
    return np.asarray(firwin(NARROW_TAPS, NARROW_HZ, fs=ANALYSIS_RATE), dtype=np.float32)


def _outside(n: int, gap: tuple[int, int]) -> npt.NDArray[np.bool_]:
    there = np.ones(n, bool)
    there[gap[0] : gap[1]] = False
    return there


def _level(model: Signal, sound: Signal) -> tuple[float, float]:
    """Return (gain, its error in dB) of `model` in `sound`, read where a voice is and codecs keep the wave.

    A lossy codec replaces hiss by other hiss, which no longer correlates; the voice's own band it keeps.
    """
    n = next_fast_len(len(model), real=True)
    hz = np.arange(n // 2 + 1) * ANALYSIS_RATE / n
    band = (hz >= LEVEL_LOW_HZ) & (hz <= LEVEL_HIGH_HZ)
    a, b = rfft(model, n)[band], rfft(sound, n)[band]
    own = float(np.square(np.abs(a)).sum())
    gain = max(float((np.conj(a) * b).real.sum()) / max(own, 1e-30), 1e-9)
    rest = float(np.square(np.abs(b - gain * a)).mean())
    return gain, 8.7 * float(np.sqrt(COLOUR * rest / (gain**2 * max(own, 1e-30))))


def _gap(
    cross: np.ndarray, own: np.ndarray, sounding: np.ndarray, gain: float, noise: float
) -> tuple[int, int] | None:
    """Return the run of steps whose absence explains the sound best, if that is beyond doubt.

    Having a step in the model lowers the squared error by ``2 g cross - g² own``; where it is missing from
    the sound that is about ``-g² own``. The run with the least sum is sought in one walk.
    """
    saved = 2 * gain * cross - gain**2 * own
    best, low, high, total, first = 0.0, 0, 0, 0.0, 0
    for i, value in enumerate(saved):
        if total >= 0:
            total, first = 0.0, i
        total += float(value)
        if total < best:
            best, low, high = total, first, i + 1
    energy = gain**2 * float(own[low:high].sum())
    length_s = (high - low) * STEP / ANALYSIS_RATE
    if length_s < MIN_GAP_S or -best < ABSENT * energy:
        return None
    if energy < SURE * noise or energy < MIN_SHARE * gain**2 * float(own.sum()):
        return None
    if float(sounding[low:high].sum()) > QUIET * energy:
        at_edge = low <= 1 or high >= len(own) - 1
        if not at_edge or length_s < LOUD_GAP_S or -best < LOUD_ABSENT * energy:
            return None
    return low, high
