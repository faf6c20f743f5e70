"""What a session says and when: the figures that tell a coach from a machine, for the demos or other plans.

Run by hand: python tests/benchmarks/bench_talk.py [--estimate] [--of FOLDER] [PLAN ...]
Everything is counted from the schedule and the plan; nothing is taken from the program's own choices. With
--of, the schedules that lie in FOLDER as NAME.json are counted instead of new ones, such as those that an
earlier version wrote with `cuelane schedule NAME.yaml --estimate --json`, with its own plans as PLAN.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from itertools import groupby, pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

from cuelane.base.schedule import Event, Schedule, ScheduledInterval, load_schedule
from cuelane.plan.load import load_plan
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Exercise
from cuelane.render.run import prepare

DEMO = Path(__file__).parents[2] / "demo"
LATE_S = 12.0


def spoken_share(schedule: Schedule, kind: str) -> float | None:
    """Return the part of all intervals of a kind that is spoken."""
    which = {row.index: row for row in schedule.intervals if row.kind == kind}
    whole = sum(row.end_sample - row.start_sample for row in which.values())
    said = sum(cue.end_sample - cue.onset_sample for cue in schedule.cues if cue.interval in which)
    return said / whole if whole else None


def specs_of(loaded: LoadedPlan) -> dict[str, Exercise]:
    found = dict(loaded.plan.exercises)
    for inner in loaded.includes.values():
        found = specs_of(inner) | found
    return found


def cues_by_interval(schedule: Schedule) -> dict[int, list[Event]]:
    found: dict[int, list[Event]] = defaultdict(list)
    for cue in schedule.cues:
        found[cue.interval].append(cue)
    return found


def firsts(schedule: Schedule) -> dict[str, ScheduledInterval]:
    """Return the first set of each exercise."""
    found: dict[str, ScheduledInterval] = {}
    for row in schedule.intervals:
        if row.kind == "work" and row.exercise:
            found.setdefault(row.exercise, row)
    return found


def introduced(schedule: Schedule) -> tuple[int, int]:
    """Return of the rests before something new how many name it, the first of several: (named, all).

    What is new is each exercise whose first set comes before the next rest.
    """
    first_at = {name: row.index for name, row in firsts(schedule).items()}
    said, rests = cues_by_interval(schedule), [row for row in schedule.intervals if row.kind == "rest"]
    ends = [*(row.index for row in rests), len(schedule.intervals)][1:]
    named = total = 0
    for rest, end in zip(rests, ends, strict=True):
        new = sorted(
            (name for name, index in first_at.items() if rest.index < index < end), key=first_at.__getitem__
        )
        if not new or rest.end_sample - rest.start_sample < 8 * schedule.sample_rate:
            continue
        total += 1
        words = " ".join(cue.text or "" for cue in said[rest.index]).lower()
        named += new[0].lower() in words
    return named, total


def cautions_first(schedule: Schedule, specs: dict[str, Exercise]) -> tuple[int, int]:
    """Return how many exercises' cautions are heard by 5 s into the set they are for: (heard, all).

    That is the first set, or the first of those that the line itself names.
    """
    heard = total = 0
    for name in firsts(schedule):
        rows = {row.set_index: row for row in reversed(schedule.intervals) if row.exercise == name}
        sets = [rows[key] for key in sorted(rows, key=lambda key: rows[key].start_sample)]
        for line in specs[name].caution if name in specs else ():
            total += 1
            number = min(line.rounds) if isinstance(line.rounds, list) else line.rounds
            row = sets[number - 1 if isinstance(number, int) else 0]
            by = row.start_sample + 5 * schedule.sample_rate
            heard += any(line.text in (cue.text or "") and cue.onset_sample <= by for cue in schedule.cues)
    return heard, total


def late_cues(schedule: Schedule) -> int:
    """Return the most cues that begin in the last 12 s of one set of 20 s and more."""
    most, late = 0, round(LATE_S * schedule.sample_rate)
    for row in schedule.intervals:
        if row.kind == "work" and row.end_sample - row.start_sample >= 20 * schedule.sample_rate:
            cues = cues_by_interval_cache(schedule)[row.index]
            most = max(most, sum(cue.onset_sample >= row.end_sample - late for cue in cues))
    return most


_CACHE: dict[int, dict[int, list[Event]]] = {}


def cues_by_interval_cache(schedule: Schedule) -> dict[int, list[Event]]:
    return _CACHE.setdefault(id(schedule), cues_by_interval(schedule))


def longest_run(schedule: Schedule) -> tuple[int, str]:
    """Return the longest run of one wording of a time call, over sets that follow one another."""
    calls = [cue.text or "" for cue in schedule.cues if cue.role == "time"]
    runs = [(len(list(group)), text) for text, group in groupby(calls)]
    return max(runs, default=(0, ""))


def longest_rest_silence_s(schedule: Schedule) -> float | None:
    """Return the longest time without a word inside a rest of 20 s and more."""
    longest = []
    for row in schedule.intervals:
        if row.kind == "rest" and row.end_sample - row.start_sample >= 20 * schedule.sample_rate:
            cues = cues_by_interval_cache(schedule)[row.index]
            edges = [row.start_sample, *(edge for cue in cues for edge in (cue.onset_sample, cue.end_sample))]
            edges.append(row.end_sample)
            longest.append(max(two - one for one, two in list(pairwise(edges))[::2]))
    return max(longest) / schedule.sample_rate if longest else None


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("plans", nargs="*", type=Path, default=sorted(DEMO.glob("*.yaml")))
    parser.add_argument("--estimate", action="store_true")
    parser.add_argument("--of", type=Path)
    asked = parser.parse_args()
    for path in asked.plans:
        if asked.of is None:
            prepared = prepare(path, speak=not asked.estimate)
            schedule, loaded = prepared.schedule, prepared.loaded
        else:
            schedule, loaded = load_schedule(asked.of / f"{path.stem}.json"), load_plan(path)
        calls = [cue for cue in schedule.cues if cue.role == "time"]
        shares = [spoken_share(schedule, kind) for kind in ("rest", "work")]
        rest, work = ("-" if share is None else f"{share:.0%}" for share in shares)
        named, new_rests = introduced(schedule)
        heard, cautions = cautions_first(schedule, specs_of(loaded))
        run, text = longest_run(schedule)
        wordings = len({cue.text for cue in calls})
        silence_s = longest_rest_silence_s(schedule)
        print(f"{path.stem}: {schedule.n_frames / schedule.sample_rate / 60:.1f} min", flush=True)
        print(f"  spoken: rest {rest}, work {work}")
        print(f"  time calls: {len(calls)}, wordings {wordings}, longest run {run} of {text!r}")
        print(f"  rests that introduce what is new: {named} of {new_rests}")
        print(f"  cautions heard before their movement: {heard} of {cautions}")
        silence = "-" if silence_s is None else f"{silence_s:.1f} s"
        print(f"  most cues begun in the last 12 s of a set: {late_cues(schedule)}")
        print(f"  longest silence in a rest of 20 s and more: {silence}")


if __name__ == "__main__":
    main()
