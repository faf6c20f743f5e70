"""Which pip leads into what, with its pitch and its length; :mod:`cuelane.audio.tones` makes its sound.

Apart from the sound, since a session is planned without it: the filters that it needs are slow to import.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from cuelane.base.errors import SignalError
from cuelane.base.units import SAMPLE_RATE

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
    n_periods = int((most_frames - 0.5) * pip.frequency_hz / sample_rate)
    n_frames = round(n_periods * sample_rate / pip.frequency_hz) + 1
    if n_frames > most_frames:
        # A half is rounded to the even number.
        n_periods -= 1
        n_frames = round(n_periods * sample_rate / pip.frequency_hz) + 1
    if n_periods < 1:
        raise SignalError(f"a pip of {pip.frequency_hz} Hz does not fit into {most_frames} frames")
    return PipSpec(pip.role, pip.frequency_hz, n_frames)
