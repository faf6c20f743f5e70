"""Recorded classes in the desk's folder: brought in, listened to, decided on, each in a folder of its own."""

from __future__ import annotations

import contextlib
import json
import re
import shutil
import tempfile
import unicodedata
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.adapted_folder import ANALYSIS, CLIPS, DECISIONS, MAX_OWN_BYTES, PLAN, WRITTEN
from cuelane.adapt.analysis import LONGEST_S, SHORTEST_S, Analysis, analysis_key, from_json
from cuelane.adapt.decisions import decide, decisions_text, read_decisions, with_purposes
from cuelane.adapt.report import doubts
from cuelane.adapt.run import adapt_recording
from cuelane.adapt.words.caption_reader import read_captions
from cuelane.base.errors import AudioFileError, UsageError
from cuelane.base.files import all_or_nothing
from cuelane.base.ordinary import read_ordinary
from cuelane.base.units import parse_duration_ms
from cuelane.desk.chores import Chores, Told
from cuelane.desk.deleted import OWN_FOLDERS
from cuelane.desk.device_names import is_device
from cuelane.desk.one_take import Audio
from cuelane.desk.tapes import Tapes
from cuelane.desk.words import Said, desk_words
from cuelane.desk.workspace import Workspaces

ABOUT = "class.json"
CAPTIONS = "captions.txt"
_OWN = {name.partition(".")[0].lower() for name in (ABOUT, CAPTIONS, CLIPS, *WRITTEN)}
MAX_HEARD_S = 60.0
_ENDINGS = re.compile(r"\.[a-z0-9]{1,5}")
_NO_NOTE = (OSError, ArithmeticError, ValueError, KeyError, TypeError, AttributeError, RecursionError)
"""What a note of a class raises that somebody else wrote, or that is gone."""


@dataclass(frozen=True)
class BroughtClass:
    """A class: its folder, the files that were brought, and what was said of it.

    ``beep_at_s`` is where a countdown ends in the recording; ``plan`` the plan that was followed in it;
    ``work_s`` and ``rest_s`` how long its work and its rest last, both or neither.
    """

    folder: Path
    recording: Path
    captions: Path | None
    beep_at_s: float | None = None
    plan: Path | None = None
    work_s: float | None = None
    rest_s: float | None = None


class Classes:
    """The classes of a desk. All methods may be called from several threads."""

    def __init__(self, workspaces: Workspaces, chores: Chores, tapes: Tapes) -> None:
        self._workspaces = workspaces
        self._chores = chores
        self.tapes = tapes

    def names(self) -> list[str]:
        """Return the names of the folders that hold a class, sorted."""
        folders = self._workspaces.folder.folders()
        return sorted(folder.name for folder in folders if (folder / ABOUT).is_file())

    def title(self, name: str) -> str:
        """Return what a class is called: its recording's name, or its folder's where that is not there."""
        try:
            return self.open(name).recording.stem
        except UsageError:
            return name

    def begin(self, file_name: str) -> tuple[str, Path]:
        """Make the folder of a new class; return its name, and where its recording is to be written."""
        stem, dot, ending = file_name.replace("\\", "/").rpartition("/")[2].rpartition(".")
        title, unnamed = _plain(stem if dot else ending), desk_words().classes["unnamed"]
        if not title or title.lower() in _OWN or is_device(title):
            title = f"{unnamed} {title}".strip()
        ending = f".{ending.lower()}" if dot and _ENDINGS.fullmatch(f".{ending.lower()}") else ""
        slug = "-".join(re.findall(r"[a-z0-9]+", title.lower()))[:40].strip("-") or "class"
        if is_device(slug) or slug in OWN_FOLDERS:
            # What the title has beside it, such as a letter with an accent, no folder's name takes over.
            slug = f"class-{slug}"
        for n in range(1, 10_000):
            folder = self._workspaces.folder.path / (f"{slug}-{n}" if n > 1 else slug)
            try:
                folder.mkdir()
            except FileExistsError:
                continue
            return folder.name, folder / f"{title}{ending}"
        raise UsageError(Said("classes.too_many"))

    def brought(self, name: str, recording: Path) -> None:
        """Note that the recording of a new class is there."""
        self._note(BroughtClass(recording.parent, recording, None))

    def give_up(self, name: str) -> None:
        """Remove the folder of a class whose recording did not come."""
        shutil.rmtree(self._workspaces.folder.path / name, ignore_errors=True)

    def add_captions(self, name: str, text: bytes) -> int:
        """Put captions beside a class; return how many there are.

        Raises
        ------
        AudioFileError : they are no captions, or more than anybody says; nothing is kept of them.
        """
        found = self.open(name)
        with tempfile.TemporaryDirectory() as scratch:
            path = Path(scratch) / CAPTIONS
            path.write_bytes(text)
            try:
                n_captions = len(read_captions(path))
            except AudioFileError as error:
                raise AudioFileError(str(error).replace(f"{path}: ", "")) from error
        target = found.folder / CAPTIONS
        with all_or_nothing(target, owned=[target]) as staged:
            staged.write_bytes(target, text)
        self._note(replace(found, captions=found.folder / CAPTIONS))
        return n_captions

    def open(self, name: str) -> BroughtClass:
        """Return the class called `name`. Raises UsageError where there is none."""
        folder = self._workspaces.folder.folder(name)
        if folder is None:
            raise UsageError(Said("classes.no_such_class"))
        try:
            about = json.loads(read_ordinary(folder / ABOUT, 10_000))
            recording = _inside(folder, about["recording"])
            captions = _inside(folder, about["captions"]) if about.get("captions") else None
            beep_at_s, work_s, rest_s = (
                _seconds(about.get(key)) for key in ("beep_at_s", "work_s", "rest_s")
            )
            lengths = (None, None) if work_s is None or rest_s is None else (work_s, rest_s)
            plan = about.get("plan")
            # A plan that is gone meanwhile is done without.
            plan = self._workspaces.folder.path / plan if plan in self._workspaces.folder.names() else None
        except _NO_NOTE as error:
            raise UsageError(Said("classes.no_recording")) from error
        return BroughtClass(folder, recording, captions, beep_at_s, plan, *lengths)

    def run(self, name: str, *, again: bool = False) -> None:
        """Listen to a class in the background; `again` replaces a plan that was changed since.

        Raises UsageError where the desk is busy.
        """
        found = self.open(name)
        self._chores.start(_chore(name), Said("busy.class", name=name), _adapt, (found, again), lambda: None)

    def tell(self, name: str, beep_at: str, plan: str, work: str = "", rest: str = "") -> None:
        """Note what a person knows of a class, for the next time it is listened to; empty where nothing is.

        Parameters
        ----------
        beep_at : where a countdown ends in the recording, as a plan's durations are written.
        plan : the name of a plan of this folder that was followed.
        work, rest : how long they last, as a plan's durations are written.

        Raises
        ------
        UsageError : no duration, one of the two without the other, or no such plan.
        """
        found = self.open(name)
        try:
            beep_at_s = parse_duration_ms(beep_at) / 1000 if beep_at else None
        except ValueError as error:
            raise UsageError(Said("classes.no_time", text=beep_at)) from error
        if plan and plan not in self._workspaces.folder.names():
            raise UsageError(Said("classes.no_such_plan", name=plan))
        work_s, rest_s = _lengths(work, rest)
        followed = self._workspaces.folder.path / plan if plan else None
        self._note(replace(found, beep_at_s=beep_at_s, plan=followed, work_s=work_s, rest_s=rest_s))

    def plans(self) -> list[str]:
        """Return the names of the plans that a class may have followed."""
        return self._workspaces.folder.names()

    def plan_renamed(self, old: str, new: str) -> None:
        """A plan has another name, and both for now: the classes that followed it follow that."""
        for name in self.names():
            with contextlib.suppress(UsageError):
                found = self.open(name)
                if found.plan is not None and found.plan.name == old:
                    self._note(replace(found, plan=found.plan.with_name(new)))

    def stop(self, name: str) -> None:
        """Stop listening to a class."""
        self._chores.forget(_chore(name))

    def progress(self, name: str) -> dict[str, Any]:
        """Return how far the listening is; ``idle`` where nothing has run since the desk was started."""
        chore = self._chores.get(_chore(name))
        return chore.to_dict() if chore is not None else {"state": "idle"}

    def analysis(self, name: str) -> Analysis | None:
        """Return what was found in a class, None before it has been listened to."""
        found = self.open(name)
        text = _analysis_text(found)
        return None if text is None else from_json(text, analysis_key(found.recording, _options(found)))

    def decided(self, name: str, analysis: Analysis) -> list[bool]:
        """Return whether each cue is kept. Raises PlanError where the decisions file is wrong."""
        return decide(analysis.cues, read_decisions(self.open(name).folder / DECISIONS))[0]

    def doubts(self, analysis: Analysis) -> list[str]:
        """Return what is uncertain about the class as a whole."""
        return doubts(analysis)

    def keep(self, name: str, kept: list[bool]) -> None:
        """Write which cues are kept, for the next time that the class is listened to.

        Raises
        ------
        UsageError : the class was not listened to, or was listened to anew since the page was opened.
        """
        found = self.open(name)
        folder, text = found.folder, _analysis_text(found)
        # What the page showed, though more of the class may have been told since and not come to anything.
        analysis = None if text is None else from_json(text, None)
        if analysis is None or len(kept) != len(analysis.cues):
            raise UsageError(Said("classes.anew"))
        decisions = read_decisions(folder / DECISIONS)
        _, left = decide(analysis.cues, decisions)
        path = folder / DECISIONS
        with all_or_nothing(path, owned=[path]) as staged:
            staged.write_text(path, decisions_text(with_purposes(analysis.cues, decisions), kept, left))

    def decide(self, name: str, kept: list[bool]) -> None:
        """Write which cues are kept, and make the plan again with them. Raises as :meth:`keep` does."""
        self.keep(name, kept)
        plan = self.plan_name(name)
        if plan is not None:
            # The page says that changes of a plan are replaced; with it open here, undo brings them back.
            self._workspaces.open(plan).now()
        self.run(name, again=True)

    def plan_name(self, name: str) -> str | None:
        """Return the desk's name of a class's plan, None where there is none yet."""
        return f"{name}:{PLAN}" if self._workspaces.folder.plan_below(name) is not None else None

    def sound(self, name: str, start_s: float, end_s: float) -> Audio:
        """Return a part of a class's recording, a minute at most; shape (n_samples,), 48 kHz.

        Raises UsageError before its tape is there.
        """
        self.open(name)
        recording = self.tapes.of(name).recording
        assert recording is not None, "a tape that is done holds its recording"
        return recording.full(start_s, min(end_s, start_s + MAX_HEARD_S))

    def tape(self, name: str) -> dict[str, Any]:
        """Return how far the recording of a class is decoded; the first call begins it."""
        return self.tapes.look(name, self.open(name).recording)

    def close(self) -> None:
        """Put away what was decoded."""
        self.tapes.close()

    def _note(self, found: BroughtClass) -> None:
        about = {
            "recording": found.recording.name,
            "captions": found.captions.name if found.captions else None,
            "beep_at_s": found.beep_at_s,
            "plan": found.plan.name if found.plan else None,
            "work_s": found.work_s,
            "rest_s": found.rest_s,
        }
        path = found.folder / ABOUT
        with all_or_nothing(path, owned=[path]) as staged:
            staged.write_text(path, json.dumps(about, ensure_ascii=False) + "\n")


def _analysis_text(found: BroughtClass) -> str | None:
    """Return what the last listening wrote of a class, None before there is one."""
    try:
        return read_ordinary(found.folder / ANALYSIS, MAX_OWN_BYTES).decode("utf-8")
    except (OSError, UnicodeDecodeError):
        return None


def _adapt(told: Told, found: BroughtClass, again: bool) -> int:
    """Run in the child; return how many cues are kept."""
    made = adapt_recording(found.recording, found.folder, _options(found), step=told, force=again)
    return sum(made.kept)


def _options(found: BroughtClass) -> AdaptOptions:
    return AdaptOptions(found.captions, found.plan, found.beep_at_s, work_s=found.work_s, rest_s=found.rest_s)


def _lengths(work: str, rest: str) -> tuple[float | None, float | None]:
    """Return how long work and rest last, in s; None where neither is told. Raises UsageError."""
    if not work and not rest:
        return None, None
    try:
        work_s, rest_s = (parse_duration_ms(one) / 1000 for one in (work, rest))
    except ValueError:
        work_s = rest_s = 0.0
    if not SHORTEST_S <= work_s <= LONGEST_S or not (rest_s == 0 or SHORTEST_S <= rest_s <= LONGEST_S):
        raise UsageError(Said("classes.no_lengths", low=round(SHORTEST_S), high=round(LONGEST_S)))
    return work_s, rest_s


def _seconds(told: Any) -> float | None:
    """Return a time that the note of a class holds, in s to the ms. Raises where it holds something else."""
    return None if told is None else round(1000 * float(told)) / 1000


def _inside(folder: Path, name: str) -> Path:
    """Return an ordinary file of this folder by its plain name. Raises ValueError where it is none."""
    path = folder / name
    if name != Path(name).name or not path.is_file() or path.resolve().parent != folder.resolve():
        raise ValueError("is not in this folder")
    return path


def _plain(stem: str) -> str:
    """Return a file's stem as a title that every system takes as a name: letters, digits, spaces, hyphens."""
    text = unicodedata.normalize("NFC", stem)
    words = "".join(letter if letter.isalnum() or letter in " -" else " " for letter in text).split()
    return " ".join(words)[:60].strip(" -")


def _chore(name: str) -> str:
    return f"class {name}"
