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
from cuelane.adapt.beeps.search import Alternative, Structure, find_structure
from cuelane.adapt.beeps.timing_grid import Lengths
from cuelane.adapt.words.align import place_words
from cuelane.adapt.words.caption_reader import ReadCaption
from cuelane.adapt.words.found_cues import OVER_BEEP, FoundCue, find_cues, untexted
from cuelane.adapt.words.intervals import FoundInterval, are_a_set, find_intervals
from cuelane.adapt.words.islands import Hearing
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.recognising import clips_without_words, heard_cue, recognise
from cuelane.adapt.words.role_judge import role_judge
from cuelane.adapt.words.said_times import said_times
from cuelane.adapt.words.spoken_grid import by_words
from cuelane.adapt.words.word_lists import tables_digest, word_lists
from cuelane.base.errors import PlanError, UsageError
from cuelane.plan.load import load_plan
from cuelane.plan.loaded import included_files
from cuelane.recording.decode import Recording
from cuelane.recording.word_engines import WordEngine, choose_engine

# Chosen: as short and as long as any work or rest of a class.
SHORTEST_S, LONGEST_S = 4.0, 1800.0

SCHEMA = "cuelane.adapt/12"

Step = Callable[[str, int, int], None]

_NOISY = "music or noise is nearly as loud as speech: places of words are uncertain, listen to all"


@dataclass(frozen=True)
class Analysis:
    """What is in a recording: its beep, its intervals, every cue and sound, and doubts about it all.

    ``n_placed`` boundaries were not heard and are where the lengths of work and rest put them; with
    ``by_words`` all are where what is said puts them. ``lengths_s`` are work and rest, where the boundaries
    keep two lengths; what follows it is as in :class:`cuelane.adapt.beeps.search.Structure`.
    """

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
    n_placed: int = 0
    by_words: bool = False
    lengths_s: tuple[float, float] | None = None
    astray_s: tuple[float, ...] = ()
    tells_apart: bool = True
    lengths_left_aside: bool = False
    no_rest_s: tuple[float, ...] = ()


def analyse(
    recording: Recording,
    captions: Sequence[ReadCaption] | None,
    *,
    expected_s: Sequence[float] = (),
    beep_at_s: float | None = None,
    lengths: Lengths | None = None,
    language: str = "en",
    engine: WordEngine | None = None,
    step: Step | None = None,
) -> Analysis:
    """Return what is in `recording`.

    `step` is told (what, done, total); `engine` hears words if there are no `captions`; `lengths` are the
    work and rest that a person named.
    """
    told: Step = step or (lambda what, done, total: None)
    lists = word_lists(language)
    structure = find_structure(
        recording,
        expected_s=expected_s,
        beep_at_s=beep_at_s,
        lengths=lengths,
        step=lambda what: told(what, 0, 1),
    )
    hearing = Hearing(recording, structure.beep, structure.boundaries)
    islands = hearing.islands()
    notes = [_NOISY] if hearing.loudness().is_noisy else []
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
    structure = by_words(structure, said_times(words, language), recording.seconds, lengths)
    named = _kept(structure, lengths)
    judge = role_judge(language)
    intervals = find_intervals(structure.boundaries, recording.seconds, words, lists, named, judge)
    cues = find_cues(words, intervals, hearing, lists, judge)
    cues = [_over_beep_dropped(cue) for cue in cues]
    if captions is None and not words:
        sounds = clips_without_words(islands, intervals)
    else:
        sounds = untexted(islands, cues, intervals)
    if captions is None:
        cues = [heard_cue(cue) for cue in cues]
    texts = captions or []
    return analysis_of(
        recording.seconds,
        structure,
        intervals,
        sorted([*cues, *sounds], key=lambda cue: cue.start_s),
        [texts[index].text for index in lost],
        notes,
        "" if captions is not None or engine is None else engine.version,
    )


def _kept(structure: Structure, named: Lengths | None) -> Lengths | None:
    """Return the lengths that the boundaries keep, if they are as a person `named` them.

    So they are, too, where set follows set, and the work and the rest that were named are each of them.
    """
    own = structure.lengths
    if named is None or own is None or not structure.lengths_left_aside:
        return None if named is None else own
    return own if not own.rest_s and are_a_set(named, own.work_s) else None


def analysis_of(
    seconds: float,
    structure: Structure,
    intervals: Sequence[FoundInterval],
    cues: Sequence[FoundCue],
    lost: Sequence[str],
    notes: Sequence[str],
    recogniser: str,
) -> Analysis:
    """Return an analysis from its parts; `lost` are the texts of captions not found in the sound."""
    return Analysis(
        seconds,
        structure.beep,
        round(structure.confidence, 3),
        structure.how,
        len(structure.boundaries),
        sum(not b.is_sure and b.is_heard for b in structure.boundaries),
        sum(b.placed_by == "plan" for b in structure.boundaries),
        tuple(intervals),
        tuple(cues),
        tuple(lost),
        tuple(notes),
        structure.plan_left_aside,
        recogniser,
        structure.alternatives,
        structure.tried,
        sum(b.placed_by == "lengths" for b in structure.boundaries),
        any(b.placed_by == "words" for b in structure.boundaries),
        None if structure.lengths is None else (structure.lengths.work_s, structure.lengths.rest_s),
        structure.astray_s,
        structure.tells_apart,
        structure.lengths_left_aside,
        structure.no_rest_s,
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


def from_json(text: str, key: str | None) -> Analysis | None:
    """Return the analysis in `text`; None unless it was made from what `key` stands for, if that is given."""
    try:
        data: dict[str, Any] = json.loads(text)
        made_from = data.pop("key", None)
        if data.pop("schema", None) != SCHEMA or (key is not None and made_from != key):
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
        for name in ("tried", "astray_s", "no_rest_s"):
            data[name] = tuple(data[name])
        data["lengths_s"] = tuple(data["lengths_s"]) if data["lengths_s"] else None
        data["lost_captions"], data["notes"] = tuple(data["lost_captions"]), tuple(data["notes"])
        return Analysis(**data)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        # Written by another version, or damaged: the analysis is then made anew.
        return None


def _with_tuples(kind: Any, row: dict[str, Any], *names: str) -> Any:
    return kind(**{**row, **{name: tuple(row[name]) for name in names}})


def lengths_of(options: AdaptOptions) -> Lengths | None:
    """Return the work and rest that a person named, None where they named none.

    Raises
    ------
    UsageError : one is given without the other, or is no length of a class.
    """
    work_s, rest_s = options.work_s, options.rest_s
    if work_s is None and rest_s is None:
        return None
    if work_s is None or rest_s is None:
        have, lack = ("--work", "--rest") if rest_s is None else ("--rest", "--work")
        raise UsageError(f"{have}: expected {lack} beside it; give --rest 0 where set follows set")
    if not SHORTEST_S <= work_s <= LONGEST_S or not (rest_s == 0 or SHORTEST_S <= rest_s <= LONGEST_S):
        raise UsageError(
            f"--work, --rest: expected lengths of {SHORTEST_S:.0f} s to {LONGEST_S / 60:.0f} min, "
            f"got {work_s:g} s and {rest_s:g} s"
        )
    return Lengths(work_s, rest_s)


def engine_for(options: AdaptOptions) -> WordEngine | None:
    """Return the recogniser to use; with captions none is asked for. Raises as `choose_engine` does."""
    return None if options.captions else choose_engine(options.recogniser, options.language)


def analysis_key(recording: Path, options: AdaptOptions) -> str:
    """Return a hash over everything an analysis depends on; the recording by size, time and both its ends."""
    digest = hashlib.sha256(SCHEMA.encode())
    stat = recording.stat()
    said = (stat.st_size, stat.st_mtime_ns, options.beep_at_s, options.work_s, options.rest_s)
    digest.update(f"{said} {options.language}".encode())
    digest.update(tables_digest(options.language))
    engine = engine_for(options)
    digest.update((engine.version if engine is not None else "no recogniser").encode())
    with recording.open("rb") as file:
        digest.update(file.read(1 << 20))
        file.seek(max(0, stat.st_size - (1 << 20)))
        digest.update(file.read(1 << 20))
    for path in (options.captions, options.plan):
        digest.update(path.read_bytes() if path else b"none")
    for path in _included(options.plan):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _included(plan: Path | None) -> list[Path]:
    """Return the plans that are stacked in `plan`; none where it is wrong, which is said when it is used."""
    try:
        return [] if plan is None else included_files(load_plan(plan))
    except PlanError:
        return []
