"""Cuts one take from its recording: rumble filtered out, trimmed with a little air, levelled, ends faded."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
from scipy.signal import butter, sosfiltfilt

from cuelane.audio.clip import audible_span
from cuelane.base.errors import DeliveryError
from cuelane.base.files import reason
from cuelane.media.sound_target import sound_target
from cuelane.meter.gating import clip_loudness_lufs
from cuelane.recording.decode import CLIP_RATE, Recording
from cuelane.recording.quiet_pydub import audio_segment
from cuelane.recording.room_tone import Spectrum, soften

Audio = npt.NDArray[np.float32]

LOUDNESS_LUFS = -23.0
PEAK_DBFS = -1.0
# Chosen: air left before and after; more keeps breaths and fading sounds, and more of the room.
LEAD_S, TAIL_S = 0.08, 0.15
# Chosen: how far beyond a take its edges are sought; more finds soft endings, and more of other sounds.
_SEARCH_S = 0.25
# Chosen: below the pitch of most voices; higher takes more rumble, and thins deep voices.
RUMBLE_HZ = 70.0
_FULL_SCALE_32 = 2**31


def cut_take(
    recording: Recording,
    start_s: float,
    end_s: float,
    *,
    earliest_s: float,
    latest_s: float,
    tone: Spectrum | None = None,
    soften_by_db: float = 0.0,
) -> Audio:
    """Return :func:`cut_with_onset`'s clip alone; shape (n,)."""
    return cut_with_onset(
        recording,
        start_s,
        end_s,
        earliest_s=earliest_s,
        latest_s=latest_s,
        tone=tone,
        soften_by_db=soften_by_db,
    )[0]


def cut_with_onset(
    recording: Recording,
    start_s: float,
    end_s: float,
    *,
    earliest_s: float,
    latest_s: float,
    tone: Spectrum | None = None,
    soften_by_db: float = 0.0,
) -> tuple[Audio, float, float]:
    """Return the sound between two pauses as a clip at 48 kHz, and its onset and end in the recording, in s.

    The clip has shape (n,), full scale 1.0; its loudness is -23 LUFS, its peak at most -1 dBFS.

    Parameters
    ----------
    earliest_s, latest_s : the clip stays between these: the ends of its neighbours.
    tone, soften_by_db : the recording's room tone, and how far to bring it down.
    """
    begin, stop = max(earliest_s, start_s - _SEARCH_S), min(latest_s, end_s + _SEARCH_S)
    raw = recording.full(begin, stop)
    rumble = butter(2, RUMBLE_HZ, "highpass", fs=CLIP_RATE, output="sos")
    clean = np.asarray(sosfiltfilt(rumble, raw), dtype=np.float32)
    if tone is not None:
        clean = soften(clean, tone, soften_by_db)
    onset, end = audible_span(clean, CLIP_RATE)
    clip = clean[max(0, onset - round(LEAD_S * CLIP_RATE)) : end + round(TAIL_S * CLIP_RATE)]
    loudness = clip_loudness_lufs(clip, CLIP_RATE)
    heard_s = begin + onset / CLIP_RATE, begin + end / CLIP_RATE
    if not np.isfinite(loudness):
        return clip, *heard_s
    gain_db = min(LOUDNESS_LUFS - loudness, PEAK_DBFS - 20 * np.log10(np.abs(clip).max() + 1e-9))
    return fade_ends(clip * np.float32(10 ** (gain_db / 20)), LEAD_S / 2, TAIL_S / 2), *heard_s


def fade_ends(clip: Audio, fade_in_s: float, fade_out_s: float) -> Audio:
    """Return `clip` (shape (n,), 48 kHz mono, full scale 1.0) with its ends faded, by pydub at 32 bits."""
    whole = np.clip(np.rint(clip.astype(np.float64) * _FULL_SCALE_32), -_FULL_SCALE_32, _FULL_SCALE_32 - 1)
    data = whole.astype("<i4").tobytes()
    sound = audio_segment()(data=data, sample_width=4, frame_rate=CLIP_RATE, channels=1)
    faded = sound.fade_in(round(fade_in_s * 1000)).fade_out(round(fade_out_s * 1000))
    return np.frombuffer(faded.raw_data, "<i4").astype(np.float32) / np.float32(_FULL_SCALE_32)


def is_clipped(recording: Recording, start_s: float, end_s: float) -> bool:
    """Return whether the take was recorded too loud: eight samples or more in a row at the file's ceiling."""
    samples = np.abs(recording.full(start_s, end_s))
    flat = np.flatnonzero(samples >= min(0.999, float(samples.max(initial=0.0)) - 1e-6))
    if samples.max(initial=0.0) < 0.99 or len(flat) < 8:
        return False
    return bool((flat[7:] - flat[:-7] == 7).any())


def write_clip(path: Path, clip: npt.NDArray[np.float32], target: Path) -> None:
    """Write a clip, shape (n,) at the rate of clips, as 24-bit WAV; `target` is what messages call it.

    Raises DeliveryError if the disk does not take it.
    """

    try:
        with sound_target(path) as file:
            soundfile.write(file, clip, CLIP_RATE, subtype="PCM_24", format="WAV")
    except OSError as error:
        raise DeliveryError(f"{target}: cannot be written: {reason(error)}") from error
    except soundfile.SoundFileError as error:
        raise DeliveryError(f"{target}: cannot be written: {error}") from error
