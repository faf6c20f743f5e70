"""Fitting the judge of sentences that point at a picture; not done at run time."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
from scipy.sparse import csr_matrix
from sklearn.linear_model import LogisticRegression

import lint_sentences
import picture_sentences as sentences
import role_fit
from cuelane.lint.pointing import BIAS, Pointing, features

LEAST_SENTENCES = 3
"""A word or pair in fewer sentences than this is chance."""

INVERSE_PENALTY = 1.0
"""Of the absolute weights (L1), so that most are zero. On the development sentences, fitted to none of them,
0.5 gives 956 weights and 30 false alarms of 400, 1.0 gives 1,489 and 27, 2.0 gives 2,005 and 27, each with
332 to 336 of 400 found at even odds."""

SMALLEST_WEIGHT = 0.05
SEED = 20
# Sentences written in quantity, by one person, count for less.
WEIGHTS = {"development": 2.0, "coached": 2.0, "sets": 1.5, "lint": 1.5, "roles": 1.0, "written": 1.0}

Labelled = list[tuple[str, bool]]


def labelled(pointing_at: list[str], others: list[str]) -> Labelled:
    """Return the sentences with what they are."""
    return [(text, True) for text in pointing_at] + [(text, False) for text in others]


def development() -> Labelled:
    """Return the 800 development sentences."""
    return labelled(sentences.DEVELOPMENT_POINTING, sentences.DEVELOPMENT_PLAIN)


def unseen() -> Labelled:
    """Return the 600 sentences that nothing is fitted to, without the few that others wrote by chance too."""
    rows = labelled(sentences.UNSEEN_POINTING, sentences.UNSEEN_PLAIN)
    fitted = {frozenset(features(text)) for members in groups().values() for text, _ in members}
    return [row for row in rows if frozenset(features(row[0])) not in fitted]


def groups() -> dict[str, Labelled]:
    """Return every sentence that weights may be fitted to, by the group that says how much it counts."""
    sets = [
        labelled(sentences.POINTING, sentences.PLAIN),
        labelled(sentences.POINTING_SECOND, sentences.PLAIN_SECOND),
        labelled(sentences.POINTING_THIRD, sentences.PLAIN_THIRD),
    ]
    found = {
        "development": development(),
        "coached": labelled(sentences.COACHED_POINTING, sentences.COACHED_PLAIN),
        "sets": [row for rows in sets for row in rows],
        "lint": labelled(lint_sentences.PICTURE, lint_sentences.NO_PICTURE),
        "written": labelled(sentences.WRITTEN_POINTING, sentences.WRITTEN_PLAIN),
    }
    # Those that say what each sentence of a class is for: none points, looked through for that.
    known = {text for rows in found.values() for text, _ in rows}
    others = [row.text for row in role_fit.fitted() if row.text not in known]
    return found | {"roles": labelled([], others)}


def fit(examples: dict[str, Labelled]) -> Pointing:
    """Return a judge fitted to `examples`."""
    members = [
        (features(text), points, WEIGHTS[name]) for name, rows in examples.items() for text, points in rows
    ]
    count = Counter(feature for row, _, _ in members for feature in row)
    names = sorted(name for name, n in count.items() if n >= LEAST_SENTENCES)
    column = {name: at for at, name in enumerate(names)}
    cells = [(n, column[name]) for n, (row, _, _) in enumerate(members) for name in row if name in column]
    table = csr_matrix((np.ones(len(cells)), np.transpose(cells)), shape=(len(members), len(names)))
    model = LogisticRegression(
        C=INVERSE_PENALTY,
        l1_ratio=1.0,
        solver="liblinear",
        class_weight="balanced",
        random_state=SEED,
        tol=1e-6,
    )
    model.fit(table, [points for _, points, _ in members], sample_weight=[weight for _, _, weight in members])
    weights = {name: round(float(value), 2) for name, value in zip(names, model.coef_[0], strict=True)}
    kept = {name: value for name, value in weights.items() if abs(value) >= SMALLEST_WEIGHT}
    return Pointing({BIAS: round(float(model.intercept_[0]), 2)} | kept)


def rates(measure: Pointing, rows: Labelled, threshold: float) -> tuple[int, int, int, int]:
    """Return (pointing and marked, pointing, plain and marked, plain) of `rows` above a threshold."""
    marked = [(measure.score(text) > threshold, points) for text, points in rows]
    return (
        sum(mark for mark, points in marked if points),
        sum(points for _, points in marked),
        sum(mark for mark, points in marked if not points),
        sum(not points for _, points in marked),
    )


def interval(hits: int, n: int) -> tuple[float, float]:
    """Return the 95 % interval of a rate by Wilson's score (Wilson 1927; Brown, Cai and DasGupta 2001)."""
    z = 1.959964
    rate, spread = hits / n, z * math.sqrt(hits / n * (1 - hits / n) / n + z * z / (4 * n * n))
    middle, scale = rate + z * z / (2 * n), 1 + z * z / n
    return (middle - spread) / scale, (middle + spread) / scale


def precision_at(share: float, recall: float, false_rate: float) -> float:
    """Return how many of those marked do point, where `share` of all sentences do (Bayes' rule)."""
    return recall * share / (recall * share + false_rate * (1 - share))
