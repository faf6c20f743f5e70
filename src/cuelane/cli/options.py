"""Options that several commands have, each with its name and its help in one place."""

from __future__ import annotations

from typing import Annotated

import typer

from cuelane.base.paces import MAX_PACE, MIN_PACE

Force = Annotated[
    bool, typer.Option("--force", help="Replace files that cuelane did not write, or you changed.")
]
Pace = Annotated[float, typer.Option(min=MIN_PACE, max=MAX_PACE, help="How fast the voice speaks.")]
PlanPace = Annotated[
    float | None,
    typer.Option(
        min=MIN_PACE,
        max=MAX_PACE,
        help="How fast the voice speaks; as the variant says if left out, else 1.",
    ),
]
Recogniser = Annotated[
    str | None,
    typer.Option(
        help="What hears the words: light, strong, or a folder with a model; by default the best installed."
    ),
]
