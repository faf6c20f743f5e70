"""The folder that ``adapt`` makes: which files lie in it, and what of an earlier run can be used again.

If a file of our own is damaged or gone, it is made anew, which costs time but loses nothing.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import UsageError
from cuelane.base.files import Staged
from cuelane.base.ordinary import OddFileError, open_ordinary, read_ordinary
from cuelane.base.seals import is_inside
from cuelane.recording.decode import CLIP_RATE

PLAN, PATTERNS, DECISIONS = "plan.yaml", "patterns.yaml", "decisions.txt"
ANALYSIS, LEADS, RECORD = ".analysis.json", ".clips.json", ".decisions.json"
CLIPS = "clips"
REPORT_MD, REPORT_JSON = "report.md", "report.json"
WRITTEN = (PLAN, PATTERNS, DECISIONS, RECORD, ANALYSIS, LEADS, REPORT_JSON, REPORT_MD)

MAX_OWN_BYTES = 100_000_000
"""Chosen: the words of six hours, the longest class that is read, come to about 11 MB of JSON (54,000 words
of 200 bytes), and a clip of ten minutes to 86 MB."""
MAX_LEAD_S = 60.0
"""Chosen: no cue is that long, so a larger lead was not written by us."""


def require_usable(folder: Path) -> None:
    """Raise UsageError if `folder` cannot become the folder of an adapted class."""
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder}: is a file; give a folder for the new plan")
    clips = folder / CLIPS
    if clips.is_symlink() or (clips.exists() and not clips.is_dir()):
        # Clips that are no longer wanted are deleted from it.
        raise UsageError(f"{clips}: must be a folder of its own, no link and no file; give another --out")


def own_text(path: Path) -> str:
    """Return a file of our own from an earlier run; empty if it is gone or damaged."""
    try:
        return read_ordinary(path, MAX_OWN_BYTES).decode("utf-8")
    except (OSError, UnicodeDecodeError):
        return ""


def read_leads(folder: Path) -> dict[str, float]:
    """Return, by clip, how long after its cut it is audible, in seconds; none if that is gone or damaged."""
    try:
        written = json.loads(own_text(folder / LEADS))
        leads = {str(name): float(value) for name, value in written.items()}
        return {name: lead_s for name, lead_s in leads.items() if abs(lead_s) < MAX_LEAD_S}
    except (ValueError, AttributeError, TypeError, OverflowError, RecursionError):
        return {}


def own_clip(path: Path) -> npt.NDArray[np.float32] | None:
    """Return the samples of a clip that was cut before, shape (n_samples,) at 48 kHz; None if it is gone or
    damaged.

    Raises
    ------
    UsageError : something that is no file lies in its place.
    """
    import soundfile

    try:
        with open_ordinary(path, MAX_OWN_BYTES) as file:
            samples, rate = soundfile.read(file, dtype="float32")
    except OddFileError as error:
        raise UsageError(f"{path}: {error}; move it away") from error
    except (OSError, soundfile.SoundFileError):
        return None
    whole = rate == CLIP_RATE and samples.ndim == 1 and np.abs(samples).max(initial=0.0) > 0
    return np.asarray(samples, np.float32) if whole else None


def give_up_damaged_clips(folder: Path, listed: Iterable[str], staged: Staged) -> None:
    """Let `staged` replace those of our clips that no longer hold sound, since they hold nobody's work."""
    for name in listed:
        if name.startswith(f"{CLIPS}/") and is_inside(name) and own_clip(folder / name) is None:
            staged.own(folder / name)
