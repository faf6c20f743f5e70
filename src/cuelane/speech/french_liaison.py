"""Where a French sentence is read in one breath, and where a liaison would be wrong or stilted.

eSpeak NG sounds a silent last consonant before every vowel: "bois-z-un peu", "les genoux-z-à hauteur". A
coach sounds it only where grammar asks for it: after determiners, pronouns, short prepositions and adverbs,
numbers, and adjectives that stand before their noun ("liaison obligatoire" in Grevisse, *Le bon usage*, and
most school grammars; the list of words is our own, from memory). Anywhere else it is optional or forbidden.
"""

from __future__ import annotations

import re

VERSION = 1
"""Part of the recipe of a French clip: raise it when the same text would be read otherwise."""

# Liaison is left to eSpeak NG after these.
_LINKS = set(
    """
    les des ces mes tes ses nos vos leurs aux quels quelles certains certaines plusieurs quelques tous toutes
    nous vous ils elles un deux trois six dix vingt cent cents vingts
    dans sans sous chez dès très plus moins tout trop bien quand dont est sont c'est n'est qu'est
    petit petits petites grand grands grandes gros grosses premiers premières dernier derniers dernières
    bons bonnes autres mêmes longs longues beaux belles nouveaux nouvelles deuxièmes différents différentes
    nombreux nombreuses
    """.split()  # noqa: SIM905  (a list this long is easier to read so)
)
# Phonemes of a lexicon are passed over; a word is followed by another that begins with a vowel or an h.
_BEFORE_VOWEL = re.compile(r"\[\[.*?\]\]|\b([\w']*[^\W\d_])[ ](?=[aeiouyhàâäæéèêëîïôöœùûü])", re.IGNORECASE)
_SILENT = ("d", "s", "t", "x", "z")
_FIXED = re.compile(r"temps en temps|pas à pas", re.IGNORECASE)


def read_apart(sentence: str) -> list[str]:
    """Return a prepared sentence in pieces that are to be read one by one, so that none links to the next.

    Joined by a space they are the sentence.
    """
    pieces, begun = [], 0
    for match in _BEFORE_VOWEL.finditer(sentence):
        word = (match[1] or "").lower()
        if not word.endswith(_SILENT) or word in _LINKS or _FIXED.match(sentence, match.start(1)):
            continue
        pieces.append(sentence[begun : match.end() - 1])
        begun = match.end()
    return [*pieces, sentence[begun:]]
