"""Form fields for everything a plan can say, made from the plan's own schema.

A key that the plan learns appears here by itself, with its kind, its limits, its default and its help. A
value that no field of its kind can show (a word where a list belongs) is shown as YAML on one line, so that
nothing is out of reach and nothing is lost.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from ruamel.yaml import YAML

from cuelane.desk.edits import Place
from cuelane.plan.schema import plan_schema

Kind = Literal[
    "text", "duration", "whole", "number", "yes", "choice", "names", "durations", "rounds", "lines",
    "entries", "group", "switch", "yaml",
]  # fmt: skip

ITEM_KEYS = ("block", "include", "say", "rest")
"""What tells the kind of a session's item, in the order in which they are looked for."""

WORDS = ("standard", "none")


@dataclass(frozen=True)
class Field:
    """One value of a plan at a form: where it stands, what it is, and what may be put there.

    ``shown`` is the value as a person types it; ``present`` whether the plan holds it (else its default
    counts); ``children`` the fields of a group, the lines of a list, or the entries of a block.
    """

    path: Place
    label: str
    kind: Kind
    help: str
    shown: str = ""
    present: bool = False
    required: bool = False
    default: str = ""
    example: str = ""
    options: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    longest: int | None = None
    children: tuple[Field, ...] = ()
    may_be_off: bool = False

    @property
    def name(self) -> str:
        """The path as it is written in the page."""
        return place_name(self.path)

    @property
    def in_use(self) -> bool:
        """Whether a person wants to see it at once: the plan holds it, or must."""
        return self.present or self.required


@dataclass(frozen=True)
class Item:
    """A part of the session at the form: its kind, its name, and its fields."""

    path: Place
    kind: str
    title: str
    pattern: str
    fields: tuple[Field, ...]

    @property
    def name(self) -> str:
        """The place as it is written in the page."""
        return place_name(self.path)


def place_name(place: Place) -> str:
    """Return a place as a JSON Pointer without its first slash (RFC 6901)."""
    return "/".join(str(step).replace("~", "~0").replace("/", "~1") for step in place)


@cache
def _schema() -> dict[str, Any]:
    return plan_schema()


def key_order(path: Place) -> tuple[str, ...]:
    """Return the keys that may stand in the mapping at `path`, in the order in which the model has them."""
    if not path:
        return tuple(_schema()["properties"])
    return ()


def plan_fields(data: Mapping[str, Any]) -> tuple[Field, ...]:
    """Return the fields of the plan itself, without its session and its exercises."""
    schema = _schema()
    part = {**schema, "properties": {**schema["properties"]}}
    rest = {key: value for key, value in data.items() if key not in ("session", "exercises")}
    for key in ("session", "exercises"):
        del part["properties"][key]
    return tuple(_fields((), part, rest))


def session_items(data: Mapping[str, Any]) -> tuple[Item, ...]:
    """Return the parts of the session, each with its fields."""
    session = data.get("session")
    return tuple(
        _item(("session", index), value)
        for index, value in enumerate(session if isinstance(session, list) else ())
    )


def exercise_items(data: Mapping[str, Any]) -> tuple[Item, ...]:
    """Return the plan's exercises in the order in which they are written, each with its fields."""
    exercises = data.get("exercises")
    body = _schema()["$defs"]["Exercise"]
    return tuple(
        Item(
            ("exercises", name),
            "exercise",
            str(name),
            "",
            tuple(_fields(("exercises", name), body, value if isinstance(value, dict) else {})),
        )
        for name, value in (exercises.items() if isinstance(exercises, dict) else ())
    )


def line_fields(path: Place, value: Any) -> tuple[Field, ...]:
    """Return the fields of one line to speak: its words and the wishes about it."""
    body = _schema()["$defs"]["CueLine"]
    return tuple(_fields(path, body, value if isinstance(value, dict) else {"text": value}))


_MISSING = object()


def _resolved(body: Mapping[str, Any]) -> Mapping[str, Any]:
    while "$ref" in body:
        name = body["$ref"].rpartition("/")[2]
        body = {**_schema()["$defs"][name], **{key: value for key, value in body.items() if key != "$ref"}}
    return body


def _item(path: Place, value: Any) -> Item:
    if not isinstance(value, dict):
        return Item(path, "yaml", "", "", (_yaml(path, "", {}, value, False),))
    kind = next((key for key in ITEM_KEYS if key in value and (key != "rest" or "block" not in value)), "")
    pattern = str(value.get("pattern", ""))
    for rule in _schema()["properties"]["session"]["items"]["allOf"]:
        asked = rule["if"]
        fits = kind == "block" and pattern in asked.get("properties", {}).get("pattern", {}).get("enum", ())
        if fits or (kind != "block" and asked.get("required") == [kind]):
            return Item(
                path, kind, _title(kind, value), pattern, tuple(_fields(path, _resolved(rule["then"]), value))
            )
    return Item(path, "yaml", "", "", (_yaml(path, "", {}, value, False),))


def _title(kind: str, value: Mapping[str, Any]) -> str:
    found = value.get(kind)
    if isinstance(found, list):
        found = found[0] if found else ""
    if isinstance(found, dict):
        found = found.get("text", "")
    return str(found)


def _fields(path: Place, body: Mapping[str, Any], value: Mapping[str, Any]) -> Iterator[Field]:
    required = body.get("required", ())
    for key, part in body["properties"].items():
        yield _field((*path, key), part, value.get(key, _MISSING), key in required)
    for key in value:
        if key not in body["properties"]:
            yield _yaml((*path, str(key)), str(key), {}, value[key], False)


def _choices(body: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the forms that a value may take, nested ones laid flat."""
    found: list[Mapping[str, Any]] = []
    for form in body.get("anyOf", ()):
        found += _choices(form) if "anyOf" in form else [form]
    return found


def _is_ref(form: Mapping[str, Any], *names: str) -> bool:
    return str(form.get("$ref", "")).rpartition("/")[2] in names


def _kind(body: Mapping[str, Any]) -> Kind:
    """Return the kind of field that a part of the schema asks for."""
    if _is_ref(body, "Duration", "PositiveDuration"):
        return "duration"
    forms = _choices(body)
    if any(_is_ref(form, "CueLine") for form in forms):
        return "lines"
    if any(_is_ref(form, "Entry") for form in forms):
        return "entries"
    if any(form.get("const") is False for form in forms):
        return "switch"
    if any(form.get("enum") and "odd" in form["enum"] for form in forms):
        return "rounds"
    if any(_is_ref(form, "Duration", "PositiveDuration") for form in forms):
        return "durations"
    if len(forms) == 2 and forms[1].get("type") == "array" and forms[1]["items"].get("type") == "string":
        return "names"
    if body.get("type") == "array" and _is_ref(body.get("items", {}), "Duration", "PositiveDuration"):
        return "durations"
    if "$ref" in body and "properties" in _resolved(body):
        return "group"
    if "enum" in body:
        return "choice"
    plain: dict[str, Kind] = {"string": "text", "integer": "whole", "number": "number", "boolean": "yes"}
    if forms and all(form.get("type") in ("string", "integer") for form in forms):
        return "text"
    return plain.get(str(body.get("type")), "yaml")


def _field(path: Place, body: Mapping[str, Any], value: Any, required: bool) -> Field:
    kind = _kind(body)
    present = value is not _MISSING
    if present and not _fits(kind, value, body):
        return _yaml(path, str(path[-1]), body, value, required)
    resolved = _resolved(body)
    examples = resolved.get("examples") or [""]
    children: tuple[Field, ...] = ()
    off = any(form.get("const") is False for form in _choices(body))
    if kind == "group":
        children = tuple(_fields(path, resolved, value if present else {}))
    elif kind == "switch" and value is not False:
        inner = next((form for form in _choices(body) if "$ref" in form), None)
        if inner is not None:
            children = tuple(_fields(path, _resolved(inner), value if present else {}))
    elif kind == "lines" and present and value is not False and value not in WORDS:
        children = tuple(_lines(path, value))
    elif kind == "entries" and present:
        children = tuple(_entries(path, value))
    words = next((tuple(form["enum"]) for form in _choices(body) if form.get("enum")), ())
    return Field(
        path,
        str(path[-1]),
        kind,
        str(resolved.get("description", "")),
        shown=_shown(value) if present else "",
        present=present,
        required=required,
        default=_shown(body["default"]) if "default" in body else "",
        example=_shown(examples[0]),
        options=tuple(map(str, resolved.get("enum", words))),
        least=resolved.get("minimum"),
        most=resolved.get("maximum"),
        longest=resolved.get("maxLength"),
        children=children,
        may_be_off=off,
    )


def _fits(kind: Kind, value: Any, body: Mapping[str, Any]) -> bool:
    """Tell whether a field of `kind` can show `value` and give it back as it is."""
    is_plain = isinstance(value, str | int | float)
    match kind:
        case "text" | "duration" | "choice" | "whole" | "number":
            return is_plain and not isinstance(value, bool)
        case "yes":
            return isinstance(value, bool)
        case "names" | "durations" | "rounds":
            items = value if isinstance(value, list) else [value]
            return all(
                isinstance(item, str | int | float) and not isinstance(item, bool) and "," not in str(item)
                for item in items
            )
        case "group":
            return isinstance(value, dict)
        case "switch":
            return value is False or isinstance(value, dict)
        case "lines":
            if value is False or value in WORDS:
                return True
            return all(
                isinstance(line, str) or (isinstance(line, dict) and isinstance(line.get("text"), str))
                for line in _listed(value)
            )
        case "entries":
            return all(
                isinstance(entry, str) or (isinstance(entry, dict) and isinstance(entry.get("exercise"), str))
                for entry in _listed(value)
            )
    return False


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


def _lines(path: Place, value: Any) -> Iterator[Field]:
    """Return a field for each line; a lone line stands at the key itself."""
    for index, line in enumerate(_listed(value)):
        place = (*path, index) if isinstance(value, list) else path
        text = line["text"] if isinstance(line, dict) else line
        wishes = line_fields(place, line) if isinstance(line, dict) else ()
        yield Field(place, "", "text", "", shown=str(text), present=True, longest=600, children=wishes)


def _entries(path: Place, value: Any) -> Iterator[Field]:
    body = _schema()["$defs"]["Entry"]
    for index, entry in enumerate(_listed(value)):
        place = (*path, index) if isinstance(value, list) else path
        name = entry["exercise"] if isinstance(entry, dict) else entry
        own = tuple(_fields(place, body, entry)) if isinstance(entry, dict) else ()
        yield Field(place, "", "text", "", shown=str(name), present=True, children=own)


def _yaml(path: Place, label: str, body: Mapping[str, Any], value: Any, required: bool) -> Field:
    about = str(_resolved(body).get("description", "")) if body else ""
    return Field(path, label, "yaml", about, shown=in_yaml(value), present=True, required=required)


def in_yaml(value: Any) -> str:
    """Return any value of a plan as YAML on one line."""
    stream = io.StringIO()
    writer = YAML(typ="safe", pure=True)
    writer.default_flow_style = True
    writer.brace_single_entry_mapping_in_flow_sequence = True
    writer.width = 1_000_000
    writer.dump([value], stream)
    return stream.getvalue().strip()[1:-1]


def _shown(value: Any) -> str:
    """Return a value as a person types it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ", ".join(_shown(item) for item in value)
    if isinstance(value, float):
        return f"{value:g}"
    return "" if value is None or isinstance(value, dict) else str(value)


def all_fields(fields: Iterable[Field]) -> Iterator[Field]:
    """Return fields and all that are inside them."""
    for field in fields:
        yield field
        yield from all_fields(field.children)
