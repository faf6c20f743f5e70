"""Nothing grows past what one can take in: functions, their parameters, modules; and helpers are mapped."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path
from typing import NamedTuple

import cuelane

SOURCE = Path(cuelane.__file__).parent
KIT = Path(__file__).parent / "kit"
MOST_LINES, MOST_PARAMETERS, MOST_MODULE_LINES = 60, 8, 400

# What still takes too many: nothing may be added here, and what shrinks is taken out.
STILL_MANY = {}


class Function(NamedTuple):
    """One function of the program: its file and name, and how much of it there is."""

    name: str
    n_lines: int
    n_parameters: int


@cache
def functions() -> list[Function]:
    """Return every function of the program."""
    return [
        Function(
            f"{path.relative_to(SOURCE).as_posix()} {node.name}",
            (node.end_lineno or node.lineno) - node.lineno + 1,
            n_parameters(node),
        )
        for path in sorted(SOURCE.rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]


def n_parameters(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return how many parameters a caller may give."""
    every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return len([one for one in every if one.arg not in ("self", "cls")])


def test_no_function_is_over_60_lines() -> None:
    """From its `def` to its last line."""
    long = {one.name: one.n_lines for one in functions() if one.n_lines > MOST_LINES}
    assert len(functions()) > 1000
    assert long == {}


def test_no_function_has_more_than_8_parameters() -> None:
    """The command line's are its options, and may be more."""
    many = {
        one.name: one.n_parameters
        for one in functions()
        if one.n_parameters > MOST_PARAMETERS and not one.name.startswith("cli/")
    }
    assert many == STILL_MANY


def test_no_module_is_over_400_lines() -> None:
    """Each is one idea."""
    lengths = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in SOURCE.rglob("*.py")}
    assert {path: lines for path, lines in lengths.items() if lines > MOST_MODULE_LINES} == {}


def test_the_map_of_what_tests_share_names_each_module() -> None:
    """No more and no less: the first column of each row of `kit/MAP.md`."""
    rows = (KIT / "MAP.md").read_text(encoding="utf-8").splitlines()
    named = [row.split("`")[1] for row in rows if row.startswith("| `")]
    assert sorted(named) == sorted(path.stem for path in KIT.glob("*.py"))
