"""One long piece of work at a time, whatever part of the desk it belongs to."""

from __future__ import annotations

import threading

from cuelane.base.errors import UsageError
from cuelane.desk.words import Said


class OneAtATime:
    """Who may do long work now. All methods may be called from several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._busy_with: list[Said] = []

    def take(self, what: Said) -> None:
        """Begin work called `what`, as it stands after "The desk is ...".

        Raises
        ------
        UsageError : other work has not ended; the message names it.
        """
        with self._lock:
            if self._busy_with:
                raise UsageError(Said("busy.now", what=self._busy_with[0]))
            self._busy_with.append(what)

    def give(self) -> None:
        """End the work."""
        with self._lock:
            self._busy_with.clear()
