"""Clips that several machines share: each keeps its own store, fetches what others spoke, and gives its own.

The shared place is laid out as a store is (see `cuelane.audio.store`), so a folder of clips can be shared as
it is. What is fetched is checked as what lies here is, record by seal and sound by hash, and then kept here;
what is damaged counts as absent, and is replaced. A clip is put whole, its sound first and the record that
names it last. Nothing there is ever removed. A place that fails is not asked again: the lines are spoken
here, and the reason is told.
"""

from __future__ import annotations

from pathlib import Path

from cuelane.audio.clip import Clip
from cuelane.audio.store import ClipNote, ClipStore
from cuelane.audio.store_files import MAX_RECORD_BYTES, MAX_WAV_BYTES, record_in, wav_in
from cuelane.base.errors import CuelaneError
from cuelane.batch.far_folder import FarFolder


class SharedClips(ClipStore):
    """A store in a folder here, and behind it the one that is shared at `place`, a folder or an address.

    ``trouble`` says why clips are not shared any more; empty as long as they are. ``n_fetched`` and
    ``n_given`` count clips.
    """

    def __init__(self, place: str, folder: Path | None = None) -> None:
        super().__init__(folder)
        self.trouble = ""
        self.n_fetched = self.n_given = 0
        self._damaged: set[str] = set()
        self._far: FarFolder | None = None
        try:
            self._far = FarFolder.at(place)
        except CuelaneError as error:
            self._gave_up(error)

    def get(self, recipe_key: str) -> Clip | None:
        """Return the clip made by this recipe, here or there, or None if it is absent or damaged."""
        found = super().get(recipe_key)
        return found if found is not None else self._fetched(recipe_key)

    def note(self, recipe_key: str) -> ClipNote | None:
        """Return what is known of the clip made by this recipe; it is here then, if it was there."""
        found = super().note(recipe_key)
        if found is None and self._fetched(recipe_key) is not None:
            found = super().note(recipe_key)
        return found

    def put(self, recipe_key: str, clip: Clip) -> None:
        """Keep `clip` here as what this recipe makes, and give it to the others; raises as a store here."""
        super().put(recipe_key, clip)
        far = self._far
        if far is None:
            return
        recipe = self._recipe_path(recipe_key)
        try:
            with far.told():
                for path in (*self._audio_paths(clip.sha256), recipe):
                    name = self._name(path)
                    # By its name the sound there is the same, unless it was found damaged.
                    if path == recipe or name in self._damaged or not far.fs.exists(far.path(name)):
                        far.put(name, path)
            self.n_given += 1
        except CuelaneError as error:
            self._gave_up(error)

    def _fetched(self, recipe_key: str) -> Clip | None:
        far = self._far
        if far is None:
            return None
        try:
            with far.told():
                record = _content(far, self._name(self._recipe_path(recipe_key)), MAX_RECORD_BYTES)
                facts = record_in(record, recipe_key)
                if facts is None:
                    return None
                audio = self._name(self._audio_paths(facts["sha256"])[0])
                found = wav_in(_content(far, audio, MAX_WAV_BYTES), facts["sha256"])
        except CuelaneError as error:
            self._gave_up(error)
            return None
        if found is None or (found[1], len(found[0])) != (facts["sample_rate"], facts["n_frames"]):
            self._damaged.add(audio)
            return None
        words = tuple((word, onset, end) for word, onset, end in facts["words"])
        doubt = facts.get("doubt", "")
        clip = Clip(facts["text"], facts["voice"], found[1], found[0], facts["sha256"], words, doubt)
        super().put(recipe_key, clip)
        self.n_fetched += 1
        return clip

    def _name(self, path: Path) -> str:
        return path.relative_to(self.folder).as_posix()

    def _gave_up(self, error: CuelaneError) -> None:
        self._far = None
        self.trouble = f"the clips were not shared: {error}"


def _content(far: FarFolder, name: str, most: int) -> bytes:
    """Return at most so many bytes of a file's content; none where it is not there."""
    try:
        with far.fs.open(far.path(name), "rb") as file:
            found: bytes = file.read(most + 1)
    except FileNotFoundError:
        return b""
    return found[:most]
