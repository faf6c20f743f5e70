"""Recognition that was interrupted goes on where it was; what is kept is whole, known by its sound, few."""

from __future__ import annotations

import errno
import multiprocessing
import os
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from cuelane.recording import heard_pieces
from cuelane.recording.heard_pieces import FOLDER, HeardPieces
from cuelane.recording.recogniser import HeardWord
from cuelane.recording.word_engines import WordEngine
from deskkit import PATIENCE_S, until

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


class InItsProcess(Counting):
    """Says in which process it hears a piece."""

    def hear(self, samples):
        return [replace(word, posterior=float(os.getpid())) for word in super().hear(samples)]


class EndedByTheSystem(Counting):
    """Dies as a process does that the system ends, at the third piece, but in the process that asks."""

    def hear(self, samples):
        if samples[0] == PIECES[2][0] and multiprocessing.current_process().name != "MainProcess":
            os._exit(9)
        return super().hear(samples)


def each(listener: type[Counting], tmp_path, *, is_on_one_core: bool = True) -> list[HeardWord]:
    """Return the one word of each of the pieces."""
    one = replace(engine(), make=listener, is_on_one_core=is_on_one_core)
    kept = HeardPieces(listener(), one, tmp_path)
    return [words[0] for words in kept.hear_each(PIECES.__getitem__, len(PIECES), is_long=True)]


@pytest.mark.parametrize("is_on_one_core", [True, False])
def test_pieces_are_heard_side_by_side_in_their_order(tmp_path, monkeypatch, is_on_one_core):
    """In processes of their own where the recogniser uses one core, else in this one; kept in the store."""
    monkeypatch.setattr(heard_pieces, "_n_processes", lambda: 2)

    words = each(InItsProcess, tmp_path, is_on_one_core=is_on_one_core)

    assert [word.text for word in words] == ["0.1", "0.2", "0.3", "0.4"]
    here = [word.posterior == os.getpid() for word in words]
    assert here == [not is_on_one_core] * 4
    again = HeardPieces(Counting(stops_at=0), engine(), tmp_path)
    assert [again.hear(piece)[0] for piece in PIECES] == words


def test_no_process_begins_for_what_was_heard_before(tmp_path, monkeypatch):
    """Adapted again with other lengths, a class has its words at once."""
    monkeypatch.setattr(heard_pieces, "_n_processes", lambda: 2)
    before = each(Counting, tmp_path)

    def refused(*_, **__):
        raise AssertionError("a process begins")

    monkeypatch.setattr(type(multiprocessing.get_context("spawn")), "Process", refused)

    assert each(Counting, tmp_path) == before


def test_what_a_process_leaves_undone_is_heard_here(tmp_path, monkeypatch):
    """Where the system ends one of them, as for want of memory, no word is lost."""
    monkeypatch.setattr(heard_pieces, "_n_processes", lambda: 2)

    words = each(EndedByTheSystem, tmp_path)

    assert [word.text for word in words] == ["0.1", "0.2", "0.3", "0.4"]


@pytest.mark.parametrize("what", ["Event", "Process"])
def test_where_no_process_can_begin_all_is_heard_here(tmp_path, monkeypatch, what):
    """As in a container without shared memory, or where a person may have no more processes."""
    monkeypatch.setattr(heard_pieces, "_n_processes", lambda: 2)
    context = multiprocessing.get_context("spawn")

    def refused(*_, **__):
        raise OSError(errno.EAGAIN, "not now")

    monkeypatch.setattr(type(context), what, refused)

    words = each(Counting, tmp_path)

    assert [word.text for word in words] == ["0.1", "0.2", "0.3", "0.4"]


PROGRAM = """\
import contextlib, os, pathlib, signal, sys, time
from cuelane.recording import heard_pieces
from cuelane.recording.word_engines import WordEngine
import numpy as np

HOME = pathlib.Path(sys.argv[1])

class Slow:
    longest_s, join_s = 20.0, 0.5

    def hear(self, samples):
        (HOME / f"heard-{os.getpid()}").touch()
        time.sleep(float(sys.argv[2]))
        return []

if __name__ == "__mp_main__" and sys.argv[3] == "interrupt":
    # A process that begins: from the keyboard all of them are interrupted, once.
    with contextlib.suppress(FileExistsError):
        (HOME / "interrupted").touch(exist_ok=False)
        os.killpg(0, signal.SIGINT)
if __name__ == "__main__":
    # Python takes no interrupt where a shell started it in the background.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    heard_pieces._n_processes = lambda: 2
    engine = WordEngine("light", "slow 1.0", "en", Slow, is_on_one_core=True)
    kept = heard_pieces.HeardPieces(Slow(), engine, HOME / "store")
    pieces = kept.hear_each(lambda number: np.full(99, number, np.float32), 9, is_long=True)
    try:
        print(len(list(pieces)))
    except KeyboardInterrupt:
        print("put away")
"""


def started(tmp_path, seconds: float, what: str) -> subprocess.Popen[str]:
    """Start a program that hears nine pieces in two processes, each for so long."""
    path = tmp_path / "program.py"
    path.write_text(PROGRAM, encoding="utf-8")
    return subprocess.Popen(
        [sys.executable, str(path), str(tmp_path), str(seconds), what],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


@pytest.mark.skipif(
    sys.platform == "win32",
    reason="the test interrupts all processes of a terminal with os.killpg, which Windows does not have",
)
def test_an_interrupt_while_processes_begin_is_the_parents_alone(tmp_path):
    """From the keyboard all are interrupted; those that are not ready yet say nothing of it."""
    program = started(tmp_path, 0.01, "interrupt")

    said, complaints = program.communicate(timeout=PATIENCE_S)

    assert (tmp_path / "interrupted").exists()
    assert (said, complaints, program.returncode) == ("put away\n", "", 0)


def test_processes_end_with_the_one_that_asks(tmp_path):
    """Killed, as by the system, it leaves none that hears on: its output ends when the last has ended."""
    program = started(tmp_path, 10 * PATIENCE_S, "hear")
    until(lambda: len(list(tmp_path.glob("heard-*"))), lambda n: n == 2)

    program.kill()

    program.communicate(timeout=PATIENCE_S)


def _says_how_many(to_tell):
    to_tell.send(heard_pieces._n_processes())


def test_a_process_that_must_not_have_children_hears_alone():
    """The desk's work is done in such processes."""
    context = multiprocessing.get_context("spawn")
    told_from, to_tell = context.Pipe(duplex=False)
    process = context.Process(target=_says_how_many, args=(to_tell,), daemon=True)
    process.start()
    to_tell.close()

    assert told_from.recv() == 1
    process.join()
