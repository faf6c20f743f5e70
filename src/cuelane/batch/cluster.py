"""Tracks made by the workers of a Dask cluster.

The scheduler decides which worker makes what, and gives what a worker was making when it died to another. It
holds every order that it was sent, with the plan and the recordings in it; so it is sent only a few more than
its workers can make at once, and the next as each one is done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from cuelane.base.errors import DeliveryError, PlanError, UsageError
from cuelane.batch import records
from cuelane.batch.jobs_made import MACHINE_FAILED, Order, Outcome, carried_out, variant_of
from cuelane.plan.load import load_plan

if TYPE_CHECKING:
    from distributed import Client, Future

CONNECT_S = 30
"""As Dask itself waits; a busy machine took more than 15 s."""
NO_WORKER_S = 60
"""Chosen: after so long without any worker, whoever waits is told. To begin one anew takes some seconds."""
# Chosen: a worker that finishes has its next order waiting, and one that joins finds some.
_PER_THREAD, _FEWEST = 3, 32


def on_cluster(
    orders: Sequence[Order], address: str, told: Callable[[], None], noticed: Callable[[str], None]
) -> Iterator[tuple[Order, Outcome]]:
    """Yield each order with what became of it, as the cluster at `address` gets them done.

    `told` is called before each, `noticed` with what somebody who waits should know. Orders that the cluster
    was not sent before its scheduler was lost are left out.

    Raises
    ------
    UsageError : Dask's package for clusters is not installed.
    DeliveryError : no scheduler answers at `address`.
    """
    try:
        from distributed import Client, as_completed
    except ImportError as error:
        raise UsageError("--cluster needs Dask's own: python -m pip install '.[cluster]'") from error
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        reason = str(error) or f"nothing came within {CONNECT_S} s"
        raise DeliveryError(f"{address}: no Dask scheduler answers there: {reason}") from error
    with client:
        asked: dict[Future[Outcome], Order] = {}
        under_way = as_completed(loop=client.loop)
        waiting = iter(orders)
        sending = True
        while sending or asked:
            room = most_sent(client) - len(asked) if sending else 0
            some = list(islice(waiting, max(0, room)))
            sending = sending and client.status == "running" and (room <= 0 or bool(some))
            for order in some if sending else ():
                try:
                    future = client.submit(carried_out, sent_along(order), pure=False)
                except (PlanError, OSError) as error:
                    told()
                    code = error.exit_code if isinstance(error, PlanError) else MACHINE_FAILED
                    yield order, Outcome(order.name, "failed", code, str(error))
                else:
                    asked[future] = order
                    under_way.add(future)
            if asked:
                _one_done(list(asked), client, lambda: noticed(_no_worker(address, len(asked))))
                future = next(under_way)
                order = asked.pop(future)
                told()
                yield order, _outcome(future, order)


def _one_done(futures: list[Future[Outcome]], client: Client, no_worker: Callable[[], None]) -> None:
    """Wait until one of `futures` is done; call `no_worker` when there is none for long, once each time."""
    from distributed import TimeoutError as NotYet
    from distributed import wait

    there = True
    while True:
        try:
            with client.as_current():
                wait(futures, timeout=NO_WORKER_S, return_when="FIRST_COMPLETED")
        except NotYet:
            before, there = there, client.status != "running" or bool(_n_threads(client))
            if before and not there:
                no_worker()
        except CancelledError:
            return
        else:
            return


def _no_worker(address: str, n_orders: int) -> str:
    tracks = "1 track waits" if n_orders == 1 else f"{n_orders} tracks wait"
    return (
        f"{address}: the cluster has no worker now, so {tracks}; start one (`dask worker {address}` on a "
        "machine with this package), or stop with Ctrl+C: what is made is kept"
    )


def most_sent(client: Client) -> int:
    """Return how many orders the cluster is given at once: by how many threads its workers have now."""
    return max(_FEWEST, _PER_THREAD * _n_threads(client))


def _n_threads(client: Client) -> int:
    try:
        return int(sum(client.nthreads().values()))
    except OSError:
        # The scheduler is lost, or not there for a moment: what was sent will tell.
        return 0


def _outcome(future: Future[Outcome], order: Order) -> Outcome:
    if future.status == "finished":
        found: Outcome = future.result()
        return found
    error = future.exception() if future.status == "error" else None
    reason = "its scheduler was lost; run the batch again"
    if error is not None:
        reason = f"{type(error).__name__}: {str(error)[:300]}"
    return Outcome(order.name, "failed", MACHINE_FAILED, f"the cluster could not make it: {reason}")


def sent_along(order: Order) -> Order:
    """Return an order with the content of every file that its plan needs.

    Raises
    ------
    PlanError : the plan is wrong. OSError : a file cannot be read.
    """
    plan = Path(order.plan)
    loaded = load_plan(plan, variant=variant_of(order.variant))
    paths = {path for path in records.inputs_of(loaded) if path.is_file()}
    sent = {path.relative_to(plan.parent).as_posix(): path.read_bytes() for path in sorted(paths)}
    return replace(order, sent=sent)
