"""What is typed into a plan, at random: letters, and what turns YAML into something else."""

from __future__ import annotations

from hypothesis import strategies as st

TYPED = st.sampled_from([
    "a", " ", "\n", "\n\n", ":", ": ", "- ", "\n- ", "\n  ", "#", " # x\n", '"', "'", "[", "]", "{", "}",
    "|\n", ">-\n", "|+\n\n\n", "|2\n", "?", "? ", "&x ", "*x", "!t ", "<<: ", "---\n", "\n...\n", "~",
    "%YAML 1.2\n", "\t", "\r\n", "\x85", "\u2028", "\ufeff", ",", "title: T\n", "\nsession:\n", "é",
    "\nexercises:\n  x: {}\n", "\n  y:\n    form: [a,\n  b: c]\n", "session:\n- say: x\n",
])  # fmt: skip
TYPING = st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 30), TYPED), max_size=4)


def typed_into(text: str, edits: list[tuple[int, int, str]]) -> str:
    """Return `text` with some letters at some places exchanged for others."""
    for place, n_gone, new in edits:
        at = place % (len(text) + 1)
        text = text[:at] + new + text[at + n_gone * (n_gone > 24) :]
    return text
