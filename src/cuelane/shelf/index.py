"""The index of a series: one page that opens from disk, asks for nothing, and filters by itself."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib import resources
from urllib.parse import quote

from cuelane.base.page_words import PageWords, page_words
from cuelane.base.units import format_clock
from cuelane.deliver.outline import outline_of
from cuelane.deliver.page_score import overview_paths
from cuelane.media.formats import format_of
from cuelane.plan.series import Series
from cuelane.shelf.feed import FEED_NAME, Place, page_of
from cuelane.shelf.sessions import SessionSound, ShelfSession, titles_apart
from cuelane.web.page_parts import document, environment, language_tag, plain

STEPS_MIN = (10, 15, 20, 30, 45, 60, 90)
"""Chosen: lengths that people look for."""


@cache
def _asset(name: str) -> str:
    return (resources.files("cuelane") / "shelf" / "assets" / name).read_text(encoding="utf-8")


def index_html(series: Series, sessions: Sequence[ShelfSession], place: Place | None) -> str:
    """Return the page; with `place`, it says where the feed is."""
    words = page_words(series.language)
    titles = titles_apart(sessions)
    rows = [_row(session, title, words) for session, title in zip(sessions, titles, strict=True)]
    longest = max(session.length_ms for session in sessions)
    shortest = min(session.length_ms for session in sessions)
    steps = [step for step in STEPS_MIN if shortest <= step * 60_000 < longest]
    needs = sorted({plain(item) for session in sessions for item in session.equipment})
    works = sorted({plain(item) for session in sessions for item in session.regions})
    body = (
        environment()
        .from_string(_asset("index.html.j2"))
        .render(
            w=words.section("shelf"),
            say=words,
            title=plain(series.title),
            byline=plain(series.author or ""),
            about=plain(series.description or ""),
            language=language_tag(series.language),
            rows=rows,
            steps=steps,
            cautions=_cautions(sessions),
            feed=place.of(FEED_NAME) if place is not None else "",
            needs=needs,
            works=works,
        )
    )
    return document(
        title=plain(series.title),
        body=body,
        css=_asset("index.css"),
        script=_asset("index.js"),
        description=plain(series.description or series.title),
        language=words.code,
    )


def _cautions(sessions: Sequence[ShelfSession]) -> dict[str, list[str]]:
    """Return what is cautioned, each line once, by the language that it is said in."""
    found: dict[str, dict[str, None]] = {}
    for session in sessions:
        lines = found.setdefault(language_tag(session.schedule.language), {})
        lines |= dict.fromkeys(plain(line) for line in session.cautions)
    return {language: list(lines) for language, lines in found.items() if lines}


def _row(session: ShelfSession, title: str, words: PageWords) -> dict[str, object]:
    schedule = session.schedule
    return {
        "title": title,
        "language": language_tag(schedule.language),
        "cover": overview_paths(schedule, outline_of(schedule), None),
        "length": format_clock(session.length_ms),
        "length_ms": session.length_ms,
        "about": plain(session.description),
        "needs": [plain(item) for item in session.equipment],
        "works": [plain(item) for item in session.regions],
        "page": _href(page_of(session)) if ".html" in session.parts else "",
        "files": [_file(sound, words) for sound in (session.sound, *session.others)],
    }


def _file(sound: SessionSound, words: PageWords) -> dict[str, str]:
    n_bytes = sound.n_bytes
    size = f"{words.decimal(n_bytes / 1e6, 1)} MB" if n_bytes >= 1e5 else f"{max(1, round(n_bytes / 1e3))} kB"
    return {"href": _href(sound.href), "format": format_of(sound.path).suffix[1:], "size": size}


def _href(name: str) -> str:
    return "./" + quote(name, safe="/")
