"""Fitting the weights by which sentences that point at a picture are known; not done at run time."""

from __future__ import annotations

from collections import Counter

import numpy as np
from scipy.sparse import csr_matrix
from sklearn.linear_model import LogisticRegression

import picture_sentences as sentences
from cuelane.adapt.words.word_lists import plain
from cuelane.lint.pointing import BIAS, Pointing, features, pointing

# A feature of fewer sentences than this is chance.
LEAST_SENTENCES = 3
INVERSE_PENALTY = 1.0
# Where a balanced fit has its boundary the recall is a little less than the precision; chosen by the folds.
THRESHOLD = -0.4
# Sentences written in quantity, by one person, count for less.
WEIGHTS = {"development": 2.0, "sets": 1.5, "written": 1.0}

Labelled = list[tuple[str, bool]]


def labelled(pointing_at: list[str], others: list[str]) -> Labelled:
    """Return the sentences with what they are."""
    return [(text, True) for text in pointing_at] + [(text, False) for text in others]


def development() -> Labelled:
    """Return the 800 development sentences."""
    return labelled(sentences.DEVELOPMENT_POINTING, sentences.DEVELOPMENT_PLAIN)


def groups() -> dict[str, Labelled]:
    """Return every sentence that weights may be fitted to, by the group that says how much it counts."""
    sets = [
        labelled(sentences.POINTING, sentences.PLAIN),
        labelled(sentences.POINTING_SECOND, sentences.PLAIN_SECOND),
        labelled(sentences.POINTING_THIRD, sentences.PLAIN_THIRD),
    ]
    return {
        "development": development(),
        "sets": [row for rows in sets for row in rows],
        "written": labelled(sentences.WRITTEN_POINTING, sentences.WRITTEN_PLAIN),
    }


def both_ways(text: str) -> tuple[str, str]:
    """Return a sentence as written, and as a recogniser or a poor caption gives it."""
    return text, plain(text)


def fit(examples: dict[str, Labelled]) -> Pointing:
    """Return a measure fitted to `examples`, each sentence as written, and bare."""
    classes = pointing().classes
    rows, truth, weight = [], [], []
    for group, members in examples.items():
        for text, points in members:
            for written in both_ways(text):
                rows.append(features(classes.words(written), classes))
                truth.append(points)
                weight.append(0.6 * WEIGHTS[group])
    count = Counter(name for row in rows for name in row)
    names = sorted(name for name, n in count.items() if n >= 2 * LEAST_SENTENCES)
    column = {name: at for at, name in enumerate(names)}
    cells = [(n, column[name]) for n, row in enumerate(rows) for name in row if name in column]
    table = csr_matrix((np.ones(len(cells)), np.transpose(cells)), shape=(len(rows), len(names)))
    model = LogisticRegression(C=INVERSE_PENALTY, class_weight="balanced", max_iter=5000)
    model.fit(table, truth, sample_weight=weight)
    weights = {name: float(value) for name, value in zip(names, model.coef_[0], strict=True)}
    return Pointing(classes, {BIAS: float(model.intercept_[0]) - THRESHOLD} | weights)


def rates(scores: np.ndarray, truth: np.ndarray) -> tuple[float, float]:
    """Return precision and recall of marking where the score is above 0."""
    hits = int(np.sum((scores > 0) & truth))
    return hits / max(1, int(np.sum(scores > 0))), hits / int(np.sum(truth))


def measured(measure: Pointing, examples: Labelled, *, bare: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Return scores and truth of `examples`, as written or bare of capitals and punctuation."""
    scores = [measure.score(both_ways(text)[bare]) for text, _ in examples]
    return np.array(scores), np.array([points for _, points in examples])
