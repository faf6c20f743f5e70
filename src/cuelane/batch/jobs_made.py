"""One track of a batch: an order that can be sent to another machine, and what becomes of it.

The order is carried out in a process of its own, by whichever machine has it: one that dies, or fills the
memory, takes its track with it and no other. That process ends by itself when the one that waits for it dies,
so that no track is made twice at once.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from cuelane.base.errors import Mark
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
    """Make a track in a process of its own; never raises, so that one failure ends nothing else."""
    try:
        with tempfile.TemporaryDirectory(prefix="cuelane-") as folder:
            if order.sent is not None:
                order = _laid_out(order, Path(folder))
            outcome = _from_child(order, Path(folder) / "stderr.txt")
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


def _from_child(order: Order, errors: Path) -> Outcome:
    request = json.dumps({key: value for key, value in vars(order).items() if key != "sent"}) + "\n"
    with (
        errors.open("wb") as stderr,
        subprocess.Popen(
            [sys.executable, "-P", "-c", CHILD], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=stderr
        ) as child,
    ):
        assert child.stdin is not None
        assert child.stdout is not None
        try:
            child.stdin.write(request.encode())
            child.stdin.flush()
            # Its standard input stays open: its end tells the child that nobody waits any more.
            answer = child.stdout.read()
        except BaseException:
            child.kill()
            raise
    try:
        told = json.loads(answer)
        return Outcome(**{**told, "files": tuple(told.get("files", ()))})
    except (ValueError, TypeError):
        return Outcome(order.name, "failed", MACHINE_FAILED, _death(child.returncode, errors))


def _death(code: int, errors: Path) -> str:
    if code < 0:
        try:
            return f"the process that made it was ended by {signal.Signals(-code).name}; run the batch again"
        except ValueError:
            return f"the process that made it was ended by signal {-code}; run the batch again"
    lines = errors.read_text(encoding="utf-8", errors="replace").strip().splitlines() or [""]
    return f"the process that made it ended with {code}; run the batch again. {lines[-1][:300]}".rstrip()


def end_with_parent() -> None:
    """End this process when its standard input ends: whoever asked for the track is gone then."""

    def wait() -> None:
        while os.read(sys.stdin.fileno(), 1):
            pass
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=wait, daemon=True).start()


def variant_of(told: dict[str, Any] | None) -> Chosen | None:
    """Return the variant that an order names."""
    if told is None:
        return None
    changes = told.get("changes")
    node = None if changes is None else node_of(changes, Mark(*told["mark"]))
    assert node is None or isinstance(node, Mapping)
    return Chosen(told["name"], node, told.get("pace"))
