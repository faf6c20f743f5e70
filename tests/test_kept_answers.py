"""What is kept or copied in short ways while a session is arranged: as the long ways would give it."""

from __future__ import annotations

import dataclasses
from functools import cached_property

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words

from cuelane.audio import pip_specs
from cuelane.base.altered import altered
from cuelane.base.language import available_languages, load_language
from cuelane.base.schedule import Event
from cuelane.session import arrange
from cuelane.session.model import Interval
from cuelane.session.placing import Offer, Space, musts_fit

OFFERS = st.lists(
    st.builds(
        Offer,
        length=st.integers(1, 40),
        earliest=st.integers(0, 60),
        latest_end=st.none() | st.integers(1, 100),
        must=st.just(True),
        group=st.none() | st.sampled_from("ab"),
    ),
    max_size=5,
)
SPACES = st.builds(
    Space,
    begin=st.integers(0, 20),
    end=st.integers(0, 100),
    gap=st.integers(0, 5),
    talk_limit=st.integers(0, 100),
    open_needed=st.sampled_from([0, 20]),
    open_end=st.integers(50, 100),
)


@given(st.text(max_size=3), st.integers(0, 9), st.none() | st.integers(0, 9))
def test_an_altered_record_is_what_replace_makes(block: str, index: int, half: int | None) -> None:
    """Equal, of the same hash, frozen; and the record it was made of stays as it was."""
    before = Interval(0, "A", 0, "circuit", "work", 0, 40_000)
    made = altered(before, block=block, index=index, half=half)
    assert made == dataclasses.replace(before, block=block, index=index, half=half)
    assert hash(made) == hash(dataclasses.replace(before, block=block, index=index, half=half))
    assert before == Interval(0, "A", 0, "circuit", "work", 0, 40_000)
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.index = 3  # type: ignore[misc]


def test_a_field_that_is_not_there_is_refused() -> None:
    """As `dataclasses.replace` does, and so does every field of what a session copies by the thousand."""
    with pytest.raises(TypeError, match="Interval has no blok"):
        altered(Interval(0, "A", 0, "circuit", "work", 0, 1), blok="B")


@pytest.mark.parametrize("kind", [Interval, Event, Offer, arrange.Attempt])
def test_no_such_record_works_anything_out_when_it_is_made(kind: type) -> None:
    """Neither slots, nor a __post_init__, nor a property that keeps its answer: a copy would be wrong."""
    assert not hasattr(kind, "__slots__")
    assert not hasattr(kind, "__post_init__")
    assert not any(isinstance(value, cached_property) for value in vars(kind).values())


@given(OFFERS, SPACES)
def test_whether_musts_fit_is_kept_as_it_is_found(offers: list[Offer], space: Space) -> None:
    """Asked once or twice, it is what a fresh search says."""
    fresh = musts_fit(offers, space)
    assert [arrange._fit(tuple(offers), space) for _ in range(2)] == [fresh, fresh]


def test_numbers_are_said_as_they_would_be_anew() -> None:
    """In every language that ships."""
    for code in available_languages():
        words = load_language(code)
        for value in range(100):
            assert (
                words.number(value)
                == words.number(value)
                == str(num2words(value, lang=code.replace("-", "_")))
            )


def test_a_pip_is_the_same_each_time_it_is_asked_for() -> None:
    """And as it would be if it had never been asked for."""
    for rate in (8_000, 44_100, 48_000):
        for role in ("short", "long", "turn", "phase"):
            fresh = pip_specs._spec.__wrapped__(role, 81, 120, rate)
            assert pip_specs._spec(role, 81, 120, rate) == pip_specs._spec(role, 81, 120, rate) == fresh


def test_what_is_kept_is_bounded() -> None:
    """However long the desk is open."""
    for kept in (arrange._fit, pip_specs._spec):
        assert (kept.cache_info().maxsize or 0) <= 4_096
