"""Pronunciation lexicons: a subset of W3C PLS 1.0, read as untrusted input.

Read: ``lexicon`` (version 1.0, alphabet ipa, xml:lang), ``lexeme``, ``grapheme``, ``alias``, ``phoneme``;
skipped: ``example``, ``meta`` and ``metadata``. Anything else is an error with its line: a lexicon that
is half understood says words wrong. Source: PLS 1.0, W3C Recommendation of 14 October 2008 (element list from
memory). Departures: a grapheme with a capital in it matches only as written, one without matches any case;
of several pronunciations the first is used, or the one with ``prefer="true"``.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from xml.parsers import expat

from cuelane.base.errors import Mark, PlanError, Problem
from cuelane.base.ordinary import read_ordinary

PLS_NAMESPACE = "http://www.w3.org/2005/01/pronunciation-lexicon"
MAX_BYTES = 1_000_000
MAX_LEXEMES = 20_000
MAX_LENGTH = 200
"""Characters of a spelling, alias or phoneme: one word, or the few that are said for it."""

_MOST_GRAPHEMES = 40_000
# Beyond so many, a text is compared only with the spellings that occur in it.
_MANY = 200

_SEPARATOR = " "
_XML = "http://www.w3.org/XML/1998/namespace"
_KNOWN = {"lexicon", "lexeme", "grapheme", "alias", "phoneme"}
_SKIPPED = {"example", "meta", "metadata"}
_PARENT = {"lexicon": "", "lexeme": "lexicon", "grapheme": "lexeme", "alias": "lexeme", "phoneme": "lexeme"}


@dataclass(frozen=True)
class Lexeme:
    """How one or more spellings are said: as other words (`alias`), as IPA (`phoneme`), or either."""

    graphemes: tuple[str, ...]
    alias: str | None
    phoneme: str | None


@dataclass(frozen=True)
class Lexicon:
    """Lexemes of one language, ready to be applied to texts."""

    language: str
    lexemes: tuple[Lexeme, ...]
    _by_spelling: dict[str, Lexeme] = field(default_factory=dict, repr=False, compare=False)
    _pattern: list[re.Pattern[str]] = field(default_factory=list, repr=False, compare=False)

    def __post_init__(self) -> None:
        for lexeme in self.lexemes:
            for grapheme in lexeme.graphemes:
                self._by_spelling.setdefault(grapheme, lexeme)
        if self._by_spelling and len(self._by_spelling) <= _MANY:
            self._pattern.append(_any_of(self._by_spelling))

    def apply(self, text: str, say: Callable[[Lexeme], str | None]) -> str:
        """Return `text` with each word that has a lexeme replaced by `say(lexeme)`; None leaves it."""
        pattern = self._pattern[0] if self._pattern else self._for(text)
        if pattern is None:
            return text

        def one(match: re.Match[str]) -> str:
            lexeme = self._by_spelling.get(match[0])
            if lexeme is None:
                lexeme = self._by_spelling.get(match[0].lower())
            said = say(lexeme) if lexeme is not None else None
            return match[0] if said is None else said

        return pattern.sub(one, text)

    def _for(self, text: str) -> re.Pattern[str] | None:
        folded = text.casefold()
        present = [spelling for spelling in self._by_spelling if spelling.casefold() in folded]
        return _any_of(present) if present else None


def _any_of(spellings: Iterable[str]) -> re.Pattern[str]:
    """Return a pattern for any of some words, whatever their case, the longest first."""
    ordered = sorted(spellings, key=lambda spelling: (-len(spelling), spelling))
    any_of = "|".join(re.escape(spelling) for spelling in ordered)
    return re.compile(rf"(?<![\w'’])(?:{any_of})(?![\w’]|'\w)", re.IGNORECASE)


def read_lexicon(path: Path) -> Lexicon:
    """Return the lexicon in a PLS file.

    Raises
    ------
    PlanError : unreadable, not well-formed, or holding what this subset does not know; with file and line.
    """
    try:
        content = read_ordinary(path, MAX_BYTES)
    except OSError as error:
        raise PlanError(
            [Problem(Mark(str(path), 1, 1), f"the lexicon cannot be read: {error.strerror or error}")]
        ) from error
    return _lexicon(str(path), content)


@lru_cache(maxsize=8)
def _lexicon(name: str, content: bytes) -> Lexicon:
    """Return the lexicon that is written in `content`. A voice's is asked for with every line it speaks."""
    return _PlsReader(name).read(content)


class _PlsReader:
    def __init__(self, name: str) -> None:
        self._name = name
        self._parser = expat.ParserCreate(namespace_separator=_SEPARATOR)
        self._parser.buffer_text = True
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._text
        self._parser.StartDoctypeDeclHandler = self._doctype
        self._open: list[str] = []
        self._skipping = 0
        self._parts: list[str] = []
        self._graphemes: list[str] = []
        self._said: dict[str, tuple[bool, str]] = {}
        self._n_graphemes = 0
        self._prefer = False
        self._language = ""
        self._lexemes: list[Lexeme] = []

    def read(self, content: bytes) -> Lexicon:
        try:
            self._parser.Parse(content, True)
        except expat.ExpatError as error:
            where = Mark(self._name, error.lineno, error.offset + 1)
            message = f"not well-formed XML: {expat.ErrorString(error.code)}"
            raise PlanError([Problem(where, message)]) from error
        except PlanError:
            raise
        except (LookupError, ValueError) as error:
            # An encoding that Python does not know, or of more bytes a sign than the parser takes.
            raise self._fail(
                f"its encoding cannot be read ({str(error)[:200]}); write it in UTF-8"
            ) from error
        return Lexicon(self._language, tuple(self._lexemes))

    def _fail(self, message: str) -> PlanError:
        mark = Mark(self._name, self._parser.CurrentLineNumber, self._parser.CurrentColumnNumber + 1)
        return PlanError([Problem(mark, message)])

    def _doctype(self, *_: object) -> None:
        raise self._fail("a lexicon may have no DOCTYPE: entities are not read")

    def _start(self, qualified: str, attributes: dict[str, str]) -> None:
        namespace, _, name = qualified.rpartition(_SEPARATOR)
        if self._skipping or name in _SKIPPED:
            self._skipping += 1
            return
        if namespace != PLS_NAMESPACE:
            raise self._fail(f"<{name}> is outside the PLS namespace {PLS_NAMESPACE}")
        if name not in _KNOWN:
            raise self._fail(f"<{name}> is not known here; known are {', '.join(sorted(_KNOWN | _SKIPPED))}")
        inside = self._open[-1] if self._open else ""
        if inside != _PARENT[name]:
            raise self._fail(f"<{name}> belongs in <{_PARENT[name]}>, not in <{inside}>")
        self._open.append(name)
        self._parts = []
        if name == "lexicon":
            self._language = attributes.get(f"{_XML}{_SEPARATOR}lang", "")
            if not self._language:
                raise self._fail('<lexicon> wants xml:lang, such as xml:lang="en"')
            if attributes.get("version") != "1.0":
                raise self._fail('<lexicon> wants version="1.0"')
        if name in ("lexicon", "phoneme") and attributes.get("alphabet", "ipa") != "ipa":
            raise self._fail(f'only alphabet="ipa" is read, got {attributes["alphabet"]!r}')
        if name == "lexeme":
            self._graphemes, self._said = [], {}
        self._prefer = attributes.get("prefer") == "true"

    def _text(self, text: str) -> None:
        if not self._skipping:
            self._parts.append(text)

    def _end(self, _: str) -> None:
        if self._skipping:
            self._skipping -= 1
            return
        name = self._open.pop()
        text = unicodedata.normalize("NFC", " ".join("".join(self._parts).split()))
        self._parts = []
        if name in ("lexicon", "lexeme"):
            if text:
                raise self._fail(f"<{name}> holds loose text: {text[:40]!r}")
            if name == "lexeme":
                self._finish_lexeme()
            return
        if not text:
            raise self._fail(f"<{name}> is empty")
        if len(text) > MAX_LENGTH:
            raise self._fail(f"<{name}> may have {MAX_LENGTH} characters at most, this has {len(text)}")
        if any(mark in text for mark in ("[[", "]]")):
            raise self._fail(f"<{name}> may not hold [[ or ]]")
        if name == "grapheme":
            self._n_graphemes += 1
            if self._n_graphemes > _MOST_GRAPHEMES:
                raise self._fail(f"a lexicon may have {_MOST_GRAPHEMES} spellings at most")
            self._graphemes.append(text)
        elif name not in self._said or (self._prefer and not self._said[name][0]):
            self._said[name] = (self._prefer, text)

    def _finish_lexeme(self) -> None:
        if not self._graphemes:
            raise self._fail("<lexeme> has no <grapheme>")
        if not self._said:
            raise self._fail(f"<lexeme> of {self._graphemes[0]!r} has no <alias> and no <phoneme>")
        if len(self._lexemes) >= MAX_LEXEMES:
            raise self._fail(f"a lexicon may have {MAX_LEXEMES} lexemes at most")
        said = {name: text for name, (_, text) in self._said.items()}
        self._lexemes.append(Lexeme(tuple(self._graphemes), said.get("alias"), said.get("phoneme")))
