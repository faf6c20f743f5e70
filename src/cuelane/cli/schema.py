"""``cuelane schema``: the plan's JSON Schema."""

from __future__ import annotations

from cuelane.cli.output import out_json


def schema() -> None:
    """Print the JSON Schema of a plan, for editors to complete and check what you type."""
    from cuelane.plan.schema import plan_schema

    out_json(plan_schema())
