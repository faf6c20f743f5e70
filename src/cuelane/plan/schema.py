"""The plan's JSON Schema, for editors that complete and check a plan while it is written."""

from __future__ import annotations

from typing import Any

from cuelane.plan.model import Plan
from cuelane.plan.values import MAX_NAME, MAX_TEXT, duration_schema

SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"

# Forms that a person may write for short, where the models keep a list of parts.
_SHORT_FORMS: dict[str, dict[str, Any]] = {
    "CueLine": {"type": "string", "minLength": 1, "maxLength": MAX_TEXT},
    "Entry": {"type": "string", "minLength": 1, "maxLength": MAX_NAME},
}
_DURATIONS = {"Duration": duration_schema(zero=True), "PositiveDuration": duration_schema(zero=False)}


def plan_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a plan file, with descriptions and examples.

    It accepts every plan that loads. It refuses unknown keys, wrong types and values out of range; whether
    the parts of a plan agree with one another (names, files, sides, totals) only loading can tell.
    """
    schema = Plan.model_json_schema()
    definitions = schema.pop("$defs")
    definitions = {name: _tidy(body) for name, body in definitions.items()}
    body = _tidy(schema)
    body["properties"]["session"]["items"] = _session_item(definitions)
    body["properties"]["exercises"]["additionalProperties"] = {
        "anyOf": [{"$ref": "#/$defs/Exercise"}, {"type": "null"}]
    }
    body["title"] = "cuelane plan"
    return {"$schema": SCHEMA_DIALECT, **body, "$defs": {**_DURATIONS, **definitions}}


def _session_item(definitions: dict[str, Any]) -> dict[str, Any]:
    """Return a rule that first asks what kind of item it is, so that an editor's complaint is about that."""
    rules = []
    for key, name in (("include", "Include"), ("say", "Say"), ("rest", "Pause")):
        rules.append({"if": _item_with(key), "then": {"$ref": f"#/$defs/{name}"}})
    patterns = []
    for name, body in definitions.items():
        pattern = body.get("properties", {}).get("pattern")
        if pattern is not None:
            names = pattern.get("enum", [pattern.get("const")])
            patterns += names
            rules.append(
                {
                    "if": {"properties": {"pattern": {"enum": names}}, "required": ["pattern"]},
                    "then": {"$ref": f"#/$defs/{name}"},
                }
            )
    return {
        "type": "object",
        "description": "A block with its pattern, an include, words to say, or a rest.",
        "properties": {"pattern": {"enum": patterns}},
        "anyOf": [{"required": [key]} for key in ("block", "include", "say", "rest")],
        "dependentRequired": {"block": ["pattern"], "pattern": ["block"]},
        "allOf": rules,
    }


def _item_with(key: str) -> dict[str, Any]:
    return {"required": [key], "not": {"anyOf": [{"required": ["block"]}, {"required": ["pattern"]}]}}


def _tidy(node: Any) -> Any:
    """Return a part of the schema without titles and nulls, and with its short forms."""
    if isinstance(node, list):
        return [_tidy(item) for item in node]
    if not isinstance(node, dict):
        return node
    node = {key: _tidy(value) for key, value in node.items() if not (key == "title" and _is_title(value))}
    # The forms of a value may overlap ("none" is also a text), and a discriminator is OpenAPI's, not ours.
    node.pop("discriminator", None)
    if "oneOf" in node:
        node["anyOf"] = node.pop("oneOf")
    if node.get("default", "") is None:
        del node["default"]
    choices = node.get("anyOf")
    if choices is not None and {"type": "null"} in choices:
        kept = [choice for choice in choices if choice != {"type": "null"}]
        if len(kept) > 1:
            node["anyOf"] = kept
        else:
            del node["anyOf"]
            node = {**kept[0], **node}
    for kind, duration in _DURATIONS.items():
        if node.get("anyOf") == duration["anyOf"]:
            return _duration(kind, duration, node)
    name = str(node.get("items", {}).get("$ref", "")).rpartition("/")[2] if "items" in node else ""
    return _with_short_form(node, name) if name in _SHORT_FORMS else node


def _is_title(value: Any) -> bool:
    """Tell a schema's own title from a property that is called title."""
    return isinstance(value, str)


def _duration(kind: str, whole: dict[str, Any], node: dict[str, Any]) -> dict[str, Any]:
    """Return a reference to a kind of duration, with what this key says of itself beside it."""
    own = {key: value for key, value in node.items() if key not in ("anyOf", "examples")}
    if own.get("description") == whole["description"]:
        del own["description"]
    # Inside, defaults are in milliseconds; a person writes seconds.
    if isinstance(own.get("default"), int):
        own["default"] = f"{own['default'] / 1000:g}s"
    return {"$ref": f"#/$defs/{kind}", **own}


def _with_short_form(node: dict[str, Any], name: str) -> dict[str, Any]:
    one = [_SHORT_FORMS[name], {"$ref": f"#/$defs/{name}"}]
    limits = {key: node[key] for key in ("minItems", "maxItems") if key in node}
    rest = {key: value for key, value in node.items() if key not in ("items", "type", *limits)}
    return {**rest, "anyOf": [*one, {"type": "array", "items": {"anyOf": one}, **limits}]}
