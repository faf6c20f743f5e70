"""Words to IPA by eSpeak NG, as the wheel of piper-tts carries it."""

from __future__ import annotations

import functools
import threading
from typing import Any

from cuelane.base.errors import VoiceError
from cuelane.speech.french_liaison import read_apart

_LOCK = threading.Lock()


def phonemes_of(text: str, espeak_voice: str) -> str:
    """Return the phonemes of `text`, with its punctuation; ``[[…]]`` in it is taken for IPA as it stands.

    Parameters
    ----------
    espeak_voice : a voice of eSpeak NG, such as ``en-us``.

    Raises
    ------
    VoiceError : the engine is missing, or has no such voice.
    """
    with _LOCK:
        reader = _reader(espeak_voice)
    pieces = read_apart(text) if espeak_voice == "fr" else [text]
    try:
        # Piper holds a lock of its own round eSpeak NG, which has one voice at a time for the whole process.
        clauses: list[list[str]] = [clause for piece in pieces for clause in reader.phonemize(piece)]
    except RuntimeError as error:
        raise VoiceError(f"eSpeak NG cannot read with its voice {espeak_voice}: {error}") from error
    return " ".join("".join(clause).strip() for clause in clauses)


@functools.cache
def _reader(espeak_voice: str) -> Any:
    try:
        import piper.phonemize_espeak  # noqa: F401
        from piper import PiperVoice
        from piper.config import PhonemeType, PiperConfig
    except ImportError as error:
        raise VoiceError(
            f"the speech engine is missing ({error}); install it with: pip install piper-tts"
        ) from error
    config = PiperConfig(
        num_symbols=1, num_speakers=1, sample_rate=22_050, espeak_voice=espeak_voice,
        phoneme_id_map={}, phoneme_type=PhonemeType.ESPEAK,
    )  # fmt: skip
    # Only its reading of words is used; there is no model to speak with.
    return PiperVoice(session=None, config=config)
