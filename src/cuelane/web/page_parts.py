"""Parts that every page we write shares: its shell, its look, safe text, a time axis and plain SVG paths.

A page is one self-contained file that asks the network for nothing. No text in it is trusted: all of it
goes through jinja2's autoescape or :func:`script_json`. Should an escape ever be forgotten, the page's
content security policy still allows no script but its own, which it names by hash.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterable, Sequence
from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from cuelane.base.units import format_clock
from cuelane.base.unsafe_text import on_one_line

TICK_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)

_LANGUAGE = re.compile(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{1,8})*")

_SHELL = """<!DOCTYPE html>
<html lang="{{ language }}">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{{ policy }}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="generator" content="cuelane">
{% if description %}<meta name="description" content="{{ description }}">
{% endif %}<title>{{ title }}</title>
<link rel="icon" href="data:,">
<style>{{ css }}</style>
</head>
<body>
{{ body }}
{% if script %}<script>{{ script }}</script>
{% endif %}</body>
</html>
"""


def plain(text: object) -> str:
    """Return `text` on one line, without the characters that could reorder or hide what surrounds it."""
    return on_one_line(text)


def language_tag(code: str) -> str:
    """Return `code` if it has the form of a BCP 47 language tag, else ``und`` (undetermined)."""
    return code if _LANGUAGE.fullmatch(code) else "und"


def script_json(value: Any) -> Markup:
    """Return `value` as JSON that may stand inside a ``<script>``: no ``<``, ``>``, ``&`` or U+2028."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    for character in "<>&'":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


def data_url(media_type: str, content: bytes) -> str:
    """Return `content` as a ``data:`` URL; a page opened from disk may read nothing else beside media."""
    return f"data:{media_type};base64,{base64.b64encode(content).decode('ascii')}"


@cache
def environment() -> Environment:
    """Return the jinja2 environment of all pages: everything is escaped, a missing value is an error."""
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    made.filters.update(plain=plain, clock=format_clock, script_json=script_json)
    return made


@cache
def base_css() -> str:
    """Return the style that all pages share: the palette (``--ink``, ``--work`` ...), type and tables."""
    return (resources.files("cuelane") / "web" / "assets" / "base.css").read_text(encoding="utf-8")


@cache
def score_css() -> str:
    """Return the style of a drawn session: staves, their rows, and the shapes of the intervals."""
    return (resources.files("cuelane") / "web" / "assets" / "score.css").read_text(encoding="utf-8")


@cache
def picture_css() -> str:
    """Return the style of both pictures of a check, in the colours of :func:`base_css`."""
    return (resources.files("cuelane") / "web" / "assets" / "picture.css").read_text(encoding="utf-8")


def document(
    *, title: str, body: str, css: str = "", script: str = "", description: str = "", language: str = "en"
) -> str:
    """Return a whole HTML page.

    Parameters
    ----------
    title, description : text that need not be trusted; escaped here.
    body : HTML that is safe already, as a template rendered by :func:`environment` is.
    language : BCP 47 tag of the page's own words.
    css, script : the project's own, never made from a plan's text. `css` follows :func:`base_css`.
    """
    if "</script" in script.lower() or "<!--" in script or "</style" in css.lower():
        raise ValueError("a page's own script or style may not hold its closing tag")
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    scripts = f"'sha256-{digest}'" if script else "'none'"
    policy = (
        "default-src 'none'; img-src data:; media-src 'self' file: data: blob:; style-src 'unsafe-inline'; "
        f"script-src {scripts}; base-uri 'none'; form-action 'none'"
    )
    return (
        environment()
        .from_string(_SHELL)
        .render(
            title=plain(title),
            language=language_tag(language),
            description=plain(description),
            policy=policy,
            css=Markup(base_css() + css),
            body=Markup(body),
            script=Markup(script),
        )
    )


def time_ticks(length_s: float, most: int = 10) -> list[int]:
    """Return whole seconds at which to mark an axis of `length_s`: round steps, at most `most` steps."""
    step = next((step for step in TICK_STEPS_S if length_s / step <= most), None)
    if step is None:
        step = 3600 * -(-int(length_s) // (3600 * most))
    return list(range(0, int(length_s) + 1, step))


def axis_svg(length_s: float, *, most: int = 10) -> Markup:
    """Return a time axis of the full width of its parent, ticks as ``M:SS``; hidden from screen readers."""
    marks = []
    for tick in time_ticks(length_s, most):
        place = 100 * tick / length_s if length_s > 0 else 0.0
        anchor = "start" if place < 2 else "end" if place > 97 else "middle"
        marks.append(
            f'<line x1="{place:.3f}%" x2="{place:.3f}%" y1="0" y2="5"/>'
            f'<text x="{place:.3f}%" y="17" text-anchor="{anchor}">{format_clock(tick * 1000)}</text>'
        )
    return Markup(f'<svg class="axis" height="20" aria-hidden="true">{"".join(marks)}</svg>')


def _short(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def envelope_path(envelope: Sequence[tuple[float, float]], *, height: float = 100.0, first: int = 0) -> str:
    """Return an SVG path of a waveform.

    `envelope` holds (lowest, highest) sample values per point, full scale 1.0; x is `first` plus the
    point's index, y runs from 0 (+1.0) to `height` (-1.0). Points of silence draw nothing, so a session
    that is mostly open time makes a short path.
    """
    middle = height / 2
    parts: list[str] = []
    run: list[tuple[int, float, float]] = []

    def close() -> None:
        if run:
            tops = " ".join(f"{x} {_short(top)} {x + 1} {_short(top)}" for x, top, _ in run)
            bottoms = " ".join(f"{x + 1} {_short(low)} {x} {_short(low)}" for x, _, low in reversed(run))
            parts.append(f"M{tops} {bottoms}Z")
            run.clear()

    for x, (low, high) in enumerate(envelope, first):
        if high - low < 1e-4:
            close()
            continue
        run.append((x, middle - middle * min(high, 1.0), middle - middle * max(low, -1.0)))
    close()
    return "".join(parts)


def spans_path(spans: Iterable[tuple[float, float]], *, top: float, bottom: float) -> str:
    """Return an SVG path of one rectangle per (start, end), all between `top` and `bottom`."""
    return "".join(
        f"M{_short(start)} {_short(top)}H{_short(end)}V{_short(bottom)}H{_short(start)}Z"
        for start, end in spans
    )
