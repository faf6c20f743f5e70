"""Removes unsafe characters from text that others wrote, before we write or print it; escapes Markdown.

One function makes a text safe for each place: ``cli.output.safe_for_terminal`` and ``json_text``,
``deliver.marks.cell`` (spreadsheets), ``web.page_parts`` (HTML and scripts), `escape_markdown`,
``deliver.captions`` (WebVTT and SubRip), ``media.metadata.clean`` (tags and chapters).
"""

from __future__ import annotations

import re

UNSAFE = "\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff\ud800-\udfff"
"""For a character class of `re`: C0 and C1 controls (ECMA-48's escapes among them), line and paragraph
separators, the directional embeddings, overrides and isolates of Unicode UAX 9 (an unclosed one would reverse
what stands around it), the byte order mark, noncharacters and lone surrogates. Letters carry their own
direction, so honest text in any script loses nothing."""

_UNSAFE_RUN = re.compile(f"[{UNSAFE}]+")
# What a line is not to break at stays: French sets such spaces before ; : ? ! and inside « ».
_SPACES = re.compile(r"[^\S\u00a0\u202f]+")
_INLINE = re.compile(r"([\\`*_\[\]<>&#|~$])")
_LINE_START = re.compile(r"^(\d+)([.)])(?=\s|$)|^([-+=])")
_AUTOLINK = re.compile(r"(?i)\b(https?|ftp|mailto)(:)|(?<=\b[wW]{3})(\.)|(?<=\S)(@)(?=\S)")


def on_one_line(text: object) -> str:
    """Return `text` on one line, without the characters that could reorder or hide what surrounds it."""
    return _SPACES.sub(" ", _UNSAFE_RUN.sub(" ", str(text))).strip()


def escape_markdown(text: object) -> str:
    """Return `text` on one line, to be read as it stands: no markup, no HTML, no link.

    Escapes are CommonMark's: a backslash before ASCII punctuation (CommonMark 0.31, section 2.4).
    """
    safe = _INLINE.sub(r"\\\1", on_one_line(text))
    safe = _LINE_START.sub(lambda m: f"{m[1]}\\{m[2]}" if m[1] else f"\\{m[3]}", safe)
    return _AUTOLINK.sub(lambda m: f"{m[1]}\\:" if m[1] else f"\\{m[3] or m[4]}", safe)
