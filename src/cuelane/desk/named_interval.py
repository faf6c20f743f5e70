"""What the desk calls an interval of a session, in the language of whoever looks."""

from __future__ import annotations

from dataclasses import dataclass

from cuelane.base.page_words import page_words
from cuelane.base.schedule import ScheduledInterval
from cuelane.base.units import SAMPLE_RATE, format_clock, format_duration, to_ms
from cuelane.deliver.page_text import interval_name
from cuelane.desk.words import desk_words


@dataclass(frozen=True)
class NamedInterval:
    """An interval whose name is worded when it is shown: exercise and side, round, kind, length and start."""

    interval: ScheduledInterval

    def __str__(self) -> str:
        words, row = page_words(desk_words().code), self.interval
        start_ms = to_ms(row.start_sample, SAMPLE_RATE)
        parts = [interval_name(row, words)]
        if row.round is not None:
            parts.append(words("place.round", n=str(row.round)))
        return desk_words()(
            "misfit.place",
            name=", ".join(parts),
            kind=words(f"kind_inside.{row.kind}"),
            length=format_duration(to_ms(row.end_sample, SAMPLE_RATE) - start_ms),
            clock=format_clock(start_ms),
        )
