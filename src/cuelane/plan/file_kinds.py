"""What a file is, told without reading all of it: a plan, a series of plans, or no plan at all."""

from __future__ import annotations

import re

_OF_PLAN = re.compile(r"(?m)^session:")
_OF_SERIES = re.compile(r"(?m)^(plans|defaults|feed):")


def is_series(text: str) -> bool:
    """Tell whether a text is a series, by the keys that stand at its margin; in doubt it is a plan."""
    return _OF_SERIES.search(text) is not None and _OF_PLAN.search(text) is None


_SOUND = "a sound or video file"
_DOCUMENT = "a document of an office program, or an archive"
_AS_TEXT = "save it as plain text (UTF-8)"
_BEGINNINGS: tuple[tuple[bytes, str, str], ...] = (
    (b"RIFF", _SOUND, ""),
    (b"ID3", _SOUND, ""),
    (b"OggS", _SOUND, ""),
    (b"fLaC", _SOUND, ""),
    (b"\xff\xfb", _SOUND, ""),
    (b"PK\x03\x04", _DOCUMENT, _AS_TEXT),
    (b"\xd0\xcf\x11\xe0", _DOCUMENT, _AS_TEXT),
    (b"%PDF", "a PDF document", _AS_TEXT),
    (b"{\\rtf", "rich text (RTF)", _AS_TEXT),
    (b"<", "a web page or other XML", ""),
)
"""The first bytes of files that are given for plans by mistake."""
_SCHEDULE = re.compile(rb'\s*\{\s*"schema":\s*"cuelane\.schedule/')


def other_kind(data: bytes) -> tuple[str, str] | None:
    """Return what kind of file begins with `data`, and a hint, if it is a kind that is no plan; else None."""
    if data[4:8] == b"ftyp":
        return _SOUND, ""
    if _SCHEDULE.match(data):
        return "the schedule of a track", "name the plan that the track was made of"
    text = data[:64].removeprefix(b"\xef\xbb\xbf").lstrip()
    return next(((kind, hint) for start, kind, hint in _BEGINNINGS if text.startswith(start)), None)
