"""Words with their times from sound: what every recogniser gives, and which of them there are.

The light one comes with cuelane and knows English; the strong one is an extra, and knows six languages.
"""

from __future__ import annotations

import importlib.metadata
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from cuelane.base.errors import UsageError
from cuelane.recording import strong_model
from cuelane.recording.recogniser import Audio, FreeListener, HeardWord, has_engine
from cuelane.recording.strong_words import StrongListener

EngineName = Literal["light", "strong"]

STRONG_LANGUAGES = ("en", "es", "fr", "it", "pt", "de")
"""Those that plans are written in; the model knows more."""
_THREADS = 2


class WordListener(Protocol):
    """Hears one piece of sound at a time, of at most ``longest_s`` seconds.

    Sounds with no longer pause than ``join_s`` between them are better heard in one piece.
    """

    longest_s: float
    join_s: float

    def hear(self, samples: Audio) -> list[HeardWord]:
        """Return the words heard in `samples`, shape (n,), 16 kHz mono, full scale 1.0, in order of time."""


@dataclass(frozen=True)
class WordEngine:
    """A recogniser that can be used here.

    ``version`` names the program and its model, as reports and kept analyses have it. ``language`` is
    ISO 639-1. ``make`` loads it; ``is_on_one_core`` says that it uses no more, and can be loaded, and hear a
    piece for itself, in several processes.
    """

    name: EngineName
    version: str
    language: str
    make: Callable[[], WordListener]
    is_on_one_core: bool = False

    @property
    def said(self) -> str:
        """What reports call it."""
        return f"the {self.name} recogniser ({self.version})"

    @property
    def hint(self) -> str:
        """How to have a better one, where there is one."""
        return f"; the strong one makes fewer errors: {strong_model.INSTALL}" if self.name == "light" else ""


@dataclass(frozen=True)
class _Entry:
    languages: tuple[str, ...]
    missing: Callable[[], str]
    """Returns how to install what it lacks, or nothing."""
    engine: Callable[[str], WordEngine]


def _light(language: str) -> WordEngine:
    version = importlib.metadata.version("pocketsphinx")
    return WordEngine("light", f"pocketsphinx {version}", language, FreeListener, is_on_one_core=True)


def _strong(language: str, folder: Path | None = None) -> WordEngine:
    which = f"{strong_model.MODEL_NAME}, {strong_model.MODEL_SHA256[:12]}"
    if folder is not None:
        which = strong_model.own_model(folder)
    version = f"{strong_model.ENGINE} {importlib.metadata.version(strong_model.ENGINE)}, model {which}"
    return WordEngine("strong", version, language, lambda: _strong_listener(folder, language))


def _strong_listener(folder: Path | None, language: str) -> StrongListener:
    model = strong_model.load(folder, _THREADS)
    if language != "en" and not model.model.is_multilingual:
        # It would write whatever it hears as English.
        raise UsageError(f"--recogniser: the model in {folder} knows English only, not {language!r}")
    return StrongListener(model, language)


_ENGINES: dict[str, _Entry] = {
    "strong": _Entry(STRONG_LANGUAGES, lambda: strong_model.missing(), _strong),
    "light": _Entry(("en",), lambda: "" if has_engine() else "pip install pocketsphinx", _light),
}
"""The better one first."""


def choose_engine(asked: str | None, language: str) -> WordEngine | None:
    """Return the recogniser to use for `language`, as a plan names it; None if none can be used.

    Parameters
    ----------
    asked : ``light``, ``strong``, or a folder with a model of the person's own for the strong one; None for
        the best that is installed.

    Raises
    ------
    UsageError : the one asked for is not installed, does not know the language, or is no folder of a model.
    """
    code = language.split("-")[0].lower()
    if asked is None:
        for entry in _ENGINES.values():
            if code in entry.languages and not entry.missing():
                return entry.engine(code)
        return None
    chosen = _ENGINES.get(asked)
    if chosen is None:
        folder = Path(asked)
        strong_model.own_model(folder)
        if not strong_model.has_code():
            raise UsageError(f"--recogniser: the strong recogniser is not installed: {strong_model.INSTALL}")
        return _strong(code, folder)
    if install := chosen.missing():
        raise UsageError(
            f"--recogniser: the {asked} recogniser is not installed; in the folder of cuelane: {install}"
        )
    if code not in chosen.languages:
        known = ", ".join(chosen.languages)
        raise UsageError(
            f"--recogniser: the {asked} recogniser does not know {language!r}; it knows: {known}"
        )
    return chosen.engine(code)
