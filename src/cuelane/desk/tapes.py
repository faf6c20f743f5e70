"""The sound of a recorded class for its page: decoded in the background, kept while it is looked at."""

from __future__ import annotations

import shutil
import tempfile
import threading
import weakref
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from cuelane.base.errors import CuelaneError, UsageError
from cuelane.desk.one_at_a_time import OneAtATime
from cuelane.desk.words import Said, told
from cuelane.recording.decode import CLIP_RATE, Recording, open_recording

N_POINTS = 1200
_PATIENCE_S = 20.0


class _StoppedError(Exception):
    """Somebody else's tape is wanted, or the desk ends."""


class Tape:
    """One recording on its way to the disk. ``state`` is ``running``, ``done`` or ``failed``.

    ``envelope`` is its outline: lowest and highest sample of each of `N_POINTS` stretches, full scale 1.0.
    """

    def __init__(self, name: str, source: Path, turn: OneAtATime) -> None:
        self.name = name
        self.state = "running"
        self.error: CuelaneError | OSError | None = None
        self.is_told = False
        self.seconds = 0.0
        self.envelope: list[tuple[float, float]] = []
        self.recording: Recording | None = None
        self._turn = turn
        self._stop = threading.Event()
        self._scratch = tempfile.mkdtemp(prefix="cuelane-class-")
        self.put_away = weakref.finalize(self, shutil.rmtree, self._scratch, True)
        self._thread = threading.Thread(target=self._decode, args=(source,), daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the decoding if it runs, and delete what was decoded."""
        self._stop.set()
        self._thread.join(_PATIENCE_S)
        self.put_away()

    def _decode(self, source: Path) -> None:
        state = "failed"
        try:
            self.recording = open_recording(source, Path(self._scratch), self._told)
            self.envelope = _outline(self.recording)
            state = "done"
        except _StoppedError:
            pass
        except (CuelaneError, OSError) as error:
            self.error = error
        finally:
            self._turn.give()
            # Last, since whoever sees that it has ended looks at the rest.
            self.state = state

    def _told(self, n_frames: int, _: int) -> None:
        if self._stop.is_set():
            raise _StoppedError
        self.seconds = n_frames / CLIP_RATE


class Tapes:
    """The tape that is being looked at: one at a time. All methods may be called from several threads."""

    def __init__(self, turn: OneAtATime) -> None:
        self._turn = turn
        self._lock = threading.Lock()
        self._tape: Tape | None = None

    def look(self, name: str, source: Path) -> dict[str, Any]:
        """Return how far the tape called `name` is; it is begun as soon as nothing else is done.

        ``state`` is that of :class:`Tape`, or ``waiting`` while the desk does something else.
        """
        with self._lock:
            tape = self._tape
            # One that failed is begun again only once somebody has been told.
            if tape is None or tape.name != name or tape.is_told:
                if tape is not None and tape.state == "running":
                    tape.stop()
                try:
                    self._turn.take(Said("busy.tape", name=name))
                except UsageError as error:
                    return {"state": "waiting", "seconds": 0.0, **told(error)}
                if tape is not None:
                    tape.stop()
                tape = self._tape = Tape(name, source, self._turn)
            state = tape.state
            tape.is_told = state == "failed"
        trouble = told(tape.error) if tape.error is not None else {"error": ""}
        return {"state": state, "seconds": round(tape.seconds, 1), **trouble}

    def of(self, name: str) -> Tape:
        """Return the tape called `name`. Raises UsageError before it is ready."""
        with self._lock:
            tape = self._tape
        if tape is None or tape.name != name or tape.state != "done":
            raise UsageError(Said("classes.tape_not_yet"))
        return tape

    def close(self) -> None:
        """Put away what was decoded."""
        with self._lock:
            if self._tape is not None:
                self._tape.stop()
                self._tape = None


def _outline(recording: Recording) -> list[tuple[float, float]]:
    edges = np.linspace(0, recording.n_frames, N_POINTS + 1).astype(int)
    found = []
    for first, last in pairwise(edges):
        # A quarter of a second of each stretch stands for it: its peaks, within what a picture shows.
        samples = recording.full_frames(int(first), int(min(last, first + CLIP_RATE // 4)))
        found.append((float(samples.min(initial=0.0)), float(samples.max(initial=0.0))))
    return found
