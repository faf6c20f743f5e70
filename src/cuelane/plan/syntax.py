"""What is wrong with text that is not YAML, in plain words, and where to look."""

from __future__ import annotations

import re
from typing import Any

from ruamel.yaml.error import MarkedYAMLError

from cuelane.base.errors import Mark
from cuelane.plan.source_text import Lines

BRACES = "text that begins with { or [ needs quotes around it"
_INSIDE = "text inside brackets or braces needs quotes where it holds ':' or ','"
_INDENT = "check how far this line is indented"
_CURLY = 'typographic quotes are part of the text; put straight ones (") around it'
_QUOTES = "\u201c\u201d\u201e\u2018\u2019\u201a\u00ab\u00bb"
# A value that begins with a quotation mark and has no other in its line.
_OPENS = re.compile(r"(?:: |- |\[|, |\{)(?:(['\"]))[^'\"]*$")
_DASH = re.compile(r"\s*-[^\s-]")
_SYNTAX = (
    ("'\\t' that cannot start", "a tab stands here; YAML is indented with spaces", "replace tabs by spaces"),
    ("sequence entries are not allowed", "a list cannot start here", "put '- ' on a line of its own"),
    ("that cannot start any token", "text cannot begin with this character", "put quotes around the text"),
    ("unknown escape character", "no such escape after '\\' in double quotes", "use single quotes"),
    ("escape sequence of", "the code after '\\' in double quotes is not complete", "use single quotes"),
    ("duplicate anchor", "a plan may not use YAML anchors", "write the value out where used"),
    ("undeclared tag handle", "a plan may not use YAML tags (words that begin with '!')", "remove the tag"),
    ("chomping or indentation", "after > or | the text starts on the next line", ""),
    ("a comment or a line break", "after > or | the text starts on the next line", ""),
    ("indentation indicator", "after > or | the text starts on the next line", ""),
    ("expected the node content", "a value is missing before this", "text that begins with it needs quotes"),
    ("mapping keys are not allowed", "a key cannot start here", _INDENT),
    ("expected '<document start>'", "this line does not fit with the lines above it", _INDENT),
    ("document separator", "'---' or '...' stands inside quotes", "close the quotes before it"),
    ("but found '<document start>'", "'---' stands inside brackets or braces", "close them before it"),
)
# Faults that show late: the place to look at is where the thing began.
_BEGUN = (
    ("quoted scalar", "end of stream", "the quotes that open here are not closed"),
    ("simple key", "could not find expected ':'", "this line should be a key, a ':' and a value"),
    ("flow sequence", "expected ',' or ']'", "the list in brackets that starts here goes wrong at {}"),
    ("flow mapping", "expected ',' or '}'", "the group in braces that starts here goes wrong at {}"),
)


def syntax_problem(lines: Lines, error: MarkedYAMLError) -> tuple[Mark, str, str]:
    """Return where and why text is not YAML, in plain words."""
    problem, context = str(error.problem or ""), str(error.context or "")
    place = error.problem_mark or error.context_mark
    mark = _mark_at(lines, place)
    for about, needle, message in _BEGUN:
        if about in context and needle in problem and error.context_mark is not None:
            begun = _mark_at(lines, error.context_mark)
            hint = _INSIDE if begun.line == mark.line and "flow" in about else ""
            if hint and _is_curly(lines, begun):
                hint = _CURLY
            return begun, message.format(f"line {mark.line}, column {mark.column}"), hint
    whole = lines.lines[mark.line - 1] if mark.line <= len(lines.lines) else ""
    if "expected <block end>" in problem and _DASH.match(whole):
        return mark, "this line does not fit with the lines above it", "put a space after the '-'"
    for needle, message, hint in _SYNTAX:
        if needle in problem:
            return mark, message, hint
    before = whole[: mark.column - 1].rstrip()
    if "mapping values are not allowed" in problem:
        hint = "text that holds ': ' needs quotes" if ": " in before else _INDENT
        if _is_curly(lines, mark):
            hint = _CURLY
        return mark, "a ':' is not expected here", hint
    if (opened := _opened_before(lines, error, mark)) is not None:
        message = f"the quotes that open here close at line {mark.line}, in the middle of other text"
        return opened, message, "close them where the text ends, or take them away"
    if "but found '<scalar>'" in problem and before:
        hint = BRACES if before.endswith(("}", "]")) else "put quotes around the whole text"
        return mark, "text goes on here after a value that was complete", hint
    if "expected <block end>" in problem:
        return mark, "this line does not fit with the lines above it", _INDENT
    return mark, "this is not YAML that can be read", "check quotes, colons and how far lines are indented"


def _is_curly(lines: Lines, mark: Mark) -> bool:
    """Tell whether a value in the line of `mark` begins with a typographic quotation mark."""
    line = lines.lines[mark.line - 1] if mark.line <= len(lines.lines) else ""
    return any(f"{before}{quote}" in line for quote in _QUOTES for before in (": ", "- ", "[", "{", ", "))


def _opened_before(lines: Lines, error: MarkedYAMLError, mark: Mark) -> Mark | None:
    """Return where quotes opened on an earlier line that text after them, at `mark`, is no part of."""
    if "but found '<scalar>'" not in str(error.problem or ""):
        return None
    line = lines.lines[mark.line - 1][: mark.column - 1].rstrip() if mark.line <= len(lines.lines) else ""
    quote = line[-1:]
    if quote not in ("'", '"') or line.count(quote) != 1:
        return None
    for number in range(mark.line - 1, 0, -1):
        found = _OPENS.search(lines.lines[number - 1])
        if found is not None and found[1] == quote:
            return Mark(lines.file, number, found.start(1) + 1)
        if quote in lines.lines[number - 1]:
            return None
    return None


def _mark_at(lines: Lines, place: Any) -> Mark:
    return Mark(lines.file, 1, 1) if place is None else Mark(lines.file, place.line + 1, place.column + 1)
