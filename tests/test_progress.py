"""The bar on a terminal names the step; elsewhere nothing is written."""

from __future__ import annotations

import io

import pytest

from cuelane.cli.output import progress, steps


class Terminal(io.StringIO):
    """What a terminal would be sent."""

    def isatty(self) -> bool:
        return True


def test_a_bar_names_each_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """A later step begins at nothing again."""
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")

    with steps() as told:
        told("finding the beeps", 0, 1)
        told("recognising words", 30, 60)

    shown = terminal.getvalue()
    assert "Recognising words" in shown
    assert "50%" in shown


@pytest.mark.parametrize("quiet", [True, False])
def test_nothing_is_written_where_no_terminal_is_or_none_is_wanted(
    monkeypatch: pytest.MonkeyPatch, quiet: bool
) -> None:
    out = Terminal() if quiet else io.StringIO()
    monkeypatch.setattr("sys.stderr", out)

    with steps(quiet=quiet) as told, progress("Listening", quiet=quiet) as moved:
        told("recognising words", 1, 2)
        moved(1, 2)

    assert out.getvalue() == ""
