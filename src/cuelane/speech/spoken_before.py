"""Lines that were spoken before: what the store knows of them, without reading their sound.

To know how long a line is takes its record alone, a tenth of a millisecond; its sound, fifty times as much.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cuelane.audio.store import ClipNote, ClipStore, recipe_key
from cuelane.base.units import SAMPLE_RATE
from cuelane.speech.definition import ClipRecording, Recordings, VoiceDefinition
from cuelane.speech.engines import load_voice
from cuelane.speech.line_length import known_seconds
from cuelane.speech.recipes import Facts, prepared_for, recorded_facts, synthetic_facts
from cuelane.speech.recorded import recording_sha256
from cuelane.speech.sound_doubts import length_doubt
from cuelane.speech.voices import find_voice
from cuelane.speech.wording import lexicon_of

_MOST_FALLBACKS = 4


@dataclass(frozen=True)
class FoundLine:
    """A line that was spoken before, by the voice called `voice`; ``doubt`` as `speak_all` tells it."""

    note: ClipNote
    voice: str
    doubt: str = ""
    fell_back: bool = False


class SpokenBefore:
    """What a voice has spoken before. It stands for the voice's files as they were when it was made.

    Raises
    ------
    PlanError, VoiceError : as `load_voice` does.
    """

    def __init__(self, voice: VoiceDefinition, store: ClipStore, *, n_before: int = 0) -> None:
        self._voice = voice
        self._store = store
        self._n_before = n_before
        self._loaded = load_voice(voice)
        self._lexicon = None if isinstance(self._loaded, Recordings) else lexicon_of(voice)
        self._facts: dict[float, Facts] = {}
        self._fallback: SpokenBefore | None = None

    def find(self, text: str, pace: float) -> FoundLine | None:
        """Return what is known of `text` at `pace`; None where it is yet to be spoken.

        Raises
        ------
        PlanError, UsageError, VoiceError : the voice's own files are wrong, or its engine is missing.
        """
        engine = self._loaded
        if isinstance(engine, Recordings):
            recording = engine.find(text)
            if isinstance(recording, str):
                return self._found_instead(engine.fallback, text, pace)
            return self._recorded(recording, self._voice.name)
        if pace not in self._facts:
            self._facts[pace] = synthetic_facts(engine, pace)
        prepared = prepared_for(engine, text, self._voice, self._lexicon)
        note = self._store.note(recipe_key({**self._facts[pace], "text": prepared})) if prepared else None
        if note is None:
            return None
        expected_s = known_seconds(prepared, self._voice, pace)
        doubt = length_doubt(note.n_frames / SAMPLE_RATE, expected_s) or note.doubt
        return FoundLine(note, self._voice.name, f"{self._voice.name}: {doubt}" if doubt else "")

    def find_file(self, path: Path, voice_name: str) -> FoundLine | None:
        """Return what is known of a person's own recording. Raises VoiceError where it cannot be read."""
        return self._recorded(ClipRecording(path, recording_sha256(path), 0.0), voice_name)

    def _recorded(self, recording: ClipRecording, voice_name: str) -> FoundLine | None:
        note = self._store.note(recipe_key(recorded_facts(recording)))
        return None if note is None else FoundLine(note, voice_name)

    def _found_instead(self, fallback: str, text: str, pace: float) -> FoundLine | None:
        if self._fallback is None:
            if self._n_before + 1 >= _MOST_FALLBACKS:
                return None
            voice = find_voice(fallback, self._voice.plan_folder)
            self._fallback = SpokenBefore(voice, self._store, n_before=self._n_before + 1)
        found = self._fallback.find(text, pace)
        return None if found is None else FoundLine(found.note, found.voice, found.doubt, fell_back=True)
