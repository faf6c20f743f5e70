"""A script to read aloud: every distinct line of a session, in speaking order, with the time it may take.

Lines are found again by silence and order. They are read in order with two seconds of quiet between them, and
after a slip come two seconds of quiet and the whole line again. Reading each line's number aloud was tried
too; it made a reading half as long again and placed no more lines.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from cuelane.base.page_words import PageWords, page_words
from cuelane.base.schedule import Schedule
from cuelane.base.units import to_seconds
from cuelane.base.unsafe_text import on_one_line

if TYPE_CHECKING:
    from cuelane.session.arrange import Arranged

QUIET_S = 2


@dataclass(frozen=True)
class Line:
    """One line as it is spoken somewhere: its role, and the seconds there are for it there."""

    text: str
    role: str
    room_s: float


@dataclass(frozen=True)
class ReadingLine:
    """A distinct line: its number in the whole script, its uses, and the shortest room among them."""

    number: int
    text: str
    roles: tuple[str, ...]
    n_uses: int
    room_s: float
    usual_s: float
    """About how long it takes at the pace of the plan's own voice."""


def lines_of(schedule: Schedule) -> list[Line]:
    """Return the lines of a schedule in speaking order; room reaches to the next cue, pip or boundary."""
    rate = schedule.sample_rate
    found = []
    for index, event in enumerate(schedule.events):
        if event.kind != "cue" or not event.text:
            continue
        limit = schedule.intervals[event.interval].end_sample if schedule.intervals else schedule.n_frames
        following = schedule.events[index + 1 : index + 2]
        room = min([limit, *(other.onset_sample for other in following)]) - event.onset_sample
        found.append(Line(event.text, event.role, to_seconds(max(room, 0), rate)))
    # A line may also be offered elsewhere and dropped for want of room; read it too.
    found += [Line(dropped.text, dropped.role, 0.0) for dropped in schedule.dropped if dropped.text]
    return found


def reading_script(
    schedule_or_lines: Schedule | Sequence[Line], covered: set[str] | frozenset[str] = frozenset()
) -> list[ReadingLine]:
    """Return the distinct lines to read, each with its number among all distinct lines.

    Parameters
    ----------
    covered : texts that a recording already holds; they are left out, and numbers do not change.
    """
    lines = (
        lines_of(schedule_or_lines) if isinstance(schedule_or_lines, Schedule) else list(schedule_or_lines)
    )
    by_text: dict[str, list[Line]] = {}
    for line in lines:
        by_text.setdefault(line.text, []).append(line)
    out = []
    for number, (text, uses) in enumerate(by_text.items(), 1):
        if text in covered:
            continue
        rooms = [use.room_s for use in uses if use.room_s > 0]
        out.append(
            ReadingLine(
                number,
                text,
                tuple(dict.fromkeys(use.role for use in uses)),
                len(uses),
                round(min(rooms, default=0.0), 1),
                round(0.35 + 0.065 * len(text), 1),
            )
        )
    return out


def plan_lines(plan: Path, voice: str | None = None) -> list[ReadingLine]:
    """Return every distinct line of a plan, covered or not, with lengths estimated, not spoken."""
    from cuelane.render.run import prepare

    return offered_lines(prepare(plan, voice=voice, speak=False).voiced.arranged)


def offered_lines(arranged: Arranged) -> list[ReadingLine]:
    """Return every distinct line that a session was offered and that is no recording of its own already."""
    room: dict[tuple[str, str], list[Line]] = {}
    for line in lines_of(arranged.schedule):
        room.setdefault((line.text, line.role), []).append(line)
    lines: list[Line] = []
    seen: set[tuple[str, str]] = set()
    # All that was offered, placed or not: with another voice's lengths other lines would be chosen.
    for candidate in arranged.offered:
        key = (candidate.text, candidate.role)
        if candidate.clip is None and key not in seen:
            seen.add(key)
            lines += room.get(key, [Line(*key, 0.0)])
    return reading_script(lines)


def covered_texts(plan_folder: Path, name: str | None, texts: Sequence[str]) -> set[str]:
    """Return those of `texts` that the recorded voice `name` beside the plan already holds."""
    from cuelane.speech.definition import Recordings
    from cuelane.speech.engines import engine_of, load_voice
    from cuelane.speech.voices import find_voice
    from cuelane.takes.voice_folder import INDEX, voice_folder

    if name is None or not (voice_folder(plan_folder, name) / INDEX).exists():
        return set()
    definition = find_voice(name, plan_folder)
    if engine_of(definition).synthetic:
        return set()
    recorded = load_voice(definition)
    assert isinstance(recorded, Recordings)
    return {text for text in texts if not isinstance(recorded.find(text), str)}


def instructions(language: str) -> list[str]:
    """Return how the lines are to be recorded, in `language`."""
    return page_words(language).lines("script.instructions", quiet=str(QUIET_S))


def as_text(title: str, lines: Sequence[ReadingLine], language: str = "en") -> str:
    """Return the script as plain text."""
    parts = [on_one_line(title), "", *instructions(language), ""]
    for line in lines:
        parts += [f"{line.number:3d}  {on_one_line(line.text)}", f"     {_use(line, language)}", ""]
    return "\n".join(parts)


def as_json(title: str, lines: Sequence[ReadingLine], language: str = "en") -> str:
    """Return the script as JSON text."""
    value = {
        "schema": "cuelane.script/1",
        "title": title,
        "instructions": instructions(language),
        "lines": [asdict(line) for line in lines],
    }
    return json.dumps(value, ensure_ascii=False, indent=1) + "\n"


def as_html(title: str, lines: Sequence[ReadingLine], language: str = "en") -> str:
    """Return the script as one printable page: large type, a box to tick, no line broken over two pages."""
    import jinja2

    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    environment.filters["plain"] = on_one_line
    words = page_words(language)
    rows = [(line, _use(line, language)) for line in lines]
    return environment.from_string(_PAGE).render(
        title=title,
        heading=words("script.title", title=on_one_line(title)),
        rows=rows,
        instructions=instructions(language),
        language=words.code,
    )


def _use(line: ReadingLine, language: str) -> str:
    words = page_words(language)
    roles = ", ".join(words.find("role_inside", role) or role for role in line.roles)
    use = words("script.use", count=line.n_uses, roles=roles, n=str(line.n_uses))
    if not line.room_s:
        return use
    key = "script.short" if line.room_s < line.usual_s * 1.3 else "script.room"
    return words(key, use=use, room=_seconds(line.room_s, words), usual=_seconds(line.usual_s, words))


def _seconds(value: float, words: PageWords) -> str:
    return words.decimal(value, 0 if value == int(value) else 1)


_PAGE = """\
<!DOCTYPE html>
<html lang="{{ language }}"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{ heading | plain }}</title>
<style>
 body { font: 20px/1.4 Georgia, serif; max-width: 42em; margin: 1em auto; padding: 0 1em }
 body { color: #111; background: #fff }
 ol { padding: 0; list-style: none } .how { font-size: 16px; list-style: disc; padding-left: 1.2em }
 .line { break-inside: avoid; border-top: 1px solid #bbb; padding: .5em 0 .5em 3.4em; position: relative }
 .number { position: absolute; left: 0; font: bold 16px/1.75 sans-serif }
 .box { position: absolute; left: 2em; top: .85em; width: .8em; height: .8em; border: 2px solid #555 }
 .use { font: 14px/1.4 sans-serif; color: #555; margin: 0 } .text { margin: 0 }
 @media print { body { margin: 0; max-width: none; font-size: 15pt } }
</style></head><body>
<h1>{{ title | plain }}</h1>
<ul class="how">{% for step in instructions %}<li>{{ step }}</li>{% endfor %}</ul>
<ol>
{% for line, use in rows %}<li class="line">
<span class="number">{{ line.number }}</span><span class="box"></span>
<p class="text">{{ line.text | plain }}</p><p class="use">{{ use | plain }}</p></li>
{% endfor %}</ol>
</body></html>
"""
