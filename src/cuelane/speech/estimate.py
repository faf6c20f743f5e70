"""How long a line will take, from its letters: for a timetable on a machine that has not spoken it.

Seconds for each letter, group of vowels, comma and sentence, fitted for each voice to coaching lines (the
figures stand in its definition). On 50 other lines the natural voice's total was 1.5 % off and the worst line
22 %; espeak-ng's 0.4 % and 29 %.
"""

from __future__ import annotations

from functools import cached_property, lru_cache

from cuelane.audio.clip import audible_span
from cuelane.base.errors import CuelaneError
from cuelane.base.units import SAMPLE_RATE
from cuelane.speech.definition import Recordings, VoiceDefinition
from cuelane.speech.engines import engine_of, load_voice
from cuelane.speech.lexicon import Lexicon
from cuelane.speech.line_length import expected_seconds
from cuelane.speech.prepare import spoken_as
from cuelane.speech.recorded import read_recording
from cuelane.speech.voices import find_voice
from cuelane.speech.wording import lexicon_of

_MOST_FALLBACKS = 4
_KEPT_TEXTS = 8_192
"""More than the lines of any plan that was seen; each is asked for at its pace, and at the voice's own."""


def estimate_seconds(text: str, voice: VoiceDefinition, pace: float = 1.0) -> float:
    """Return about how many seconds `voice` takes for `text`, as :meth:`LineLengths.seconds` does."""
    return LineLengths(voice).seconds(text, pace)


class LineLengths:
    """About how long a voice takes for its lines, by its files as they are when they are first needed.

    For many lines of one voice: its index, its lexicon and the voice that stands in for it are read once.
    """

    def __init__(self, voice: VoiceDefinition, n_fallbacks: int = _MOST_FALLBACKS) -> None:
        self._voice = voice
        self._n_fallbacks = n_fallbacks
        self._words = lru_cache(maxsize=_KEPT_TEXTS)(self._in_words)

    def seconds(self, text: str, pace: float = 1.0) -> float:
        """Return about how many seconds `text` takes; a recording's own length where there is one.

        A text with nothing to say takes no time.

        Raises
        ------
        PlanError, UsageError : the voice's own files are wrong, or its fallback is not there.
        """
        if self._recordings is None:
            return expected_seconds(self._words(text), self._voice, pace)
        recording = self._recordings.find(text)
        if not isinstance(recording, str):
            try:
                onset, end = audible_span(read_recording(recording.path), SAMPLE_RATE)
                return (end - onset) / SAMPLE_RATE
            # A recording that cannot be read falls back when it is spoken, and so here.
            except CuelaneError:
                pass
        return self._fallback.seconds(text, pace)

    def _in_words(self, text: str) -> str:
        return spoken_as(text, self._voice.language, self._lexicon)

    @cached_property
    def _lexicon(self) -> Lexicon | None:
        return lexicon_of(self._voice)

    @cached_property
    def _recordings(self) -> Recordings | None:
        """What the voice has recorded; None for one that speaks, and after too many that do not."""
        if not self._n_fallbacks or engine_of(self._voice).synthetic:
            return None
        recordings = load_voice(self._voice)
        assert isinstance(recordings, Recordings)
        return recordings

    @cached_property
    def _fallback(self) -> LineLengths:
        assert self._recordings is not None
        voice = find_voice(self._recordings.fallback, self._voice.plan_folder)
        return LineLengths(voice, self._n_fallbacks - 1)
