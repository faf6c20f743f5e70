"""Each number that decides something in `check` and `adapt` says where it comes from."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import cuelane

SOURCE = Path(cuelane.__file__).parent
ORIGIN = re.compile(r"\b(chosen|measured|fitted|published|derived|common practice)\b", re.IGNORECASE)


def is_number(node: ast.expr) -> bool:
    """Whether an expression is made of numbers written out, alone or in a tuple."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float) and not isinstance(node.value, bool)
    if isinstance(node, ast.UnaryOp):
        return is_number(node.operand)
    if isinstance(node, ast.BinOp):
        return is_number(node.left) and is_number(node.right)
    return isinstance(node, ast.Tuple) and bool(node.elts) and all(map(is_number, node.elts))


def told_of(text: str) -> dict[str, str]:
    """Return, for each constant of a module that is a number, the comment above it and the text below it."""
    lines, body, found = text.split("\n"), ast.parse(text).body, {}
    for node, after in zip(body, [*body[1:], None], strict=True):
        if (
            not isinstance(node, ast.Assign | ast.AnnAssign)
            or node.value is None
            or not is_number(node.value)
        ):
            continue
        first = node.lineno - 1
        while first and lines[first - 1].startswith("#"):
            first -= 1
        told = lines[first : node.lineno - 1]
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
            told.append(str(after.value.value))
        found[lines[node.lineno - 1]] = " ".join(told)
    return found


@pytest.mark.parametrize("package", ["adapt", "check"])
def test_each_number_says_where_it_comes_from(package: str) -> None:
    """Measured or fitted on what, published where, derived from what, or chosen."""
    told = {
        f"{path.relative_to(SOURCE).as_posix()}: {constant}": words
        for path in sorted((SOURCE / package).rglob("*.py"))
        for constant, words in told_of(path.read_text(encoding="utf-8")).items()
    }
    assert len(told) > 80
    assert [constant for constant, words in told.items() if not ORIGIN.search(words)] == []


def test_a_number_without_an_origin_is_found() -> None:
    """Alone, negative, in a tuple or computed; a word for what it is, is no word for where it comes from."""
    text = "# Chosen: more costs time.\nA = 1\nB, C = -1.0, 2\nD = 1 << 3\n'''In seconds.'''\nE = 'text'\n"
    assert [row for row, words in told_of(text).items() if not ORIGIN.search(words)] == [
        "B, C = -1.0, 2",
        "D = 1 << 3",
    ]
