"""Every warning there is, by the code that a plan's ``allow`` silences it by.

Warnings are legal but likely not what an instructor wants. A new one is an entry here and the rule that makes
it: about words in :mod:`cuelane.lint.rules`, about totals, sides, load and equipment in :mod:`cuelane.facts`.
An ``allow`` that names none of these is itself warned about.
"""

from __future__ import annotations

WARNINGS = {
    "screen-words": "words that make sense only to someone who sees a picture",
    "not-judged": "a plan in a language for which nothing tells what points at a picture",
    "side-by-hand": "a side named outright in an exercise whose sides change",
    "too-long": "a line longer than any interval it could go in",
    "too-dense": "more words in an exercise's first set than can be followed while exercising",
    "not-words": "digits, units, abbreviations and signs, with how they will be said",
    "no-warm-up": "a session over 20 minutes without a block named as a warm-up",
    "no-cool-down": "a session over 20 minutes that does not end with a block named as a cool-down",
    "two-things": "a point of form that holds more than one",
    "not-first": "a line that only says what not to do",
    "inside-aim": "a muscle told to work, where an aim outside the body may do better",
    "two-names": "an exercise previewed under a name much like its own",
    "name-twice": "a line that repeats the name that was just spoken",
    "stay-down": "a line that keeps a listener down before something else",
    "never-said": "a line for rounds that its exercise does not have",
    "not-done": "an exercise that no block does",
    "no-cautions": "a session that speaks no cautions",
    "unknown-warning": "an allow that names none of these",
    "uneven-sides": "more time or sets on one side than on the other",
    "same-load": "one exercise after another that loads the same body regions",
    "speaking-rate": "a voice faster than listeners follow, or slower than is usual",
    "no-pick-up": "a set before which nothing names what it needs and is not in the hand",
    "unknown-activity": "an activity that the energy table does not hold",
}
