"""Imports run one way: each room uses only rooms that stand before it in this list, or itself."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import cuelane

SOURCE = Path(cuelane.__file__).parent

# From leaves to the command line. A room is a module or a package right below `cuelane`.
ROOMS = [
    "__init__", "heap", "errors", "units", "clip", "language", "hearing", "schedule", "media", "meter", "sii",
    "bands", "clipstore", "pageparts", "roomfacts",
    "plan", "session", "rounds", "patterns", "facts", "lint",
    "tones", "candidates", "neighbours", "cues", "placing", "arrange", "remedies", "timetable",
    "speech", "voicing", "mix",
    "musicfile", "masker", "speech_shape", "shaping", "room", "roomreport", "deliver", "under", "check",
    "adapt", "takes", "render", "reading_script", "cli",
]  # fmt: skip


def imported_rooms(path: Path) -> set[str]:
    """Return the rooms of cuelane that a file imports, inside functions too."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: imports are absolute"
            names = [node.module]
            if node.module == "cuelane":
                names = [f"cuelane.{alias.name}" for alias in node.names]
        for name in names:
            parts = name.split(".")
            if parts[0] == "cuelane":
                room = parts[1] if len(parts) > 1 else "__init__"
                found.add(
                    room
                    if room in ROOMS or (SOURCE / room).exists() or (SOURCE / f"{room}.py").exists()
                    else "__init__"
                )
    return found


def room_of(path: Path) -> str:
    return path.relative_to(SOURCE).parts[0].removesuffix(".py")


SOURCES = sorted(SOURCE.rglob("*.py"))


def test_every_room_is_listed() -> None:
    """A new room must say where it stands."""
    assert SOURCES
    assert {room_of(path) for path in SOURCES} <= set(ROOMS)


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(SOURCE)))
def test_imports_run_one_way(path: Path) -> None:
    """No file imports a room that stands after its own."""
    rank = ROOMS.index(room_of(path))
    late = {room for room in imported_rooms(path) if ROOMS.index(room) > rank}
    assert not late


def test_check_shares_nothing_with_the_renderer() -> None:
    """The checker imports leaves only, so that it can contradict what placed and rounded the events."""
    leaves = set(ROOMS[: ROOMS.index("plan")]) | {"check"}
    for path in (SOURCE / "check").rglob("*.py"):
        assert imported_rooms(path) <= leaves, path


def test_only_the_command_line_prints_or_exits() -> None:
    """No module below `cli` calls print or exits, but for the child process that speaks one line."""
    for path in SOURCES:
        if room_of(path) == "cli" or path.name == "_say.py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = ast.unparse(node.func)
                assert name not in ("print", "exit", "quit", "sys.exit", "os._exit"), f"{path}:{node.lineno}"
