"""What all tests share: a quiet terminal, a clip store of their own, and one small session rendered once."""

from __future__ import annotations

import importlib
import os
from pathlib import Path

import pytest
from hypothesis import settings

# Before numpy is imported: as many files are tested at a time as there are cores, and threads of BLAS that
# wait for each other take a sixth of all their time. Who uses an installation keeps its own default.
os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

from classgen_speech import KEPT_IN

settings.register_profile("steady", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("steady")

# Before anything of the program is imported: rich and typer look at these when they start.
os.environ.pop("FORCE_COLOR", None)
os.environ.update(NO_COLOR="1", TERM="dumb", COLUMNS="100")

SMALL_PLAN = """\
title: Small session
author: A test
date: 2026-03-01
cautions: [Stop if anything hurts.]
lead_in: 8s
session:
  - block: Short
    pattern: build-up
    work: 20s
    settle: 3s
    rest: 15s
    exercises: [wall press, heel raise]
exercises:
  wall press:
    setup: Hands on the wall, and lean in.
    form: Keep your ribs down.
    needs: a wall
  heel raise:
    sides: alternate
    preview: Heel raise, near the wall.
    setup: "{side} heel up, and slowly down."
closing: That was it.
"""


LONGEST_FIRST = (
    "test_render",
    "test_check_faults",
    "test_adapt_structure",
    "test_under",
    "test_speech_speak",
    "test_check_measure",
    "test_adapt_uncaptioned",
    "test_media",
    "test_adapt_plan",
    "test_desk_classes",
    "test_files_killed",
    "test_adapt_words",
    "test_takes",
    "test_plan_load",
    "test_files_kept",
    "test_speech_untrusted",
    "test_coaching",
    "test_thread_imports",
)
"""The files of tests that take longest, by processor time, 25 s to 10 s each."""


def pytest_configure(config: pytest.Config) -> None:
    """Let one process compile librosa's functions in a new environment, before there are several.

    numba keeps each of them in two files. Two processes that compile it at the same time can leave one file
    of each, and calling the function then ends the process (numba's issue 10128).
    """
    if not getattr(config.option, "numprocesses", None) or hasattr(config, "workerinput"):
        return
    for name in ("beat", "core.audio", "core.pitch", "util.utils"):
        importlib.import_module(f"librosa.{name}")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the longest, so that no process is left with one of them while the others have ended."""
    place = {name: k for k, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: place.get(item.path.stem, len(place)))


@pytest.fixture(scope="session", autouse=True)
def store_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a clip store that starts empty and serves the whole run: every test, and all of its processes.

    Without it a test that names no store would read and fill the one of whoever runs the tests.
    """
    folder = _folder_of_the_run(tmp_path_factory, "clips")
    os.environ["CUELANE_CACHE"] = str(folder)
    return folder


@pytest.fixture(scope="session", autouse=True)
def kept_speech(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Let all processes of the run share the lines that generated classes say."""
    os.environ[KEPT_IN] = str(_folder_of_the_run(tmp_path_factory, "speech"))


def _folder_of_the_run(tmp_path_factory: pytest.TempPathFactory, name: str) -> Path:
    base = tmp_path_factory.getbasetemp()
    # Each process of pytest-xdist has a folder of its own in that of the run.
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / name
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def small_plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the path of a plan of a little over a minute."""
    path = tmp_path_factory.mktemp("plan") / "small.yaml"
    path.write_text(SMALL_PLAN, encoding="utf-8")
    return path
