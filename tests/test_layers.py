"""The picture of the program: which package may use which. Imports run one way, at both levels."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

import cuelane

SOURCE = Path(cuelane.__file__).parent

# What each package may import, besides itself and `base`. Read it from the bottom up, as the program flows.
MAY_USE = {
    "cli": "everything below",
    "desk": "under takes adapt recording render deliver lint facts speech session plan check web media meter "
    "audio",
    "shelf": "deliver plan web media",
    "batch": "render speech plan media audio",
    "under": "hearing media meter",
    "compare": "media meter",
    "takes": "recording render speech session",
    "adapt": "lint recording audio plan session",
    "render": "deliver lint facts speech hearing session plan media meter audio",
    "deliver": "web hearing media",
    "lint": "facts session plan",
    "facts": "session",
    "recording": "media meter audio",
    "speech": "media meter audio",
    "session": "plan audio",
    "hearing": "media meter audio",
    "plan": "",
    "check": "web media meter",
    "web": "",
    "audio": "meter",
    "media": "",
    "meter": "",
    "base": "",
}

# The order inside the two packages that have rooms of their own: each line uses only what stands below it.
INSIDE = {
    "adapt": """
        run
        report cut_clips
        pattern_report
        pattern_plan
        plan_file exercise_lines
        listed_names set_names set_cues timed_starts
        set_turns
        name_mentions
        exercise_names
        misheard_names
        class_sections
        class_shape picture_words
        decisions class_cues untrue_calls length_doubts
        analysis
        words
        beeps adapt_options adapted_folder clock piece_ends
    """,
    "check": """
        run
        judging
        page
        picture
        faults
        text background file_faults set_files
        report check_options
        fault_words
        unmodelled
        findings
        locate
        speech pips
        clock_pieces
        templates fit
        threads match
        correlate intake
        analysis_stream
    """,
}

SOURCES = sorted(SOURCE.rglob("*.py"))


def name_of(path: Path) -> str:
    """Return a file's dotted name below `cuelane`, a package's own `__init__` as the package."""
    parts = path.relative_to(SOURCE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


NAMES = {name_of(path) for path in SOURCES}


@cache
def imported(path: Path) -> set[str]:
    """Return the modules of cuelane that a file imports, inside functions too."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are absolute"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    within = {name.removeprefix("cuelane.") for name in found if name.startswith("cuelane.")}
    return {name if name in NAMES else name.rpartition(".")[0] for name in within}


def package_of(name: str) -> str:
    return name.partition(".")[0]


def rows_of(picture: str) -> list[list[str]]:
    return [line.split() for line in picture.strip().splitlines()]


def test_the_picture_has_no_circle() -> None:
    """Each package uses only packages that stand below it in the picture."""
    order = list(MAY_USE)
    for package, used in MAY_USE.items():
        if package != "cli":
            assert all(order.index(other) > order.index(package) for other in used.split()), package


def test_every_package_is_in_the_picture() -> None:
    """A new package says what it may use; at most three modules stand loose beside the packages."""
    packages = {path.parent.name for path in SOURCE.glob("*/__init__.py")}
    assert packages == set(MAY_USE)
    assert len(list(SOURCE.glob("*.py"))) <= 3


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(SOURCE)))
def test_imports_run_one_way(path: Path) -> None:
    """No file imports a package that its own may not use."""
    package = package_of(name_of(path))
    allowed = {"base", package, *(MAY_USE if package == "cli" else MAY_USE.get(package, "").split())}
    if path == SOURCE / "__main__.py":
        # The door of `python -m cuelane`, which only opens on the command line.
        allowed = {"cli"}
    assert {package_of(name) for name in imported(path) if name} <= allowed


@pytest.mark.parametrize("package", INSIDE)
def test_imports_run_one_way_inside(package: str) -> None:
    """In a package with rooms of its own, each room uses only rooms on lines below its own."""
    rank = {room: i for i, row in enumerate(rows_of(INSIDE[package])) for room in row}
    seen = set()
    for path in (SOURCE / package).rglob("*.py"):
        name = name_of(path)
        if name == package:
            continue
        room = name.split(".")[1]
        seen.add(room)
        for other in imported(path):
            if package_of(other) == package and other != package and other.split(".")[1] != room:
                assert rank[other.split(".")[1]] > rank[room], f"{name} imports {other}"
    assert seen == set(rank)


def test_no_file_or_class_name_stands_for_two_things() -> None:
    """A name stands twice only where it is the same idea in two packages."""
    same_idea = {"__init__", "run", "report", "text", "model", "page"}
    files: dict[str, int] = {}
    classes: dict[str, int] = {}
    for path in SOURCES:
        files[path.stem] = files.get(path.stem, 0) + (package_of(name_of(path)) != "cli")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                classes[node.name] = classes.get(node.name, 0) + 1
    assert {name for name, n in files.items() if n > 1} <= same_idea
    assert {name for name, n in classes.items() if n > 1} == set()


def test_check_shares_nothing_with_the_renderer() -> None:
    """The checker uses sound, files and page parts only, so that it can contradict what placed the events."""
    assert set(MAY_USE["check"].split()) <= {"web", "media", "meter", "audio"}


def called(call: ast.Call) -> str:
    """Return `name` or `name.attribute` where that is what is called, and nothing where it is more."""
    match call.func:
        case ast.Name(name):
            return name
        case ast.Attribute(ast.Name(name), attribute):
            return f"{name}.{attribute}"
    return ""


def test_only_the_command_line_prints_or_exits() -> None:
    """No module below `cli` calls print or exits, but for the child process that speaks one line."""
    for path in SOURCES:
        if package_of(name_of(path)) == "cli" or path.name == "_say.py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = called(node)
                assert name not in ("print", "exit", "quit", "sys.exit", "os._exit"), f"{path}:{node.lineno}"


def test_the_developers_page_shows_the_same_picture() -> None:
    """Each package stands once in the picture of DEVELOPERS.md, above all that it may use."""
    page = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
    lines = page.partition("## Architecture")[2].split("```")[1].strip().splitlines()
    shown = [(cell, row) for row, line in enumerate(lines) for cell in re.split(" {2,}", line)]
    row_of = {cell.partition(" (")[0]: row for cell, row in shown if cell.partition(" (")[0] in MAY_USE}

    assert set(row_of) == set(MAY_USE)
    assert sum(cell.partition(" (")[0] in MAY_USE for cell, _ in shown) == len(MAY_USE)
    for package, used in MAY_USE.items():
        below = list(MAY_USE)[1:] if package == "cli" else used.split()
        assert [other for other in below if row_of[other] <= row_of[package]] == [], package
