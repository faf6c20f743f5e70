"""The page beside a track: one self-contained HTML file that opens from disk and needs no network.

Player, score, cues and facts are in the markup, and the script only animates them: without it, or printed,
the page is still a complete session card. All times are the schedule's samples, since the length that a
player reports differs by encoder (for an Opus file of 20 s, 20.0065 s).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import PurePath
from urllib.parse import quote

from markupsafe import Markup, escape

from cuelane.base.page_words import PageWords, page_words
from cuelane.base.schedule import Schedule
from cuelane.base.units import format_clock, to_sample
from cuelane.deliver.outline import KINDS, Outline, letters, outline_of, renumbered
from cuelane.deliver.page_facts import Fact, fact_rows, texts, warning_lines
from cuelane.deliver.page_score import kinds_shown, overview_paths, staff_views
from cuelane.deliver.page_text import (
    ExerciseView,
    cue_views,
    exercise_views,
    interval_name,
    interval_place,
    tally_rows,
    voice_credit,
)
from cuelane.deliver.print_card import LOW_ROW, CardContent, card_scale
from cuelane.deliver.score import Staff, staves_of
from cuelane.deliver.waveform import full_height
from cuelane.media import Chapter
from cuelane.media.formats import media_type_of
from cuelane.web.page_parts import (
    axis_svg,
    data_url,
    document,
    environment,
    language_tag,
    plain,
    score_css,
    script_json,
)


@dataclass(frozen=True)
class FileLink:
    """A file that lies beside the page: its name alone, without a folder, and a word on what it is."""

    name: str
    note: str = ""


@dataclass(frozen=True)
class PageExtras:
    """What the page shows beside the schedule; all of it may be absent.

    ``vtt`` is a WebVTT text; ``about`` a sentence or two on the session; ``hearing`` safe-listening advice;
    ``embed`` the encoded audio, to be put inside the page.
    """

    files: Sequence[FileLink] = ()
    vtt: str | None = None
    chapters: Sequence[Chapter] = ()
    about: str | None = None
    hearing: str = ""
    embed: bytes | None = None


@cache
def _asset(name: str) -> str:
    return (resources.files("cuelane") / "deliver" / "assets" / name).read_text(encoding="utf-8")


def file_href(name: str) -> str:
    """Return a relative link to a file beside the page; no name can lead to another folder or host."""
    # An undecodable byte of a file name comes as a lone surrogate (PEP 383) and goes back as that byte.
    try:
        return "./" + quote(PurePath(name).name, safe="", errors="surrogateescape")
    except UnicodeEncodeError:
        return "./" + quote(plain(PurePath(name).name), safe="")


def _script_data(schedule: Schedule, outline: Outline) -> dict[str, object]:
    """Return what the script needs: positions in samples, and each distinct name once."""
    kinds, words = list(KINDS), page_words(schedule.language)
    names: dict[str, int] = {}

    def numbered(text: str) -> int:
        return names.setdefault(text, len(names))

    rows = []
    for row in schedule.intervals:
        place = numbered(interval_place(schedule, row, outline))
        title = numbered(interval_name(row, words))
        rows.append(
            [
                row.start_sample,
                row.end_sample,
                kinds.index(row.kind),
                title,
                place,
                row.settle_samples,
            ]
        )
    return {
        "title": plain(schedule.title),
        "rate": schedule.sample_rate,
        "frames": schedule.n_frames,
        "kinds": kinds,
        "words": [words(f"kind.{kind}") for kind in KINDS],
        "language": words.code,
        "say": words.section("playing"),
        "intervals": rows,
        "cues": [[cue.onset_sample, cue.end_sample] for cue in schedule.cues],
        "pips": [[pip.onset_sample, int(pip.role == "long")] for pip in schedule.pips],
        "names": list(names),
    }


def write_page(
    schedule: Schedule,
    *,
    audio_name: str,
    envelope: Sequence[tuple[float, float]] | None = None,
    extras: PageExtras | None = None,
) -> str:
    """Return the whole page as HTML text.

    Parameters
    ----------
    audio_name : the track's file name; the page finds it in its own folder, unless ``extras.embed`` holds it.
    envelope : (lowest, highest) sample per stretch of the track, as :func:`envelope_of` gives it.
    """
    extras = extras or PageExtras()
    schedule = renumbered(schedule)
    outline, words = outline_of(schedule), page_words(schedule.language)
    staves = staves_of(outline.sections, schedule.sample_rate, words)
    exercises = exercise_views(schedule, outline)
    facts = fact_rows(schedule, outline)
    about = plain(extras.about or schedule.extra.get("description") or "")
    point, row_height = _card_scale(schedule, staves, exercises, facts, about)
    parts = {
        **_head(schedule, outline, about),
        **_sound(audio_name, extras),
        **_score(schedule, outline, staves, full_height(envelope) if envelope else None),
        **_beside(schedule, extras),
        "low": row_height < LOW_ROW,
        **_words(words, audio_name),
        "cues": cue_views(schedule),
        "exercises": exercises,
        "needs_any": any(row.needs for row in exercises),
        "facts": facts,
        "data": script_json(_script_data(schedule, outline)),
    }
    title = plain(schedule.title)
    card_size = f":root{{--card-pt:{point}pt;--row:{row_height}rem}}"
    return document(
        language=words.code,
        title=title or words("score.session"),
        body=environment().from_string(_asset("page.html.j2")).render(parts),
        css=score_css() + _asset("page.css") + _asset("print.css") + card_size,
        script=_asset("page.js"),
        description=plain(
            extras.about or words("page.about", title=title, length=format_clock(outline.length_ms))
        ),
    )


def _words(words: PageWords, audio_name: str) -> dict[str, object]:
    """Return the words of the page's own parts, as the template uses them."""
    texts: dict[str, object] = dict(words.section("page"))
    for key in ("previous", "following"):
        texts[key] = _with_wide(words(f"page.{key}"))
    file = Markup("<b>{}</b>").format(plain(audio_name))
    texts["trouble"] = escape(words("page.trouble")).replace("{file}", file)
    return {"w": texts, "words_language": words.code, "keys": words.section("keyboard")["keys"]}


def _with_wide(text: str) -> Markup:
    """Return a label in which what stands in square brackets is shown only where there is room for it."""
    before, _, rest = text.partition("[")
    inside, _, after = rest.partition("]")
    wide = Markup('<span class="wide">{}</span>').format(inside) if inside else Markup()
    return escape(before) + wide + escape(after)


def _card_scale(
    schedule: Schedule,
    staves: Sequence[Staff],
    exercises: Sequence[ExerciseView],
    facts: Sequence[Fact],
    about: str,
) -> tuple[float, float]:
    """Return the type size in points and the height of a row at which the printed card fits its page."""
    on_card = [staff for staff in staves if not staff.words_only] or staves
    return card_scale(
        CardContent(
            title=plain(schedule.title),
            about=about,
            n_rows=sum(len(staff.rows) for staff in on_card),
            n_staves=len(on_card),
            exercises=[f"{row.name} {row.sides} {' '.join(row.needs)}" for row in exercises],
            facts=[fact.value for fact in facts if fact.on_card],
            cautions=texts(schedule.extra, "cautions"),
        )
    )


def _head(schedule: Schedule, outline: Outline, about: str) -> dict[str, object]:
    words = page_words(schedule.language)
    by = (plain(schedule.extra[key]) for key in ("author", "date") if schedule.extra.get(key))
    return {
        "title": plain(schedule.title) or words("score.session"),
        "language": language_tag(schedule.language),
        "byline": " · ".join(by),
        "about": about,
        "tally": tally_rows(outline, words),
        "of_length": words("page.of_length", length=format_clock(outline.length_ms)),
        "length_s": schedule.n_frames // schedule.sample_rate,
    }


def _sound(audio_name: str, extras: PageExtras) -> dict[str, object]:
    source = file_href(audio_name)
    if extras.embed is not None:
        source = data_url(media_type_of(audio_name), extras.embed)
    captions = data_url("text/vtt", extras.vtt.encode("utf-8", "replace")) if extras.vtt else ""
    return {"audio_name": plain(audio_name), "audio_src": source, "vtt_src": captions}


def _score(
    schedule: Schedule,
    outline: Outline,
    staves: Sequence[Staff],
    envelope: Sequence[tuple[float, float]] | None,
) -> dict[str, object]:
    return {
        "axis": axis_svg(schedule.n_frames / schedule.sample_rate, most=8),
        "overview": overview_paths(schedule, outline, envelope),
        "legend": kinds_shown(schedule),
        "has_pips": bool(schedule.pips),
        "staves": staff_views(schedule, staves, letters(schedule), envelope),
    }


def _beside(schedule: Schedule, extras: PageExtras) -> dict[str, object]:
    """Return what stands under the score: chapters, warnings, cautions, files and credits."""
    chapters = [
        {
            "sample": to_sample(chapter.start_ms, schedule.sample_rate),
            "clock": format_clock(chapter.start_ms),
            "title": plain(chapter.title),
        }
        for chapter in extras.chapters
    ]
    files = [
        {"href": file_href(file.name), "name": plain(file.name), "note": plain(file.note)}
        for file in extras.files
    ]
    return {
        "chapters": chapters,
        "files": files,
        "warnings": warning_lines(schedule),
        "cautions": texts(schedule.extra, "cautions"),
        "hearing": plain(extras.hearing),
        "credits": [text for text in (voice_credit(schedule),) if text],
    }
