"""How long a line will take, from its letters: for a timetable on a machine that has not spoken it.

Seconds for each letter, group of vowels, comma and sentence, fitted for each voice to coaching lines (the
figures stand in its definition). On 50 other lines the natural voice's total was 1.5 % off and the worst line
22 %; espeak-ng's 0.4 % and 29 %.
"""

from __future__ import annotations

from cuelane.audio.clip import audible_span
from cuelane.base.errors import CuelaneError
from cuelane.base.units import SAMPLE_RATE
from cuelane.speech.definition import Recordings, VoiceDefinition
from cuelane.speech.engines import engine_of, load_voice
from cuelane.speech.line_length import expected_seconds
from cuelane.speech.recorded import read_recording
from cuelane.speech.voices import find_voice
from cuelane.speech.wording import spoken_words

_MOST_FALLBACKS = 4


def estimate_seconds(text: str, voice: VoiceDefinition, pace: float = 1.0) -> float:
    """Return about how many seconds `voice` takes for `text`; a recording's own length where there is one.

    A text with nothing to say takes no time.

    Raises
    ------
    PlanError, UsageError : the voice's own files are wrong, or its fallback is not there.
    """
    for _ in range(_MOST_FALLBACKS):
        if engine_of(voice).synthetic:
            break
        recordings = load_voice(voice)
        assert isinstance(recordings, Recordings)
        recording = recordings.find(text)
        if not isinstance(recording, str):
            try:
                onset, end = audible_span(read_recording(recording.path), SAMPLE_RATE)
                return (end - onset) / SAMPLE_RATE
            # A recording that cannot be read falls back when it is spoken, and so here.
            except CuelaneError:
                pass
        voice = find_voice(recordings.fallback, voice.plan_folder)
    return expected_seconds(spoken_words(text, voice), voice, pace)
