"""The report page of ``check`` in a real browser."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "kit"))

from devtools import Browser

import synth
from cuelane.base.schedule import from_json
from cuelane.check.page import page
from cuelane.check.run import check


@pytest.fixture(scope="module")
def report_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a file with faults and music: it has every part that a page can have."""
    folder = tmp_path_factory.mktemp("check-page")
    track = synth.session(60, seed=5)
    schedule, store = from_json(track.schedule()), track.store()
    cues = [i for i, item in enumerate(track.placed) if item.kind == "cue"]
    late = track.placed[cues[2]]
    track.placed[cues[2]] = replace(late, onset=late.onset + 4000)
    del track.placed[cues[4]]
    audio = synth.write(folder / "a.wav", synth.with_music(track.samples(), -12.0) * np.float32(0.8))
    report = check(audio, schedule, store=store)
    assert report.faults
    assert report.notes
    (folder / "report.html").write_text(page(report, schedule), encoding="utf-8")
    return folder / "report.html"


@pytest.mark.parametrize("width", [360, 1440])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_violation(
    browser: Browser, axe: Path, report_page: Path, scheme: str, width: int
) -> None:
    """axe-core finds nothing on the page, the table of all events open."""
    page = browser.page(width, scheme=scheme)
    page.open(report_page)
    page.run("document.querySelectorAll('details').forEach(d => d.open = true)")

    assert page.violations(axe) == []


@pytest.mark.parametrize("width", [360, 1440])
def test_nothing_overflows(browser: Browser, report_page: Path, width: int) -> None:
    """The page itself never scrolls sideways; the wide parts scroll inside their frames."""
    page = browser.page(width)
    page.open(report_page)

    assert page.run("document.documentElement.scrollWidth") <= width
