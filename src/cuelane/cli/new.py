"""``cuelane new``: a starter plan for a pattern, ready to render."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cuelane.base.errors import UsageError
from cuelane.cli.options import Force
from cuelane.cli.output import as_typed, note, out


def new(
    pattern: Annotated[
        str, typer.Argument(help="circuit, build-up, build-up-and-down, build-down, ladder, ...")
    ],
    out_file: Annotated[Path, typer.Option("--out", "-o", help="The file to write.")] = Path("plan.yaml"),
    title: Annotated[str, typer.Option(help="The session's title.")] = "My session",
    language: Annotated[str, typer.Option(help="Its words: en, es, fr, it, pt-BR or de.")] = "en",
    force: Force = False,
) -> None:
    """Write a starter plan for a pattern, and its JSON Schema beside it for your editor."""
    import json

    from cuelane.base.files import all_or_nothing
    from cuelane.base.seals import sealable_json
    from cuelane.plan.schema import plan_schema
    from cuelane.plan.starter import starter_plan

    text = starter_plan(pattern, title, language)
    if out_file.is_dir():
        raise UsageError(
            f"{out_file}: is a folder; give the name of a file, such as {out_file / 'plan.yaml'}"
        )
    if out_file.exists() and not force:
        # Also one that this command wrote: nobody can tell whether a line of it has been changed since.
        raise UsageError(
            f"{out_file}: there is a file already, and it is yours, also if `cuelane new` wrote it; choose "
            "another name with --out, or replace it with --force"
        )
    if not out_file.parent.is_dir():
        raise UsageError(f"{out_file.parent}: there is no such folder")
    schema = out_file.with_name("plan.schema.json")
    if out_file == schema:
        raise UsageError(f"{out_file}: the plan's schema has that name; choose another with --out")
    with all_or_nothing(out_file, schema, force=force) as staged:
        staged.write_text(out_file, text)
        staged.write_text(schema, sealable_json(json.dumps(plan_schema(), indent=1)))
    out(str(out_file))
    note(f"Edit it, look at it with `cuelane schedule {as_typed(out_file)}`, then:")
    note(f"cuelane render {as_typed(out_file)} --out {as_typed(out_file.with_suffix('.m4a'))}")
