"""A long piece of work in a process of its own: how far it is, what came of it, and a way to stop it.

Not in a thread: a recogniser takes seconds to be made, and lets no other thread run meanwhile, so that the
whole desk would stand still.
"""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from cuelane.base.errors import CuelaneError, UsageError
from cuelane.desk.one_at_a_time import OneAtATime
from cuelane.desk.words import (
    DEFAULT_LANGUAGE,
    Said,
    desk_words,
    problems_told,
    refused_by_system,
    without_options,
)

Told = Callable[[str, int, int], None]
Work = Callable[..., Any]

_LOOK_S = 0.2


class Chore:
    """One piece of work. ``state`` is ``running``, ``done``, ``failed`` or ``stopped``.

    Parameters
    ----------
    work, values : a function of a module, and what it is called with after a function to tell (what, done,
        total) with. All must be picklable, and so must what it returns.
    after : is called when the work has ended, however it did.
    """

    def __init__(self, work: Work, values: tuple[Any, ...], after: Callable[[], None]) -> None:
        self.state = "running"
        self.what, self.done, self.total = "", 0, 0
        self.error: str | Said = ""
        self.result: Any = None
        self._after = after
        self._stop = threading.Event()
        # A spawned child is the same on every system, and inherits no thread's lock half way.
        context = multiprocessing.get_context("spawn")
        self._told_from, to_tell = context.Pipe(duplex=False)
        self._process = context.Process(target=_run, args=(work, values, to_tell), daemon=True)
        self._process.start()
        to_tell.close()
        self._thread = threading.Thread(target=self._follow, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End it."""
        self._stop.set()

    def wait(self, seconds: float) -> bool:
        """Wait until it has ended, so long at most; return whether it has."""
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def to_dict(self) -> dict[str, Any]:
        """Return how far it is, ready for JSON."""
        names = ("state", "what", "done", "total")
        values = {name: getattr(self, name) for name in names}
        lang = desk_words().code if isinstance(self.error, Said) else DEFAULT_LANGUAGE
        return {**values, "error": str(self.error), "lang": lang}

    def _follow(self) -> None:
        state = "failed"
        self.error = Said("job.ended")
        try:
            while not self._stop.is_set():
                if not self._told_from.poll(_LOOK_S):
                    continue
                kind, said = self._told_from.recv()
                if kind == "told":
                    self.what, self.done, self.total = said
                    continue
                if kind == "done":
                    state, self.result, self.error = "done", said, ""
                else:
                    self.error = said
                break
            else:
                state, self.error = "stopped", ""
        except (EOFError, OSError):
            # It ended without a word, or within one; Windows says so by a broken pipe.
            pass
        finally:
            self._process.terminate()
            self._process.join()
            self._told_from.close()
            self._after()
            # Last, since whoever sees that it has ended looks at the rest.
            self.state = state


def _run(work: Work, values: tuple[Any, ...], to_tell: Connection) -> None:
    """Do the work in the child."""

    def told(what: str, done: int, total: int) -> None:
        to_tell.send(("told", (what, done, total)))

    try:
        to_tell.send(("done", work(told, *values)))
    except CuelaneError as error:
        problems = getattr(error, "problems", None)
        message = problems_told(problems) if problems else str(error)
        to_tell.send(("failed", without_options(message)))
    except OSError as error:
        to_tell.send(("failed", refused_by_system(error)))
    except KeyboardInterrupt:
        # From the keyboard the desk is interrupted too, and it is the one that puts things away.
        pass
    except Exception as error:
        # The page must be told, whatever it is.
        to_tell.send(("failed", f"something went wrong in cuelane itself ({type(error).__name__}: {error})"))


class Chores:
    """The long work of a desk, one at a time, by name; what has ended stays to be looked at."""

    def __init__(self, turn: OneAtATime | None = None) -> None:
        self._turn = turn or OneAtATime()
        self._lock = threading.Lock()
        self._known: dict[str, Chore] = {}

    def start(
        self, name: str, what: Said, work: Work, values: tuple[Any, ...], after: Callable[[], None]
    ) -> Chore:
        """Start work under a name; `what` is what the desk is said to be doing meanwhile.

        Raises
        ------
        UsageError : the desk is busy with this or something else; `after` has been called all the same.
        """

        def over() -> None:
            after()
            self._turn.give()

        with self._lock:
            try:
                self._turn.take(what)
            except UsageError:
                after()
                raise
            try:
                self._known[name] = Chore(work, values, over)
            except BaseException:
                over()
                raise
            return self._known[name]

    def get(self, name: str) -> Chore | None:
        """Return the newest work of a name."""
        return self._known.get(name)

    def close(self) -> None:
        """End whatever runs, and wait until its files are put away."""
        for name in list(self._known):
            self.forget(name)

    def forget(self, name: str) -> None:
        """Stop work that has not ended, and forget it."""
        with self._lock:
            chore = self._known.pop(name, None)
        if chore is not None:
            chore.stop()
            chore.wait(10)
