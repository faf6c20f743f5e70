"""How words are said, for the recogniser: its dictionary's own entries, or phones from espeak's rules.

The recogniser refuses a whole phrase for one word that it does not know, so every word of a text gets a
pronunciation before it is used. Phones are the CMU dictionary's ARPAbet set.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from cuelane.base.language import load_language

_WORD = re.compile(r"[a-z]+(?:'[a-z]+)?")
_NUMBER = re.compile(r"\d+")

# International Phonetic Alphabet, as espeak's en-us voice writes it, to ARPAbet; longest first.
_PHONES = (
    ("tʃ", "CH"), ("dʒ", "JH"), ("aɪə", "AY ER"), ("aɪ", "AY"), ("aʊ", "AW"), ("eɪ", "EY"), ("oʊ", "OW"),
    ("ɔɪ", "OY"), ("ɑːɹ", "AA R"), ("ɔːɹ", "AO R"), ("oːɹ", "AO R"), ("ɪɹ", "IH R"), ("ɛɹ", "EH R"),
    ("ʊɹ", "UH R"), ("iːə", "IY AH"), ("iː", "IY"), ("uː", "UW"), ("ɑː", "AA"), ("ɔː", "AO"), ("ɜː", "ER"),
    ("ɚ", "ER"), ("ɝ", "ER"), ("əl", "AH L"), ("ɪ", "IH"), ("i", "IY"), ("ɛ", "EH"), ("e", "EH"),
    ("æ", "AE"), ("a", "AE"), ("ʌ", "AH"), ("ə", "AH"), ("ɐ", "AH"), ("ᵻ", "IH"), ("ʊ", "UH"), ("u", "UW"),
    ("ɑ", "AA"), ("ɒ", "AA"), ("ɔ", "AO"), ("o", "OW"), ("p", "P"), ("b", "B"), ("t", "T"), ("d", "D"),
    ("k", "K"), ("ɡ", "G"), ("g", "G"), ("f", "F"), ("v", "V"), ("θ", "TH"), ("ð", "DH"), ("s", "S"),
    ("z", "Z"), ("ʃ", "SH"), ("ʒ", "ZH"), ("h", "HH"), ("x", "K"), ("m", "M"), ("n", "N"), ("ŋ", "NG"),
    ("l", "L"), ("ɫ", "L"), ("ɹ", "R"), ("r", "R"), ("ɾ", "T"), ("j", "Y"), ("w", "W"), ("ʔ", "T"),
)  # fmt: skip


def spoken_words(text: str) -> list[str]:
    """Return the words of `text` as they are said: lower case, numbers in words, no punctuation."""
    return [word for token in text.split() for word in token_words(token)]


def token_words(token: str) -> list[str]:
    """Return the spoken words of one written token; a number may be several, a dash none."""
    plain = token.lower().replace("’", "'").replace("%", " percent")
    plain = _NUMBER.sub(lambda found: f" {_number(int(found[0]))} ", plain)
    return _WORD.findall(plain)


def _number(value: int) -> str:
    say = load_language("en").number
    if value <= 99:
        return say(value).replace("-", " ")
    return " ".join(say(int(digit)) for digit in str(value)[:12])


@lru_cache(maxsize=4096)
def phones(word: str) -> str:
    """Return ARPAbet phones for an English `word` by espeak's letter-to-sound rules; never empty."""
    symbols = "".join("".join(part) for part in _phonemizer().phonemize("en-us", word))
    symbols = re.sub("[ˈˌ. ]", "", symbols)
    found: list[str] = []
    position = 0
    while position < len(symbols):
        for symbol, phone in _PHONES:
            if symbols.startswith(symbol, position):
                found.append(phone)
                position += len(symbol)
                break
        else:
            position += 1
    return " ".join(found) or "AH"


@lru_cache(maxsize=1)
def _phonemizer() -> Any:
    from piper.phonemize_espeak import EspeakPhonemizer

    return EspeakPhonemizer()
