"""The words of the desk itself, by language: one TOML file each, ``languages/XX_desk.toml``."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources


class WordsOfSection:
    """One section's words, as ``words.copy`` or ``words["copy"]``; a dictionary has a `copy` of its own."""

    def __init__(self, words: dict[str, str]) -> None:
        self._words = words

    def __getitem__(self, key: str) -> str:
        return self._words[key]

    def __getattr__(self, key: str) -> str:
        try:
            return self._words[key]
        except KeyError as error:
            raise AttributeError(key) from error


class DeskWords:
    """The desk's words in one language: ``words.top.undo``, or ``words("hear.speaking", n=3)``."""

    def __init__(self, pack: dict[str, dict[str, str]]) -> None:
        self._pack = pack

    def __getattr__(self, section: str) -> WordsOfSection:
        try:
            return WordsOfSection(self._pack[section])
        except KeyError as error:
            raise AttributeError(section) from error

    def __call__(self, key: str, **values: object) -> str:
        section, _, name = key.partition(".")
        text = self._pack[section][name]
        for slot, value in values.items():
            text = text.replace("{" + slot + "}", str(value))
        return text

    def find(self, section: str, key: str) -> str:
        """Return a word, empty where the pack has none."""
        return self._pack.get(section, {}).get(key, "")

    def flat(self) -> dict[str, str]:
        """Return all words by ``section.key``, for the page's script."""
        return {f"{s}.{key}": text for s, keys in self._pack.items() for key, text in keys.items()}


@cache
def desk_words(language: str = "en") -> DeskWords:
    """Return the desk's words in `language`, or in English where there is no such file."""
    folder = resources.files("cuelane") / "languages"
    file = folder / f"{language.partition('-')[0].lower()}_desk.toml"
    if not file.is_file():
        file = folder / "en_desk.toml"
    return DeskWords(tomllib.loads(file.read_text(encoding="utf-8")))
