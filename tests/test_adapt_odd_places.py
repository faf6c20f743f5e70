"""What is heard within an interval of a class is no boundary, however sure it is; what is one stays."""

from __future__ import annotations

import numpy as np
import pytest

from cuelane.adapt.analysis import Analysis
from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.completing import completed
from cuelane.adapt.beeps.odd_places import odd_places
from cuelane.adapt.length_doubts import about_lengths

STEADY = np.cumsum([12.3, *[45.0, 15.0] * 5])
PYRAMID = np.cumsum([9.4, 20, 20, 25, 20, 30, 20, 35, 20, 20, 20, 25])
OWN = np.cumsum([8.2, 33, 41, 49, 41, 13, 17, 40, 42, 31])
FASTER = 0.957 * STEADY


def heard(times_s: np.ndarray, *others_s: float) -> tuple[np.ndarray, list[int]]:
    """Return times in order with others among them, and which of them are the others."""
    together = np.sort(np.concatenate([times_s, others_s]))
    return together, np.searchsorted(together, others_s).tolist()


@pytest.mark.parametrize(
    ("times_s", "others_s"),
    [
        (STEADY, [STEADY[2] + 14.4]),
        (FASTER, [FASTER[2] + 17.4]),
        (PYRAMID, [PYRAMID[4] + 13.94]),
        (OWN, [OWN[0] + 9.2]),
        (OWN, [OWN[1] + 9.07, OWN[1] + 20.37]),
        (STEADY, [STEADY[0] + 21.4, STEADY[6] + 30.6]),
    ],
)
def test_what_splits_a_timer_s_interval_is_odd(times_s, others_s):
    """Onsets are told to some hundredths of a second."""
    together, others = heard(times_s + np.random.default_rng(3).normal(0, 0.005, len(times_s)), *others_s)

    assert odd_places(together) == others


@pytest.mark.parametrize(
    "times_s",
    [
        STEADY,
        FASTER,
        PYRAMID,
        OWN,
        # One boundary was not heard.
        np.delete(STEADY, 4),
        np.delete(PYRAMID, 4),
        # Cut within a work, and within the work and the rest beside one boundary.
        np.concatenate([STEADY[:5], STEADY[5:] - 7.3]),
        np.concatenate([STEADY[:5], STEADY[5:6] - 7.33, STEADY[6:] - 11.9]),
        # Sets until it is enough, and pauses: no timer.
        np.cumsum(np.random.default_rng(4).uniform(8, 50, 14)),
    ],
)
def test_boundaries_of_a_class_are_not_odd(times_s):
    assert odd_places(times_s) == []


def test_one_length_that_comes_again_by_chance_is_no_reason():
    """And of few intervals nothing is said."""
    few, _ = heard(STEADY[:5], STEADY[2] + 14.4)
    # The two beside the seventh are together as long as one other, in a class of lengths of its own.
    once = np.cumsum([5.0, 43.55, 33.13, 32.18, 32.19, 32.18, 16.1, 13.26, 29.35, 43.54])

    assert odd_places(few) == []
    assert odd_places(once) == []


def test_a_word_said_within_a_work_is_left_out_and_told():
    together, (index,) = heard(STEADY, STEADY[2] + 14.4)
    clear = [Boundary(float(at_s), 0.95) for at_s in together]

    made = completed(clear, [])

    assert [boundary.at_s for boundary in made.boundaries] == pytest.approx(STEADY)
    assert made.astray_s == (together[index],)


@pytest.mark.parametrize(
    ("lengths_s", "said"),
    [((45.0, 15.0), "by 45.0 s and 15.0 s in turn no boundary is"), (None, "by the lengths around")],
)
def test_the_report_says_what_was_left_out(lengths_s, said):
    """Also of a class whose sets have lengths of their own."""
    analysis = Analysis(
        300.0, None, 0.9, "", 5, 0, 0, (), (), (), (), lengths_s=lengths_s, astray_s=(86.7,), tells_apart=True
    )  # fmt: skip

    assert any(row.startswith("The sound is at 1:26") and said in row for row in about_lengths(analysis))


def test_lengths_that_a_person_named_are_kept_to():
    """They tell by themselves what is none of theirs."""
    together, _ = heard(OWN, OWN[0] + 9.2)
    clear = [Boundary(float(at_s), 0.95) for at_s in together]

    assert completed(clear, []).astray_s == (together[1],)
