"""The page in pieces, so that only those are sent which changed since the page was last told.

A part of the page is text and elements with an id. What a page shows is known by a token. An element that it
shows already is sent as an empty one of the same id, marked ``data-same``, and the page's script leaves the
one that is there as it is; a part of which nothing has changed is not sent at all. An element may carry
attributes that change while its content does not, such as where in the session it starts: those are always
sent.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from markupsafe import Markup

_KEPT = 24
"""What so many answers have told is remembered, for all pages of one plan; others are told all again."""

Content = Sequence["Markup | PagePiece"]
NOTHING = Markup("")


@dataclass(frozen=True)
class PagePiece:
    """An element of the page with an id of its own.

    ``fixed`` holds its attributes, with a space before each; ``moving`` those that may change by themselves.
    """

    tag: str
    id: str
    content: tuple[Markup | PagePiece, ...]
    fixed: Markup = NOTHING
    moving: Markup = NOTHING

    @cached_property
    def digest(self) -> str:
        """What tells this element from another, or from itself when it has changed."""
        return _digest(self.tag, self.id, self.fixed, *_marks(self.content))

    def html(self, known: frozenset[str], above: str = "") -> Markup:
        """Return the element, or what stands for it where a page that knows `known` shows it already."""
        head = Markup('<{0} id="{1}"').format(Markup(self.tag), self.id)
        if above + self.digest in known:
            return head + self.moving + Markup(" data-same></{}>").format(Markup(self.tag))
        inner = _html(self.content, known, self.id)
        return (
            head + self.fixed + self.moving + Markup(">") + inner + Markup("</{}>").format(Markup(self.tag))
        )


class ToldPages:
    """What the pages of one plan have been told. May be used from several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, dict[str, frozenset[str]]] = OrderedDict()

    def changes(self, parts: Mapping[str, Content], token: str) -> tuple[dict[str, Markup], str]:
        """Return what a page must be told of its `parts`, as HTML, and the token by which it then is known.

        Parameters
        ----------
        token : of what the page shows; empty, or one that is not known any more, for all of each part.
        """
        with self._lock:
            before = self._kept.get(token, {})
        now = {name: _known(content) for name, content in parts.items()}
        changed = {
            name: _html(content, before.get(name, frozenset()))
            for name, content in parts.items()
            if not _whole(content) & before.get(name, frozenset())
        }
        shown = {**before, **now}
        made = _digest(*(mark for name in sorted(shown) for mark in (name, *sorted(shown[name]))))
        with self._lock:
            self._kept[made] = shown
            self._kept.move_to_end(made)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return changed, made


def _html(content: Content, known: frozenset[str], above: str = "") -> Markup:
    return Markup("").join(one.html(known, above) if isinstance(one, PagePiece) else one for one in content)


def _marks(content: Content) -> list[str]:
    return [one.digest + one.moving if isinstance(one, PagePiece) else one for one in content]


def _whole(content: Content) -> frozenset[str]:
    return frozenset({"=" + _digest(*_marks(content))})


def _known(content: Content) -> frozenset[str]:
    """Return the marks of a part and of every element in it, each with what it stands in."""
    found = set(_whole(content))

    def add(inner: Content, above: str) -> None:
        for one in inner:
            if isinstance(one, PagePiece):
                found.add(above + one.digest)
                add(one.content, one.id)

    add(content, "")
    return frozenset(found)


def _digest(*parts: str) -> str:
    made = hashlib.blake2b(digest_size=12)
    for part in parts:
        made.update(part.encode("utf-8", "replace"))
        made.update(b"\0")
    return made.hexdigest()
