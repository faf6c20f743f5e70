"""The score of a plan at the desk: drawn by the same code as on the page beside a track."""

from __future__ import annotations

from dataclasses import replace

from cuelane.base.page_words import page_words
from cuelane.base.schedule import Schedule
from cuelane.deliver.outline import letters, outline_of
from cuelane.deliver.page_score import staff_views
from cuelane.deliver.score import staves_of
from cuelane.desk.page_shell import render
from cuelane.desk.words import desk_words
from cuelane.web.page_parts import language_tag


def score_of(schedule: Schedule) -> str:
    """Return the staves of a session as HTML; where its parts stand is set by the page's script."""
    worded = replace(schedule, language=desk_words().code)
    outline = outline_of(worded)
    staves = staves_of(outline.sections, schedule.sample_rate, page_words(worded.language))
    return render(
        "score.html.j2",
        staves=staff_views(worded, staves, letters(schedule), None),
        starts_s=[row.start_sample / schedule.sample_rate for row in schedule.intervals],
        language=language_tag(schedule.language),
    )
