"""What has been made of a plan: the audio beside it, and what the last check said of that.

A check is kept beside the audio as ``NAME.check.json``: the report, with a coarse outline of the sound, for
its picture.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np

from cuelane.base.errors import CuelaneError
from cuelane.base.files import all_or_nothing
from cuelane.base.schedule import Schedule, load_schedule
from cuelane.base.seals import sealable_json
from cuelane.check.report import EventResult, Fault, Report, Summary
from cuelane.desk.last_check import check_kept, is_fresh, newest_audio, plan_sha256, verdict_in

_POINTS = 1_400
_LONGEST_S = 1e6


@dataclass(frozen=True)
class Made:
    """The newest audio of a plan.

    ``fresh`` tells whether the plan and what it uses are still as they were then; ``ok`` what the check of
    this very file said, None where there was none.
    """

    audio: Path
    schedule: Schedule
    fresh: bool
    ok: bool | None
    report: Report | None

    @property
    def stamp(self) -> str:
        """Changes with the file; for addresses that a browser may have seen before."""
        about = self.audio.stat()
        return f"{about.st_mtime_ns:x}-{about.st_size:x}"


def made_of(plan: Path, text: str) -> Made | None:
    """Return the newest audio of a plan that a render wrote; None where there is none.

    Parameters
    ----------
    plan, text : the plan's file, and what stands in it now.
    """
    try:
        audio = newest_audio(plan)
        if audio is None:
            return None
        schedule = load_schedule(plan.with_suffix(".schedule.json"))
        kept = check_kept(plan, audio)
        fresh = is_fresh(plan, audio, kept, text)
    except (CuelaneError, OSError):
        return None
    return Made(audio, schedule, fresh, verdict_in(kept), report_of(kept) if kept else None)


def keep_check(plan: Path, report: Report, text: str, beside: dict[str, str]) -> None:
    """Write what a check of a plan's audio found beside it.

    Parameters
    ----------
    text, beside : what the audio was made of: the plan's text, and what it uses, as
        :func:`cuelane.desk.last_check.digests_beside` gives it.
    """
    data = report.to_dict() | {"plan": plan_sha256(text), "beside": beside, "outline": _outline(report)}
    data["audio"] = Path(report.audio).name
    path = plan.with_suffix(".check.json")
    with all_or_nothing(path) as staged:
        staged.write_text(path, sealable_json(json.dumps(data, allow_nan=False)))


def report_of(kept: dict[str, Any]) -> Report | None:
    """Return a kept check as a report; None where the file holds something else."""

    try:
        summary = Summary(**_known(Summary, _with_silence(kept["summary"])))
        events = tuple(EventResult(**_known(EventResult, row)) for row in kept["events"])
        faults = tuple(Fault(**_known(Fault, row)) for row in kept["faults"])
        outline = np.array(kept["outline"], np.float32).reshape(-1, 2)
        report = Report(str(kept["audio"]), str(kept["title"]), bool(kept["ok"]), str(kept["verdict"]),
                        summary, events, faults, tuple(map(str, kept["notes"])), (), outline)  # fmt: skip
        return report if _drawable(report) else None
    except (KeyError, TypeError, ValueError, ArithmeticError, AttributeError):
        return None


def _outline(report: Report) -> list[list[float]]:
    envelope = report.envelope
    if envelope is None or not len(envelope):
        return []
    edges = np.unique(np.linspace(0, len(envelope), min(_POINTS, len(envelope)) + 1).astype(int))[:-1]
    low = np.minimum.reduceat(envelope[:, 0], edges)
    high = np.maximum.reduceat(envelope[:, 1], edges)
    return [[round(float(a), 3), round(float(b), 3)] for a, b in zip(low, high, strict=True)]


def _known(kind: type, row: dict[str, Any]) -> dict[str, Any]:
    names = {one.name for one in fields(kind)}
    return {key: tuple(value) if key == "others" else value for key, value in row.items() if key in names}


def _with_silence(row: dict[str, Any]) -> dict[str, Any]:
    """Put back the levels of silence, for which JSON has no number."""
    levels = ("loudness_lufs", "true_peak_dbtp", "background_dbfs")
    return {key: -math.inf if key in levels and value is None else value for key, value in row.items()}


def _drawable(report: Report) -> bool:
    """Tell whether every value that a picture is drawn from is of its kind: the file may be anybody's."""
    for event in report.events:
        if event.kind not in ("cue", "pip") or not isinstance(event.role, str):
            return False
        if not isinstance(event.text, str | None):
            return False
        places = (event.planned_file_s, event.measured_s, event.error_ms, event.absolute_error_ms)
        if not all(value is None or _is_number(value) for value in places):
            return False
    numbers = [value for value in vars(report.summary).values() if not isinstance(value, dict | str | None)]
    plain = all(isinstance(value, bool | int | float) for value in numbers)
    return plain and 0 <= report.summary.length_s < _LONGEST_S and 0 <= report.summary.session_s < _LONGEST_S


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and math.isfinite(value) and abs(value) < 1e9
