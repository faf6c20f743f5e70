"""Music of theirs under a track, to try: all lies in a temporary folder until somebody keeps a mix."""

from __future__ import annotations

import atexit
import contextlib
import os
import shutil
import tempfile
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cuelane.base.errors import AudioFileError, UsageError
from cuelane.base.files import all_or_nothing
from cuelane.base.units import format_clock, to_ms
from cuelane.base.unsafe_text import on_one_line
from cuelane.desk.device_names import is_device
from cuelane.desk.words import Said
from cuelane.media.formats import FORMATS
from cuelane.under.mix_options import UnderOptions
from cuelane.under.run import under

if TYPE_CHECKING:
    from cuelane.desk.jobs import Tell
    from cuelane.under.run import UnderReport

MOST_SONGS = 40
LEVELS_LU = (-18.0, 3.0)
"""From hardly there to over the voice; `under` takes more, but nobody would hear the cues."""


@dataclass
class TriedMusic:
    """What is tried for one plan: its songs in order, and the newest mix with what was found about it."""

    folder: Path
    songs: list[Path] = field(default_factory=list)
    level_lu: float = -3.0
    mix: Path | None = None
    lines: list[str | Said] = field(default_factory=list)
    n_mixes: int = 0


class TriedMusics:
    """The music of each plan for as long as the desk runs. All methods may be called from several threads."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._lock = threading.Lock()
        self._beds: dict[str, TriedMusic] = {}

    def of(self, plan: str) -> TriedMusic:
        """Return what is tried for the plan called `plan`."""
        with self._lock:
            if plan not in self._beds:
                folder = Path(tempfile.mkdtemp(dir=self._root()))
                self._beds[plan] = TriedMusic(folder)
            return self._beds[plan]

    def add(self, plan: str, name: str, source: Path) -> None:
        """Take in a song that was uploaded to `source`. Raises UsageError where there are too many."""
        bed = self.of(plan)
        with self._lock:
            if len(bed.songs) >= MOST_SONGS:
                raise UsageError(Said("music.enough", n=MOST_SONGS))
            plain = (one if one.isalnum() or one in " .-_" else "-" for one in on_one_line(name))
            safe = "".join(plain).strip(" .")[-80:] or "song"
            # Some disks do not tell capitals from small letters; and some systems keep names for devices.
            taken = {song.name.casefold() for song in bed.songs}
            names = [safe] if not is_device(safe.partition(".")[0]) else []
            names += [f"{n} {safe}" for n in range(2, MOST_SONGS + 3)]
            target = bed.folder / next(one for one in names if one.casefold() not in taken)
            shutil.move(source, target)
            bed.songs.append(target)

    def is_renamed(self, plan: str, now: str) -> None:
        """A plan has another name: its songs go with it, and those of a plan that had that name are gone."""
        with self._lock:
            self._beds.pop(now, None)
            if plan in self._beds:
                self._beds[now] = self._beds.pop(plan)

    def is_gone(self, plan: str) -> None:
        """A plan is no longer there."""
        with self._lock:
            self._beds.pop(plan, None)

    def remove(self, plan: str, name: str) -> None:
        """Take a song out again."""
        bed = self.of(plan)
        with self._lock:
            for song in [song for song in bed.songs if song.name == name]:
                bed.songs.remove(song)
                song.unlink(missing_ok=True)

    def mixed(self, plan: str, track: Path, level_lu: float, tell: Tell) -> None:
        """Put the songs under `track`. Raises as :func:`cuelane.under.run.under` does."""

        bed = self.of(plan)
        if not bed.songs:
            raise UsageError(Said("music.none"))
        bed.n_mixes += 1
        out = bed.folder / f"mix {bed.n_mixes}" / f"{mix_stem(track)}{track.suffix}"
        out.parent.mkdir()
        try:
            report = under(
                track, list(bed.songs), out, UnderOptions(music_level_lu=level_lu), progress=tell("mixing")
            )
        except AudioFileError as error:
            # Where a song lies meanwhile means nothing to a person.
            raise AudioFileError(str(error).replace(f"{bed.folder}{os.sep}", "")) from error
        with self._lock:
            old, bed.mix, bed.level_lu, bed.lines = bed.mix, out, level_lu, _lines(report)
        if old is not None:
            with contextlib.suppress(OSError):
                shutil.rmtree(old.parent)

    def keep(self, plan: str, folder: Path) -> Path:
        """Put the newest mix and its schedule into `folder`; return the audio there."""
        mix = self.of(plan).mix
        if mix is None:
            raise UsageError(Said("music.no_mix"))
        sources = (mix, mix.with_suffix(".schedule.json"))
        targets = [folder / source.name for source in sources]
        with all_or_nothing(*targets, listing=targets[1]) as staged:
            for source in sources:
                shutil.copyfile(source, staged.path_for(folder / source.name))
        return folder / mix.name

    def close(self) -> None:
        """Take everything away that was not kept."""
        with self._lock:
            if self._folder is not None:
                shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None
            self._beds.clear()

    def _root(self) -> Path:
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="cuelane-music-"))
            # Also where the desk is not closed in an orderly way.
            atexit.register(shutil.rmtree, self._folder, ignore_errors=True)
        return self._folder


def mix_stem(track: Path) -> str:
    """Return what a mix is called, without its ending, of a track or of the track of a plan."""
    return f"{track.stem}-with-music"


def kept_mix(plan: Path) -> Path | None:
    """Return the newest mix of a plan's track that was kept beside it."""
    stem = mix_stem(plan)
    found = [path for form in FORMATS if (path := plan.with_name(stem + form.suffix)).is_file()]
    return max(found, key=lambda path: path.stat().st_mtime_ns, default=None)


def _lines(report: UnderReport) -> list[str | Said]:
    """Return how well the cues are heard over the music, in sentences."""
    cues = [need for need in report.plan.needs if need.event.kind == "cue"]
    lines: list[str | Said] = list(report.notes)
    if not cues:
        return lines
    counts: dict[str, Any] = {
        grade: sum(need.grade == grade for need in cues) for grade in ("good", "fair", "poor")
    }
    lines.append(Said("music.heard", count=len(cues), n=len(cues), **counts))
    weakest = min(cues, key=lambda need: need.value)
    if weakest.grade != "good":
        at = format_clock(to_ms(weakest.event.onset_sample, report.sample_rate))
        lines.append(Said("music.weakest", at=at, text=weakest.event.text or ""))
        lines.append(Said("music.softer"))
    return lines
