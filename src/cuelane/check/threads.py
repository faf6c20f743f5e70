"""Many small measurements at once: numpy and its transforms let other threads run while they work."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

MOST_THREADS = 4
"""Chosen: more would only wait for each other, since the interpreter runs one thread at a time between two
transforms."""
# Chosen: fewer are done before a thread has started.
FEW = 8

Row = TypeVar("Row")
Result = TypeVar("Result")


def side_by_side(measure: Callable[[Row], Result], rows: Iterable[Row]) -> list[Result]:
    """Return `measure` of each row, in the rows' order whatever ended first.

    Raises
    ------
    Whatever `measure` raised for the first row that failed.
    """
    todo = list(rows)
    n_threads = min(MOST_THREADS, os.cpu_count() or 1)
    if len(todo) < FEW or n_threads == 1:
        return [measure(row) for row in todo]
    with ThreadPoolExecutor(n_threads) as workers:
        return list(workers.map(measure, todo))
