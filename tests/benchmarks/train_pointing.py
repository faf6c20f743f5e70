"""Fit, and measure, the weights by which sentences that point at a picture are known.

    python tests/benchmarks/train_pointing.py             cross-validate, change nothing
    python tests/benchmarks/train_pointing.py --write     fit to every sentence, write the weights
    python tests/benchmarks/train_pointing.py --measure POINTING PLAIN    measure the weights as they are

POINTING and PLAIN are files with a sentence a line. The cross-validation fits to four fifths of the
development sentences and all others, and measures on the fifth left out, five times; then it fits to no
development sentence at all and measures on all of them.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from cuelane.lint.pointing import pointing
from picture_sentences import lines_of
from pointing_fit import both_ways, development, fit, groups, labelled, measured, rates

WEIGHTS = Path(__file__).parents[2] / "src/cuelane/languages/en_pointing.tsv"
N_FOLDS = 5
SEED = 20
SMALLEST_WEIGHT = 0.01


def report(name: str, scores: np.ndarray, truth: np.ndarray) -> None:
    precision, recall = rates(scores, truth)
    print(f"{name:55s} precision {precision:.3f}  recall {recall:.3f}  ({len(truth)} sentences)")


def cross_validate() -> None:
    rows, others = development(), groups()
    truth = np.array([points for _, points in rows])
    fold = np.random.default_rng(SEED).permutation(len(rows)) % N_FOLDS
    scores = np.zeros((2, len(rows)))
    for left_out in range(N_FOLDS):
        seen = [row for row, n in zip(rows, fold, strict=True) if n != left_out]
        measure = fit(others | {"development": seen})
        for n in np.flatnonzero(fold == left_out):
            scores[:, n] = [measure.score(text) for text in both_ways(rows[n][0])]
    for bare, name in enumerate(("as written", "without capitals and punctuation")):
        report(f"{N_FOLDS} folds, {name}", scores[bare], truth)
    for threshold in np.arange(-0.4, 0.5, 0.2):
        report(f"{N_FOLDS} folds, as written, threshold {threshold:+.1f}", scores[0] - threshold, truth)
    measure = fit(others | {"development": []})
    report("fitted to no development sentence", *measured(measure, rows))
    report("fitted to none, without capitals and punctuation", *measured(measure, rows, bare=True))


def write() -> None:
    weights = fit(groups()).weights
    kept = {name: value for name, value in weights.items() if abs(value) >= SMALLEST_WEIGHT}
    lines = [f"{value:.2f}\t{name}" for name, value in sorted(kept.items())]
    WEIGHTS.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{len(lines)} weights written")


def main() -> None:
    parser = argparse.ArgumentParser(description="Fit and measure what points at a picture.")
    parser.add_argument("--write", action="store_true", help="fit to every sentence and write the weights")
    parser.add_argument("--measure", nargs=2, type=Path, metavar=("POINTING", "PLAIN"))
    given = parser.parse_args()
    if given.measure:
        rows = labelled(*(lines_of(path) for path in given.measure))
        report("the weights as they are", *measured(pointing(), rows))
        report("without capitals and punctuation", *measured(pointing(), rows, bare=True))
    elif given.write:
        write()
    else:
        cross_validate()


if __name__ == "__main__":
    main()
