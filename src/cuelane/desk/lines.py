"""How long the lines of a plan are: as spoken where they have been, estimated where not, each found once.

Planning asks for a length at every keystroke. What was spoken is looked up in the clip store once and kept,
without reading its sound; what was not is estimated once and put in line to be spoken, the lines next to be
heard first.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from cuelane.audio.store import ClipStore
from cuelane.base.errors import CuelaneError
from cuelane.base.units import SAMPLE_RATE
from cuelane.desk.named_files import Stamp, stamp
from cuelane.render.line_keys import Key, key_of
from cuelane.session.arrange import Sounding
from cuelane.session.candidates import Candidate
from cuelane.speech.choice import voice_notes
from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.estimate import LineLengths

_KEPT_ESTIMATES = 8_192

_BATCH = 4
"""Lines spoken between two looks at what is to be heard next; more would keep a person waiting longer."""


@dataclass(frozen=True)
class Speaking:
    """How lines are spoken: `speak_all` and `clip_from_file` of :mod:`cuelane.speech.speak`, and how those
    that were are found: ``spoken_before`` is :class:`cuelane.speech.spoken_before.SpokenBefore`.

    They are handed over, not imported: what they need is slow to import, and a plan is shown without it.
    """

    speak_all: Callable[..., Any]
    clip_from_file: Callable[..., Any]
    spoken_before: Callable[..., Any]


class SpokenLines:
    """The lines that one voice speaks for one plan folder. All methods may be called from several threads.

    Parameters
    ----------
    speech : waited for when the first line is spoken.
    files : what says how the voice speaks, each with when it was changed, in ns, and its size, in bytes.
    """

    def __init__(
        self,
        voice: VoiceDefinition,
        folder: Path,
        store: ClipStore,
        speech: Future[Speaking],
        files: tuple[Stamp, ...] = (),
    ) -> None:
        self.voice = voice
        self.files = files
        self._speech = speech
        self._folder = folder
        self._store = store
        self._spoken: dict[Key, Sounding] = {}
        self._recorded: dict[Key, Stamp] = {}
        self._before: Any = None
        self._guessed: dict[Key, int] = {}
        self._failed: dict[str, str] = {}
        self._doubts: dict[str, str] = {}
        self._fell_back = False
        self._notes: dict[tuple[str, bool, bool], list[str]] = {}
        self._speaking = threading.Lock()
        # Held only while what is known is changed, never while a line is looked up or spoken; where both are
        # taken, after `_speaking`.
        self._keeping = threading.Lock()
        self._n_forgotten = 0
        self._lengths = LineLengths(voice)
        self.estimated_s = lru_cache(maxsize=_KEPT_ESTIMATES)(lambda text: self._lengths.seconds(text))

    def sounding_of(self, candidate: Candidate) -> Sounding:
        """Return a line as it was spoken, or with an estimated length."""
        key = self._key_of(candidate)
        known = self._spoken.get(key)
        if known is not None:
            return known
        guessed = self._guessed.get(key)
        if guessed is None:
            n_forgotten = self._n_forgotten
            # Before anything can be spoken nothing can be found either.
            found = self._found(key) if self._speech.done() else None
            if found is not None:
                return found
            seconds = self._lengths.seconds(key.text, key.pace)
            guessed = max(1, round(seconds * SAMPLE_RATE))
            with self._keeping:
                # A guess that is kept is not looked for again.
                if n_forgotten == self._n_forgotten:
                    self._guessed[key] = guessed
        return Sounding(guessed)

    def find(self, candidates: Iterable[Candidate]) -> bool:
        """Look for lines in the store, none of which is spoken; return whether any was found.

        It waits until lines can be spoken.
        """
        self._speech.result()
        with self._speaking:
            found = [self._found(key_of(one, self.voice, 1.0)) for one in self.unspoken(candidates)]
        return any(found)

    def lose(self, sha256: str) -> None:
        """Take a line for unspoken again: its clip is no longer in the store."""
        with self._speaking, self._keeping:
            for key in [key for key, known in self._spoken.items() if known.clip == sha256]:
                self._spoken.pop(key)

    def unspoken(self, candidates: Iterable[Candidate]) -> list[Candidate]:
        """Return those that have not been spoken and have not failed, each text once."""
        found: dict[Key, Candidate] = {}
        for candidate in candidates:
            key = self._key_of(candidate)
            if key not in self._spoken and candidate.text not in self._failed:
                found.setdefault(key, candidate)
        return list(found.values())

    def speak(self, candidates: Sequence[Candidate], most_s: float = math.inf) -> None:
        """Speak candidates in their order, or find them in the store; what fails is kept as a reason.

        Parameters
        ----------
        most_s : after so long no more are begun. Many are found in that time, few are spoken.
        """
        if self.find(candidates):
            candidates = self.unspoken(candidates)
        started = time.monotonic()
        for first in range(0, len(candidates), _BATCH):
            if time.monotonic() - started > most_s:
                return
            batch = candidates[first : first + _BATCH]
            with self._speaking:
                for candidate in batch:
                    if candidate.clip is not None:
                        self._record(candidate)
                keys = [key_of(one, self.voice, 1.0) for one in self.unspoken(batch) if one.clip is None]
                for pace in sorted({key.pace for key in keys}):
                    self._speak([key.text for key in keys if key.pace == pace], pace)

    def doubts(self) -> dict[str, str]:
        """Return what a rule hears wrong in spoken lines, see :mod:`cuelane.speech.sound_doubts`."""
        return dict(self._doubts)

    def notes(self, language: str, chosen: bool) -> list[str]:
        """Return what a person should know of the voice for a plan in `language`; `chosen` if it names it."""
        key = (language, chosen, self._fell_back)
        if key not in self._notes:
            self._notes[key] = voice_notes(self.voice, language, chosen=chosen, fell_back=self._fell_back)
        return self._notes[key]

    def trouble(self) -> dict[str, str]:
        """Return the lines that could not be spoken, and why."""
        return dict(self._failed)

    def forget(self) -> None:
        """Ask for every line again: recordings were made or taken away."""
        with self._speaking, self._keeping:
            self._n_forgotten += 1
            self._spoken.clear()
            self._recorded.clear()
            self._before = None
            self._guessed.clear()
            self._lengths = LineLengths(self.voice)
            self.estimated_s.cache_clear()
            self._failed.clear()
            self._doubts.clear()
            self._notes.clear()
            self._fell_back = False

    def _key_of(self, candidate: Candidate) -> Key:
        """Return what decides how a line sounds; a recording of its own that is another now is forgotten."""
        key = key_of(candidate, self.voice, 1.0)
        if key.recording is not None:
            now = stamp(Path(key.recording))
            with self._keeping:
                if self._recorded.setdefault(key, now) != now:
                    self._recorded[key] = now
                    self._spoken.pop(key, None)
                    self._failed.pop(candidate.text, None)
        return key

    def _found(self, key: Key) -> Sounding | None:
        """Return a line that was spoken before, and keep it; None where the store does not have it."""
        while True:
            with self._keeping:
                before, n_forgotten = self._before, self._n_forgotten
            try:
                if before is None:
                    before = self._speech.result().spoken_before(self.voice, self._store)
                if key.recording is None:
                    found = before.find(key.text, key.pace)
                else:
                    found = before.find_file(Path(key.recording), "recording")
            except CuelaneError:
                # Told when it is to be spoken.
                return None
            with self._keeping:
                if n_forgotten != self._n_forgotten:
                    # What was read may be what was to be forgotten.
                    continue
                self._before = before
                return None if found is None else self._keep(key, found)

    def _keep(self, key: Key, found: Any) -> Sounding:
        if found.doubt:
            self._doubts[key.text] = found.doubt
        self._fell_back |= found.fell_back
        note = found.note
        sounding = Sounding(note.n_frames, note.sha256, found.voice, note.words)
        self._spoken[key] = sounding
        return sounding

    def _speak(self, texts: list[str], pace: float) -> None:
        try:
            spoken = self._speech.result().speak_all(texts, self.voice, store=self._store, pace=pace)
        except CuelaneError as error:
            if len(texts) == 1:
                self._failed[texts[0]] = str(error)
                return
            # One line that cannot be spoken must not keep the others from being heard.
            for text in texts:
                self._speak([text], pace)
            return
        with self._keeping:
            self._doubts |= spoken.doubts
            self._fell_back |= bool(spoken.fallbacks)
            for text, clip in spoken.clips.items():
                self._spoken[Key(text, pace)] = Sounding(clip.n_frames, clip.sha256, clip.voice, clip.words)

    def _record(self, candidate: Candidate) -> None:
        key = key_of(candidate, self.voice, 1.0)
        try:
            path = Path(key.recording or "")
            clip = self._speech.result().clip_from_file(path, key.text, "recording", store=self._store)
        except CuelaneError as error:
            self._failed[candidate.text] = str(error)
            return
        self._spoken[key] = Sounding(clip.n_frames, clip.sha256, "recording")
