"""Recognition that was interrupted goes on where it was; what is kept is whole, known by its sound, few."""

from __future__ import annotations

import numpy as np
import pytest

from cuelane.recording import heard_pieces
from cuelane.recording.heard_pieces import FOLDER, HeardPieces
from cuelane.recording.recogniser import HeardWord
from cuelane.recording.word_engines import WordEngine

PIECES = [np.full(1_600, level, np.float32) for level in (0.1, 0.2, 0.3, 0.4)]


class Counting:
    """Hears one word, the level, in each piece; stops as from the keyboard before piece `stops_at`."""

    longest_s, join_s = 20.0, 0.5

    def __init__(self, stops_at: int = 99) -> None:
        self.n_heard, self._stops_at = 0, stops_at

    def hear(self, samples):
        if self.n_heard == self._stops_at:
            raise KeyboardInterrupt
        self.n_heard += 1
        return [HeardWord(f"{samples[0]:.1f}", 0.01, 0.09, True, 0.625)]


def engine(version: str = "one 1.0", language: str = "en") -> WordEngine:
    return WordEngine("light", version, language, Counting)


def test_an_interrupted_recognition_goes_on_where_it_was(tmp_path):
    """Two pieces heard, stopped in the third: the next run hears the other two, and has the words of all."""
    first = HeardPieces(Counting(stops_at=2), engine(), tmp_path)
    with pytest.raises(KeyboardInterrupt):
        [first.hear(piece) for piece in PIECES]

    listener = Counting()
    again = HeardPieces(listener, engine(), tmp_path)
    words = [again.hear(piece) for piece in PIECES]

    assert listener.n_heard == 2
    assert words == [Counting().hear(piece) for piece in PIECES]
    assert (again.longest_s, again.join_s) == (20.0, 0.5)


def test_another_recogniser_or_language_hears_anew(tmp_path):
    """What one version heard in one language says nothing of another."""
    HeardPieces(Counting(), engine(), tmp_path).hear(PIECES[0])

    for other in (engine("one 1.1"), engine(language="de")):
        listener = Counting()
        HeardPieces(listener, other, tmp_path).hear(PIECES[0])
        assert listener.n_heard == 1


@pytest.mark.parametrize("content", [b"", b"{", b'{"key": "x", "words": [], "seal": "y"}', b"\xff" * 9])
def test_a_damaged_file_is_heard_again(tmp_path, content):
    """So is one whose words were changed, since it is sealed; the file is then whole again."""
    HeardPieces(Counting(), engine(), tmp_path).hear(PIECES[0])
    path = next((tmp_path / FOLDER).glob("??/*.json"))
    whole = path.read_bytes()
    for damaged in (content, whole.replace(b"0.1", b"0.7")):
        path.write_bytes(damaged)
        listener = Counting()

        words = HeardPieces(listener, engine(), tmp_path).hear(PIECES[0])

        assert (listener.n_heard, words[0].text) == (1, "0.1")
        assert path.read_bytes() == whole


def test_a_store_that_cannot_be_written_costs_only_time(tmp_path):
    """A file in the folder's place: the words come all the same."""
    store = tmp_path / "store"
    store.write_text("mine", encoding="utf-8")

    assert HeardPieces(Counting(), engine(), store).hear(PIECES[0])[0].text == "0.1"
    assert store.read_text(encoding="utf-8") == "mine"


def test_the_oldest_are_forgotten(tmp_path, monkeypatch):
    """More than may be kept: those used last stay."""
    import os

    kept = HeardPieces(Counting(), engine(), tmp_path)
    monkeypatch.setattr(heard_pieces, "MAX_PIECES", 3)
    for piece in PIECES:
        kept.hear(piece)
    for path in (tmp_path / FOLDER).glob("??/*.json"):
        # As old as what was heard in it is soft.
        level = float(path.read_bytes().split(b'"text":"')[1][:3])
        os.utime(path, ns=(0, round(level * 10**12)))
    listener = Counting()
    later = HeardPieces(listener, engine(), tmp_path)

    later.hear(PIECES[3])
    later.hear(PIECES[2])

    assert listener.n_heard == 0
    assert len(list((tmp_path / FOLDER).glob("??/*.json"))) == 2
