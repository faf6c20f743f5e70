"""Figures, units, times and short forms in words, by the rules of a language: ``languages/XX_speech.toml``.

English has rules of its own in `prepare`. A language's file says how num2words calls it, how a number is said
before a thing of either gender, and what its units, fractions, ordinals and short forms are.
"""

from __future__ import annotations

import functools
import re
import tomllib
from collections.abc import Callable, Mapping
from importlib import resources
from typing import Any

# 1.000 and 1.000,5 by the thousand; 2,5 and 2.5 by the decimal; French has a space between thousands.
_THOUSANDS = r"\d{1,3}(?:\.\d{3})+(?:,\d+)?(?![\d.,]*\d)"
_SPACED = r"\d{1,3}(?: \d{3})+(?!\d)"
_PLAIN = r"\d+(?:[.,]\d+)?"
_WRITTEN_FRACTIONS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3"}
_MOST_DIGITS = 15


class NumberWords:
    """The rules of one language; :meth:`say` applies them to a text."""

    def __init__(self, rules: Mapping[str, Any]) -> None:
        self._rules = rules
        self._words: Mapping[str, str] = rules["words"]
        self._units: Mapping[str, list[str]] = rules["units"]
        self._number = "|".join([_THOUSANDS, *([_SPACED] if rules["spaced_thousands"] else []), _PLAIN])
        units = sorted(self._units, key=lambda unit: (-len(unit), unit))
        self._unit = "|".join(re.escape(unit) for unit in units)
        # A unit as it is written short or in words, for what stands after a number and a half.
        self._things = {form: unit for unit in self._units.values() for form in unit[:2]} | {**self._units}
        things = sorted(self._things, key=lambda thing: (-len(thing), thing))
        self._thing = "|".join(re.escape(thing) for thing in things)
        # "Round one starts": a number after such a word counts nothing.
        self._places = re.compile(rf"(?i)\b(?:{rules['counted_of']}|{rules['words']['number']}) $")
        self._fraction = "|".join(re.escape(one) for one in rules["fractions"])

    def say(self, text: str) -> str:
        """Return `text`, tidied before, with every figure, unit and short form in words."""
        number = self._number
        for sign, written in _WRITTEN_FRACTIONS.items():
            text = re.sub(rf"(?<=\d) ?{sign}", f" {written}", text).replace(sign, written)
        for pattern, said in self._rules["short_forms"].items():
            text = re.sub(rf"(?<![\w.]){pattern}(?!\w)", _keep_stop(said), text)
        text = re.sub(r"(?<![\w.,'])(\d{1,2})'([0-5]\d)(?:'')?(?![\w'])", r"\1:\2", text)
        text = re.sub(r"(?<![\w.,'])(\d+)(''?)(?![\w'])", _prime, text)
        text = re.sub(r"(?<!\w)(\d{1,2}):([0-5]\d)(?:[.,]0+)?(?![\d:])", self._clock, text)
        text = self._ordinals(text)
        text = re.sub(r"(?<![\w.,])\d+(?:-\d+){2,}(?!\w)", lambda match: match[0].replace("-", ", "), text)
        text = self._fractions(text)
        text = re.sub(rf"(?<![\w.,])({number})\s*[-–—]\s*({number})(?!\w*[-–—]\d)", self._range, text)
        text = re.sub(
            rf"(?<![\w.,])({number})\s*[x×]\s*(?={number})",
            lambda match: f"{self.number(match[1])} {self._words['times']} ",
            text,
        )
        text = re.sub(
            r"(?<![\w.,])(\d+)/(\d+)(?![\w/])",
            lambda match: f"{self.number(match[1])} {self._words['of']} {self.number(match[2])}",
            text,
        )
        text = re.sub(r"#\s?(?=\d)", f"{self._words['number']} ", text)
        text = re.sub(rf"(?:(?<=\s)|^)[-−](?=(?:{number}))", f"{self._words['minus']} ", text)
        text = re.sub(rf"(?<![\w.,])({number})\s?({self._unit})(?!\w|/(?!\d))", self._measure, text)
        text = re.sub(rf"({number})(?= ?(\w*))", self._counted, text)
        text = re.sub(r"\s*&\s*", f" {self._words['and']} ", text)
        text = re.sub(r"(?<=\w)\s*\+\s*(?=\w)", f" {self._words['plus']} ", text)
        text = re.sub(r"(?<=[^\W\d])/(?=[^\W\d])", f" {self._words['or']} ", text)
        text = " ".join(text.split())
        for pattern, becomes in self._rules["fixes"]:
            text = re.sub(pattern, becomes, text)
        return text

    def number(self, written: str, gender: str | None = None) -> str:
        """Return a number in words, as it stands before a thing of a gender, or alone."""
        plain = written.replace(" ", "")
        if re.fullmatch(_THOUSANDS, plain):
            plain = plain.replace(".", "")
        plain = plain.replace(",", ".")
        if len(plain) > _MOST_DIGITS:
            return " ".join(self._whole(digit) for digit in plain if digit.isdigit())
        whole, _, decimals = plain.partition(".")
        if decimals:
            digits = self._rules["decimals"] == "digits" or decimals.startswith("0") or len(decimals) > 2
            after = " ".join(map(self._whole, decimals)) if digits else self._whole(decimals)
            return f"{self._whole(whole)} {self._words['decimal']} {after}"
        return self._gendered(self._whole(whole), gender)

    def _whole(self, digits: str) -> str:
        return _in_words(int(digits), self._rules["num2words"])

    def _gendered(self, words: str, gender: str | None) -> str:
        for pattern, said in self._rules["before"].get(gender or "", {}).items():
            words = re.sub(pattern, said, words)
        return words

    def _gender_of(self, noun: str) -> str | None:
        """Return the gender of the word after a number; None where no thing follows that is counted."""
        if not noun or noun[0].isdigit() or noun.lower() in self._rules["not_counted"]:
            return None
        for gender, pattern in self._rules["genders"].items():
            if re.match(pattern, noun, re.I):
                return str(gender)
        return "m"

    def _counted(self, match: re.Match[str]) -> str:
        before, after = match.string[: match.start()], match.string[match.end() :]
        left = " " if before and not before[-1].isspace() else ""
        right = " " if after and re.match(r"\w", after) else ""
        # A decimal, and what stands before a comma or at the end, counts nothing.
        noun = match[2] if after.startswith(" ") and not self._places.search(before) else ""
        return f"{left}{self.number(match[1], self._gender_of(noun))}{right}"

    def _measure(self, match: re.Match[str]) -> str:
        one, many, gender = self._units[match[2]]
        return f"{self.number(match[1], gender)} {one if match[1] == '1' else many}"

    def _range(self, match: re.Match[str]) -> str:
        # The second may have a unit or a thing after it, which decides how it is said.
        said = str(self._words["range"]).replace("{a}", self.number(match[1])).replace("{b}", match[2])
        first = said.split()[0]
        return said.removeprefix(f"{first} ") if match.string[: match.start()].endswith(f"{first} ") else said

    def _clock(self, match: re.Match[str]) -> str:
        minutes, seconds = int(match[1]), int(match[2])
        parts = [f"{minutes} min"] if minutes else []
        parts += [f"{seconds} s"] if seconds or not minutes else []
        said = [re.sub(r"(\d+) (\w+)", self._measure, part) for part in parts]
        return f" {self._words['clock']} ".replace("  ", " ").join(said)

    def _ordinals(self, text: str) -> str:
        for rule in self._rules["ordinals"]:

            def one(match: re.Match[str], rule: Mapping[str, Any] = rule) -> str:
                # "Satz 2. Runde 1.": the full stop ends a sentence.
                if match[0].endswith(".") and self._places.search(match.string[: match.start()]):
                    return match[0]
                said = _in_words(int(match[1]), self._rules["num2words"], "ordinal")
                for pattern, ending in rule["endings"].items():
                    said = re.sub(pattern, ending, said)
                return said

            text = re.sub(rf"(?<![\w.,])(\d{{1,3}}){rule['after']}", one, text)
        for pattern, becomes in self._rules["ordinal_fixes"]:
            text = re.sub(pattern, becomes, text)
        return text

    def _fractions(self, text: str) -> str:
        """Say one half and its like, where a thing or nothing is parted: not the second of three rounds."""
        halves = self._rules["half"]

        def with_half(match: re.Match[str]) -> str:
            unit = re.match(rf" ?({self._thing})(?!\w)", match.string[match.end() :])
            one, many, gender = self._things[unit[1]] if unit else ("", "", "m")
            things = one if match[1] == "1" and not halves["always_many"] else many
            number = self.number(match[1], "m" if halves["always_many"] else gender if unit else None)
            return " ".join(str(halves[gender]).format(n=number, things=things).split()) + "\x00"

        text = re.sub(rf"(?<![\w.,/])(\d+) 1/2(?![\d/])(?= ?(?:{self._thing})?(?!\w)| )", with_half, text)
        text = re.sub(rf"\x00 ?(?:{self._thing})(?!\w)", "", text).replace("\x00", "")

        def parted(match: re.Match[str]) -> str:
            if self._places.search(match.string[: match.start()]):
                return match[0]
            noun = re.match(r" (\w+)", match.string[match.end() :])
            unit = self._units.get(noun[1]) if noun else None
            gender = unit[2] if unit else self._gender_of(noun[1]) if noun else None
            forms = self._rules["fractions"][match[1]]
            return str(forms.get(gender or "", forms["alone"]))

        text = re.sub(rf"(?<![\w.,/])(?<!\d )({self._fraction})(?![\d/])", parted, text)
        short = "|".join(re.escape(unit) for unit in self._units if unit.isalpha())
        said = "|".join(
            {re.escape(form) for forms in self._rules["fractions"].values() for form in forms.values()}
        )
        return re.sub(
            rf"(?<!\w)({said}) ({short})(?!\w)", lambda match: f"{match[1]} {self._units[match[2]][0]}", text
        )


def _prime(match: re.Match[str]) -> str:
    """Return 5' as minutes and 30'' as seconds, but for a quotation that ends in a number."""
    if re.search(r"(?<!\w)'\w", match.string[: match.start()] + match[1]):
        return match[0]
    return f"{match[1]} {'min' if len(match[2]) == 1 else 's'}"


def _keep_stop(said: str) -> Callable[[re.Match[str]], str]:
    def one(match: re.Match[str]) -> str:
        rest = match.string[match.end() :]
        ends = not rest.strip() or re.match(r"\s+[A-ZÀ-Þ¿¡]", rest)
        return said + ("." if match[0].endswith(".") and ends else "")

    return one


@functools.lru_cache(maxsize=4096)
def _in_words(value: int, language: str, kind: str = "cardinal") -> str:
    from num2words import num2words

    return str(num2words(value, lang=language, to=kind)).strip()


@functools.cache
def number_words(language: str) -> NumberWords | None:
    """Return the rules of `language`, such as ``pt-BR``; None where there are none."""
    base = language.split("-")[0].lower()
    if not base.isalpha():
        return None
    file = resources.files("cuelane") / "languages" / f"{base}_speech.toml"
    if not file.is_file():
        return None
    return NumberWords(tomllib.loads(file.read_text(encoding="utf-8")))
