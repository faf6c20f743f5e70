"""A Chromium for the tests of this folder, and pages with real sound."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from devtools import Browser, find_chromium
from published import publish

import pagesession


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A running Chromium, one for all tests."""
    program = find_chromium()
    if program is None:
        pytest.skip("no Chromium on this machine: put one on the path, or name it in CUELANE_CHROMIUM")
    with Browser(program, tmp_path_factory.mktemp("profile")) as running:
        yield running


@pytest.fixture(scope="session")
def axe() -> Path:
    """The script of axe-core, which no package of this project brings."""
    source = os.environ.get("CUELANE_AXE")
    if not source:
        pytest.skip("axe-core is not part of the project: name its axe.min.js in CUELANE_AXE to run this")
    return Path(source)


@pytest.fixture(scope="session")
def boathouse(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the quarter-hour session, its m4a beside it."""
    return publish(pagesession.boathouse(), tmp_path_factory.mktemp("m4a"), "boathouse.m4a")


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the session whose texts try to get out, its mp3 beside it."""
    return publish(pagesession.hostile(), tmp_path_factory.mktemp("mp3"), "hostile.mp3")
