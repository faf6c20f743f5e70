"""Long work of the desk, one piece at a time; how it stands is kept here for a page that is opened anew.

A job is stopped between two steps of its own progress. What it writes is written whole or not at all, so a
job that was stopped leaves nothing behind.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextvars import copy_context
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Literal

from cuelane.base.errors import CuelaneError, UsageError
from cuelane.desk.one_at_a_time import OneAtATime
from cuelane.desk.words import DEFAULT_LANGUAGE, Said, told

Status = Literal["running", "done", "failed", "cancelled"]
Tell = Callable[[str], Callable[[int, int], None]]
"""Gives, for the name of a step, the function to call with (done, of how many)."""

Work = Callable[[Tell], dict[str, Any]]
"""Does the job; returns what the page should know of it."""

Links = Callable[[], list[dict[str, str]]]

_PATIENCE_S = 20.0
"""Chosen: longer than it takes to speak one line, the longest step between two checks for a stop."""


class JobCancelledError(Exception):
    """Somebody stopped this job."""


@dataclass
class Job:
    """One piece of work. ``links`` are places to mend: text and, if it is a field of the plan, its name."""

    number: int
    kind: str
    plan: str
    status: Status = "running"
    step: str = ""
    done: int = 0
    total: int = 0
    message: str = ""
    lang: str = DEFAULT_LANGUAGE
    links: list[dict[str, str]] = field(default_factory=list)
    result: dict[str, Any] = field(default_factory=dict)


class Jobs:
    """The desk's jobs. All methods may be called from several threads."""

    def __init__(self, turn: OneAtATime | None = None) -> None:
        self._turn = turn or OneAtATime()
        self._lock = threading.Lock()
        self._job: Job | None = None
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()

    def start(self, kind: str, plan: str, work: Work, links: Links = list) -> dict[str, Any]:
        """Begin a job and return how it stands.

        Parameters
        ----------
        links : asked when the work fails for the plan's sake: where in the plan it is to be mended.

        Raises
        ------
        UsageError : the desk is busy with this or something else.
        """
        with self._lock:
            self._turn.take(Said(f"busy.{kind}", name=plan))
            number = self._job.number + 1 if self._job is not None else 1
            job = self._job = Job(number, kind, plan)
            self._stop = threading.Event()
            # What the job has to say is worded as for the page that began it.
            run = partial(copy_context().run, self._run, job, work, links, self._stop)
            self._thread = threading.Thread(target=run, daemon=True)
            self._thread.start()
        return self.now()

    def now(self) -> dict[str, Any]:
        """Return the newest job as plain data; an empty object if there was none."""
        with self._lock:
            return dict(vars(self._job)) if self._job is not None else {}

    def cancel(self) -> dict[str, Any]:
        """Ask the running job to stop; it does so at its next step."""
        self._stop.set()
        return self.now()

    def wait(self, patience_s: float = _PATIENCE_S) -> dict[str, Any]:
        """Wait until the newest job has ended, or so long; return how it stands."""
        thread = self._thread
        if thread is not None:
            thread.join(patience_s)
        return self.now()

    def close(self) -> None:
        """Stop what runs, and wait until it has put its things away."""
        self.cancel()
        self.wait()

    def _run(self, job: Job, work: Work, links: Links, stop: threading.Event) -> None:
        def tell(step: str) -> Callable[[int, int], None]:
            def progress(done: int, total: int) -> None:
                if stop.is_set():
                    raise JobCancelledError
                with self._lock:
                    job.step, job.done, job.total = step, done, total

            progress(0, 0)
            return progress

        try:
            result = work(tell)
        except JobCancelledError:
            self._end(job, "cancelled")
        except (CuelaneError, OSError) as error:
            self._end(job, "failed", told(error), self._places(links))
        except Exception as error:
            # A page waits for an answer; without one it would wait for ever.
            broken = UsageError(Said("job.broke", what=f"{type(error).__name__}: {error}"))
            self._end(job, "failed", told(broken))
        else:
            job.result = result
            self._end(job, "done")

    def _places(self, links: Links) -> list[dict[str, str]]:
        try:
            return links()
        except Exception:
            # They are a help beside the message; without an end to the job the desk would stay busy for ever.
            return []

    def _end(
        self,
        job: Job,
        status: Status,
        error: dict[str, str] | None = None,
        links: list[dict[str, str]] | None = None,
    ) -> None:
        with self._lock:
            if error is not None:
                job.message, job.lang = error["error"], error["lang"]
            job.links = links or []
            self._turn.give()
            job.status = status
