"""Written words to words an engine says right: numbers, units, signs and abbreviations spelled out.

Engines read some of these wrongly ("40s" as "forty z", "10-12" as "ten twelve") and each in its own way;
after this, all say the same. English is spelled out here, others by the rules of `number_words`; in a
language without rules punctuation is tidied and figures are left to the engine.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Callable

from cuelane.speech.lexicon import Lexeme, Lexicon
from cuelane.speech.number_words import number_words

PREPARE_VERSION = 1
"""Part of every recipe: raise it when a text would be said differently."""

_NUMBER = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"

# Written unit: (one, many). Longest first where one begins another; capitals matter only for W.
_UNITS = {
    "km/h": ("kilometer an hour", "kilometers an hour"),
    "m/s": ("meter a second", "meters a second"),
    "kph": ("kilometer an hour", "kilometers an hour"),
    "mph": ("mile an hour", "miles an hour"),
    "bpm": ("beat a minute", "beats a minute"),
    "rpm": ("turn a minute", "turns a minute"),
    "kcal": ("kilocalorie", "kilocalories"),
    "reps": ("rep", "reps"),
    "rep": ("rep", "reps"),
    "secs": ("second", "seconds"),
    "sec": ("second", "seconds"),
    "mins": ("minute", "minutes"),
    "min": ("minute", "minutes"),
    "hrs": ("hour", "hours"),
    "hr": ("hour", "hours"),
    "lbs": ("pound", "pounds"),
    "lb": ("pound", "pounds"),
    "kg": ("kilo", "kilos"),
    "km": ("kilometer", "kilometers"),
    "cm": ("centimeter", "centimeters"),
    "mm": ("millimeter", "millimeters"),
    "ms": ("millisecond", "milliseconds"),
    "ft": ("foot", "feet"),
    "W": ("watt", "watts"),
    "g": ("gram", "grams"),
    "h": ("hour", "hours"),
    "m": ("meter", "meters"),
    "s": ("second", "seconds"),
    "%": ("percent", "percent"),
    "°": ("degree", "degrees"),
    "×": ("time", "times"),
    "x": ("time", "times"),
}
# "a 10 kg bell" is ten kilo, "10 kg or less" ten kilos: a word after the unit that is not one of these.
_NOUN = re.compile(
    r" (?!(?:of|or|and|to|for|in|on|at|if|per|each|from|left|right|only|more|less|then|than|is|total)\b)[a-z]"
)
_UNIT = "|".join(re.escape(unit) for unit in sorted(_UNITS, key=lambda unit: (-len(unit), unit)))
_ABBREVIATIONS = {
    r"e\.g\.": "for example",
    r"i\.e\.": "that is",
    r"etc\.": "and so on",
    r"vs\.?": "versus",
    r"approx\.": "about",
    r"incl\.": "including",
    r"max\.": "at most",
    r"min\.": "at least",
    r"no\.(?=\s*\d)": "number",
    r"w/o": "without",
    r"w/": "with",
    r"secs?\.?": "seconds",
    r"mins": "minutes",
}
_SHOUTED = re.compile(r"(?<![\w.])[^\W\d_a-zß-öø-ÿ]{2,}(?: [^\W\d_a-zß-öø-ÿ]{2,})*(?![\w.]\w)(?!\w)")
_SHORTEST_SHOUTED = 4
_VOWEL = re.compile(r"[AEIOUYÀ-ÅÈ-ÏÒ-ÖÙ-Ý]")
_FRACTIONS = {"½": "a half", "¼": "a quarter", "¾": "three quarters", "⅓": "a third", "⅔": "two thirds"}
_WRITTEN_FRACTIONS = {"1/2": "½", "1/4": "¼", "3/4": "¾", "1/3": "⅓", "2/3": "⅔"}


def spoken_as(text: str, language: str = "en", lexicon: Lexicon | None = None) -> str:
    """Return `text` in the words that will be said, ending in a full stop, question or exclamation mark.

    An empty result means that there is nothing to say. `lexicon` replaces words by their alias.
    """
    return prepare(text, language, lexicon, lambda lexeme: lexeme.alias)


def prepare(text: str, language: str, lexicon: Lexicon | None, say: Callable[[Lexeme], str | None]) -> str:
    """Return `text` prepared, with `say` deciding how a word found in the lexicon is handed to the engine."""
    words = _tidy(text)
    words = _without_capitals(words, lexicon)
    if language.split("-")[0].lower() == "en":
        words = _english(words)
    elif (other := number_words(language)) is not None:
        words = other.say(words)
    words = _punctuate(words)
    return lexicon.apply(words, say) if lexicon is not None and words else words


def sentences(prepared: str) -> list[str]:
    """Return the sentences of a prepared text, each with its final mark."""
    return [part for part in re.split(r"(?<=[.!?])\s+", prepared) if re.search(r"\w", part)]


def _tidy(text: str) -> str:
    text = unicodedata.normalize("NFC", text)
    text = text.translate(str.maketrans("’‘‛“”„«»\u00a0\u202f\u2011", '\'\'\'"""""  -'))
    # Engines take [[…]] for phonemes; only the lexicon may send those.
    text = re.sub(r"\[\[|\]\]", " ", text)
    text = text.replace('"', "").replace("…", "...")
    text = re.sub(r"\s*\n\s*", lambda match: "\n", text.strip())
    text = re.sub(r"(?<=[^\s.!?,;:])\n", ". ", text).replace("\n", " ")
    kept = [" " if unicodedata.category(char) in ("So", "Sk", "Cc", "Cf", "Co") and char != "°" else char
            for char in text]  # fmt: skip
    return " ".join("".join(kept).split())


def _without_capitals(text: str, lexicon: Lexicon | None) -> str:
    """Return `text` with words in capitals written small, which engines may spell letter by letter.

    A short one alone is an abbreviation; two in a row, or one of four letters and more, are shouted.
    One without a vowel (``TRX``) or of the lexicon (``EMOM``) stays as it is, wherever it stands.
    """
    known = {spelling for lexeme in (lexicon.lexemes if lexicon else ()) for spelling in lexeme.graphemes}

    def shouted(match: re.Match[str]) -> str:
        words = match[0].split(" ")
        if len(words) == 1 and len(words[0]) < _SHORTEST_SHOUTED:
            return match[0]
        begins = (
            not match.string[: match.start()].strip() or match.string[: match.start()].rstrip()[-1] in ".!?"
        )
        small = [word if word in known or not _VOWEL.search(word) else word.lower() for word in words]
        said = " ".join(small)
        return said[:1].upper() + said[1:] if begins else said

    return _SHOUTED.sub(shouted, text)


def _english(text: str) -> str:
    for written, sign in _WRITTEN_FRACTIONS.items():
        text = re.sub(rf"(?<![\d/]){written}(?![\d/])(?!\s*$)", sign, text)
    text = re.sub(r"(?<=\d)\s?([½¼¾⅓⅔])", r" and \1", text)
    text = re.sub(rf"([½¼¾⅓⅔])\s?({_UNIT})(?![\w/])", _part_of_unit, text)
    text = re.sub(r"(?i)\b(round|set|rep|part|block|day|week)s? ([½¼¾⅓⅔])", _round_of, text)
    text = re.sub(r"(?<!\w)(\d{1,2}):([0-5]\d)(?:\.0+)?(?![\d:])", _clock, text)
    text = re.sub(r"(?<!\w)(\d+)(st|nd|rd|th)\b", lambda match: _words(match[1], "ordinal"), text)
    text = re.sub(r"(?<![\w.])\d+(?:-\d+){2,}(?!\w)", lambda match: match[0].replace("-", ", "), text)
    text = re.sub(rf"(?<![\w.])({_NUMBER})\s*[-–—]\s*(?={_NUMBER})", r"\1 to ", text)
    text = re.sub(rf"(?<![\w.])({_NUMBER})\s*[x×]\s*(?={_NUMBER})", r"\1 times ", text)
    text = re.sub(r"(?<![\w.])(\d+)/(\d+)(?![\w/])", r"\1 of \2", text)
    text = re.sub(r"#(?=\d)", "number ", text)
    text = re.sub(rf"(?<![\w.])({_NUMBER})\s?({_UNIT})(?!\w|/(?!\d))", _measure, text)
    for pattern, said in _ABBREVIATIONS.items():
        text = re.sub(rf"(?<![\w.]){pattern}(?!\w)", _keep_stop(said), text)
    text = re.sub(rf"(?:(?<=\s)|^)[-−](?={_NUMBER})", "minus ", text)
    text = re.sub(rf"(?<![\w.])(?:{_NUMBER})(?![\d])", lambda match: f" {_words(match[0])} ", text)
    for sign, said in _FRACTIONS.items():
        text = text.replace(sign, f" {said} ")
    text = re.sub(r"\s*&\s*", " and ", text)
    text = re.sub(r"(?<=\w)\s*\+\s*(?=\w)", " plus ", text)
    text = re.sub(r"(?<=[^\W\d])/ ?(?=[^\W\d])", " or ", text)
    return " ".join(text.split())


def _punctuate(text: str) -> str:
    text = re.sub(r"\.{2,}\s*$", ".", text)
    text = re.sub(r"\s*\.{2,}\s*", ", ", text)
    text = re.sub(r"\s*[–—]\s*|\s+-+\s+", ", ", text)
    text = re.sub(r"\s*[(\[{]\s*", ", ", text)
    text = re.sub(r"\s*[)\]}]\s*(?=[.,;:!?]|$)", "", text)
    text = re.sub(r"\s*[)\]}]\s*", ", ", text)
    text = re.sub(r"[*_~^|<>\\=`#@]+", " ", text)
    text = re.sub(r"\s+([.,;:!?])", r"\1", text)
    text = re.sub(r"[,;:]+(?=[.,;:!?])|(?<=[.!?])[,;:]+", "", text)
    text = " ".join(text.split()).lstrip(",;:.-!? ").rstrip(",;:- ")
    if not re.search(r"\w", text):
        return ""
    return text if text[-1] in ".!?" else f"{text}."


def _round_of(match: re.Match[str]) -> str:
    written = {sign: written for written, sign in _WRITTEN_FRACTIONS.items()}[match[2]]
    return f"{match[1]} {written}"


def _part_of_unit(match: re.Match[str]) -> str:
    one, many = _UNITS[match[2]]
    return f"{match[1]} {many if match.string[: match.start()].endswith(' and ') else one}"


def _keep_stop(said: str) -> Callable[[re.Match[str]], str]:
    def one(match: re.Match[str]) -> str:
        at_end = match.end() == len(match.string) or re.match(r"\s+[A-Z]", match.string[match.end() :])
        return said + ("." if match[0].endswith(".") and at_end else "")

    return one


def _clock(match: re.Match[str]) -> str:
    minutes, seconds = int(match[1]), int(match[2])
    parts = []
    if minutes:
        parts.append(f"{minutes} minute{'' if minutes == 1 else 's'}")
    if seconds or not minutes:
        parts.append(f"{seconds} second{'' if seconds == 1 else 's'}")
    return " ".join(parts)


def _measure(match: re.Match[str]) -> str:
    one, many = _UNITS[match[2]]
    if match[2] in ("kg", "lb", "lbs") and _NOUN.match(match.string, match.end()):
        return f"{match[1]} {one}"
    return f"{match[1]} {one if match[1] == '1' else many}"


@functools.lru_cache(maxsize=4096)
def _words(number: str, kind: str = "cardinal") -> str:
    from num2words import num2words

    plain = number.replace(",", "")
    if len(plain) > 15:
        return " ".join(num2words(int(digit)) for digit in plain if digit.isdigit())
    if kind == "ordinal":
        said = num2words(int(plain), to="ordinal")
    elif "." in plain:
        whole, _, decimals = plain.partition(".")
        said = " ".join([num2words(int(whole)), "point", *(num2words(int(digit)) for digit in decimals)])
    else:
        said = num2words(int(plain))
    return str(said).replace(",", "").replace("-", " ")
