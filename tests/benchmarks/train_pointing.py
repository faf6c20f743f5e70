"""Fit, and measure, the judge of sentences that point at a picture.

python tests/benchmarks/train_pointing.py             measure on sentences left out, change nothing
python tests/benchmarks/train_pointing.py --write     fit to all but the unseen, write the table
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import sklearn

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

from cuelane.lint.pointing import BIAS, PROPOSE, WARN, Pointing, pointing
from pointing_fit import (
    INVERSE_PENALTY,
    LEAST_SENTENCES,
    SEED,
    SMALLEST_WEIGHT,
    Labelled,
    development,
    fit,
    groups,
    interval,
    precision_at,
    rates,
    unseen,
)  # fmt: skip

TABLE = Path(__file__).parents[2] / "src/cuelane/languages/en_pointing.tsv"
USUAL_SHARE = 0.05
"""About so many of a class's sentences point at a picture (common practice, no source)."""


def told(measure: Pointing, rows: Labelled, threshold: float) -> str:
    hits, n, alarms, m = rates(measure, rows, threshold)
    low, high = interval(hits, n)
    least, most = interval(alarms, m)
    usual = precision_at(USUAL_SHARE, hits / n, alarms / m)
    return (
        f"finds {hits} of {n} ({low:.2f} to {high:.2f}), marks {alarms} of {m} others "
        f"({least:.3f} to {most:.3f}); precision {usual:.2f} where 5 in 100 point"
    )


def measure() -> None:
    blind = fit(groups() | {"development": []})
    for threshold in (0.0, 0.4, 0.8, 1.2, 1.6, 2.0):
        said = told(blind, development(), threshold)
        print(f"development, fitted to none of it, above {threshold:.1f}: {said}")
    for name, threshold in (("propose", PROPOSE), ("warn", WARN)):
        print(f"unseen, the table as it is, {name}: {told(pointing(), unseen(), threshold)}")


def write() -> None:
    judge = fit(groups())
    n = {name: len(rows) for name, rows in groups().items()}
    sources = ", ".join(f"{name} {count:,}" for name, count in n.items())
    head = [
        "What points at a picture, in English: log odds of words, pairs of neighbours (^ begins, $ ends), "
        "and pairs",
        "  with any one word between them (_).",
        "Fitted by tests/benchmarks/train_pointing.py --write: logistic regression, L1, "
        f"C = {INVERSE_PENALTY}, what stands in",
        f"  at least {LEAST_SENTENCES} sentences, weights below {SMALLEST_WEIGHT} left out, "
        f"random state {SEED}, scikit-learn {sklearn.__version__}.",
        f"From {sum(n.values()):,} sentences written for this project (tests): {sources}.",
        "Licence: that of this project. On sentences that nothing was fitted to, with 95 % intervals:",
        f"  proposing (above {PROPOSE:g}): {told(judge, unseen(), PROPOSE)}.",
        f"  warning (above {WARN:g}): {told(judge, unseen(), WARN)}.",
    ]
    rows = sorted((name, value) for name, value in judge.weights.items() if name != BIAS)
    lines = [f"# {line}" for line in head] + [f"{judge.weights[BIAS]:.2f}\t{BIAS}"]
    TABLE.write_text(
        "\n".join([*lines, *(f"{value:.2f}\t{name}" for name, value in rows)]) + "\n", encoding="utf-8"
    )
    print(f"{len(rows)} weights written, {TABLE.stat().st_size} bytes")


def main() -> None:
    parser = argparse.ArgumentParser(description="Fit and measure what points at a picture.")
    parser.add_argument("--write", action="store_true", help="fit and write the table")
    if parser.parse_args().write:
        write()
    measure()


if __name__ == "__main__":
    main()
