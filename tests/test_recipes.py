"""The recipes of DEVELOPERS.md name files and folders that are there."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
ABOVE = (ROOT, ROOT / "src" / "cuelane")


def missing(page: str) -> list[str]:
    """Return each path in back quotes that is not in the repository or the program; XX stands for any."""
    named = {name for name in re.findall(r"`([^`\s]+)`", page) if "/" in name.strip("/") and "XX" not in name}
    paths = {name for name in named if re.fullmatch(r"\.?[\w./-]+", name)}
    return sorted(name for name in paths if not any((folder / name).exists() for folder in ABOVE))


def test_each_file_that_a_recipe_names_is_there() -> None:
    """Of the whole page: commands and made-up names are not in this form."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    recipes = page.partition("## Where to add")[2].partition("## Manners")[0]
    assert recipes.count("\n- **") >= 16
    assert missing(page) == []


def test_a_file_that_was_moved_is_found() -> None:
    """A folder in the wrong place, too; a name that stands for any is passed over."""
    assert missing("in `plan/model.py`, `plan/gone.py`, `tests/gone/`, `languages/XX.toml`") == [
        "plan/gone.py",
        "tests/gone/",
    ]
