"""Warnings about a plan's words: legal, but likely not what the instructor wants a listener to hear.

All codes are in :mod:`cuelane.plan.warning_codes`. Each is silenced by its code in the plan's ``allow``,
or in the ``allow`` of one line.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from cuelane.base.errors import Mark
from cuelane.base.language import fill, load_language
from cuelane.base.units import format_duration
from cuelane.lint.density import FOLLOWED_IN_A_SET, Density
from cuelane.lint.handbook import follows_down, handbook
from cuelane.lint.instead import Instead, by_side
from cuelane.lint.line_signs import found, how_spoken, not_words, patterns
from cuelane.lint.never_said import never_said
from cuelane.lint.not_done import not_done
from cuelane.lint.pointing import WARN, has_judge, pointing
from cuelane.lint.spaces import Rooms
from cuelane.lint.spoken_lines import SpokenLine, plans_of, spoken_lines
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.phrases import did_you_mean
from cuelane.plan.warning_codes import WARNINGS
from cuelane.session.model import Session

# ACSM guidelines: 5 to 10 minutes of light to moderate movement first (value from a secondary source); that
# a session of up to 20 minutes may do without a block of its own is common practice, no source.
WARM_UP_FROM_MS = 20 * 60_000


@dataclass(frozen=True)
class LintWarning:
    """A warning about a plan's words, with its place; ``code`` is what ``allow`` silences it by.

    ``instead`` holds what could stand in the place of the line that it is about, after which it would be
    gone.
    """

    code: str
    mark: Mark
    message: str
    source_line: str = ""
    hint: str = ""
    instead: tuple[Instead, ...] = ()

    def __str__(self) -> str:
        text = f"{self.mark}: {self.message} [{self.code}]"
        if self.source_line:
            text += f"\n    {self.source_line}\n    {' ' * (self.mark.column - 1)}^"
        return text + (f"\n    {self.hint}" if self.hint else "")

    def to_dict(self) -> dict[str, Any]:
        """Return the warning as JSON can hold it."""
        return {
            "code": self.code,
            "file": self.mark.file,
            "line": self.mark.line,
            "column": self.mark.column,
            "message": self.message,
            "hint": self.hint,
        }


def lint(
    loaded: LoadedPlan,
    session: Session,
    seconds_of: Callable[[str], float],
    spoken_as: Callable[[str], str] | None = None,
) -> list[LintWarning]:
    """Return the warnings about the words of a plan and all it includes, in file order.

    `seconds_of` tells how long a text takes to say, `spoken_as` in which words an engine will be given it.
    """
    quiet, density = set(loaded.plan.allow), Density(session)
    language, rooms = session.plan.language, Rooms(session)
    warnings: list[LintWarning] = []
    for plan in plans_of(loaded):
        for line in spoken_lines(plan):
            allowed = quiet | set(line.allow)
            about = _about(line, language, rooms, seconds_of, spoken_as)
            for warning in (*about, *_density(line, density)):
                if warning.code not in allowed:
                    warnings.append(warning)
        warnings += _about_allow(plan)
    warnings += [row for row in _about_whole(loaded, session) if row.code not in quiet]
    for line, told in follows_down(loaded, session):
        if told.code not in quiet | set(line.allow):
            warnings.append(_warning(told.code, line, told.part, told.message, told.hint))
    order = {str(plan.path): place for place, plan in enumerate(plans_of(loaded))}
    return sorted(warnings, key=lambda row: (order.get(row.mark.file, 0), row.mark.line, row.mark.column))


def _about(
    line: SpokenLine,
    language: str,
    rooms: Rooms,
    seconds_of: Callable[[str], float],
    spoken_as: Callable[[str], str] | None,
) -> Iterator[LintWarning]:
    text = _filled(line.text, language)
    if line.role not in ("name", "title"):
        yield from _picture(line, language)
        yield from _side(line, language)
        for told in handbook(line, language):
            if told.code == "two-things" and line.is_recorded:
                # A recording is said in one go.
                continue
            yield _warning(told.code, line, told.part, told.message, told.hint, told.instead)
        yield from _length(line, text, rooms, seconds_of)
        if why := never_said(line, rooms):
            hint = "rounds counts the exercise's sets from 1, from_round the block's rounds"
            yield _warning("never-said", line, "", why, hint)
    if line.is_recorded:
        # However its words are written, it sounds as it is.
        return
    parts = not_words(re.sub(r"\{\w+\}", "", line.text))
    said = how_spoken(text, spoken_as)
    if parts or said == "nothing of it would be said":
        names = ", ".join(f"'{part}'" for part in parts) or f"'{line.text}'"
        hint = said or "how it is said is up to the voice; write it in words"
        verb = "is" if len(parts) < 2 else "are"
        first = parts[0] if parts else ""
        # Placeholders are filled in what is said, so a line with one cannot be written so.
        written = spoken_as(text) if spoken_as is not None and text == line.text and parts else ""
        clean = written and written != text and not not_words(written)
        instead = (Instead("as-said", (written,)),) if clean else ()
        yield _warning("not-words", line, first, f"{names} {verb} not written in words", hint, instead)


def _picture(line: SpokenLine, language: str) -> Iterator[LintWarning]:
    if not has_judge(language):
        return
    judge = pointing(language)
    if judge.score(line.text) <= WARN:
        return
    start, end = judge.deciding_span(line.text)
    words = line.text[start:end]
    message = f"this points at a picture ('{words}'), and a listener has none"
    yield _warning("screen-words", line, words, message, "say what to do in words alone")


def _filled(text: str, language: str) -> str:
    """Return a text with its placeholders filled with the longer of the two sides."""
    words = load_language(language)
    longest = max((words.side("left"), words.side("right")), key=len)
    return fill(text, {"side": longest, "other_side": longest})


def _side(line: SpokenLine, language: str) -> Iterator[LintWarning]:
    spec = line.spec
    if spec is None or spec.sides == "none" or getattr(line.source, "rounds", None) is not None:
        return
    how = "changes sides from set to set" if spec.sides == "alternate" else "is done on both sides in turn"
    for words in found(line.text, language, "side"):
        message = f"'{words}' names a side, but '{line.exercise}' {how}"
        hint = "write {side} or {other_side} instead"
        instead = tuple(by_side(line.text, words, language))
        yield _warning("side-by-hand", line, words, message, hint, instead)


def _length(
    line: SpokenLine, text: str, rooms: Rooms, seconds_of: Callable[[str], float]
) -> Iterator[LintWarning]:
    room = rooms.room_for(line)
    if room is None:
        return
    seconds = seconds_of(text)
    room_s = max(0, room.length_ms) / 1000
    if seconds <= room_s:
        return
    at_ms = getattr(line.source, "at", None)
    if room.length_ms <= 0 and at_ms is not None:
        message = f"this is to start at {format_duration(at_ms)}, when {room.where} has no time left for it"
        yield _warning("too-long", line, "", message, "let it start earlier")
        return
    n_words = len(text.split())
    too_many = min(n_words, max(1, -int(-n_words * (seconds - room_s) // seconds)))
    message = f"this takes about {seconds:.1f} s to say, but {room.where} has {room_s:.1f} s for it"
    words = "a word" if too_many == 1 else f"about {too_many} words"
    yield _warning("too-long", line, "", message, f"cut {words}, or give it more time")


def _density(line: SpokenLine, density: Density) -> Iterator[LintWarning]:
    for rate, too_many in density.too_dense(line):
        message = (
            f"the first set of '{line.exercise}' has to carry {rate} words a minute, more than the "
            f"{FOLLOWED_IN_A_SET} that can be followed while exercising"
        )
        words, them = ("a word", "it") if too_many < 2 else (f"about {too_many} words", "them")
        hint = f"cut {words} of its set-up, or say {them} in its preview"
        yield _warning("too-dense", line, "", message, hint)


def _warning(
    code: str, line: SpokenLine, part: str, message: str, hint: str, instead: tuple[Instead, ...] = ()
) -> LintWarning:
    mark = line.place_of(part)
    return LintWarning(code, mark, message, line.loaded.line_at(mark), hint, instead)


def _about_whole(loaded: LoadedPlan, session: Session) -> Iterator[LintWarning]:
    plan = loaded.plan
    start = plan.mark or Mark(str(loaded.path), 1, 1)
    warm = patterns(plan.language, "warm_up")
    names = {interval.block for interval in session.intervals} | {one.plan.title for one in plans_of(loaded)}
    if session.length_ms > WARM_UP_FROM_MS and not any(warm.search(name) for name in names):
        mark = plan.mark_of("session") or start
        length = format_duration(session.length_ms // 1000 * 1000)
        message = f"the session lasts {length}, and no block is named as a warm-up"
        hint = "5 to 10 minutes of light movement first are usual"
        yield LintWarning("no-warm-up", mark, message, loaded.line_at(mark), hint)
    yield from _about_its_end(loaded, session)
    for name, mark in not_done(loaded):
        message = f"no block does '{name}'"
        hint = "name it in a block, or take it out of 'exercises'"
        yield LintWarning("not-done", mark, message, loaded.line_at(mark), hint)
    if not has_judge(plan.language):
        mark = plan.mark_of("language") or start
        message = "what points at a picture is told in English only"
        hint = "read your lines for words that only make sense on a screen"
        yield LintWarning("not-judged", mark, message, loaded.line_at(mark), hint)
    if not session.cautions:
        mark = plan.mark_of("cautions") or start
        message = "the session speaks no cautions"
        hint = "write  cautions: standard  or your own; people can be hurt"
        yield LintWarning("no-cautions", mark, message, loaded.line_at(mark), hint)


def _about_its_end(loaded: LoadedPlan, session: Session) -> Iterator[LintWarning]:
    done = [row.block for row in session.intervals if row.exercise is not None or row.cycle is not None]
    cools = patterns(loaded.plan.language, "cool_down")
    # What is done slowly may follow a cool-down.
    gentle = patterns(loaded.plan.language, "gentle")
    last = next((block for block in reversed(done) if not gentle.search(block)), done[-1] if done else "")
    if session.length_ms > WARM_UP_FROM_MS and done and not cools.search(last):
        mark = loaded.plan.mark_of("session") or Mark(str(loaded.path), 1, 1)
        message = "the session does not end with a block named as a cool-down"
        hint = "5 to 10 minutes of light movement and stretching after are usual"
        yield LintWarning("no-cool-down", mark, message, loaded.line_at(mark), hint)


def _about_allow(loaded: LoadedPlan) -> Iterator[LintWarning]:
    """Yield each code in an `allow` that is no warning's, since its author meant to silence one."""
    places = [(loaded.plan.mark_of("allow"), loaded.plan.allow)]
    places += [
        (line.source.mark_of("allow"), line.source.allow) for line in spoken_lines(loaded) if line.source
    ]
    for mark, codes in places:
        for code in codes:
            if code not in WARNINGS:
                where = mark or Mark(str(loaded.path), 1, 1)
                hint = did_you_mean(code, WARNINGS) or f"there are: {', '.join(WARNINGS)}"
                message = f"allow: there is no warning '{code}'"
                yield LintWarning("unknown-warning", where, message, loaded.line_at(where), hint)
