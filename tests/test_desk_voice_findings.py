"""What the desk says of how a plan is spoken, beside its lines and of its voice."""

from __future__ import annotations

import pytest

from cuelane.desk.voice_findings import voice_findings
from cuelane.session.candidates import Candidate


def line(text: str) -> Candidate:
    return Candidate("say", text, 20, "")


@pytest.mark.parametrize("n_lines", [2, 3, 90])
def test_one_reason_for_many_lines_is_told_once(n_lines: int) -> None:
    """A voice whose model is not installed fails for every line: that is one thing to mend, not ninety."""
    why = "voice linden could not speak {!r}: the model of this voice is not installed"
    texts = [f"Line {n}, it's on." for n in range(n_lines)]
    failed = {text: why.format(text) for text in texts} | {"Odd.": "voice linden could not speak 'Odd.': no"}

    offered = [line(text) for text in (*texts, *texts, "Odd.")]
    told = [
        (about and about.text, str(said), hint)
        for about, said, hint in voice_findings([], offered, {}, failed)
    ]

    reason = "voice linden could not speak: the model of this voice is not installed"
    if n_lines < 3:
        expected = [(text, f"“{text}” could not be spoken.", failed[text]) for text in texts]
    else:
        expected = [(None, f"{n_lines} lines could not be spoken, all for the same reason.", reason)]
    assert told == [*expected, ("Odd.", "“Odd.” could not be spoken.", failed["Odd."])]
