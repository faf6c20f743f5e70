"""What a sentence of a recorded class is for: the one judge of roles, and how sure it is.

A multinomial logistic regression over the words of a sentence, pairs of neighbours, and the hints of
``languages/XX_adapt.toml`` (groups of words such as parts of the body); where in the class it is said counts,
too, by itself and with each hint: an order to a part of the body is a set-up where a set begins, and form
later. Its table, ``languages/XX_roles.tsv``, says at its head how it was made and how well it does; here they
are only added up.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import Literal

from cuelane.adapt.words.word_lists import any_of, in_words, lists_of, plain
from cuelane.base.roles import ROLES, Role

Where = Literal["", "opening", "begin", "work", "rest", "closing"]
"""Where a sentence is said: before the first interval, first or later in a set, in a rest, after the last."""

SURE = 0.6
"""The share from which a role is called sure. Chosen on sentences of which a tenth was left out in turn: of
those above it nine in ten are right."""

OUT = ("aside", "housekeeping")
"""What is not for a listener and is proposed for leaving out."""

BIAS = "(bias)"
# Chosen: a person decides on what is proposed; what is not proposed, they must find.
_OUT_FROM = 0.5
# Chosen: sentences are told apart by their number of words in steps of four from here.
_FEW = 3


_IN_PLAN: dict[str, Role] = {"rest": "say", "aside": "say", "housekeeping": "say"}


def plan_role(name: str) -> Role:
    """Return the role that a plan has for `name`: its own, or `say` for what a plan has no word for."""
    return name if name in ROLES else _IN_PLAN[name]


NAMES = (*ROLES, *_IN_PLAN)
"""Whatever a sentence may be called: the roles of a plan, and what is not one."""


@dataclass(frozen=True)
class JudgedRole:
    """What a sentence is most likely for, how likely (0 to 1), and what it may be for instead.

    ``out_share`` is how likely it is that it is none for the listener.
    """

    name: str
    share: float
    second: str
    out_share: float = 0.0

    @property
    def is_sure(self) -> bool:
        """Whether it is likely enough not to be asked about."""
        return self.share >= SURE

    @property
    def is_out(self) -> bool:
        """Whether it is more likely than not that a listener has no use for it."""
        return self.name in OUT and self.out_share >= _OUT_FROM


class RoleJudge:
    """The judge of one language. ``weights`` is by role and feature, in log odds."""

    def __init__(
        self, weights: Mapping[str, Mapping[str, float]], hints: Mapping[str, re.Pattern[str]]
    ) -> None:
        self.weights, self._hints = weights, hints

    def judge(self, text: str, where: Where = "") -> JudgedRole:
        """Return what `text`, said at `where`, is for."""
        shares = self.shares(text, where)
        first, second = sorted(shares, key=lambda name: (-shares[name], name))[:2]
        return JudgedRole(first, shares[first], second, sum(shares.get(name, 0.0) for name in OUT))

    def shares(self, text: str, where: Where = "") -> dict[str, float]:
        """Return how likely each role is; they add up to 1."""
        found = [BIAS, *features(text, where, self._hints)]
        odds = {role: math.fsum(row.get(name, 0.0) for name in found) for role, row in self.weights.items()}
        highest = max(odds.values())
        parts = {role: math.exp(value - highest) for role, value in odds.items()}
        total = sum(parts.values())
        return {role: part / total for role, part in parts.items()}


def features(text: str, where: Where, hints: Mapping[str, re.Pattern[str]]) -> set[str]:
    """Return the words of `text`, its pairs of neighbours with its ends (^ and $), hints (#), place (@).

    Where the place is known, each hint is given with it, too (#hint@place).
    """
    # The table knows numbers as the sentences that it was fitted to have them: in words.
    words = plain(in_words(text)).split()
    found = {*words, *(f"{one} {two}" for one, two in pairwise(["^", *words, "$"]))}
    joined = " ".join(words)
    hinted = {f"#{name}" for name, pattern in hints.items() if pattern.search(joined)}
    hinted.add(f"#words{min(4, (len(words) + _FEW) // 4)}")
    found |= hinted
    if where:
        found |= {f"@{where}", *(f"{name}@{where}" for name in hinted)}
    return found


@cache
def hints_of(language: str = "en") -> dict[str, re.Pattern[str]]:
    """Return a language's hints, compiled; English where there are none."""
    return {name: any_of(rules) for name, rules in lists_of(language)["hints"].items()}


@cache
def role_judge(language: str = "en") -> RoleJudge:
    """Return the judge of `language`; the English one where there is none."""
    folder = resources.files("cuelane") / "languages"
    file = folder / f"{language.split('-')[0].lower()}_roles.tsv"
    file = file if file.is_file() else folder / "en_roles.tsv"
    weights: dict[str, dict[str, float]] = {}
    for row in file.read_text(encoding="utf-8").splitlines():
        name, tab, shares = row.partition("\t")
        for share in shares.split() if tab else ():
            role, _, value = share.partition("=")
            weights.setdefault(role, {})[name] = float(value)
    return RoleJudge(weights, hints_of(language))
