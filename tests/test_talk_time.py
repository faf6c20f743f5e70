"""The time of a talk is the same with every voice: each voice says it there, a slower one by hurrying."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cuelane.base.language import load_language, pack_code
from cuelane.plan.starter import starter_plan
from cuelane.render.line_keys import key_of
from cuelane.render.run import prepare
from cuelane.session.arrange import Sounding, arrange
from cuelane.session.candidates import Candidate
from cuelane.session.remedies import advise
from cuelane.speech.definition import Recordings, VoiceDefinition
from cuelane.speech.voices import find_voice, readable_voices
from planning import RATE, exercise, session_of, steady_voice

DEMOS = Path(__file__).parents[1] / "demo"
OWN = [voice for voice in readable_voices()[0] if not isinstance(voice.settings, Recordings)]
# The starters with the least time for what is said before them.
TIGHT = ("breath", "flow", "script")


def slower(times: float, *, hurries: bool) -> Callable[[Candidate], Sounding]:
    """Return a voice that takes so many `times` as long as the steady one, and may be asked to hurry."""

    def sounding(candidate: Candidate) -> Sounding:
        hurry = candidate.hurry if hurries else 1.0
        return Sounding(int(steady_voice(candidate).n_frames * times / hurry))

    return sounding


PLAN: dict[str, Any] = {
    "cautions": "standard",
    "session": [
        {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "30s", "exercises": ["crouch"]}
    ],
    "exercises": {"crouch": exercise("crouch")},
}

LASTING = PLAN | {"session": [{"say": [" ".join(["word"] * 20)], "lasts": "7s"}, *PLAN["session"]]}


def test_a_talk_that_is_too_long_at_the_usual_pace_is_hurried_just_enough() -> None:
    """The opening at half a second a word is too long for its time; it alone is hurried, and not cut."""
    session = session_of(PLAN)
    refused = arrange(session, slower(1.7, hurries=False), RATE)
    assert [one.interval.pattern for one in refused.misfits] == ["opening"]
    found = arrange(session, slower(1.7, hurries=True), RATE)
    assert found.misfits == ()
    opening = {line.text for line in session.intervals[0].lines}
    paces = {one.hurry for one in found.offered if one.text in opening}
    assert paces == {1.0, 1.05, 1.10}, "each pace that was tried is offered, and none beyond what was needed"
    assert {one.hurry for one in found.offered if one.text not in opening} == {1.0}
    assert opening <= {cue.text for cue in found.schedule.cues}


def test_a_hurried_line_is_spoken_faster_from_its_own_pace() -> None:
    """A caution at 0.86 of a voice's pace is said at 0.903 when hurried by 1.05, and never over 1.15."""
    voice = find_voice("natural")
    own = voice.settings.pace_by_role["caution"]
    caution = Candidate("caution", "Stop if it hurts.", 90, "", hurry=1.05)
    assert key_of(caution, voice, 1.0).pace == pytest.approx(1.05 * own)
    assert key_of(Candidate("say", "Well done.", 90, "", hurry=1.15), voice, 1.1).pace == 1.15


def test_a_talk_with_a_length_of_its_own_is_not_hurried() -> None:
    """There the person who wrote it decides: it is told, with what would work."""
    found = arrange(session_of(LASTING), slower(1.1, hurries=True), RATE)
    assert [one.interval.pattern for one in found.misfits] == ["say"]
    assert {one.hurry for one in found.offered} == {1.0}


def test_what_no_pace_saves_is_told_without_a_pace_as_its_remedy() -> None:
    """At twice the length even 1.15 does not do, so "speak a little faster" would be no help."""
    found = arrange(session_of(PLAN), slower(2.0, hurries=True), RATE)
    told = advise(found.misfits, RATE)
    assert [one.interval.pattern for one in found.misfits] == ["opening", "closing"]
    assert "--pace" not in "".join(map(str, told))
    # Where the plan gives the length nothing was tried, and the advice is worth something.
    asked = advise(arrange(session_of(LASTING), slower(1.1, hurries=True), RATE).misfits, RATE)
    assert "--pace 1.05" in str(asked[0])


@pytest.mark.parametrize("voice", OWN, ids=lambda voice: voice.name)
def test_each_voice_says_what_the_program_says_unhurried(voice: VoiceDefinition, tmp_path: Path) -> None:
    """By the lengths that its definition gives, in its language's demos and the starters with least time."""
    code = pack_code(voice.language)
    assert code is not None
    plans = []
    for pattern in TIGHT:
        path = tmp_path / f"{pattern}.yaml"
        path.write_text(starter_plan(pattern, "Plan", code), encoding="utf-8")
        plans.append(path)
    for path in DEMOS.glob("*.yaml"):
        head = path.read_text(encoding="utf-8").partition("session:")[0]
        if f"\nlanguage: {load_language(code).code}\n" in head and "\nfeed:" not in head:
            plans.append(path)
    assert len(plans) > len(TIGHT), "its language has a demo"
    for path in plans:
        found = prepare(path, voice=voice.name, speak=False)
        assert not found.advice, (path.name, [str(row) for row in found.advice])
        assert {one.hurry for one in found.voiced.arranged.offered} == {1.0}, path.name
