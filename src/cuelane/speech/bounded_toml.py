"""TOML from a place that is not trusted: bounded in size and depth before it is parsed.

The parser keeps every beginning of a dotted key, so that ``a.a.a…`` grows with the square of its length:
100 kB of it took 6 GB. And it calls itself for every bracket. Both are counted first, in one pass.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from cuelane.base.errors import Mark, PlanError, Problem
from cuelane.base.ordinary import read_ordinary

MAX_DEPTH = 8

# Strings are taken as the parser takes them, an unfinished one to where the parser gives up; possessive, so
# that nothing is read twice.
_TOKEN = re.compile(
    r'"""(?:[^"\\]++|\\.|"(?!""))*+(?:"{3,5})?'
    r"|'''(?:[^']++|'(?!''))*+(?:'{3,5})?"
    r'|"(?:[^"\\\n]++|\\.)*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+|[^\"'#\[\]{}.]++|.",
    re.DOTALL,
)


def read_toml(path: Path, most_bytes: int, what: str) -> dict[str, Any]:
    """Return the content of a TOML file.

    Parameters
    ----------
    what : what the file is, for messages, such as ``a voice definition``.

    Raises
    ------
    PlanError : not to be read, too large, too deep or not well-formed; with file and line.
    """
    try:
        text = read_ordinary(path, most_bytes).decode("utf-8")
    except UnicodeDecodeError as error:
        raise _error(path, 1, 1, f"{what} is written in UTF-8; this is not: {error.reason}") from error
    except OSError as error:
        raise _error(path, 1, 1, f"{what} cannot be read: {error.strerror or error}") from error
    deep = _too_deep(text)
    if deep is not None:
        line = text.count("\n", 0, deep) + 1
        raise _error(path, line, 1, f"{what} may be nested {MAX_DEPTH} deep at most, dots in keys counted")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        line, column = (int(place[1]), int(place[2])) if place else (1, 1)
        raise _error(path, line, column, f"not well-formed TOML: {str(error)[:300]}") from error
    except (ValueError, RecursionError) as error:
        # Numbers of thousands of digits, dates that no calendar has.
        raise _error(path, 1, 1, f"{what} cannot be read: {str(error)[:300]}") from error


def _too_deep(text: str) -> int | None:
    """Return where `text` first nests deeper than it may, or None."""
    brackets = dots = 0
    for match in _TOKEN.finditer(text):
        token = match[0]
        if token in "[{":
            brackets += 1
        elif token in "]}":
            brackets = max(0, brackets - 1)
        elif token == ".":
            dots += 1
        elif dots and token[0] not in "\"'#" and any(sign in token for sign in ",=\n"):
            dots = 0
        if brackets > MAX_DEPTH or dots > MAX_DEPTH:
            return match.start()
    return None


def _error(path: Path, line: int, column: int, message: str) -> PlanError:
    return PlanError([Problem(Mark(str(path), line, column), message)])
