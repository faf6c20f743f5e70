"""Starter plans: one for each pattern, ready to render, with comments that say what can be changed."""

from __future__ import annotations

import json

from cuelane.base.errors import UsageError
from cuelane.plan.pattern_names import PATTERNS
from cuelane.plan.phrases import did_you_mean, listing
from cuelane.plan.source_text import is_hidden
from cuelane.plan.values import MAX_NAME

__all__ = ["PATTERNS", "starter_plan"]

_HEAD = """\
# yaml-language-server: $schema=plan.schema.json
# $schema: plan.schema.json
title: {title}
language: en
voice: natural               # or: system, or the name of a voice of your own
pips: {{count: 3, spacing: 1s}}
cautions: standard           # spoken once at the start and printed with the track

session:
"""

_EXERCISES = """
exercises:
  chair squat:
    needs: a sturdy chair
    load: [quads, glutes]
    preview: Chair squat. Stand just in front of your chair.
    setup: Feet under your hips. Sit back until you touch the chair, then stand.
    remind: Sit back, touch the chair, and stand.
    form:                    # taken in turn, one each time there is room
      - Knees in line with your toes.
      - Keep your heels heavy.
      - Breathe out as you stand.
    easier: Use your hands to push off the chair.
    harder: Take three seconds on the way down.
  table press:
    needs: a firm table
    load: [chest, arms]
    preview: Table press. Hands on the edge of the table, a little wider than your shoulders.
    setup: Walk your feet back until your body is one line, then bend your elbows and press away.
    remind: One line from head to heels. Bend and press.
    form:
      - Elbows point back, not out.
      - Ribs down, no sag in the middle.
    easier: Step closer to the table.
    harder: Step further away.
  stork stand:
    load: [ankles, hips]
    sides: each              # both in turn, half the time each; alternate: left, right, left ... by sets
    preview: Stork stand, on one leg.
    setup: "Stand on your {side} leg, and lift the other knee."
    remind: "On your {side} leg now."
    form:
      - Soft knee, long spine.
      - Look at one point ahead of you.
    easier: Keep a fingertip on a wall.
    harder: Turn your head slowly from side to side.
"""

_BLOCKS = {
    "circuit": """\
  - block: Main part
    pattern: circuit         # every exercise in turn, as many rounds as you like
    work: 40s
    settle: 5s               # of which the first seconds are for getting into place
    rest: 20s
    round_rest: 1m
    rounds: 3
    exercises: [chair squat, table press, stork stand]
""",
    "build-up": """\
  - block: Main part
    pattern: build-up        # round 1: one exercise; round 2: two; round 3: all three
    work: 40s
    settle: 5s               # of which the first seconds are for getting into place
    rest: 30s                # after each round
    exercises: [chair squat, table press, stork stand]
""",
    "build-up-and-down": """\
  - block: Main part
    pattern: build-up-and-down   # one exercise, two, all three, two, one
    work: 40s
    settle: 5s               # of which the first seconds are for getting into place
    rest: 30s                # after each round
    exercises: [chair squat, table press, stork stand]
""",
    "build-down": """\
  - block: Main part
    pattern: build-down      # all three exercises, then two, then one
    work: 40s
    settle: 5s               # of which the first seconds are for getting into place
    rest: 30s                # after each round
    exercises: [chair squat, table press, stork stand]
""",
    "ladder": """\
  - block: Main part
    pattern: ladder          # a circuit whose times change by round
    work: [30s, 40s, 50s]    # one for each round
    settle: 5s               # of which the first seconds are for getting into place
    rest: [15s, 20s, 25s]    # one for each round, or one for all
    exercises: [chair squat, table press, stork stand]
""",
    "on-the-minute": """\
  - block: Main part
    pattern: on-the-minute   # a set starts every minute; what is left of it is rest
    every: 60s
    work: 40s
    settle: 5s               # of which the first seconds are for getting into place
    rounds: 3
    exercises: [chair squat, table press, stork stand]
""",
    "flow": """\
  - block: Main part
    pattern: flow            # one movement after another, with no rest
    work: 45s
    # change: 5s             # time between two movements
    rounds: 2
    exercises: [chair squat, table press, stork stand]
""",
    "breath": """\
  - block: Slow breath
    pattern: breath
    say: Sit comfortably, with your shoulders loose.
    inhale: 4s
    hold: 0s                 # after the breath in; 0 leaves it out
    exhale: 6s
    hold_out: 0s             # after the breath out
    cycles: 18
    spoken_cycles: 3         # so many breaths are led by the voice, then the tones lead
    caution: Breathe normally if you feel light-headed.
""",
    "script": """\
  - block: Desk break
    pattern: script          # every interval and every word said outright
    intervals:
      - kind: talk
        length: 20s
        cues:
          - {at: 1s, text: Push your chair back a little., role: setup}
          - {at: 8s, text: Both feet flat on the floor.}
      - kind: work
        length: 40s
        exercise: shoulder circles
        cues:
          - {at: 2s, text: Slow circles with both shoulders., role: setup}
          - {at: 18s, text: Let your jaw go loose., role: form}
      - kind: rest
        length: 15s
        cues:
          - {at: 3s, text: Let your arms hang.}
""",
}

_TAIL = """\
  # - include: warm-up.yaml  # another plan of this folder, stacked here
  # - rest: 1m               # a rest between two blocks
  - say: That is the session. Walk about for a minute.
"""


def starter_plan(pattern: str, title: str) -> str:
    """Return the text of a commented plan of `pattern` that loads and renders as it is.

    Raises
    ------
    UsageError : there is no such pattern, or `title` cannot be a title.
    """
    if pattern not in PATTERNS:
        hint = did_you_mean(pattern, PATTERNS) or f"choose {listing(PATTERNS)}"
        raise UsageError(f"there is no pattern '{pattern}'; {hint}")
    name = " ".join(title.split())
    if not 1 <= len(name) <= MAX_NAME or any(is_hidden(character) for character in name):
        raise UsageError(f"a title is 1 to {MAX_NAME} visible characters, got {title!r}")
    text = _HEAD.format(title=json.dumps(name, ensure_ascii=False)) + _BLOCKS[pattern] + _TAIL
    if pattern not in ("breath", "script"):
        text += _EXERCISES
    return text
