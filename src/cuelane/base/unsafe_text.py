"""The characters that no text of a stranger brings into what we write or print."""

from __future__ import annotations

import re

UNSAFE = "\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff\ud800-\udfff"
"""For a character class of `re`: C0 and C1 controls (ECMA-48's escapes among them), line and paragraph
separators, the directional embeddings, overrides and isolates of Unicode UAX 9 (an unclosed one would reverse
what stands around it), the byte order mark, noncharacters and lone surrogates. Letters carry their own
direction, so honest text in any script loses nothing."""

_UNSAFE_RUN = re.compile(f"[{UNSAFE}]+")


def on_one_line(text: object) -> str:
    """Return `text` on one line, without the characters that could reorder or hide what surrounds it."""
    return " ".join(_UNSAFE_RUN.sub(" ", str(text)).split())
