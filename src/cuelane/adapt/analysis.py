"""Everything found in a recording, kept in a file beside the plan so that a second run is quick."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.beeps.search import Alternative, find_structure
from cuelane.adapt.words.align import PlacedWord, place_words
from cuelane.adapt.words.caption_reader import ReadCaption
from cuelane.adapt.words.found_cues import OVER_BEEP, FoundCue, find_cues, untexted
from cuelane.adapt.words.intervals import FoundInterval, find_intervals
from cuelane.adapt.words.islands import Hearing
from cuelane.adapt.words.recognising import clips_without_words, doubts_named, recognise
from cuelane.adapt.words.role_judge import role_judge
from cuelane.adapt.words.word_lists import word_lists
from cuelane.recording.decode import Recording
from cuelane.recording.word_engines import WordEngine, choose_engine

SCHEMA = "cuelane.adapt/4"

Step = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Analysis:
    """What is in a recording: its beep, its intervals, every cue and sound, and doubts about it all."""

    seconds: float
    beep: Beep | None
    confidence: float
    how: str
    n_boundaries: int
    n_faint: int
    n_from_plan: int
    intervals: tuple[FoundInterval, ...]
    cues: tuple[FoundCue, ...]
    lost_captions: tuple[str, ...]
    notes: tuple[str, ...]
    plan_left_aside: bool = False
    recogniser: str = ""
    alternatives: tuple[Alternative, ...] = ()
    tried: tuple[str, ...] = ()


def analyse(
    recording: Recording,
    captions: Sequence[ReadCaption] | None,
    *,
    expected_s: Sequence[float] = (),
    beep_at_s: float | None = None,
    language: str = "en",
    engine: WordEngine | None = None,
    step: Step | None = None,
) -> Analysis:
    """Return what is in `recording`. `step` is told (what, done, total); `engine` hears words if there are no
    `captions`."""
    told: Step = step or (lambda what, done, total: None)
    lists = word_lists(language)
    structure = find_structure(
        recording, expected_s=expected_s, beep_at_s=beep_at_s, step=lambda what: told(what, 0, 1)
    )
    hearing = Hearing(recording, structure.beep, structure.boundaries)
    islands = hearing.islands()
    notes = []
    if hearing.loudness().is_noisy:
        notes.append(
            "music or noise is nearly as loud as speech: places of words are uncertain, listen to all"
        )
    lost: list[int] = []
    if captions is not None:
        words, lost = place_words(
            captions, hearing, progress=lambda done, total: told("placing words", done, total)
        )
    else:
        words, said = recognise(
            islands, hearing, lambda done, total: told("recognising words", done, total), engine
        )
        notes.append(said)
    intervals = find_intervals(structure.boundaries, recording.seconds, words, lists)
    cues = find_cues(words, intervals, hearing, lists, role_judge(language))
    cues = [_over_beep_dropped(cue) for cue in cues]
    if captions is None and not words:
        sounds = clips_without_words(islands, intervals)
    else:
        sounds = untexted(islands, cues, intervals)
    if captions is None:
        cues = [doubts_named(cue) for cue in cues]
    return Analysis(
        recording.seconds,
        structure.beep,
        round(structure.confidence, 3),
        structure.how,
        len(structure.boundaries),
        sum(not b.is_sure and not b.from_plan for b in structure.boundaries),
        sum(b.from_plan for b in structure.boundaries),
        tuple(intervals),
        tuple(sorted([*cues, *sounds], key=lambda cue: cue.start_s)),
        tuple((captions or [])[index].text for index in lost),
        tuple(notes),
        structure.plan_left_aside,
        "" if captions is not None or engine is None else engine.version,
        structure.alternatives,
        structure.tried,
    )


def _over_beep_dropped(cue: FoundCue) -> FoundCue:
    """A clip with a beep in it cannot go into a track with clean pips."""
    if OVER_BEEP not in cue.notes:
        return cue
    notes = tuple(note for note in cue.notes if note != OVER_BEEP)
    return replace(cue, reasons=(*cue.reasons, OVER_BEEP), notes=notes)


def to_json(analysis: Analysis, key: str) -> str:
    """Return the analysis as JSON text; `key` says what it was made from."""
    record = asdict(analysis)
    head = {"schema": SCHEMA, "key": key, "digest": _digest(record)}
    return json.dumps({**head, **record}, ensure_ascii=False, indent=1) + "\n"


def _digest(record: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(record, sort_keys=True).encode()).hexdigest()


def from_json(text: str, key: str) -> Analysis | None:
    """Return the analysis in `text` if it was made from what `key` stands for, else None."""
    try:
        data: dict[str, Any] = json.loads(text)
        if data.pop("schema", None) != SCHEMA or data.pop("key", None) != key:
            return None
        if data.pop("digest", None) != _digest(data):
            return None
        data["beep"] = Beep(**data["beep"]) if data["beep"] else None
        data["intervals"] = tuple(_with_tuples(FoundInterval, row, "notes") for row in data["intervals"])
        cues = []
        for row in data["cues"]:
            row["words"] = tuple(PlacedWord(**word) for word in row["words"])
            cues.append(_with_tuples(FoundCue, row, "reasons", "notes"))
        data["cues"] = tuple(cues)
        data["alternatives"] = tuple(Alternative(**row) for row in data["alternatives"])
        data["tried"] = tuple(data["tried"])
        data["lost_captions"], data["notes"] = tuple(data["lost_captions"]), tuple(data["notes"])
        return Analysis(**data)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        # Written by another version, or damaged: the analysis is then made anew.
        return None


def _with_tuples(kind: Any, row: dict[str, Any], *names: str) -> Any:
    return kind(**{**row, **{name: tuple(row[name]) for name in names}})


def engine_for(options: AdaptOptions) -> WordEngine | None:
    """Return the recogniser to use; with captions none is asked for. Raises as `choose_engine` does."""
    return None if options.captions else choose_engine(options.recogniser, options.language)


def analysis_key(recording: Path, options: AdaptOptions) -> str:
    """Return a hash over everything an analysis depends on; the recording by size, time and both its ends."""
    digest = hashlib.sha256(SCHEMA.encode())
    stat = recording.stat()
    digest.update(f"{stat.st_size} {stat.st_mtime_ns} {options.beep_at_s} {options.language}".encode())
    engine = engine_for(options)
    digest.update((engine.version if engine is not None else "no recogniser").encode())
    with recording.open("rb") as file:
        digest.update(file.read(1 << 20))
        file.seek(max(0, stat.st_size - (1 << 20)))
        digest.update(file.read(1 << 20))
    for path in (options.captions, options.plan):
        digest.update(path.read_bytes() if path else b"none")
    return digest.hexdigest()
