"""Dask clusters on this machine, for tests and campaigns: no page of their own, no words of their own."""

from __future__ import annotations

from distributed import LocalCluster


def local_cluster(n_workers: int = 1, *, processes: bool = True) -> LocalCluster:
    """Return a scheduler with workers of one thread each, in processes of their own or in this one."""
    return LocalCluster(
        n_workers=n_workers,
        threads_per_worker=1,
        processes=processes,
        dashboard_address=":0",
        host="tcp://127.0.0.1",
        silence_logs=50,
    )
