"""Words of pieces of sound that were heard before, kept in the user's cache folder.

So a class whose recognition was interrupted goes on where it was. A piece is known by its samples and by what
heard it; a file is whole or not there, and one that is damaged is heard again.

A recogniser that works on one core hears several pieces at once, each in a process of its own: pocketsphinx
holds Python's lock while it listens, so that threads would wait for each other.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any

import numpy as np

from cuelane.audio.cache_folder import default_folder
from cuelane.audio.store import recipe_key
from cuelane.audio.store_files import canonical, touch, write_whole
from cuelane.base.cores import n_cores
from cuelane.base.ordinary import read_ordinary
from cuelane.recording.recogniser import Audio, HeardWord
from cuelane.recording.word_engines import WordEngine, WordListener

FOLDER = "heard"
# Chosen: some ten classes of an hour; a piece takes about 2 kB.
MAX_PIECES = 6_000
_MAX_BYTES = 1 << 20
# Chosen: when there are too many, so many stay, those used last.
_SHRINK_TO = 0.8
_TOKEN = "heard"
# Chosen: each process holds the recogniser's model, 150 MB; more cores than that are rare where this runs.
_MOST_PROCESSES = 4


class HeardPieces:
    """A listener that hears no piece of sound twice.

    Parameters
    ----------
    listener : hears what was not heard before.
    engine : whose version and language belong to what is kept.
    store : the folder of everything kept; the user's cache folder by default.
    """

    def __init__(self, listener: WordListener, engine: WordEngine, store: Path | None = None) -> None:
        self._listener, self._engine = listener, engine
        self._store = store or default_folder()
        self.longest_s, self.join_s = listener.longest_s, listener.join_s
        self._forget_oldest()

    def hear(self, samples: Audio) -> list[HeardWord]:
        """Return the words in `samples`, shape (n,), 16 kHz mono, full scale 1.0, in order of time."""
        path = self._path_of(samples)
        known = self._known(path)
        if known is not None:
            return known
        words = self._listener.hear(samples)
        facts = {"key": path.stem, "words": [asdict(word) for word in words]}
        sealed = {**facts, "seal": _seal(facts)}
        # A full or locked disk costs only that it is heard again.
        with contextlib.suppress(OSError):
            write_whole(path, canonical(sealed), self._store, _TOKEN)
        return words

    def hear_each(
        self, sound_of: Callable[[int], Audio], n_pieces: int, *, is_long: bool
    ) -> Iterator[list[HeardWord]]:
        """Yield the words of each piece, in their order, as :meth:`hear` returns them.

        Parameters
        ----------
        sound_of : returns the samples of the piece of a number from 0, shape (n,), 16 kHz mono.
        is_long : there is so much to hear that starting processes pays.
        """
        n_done = 0
        n_processes = _n_processes() if is_long and self._engine.is_on_one_core else 1
        if n_processes > 1:
            with contextlib.suppress(BrokenProcessPool, OSError):
                for words in self._side_by_side(sound_of, n_pieces, n_processes):
                    n_done += 1
                    yield words
        # All of them, or what is left where the system ended a process, as when there is no memory for two,
        # or let none begin, as where there is no shared memory.
        yield from (self.hear(sound_of(number)) for number in range(n_done, n_pieces))

    def _side_by_side(
        self, sound_of: Callable[[int], Audio], n_pieces: int, n_processes: int
    ) -> Iterator[list[HeardWord]]:
        """Yield the words of each piece, heard in processes of their own, and kept there."""
        # A spawned child is the same on every system, and inherits no thread's lock half way.
        context = multiprocessing.get_context("spawn")
        given_up = context.Event()
        pool = ProcessPoolExecutor(n_processes, context, _begin, (given_up,))
        waiting: deque[Callable[[], list[HeardWord]]] = deque()
        try:
            for number in range(n_pieces):
                waiting.append(self._asked(pool, sound_of(number)))
                # Few are waiting at any time, so that memory does not grow with the recording.
                if len(waiting) > 2 * n_processes:
                    yield waiting.popleft()()
            while waiting:
                yield waiting.popleft()()
        finally:
            # Where the work was interrupted, what waits in the processes is left unheard.
            given_up.set()
            pool.shutdown(cancel_futures=True)

    def _asked(self, pool: ProcessPoolExecutor, samples: Audio) -> Callable[[], list[HeardWord]]:
        """Return what waits for the words in `samples`, shape (n,); only what is new goes to a process."""
        known = self._known(self._path_of(samples))
        if known is not None:
            return lambda: known
        with _not_interrupted():
            return pool.submit(_heard, self._engine, self._store, samples).result

    def _path_of(self, samples: Audio) -> Path:
        """Return where the words in `samples`, shape (n,), are kept, under their key."""
        key = recipe_key(
            {
                "engine": self._engine.version,
                "language": self._engine.language,
                "samples": hashlib.sha256(np.ascontiguousarray(samples, np.float32).tobytes()).hexdigest(),
            }
        )
        return self._store / FOLDER / key[:2] / f"{key}.json"

    def _known(self, path: Path) -> list[HeardWord] | None:
        """Return the words that are kept at `path`, now used last; None where there are none."""
        known = _read(path, path.stem)
        if known is not None:
            touch(path)
        return known

    def _forget_oldest(self) -> None:
        with contextlib.suppress(OSError):
            kept = list((self._store / FOLDER).glob("??/*.json"))
            if len(kept) > MAX_PIECES:
                kept.sort(key=lambda path: path.stat().st_mtime_ns)
                for path in kept[: len(kept) - round(_SHRINK_TO * MAX_PIECES)]:
                    path.unlink(missing_ok=True)


def _n_processes() -> int:
    # A process of the desk's must not have children.
    if multiprocessing.current_process().daemon:
        return 1
    return min(_MOST_PROCESSES, n_cores())


@contextlib.contextmanager
def _not_interrupted() -> Iterator[None]:
    """Keep an interrupt from the keyboard until this is over, and for good from processes that begin in it.

    They would say where it met them, until they have come to :func:`_begin`. On Windows they do.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


_given_up: Event | None = None
"""In a process beside the one that asks: nobody waits for words any more."""


def _begin(given_up: Event) -> None:
    """Make this process one that ends with its parent, however that ends, and says nothing of its own."""
    global _given_up
    _given_up = given_up
    # From the keyboard the parent is interrupted too, and it is the one that puts things away.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None

    def watch() -> None:
        parent.join()
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=watch, daemon=True).start()


@functools.cache
def _of_this_process(engine: WordEngine, store: Path) -> HeardPieces:
    return HeardPieces(engine.make(), engine, store)


def _heard(engine: WordEngine, store: Path, samples: Audio) -> list[HeardWord]:
    """Hear a piece, shape (n,), in a process beside the one that asks."""
    if _given_up is not None and _given_up.is_set():
        return []
    return _of_this_process(engine, store).hear(samples)


def _read(path: Path, key: str) -> list[HeardWord] | None:
    """Return the words that `path` holds for `key`, None if there are none or it was damaged."""
    try:
        facts: dict[str, Any] = json.loads(read_ordinary(path, _MAX_BYTES, follow=False))
        if facts.pop("seal") != _seal(facts) or facts["key"] != key:
            return None
        return [HeardWord(**word) for word in facts["words"]]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _seal(facts: Mapping[str, Any]) -> str:
    return hashlib.sha256(canonical(facts)).hexdigest()
