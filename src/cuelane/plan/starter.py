"""Starter plans: one for each pattern, ready to render, with comments that say what can be changed."""

from __future__ import annotations

import json
import tomllib
from functools import cache
from importlib import resources
from string import Template

from cuelane.base.errors import UsageError
from cuelane.base.language import available_languages, pack_code
from cuelane.plan.pattern_names import PATTERNS
from cuelane.plan.phrases import did_you_mean, listing
from cuelane.plan.source_text import is_hidden
from cuelane.plan.values import MAX_NAME

__all__ = ["PATTERNS", "starter_plan"]

_HEAD = """\
# yaml-language-server: $$schema=plan.schema.json
# $$schema: plan.schema.json
title: $title
language: $language
$voice
pips: {count: 3, spacing: 1s}
cautions: standard           # $cautions

session:
"""

_EXERCISES = """
exercises:
  $squat:
    needs: $chair
    load: [$quads, $glutes]
    preview: $squat_preview
    setup: $squat_setup
    remind: $squat_remind
    form:                    # $in_turn
      - $squat_form_1
      - $squat_form_2
      - $squat_form_3
    easier: $squat_easier
    harder: $squat_harder
  $press:
    needs: $table
    load: [$chest, $arms]
    preview: $press_preview
    setup: $press_setup
    remind: $press_remind
    form:
      - $press_form_1
      - $press_form_2
    easier: $press_easier
    harder: $press_harder
  $stork:
    load: [$ankles, $hips]
    sides: each              # $each
    preview: $stork_preview
    setup: "$stork_setup"
    remind: "$stork_remind"
    form:
      - $stork_form_1
      - $stork_form_2
    easier: $stork_easier
    harder: $stork_harder
"""

_THREE = "    exercises: [$squat, $press, $stork]\n"
_SETTLE = "    settle: 5s               # $settle\n"

_BLOCKS = {
    "circuit": f"""\
  - block: $main
    pattern: circuit         # $circuit
    work: 40s
{_SETTLE}    rest: 20s
    round_rest: 1m
    rounds: 3
{_THREE}""",
    "build-up": f"""\
  - block: $main
    pattern: build-up        # $build_up
    work: 40s
{_SETTLE}    rest: 30s                # $after_round
{_THREE}""",
    "build-up-and-down": f"""\
  - block: $main
    pattern: build-up-and-down   # $build_up_and_down
    work: 40s
{_SETTLE}    rest: 30s                # $after_round
{_THREE}""",
    "build-down": f"""\
  - block: $main
    pattern: build-down      # $build_down
    work: 40s
{_SETTLE}    rest: 30s                # $after_round
{_THREE}""",
    "ladder": f"""\
  - block: $main
    pattern: ladder          # $ladder
    work: [30s, 40s, 50s]    # $one_each
{_SETTLE}    rest: [15s, 20s, 25s]    # $one_each_or_all
{_THREE}""",
    "on-the-minute": f"""\
  - block: $main
    pattern: on-the-minute   # $on_the_minute
    every: 60s
    work: 40s
{_SETTLE}    rounds: 3
{_THREE}""",
    "flow": f"""\
  - block: $main
    pattern: flow            # $flow
    work: 45s
    # change: 5s             # $change
    rounds: 2
{_THREE}""",
    "breath": """\
  - block: $slow_breath
    pattern: breath
    say: $sit
    inhale: 4s
    hold: 0s                 # $hold
    exhale: 6s
    hold_out: 0s             # $hold_out
    cycles: 18
    spoken_cycles: 3         # $spoken
    caution: $light_headed
""",
    "script": """\
  - block: $desk_break
    pattern: script          # $script
    intervals:
      - kind: talk
        length: 20s
        cues:
          - {at: 1s, text: $push_back, role: setup}
          - {at: 8s, text: $feet_flat}
      - kind: work
        length: 40s
        exercise: $circles
        cues:
          - {at: 2s, text: $slow_circles, role: setup}
          - {at: 18s, text: $jaw, role: form}
      - kind: rest
        length: 15s
        cues:
          - {at: 3s, text: $arms_hang}
""",
}

_TAIL = """\
  # - include: $warm_up_file  # $include
  # - rest: 1m               # $rest
  - say: $closing
"""


@cache
def starter_words(language: str) -> dict[str, str]:
    """Return the words of starter plans in a language that has a pack, by their names in the templates."""
    file = resources.files("cuelane") / "languages" / f"{language}_starter.toml"
    return {key: str(text) for key, text in tomllib.loads(file.read_text(encoding="utf-8")).items()}


def title_of(typed: str) -> str:
    """Return what was typed as a plan's title, on one line. Raises UsageError where it cannot be one."""
    name = " ".join(typed.split())
    if not 1 <= len(name) <= MAX_NAME or any(is_hidden(character) for character in name):
        raise UsageError(f"a title is 1 to {MAX_NAME} visible characters, got {typed!r}")
    return name


def starter_plan(pattern: str, title: str, language: str = "en") -> str:
    """Return the text of a commented plan of `pattern` that loads and renders as it is.

    Parameters
    ----------
    language : BCP 47 tag; its words are those of the pack that it finds.

    Raises
    ------
    UsageError : there is no such pattern or language, or `title` cannot be a title.
    """
    if pattern not in PATTERNS:
        hint = did_you_mean(pattern, PATTERNS) or f"choose {listing(PATTERNS)}"
        raise UsageError(f"there is no pattern '{pattern}'; {hint}")
    name = title_of(title)
    code = pack_code(language)
    if code is None:
        there_are = listing(available_languages())
        raise UsageError(f"there are no words for language '{language}' yet; choose {there_are}")
    text = _HEAD + _BLOCKS[pattern] + _TAIL
    if pattern not in ("breath", "script"):
        text += _EXERCISES
    return Template(text).substitute(
        starter_words(code), title=json.dumps(name, ensure_ascii=False), language=language
    )
