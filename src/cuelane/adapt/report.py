"""What ``adapt`` found, what it left out and why, and what is uncertain: for people and as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass

from cuelane.adapt.adapt_options import Timing
from cuelane.adapt.analysis import Analysis
from cuelane.adapt.beeps.countdown import SURE_COUNTDOWN, Beep
from cuelane.adapt.beeps.search import Alternative
from cuelane.adapt.class_cues import CLICKS, CutCue, clicking, ends_told
from cuelane.adapt.clock import clock
from cuelane.adapt.length_doubts import about_lengths, said_by_words
from cuelane.adapt.pattern_plan import PatternPlan
from cuelane.adapt.pattern_report import as_json, pattern_lines, picture_lines, role_lines
from cuelane.adapt.plan_file import Planned
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.base.units import counted
from cuelane.base.unsafe_text import escape_markdown as plain


def doubts(analysis: Analysis) -> list[str]:
    """Return what is uncertain about the recording as a whole, a sentence each."""
    found = list(analysis.notes)
    if analysis.by_words:
        found.append(said_by_words(analysis))
    elif analysis.beep is None:
        found.append(
            "It could not be told where work and rest begin. The sentences were separated all the same. "
            f"{_tried(analysis)}Listen for the sound at the end of an interval and name its time, "
            "such as --beep-at 12:30; or give the session's plan with --plan, or its work and rest, such as "
            "--work 40s --rest 20s, if they are called out."
        )
    elif analysis.beep is not None and analysis.confidence < SURE_COUNTDOWN:
        found.append(
            f"{_named(analysis.beep)} is a guess (confidence {analysis.confidence:.2f} of 1): "
            f"{analysis.beep.describe()}. {_where(analysis)}If it is something else, such as music, "
            "name the end of a real one, such as --beep-at 12:30, or its work and rest, such as "
            "--work 40s --rest 20s, or give the session's plan with --plan."
        )
    if analysis.confidence < SURE_COUNTDOWN:
        found += [_other(alternative) for alternative in analysis.alternatives]
    if analysis.plan_left_aside:
        found.append(
            "The plan that was given does not fit the recording and was not used. Is it this class's? "
            "If it is, name the end of one countdown with --beep-at too."
        )
    found += about_lengths(analysis)
    once = _lengths_of_their_own(analysis)
    if once:
        found.append(
            f"Of a length that no other has: {counted(len(once), 'interval')}, the first at "
            f"{clock(once[0].start_s)}. A countdown may have been missed or taken wrongly there. Listen, or "
            "name one with --beep-at."
        )
    if analysis.n_faint:
        found.append(
            f"Faint: {analysis.n_faint} of {counted(analysis.n_boundaries, 'boundary', 'boundaries')}; the "
            "table says which."
        )
    if analysis.n_from_plan:
        boundaries = counted(analysis.n_from_plan, "boundary", "boundaries")
        found.append(f"Not heard, and placed as the plan has it: {boundaries}.")
    if analysis.lost_captions:
        found.append(f"Not found in the sound: {counted(len(analysis.lost_captions), 'caption')}.")
    return found


def _named(beep: Beep) -> str:
    return "The countdown" if beep.is_tone else "The sound at the boundaries"


def _tried(analysis: Analysis) -> str:
    return f"Looked for: {', '.join(analysis.tried)}. " if analysis.tried else ""


def _other(one: Alternative) -> str:
    """Return what else it may be, and the one hint that would settle it."""
    return (
        f"It may be something else: {one.description}, {one.n_boundaries} times (confidence "
        f"{one.confidence:.2f} of 1). If that marks the boundaries, --beep-at {clock(one.beep_at_s)} "
        "settles it."
    )


def _where(analysis: Analysis) -> str:
    """Return where a person can hear whether the countdown is one."""
    ends = [clock(interval.start_s) for interval in analysis.intervals if interval.kind != "talk"]
    return f"Listen at {' and '.join(ends[:2])}. " if ends else ""


def _lengths_of_their_own(analysis: Analysis) -> list[FoundInterval]:
    """Return the intervals unlike all others in length, if they are more than a few cuts would make."""
    rows = [interval for interval in analysis.intervals if interval.kind != "talk"]
    own = [
        row for row in rows if not any(o is not row and abs(o.length_s - row.length_s) < 0.25 for o in rows)
    ]
    return own if len(own) > max(2, len(rows) / 3) else []


@dataclass(frozen=True)
class MadeFiles:
    """What was made of an analysis: the plan as recorded, the one of exercises or why there is none.

    ``instead`` holds for each cue what may be said where it needs a picture; ``clips`` are all
    that were cut.
    """

    planned: Planned
    patterns: PatternPlan | None
    why_none: str
    instead: tuple[tuple[str, ...], ...]
    clips: tuple[CutCue, ...] = ()


def report_json(analysis: Analysis, kept: Sequence[bool], made: MadeFiles, timing: Timing) -> str:
    """Return the whole report as JSON text."""
    planned = made.planned
    value = {
        "schema": "cuelane.adapt-report/1",
        "timing": timing,
        "seconds": round(analysis.seconds, 3),
        "beep": asdict(analysis.beep) if analysis.beep else None,
        "confidence": analysis.confidence,
        "how": analysis.how,
        "plan_left_aside": analysis.plan_left_aside,
        "alternatives": [asdict(alternative) for alternative in analysis.alternatives],
        "tried": analysis.tried,
        "lengths_s": analysis.lengths_s,
        "lengths_left_aside": analysis.lengths_left_aside,
        "astray_s": analysis.astray_s,
        "no_rest_s": analysis.no_rest_s,
        "by_words": analysis.by_words,
        "uncertain": doubts(analysis),
        "intervals": [asdict(interval) for interval in analysis.intervals],
        "cues": [
            {
                "start_s": round(cue.start_s, 3),
                "end_s": round(cue.end_s, 3),
                "role": cue.role,
                "purpose": cue.purpose,
                "share": cue.share,
                "text": cue.text,
                "kept": keep,
                "reasons": cue.reasons,
                "notes": cue.notes,
                "instead": instead,
            }
            for cue, keep, instead in zip(analysis.cues, kept, made.instead, strict=True)
        ],
        "lost_captions": analysis.lost_captions,
        "crowded_out": [cue.text for cue in planned.crowded_out],
        "guessed_cuts": [asdict(guess) for guess in planned.guesses],
        "recogniser": analysis.recogniser or None,
        "ends": {cue.clip: asdict(cue.ends) for cue in made.clips},
        "patterns": as_json(made.patterns, made.why_none),
        "moved": [{"text": cue.text, "by_ms": by_ms} for cue, by_ms in planned.moved],
    }
    return json.dumps(value, ensure_ascii=False, indent=1) + "\n"


def report_markdown(
    title: str, analysis: Analysis, kept: Sequence[bool], made: MadeFiles, timing: Timing
) -> str:
    """Return the report as Markdown: the doubts first, then intervals, then what is left out."""
    planned = made.planned
    lines = [f"# {plain(title)}", ""]
    lines.append(
        f"{clock(analysis.seconds)} long; {sum(kept)} of {len(analysis.cues)} sounds kept; {timing} timing."
    )
    if analysis.beep:
        lines.append(
            f"{'Countdown' if analysis.beep.is_tone else 'Boundaries'}: {analysis.beep.describe()}, "
            f"found {plain(analysis.how)} (confidence {analysis.confidence:.2f} of 1)."
        )
    elif analysis.by_words:
        lines.append(f"Boundaries: placed {plain(analysis.how)} (confidence {analysis.confidence:.2f} of 1).")
    if analysis.recogniser:
        lines.append(f"Words: recognised by machine ({plain(analysis.recogniser)}).")
    lines += [ends_told(made.clips)] if made.clips else []
    lines += ["", "## Uncertain", ""]
    lines += [f"- {plain(doubt)}" for doubt in doubts(analysis)] or ["Nothing about the class as a whole."]
    lines += [f"- {clock(cue.onset_ms / 1000)} {plain(cue.text)}: {CLICKS}" for cue in clicking(made.clips)]
    unsure = [cue for cue, keep in zip(analysis.cues, kept, strict=True) if keep and cue.notes]
    lines += [f"- {clock(cue.start_s)} {plain(cue.text)}: {plain('; '.join(cue.notes))}" for cue in unsure]
    lines += [
        "",
        "## Intervals",
        "",
        "| from | kind | recorded | true | notes |",
        "| --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| {clock(i.start_s)} | {i.kind} | {i.length_s:.2f} s | {i.true_s:g} s "
        f"| {plain('; '.join(i.notes))} |"
        for i in analysis.intervals
        if i.kind != "talk"
    ]
    if planned.guesses:
        lines += ["", "## Lengths put right", ""]
        lines += [
            f"- {clock(analysis.intervals[guess.interval].start_s)} "
            f"{analysis.intervals[guess.interval].kind}: {abs(guess.added_ms) / 1000:.1f} s "
            f"{'of silence put in' if guess.added_ms > 0 else 'taken out'} at {clock(guess.at_ms / 1000)} of "
            "the recording, in the longest pause. Where it was really cut is not known: check that the words "
            "after it still say the right time."
            for guess in planned.guesses
        ]
    lines += pattern_lines(made.patterns, made.why_none)
    lines += _left_out(analysis, kept, made)
    lines += role_lines(analysis.cues, kept)
    lines += ["", "Recordings and voices belong to people. Use only what you may."]
    return "\n".join(lines) + "\n"


def _left_out(analysis: Analysis, kept: Sequence[bool], made: MadeFiles) -> list[str]:
    """Return what is in no plan and why, and what may be said instead, as lines of Markdown."""
    out = [cue for cue, keep in zip(analysis.cues, kept, strict=True) if not keep]
    lines = ["", "## Left out", ""]
    lines += [
        f"- {clock(cue.start_s)} {plain(cue.text)}: {plain('; '.join(cue.reasons) or 'your decision')}"
        for cue in out
    ] or ["Nothing."]
    lines += picture_lines(analysis.cues, made.instead)
    if made.planned.crowded_out:
        lines += ["", "## No room beside the pips", ""]
        lines += [f"- {clock(cue.onset_ms / 1000)} {plain(cue.text)}" for cue in made.planned.crowded_out]
    return lines
