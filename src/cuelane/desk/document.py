"""A plan file as a document that is edited: each confirmed edit is on the disk, and each can be taken back.

The file stays the single source of truth. It is read again whenever the disk holds something else than what
was last read or written, so an editor and the desk can be used in turn: a change from outside becomes a
version like any other, and an edit that meets it is made on top of it, or handed back if both changed the
same place.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from cuelane.base.errors import DeliveryError
from cuelane.base.files import all_or_nothing
from cuelane.desk.edits import ABSENT, Edit, EditError, Place, Set, data_of, value_at
from cuelane.desk.splice import apply
from cuelane.desk.words import Said
from cuelane.plan.source_text import read_lines, text_of

MAX_STEPS = 500
"""Steps that can be taken back. Asked for were 200; a plan of usual size is a few kilobytes."""


_MOST_FOLLOWED = 20
"""Chosen: more plans than anybody renames before a page that names them looks again, a few seconds later."""
_MOST_OVERTAKEN = 20
"""Chosen: another program that writes the file so often while one edit is made does not stop by itself."""


def digest_of(text: str) -> str:
    """Return what tells one text of a plan from another."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:24]


@dataclass(frozen=True)
class Version:
    """A state of the text. `number` grows with each change, undo and redo among them.

    ``base`` is the digest of the text that the change was made on, empty for what was only read;
    ``followed`` those of the texts before from which this one differs by edits that follow others alone.
    """

    number: int
    text: str
    what: str
    can_undo: bool = False
    can_redo: bool = False
    base: str = ""
    followed: tuple[str, ...] = ()


class ChangedElsewhereError(Exception):
    """Two changes met at one place: `theirs` is what stands there now, `version` the text as it is."""

    def __init__(self, version: Version, theirs: Any) -> None:
        super().__init__("this was changed elsewhere meanwhile")
        self.version = version
        self.theirs = theirs


class _OvertakenError(Exception):
    """Another program put another text into the file after it was read for an edit."""


class Document:
    """One plan file under edit. All methods may be called from several threads."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.RLock()
        self._number = 1
        self._text = self._read()
        self._what = ""
        self._followed: tuple[str, ...] = ()
        self._before: list[tuple[str, str]] = []
        self._after: list[tuple[str, str]] = []

    def now(self) -> Version:
        """Return the present version, a change from outside taken in first.

        Raises
        ------
        PlanError : the file is gone, or is no text of a plan's size.
        """
        with self._lock:
            self._take_in()
            return self._version()

    def edit(
        self,
        edits: Sequence[Edit],
        *,
        what: str,
        number: int,
        was: Any = ABSENT,
        seen: str = "",
        follows: bool = False,
    ) -> Version:
        """Make edits in order, as one step, and write the file; return the new version.

        Parameters
        ----------
        number : the version that the person saw. If the text has moved on since, a lone :class:`Set` is
            made if its place still holds `was`; anything else is refused, since indices may mean other items.
        seen : the digest of the text that the person saw. It counts instead of the number where it is given:
            a desk that was started again counts from 1, and what was taken back is the text it was.
        follows : the edits follow what the person did to another plan at this desk, such as its new name, so
            that no page need ask about them.

        Raises
        ------
        ChangedElsewhereError : as said; nothing was changed.
        EditError : the text cannot be changed so; nothing was changed.
        PlanError : no plan's file may hold the text: it is too large, or no text; nothing was changed.
        DeliveryError : the disk refused; nothing was changed.
        """

        def made() -> Version:
            if self._is_stale(number, seen):
                self._refuse_stale(edits, was)
            text = self._text
            for edit in edits:
                text = apply(text, edit)
            followed = (*self._followed, digest_of(self._text)) if follows else ()
            version = self._step(text, what)
            self._followed = followed[-_MOST_FOLLOWED:]
            return replace(version, followed=self._followed)

        return self._on_newest(made)

    def replace(self, text: str, *, what: str, number: int, seen: str = "") -> Version:
        """Put a new text in place of the one that was seen, as one step. Raises as :meth:`edit` does."""

        def made() -> Version:
            if self._is_stale(number, seen) and text != self._text:
                raise ChangedElsewhereError(self._version(), self._text)
            return self._step(text, what)

        return self._on_newest(made)

    def undo(self, seen: str = "", *, again: bool = False) -> Version:
        """Go one step back, if there is one.

        Parameters
        ----------
        again : whether it was asked for before, on the text with the digest `seen`, and no answer came: if
            it was taken then, it is told as taken now, and not taken twice.

        Raises
        ------
        ChangedElsewhereError : the text is not the one with the digest `seen`, so that the newest step is not
            the one that the person means; nothing was changed.
        """
        return self._travel(self._before, self._after, seen, again)

    def redo(self, seen: str = "", *, again: bool = False) -> Version:
        """Go one step forward again, if there is one; all as :meth:`undo` does."""
        return self._travel(self._after, self._before, seen, again)

    def moved(self, path: Path) -> None:
        """The file has another name; it is the same plan, with the same steps to take back."""
        with self._lock:
            self.path = path

    def tried(self, edits: Sequence[Edit]) -> str:
        """Return the text as it would be with `edits`; nothing is written."""
        with self._lock:
            text = self._text
        for edit in edits:
            text = apply(text, edit)
        return text

    def _on_newest(self, change: Callable[[], Version]) -> Version:
        """Make a change on what the file holds; anew, where another desk or editor was quicker."""
        with self._lock:
            for _ in range(_MOST_OVERTAKEN):
                self._take_in()
                try:
                    return change()
                except _OvertakenError:
                    continue
        raise DeliveryError(f"{self.path}: another program changes it all the time; end that one first")

    def _version(self, base: str = "") -> Version:
        return Version(
            self._number, self._text, self._what, bool(self._before), bool(self._after), base, self._followed
        )

    def _is_stale(self, number: int, seen: str) -> bool:
        return digest_of(self._text) != seen if seen else number != self._number

    def _read(self) -> str:
        return read_lines(self.path, self.path.name).text

    def _take_in(self) -> None:
        """Make a change that came from outside the newest version."""
        text = self._read()
        if text != self._text:
            self._remember("changed outside the desk")
            self._text = text

    def _remember(self, what: str) -> None:
        self._followed = ()
        self._before.append((self._text, self._what))
        del self._before[:-MAX_STEPS]
        self._after.clear()
        self._number += 1
        self._what = what

    def _step(self, text: str, what: str) -> Version:
        base = digest_of(self._text)
        if not text.strip():
            raise EditError(Said("wrong.empty"))
        # What could not be read again would shut the plan, and what was there before, out of the desk.
        text = text_of(text.encode("utf-8"), self.path.name)
        if text != self._text:
            self._write(text)
            self._remember(what)
            self._text = text
        return self._version(base)

    def _write(self, text: str) -> None:
        with all_or_nothing(self.path, owned=[self.path]) as staged:
            staged.write_text(self.path, text)
            staged.check_last(self._require_untouched)

    def _require_untouched(self) -> None:
        """Raise _OvertakenError if the file no longer holds what was last read."""
        if self._read() != self._text:
            raise _OvertakenError

    def _travel(
        self, source: list[tuple[str, str]], other: list[tuple[str, str]], seen: str, again: bool
    ) -> Version:
        def made() -> Version:
            if seen and self._is_stale(0, seen):
                # The newest step the other way leads to the text that it was asked for on.
                if again and other and digest_of(other[-1][0]) == seen:
                    return self._version(seen)
                raise ChangedElsewhereError(self._version(), None)
            base = digest_of(self._text)
            if source:
                text, what = source[-1]
                self._write(text)
                source.pop()
                other.append((self._text, self._what))
                self._text, self._what, self._followed = text, what, ()
                self._number += 1
            return self._version(base)

        return self._on_newest(made)

    def _refuse_stale(self, edits: Sequence[Edit], was: Any) -> None:
        """Raise unless the one edit sets a place that still holds what the person saw there."""
        if len(edits) == 1 and isinstance(edits[0], Set):
            here = _value(self._text, edits[0].path)
            if here is was or (type(here) is type(was) and here == was):
                return
            raise ChangedElsewhereError(self._version(), None if here is ABSENT else here)
        raise ChangedElsewhereError(self._version(), None)


def _value(text: str, path: Place) -> Any:
    try:
        return value_at(data_of(text), path)
    except (EditError, KeyError, IndexError, TypeError):
        return ABSENT
