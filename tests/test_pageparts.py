"""The parts that every page shares: safe text, the shell, the axis, and the palette's contrast."""

from __future__ import annotations

import json
import re
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuelane.web import page_parts as pageparts


@given(st.text())
@settings(derandomize=True, deadline=None, max_examples=200)
def test_any_text_survives_script_json_and_cannot_end_the_script(text: str) -> None:
    """What a script reads back is the very text, and no text holds a character that HTML acts on."""
    written = str(pageparts.script_json({"t": text}))

    assert json.loads(written) == {"t": text}
    assert not re.search("[<>&'\u2028\u2029]", written)
    assert written.isascii()


@given(st.text())
@settings(derandomize=True, deadline=None, max_examples=200)
def test_plain_text_holds_no_control(text: str) -> None:
    """No control, no line break and no directional override or isolate (Unicode UAX 9) is left."""
    kept = pageparts.plain(text)

    assert not re.search("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]", kept)
    assert kept.encode("utf-8").decode("utf-8") == kept
    assert pageparts.plain(kept) == kept


def test_a_page_refuses_a_script_that_ends_itself() -> None:
    """Our own script or style with a closing tag inside is a fault of ours and stops the page."""
    for part in ({"script": "'</script>'"}, {"script": "<!--"}, {"css": "</style>"}):
        with pytest.raises(ValueError, match="closing tag"):
            pageparts.document(title="t", body="", **part)


@pytest.mark.parametrize("length_s", [0.5, 9, 61, 885, 3600, 14_401, 90_000])
def test_an_axis_has_round_and_few_ticks(length_s: float) -> None:
    """Ticks are round steps inside the length, from 0, at most eleven."""
    ticks = pageparts.time_ticks(length_s)

    assert ticks[0] == 0
    assert len(ticks) <= 11
    assert ticks[-1] <= length_s
    assert len({b - a for a, b in pairwise(ticks)}) <= 1


def _luminance(colour: str) -> float:
    """Return relative luminance. Source: WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_formula_is_wcags() -> None:
    """Black on white is 21, and #767676 on white the usual edge of 4.5 (value from a secondary source)."""
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


PALETTES = dict(
    zip(
        ("light", "dark", "print"),
        re.findall(r":root \{(.*?)\}", pageparts.base_css(), re.DOTALL),
        strict=True,
    )
)


@pytest.mark.parametrize("scheme", PALETTES)
def test_every_pair_of_colours_in_use_has_contrast(scheme: str) -> None:
    """Text has 4.5 to 1 and what is drawn 3 to 1 against its ground (WCAG 2.2, 1.4.3 and 1.4.11)."""
    colours = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", PALETTES[scheme]))
    text = [
        ("ink", "paper"), ("ink", "sheet"), ("soft", "paper"), ("soft", "sheet"), ("soft", "tint"),
        ("ink", "tint"),
        ("on-work", "work"), ("on-rest", "rest"), ("on-breath", "breath"), ("on-talk", "talk"),
        ("on-pencil", "pencil"), ("paper", "ink"), ("on-rest", "paper"),
    ]  # fmt: skip
    drawn = [
        ("work", "paper"), ("breath", "paper"), ("edge", "paper"), ("edge", "sheet"), ("pencil", "paper"),
        ("pencil", "sheet"), ("voice", "paper"), ("voice", "sheet"),
    ]  # fmt: skip

    for one, other in text:
        assert _contrast(colours[one], colours[other]) >= 4.5, (one, other)
    for one, other in drawn:
        assert _contrast(colours[one], colours[other]) >= 3.0, (one, other)
