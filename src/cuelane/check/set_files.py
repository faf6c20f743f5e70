"""Whether what lies beside a track goes with it, by the digests that its schedule lists."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from cuelane.base.ordinary import read_ordinary
from cuelane.base.schedule_limits import MAX_BYTES
from cuelane.base.seals import digest_if_there, is_inside
from cuelane.check.report import Fault, Report

_NAMED = re.compile(rb'(?:audio-sha256" content="|NOTE audio |"audio_sha256": ")(sha256:[0-9a-f]{64})')
# Chosen: a page with its audio inside comes to less; a larger file is not read.
_MOST_BYTES = 200_000_000


def with_set(report: Report, audio: Path, schedule: Path) -> Report:
    """Return `report` with what is wrong, or to be noted, of the files that were written with the track.

    A page, captions or chapters that name another track than the schedule does are a fault, since they tell
    of other words or times; a file that is not as it was written is noted, since a person may have edited it.
    Nothing is reported of an audio file that the schedule does not list.
    """
    try:
        entries = json.loads(read_ordinary(schedule, MAX_BYTES)).get("files", {})
    except (OSError, ValueError, AttributeError, RecursionError):
        return report
    if not isinstance(entries, dict) or schedule.resolve().parent != audio.resolve().parent:
        return report
    track = _sha256(entries, audio.name)
    if track is None:
        return report
    faults, notes = list[Fault](), list[str]()
    for name in sorted(entries):
        listed = _sha256(entries, name)
        if listed is None or not is_inside(name) or entries[name].get("audio") != audio.name:
            continue
        place = audio.parent / name
        try:
            now = digest_if_there(place)
            named = None if now in (None, listed) else _NAMED.search(read_ordinary(place, _MOST_BYTES))
        except OSError:
            continue
        if named is not None and named[1].decode() != track:
            faults.append(
                Fault("mixed set", f"{name} was made with another render of {audio.name}: render again.")
            )
        elif now not in (None, listed):
            notes.append(
                f"{name} was changed since it was written with this schedule, or is of another render."
            )
    if not faults:
        return replace(report, notes=(*report.notes, *notes))
    every = (*report.faults, *faults)
    n, found = len(every), f"{report.summary.matched} of {report.summary.events} events found"
    verdict = f"Not right: {n} fault{'s' if n > 1 else ''}, {found}."
    return replace(report, ok=False, verdict=verdict, faults=every, notes=(*report.notes, *notes))


def _sha256(entries: Mapping[str, Any], name: str) -> str | None:
    entry = entries.get(name)
    digest = entry.get("sha256") if isinstance(entry, dict) else None
    return digest if isinstance(digest, str) else None
