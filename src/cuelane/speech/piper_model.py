"""A Piper model in this process: phonemes to sound, made deterministic.

The model's own randomness is off (both noise scales zero) and every inference runs on one thread: with two,
one line in six came out different in its last bits. Each sentence is spoken apart, so that the pause between
two is ours to set.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.audio.clip import audible_span
from cuelane.base.errors import VoiceError
from cuelane.speech.piper_config import PiperFacts, as_piper
from cuelane.speech.prepare import sentences

Array = npt.NDArray[np.float32]

_LEAD_MS, _TAIL_MS = 30, 60
_SCALES = (0.4, 2.5)
_PACE_TRIALS = 5
_PACE_TOLERANCE = 0.015
_RAW = re.compile(r"\[\[(.*?)\]\]")


class PiperModel:
    """One loaded model.

    Parameters
    ----------
    model : the file's path, or its bytes.
    speaker : which of several; None for the model's default.
    name : of the voice, for messages.

    Raises
    ------
    VoiceError : the engine is missing, or this is no such model.
    """

    def __init__(self, model: Path | bytes, facts: PiperFacts, speaker: int | None, name: str) -> None:
        self._speaker, self._name = speaker, name
        try:
            # All that the engine will import, at once: lines are spoken on several threads, and two first
            # imports at the same time may see each other's modules half made.
            import onnxruntime
            import piper.phonemize_espeak  # noqa: F401
            from piper import PiperVoice
            from piper.config import SynthesisConfig
        except ImportError as error:
            raise VoiceError(
                f"the speech engine is missing ({error}); install it with: pip install piper-tts"
            ) from error
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.inter_op_num_threads = 1
        options.log_severity_level = 3
        try:
            session = onnxruntime.InferenceSession(
                model if isinstance(model, bytes) else str(model),
                sess_options=options,
                providers=["CPUExecutionProvider"],
            )
        # onnxruntime's errors share no base but Exception.
        except Exception as error:
            raise VoiceError(
                f"the model of voice {name} is no Piper model that can be loaded: {str(error)[:300]}"
            ) from error
        self._synthesis_config = SynthesisConfig
        self.piper: Any = PiperVoice(session=session, config=as_piper(facts))

    def speak(self, prepared: str, pace: float, pause_ms: int) -> tuple[Array, int]:
        """Return (samples of shape (n_frames,), sample_rate) for a prepared text.

        Parameters
        ----------
        pace : against the model's own.
        pause_ms : between two sentences.
        """
        sample_rate: int = self.piper.config.sample_rate
        spoken = []
        for sentence in sentences(prepared):
            self._require_known(sentence, self.piper.config.phoneme_id_map)
            phonemes = [phoneme for clause in self.piper.phonemize(sentence) for phoneme in clause]
            if phonemes:
                spoken.append(self._at_pace(self.piper.phonemes_to_ids(phonemes), pace))
        return join_sentences(spoken, sample_rate, pause_ms), sample_rate

    def _at_pace(self, phoneme_ids: list[int], pace: float) -> Array:
        """Return a sentence `pace` times as fast as the model speaks it of itself, to 1.5 % if it can be.

        The model rounds every sound up to whole frames, so that a length scale of 0.9 shortens one sentence
        by 1 % and another by 20 %: the right scale is searched for, sentence by sentence.
        """
        plain = self._infer(phoneme_ids, 1.0)
        if pace == 1.0:
            return plain
        wanted = len(plain) / pace
        # Scales known to give too short and too long a sentence, with the lengths they give.
        low, high = (_SCALES[0], 0.0), (_SCALES[1], 2.0 * max(wanted, len(plain)))
        low, high = (low, (1.0, float(len(plain)))) if pace > 1 else ((1.0, float(len(plain))), high)
        scale = 1 - 1.5 * (1 - 1 / pace)
        best = plain
        for _ in range(_PACE_TRIALS):
            audio = self._infer(phoneme_ids, scale)
            if abs(len(audio) - wanted) < abs(len(best) - wanted):
                best = audio
            if abs(len(audio) - wanted) <= wanted * _PACE_TOLERANCE:
                break
            low, high = (low, (scale, len(audio))) if len(audio) > wanted else ((scale, len(audio)), high)
            share = (wanted - low[1]) / max(1.0, high[1] - low[1])
            scale = round(low[0] + (high[0] - low[0]) * min(0.9, max(0.1, share)), 4)
        return best

    def _infer(self, phoneme_ids: list[int], scale: float) -> Array:
        settings = self._synthesis_config(
            speaker_id=self._speaker,
            length_scale=scale * self.piper.config.length_scale,
            noise_scale=0.0,
            noise_w_scale=0.0,
            normalize_audio=False,
        )
        audio = self.piper.phoneme_ids_to_audio(phoneme_ids, settings)
        return np.asarray(audio, dtype=np.float32).reshape(-1)

    def _require_known(self, sentence: str, known: Mapping[str, Any]) -> None:
        # Piper only logs a phoneme it does not know, and leaves it out.
        for phonemes in _RAW.findall(sentence):
            unknown = sorted({sign for sign in unicodedata.normalize("NFD", phonemes) if sign not in known})
            if unknown:
                raise VoiceError(
                    f"the lexicon's phonemes {phonemes!r} hold {' '.join(unknown)!r}, which the model of "
                    f"voice {self._name} does not know; write them with other IPA signs or use an alias"
                )


def join_sentences(spoken: list[Array], sample_rate: int, pause_ms: int) -> Array:
    """Return sentences one after another, `pause_ms` from the end of one to the onset of the next.

    Each, and the answer, has shape (n_frames,), full scale 1.0; silent ones are left out.
    """
    parts: list[Array] = []
    last_tail = 0
    for audio in spoken:
        onset, end = audible_span(audio, sample_rate)
        if end <= onset:
            continue
        lead = min(onset, sample_rate * _LEAD_MS // 1000)
        tail = min(len(audio) - end, sample_rate * _TAIL_MS // 1000)
        piece = audio[onset - lead : end + tail].copy()
        ramp = np.linspace(0.0, 1.0, min(len(piece), sample_rate // 200), dtype=np.float32)
        piece[: len(ramp)] *= ramp
        piece[len(piece) - len(ramp) :] *= ramp[::-1]
        if parts:
            gap = sample_rate * pause_ms // 1000 - lead - last_tail
            parts.append(np.zeros(max(0, gap), dtype=np.float32))
        parts.append(piece)
        last_tail = tail
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32)
