"""Fitting the judge of what a sentence is for; not done at run time."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.sparse import csr_matrix
from sklearn.linear_model import LogisticRegression

from cuelane.adapt.words.role_judge import BIAS, RoleJudge, Where, features, hints_of

LEAST_SENTENCES = 3
"""A word or pair in fewer sentences than this is chance; hints and places are kept."""
INVERSE_PENALTY = 0.5
"""Of the squared weights. Left out in turn, 74 in 100 sentences are right with 0.5 and with 1.5; of those
called sure 89 in 100 with 0.5, 86 with 1.5."""
SMALLEST_WEIGHT = 0.1
WITHOUT_PLACE = 0.5
"""Each sentence is learnt with its place and, counting half, without: a place may be a guess."""

_FOLDER = Path(__file__).parents[1] / "sentences"


class Labelled(NamedTuple):
    """A sentence, what it is for, where it is said, and whether it needs a picture."""

    role: str
    where: Where
    text: str
    points: bool = False


def unseen() -> list[Labelled]:
    """Return the 200 sentences that nothing is fitted to."""
    rows = (row.split("\t") for row in _rows("unseen_roles.tsv"))
    return [Labelled(role, where, text, picture == "yes") for role, where, picture, _, text in rows]  # type: ignore[arg-type]


def fitted() -> list[Labelled]:
    """Return the sentences that the table is fitted to."""
    return [Labelled(*row.split("\t")) for row in _rows("fitted_roles.tsv")]  # type: ignore[arg-type]


def _rows(name: str) -> list[str]:
    text = (_FOLDER / name).read_text(encoding="utf-8")
    return [row for row in text.splitlines() if row and not row.startswith("#")]


def fit(rows: list[Labelled], inverse_penalty: float = INVERSE_PENALTY) -> RoleJudge:
    """Return a judge fitted to `rows`."""
    hints = hints_of("en")
    examples = [(row.role, row.text, row.where, 1.0) for row in rows]
    examples += [(row.role, row.text, "", WITHOUT_PLACE) for row in rows if row.where]
    found = [features(text, where, hints) for _, text, where, _ in examples]  # type: ignore[arg-type]
    count = Counter(name for names in found[: len(rows)] for name in names)
    names = sorted(name for name, n in count.items() if n >= LEAST_SENTENCES or name[0] in "#@")
    column = {name: at for at, name in enumerate(names)}
    cells = [(n, column[name]) for n, row in enumerate(found) for name in row if name in column]
    table = csr_matrix((np.ones(len(cells)), np.transpose(cells)), shape=(len(found), len(names)))
    model = LogisticRegression(C=inverse_penalty, solver="lbfgs", max_iter=3000, tol=1e-4)
    roles = [role for role, *_ in examples]
    often = Counter(roles)
    balance = [weight * (len(roles) / len(often) / often[role]) ** 0.5 for role, _, _, weight in examples]
    model.fit(table, roles, sample_weight=balance)
    weights: dict[str, dict[str, float]] = {}
    for role, row, bias in zip(model.classes_, model.coef_, model.intercept_, strict=True):
        kept = {name: round(float(value), 2) for name, value in zip(names, row, strict=True)}
        weights[str(role)] = {BIAS: round(float(bias), 2)} | {
            name: value for name, value in kept.items() if abs(value) >= SMALLEST_WEIGHT
        }
    return RoleJudge(weights, hints)
