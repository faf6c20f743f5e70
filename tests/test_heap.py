"""Freed arrays are used again instead of going back to the system."""

from __future__ import annotations

import os
import platform
import subprocess
import sys

import pytest

FAULTS = """
import resource
import numpy as np
{first}
def work():
    arrays = [np.ones(130_000) for _ in range(4)]
for _ in range(10):
    work()
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(100):
    work()
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""
N_PAGES = 100 * 4 * 130_000 * 8 // 4096


def faults(first: str) -> int:
    """Return the page faults of 100 rounds of four arrays of 1 MB, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", FAULTS.format(first=first)],
        check=True,
        capture_output=True,
        text=True,
        env={name: value for name, value in os.environ.items() if not name.startswith("MALLOC_")},
    )
    return int(done.stdout)


@pytest.mark.skipif(
    platform.libc_ver()[0] != "glibc",
    reason="other C libraries have no bound above which freed memory goes back: there is nothing to raise, "
    "and no faults that it saves",
)
def test_streams_do_not_fault_their_memory_in_again() -> None:
    """A process that has loaded the media edge or the meter gets next to none of its pages a second time."""
    assert faults("") > N_PAGES // 3
    assert faults("import cuelane.media.reader") < N_PAGES // 100
    assert faults("import cuelane.meter") < N_PAGES // 100
