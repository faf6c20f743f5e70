"""Words by the strong recogniser: one piece of sound in, its words with their times out, in bounded work.

Each piece is encoded, decoded and aligned once. The engine's own loop over a long sound is not used: it goes
back to the end of the last word that it placed, and with a word placed at the loop's own start it never ends.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import VoiceError
from cuelane.recording.recogniser import LISTEN_RATE, HeardWord

Audio = npt.NDArray[np.float32]

# The model's window is 30 s; some of it is left for the silence around a piece.
LONGEST_S = 28.0
MAX_TOKENS = 224
"""The most that one piece may give: half of the model's context, as its authors have it."""
# Chosen: a person says some 5 tokens in a second; a piece that gives more is a loop.
_TOKENS_A_SECOND, _SPARE_TOKENS = 8.0, 16
# The engine's own values: text that packs better repeats itself; text less likely than that is a guess; and
# a guess in what is thought to be silence is none.
MOST_PACKED, LEAST_LOG_PROB, _SILENT = 2.4, -1.0, 0.6
# Chosen: a piece that failed is heard in halves, down to this.
_SHORTEST_HALF_S = 4.0
# Measured: silence before and after a piece helps its first and last word.
_BEFORE_S, _AFTER_S = 0.2, 0.4
# Measured on 23 telephone prompts: with no more than this around a piece recall is what it is in the model's
# whole window (0.95), for a fifth of the work. In 10 ms; even, since the model halves them.
_FRAMES_MORE, _LEAST_FRAMES, _MOST_FRAMES = 200, 800, 3000
_HOP = LISTEN_RATE // 100
# Chosen: as many hypotheses as change the answer on few pieces; more take longer.
_BEAM = 2
# Below one step of 13 bits: nothing was said.
_QUIET = 1e-4
_OPENING = ("¿", "¡", "«", "“", "(", '"', "'")


class StrongListener:
    """Recognises one language with a Whisper model.

    Parameters
    ----------
    model : as :func:`cuelane.recording.strong_model.load` gives it.
    language : ISO 639-1, such as ``es``.
    """

    longest_s = LONGEST_S
    # Chosen: a pause in a sentence is shorter; more gives sentences that have nothing to do with each other.
    join_s = 1.0

    def __init__(self, model: Any, language: str) -> None:
        from faster_whisper.tokenizer import Tokenizer
        from faster_whisper.transcribe import get_suppressed_tokens

        self._model = model
        self._tokenizer = Tokenizer(
            model.hf_tokenizer, model.model.is_multilingual, task="transcribe", language=language
        )
        self._prompt = model.get_prompt(self._tokenizer, [])
        self._suppressed = get_suppressed_tokens(self._tokenizer, [-1])

    def hear(self, samples: Audio) -> list[HeardWord]:
        """Return the words heard in `samples`, shape (n,), 16 kHz mono, full scale 1.0, at most 28 s.

        A word that the model repeats without end, or guesses, has a posterior of 0.
        """
        if len(samples) < LISTEN_RATE // 20 or float(np.abs(samples).max()) < _QUIET:
            return []
        seconds = len(samples) / LISTEN_RATE
        encoded = self._encoded(samples)
        answer, limit = self._generated(encoded, seconds)
        tokens = [token for token in answer.sequences_ids[0] if token < self._tokenizer.eot]
        text = self._tokenizer.decode(tokens).strip()
        log_prob = answer.scores[0] * len(answer.sequences_ids[0]) / (len(answer.sequences_ids[0]) + 1)
        guessed = log_prob < LEAST_LOG_PROB
        if not text or (guessed and answer.no_speech_prob > _SILENT):
            return []
        endless = len(answer.sequences_ids[0]) >= limit or packed(text) > MOST_PACKED
        if endless and seconds >= 2 * _SHORTEST_HALF_S:
            half = len(samples) // 2
            later = [_moved(word, half / LISTEN_RATE) for word in self.hear(samples[half:])]
            return [*self.hear(samples[:half]), *later]
        words = self._placed(encoded, tokens, seconds)
        return [_doubted(word) for word in words] if endless or guessed else words

    def score(self, samples: Audio, texts: Sequence[str]) -> list[float]:
        """Return, for each of `texts`, the mean log probability of its tokens, were they said in `samples`.

        `samples` are 16 kHz mono, shape (n,), at most 28 s. Only scores of the same samples can be compared.
        """
        encoded = self._encoded(samples)
        n_frames = self._n_frames(samples)
        found = []
        for text in texts:
            tokens = self._tokenizer.encode(f" {text.strip()}")[:MAX_TOKENS]
            said = self._model.model.align(encoded, self._tokenizer.sot_sequence, [tokens], n_frames)[0]
            logs = [math.log(max(float(p), 1e-9)) for p in said.text_token_probs]
            found.append(sum(logs) / max(1, len(logs)))
        return found

    def _encoded(self, samples: Audio) -> Any:
        before, after = round(_BEFORE_S * LISTEN_RATE), round(_AFTER_S * LISTEN_RATE)
        piece = np.pad(samples[: round(LONGEST_S * LISTEN_RATE)], (before, after))
        features = self._model.feature_extractor(piece)
        n_frames = min(_MOST_FRAMES, max(_LEAST_FRAMES, 2 * (features.shape[1] // 2) + _FRAMES_MORE))
        features = features[:, :n_frames]
        try:
            return self._model.encode(np.pad(features, ((0, 0), (0, n_frames - features.shape[1]))))
        except (RuntimeError, ValueError) as error:
            raise VoiceError(f"the strong recogniser's model cannot hear this: {str(error)[:300]}") from error

    def _n_frames(self, samples: Audio) -> int:
        return min(_MOST_FRAMES, (len(samples) + round((_BEFORE_S + _AFTER_S) * LISTEN_RATE)) // _HOP)

    def _generated(self, encoded: Any, seconds: float) -> tuple[Any, int]:
        limit = min(MAX_TOKENS, round(_TOKENS_A_SECOND * seconds) + _SPARE_TOKENS)
        answer = self._model.model.generate(
            encoded,
            [self._prompt],
            beam_size=_BEAM,
            max_length=len(self._prompt) + limit,
            return_scores=True,
            return_no_speech_prob=True,
            suppress_blank=True,
            suppress_tokens=self._suppressed,
            # The first word may begin a second into the piece, in steps of 20 ms: the engine's own value.
            max_initial_timestamp_index=50,
        )[0]
        return answer, limit

    def _placed(self, encoded: Any, tokens: Sequence[int], seconds: float) -> list[HeardWord]:
        n_frames = min(_MOST_FRAMES, round((seconds + _BEFORE_S + _AFTER_S) * 100))
        rows = self._model.find_alignment(self._tokenizer, [list(tokens)], encoded, n_frames)[0]
        found: list[HeardWord] = []
        opening = ""
        for row in rows:
            spaced, text = str(row["word"]), str(row["word"]).strip()
            if any(char.isalnum() for char in text):
                onset, end = (min(max(0.0, float(row[at]) - _BEFORE_S), seconds) for at in ("start", "end"))
                word = HeardWord(opening + text, onset, max(onset, end), False, float(row["probability"]))
                found.append(word)
                opening = ""
            elif found and text and not spaced.startswith(" "):
                # A mark belongs to the word before it, an opening one to the word after it.
                found[-1] = replace(found[-1], text=found[-1].text + text)
            else:
                opening = text if text in _OPENING else ""
        return found


def packed(text: str) -> float:
    """Return how much shorter `text` becomes when packed; above 2.4 it repeats itself."""
    plain = text.encode()
    return len(plain) / len(zlib.compress(plain))


def _moved(word: HeardWord, by_s: float) -> HeardWord:
    return replace(word, onset_s=word.onset_s + by_s, end_s=word.end_s + by_s)


def _doubted(word: HeardWord) -> HeardWord:
    return replace(word, posterior=0.0)
