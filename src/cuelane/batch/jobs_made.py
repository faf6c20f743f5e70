"""One track of a batch: an order that can be sent to another machine, and what becomes of it.

The order is carried out in another process (:mod:`cuelane.batch.makers`), on whichever machine has it.
"""

from __future__ import annotations

import json
import os
import tempfile
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from cuelane.base.errors import Mark
from cuelane.batch.makers import a_maker
from cuelane.plan.tree import Mapping, node_of
from cuelane.plan.variants import Chosen

State = Literal["made", "kept", "failed"]

CHILD = "from cuelane.batch.one_track import child; child()"
MACHINE_FAILED = 3
RECORDS = ".batch"
"""The folder among the results in which each track has a record of what it was made of."""


@dataclass(frozen=True)
class Order:
    """One track to make, in plain values.

    Attributes
    ----------
    name, suffix : the track's path in the folder of results, without and with its ending.
    plan : the plan file.
    out : the folder of results, or its address as fsspec understands it.
    variant : ``name``, ``changes``, ``pace`` and ``mark`` of a variant, or None; ``changes`` is None for one
        of the plan's own.
    options : for the render: ``voice``, ``pace``, ``loudness_lufs``, ``for_music``, ``subtitles``.
    force : replace files that cuelane did not write.
    clips : the folder or address of clips that several machines share, or None.
    sent : the content of each file that the plan needs, by its path from the plan's folder, where the machine
        that makes the track cannot read them; they are then laid out in a folder of their own.
    """

    name: str
    suffix: str
    plan: str
    out: str
    variant: dict[str, Any] | None = None
    options: dict[str, Any] = field(default_factory=dict)
    force: bool = False
    clips: str | None = None
    sent: dict[str, bytes] | None = None

    @property
    def track(self) -> Path:
        """The track's file."""
        return Path(self.out) / (self.name + self.suffix)

    @property
    def record_name(self) -> str:
        """Where the track's record lies in the folder of results."""
        return f"{RECORDS}/{self.name.replace('/', '~')}{self.suffix}.json"

    @property
    def record(self) -> Path:
        """Where the track's record lies."""
        return Path(self.out) / self.record_name

    @property
    def prefix(self) -> str:
        """The track's folder in the folder of results: empty, or ending with ``/``."""
        return self.name[: self.name.rfind("/") + 1]

    def options_text(self) -> str:
        """Return what was asked for as text, to be compared."""
        return json.dumps({"variant": self.variant, "suffix": self.suffix, **self.options}, sort_keys=True)


@dataclass(frozen=True)
class Outcome:
    """What became of one track; ``code`` is the exit code that a render would have had."""

    name: str
    state: State
    code: int = 0
    message: str = ""
    files: tuple[str, ...] = ()
    length_ms: int | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return it without what does not apply."""
        return {key: value for key, value in asdict(self).items() if value not in ("", (), None)}


def carried_out(order: Order) -> Outcome:
    """Make a track in another process; never raises, so that one failure ends nothing else."""
    try:
        if order.sent is None:
            return _from_child(order)
        with tempfile.TemporaryDirectory(prefix="cuelane-") as folder:
            outcome = _from_child(_laid_out(order, Path(folder)))
            # Messages name the plan as its author does, not the temporary folder it was laid out in.
            return replace(outcome, message=outcome.message.replace(f"{folder}{os.sep}plan{os.sep}", ""))
    except OSError as error:
        return Outcome(order.name, "failed", MACHINE_FAILED, f"{error.strerror or error}")


def _laid_out(order: Order, folder: Path) -> Order:
    for name, content in (order.sent or {}).items():
        path = folder / "plan" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    plan = folder / "plan" / Path(order.plan).name
    return Order(**{**vars(order), "plan": str(plan), "sent": None})


def _from_child(order: Order) -> Outcome:
    request = json.dumps({key: value for key, value in vars(order).items() if key != "sent"}) + "\n"
    with a_maker(CHILD) as maker:
        answer = maker.answer(request.encode())
        try:
            told = json.loads(answer)
            return Outcome(**{**told, "files": tuple(told.get("files", ()))})
        except (ValueError, TypeError):
            message = f"the process that made it {maker.death()}"
            return Outcome(order.name, "failed", MACHINE_FAILED, message)


def variant_of(told: dict[str, Any] | None) -> Chosen | None:
    """Return the variant that an order names."""
    if told is None:
        return None
    changes = told.get("changes")
    node = None if changes is None else node_of(changes, Mark(*told["mark"]))
    assert node is None or isinstance(node, Mapping)
    return Chosen(told["name"], node, told.get("pace"))
