"""A worker of a cluster that is killed while it makes a track: the track is made all the same, and once."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from pathlib import Path

import psutil
import pytest

from cuelane.batch import one_track
from cuelane.batch.run import orders_of, run_batch
from cuelane.batch.tracks import Asked, tracks
from dask_clusters import local_cluster
from test_batch import write


def is_making(process: psutil.Process) -> bool:
    """Tell whether a process makes a track."""
    with contextlib.suppress(psutil.Error):
        return any("one_track" in part for part in process.cmdline())
    return False


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_track_whose_worker_is_killed_is_made_by_another(tmp_path: Path) -> None:
    """The same bytes as a single render, nothing half-made beside it, and the next run keeps it."""
    plan = write(tmp_path, "one")
    found = tracks([plan], None, Asked(formats=("wav",), variants=("plain",)))
    here, there = tmp_path / "here", tmp_path / "there"
    there.mkdir()
    killed: list[int] = []
    orphans: list[psutil.Process] = []
    with local_cluster() as made:
        over = threading.Event()

        def kill_when_busy() -> None:
            (worker,) = (nanny.pid for nanny in made.workers.values())
            while not over.is_set() and not killed:
                children = [one for one in psutil.Process(worker).children() if is_making(one)]
                if children:
                    orphans.extend(children)
                    killed.append(worker)
                    os.kill(worker, signal.SIGKILL)
                time.sleep(0.01)

        thread = threading.Thread(target=kill_when_busy)
        thread.start()
        orders = orders_of(found, there, {}, force=False)
        ends = run_batch(orders, cluster=made.scheduler_address, workers=1, progress=lambda done, total: None)
        over.set()
        thread.join()
    assert len(killed) == 1
    assert [(one.name, one.state) for one in ends] == [("one", "made")], ends[0].message
    # Its process ended with it, so that no track is made twice at once.
    assert psutil.wait_procs(orphans, timeout=300)[1] == []
    (single,) = orders_of(found, here, {}, force=False)
    assert one_track.made(single).state == "made"
    files = [
        {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
        for folder in (here, there)
    ]
    assert files[0] == files[1]
    again = run_batch(orders, cluster=None, workers=1, progress=lambda done, total: None)
    assert [one.state for one in again] == ["kept"]
