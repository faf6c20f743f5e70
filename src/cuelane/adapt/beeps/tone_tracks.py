"""Steady tones with abrupt ends in a recording, and what repeats among them: proposals for its beeps.

A single tone proves nothing, since speech and music are full of steady tones. Tones only propose a pitch and
a length; the pattern decides (see :mod:`cuelane.adapt.beeps.countdown`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.recording.decode import Recording
from cuelane.recording.recogniser import LISTEN_RATE

Array = npt.NDArray[np.float32]

# Chosen: 32 ms every 8 ms at 16 kHz; longer blurs a tone's ends, shorter its pitch.
WINDOW, N_FFT, HOP = 512, 1024, 128
HOP_S = HOP / LISTEN_RATE
# Chosen: the pitches of beepers and timers; wider takes vowels below and hiss above for tones.
LOWEST_HZ, HIGHEST_HZ = 400.0, 4500.0
# Chosen: from the shortest tone that has a pitch to the longest that ends a countdown.
SHORTEST_S, LONGEST_S = 0.05, 1.2
# Chosen: tones closer than this are one alarm, tones farther apart are no countdown.
SPACINGS_S = (0.4, 2.2)

# Chosen: over the bins around it; lower takes noise for tones, higher loses beeps under music.
_PROMINENCE_DB = 8.0
# Chosen: by how much both ends fall; lower accepts held notes, higher loses beeps with a room's
# reverberation.
_EDGE_DB = 5.0
# Chosen: one standard deviation inside a tone; more takes notes that swell, less loses beeps under music.
_STEADY_DB = 3.0
# Chosen: a minute at once bounds the memory; the overlap is longer than any tone.
_BLOCK_S, _OVERLAP_S = 60.0, 2.0
# Derived: two steps of the tone tracks, which is how exactly a spacing is known.
_SPACING_BIN_S = 0.016
# Chosen: first frames that overlap, which tell a pitch to some Hz, then such that have no samples in common.
_FRAMES_APART = (2, 6, 16)


@dataclass(frozen=True)
class ToneTrack:
    """A steady tone: onset and length in seconds, pitch in Hz."""

    onset_s: float
    length_s: float
    frequency_hz: float


@dataclass(frozen=True)
class Proposal:
    """A tone that may be a beep: pitch, length, its usual spacings, and how much evidence there is."""

    frequency_hz: float
    length_s: float
    spacings_s: tuple[float, ...]
    n_found: int
    n_spaced: int
    usual_gap_s: float
    """The median time from one to the next."""


def tone_tracks(recording: Recording, start_s: float = 0.0, end_s: float | None = None) -> list[ToneTrack]:
    """Return every steady tone of 50 ms to 1.2 s between two times, in order of onset; a block at a time."""
    end_s = recording.seconds if end_s is None else end_s
    tracks: list[ToneTrack] = []
    at = start_s
    while at < end_s:
        samples = recording.low(at, min(end_s, at + _BLOCK_S + _OVERLAP_S))
        tracks.extend(t for t in _tracks_of(samples, at) if t.onset_s < at + _BLOCK_S)
        at += _BLOCK_S
    return sorted(tracks, key=lambda track: track.onset_s)


def _tracks_of(samples: Array, start_s: float) -> Iterator[ToneTrack]:
    if len(samples) < 4 * WINDOW:
        return
    frames = np.lib.stride_tricks.sliding_window_view(samples, WINDOW)[::HOP]
    spectrum = np.fft.rfft(frames * np.hanning(WINDOW).astype(np.float32), N_FFT)
    low, high = round(LOWEST_HZ * N_FFT / LISTEN_RATE), round(HIGHEST_HZ * N_FFT / LISTEN_RATE)
    margin = 16
    power = (np.abs(spectrum[:, low - margin : high + margin]) ** 2 + 1e-9).astype(np.float32)
    level = 10 * np.log10(power)
    # The mean power 6 to 14 bins away on both sides: beyond the window's main lobe of 4 bins.
    total = np.cumsum(power, axis=1, dtype=np.float64)
    centre = np.arange(margin, power.shape[1] - margin)
    around = (
        total[:, centre + 14] - total[:, centre + 5] + total[:, centre - 6] - total[:, centre - 15]
    ) / 18
    here = level[:, centre]
    peak = (here >= level[:, centre - 1]) & (here >= level[:, centre + 1])
    tonal = peak & (here - 10 * np.log10(around + 1e-12) > _PROMINENCE_DB)
    steady = tonal.copy()
    steady[:, 1:] |= tonal[:, :-1]
    steady[:, :-1] |= tonal[:, 1:]
    # A frame or two of disturbance does not end a tone.
    for _ in range(2):
        steady[1:-1] |= steady[:-2] & steady[2:]
    edges = np.diff(steady.astype(np.int8), axis=0, prepend=0, append=0)
    onsets = np.argwhere(edges.T == 1)
    ends = np.argwhere(edges.T == -1)
    length = ends[:, 1] - onsets[:, 1]
    fits = (length * HOP_S >= SHORTEST_S - 0.02) & (length * HOP_S <= LONGEST_S + 0.05)
    taken: set[tuple[int, int]] = set()
    rows = np.column_stack([onsets[fits], ends[fits][:, 1]])
    strength = [here[a:b, f].mean() for f, a, b in rows]
    for index in np.argsort(strength)[::-1]:
        f, a, b = (int(value) for value in rows[index])
        if (a // 4, f // 4) in taken or not _is_abrupt(here[:, f], a, b):
            continue
        taken.update((a // 4 + i, f // 4 + j) for i in (-1, 0, 1) for j in (-1, 0, 1))
        # A tone's neighbouring bins are steady too, and one of them may be what ends abruptly.
        usual = level[a + 1 : b - 1, f + margin - 2 : f + margin + 3].mean(axis=0)
        top = 1 + int(usual[1:4].argmax())
        left, mid, right = usual[top - 1 : top + 2]
        bend = left - 2 * mid + right
        offset = 0.5 * (left - right) / bend if bend < -1e-6 else 0.0
        pitch = (f + low + top - 2 + float(np.clip(offset, -1, 1))) * LISTEN_RATE / N_FFT
        pitch = _by_phase(spectrum[a + 1 : b - 1, low + f + top - 2], pitch)
        # A window shows a tone before the tone fills half of it, at both ends.
        onset_s = start_s + (a * HOP + WINDOW * 0.6) / LISTEN_RATE
        yield ToneTrack(onset_s, max(SHORTEST_S, (b - a) * HOP_S - 0.2 * WINDOW / LISTEN_RATE), pitch)


def _by_phase(course: npt.NDArray[np.complexfloating], near_hz: float) -> float:
    """Return the pitch near `near_hz` of the steady tone that has `course`, shape (n_frames,), in its bin.

    How far its phase turns from frame to frame tells it better than the bins beside it, which noise and
    codecs change; the farther apart the frames, the better, as soon as it is known to less than a turn.
    """
    pitch_hz = near_hz
    for apart in _FRAMES_APART:
        if len(course) < 2 * apart:
            break
        turned = np.angle((course[apart:] * course[:-apart].conj()).sum())
        whole = 2 * np.pi * pitch_hz * apart * HOP_S
        off = float(np.angle(np.exp(1j * (turned - whole))))
        pitch_hz += off / (2 * np.pi * apart * HOP_S)
    return pitch_hz


def _is_abrupt(level: Array, start: int, end: int) -> bool:
    """Whether a tone holds one level and both its ends fall off within some 30 ms."""
    inner = level[start + 2 : end - 2] if end - start > 6 else level[start:end]
    middle = float(np.median(inner))
    before, after = level[max(0, start - 6) : max(1, start - 2)], level[end + 2 : end + 6]
    if not len(after) or float(np.std(inner)) > _STEADY_DB:
        return False
    return bool(middle - before.mean() > _EDGE_DB and middle - after.mean() > _EDGE_DB)


def proposals(tracks: Sequence[ToneTrack]) -> list[Proposal]:
    """Return what repeats among `tracks`, the most regularly spaced first.

    Tones within 1.2 % in pitch and 20 % (or 25 ms) in length are one proposal. Notes of music repeat too,
    but fewer of them have the same distance to the next.
    """
    made = [_proposal(group) for group in _groups(tracks)]
    made.sort(key=lambda p: p.n_spaced**2 / p.n_found, reverse=True)
    return made


def grouped(tracks: Sequence[ToneTrack]) -> list[tuple[list[ToneTrack], Proposal]]:
    """Return groups of three or more like tones, each with what it proposes."""
    return [(group, _proposal(group)) for group in _groups(tracks)]


def _groups(tracks: Sequence[ToneTrack]) -> Iterable[list[ToneTrack]]:
    """Yield groups of like tracks; greedy, the densest neighbourhood first."""
    if not tracks:
        return
    pitch = np.log(np.array([track.frequency_hz for track in tracks]))
    length = np.array([track.length_s for track in tracks])
    left = np.ones(len(tracks), dtype=bool)
    order = np.argsort(pitch)
    low = np.searchsorted(pitch[order], pitch - 0.012)
    high = np.searchsorted(pitch[order], pitch + 0.012)
    near: list[npt.NDArray[np.int64]] = []
    for index in range(len(tracks)):
        close = order[low[index] : high[index]]
        near.append(close[np.abs(length[close] - length[index]) <= max(0.025, 0.2 * length[index])])
    for index in sorted(range(len(tracks)), key=lambda i: -len(near[i])):
        members = [int(i) for i in near[index] if left[i]]
        if left[index] and len(members) >= 3:
            left[members] = False
            yield [tracks[i] for i in members]


def _proposal(group: Sequence[ToneTrack]) -> Proposal:
    onsets = np.sort([track.onset_s for track in group])
    gaps = (onsets[None, :] - onsets[:, None]).ravel()
    gaps = gaps[(gaps >= SPACINGS_S[0]) & (gaps <= SPACINGS_S[1])]
    bins = np.bincount((gaps / _SPACING_BIN_S).astype(int), minlength=2)
    pooled = bins[:-1] + bins[1:]
    spacings: list[float] = []
    counts: list[int] = []
    for index in np.argsort(pooled)[::-1][:6]:
        inside = gaps[(gaps >= index * _SPACING_BIN_S) & (gaps < (index + 2) * _SPACING_BIN_S)]
        if len(inside) < 2 or len(spacings) == 3:
            break
        value = float(np.median(inside))
        if all(abs(value - other) > 0.03 for other in spacings):
            spacings.append(value)
            counts.append(len(inside))
    return Proposal(
        float(np.median([track.frequency_hz for track in group])),
        float(np.median([track.length_s for track in group])),
        tuple(spacings),
        len(group),
        max(counts, default=0),
        float(np.median(np.diff(onsets))) if len(onsets) > 1 else 0.0,
    )
