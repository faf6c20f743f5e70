"""Fit, and measure, the judge of what an instructor's sentence is for.

python tests/benchmarks/train_roles.py             measure on sentences left out and the unseen
python tests/benchmarks/train_roles.py --write     fit to all but the unseen, write the table
"""

from __future__ import annotations

import argparse
import random
import sys
from collections import Counter
from pathlib import Path

import sklearn

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

from cuelane.adapt.words.role_judge import SURE, RoleJudge, role_judge
from role_fit import INVERSE_PENALTY, LEAST_SENTENCES, SMALLEST_WEIGHT, Labelled, fit, fitted, unseen

TABLE = Path(__file__).parents[2] / "src/cuelane/languages/en_roles.tsv"
_FOLDS, _SEED = 5, 5


def told(judged: list[tuple[Labelled, str, float]]) -> str:
    right = [row.role == name for row, name, _ in judged]
    sure = [row.role == name for row, name, share in judged if share >= SURE]
    return f"{sum(right)} of {len(right)} right; of {len(sure)} that it calls sure {sum(sure)}"


def judged(judge: RoleJudge, rows: list[Labelled]) -> list[tuple[Labelled, str, float]]:
    found = [(row, judge.judge(row.text, row.where)) for row in rows]
    return [(row, one.name, one.share) for row, one in found]


def left_out() -> list[tuple[Labelled, str, float]]:
    """Judge each fitted sentence by a table that a fifth, it among them, is left out of."""
    rows = fitted()
    random.Random(_SEED).shuffle(rows)
    return [
        one
        for fold in range(_FOLDS)
        for one in judged(
            fit([row for n, row in enumerate(rows) if n % _FOLDS != fold]),
            [row for n, row in enumerate(rows) if n % _FOLDS == fold],
        )
    ]


def by_role(found: list[tuple[Labelled, str, float]]) -> None:
    for role in sorted({row.role for row, _, _ in found}):
        mine = [name for row, name, _ in found if row.role == role]
        taken = Counter(name for name in mine if name != role).most_common(3)
        print(f"  {role:<13}{mine.count(role):>4} of {len(mine):<4} else {taken}")


def write() -> None:
    judge, rows = fit(fitted()), fitted()
    head = [
        "What an instructor's sentence is for, in English: log odds of each role, by what a sentence holds:",
        "  a word, two neighbours (^ begins, $ ends), a hint (#, see en_adapt.toml), "
        "where it is said (@), both.",
        "Fitted by tests/benchmarks/train_roles.py --write: multinomial logistic regression, L2, "
        f"C = {INVERSE_PENALTY}, what stands in",
        f"  at least {LEAST_SENTENCES} sentences, weights below {SMALLEST_WEIGHT} left out, "
        f"scikit-learn {sklearn.__version__}.",
        f"From {len(rows):,} sentences written for this project (tests/sentences); its licence.",
        f"On sentences of them left out in turn (most without a place): {told(left_out())}.",
        f"On 200 that nothing was fitted to, each with its place: {told(judged(judge, unseen()))}.",
        "  Whoever wrote those 200 wrote most hints and 400 of the others too, after them: "
        "another's may do worse.",
    ]
    lines = [f"# {line}" for line in head]
    for feature in sorted({name for weights in judge.weights.values() for name in weights}):
        by_name = sorted(judge.weights.items())
        shares = [f"{role}={row[feature]:.2f}" for role, row in by_name if feature in row]
        lines.append("\t".join([feature, " ".join(shares)]))
    TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{len(lines) - len(head)} weights written, {TABLE.stat().st_size} bytes")


def main() -> None:
    parser = argparse.ArgumentParser(description="Fit and measure what a sentence is for.")
    parser.add_argument("--write", action="store_true", help="fit and write the table")
    parser.add_argument("--unseen-only", action="store_true", help="measure the unseen alone, which is quick")
    asked = parser.parse_args()
    if asked.write:
        write()
    elif not asked.unseen_only:
        found = left_out()
        print(f"left out: {told(found)}")
        by_role(found)
    found = judged(role_judge(), unseen())
    print(f"unseen: {told(found)}")
    by_role(found)


if __name__ == "__main__":
    main()
