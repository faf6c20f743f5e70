"""The speech engines there are. A new one is a module like ``natural``, and one line here.

An engine's module has its settings (what a definition may say), its voice (what speaks) and an ``ENGINE``
that names both; see `Engine`. Nothing else in the program names an engine.
"""

from __future__ import annotations

from cuelane.speech import natural, recorded, styled, system
from cuelane.speech.definition import Engine, Recordings, Voice, VoiceDefinition

_ALL = (
    natural.ENGINE,
    styled.ENGINE,
    system.ENGINE,
    recorded.ENGINE,
)

ENGINES: dict[str, Engine] = {engine.name: engine for engine in _ALL}


def engine_of(voice: VoiceDefinition) -> Engine:
    """Return the engine that speaks for `voice`."""
    return ENGINES[voice.engine]


def load_voice(voice: VoiceDefinition) -> Voice | Recordings:
    """Return what speaks for `voice`; its model is loaded when the first line is spoken.

    Raises
    ------
    PlanError : the voice's own files are wrong.
    VoiceError : the engine is missing.
    """
    return engine_of(voice).load(voice)
