"""A whole script read in one recording, listened to in the background, and kept line by line."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from cuelane.base.errors import UsageError
from cuelane.desk.booth import Booth, key_of, write_definition
from cuelane.desk.chores import Chore, Chores, Told
from cuelane.desk.one_take import Audio
from cuelane.desk.uploads import unnamed
from cuelane.desk.words import Said
from cuelane.takes.run import LineResult, TakesResult, find_takes
from cuelane.takes.voice_folder import voice_delivery, voice_folder, write_voice


class WholeReadings:
    """The readings that are being listened to, or wait for a person's word, one for each plan."""

    def __init__(self, booth: Booth, chores: Chores) -> None:
        self._booth = booth
        self._chores = chores

    def start(self, name: str, source: Path) -> None:
        """Listen to a reading of a plan's script; the folder that holds `source` is deleted afterwards.

        Raises
        ------
        UsageError : no such plan, nothing to read in it, or the desk is busy. The folder is gone then too.
        """
        after = _deletes(source.parent)
        try:
            texts = [line.text for line in self._booth.lines(name)]
            language = self._booth.language(name)
            if not texts:
                raise UsageError(Said("booth.no_lines"))
        except BaseException:
            after()
            raise

        self._chores.start(
            _name(name), Said("busy.reading", name=name), _listen, (source, texts, language), after
        )

    def state(self, name: str) -> dict[str, Any]:
        """Return how far it is, and once it is done what was found of each line."""
        chore = self._chores.get(_name(name))
        if chore is None:
            return {"state": "none"}
        found: dict[str, Any] = chore.to_dict()
        if chore.state == "done":
            result: TakesResult = chore.result
            found["notes"] = [note.removeprefix("sound: ") for note in result.notes]
            found["lines"] = [_row(line) for line in result.lines]
            found["unused"] = len(result.unused)
        return found

    def clip(self, name: str, key: str) -> Audio:
        """Return the clip that was cut for a line; shape (n_samples,), 48 kHz.

        Raises UsageError where there is none.
        """
        for line in self._result(name).lines:
            if key_of(line.text) == key and line.clip is not None:
                return line.clip
        raise UsageError(Said("booth.not_found"))

    def keep(self, name: str, keys: set[str], voice: str) -> int:
        """Write the clips of the lines of `keys` into the voice; return how many there were."""
        result = self._result(name)
        chosen = [
            replace(line, state="placed")
            for line in result.lines
            if line.clip is not None and key_of(line.text) in keys
        ]
        workspace = self._booth.workspaces.open(name)
        folder = voice_folder(workspace.document.path.parent, voice)
        if chosen:
            with voice_delivery(folder, []) as staged:
                write_voice(staged, folder, replace(result, lines=tuple(chosen)))
            write_definition(folder, workspace)
            self._booth.workspaces.heard_anew()
        self._chores.forget(_name(name))
        return len(chosen)

    def stop(self, name: str) -> None:
        """Stop listening, or put away what was heard."""
        self._chores.forget(_name(name))

    def _result(self, name: str) -> TakesResult:
        chore: Chore | None = self._chores.get(_name(name))
        if chore is None or chore.state != "done":
            raise UsageError(Said("booth.no_reading"))
        result: TakesResult = chore.result
        return result


def _listen(told: Told, source: Path, texts: list[str], language: str) -> TakesResult:
    told("reading", 0, 0)

    def heard(done: int, total: int) -> None:
        told("listening", done, total)

    return unnamed(source, lambda: find_takes([source], texts, language=language, progress=heard))


def _row(line: LineResult) -> dict[str, Any]:
    return {
        "key": key_of(line.text),
        "number": line.number,
        "text": line.text,
        "state": line.state,
        "takes": line.n_takes,
        "notes": list(line.notes),
        "has_clip": line.clip is not None,
    }


def _name(plan: str) -> str:
    return f"reading {plan}"


def _deletes(folder: Path) -> Callable[[], None]:
    return lambda: shutil.rmtree(folder, ignore_errors=True)
