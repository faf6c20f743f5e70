"""Lines of a script heard by a recogniser that writes freely: words made alike, doubts, confirmations.

The recogniser is a stand-in that hears and scores what a test says; the real one is an extra.
"""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from cuelane.base.errors import UsageError
from cuelane.recording import strong_model
from cuelane.recording.recogniser import HeardWord
from cuelane.recording.word_engines import _strong_listener
from cuelane.takes.line_scores import weighed
from cuelane.takes.line_words import LineKeys, words_of
from cuelane.takes.matching import SURE_TAKE, HeardPiece, match_takes
from cuelane.takes.splitting import parts_of

LINES = ["Fifteen seconds left.", "Fifty seconds left.", "Keep your heels heavy.", "Login to the row four."]


def pieces(*texts: str) -> list[HeardPiece]:
    """Pieces of a second and a pause each, heard as `texts`."""
    out = []
    for k, text in enumerate(texts):
        words = words_of(text, "en")
        heard = tuple(HeardWord(word, 2.0 * k, 2.0 * k + 1) for word in words)
        out.append(HeardPiece(2.0 * k, 2.0 * k + 1.2, heard))
    return out


class Scorer:
    """Gives each text the score that a test says; -9 for others. Counts how often it is asked."""

    def __init__(self, **scores: float) -> None:
        self._scores = {text.replace("_", " "): score for text, score in scores.items()}
        self.n_asked = 0

    def score(self, samples, texts):
        self.n_asked += 1
        return [self._scores.get(" ".join(words_of(text, "en")), -9.0) for text in texts]


def judged(scorer: Scorer, *heard: str):
    said = partial(words_of, language="en")
    takes = match_takes(pieces(*heard), [said(line) for line in LINES], LineKeys(LINES, "en"))
    return weighed(takes, LINES, lambda start, end: np.zeros(16_000, np.float32), scorer, said)


@pytest.mark.parametrize(
    ("text", "language", "words"),
    [
        ("In 4 Sekunden: über die Bank!", "de", ["in", "vier", "sekunden", "über", "die", "bank"]),
        ("Dernières 20 secondes, c'est ça.", "fr", ["dernières", "vingt", "secondes", "c'est", "ça"]),
        ("¡Última ronda, 3 más!", "es", ["última", "ronda", "tres", "más"]),
        ("Number 12, go.", "en", ["number", "twelve", "go"]),
    ],
)
def test_words_are_as_they_are_said_in_each_language(text, language, words):
    assert words_of(text, language) == words


def test_words_that_sound_alike_have_one_key():
    keys = LineKeys(LINES, "en")

    assert keys(["log", "in", "two", "the", "row", "for"]) == keys(words_of(LINES[3], "en"))
    assert keys(["fifteen"]) != keys(["fifty"])
    assert LineKeys(["Log in to the row four."], "en")(["login"]) == keys(["log"]) + keys(["in"])


def test_accents_do_not_tell_words_apart():
    keys = LineKeys(["Última ronda, tres más."], "es")

    assert keys(["ultima", "mas"]) == keys(["última", "más"])


def test_a_line_written_otherwise_but_said_alike_is_sure():
    scorer = Scorer()

    (take,) = judged(scorer, "Log in two the row for")

    assert (take.line, take.confidence) == (3, 1.0)
    assert scorer.n_asked == 0


def test_a_line_whose_rival_is_as_likely_is_doubted():
    (take,) = judged(Scorer(fifteen_seconds_left=-0.5, fifty_seconds_left=-0.6), "Fifteen seconds left")

    assert take.confidence < SURE_TAKE
    assert take.doubt == "sounds nearly as much like line 2: 'Fifty seconds left.'"


def test_a_line_whose_rival_is_far_less_likely_is_sure():
    (take,) = judged(Scorer(fifteen_seconds_left=-0.5, fifty_seconds_left=-3.0), "Fifteen seconds left")

    assert take.confidence == 1.0


def test_a_line_heard_a_little_wrong_is_confirmed_by_its_own_words():
    (take,) = judged(Scorer(keep_your_heels_heavy=-0.9, keep_your_eels_heavy=-0.6), "Keep your eels heavy")

    assert take.confirmed
    assert take.confidence == SURE_TAKE


def test_another_word_in_a_line_is_not_confirmed():
    """What was heard is far likelier than the line: the reader said something else."""
    (take,) = judged(Scorer(keep_your_heels_heavy=-1.9, keep_your_knees_heavy=-0.2), "Keep your knees heavy")

    assert not take.confirmed
    assert take.confidence < SURE_TAKE


def test_only_the_last_reading_of_a_line_is_confirmed():
    scores = Scorer(keep_your_heels_heavy=-0.9, keep_your_eels_heavy=-0.6)

    first, second = judged(scores, "Keep your eels heavy", "Keep your eels heavy")

    assert [first.confirmed, second.confirmed] == [False, True]


def test_a_model_that_knows_english_only_is_refused_for_another_language(monkeypatch):
    """It would write Spanish as English words; the message names the folder and the language."""
    model = SimpleNamespace(model=SimpleNamespace(is_multilingual=False))
    monkeypatch.setattr("cuelane.recording.strong_model.load", lambda folder, n_threads: model)

    with pytest.raises(UsageError, match="small-en knows English only, not 'es'"):
        _strong_listener(Path("small-en"), "es")


class Extractor:
    """Makes features of so many bands."""

    def __init__(self, feature_size):
        self.mel_filters = np.zeros((feature_size, 201), np.float32)


def whisper_of(n_mels: int, n_bands: int):
    return SimpleNamespace(model=SimpleNamespace(n_mels=n_mels), feature_extractor=Extractor(n_bands))


@pytest.mark.parametrize("n_mels", [80, 128])
def test_a_model_of_ones_own_gets_as_many_bands_as_it_takes(monkeypatch, tmp_path, n_mels):
    """Without a preprocessor_config.json the engine makes 80 bands, which a model of 128 cannot hear."""
    model = whisper_of(n_mels, 80)
    engine = SimpleNamespace(WhisperModel=lambda name, **options: model)
    monkeypatch.setitem(sys.modules, "faster_whisper", engine)

    loaded = strong_model.load(tmp_path, 1)

    assert loaded.feature_extractor.mel_filters.shape == (n_mels, 201)


def test_a_long_piece_is_heard_in_parts_cut_at_its_pauses():
    """70 s of sound with pauses of 60 ms at 24 and 45.5 s: three parts of at most 28 s, cut in the pauses."""
    sound = np.random.default_rng(3).normal(0, 0.1, 70 * 16_000).astype(np.float32)
    for at_s in (24.0, 45.5):
        sound[round(at_s * 16_000) : round((at_s + 0.06) * 16_000)] = 0.0
    low = lambda a, b: sound[round((a - 100) * 16_000) : round((b - 100) * 16_000)]  # noqa: E731

    parts = parts_of(low, 100.0, 170.0, 28.0)

    (start, one), (two, three), (four, end) = parts
    assert (start, two, four, end) == (100.0, one, three, 170.0)
    assert 124.0 < one < 124.06
    assert 145.5 < three < 145.56
    assert parts_of(low, 100.0, 128.0, 28.0) == [(100.0, 128.0)]


def test_the_known_model_takes_no_settings_from_the_folder_where_cuelane_is_run(monkeypatch):
    """The engine reads what it is not given from a folder of the model's name; so it is given all."""
    given = {}
    model = whisper_of(80, 80)
    engine = SimpleNamespace(WhisperModel=lambda name, **options: given.update(options) or model)
    monkeypatch.setitem(sys.modules, "faster_whisper", engine)
    monkeypatch.setattr(strong_model, "missing", lambda: "")
    monkeypatch.setattr(strong_model, "model_files", dict)

    strong_model.load(None, 1)

    assert given["files"] == {"preprocessor_config.json": b"{}"}
