"""The session as a score sheet, the counts taken from a schedule, and a track's envelope."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pagesession
from cuelane.base.errors import SignalError
from cuelane.base.page_words import page_words
from cuelane.base.schedule import Schedule, ScheduledInterval
from cuelane.deliver.outline import KINDS, letter, outline_of
from cuelane.deliver.print_card import CardContent, card_scale
from cuelane.deliver.score import staves_of
from cuelane.deliver.waveform import envelope_of, full_height


@given(
    length=st.integers(1, 4000),
    n_points=st.integers(1, 300),
    cuts=st.lists(st.integers(1, 500), max_size=12),
    stereo=st.booleans(),
)
@settings(derandomize=True, deadline=None, max_examples=80)
def test_the_envelope_is_each_stretchs_own_extremes(
    length: int, n_points: int, cuts: list[int], stereo: bool
) -> None:
    """However a stream is cut into blocks, each point is the lowest and highest sample of its stretch."""
    samples = np.random.default_rng(length).uniform(-1, 1, (length, 2) if stereo else length)
    bounds = np.minimum(np.cumsum([0, *cuts, length]), length)
    blocks = [samples[a:b] for a, b in pairwise(bounds)]

    found = envelope_of(blocks, length, n_points)

    points = min(n_points, length)
    assert len(found) == points
    for n, (low, high) in enumerate(found):
        stretch = samples[n * length // points : (n + 1) * length // points]
        assert (low, high) == (stretch.min(), stretch.max())


def test_the_envelope_copes_with_short_and_long_streams() -> None:
    """A stream that ends early leaves silence; what comes after the end is left out; nonsense is refused."""
    early = envelope_of([np.full(50, 0.5)], 100, 10)
    late = envelope_of([np.full(100, 0.5), np.full(100, -1.0)], 100, 10)

    assert early == [(0.5, 0.5)] * 5 + [(0.0, 0.0)] * 5
    assert late == [(0.5, 0.5)] * 10
    with pytest.raises(SignalError, match="at least 1"):
        envelope_of([], 0)
    with pytest.raises(SignalError, match="n_channels"):
        envelope_of([np.zeros((2, 2, 2))], 10)


def test_a_picture_uses_its_full_height() -> None:
    """The largest value comes to 1.0 and all keep their proportion; silence stays silence."""
    assert full_height([(-0.25, 0.1), (0.0, 0.0)]) == [(-1.0, 0.4), (0.0, 0.0)]
    assert full_height([(0.0, 0.0)]) == [(0.0, 0.0)]
    assert full_height([]) == []


@st.composite
def schedules(draw: st.DrawFn) -> Schedule:
    """Return sessions of random blocks, rounds, kinds and lengths."""
    rows: list[ScheduledInterval] = []
    now = 0
    for block in range(draw(st.integers(1, 4))):
        numbered = draw(st.booleans())
        for number in range(1, draw(st.integers(1, 6)) + 1):
            for _ in range(draw(st.sampled_from([1, 2, 3, 5, 8, 40]))):
                length = draw(st.sampled_from([1, 40, 250, 400, 900, 20_000]))
                kind = draw(st.sampled_from(list(KINDS)))
                end = now + length
                rows.append(
                    ScheduledInterval(
                        len(rows),
                        f"b{block}",
                        kind,
                        number if numbered else None,
                        "x",
                        None,
                        now,
                        now + length,
                    )
                )
                now = end
    return Schedule("t", "en", 10, now, tuple(rows), ())


@given(schedules())
@settings(derandomize=True, deadline=None, max_examples=80)
def test_the_score_shows_all_time_once(schedule: Schedule) -> None:
    """The pieces tile the session from its first sample to its last; no row is wider than its staff."""
    staves = staves_of(outline_of(schedule).sections, schedule.sample_rate, page_words())
    at = 0
    for staff in staves:
        for row in staff.rows:
            assert row.start_sample == row.pieces[0].start_sample
            assert row.end_sample == row.pieces[-1].end_sample
            assert row.end_sample - row.start_sample <= staff.span_samples
            for piece in row.pieces:
                assert piece.start_sample == at
                assert piece.end_sample > at
                assert piece.tied == (piece.start_sample > piece.interval.start_sample)
                assert piece.end_sample <= piece.interval.end_sample
                at = piece.end_sample
    assert at == schedule.n_frames


def test_a_build_up_is_a_staircase() -> None:
    """Rounds of a build-up are rows that share a start and grow by one exercise."""
    staves = staves_of(outline_of(pagesession.boathouse()).sections, pagesession.RATE, page_words())
    legs = next(staff for staff in staves if staff.section.title == "Legs")
    breaths = next(staff for staff in staves if staff.section.title == "Breathing")

    assert [row.label for row in legs.rows] == ["Round 1", "Round 2", "Round 3", "Round 4"]
    assert [sum(p.interval.kind == "work" for p in row.pieces) for row in legs.rows] == [1, 2, 3, 4]
    assert [row.label for row in breaths.rows] == ["Breaths 1–4", "Breaths 5–6"]


def rows_of(*parts: tuple[int | None, int]) -> list[list[int]]:
    """Return the intervals of each row of one block, given as (round, length in seconds) of its intervals."""
    intervals, now = [], 0
    for index, (number, length_s) in enumerate(parts):
        end = now + length_s * 10
        intervals.append(ScheduledInterval(index, "b", "work", number, "x", None, now, end))
        now = end
    (staff,) = staves_of(
        outline_of(Schedule("t", "en", 10, now, tuple(intervals), ())).sections, 10, page_words()
    )
    return [[piece.interval.index for piece in row.pieces] for row in staff.rows]


def test_an_interval_without_a_round_stays_in_the_row_of_the_round_before_it() -> None:
    """Such as a rest after a round; one before the first round has a row of its own."""
    assert rows_of((1, 90), (None, 30), (2, 30), (None, 200)) == [[0, 1], [2, 3]]
    assert rows_of((None, 30), (1, 90), (2, 90)) == [[0], [1], [2]]


@pytest.mark.parametrize(
    ("rounds", "n_rows"),
    [
        # The shortest is 4/5 of the longest, and just under it.
        ([[50], [40], [50], [50]], 1),
        ([[50], [39], [50], [50]], 4),
        # The last may be shorter.
        ([[50], [50], [50], [10]], 1),
        # Four intervals a round stand beside each other, five do not.
        ([[5] * 4] * 4, 1),
        ([[5] * 5] * 4, 4),
        # One round alone has no other to stand beside.
        ([[50]], 1),
    ],
)
def test_short_rounds_stand_beside_each_other_where_they_are_alike(
    rounds: list[list[int]], n_rows: int
) -> None:
    """Of at most four intervals each, and no round but the last under 4/5 of the longest."""
    parts = [(number, length) for number, row in enumerate(rounds, 1) for length in row]
    assert len(rows_of(*parts)) == n_rows


def test_totals_are_those_of_the_table() -> None:
    """Literals, added by hand: 4 x 30 s and 10 x 40 s of work, 5 s of settling in in ten of them."""
    outline = outline_of(pagesession.boathouse())

    assert outline.length_ms == 752_000
    assert outline.work_ms == 520_000
    assert outline.effective_ms == 470_000
    assert outline.rest_ms == 75_000
    assert outline.change_ms == 30_000
    assert outline.sets == 14
    assert outline.breaths == 6
    # The opening's two cues are a whole second apart, so its 6 s and 9 s of talk are two stretches.
    assert outline.longest_talk_ms == 9_000
    assert outline.longest_talk_at_ms == 7_500
    assert [row.letter for row in outline.exercises] == list("ABCDEFGH")


def test_letters_go_on_after_z() -> None:
    """A to Z, then AA, AB and so on."""
    assert [letter(n) for n in (0, 25, 26, 27, 51, 52, 701, 702)] == [
        "A", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA"
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("time_ms", "words"),
    [(0, "0 s"), (2_500, "2.5 s"), (9_990, "10.0 s"), (40_000, "40 s"), (60_000, "1 min"),
     (150_000, "2 min 30 s"), (3_600_000, "1 h"), (3_900_499, "1 h 5 min"), (59_600, "1 min")],
)  # fmt: skip
def test_times_in_words(time_ms: int, words: str) -> None:
    """Times read as people say them."""
    assert page_words().time(time_ms) == words


def test_the_card_is_set_smaller_the_more_it_holds() -> None:
    """More rows never make larger type, and the sizes stay between the limits."""
    sizes = [
        card_scale(
            CardContent(
                title="A title", about="", n_rows=n, n_staves=max(1, n // 8), exercises=["squat"] * 6,
                facts=["one"] * 6, cautions=["A caution of some length, as they are."] * 4,
            )
        )
        for n in range(1, 80, 3)
    ]  # fmt: skip
    points = [point for point, _ in sizes]

    assert points == sorted(points, reverse=True)
    # Twelve points like a book's text, six like a medicine's leaflet (common practice, no source).
    assert points[0] == 12.0
    assert points[-1] == 6.0
