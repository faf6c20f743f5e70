"""The clips of the cues that are kept: cut from the recording, or reused from an earlier run."""

from __future__ import annotations

import tempfile
from contextlib import ExitStack
from pathlib import Path

from cuelane.adapt.adapted_folder import own_clip
from cuelane.adapt.analysis import Step
from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.piece_ends import piece_ends
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.audio.clip import audible_span
from cuelane.base.errors import DeliveryError
from cuelane.base.files import Staged
from cuelane.recording.cutting import cut_with_onset, write_clip
from cuelane.recording.decode import CLIP_RATE, Recording, open_recording


class OpenedWhenNeeded:
    """The recording, decoded when it is first needed, to a scratch folder that goes when `stack` ends."""

    def __init__(self, path: Path, stack: ExitStack, told: Step) -> None:
        self._path, self._stack, self._told = path, stack, told
        self._opened: Recording | None = None

    def get(self) -> Recording:
        """Return the decoded recording. Raises AudioFileError if it cannot be read."""
        if self._opened is None:
            scratch = Path(self._stack.enter_context(tempfile.TemporaryDirectory(prefix="cuelane-adapt-")))
            self._told("reading the recording", 0, 1)
            self._opened = open_recording(self._path, scratch)
        return self._opened


def cut_clip(
    cue: FoundCue, clips: Path, recording: OpenedWhenNeeded, leads: dict[str, float], staged: Staged
) -> CutCue:
    """Write the clip of `cue` unless it is there, and return where it is audible.

    `leads` holds, by clip, how long after the cut it is audible; it is filled here and kept for the next run.
    """
    minutes, hundredths = divmod(round(cue.start_s * 100), 6000)
    name = f"{minutes}m{hundredths // 100:02d}.{hundredths % 100:02d}.wav"
    path = clips / name
    samples = own_clip(path) if name in leads else None
    if samples is None:
        clip, onset_s, _ = cut_with_onset(
            recording.get(), cue.start_s, cue.end_s, earliest_s=cue.start_s, latest_s=cue.end_s
        )
        leads[name] = round(onset_s - cue.start_s, 4)
        made = staged.path_for(path)
        write_clip(made, clip, path)
        samples = own_clip(made)
        if samples is None:
            raise DeliveryError(f"{path}: was written, but cannot be read back")
    onset, end = audible_span(samples, CLIP_RATE)
    onset_s = cue.start_s + leads[name]
    end_s = onset_s + (end - onset) / CLIP_RATE
    return CutCue(
        round(onset_s * 1000),
        round(end_s * 1000),
        cue.text,
        cue.role,
        cue.interval,
        name,
        cue.judged,
        cue.is_sure,
        piece_ends(samples),
    )
