"""What a form calls a key of the plan: words that a coach understands, with the unit in them.

A key without words of its own is called by its own name, so that one the plan learns appears by itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from cuelane.base.page_words import page_words
from cuelane.desk.words import desk_words

if TYPE_CHECKING:
    # The shelf is served before what forms need has been imported.
    from cuelane.desk.edits import Place
    from cuelane.desk.forms import Field

_EXERCISE_DEPTH = 3
"""``exercises``, its name, the key."""


def label_of(field: Field) -> str:
    """Return what a field is called."""
    key = str(field.label)
    words = desk_words()
    for name in (f"{_whole_of(field.path)}.{key}", key):
        found = words.find("label", name)
        if found:
            return found
    return key.replace("_", " ")


def unit_of(field: Field) -> str:
    """Return in what a field's value is given, with its limits; empty where there is nothing to say."""
    words = desk_words()
    own = words.find("unit", f"{_whole_of(field.path)}.{field.label}")
    own = own or words.find("unit", f"key.{field.label}")
    if own:
        return own
    if field.kind in ("whole", "number") and field.least is not None and field.most is not None:
        return words("unit.range", least=f"{field.least:g}", most=f"{field.most:g}")
    return words.find("unit", field.kind)


def help_of(field: Field) -> str:
    """Return what is said about a field under it: the desk's own words, else the plan's."""
    key = str(field.label)
    words = desk_words()
    # A rest or words between two blocks must have them; what a block has of the same name it may leave out.
    whole = "alone" if field.required and key in ("rest", "say") else _whole_of(field.path)
    return words.find("help", f"{whole}.{key}") or words.find("help", key) or field.help


def example_of(field: Field) -> str:
    """Return what could stand in an empty field: in the desk's language, else as the plan's schema has it."""
    return (desk_words().find("example", str(field.label)) if field.example else "") or field.example


def option_of(option: str, field: Field | None = None) -> str:
    """Return what a choice is called; a value without words of its own stays as the plan has it."""
    words = desk_words()
    own = words.find("option", f"{field.label}.{option}") if field is not None else ""
    return own or words.find("option", option) or option


def role_of(role: str) -> str:
    """Return what a cue's role is called.

    What is announced may be a round, what lies ready or the end: "name", as the page beside a track has it,
    tells too little where every line is to be understood by itself.
    """
    words = desk_words()
    return (
        words.hear["announcement"]
        if role == "announce"
        else page_words(words.code).find("role", role) or role
    )


def pattern_of(pattern: str) -> str:
    """Return a pattern's name."""
    return _pattern(pattern)[0]


def pattern_help(pattern: str) -> str:
    """Return what a pattern does, empty where nothing is said of it."""
    return _pattern(pattern)[1]


def _pattern(pattern: str) -> tuple[str, str]:
    """Return the two sides of the colon in a pattern's words."""
    name, _, does = (desk_words().find("pattern", pattern) or pattern).partition(":")
    does = does.strip()
    return name.strip(), does[:1].upper() + does[1:] + "." if does else ""


def _whole_of(path: Place) -> str:
    """Return the kind of thing that the key at `path` belongs to."""
    if len(path) > 1 and path[-2] in ("talk_share", "pips"):
        return str(path[-2])
    if path[0] == "exercises":
        return "exercise" if len(path) == _EXERCISE_DEPTH else "line"
    if path[0] == "session":
        return "part" if len(path) == _EXERCISE_DEPTH else "line"
    return "plan" if len(path) == 1 else "line"
