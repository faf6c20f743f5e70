"""The same plan in every language: the same boundaries, every phrase filled, nothing that does not fit."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from cuelane.base.language import available_languages, load_language
from cuelane.base.schedule import Schedule
from cuelane.deliver.chapters import chapters_of
from cuelane.deliver.publish import companions
from cuelane.plan.load import load_plan
from cuelane.render.run import Prepared, prepare
from cuelane.session.expand import expand

DEMOS = Path(__file__).parents[1] / "demo"
PATTERNS = {
    "circuit": "work: 40s\n    rest: 20s\n    rounds: 3",
    "build-up-and-down": "work: 40s\n    rest: 30s",
    "build-down": "work: 30s\n    rest: 30s",
    "ladder": "work: [20s, 30s, 41s]\n    rest: 20s\n    round_rest: 45s",
    "on-the-minute": "work: 40s\n    rounds: 2",
    "flow": "work: 40s\n    change: 10s\n    rounds: 2",
}
BREATH = """\
  - block: Aria
    pattern: breath
    inhale: 4s
    hold: 4s
    exhale: 6s
    hold_out: 2s
    cycles: 8
"""
EXERCISES = """\
exercises:
  alpha:
    needs: 2 kilo
    load: [nu]
    preview: Alpha, bravo.
    setup: Charlie delta echo.
    remind: Charlie.
    form: [Foxtrot., Golf., Hotel.]
    easier: India juliett.
    harder: Kilo.
    swap: Lima mike.
    caution: November oscar.
    heavier: Papa.
    heavier_needs: 3 kilo
  bravo:
    sides: alternate
    preview: Quebec.
    setup: "{side} romeo."
    form: [Sierra., Tango.]
  charlie:
    sides: each
    load: [nu]
    setup: "{side} uniform."
"""


def _plan(folder: Path, language: str, pattern: str, coaching: str = "full") -> Path:
    names = "[alpha, bravo, charlie]"
    block = f"  - block: Main\n    pattern: {pattern}\n    {PATTERNS[pattern]}\n    exercises: {names}\n"
    head = f"title: Zulu\nlanguage: {language}\ncoaching: {coaching}\nactivity: '02024'\nbody_mass_kg: 70\n"
    path = folder / f"{pattern}-{language}.yaml"
    path.write_text(f"{head}session:\n{block}  - rest: 30s\n{BREATH}{EXERCISES}", encoding="utf-8")
    return path


@cache
def _prepared(folder: Path, language: str, pattern: str) -> Prepared:
    return prepare(_plan(folder, language, pattern), speak=False)


def _boundaries(schedule: Schedule) -> list[tuple[str, int, int]]:
    return [(row.kind, row.start_sample, row.end_sample) for row in schedule.intervals]


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_plan_has_the_same_boundaries_in_every_language(
    tmp_path_factory: pytest.TempPathFactory, pattern: str
) -> None:
    """What the program says has the same time in all of them, and fits: no must-cue is left without room."""
    folder = tmp_path_factory.mktemp("same")
    english = _prepared(folder, "en", pattern)
    spoken_in = {}
    for code in available_languages():
        found = _prepared(folder, code, pattern)
        assert _boundaries(found.schedule) == _boundaries(english.schedule), code
        assert not found.advice, (code, [str(row) for row in found.advice])
        texts = [cue.text or "" for cue in found.schedule.cues]
        texts += [row.text for row in found.schedule.dropped]
        assert not [text for text in texts if re.search(r"[{}]|\bNone\b", text)], code
        spoken_in[code] = {str(cue.text) for cue in found.schedule.cues}
        talk = {row.index for row in found.schedule.intervals if row.kind == "talk"}
        cautions = {line.text for line in found.session.cautions}
        assert cautions <= {cue.text for cue in found.schedule.cues if cue.interval in talk}, code
    for code, said in spoken_in.items():
        assert code == "en" or not [
            text for text in said & spoken_in["en"] if text not in EXERCISES and " " in text
        ], code


@pytest.mark.parametrize("code", available_languages())
def test_the_length_that_is_spoken_is_the_one_that_is_kept(code: str) -> None:
    """Of every demo, in every language: the minutes told at the start are those of the whole session."""
    words = load_language(code)
    plans = sorted(DEMOS.glob("*.yaml"))
    n_told = 0
    for path in plans:
        loaded = load_plan(path)
        session = expand(replace(loaded, plan=loaded.plan.model_copy(update={"language": code})))
        minutes = round(session.length_ms / 60_000)
        told = words.say("opening", "length", count=minutes, n=words.number(minutes)).rstrip(".")
        opening = session.intervals[0].lines[0].text
        assert session.plan.coaching == "spare" or told in opening, (path.name, session.length_ms, opening)
        n_told += told in opening
    assert n_told >= len(plans) - 1


@pytest.mark.parametrize("code", available_languages())
def test_what_is_read_is_in_the_plans_language(tmp_path_factory: pytest.TempPathFactory, code: str) -> None:
    """The page says which language its words are in, and no English sentence of ours is left in any file."""
    schedule = _prepared(tmp_path_factory.mktemp("read"), code, "circuit").schedule
    # A voice's credit and a table's title stand as their makers wrote them.
    facts = schedule.extra["facts"] | {"energy": schedule.extra["facts"]["energy"] | {"edition": ""}}
    schedule = replace(schedule, extra=schedule.extra | {"voice": {"name": "x"}, "facts": facts})
    beside = companions(schedule, "zulu.m4a", chapters_of(schedule), [], subtitles=True)
    page = beside[".html"]
    assert page.startswith(f'<!DOCTYPE html>\n<html lang="{code}">')
    assert set(re.findall(r'lang="([^"]+)"', page)) == {code}
    assert not re.search(r"\{\w+\}", re.sub(r"<(script|style).*?</\1>", "", page, flags=re.S))
    for text in (beside[".md"], beside[".vtt"], beside[".chapters.json"]):
        assert not re.search(r"\{\w+\}", text)
    english = r"\b(?:the|of|and|with|next|round|rest|seconds|sets?|from|breathe|cues|score|length|needs)\b"
    if code != "en":
        shown = re.sub(r"<(script|style).*?</\1>|<[^>]*>|zulu\.[\w.]+", " ", page, flags=re.S)
        names = " ".join(re.findall(r'aria-label="([^"]*)"', page))
        for text in (shown, names, beside[".md"], beside[".vtt"]):
            assert not re.findall(english, text, re.IGNORECASE)
