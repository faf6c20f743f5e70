"""A plan open at the desk: its document, its newest preview, and the lines that are being spoken for it."""

from __future__ import annotations

import contextlib
import math
import threading
from concurrent.futures import Future
from pathlib import Path

from cuelane.audio.clip import Samples
from cuelane.audio.store import ClipStore
from cuelane.base.errors import CuelaneError, SignalError
from cuelane.base.schedule import Schedule
from cuelane.desk.document import Document, Version
from cuelane.desk.folder import Folder
from cuelane.desk.lines import Speaking
from cuelane.desk.page_pieces import ToldPages
from cuelane.desk.planning import Planner, PlanView
from cuelane.desk.words import Said
from cuelane.session.arrange import Arranged
from cuelane.session.candidates import Candidate

AHEAD_S = 20
"""Lines that will sound within so many seconds of what is asked for are spoken before it is answered."""

_ROUNDS = 6
"""Real lengths change which lines are said, which may have to be spoken in turn: three times in practice."""

_KEPT_CLIPS = 512

_MOST_OPEN = 32
"""Chosen: more plans than anybody works on at once; one that is kept takes 1 MB and more."""

_TURN_S = 0.5
"""So long lines are spoken or found before the session is planned with their real lengths, and the playhead
is looked at again: dozens that lie in the store, one or two that do not."""
_MOST_AT_ONCE = 64
_PATIENCE_S = 5.0


class ClipGoneError(SignalError):
    """A clip is no longer in the store, or no longer whole."""

    def __init__(self, sha256: str) -> None:
        super().__init__(Said("hear.gone"))
        self.sha256 = sha256


class Workspace:
    """One plan, its preview and its sound. All methods may be called from several threads."""

    def __init__(self, document: Document, store: ClipStore, speech: Future[Speaking]) -> None:
        self.document = document
        self.previewer = Planner(document.path, store, speech)
        self.told = ToldPages()
        self._store = store
        self._lock = threading.Lock()
        self._preview: PlanView | None = None
        self._is_old = False
        self._heard: Arranged | None = None
        self._n_forgotten = 0
        self._closing = threading.Event()
        self._playhead_s = 0.0
        self._speaker: threading.Thread | None = None
        self._clips: dict[str, Samples] = {}

    def now(self) -> tuple[Version, PlanView]:
        """Return the document's present version and its preview. Raises as :meth:`Document.now` does."""
        version = self.document.now()
        return version, self._planned(version.text)

    def at_hand(self) -> PlanView | None:
        """Return the preview of the document's present text if it has been planned, without planning it."""
        with self._lock:
            kept = None if self._is_old else self._preview
        there = kept is not None and kept.text == self.document.now().text and kept.stands
        return kept if there else None

    def tried(self, text: str) -> PlanView:
        """Return the preview of a text that is not saved. Raises SupersededError."""
        return self.previewer.plan(text)

    def speak_on(self) -> None:
        """See that the lines not yet spoken are being spoken, those next to be heard first."""
        with self._lock:
            if self._speaker is None or not self._speaker.is_alive():
                self._speaker = threading.Thread(target=self._speak_aside, daemon=True)
                self._speaker.start()

    def spoken(self) -> PlanView:
        """Return the preview with the real length of every line; what is missing is spoken for it."""
        self._speak_all()
        return self.now()[1]

    def schedule(self) -> Schedule:
        """Return the present schedule. Raises SignalError where the plan cannot be heard."""
        return self._sounding()[1].schedule

    def ready(self, first: int, last: int) -> Schedule:
        """Return a schedule in which all that sounds in frames [first, last) and soon after is spoken.

        Raises
        ------
        SignalError : the plan cannot be heard at present.
        """
        for _ in range(_ROUNDS):
            preview, arranged = self._sounding()
            schedule = arranged.schedule
            self._playhead_s = first / schedule.sample_rate
            soon = last + AHEAD_S * schedule.sample_rate
            texts = {cue.text for cue in schedule.cues if cue.onset_sample < soon and cue.end_sample > first}
            if not self._speak(preview, [one for one in arranged.offered if one.text in texts]):
                break
        return self._sounding()[1].schedule

    def lost(self, sha256: str) -> None:
        """A clip is no longer in the store: its line is to be spoken again."""
        version, preview = self.now()
        if preview.loaded is not None:
            self.previewer.lines_of(preview.loaded.plan.voice).lose(sha256)
            self._forget(version.text)

    def stop(self) -> None:
        """Speak no more lines than those that have been begun."""
        self._closing.set()

    def close(self) -> None:
        """Do so, and wait until they are spoken."""
        self.stop()
        with self._lock:
            speaker = self._speaker
        if speaker is not None:
            speaker.join(_PATIENCE_S)

    def heard_anew(self) -> None:
        """Recordings came or went: ask for every line again."""
        version, preview = self.now()
        if preview.loaded is not None:
            self.previewer.lines_of(preview.loaded.plan.voice).forget()
        self._forget(version.text)

    def _planned(self, text: str) -> PlanView:
        with self._lock:
            kept = None if self._is_old else self._preview
        if kept is not None and kept.text == text and kept.stands:
            return kept
        with self._lock:
            self._is_old = False
        preview = self.previewer.plan_now(text)
        with self._lock:
            # Lines may have been spoken while it was planned.
            self._preview, self._heard = preview, None if self._is_old else preview.arranged
        return preview

    def _sounding(self) -> tuple[PlanView, Arranged]:
        """Return a preview of the present text, and its session with the lengths that are known by now.

        Of all that comes of planning, what is heard needs a third of the time.
        """
        text = self.document.now().text
        with self._lock:
            preview, heard, n_forgotten = self._preview, self._heard, self._n_forgotten
        if preview is None or preview.text != text or not preview.stands:
            preview = self._planned(text)
            heard = preview.arranged
        elif heard is None:
            heard = self.previewer.arranged_again(preview)
            with self._lock:
                # Else lines were spoken or lost meanwhile, and it would be kept with the lengths of before.
                if self._preview is preview and self._n_forgotten == n_forgotten:
                    self._heard = heard
        if heard is None:
            raise SignalError(Said("hear.not_now"))
        return preview, heard

    def _forget(self, text: str) -> None:
        with self._lock:
            if self._preview is not None and self._preview.text == text:
                self._is_old, self._heard = True, None
                self._n_forgotten += 1

    def _speak(self, preview: PlanView, candidates: list[Candidate], most_s: float = math.inf) -> bool:
        """Speak what is missing of `candidates`; return whether there was any."""
        if preview.loaded is None:
            return False
        lines = self.previewer.lines_of(preview.loaded.plan.voice)
        missing = lines.unspoken(candidates)
        if missing:
            lines.speak(missing, most_s)
            self._forget(preview.text)
        return bool(missing)

    def _speak_all(self) -> None:
        while not self._closing.is_set():
            preview = self.now()[1]
            if preview.schedule is None:
                return
            if not self._find(preview) and not self._speak(preview, self._next_lines(preview), _TURN_S):
                return

    def _find(self, preview: PlanView) -> bool:
        """Find the lines that were spoken before; return whether there were any that were not known."""
        assert preview.loaded is not None
        found = self.previewer.lines_of(preview.loaded.plan.voice).find(_offered(preview))
        if found:
            self._forget(preview.text)
        return found

    def _speak_aside(self) -> None:
        # The plan may be gone meanwhile, or its voice: whoever asks for it next is told.
        with contextlib.suppress(CuelaneError):
            self._speak_all()

    def _next_lines(self, preview: PlanView) -> list[Candidate]:
        """Return the next few lines to speak: what follows the playhead, then the rest."""
        assert preview.schedule is not None
        rate = preview.schedule.sample_rate
        # The same words can be offered at two paces, slower where one stretches.
        offered: dict[str, list[Candidate]] = {}
        for one in _offered(preview):
            offered.setdefault(one.text, []).append(one)
        cues = preview.schedule.cues
        order = sorted(cues, key=lambda cue: (cue.end_sample < self._playhead_s * rate, cue.onset_sample))
        texts = dict.fromkeys([*(cue.text or "" for cue in order), *offered])
        assert preview.loaded is not None
        lines = self.previewer.lines_of(preview.loaded.plan.voice)
        return lines.unspoken(one for text in texts for one in offered.get(text, ()))[:_MOST_AT_ONCE]

    def clip(self, sha256: str) -> Samples:
        """Return a clip of the schedule, shape (n_frames,). Raises ClipGoneError where it is gone."""
        found = self._clips.get(sha256)
        if found is None:
            clip = self._store.by_hash(sha256)
            if clip is None:
                raise ClipGoneError(sha256)
            found = self._clips[sha256] = clip.samples
            while len(self._clips) > _KEPT_CLIPS:
                self._clips.pop(next(iter(self._clips)))
        return found


def _offered(preview: PlanView) -> tuple[Candidate, ...]:
    return preview.arranged.offered if preview.arranged is not None else ()


class Workspaces:
    """The plans of a folder that are open at the desk, each once; those asked for last are kept.

    ``speech`` is set once lines can be spoken; until then whatever needs a spoken line waits.
    """

    def __init__(self, folder: Path, store: ClipStore) -> None:
        self.folder = Folder(folder)
        self.store = store
        self.speech: Future[Speaking] = Future()
        self._lock = threading.Lock()
        self._open: dict[str, Workspace] = {}

    def heard_anew(self) -> None:
        """Recordings came or went: every open plan asks for its lines again; several may share a voice."""
        with self._lock:
            every = list(self._open.values())
        for workspace in every:
            # A plan that is gone or broken meanwhile has nothing to be spoken.
            with contextlib.suppress(CuelaneError):
                workspace.heard_anew()

    def close(self) -> None:
        """Speak no more."""
        with self._lock:
            every = list(self._open.values())
        for workspace in every:
            workspace.close()

    def at_hand(self) -> list[PlanView]:
        """Return the previews of all open plans that have been planned as they stand now."""
        with self._lock:
            every = list(self._open.values())
        found = []
        for workspace in every:
            with contextlib.suppress(CuelaneError):
                found.append(workspace.at_hand())
        return [preview for preview in found if preview is not None]

    def forget(self, name: str) -> None:
        """The plan called `name` is gone from there: no more of it is planned or spoken."""
        with self._lock:
            found = self._open.pop(name, None)
        if found is not None:
            found.stop()

    def open(self, name: str) -> Workspace:
        """Return the workspace of the plan called `name`. Raises as :meth:`Folder.document` does."""
        document = self.folder.document(name)
        with self._lock:
            found = self._open.pop(name, None) or Workspace(document, self.store, self.speech)
            self._open[name] = found
            # The shelf of a season asks for a thousand, one after the other.
            while len(self._open) > _MOST_OPEN:
                self._open.pop(next(iter(self._open))).stop()
        return found
