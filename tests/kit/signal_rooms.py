"""Six ways to record a class: straight, two rooms, a telephone, a levelling phone, a low bit rate.

Impulse responses are synthetic: a direct sound, a few early reflections and an exponential tail.
"""

from __future__ import annotations

import io
import subprocess
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, lfilter, oaconvolve, sosfilt

from signal_kinds import RATE, Rng

Wave = npt.NDArray[np.float64]


def _room(wave: Wave, rng: Rng, tail_s: float, direct_db: float) -> Wave:
    """Convolve with a tail of reverberation time `tail_s`; the direct sound is `direct_db` over the rest."""
    t = np.arange(round(1.2 * tail_s * RATE)) / RATE
    tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / tail_s)
    tail[: round(0.002 * RATE)] = 0
    for _ in range(4):
        tail[round(rng.uniform(0.003, 0.025) * RATE)] += float(rng.choice([-1, 1])) * 6
    tail *= np.sqrt(10 ** (-direct_db / 10) / (tail**2).sum())
    tail[0] = 1.0
    return np.asarray(oaconvolve(wave, tail)[: len(wave)])


def _band(wave: Wave, low_hz: float, high_hz: float) -> Wave:
    return np.asarray(sosfilt(butter(3, [low_hz, high_hz], "bandpass", fs=RATE, output="sos"), wave))


def _levelled(wave: Wave, attack_s: float = 0.01, release_s: float = 0.8) -> Wave:
    """Automatic gain as phones have it: loud sounds turn the gain down quickly, and it comes back slowly."""
    step = 16
    power = np.sqrt(np.maximum(1e-9, (wave[: len(wave) // step * step].reshape(-1, step) ** 2).mean(axis=1)))
    level, held = np.empty(len(power)), 1e-4
    rise, fall = (1 - np.exp(-step / (s * RATE)) for s in (attack_s, release_s))
    for k, value in enumerate(power.tolist()):
        held += (rise if value > held else fall) * (value - held)
        level[k] = held
    gain = np.minimum(6.0, 0.1 / (level + 0.01))
    return wave * np.interp(np.arange(len(wave)), np.arange(len(gain)) * step, gain)


def _coded(wave: Wave, rng: Rng) -> Wave:
    """Through a lossy codec at a low bit rate and back."""
    import imageio_ffmpeg

    program = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error"]
    raw = ["-f", "s16le", "-ar", str(RATE), "-ac", "1"]
    codec = [
        ["-c:a", "libopus", "-b:a", "16k", "-f", "ogg"],
        ["-c:a", "libmp3lame", "-b:a", "24k", "-f", "mp3"],
    ]
    pcm = np.clip(wave * 32_768, -32_768, 32_767).astype(np.int16).tobytes()
    made = subprocess.run(
        [*program, *raw, "-i", "-", *codec[int(rng.integers(2))], "-"],
        input=pcm,
        capture_output=True,
        check=True,
    ).stdout
    back = subprocess.run(
        [*program, "-i", "-", *raw, "-"], input=made, capture_output=True, check=True
    ).stdout
    heard = np.frombuffer(io.BytesIO(back).read(), np.int16) / 32_768
    out = np.zeros(len(wave))
    # Where the decoder leaves a delay it is taken out by correlation, so that the truth stays true.
    n = min(len(heard), len(wave))
    part = slice(0, min(n, 20 * RATE))
    size = 2 * (part.stop or 0)
    both = np.fft.irfft(np.fft.rfft(heard[part], size) * np.conj(np.fft.rfft(wave[part], size)))
    lag = int(both.argmax())
    heard = heard[lag:] if lag < RATE else heard
    n = min(len(heard), len(wave))
    out[:n] = heard[:n]
    return out


def _noisy(wave: Wave, rng: Rng, dbfs: float) -> Wave:
    pink = lfilter([0.05], [1, -0.95], rng.standard_normal(len(wave)))
    return wave + pink / pink.std() * 10 ** (dbfs / 20)


ROOMS: dict[str, Callable[[Wave, Rng], Wave]] = {
    "straight": lambda w, r: _noisy(w, r, -62),
    "room": lambda w, r: _noisy(_room(w, r, r.uniform(0.3, 0.5), r.uniform(2, 8)), r, -55),
    "hall": lambda w, r: _noisy(_room(w, r, r.uniform(0.9, 1.4), r.uniform(-2, 4)), r, -52),
    "telephone": lambda w, r: _noisy(_band(_room(w, r, 0.3, 3), 300, 3400), r, -48),
    "levelled": lambda w, r: _levelled(_noisy(_room(w, r, 0.35, 5), r, -50)),
    "low bit rate": lambda w, r: _coded(_noisy(_room(w, r, 0.25, 8), r, -58), r),
}
