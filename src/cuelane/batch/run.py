"""A batch: tracks that are up to date are kept, others made by Dask, here or on a cluster; all are reported.

Dask decides what runs when and where. What a worker of a cluster was making when it died is run again.
Nothing here waits, queues or tries again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from dask.base import compute
from dask.callbacks import Callback
from dask.delayed import delayed

from cuelane.base.cores import n_cores
from cuelane.base.errors import DeliveryError
from cuelane.batch import records
from cuelane.batch.cluster import on_cluster
from cuelane.batch.far_folder import FarFolder, is_address, is_there
from cuelane.batch.jobs_made import MACHINE_FAILED, Order, Outcome, carried_out
from cuelane.batch.makers import end_idle
from cuelane.batch.tracks import Track
from cuelane.plan.series import Defaults
from cuelane.plan.tree import plain
from cuelane.plan.variants import Chosen

Progress = Callable[[int, int], None]


def orders_of(
    tracks: Sequence[Track],
    out: Path | str,
    options: dict[str, Any],
    *,
    force: bool,
    clips: str | None = None,
) -> list[Order]:
    """Return the order for each track; `options` are those of a render, without the voice.

    `out` is a folder, or an address as fsspec understands it; so is `clips`, where clips are shared.
    """
    place = placed(out)
    shared = placed(clips) if clips is not None else None
    return [
        Order(
            track.name,
            track.suffix,
            str(track.plan.resolve()),
            place,
            _variant(track.variant),
            _options(options, track),
            force,
            shared,
        )
        for track in tracks
    ]


def placed(place: Path | str) -> str:
    """Return an address as it is, a folder with its whole path."""
    return place if isinstance(place, str) and is_address(place) else str(Path(place).resolve())


def _options(options: dict[str, Any], track: Track) -> dict[str, Any]:
    """Return the options for one track: what its variant says itself is left to it."""
    gives = track.variant.keys if track.variant is not None else frozenset()
    own = {key: value for key, value in options.items() if key != "pace" or "pace" not in gives}
    return {**own, "voice": track.voice}


def render_options(defaults: Defaults) -> dict[str, Any]:
    """Return what a series says of every render, as :class:`RenderOptions` calls it."""
    pace = {} if defaults.pace is None else {"pace": defaults.pace}
    return {
        **pace,
        "loudness_lufs": defaults.loudness,
        "for_music": defaults.for_music,
        "subtitles": defaults.srt,
    }


def _variant(variant: Chosen | None) -> dict[str, Any] | None:
    if variant is None:
        return None
    told: dict[str, Any] = {"name": variant.name, "pace": variant.pace}
    if variant.changes is not None:
        mark = variant.changes.mark
        told |= {"changes": plain(variant.changes), "mark": [mark.file, mark.line, mark.column]}
    return told


def run_batch(
    orders: Sequence[Order],
    *,
    cluster: str | None,
    workers: int | None,
    progress: Progress,
    noticed: Callable[[str], None] = lambda text: None,
) -> list[Outcome]:
    """Carry out the orders that are not current; return what became of each, in their order.

    Parameters
    ----------
    cluster : the address of a Dask scheduler, ``tcp://…``; its workers need this package, and see the folder
        of results under the same path, or the results go to an address. The plans are sent to them.
    workers : how many tracks at once on this machine; as many as it has cores if None.
    progress : told how many of the orders are done.
    noticed : told in a sentence what somebody who waits should know, such as that no worker is left.

    Raises
    ------
    UsageError : the cluster's package is not installed. DeliveryError : the cluster does not answer.
    """
    ends = {_key(order): outcome for order in orders if (outcome := _current(order))}
    rest = [order for order in orders if _key(order) not in ends]
    n_done = len(ends)

    def told() -> None:
        nonlocal n_done
        n_done += 1
        progress(n_done, len(orders))

    progress(n_done, len(orders))
    try:
        if rest and cluster:
            ends |= {_key(order): outcome for order, outcome in on_cluster(rest, cluster, told, noticed)}
        elif rest:
            ends |= {_key(order): outcome for order, outcome in _here(rest, workers, told)}
    finally:
        end_idle()
    missing = "nothing is known of it; run the batch again"
    return [
        ends.get(_key(order)) or Outcome(order.name, "failed", MACHINE_FAILED, missing) for order in orders
    ]


def _key(order: Order) -> str:
    return order.name + order.suffix


def _current(order: Order) -> Outcome | None:
    """Return that a track is kept where nothing that it was made of has changed; or that nobody can tell."""
    try:
        return _kept(order)
    except DeliveryError as error:
        return Outcome(order.name, "failed", error.exit_code, str(error))


def _kept(order: Order) -> Outcome | None:
    far = FarFolder.at(order.out) if is_address(order.out) else None
    record = far.record(order.record_name) if far is not None else records.read_record(order.record)
    if record is None or not records.is_current(record, Path(order.plan), order.options_text()):
        return None
    if not is_there(order, record, far):
        return None
    return Outcome(order.name, "kept", length_ms=record.length_ms)


def _here(
    orders: Sequence[Order], workers: int | None, told: Callable[[], None]
) -> Iterator[tuple[Order, Outcome]]:
    tasks = [delayed(carried_out, pure=False)(order) for order in orders]
    with Callback(posttask=lambda *_: told()):
        found = compute(*tasks, scheduler="threads", num_workers=workers or n_cores())
    yield from zip(orders, found, strict=True)
