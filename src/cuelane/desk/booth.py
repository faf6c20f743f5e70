"""Reading the lines of a session in one's own voice: which there are, a take of one, and what is kept."""

from __future__ import annotations

import hashlib
import json
import secrets
import threading
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from cuelane.base.errors import PlanError, UsageError, VoiceError
from cuelane.base.files import all_or_nothing
from cuelane.desk.labels import role_of
from cuelane.desk.one_take import Audio, OneTake, take_from
from cuelane.desk.words import Said
from cuelane.desk.workspace import Workspace, Workspaces
from cuelane.speech.definition import ClipRecording, Recordings
from cuelane.speech.engines import engine_of, load_voice
from cuelane.speech.recorded import read_recording
from cuelane.speech.voices import find_voice
from cuelane.takes.reading_script import ReadingLine, covered_texts, offered_lines
from cuelane.takes.voice_folder import INDEX, keep_clip, take_back, voice_folder
from cuelane.web.page_parts import language_tag

FIRST_NAME = "mine"
_ROOM = ".room.json"
_MOST_WAITING = 8
"""Takes held in memory until they are kept; one is looked at at a time, two minutes of it take 23 MB."""


@dataclass(frozen=True)
class Waiting:
    """A take that was judged and is neither kept nor thrown away."""

    text: str
    take: OneTake


class Booth:
    """The readings of all plans of a desk. All methods may be called from several threads."""

    def __init__(self, workspaces: Workspaces) -> None:
        self.workspaces = workspaces
        self._lock = threading.Lock()
        self._waiting: dict[str, Waiting] = {}

    def lines(self, name: str) -> list[ReadingLine]:
        """Return every line of a plan that can be read. Raises UsageError where it cannot be planned."""
        _, preview = self.workspaces.open(name).now()
        if preview.arranged is None:
            raise UsageError(Said("booth.not_now"))
        return offered_lines(preview.arranged)

    def language(self, name: str) -> str:
        """Return the language of a plan's lines. Raises UsageError where it cannot be planned."""
        _, preview = self.workspaces.open(name).now()
        if preview.loaded is None:
            raise UsageError(Said("booth.not_now"))
        return preview.loaded.plan.language

    def state(self, name: str, voice: str | None) -> dict[str, Any]:
        """Return the lines, which of them are recorded, and by which voice the plan speaks."""
        workspace = self.workspaces.open(name)
        version, preview = workspace.now()
        lines = self.lines(name)
        assert preview.loaded is not None
        own = voice or self.voice_of(workspace)
        covered = covered_texts(_folder(workspace), own, [line.text for line in lines])
        return {
            "number": version.number,
            "voice": own,
            "language": language_tag(preview.loaded.plan.language),
            "plan_voice": preview.loaded.plan.voice,
            "lines": [_row(line, line.text in covered) for line in lines],
        }

    def line(self, name: str, key: str) -> ReadingLine:
        """Return the line of a key. Raises UsageError where the plan has none such any more."""
        for line in self.lines(name):
            if key_of(line.text) == key:
                return line
        raise UsageError(Said("booth.line_gone"))

    def voice_of(self, workspace: Workspace) -> str:
        """Return the recorded voice that a person most likely means: the plan's, or the one that is there."""
        _, preview = workspace.now()
        folder = _folder(workspace)
        spoken = preview.loaded.plan.voice if preview.loaded is not None else ""
        found = sorted(path.parent.name for path in (folder / "voices").glob(f"*/{INDEX}"))
        return spoken if spoken in found else next(iter(found), FIRST_NAME)

    def take(
        self,
        name: str,
        key: str,
        source: Path,
        *,
        voice: str,
        spoke_from_s: float = 0.0,
        until_s: float | None = None,
    ) -> dict[str, Any]:
        """Cut and judge a take of a line; return what is said about it, and the word to keep it by.

        Raises
        ------
        AudioFileError : as :func:`cuelane.desk.one_take.take_from`.
        UsageError : no such line, or no name for a voice.
        """
        line = self.line(name, key)
        folder = voice_folder(_folder(self.workspaces.open(name)), voice)
        taken = take_from(
            source,
            room_s=line.room_s,
            spoke_from_s=spoke_from_s,
            until_s=until_s,
            quietest_db=_quietest_db(folder),
        )
        return {
            "id": self._wait(line.text, taken),
            "seconds": round(taken.seconds, 1),
            "remarks": [asdict(remark) for remark in taken.remarks],
        }

    def waiting(self, take_id: str) -> Waiting:
        """Return a take that waits. Raises UsageError where it is gone."""
        with self._lock:
            found = self._waiting.get(take_id)
        if found is None:
            raise UsageError(Said("booth.take_gone"))
        return found

    def keep(self, name: str, key: str, take_id: str, voice: str) -> None:
        """Write a take into the voice beside the plan. Raises UsageError or DeliveryError."""
        line, waiting = self.line(name, key), self.waiting(take_id)
        if waiting.text != line.text:
            raise UsageError(Said("booth.other_line"))
        workspace = self.workspaces.open(name)
        folder = voice_folder(_folder(workspace), voice)
        with self._lock:
            keep_clip(folder, line.number, line.text, waiting.take.clip)
            write_definition(folder, workspace)
            _note_room(folder, waiting.take.room_db)
        self.workspaces.heard_anew()

    def take_back(self, name: str, key: str, voice: str) -> str:
        """Take a line's recording out of the voice; return the word by which it can be kept again."""
        line = self.line(name, key)
        clip = self.kept(name, key, voice)
        with self._lock:
            take_back(voice_folder(_folder(self.workspaces.open(name)), voice), line.text)
        self.workspaces.heard_anew()
        return self._wait(line.text, OneTake(clip, 0.0, (), None))

    def kept(self, name: str, key: str, voice: str) -> Audio:
        """Return the recording of a line; shape (n_samples,), 48 kHz.

        Raises UsageError where there is none.
        """
        line, folder = self.line(name, key), _folder(self.workspaces.open(name))
        found: ClipRecording | str = ""
        if (voice_folder(folder, voice) / INDEX).exists():
            definition = find_voice(voice, folder)
            recorded = None if engine_of(definition).synthetic else load_voice(definition)
            found = recorded.find(line.text) if isinstance(recorded, Recordings) else ""
        if isinstance(found, str):
            raise UsageError(found or Said("booth.no_recording"))
        return read_recording(found.path)

    def _wait(self, text: str, take: OneTake) -> str:
        take_id = secrets.token_urlsafe(12)
        with self._lock:
            self._waiting[take_id] = Waiting(text, take)
            while len(self._waiting) > _MOST_WAITING:
                self._waiting.pop(next(iter(self._waiting)))
        return take_id


def key_of(text: str) -> str:
    """Return a short name for a line, made of its words alone."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _row(line: ReadingLine, mine: bool) -> dict[str, Any]:
    return {
        "key": key_of(line.text),
        "number": line.number,
        "text": line.text,
        "roles": ", ".join(map(role_of, line.roles)),
        "uses": line.n_uses,
        "room_s": line.room_s,
        "usual_s": line.usual_s,
        "mine": mine,
    }


def _folder(workspace: Workspace) -> Path:
    return workspace.document.path.parent


def write_definition(folder: Path, workspace: Workspace) -> None:
    """Say in voices/NAME.toml that the plan's own voice goes on speaking what is not recorded.

    A folder of recordings alone falls back on the natural voice, in English; nothing is written for that.
    """
    path = folder.with_name(f"{folder.name}.toml")
    _, preview = workspace.now()
    if path.exists() or preview.loaded is None:
        return
    try:
        now = find_voice(preview.loaded.plan.voice, folder.parent.parent)
        synthetic = engine_of(now).synthetic
    except (PlanError, UsageError, VoiceError):
        return
    if not synthetic or now.name == "natural":
        return
    rows = {
        "engine": "recorded",
        "index": f"{folder.name}/{INDEX}",
        "fallback": now.name,
        "language": now.language,
    }
    with all_or_nothing(path) as staged:
        # Strings of JSON are strings of TOML.
        staged.write_text(path, "".join(f"{key} = {json.dumps(value)}\n" for key, value in rows.items()))


def _quietest_db(folder: Path) -> float | None:
    try:
        value = json.loads((folder / _ROOM).read_text(encoding="utf-8"))["quietest_db"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return float(value) if isinstance(value, int | float) and abs(value) < 1000 else None


def _note_room(folder: Path, room_db: float | None) -> None:
    """Remember the quietest room of this voice, so that takes of other days can be brought to it."""
    known = _quietest_db(folder)
    if room_db is None or (known is not None and known <= room_db):
        return
    with all_or_nothing(folder / _ROOM, owned=[folder / _ROOM]) as staged:
        staged.write_text(folder / _ROOM, json.dumps({"quietest_db": round(room_db, 1)}) + "\n")
