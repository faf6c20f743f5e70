"""A season on a Dask cluster of processes: nothing lost, nothing made twice, the bytes of single renders.

    python tests/campaigns/season_on_cluster.py plans --plans 1000 --seconds 3000
    python tests/campaigns/season_on_cluster.py kills --plans 200 --workers 8 --every 20 --minutes 3
    python tests/campaigns/season_on_cluster.py overhead --plans 20000

`plans` makes plans of 20 minutes by chance as FLAC, on workers with one thread each, as many as are begun
within the time; renders a sample of them one by one with the command, and compares every file and the
processor time of a track; then changes the line of an included file, and looks whether a second run makes the
tracks of those plans, and no other. `kills` makes tracks while a worker chosen by chance is killed every so
often, and runs the batch again if tracks are missing; on a busy machine let plans be short, or no track is
made between two kills. Each time that a track is put in place it is another file to the system: a watcher
counts them. `overhead` sends orders that do nothing through the same code.

A track of 20 minutes takes 3 to 5 s of processor, the first of a process 8 to 10 s.
Speech comes from the store (CUELANE_CACHE); the first render of a line puts it there. Linux only.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

import dask
import psutil
from distributed import Client, LocalCluster
from season_plans import CHANGED_LINE, that_include, write_close, write_season

from cuelane.batch import cluster as clusters
from cuelane.batch.cluster import on_cluster
from cuelane.batch.jobs_made import Order, Outcome
from cuelane.batch.run import orders_of, run_batch
from cuelane.batch.tracks import Asked, tracks
from dask_clusters import local_cluster

SUFFIX = ".flac"
TRACK_S = 4.4
"""Of processor, measured by `plans` over 1,000 tracks of 20 minutes on two shared cores."""
COMMAND = "import sys; from cuelane.cli import main; sys.exit(main())"


@dataclass
class Watched:
    """Which files tracks have been, by the inode of each: a track that is made again is another file."""

    folder: Path
    inodes: dict[str, set[tuple[int, int]]] = field(default_factory=dict)

    def look(self) -> None:
        for entry in os.scandir(self.folder):
            if entry.name.endswith(SUFFIX):
                with contextlib.suppress(FileNotFoundError):
                    found = entry.stat()
                    self.inodes.setdefault(entry.name, set()).add((found.st_ino, found.st_mtime_ns))

    def twice(self) -> list[str]:
        return sorted(name for name, inodes in self.inodes.items() if len(inodes) > 1)


@contextlib.contextmanager
def repeated(action: object, every_s: float) -> Iterator[None]:
    """Call `action` every so often on a thread, and once more at the end."""
    assert callable(action)
    over = threading.Event()

    def again() -> None:
        while not over.wait(every_s):
            action()

    thread = threading.Thread(target=again)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
        action()


def processor_s() -> float:
    """Return the processor time of this process and of its children, those that have ended and others."""
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    total = sum(one.ru_utime + one.ru_stime for one in used)
    for child in psutil.Process().children():
        with contextlib.suppress(psutil.Error):
            # user, system, children_user, children_system
            total += sum(child.cpu_times()[:4])
    return total


def own_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


class UntilTime(list[Order]):
    """Orders that are sent only while there is time."""

    end_s = 0.0

    def __iter__(self) -> Iterator[Order]:
        for order in super().__iter__():
            if time.monotonic() >= self.end_s:
                return
            yield order


def counted(outcomes: list[Outcome]) -> str:
    found = Counter(one.state for one in outcomes)
    return ", ".join(f"{number} {state}" for state, number in sorted(found.items()))


def orders_for(plans: list[Path], out: Path) -> list[Order]:
    asked = tracks(plans, None, Asked(formats=(SUFFIX[1:],), variants=("plain",)))
    return orders_of(asked, out, {}, force=False)


def single(plan: Path, folder: Path) -> float:
    """Render a plan by the command, in a process of its own; return its processor time in seconds."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-P", "-c", COMMAND, "render", str(plan), "-o"]
    subprocess.run([*command, str(folder / f"{plan.stem}{SUFFIX}")], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def differing(names: list[str], out: Path, alone: Path) -> list[str]:
    """Return the files of these tracks that are not the same, byte for byte, in both folders."""
    wrong = []
    for name in names:
        both = [{path.name for path in folder.glob(f"{name}.*")} for folder in (out, alone)]
        wrong += sorted(both[0] ^ both[1])
        wrong += [one for one in both[0] & both[1] if (out / one).read_bytes() != (alone / one).read_bytes()]
    return wrong


def told_singles(names: list[str], scratch: Path, out: Path, cluster_s: float) -> int:
    """Render a sample one by one, print how it compares, and return how many files differ."""
    alone = scratch / "alone"
    alone.mkdir(exist_ok=True)
    times = [single(scratch / "plans" / f"{name}.yaml", alone) for name in names]
    wrong = differing(names, out, alone)
    mean = sum(times) / len(times)
    print(
        f"one by one, {len(names)} by chance: {mean:.2f} s of processor a track; files that differ: {wrong}"
    )
    if cluster_s:
        print(f"a track on the cluster takes {cluster_s / mean:.3f} times as much", flush=True)
    return len(wrong)


def second_run(made: set[str], scratch: Path, out: Path, watched: Watched, n_workers: int) -> int:
    """Change the included line and run again; return how many tracks were wrongly made or wrongly kept."""
    plans = [scratch / "plans" / f"{name}.yaml" for name in sorted(made)]
    expected = that_include(plans)
    before = {name: set(inodes) for name, inodes in watched.inodes.items()}
    write_close(scratch / "plans", CHANGED_LINE)
    with local_cluster(n_workers) as cluster, repeated(watched.look, 0.3):
        begun = own_s()
        ends = run_batch(
            orders_for(plans, out),
            cluster=cluster.scheduler_address,
            workers=None,
            progress=lambda done, total: None,
        )
        used = own_s() - begun
    again = {one.name for one in ends if one.state == "made"}
    changed = {name.removesuffix(SUFFIX) for name in before if watched.inodes[name] != before[name]}
    print(f"second run, one line changed in a file that {len(expected)} of {len(plans)} plans include:")
    print(
        f"  {counted(ends)}; files that changed: {len(changed)}; {used / len(plans):.3f} s of client a track"
    )
    wrong = (again ^ expected) | (changed ^ expected)
    print(f"  not as their text lets expect: {sorted(wrong)}", flush=True)
    return len(wrong)


def plans(n_plans: int, length_s: int, n_workers: int, seconds: float, sample: int, seed: int) -> int:
    """Make a season without kills; return the number of faults."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as place:
        scratch, out = Path(place), Path(place) / "out"
        (scratch / "plans").mkdir()
        out.mkdir()
        orders = UntilTime(orders_for(write_season(scratch / "plans", n_plans, length_s, seed), out))
        first = scratch / "first"
        first.mkdir()
        cpu_s = single(Path(orders[0].plan), first)
        watched = Watched(out)
        with local_cluster(n_workers) as cluster, repeated(watched.look, 0.3):
            orders.end_s = time.monotonic() + seconds
            print(f"{cpu_s:.1f} s of processor for the first track alone, its lines spoken", flush=True)
            own_begun, began = own_s(), time.monotonic()
            with Client(cluster.scheduler_address, set_as_default=False) as client:
                before = sum(client.run(processor_s).values())
                ends = [end for _, end in on_cluster(orders, cluster.scheduler_address, lambda: None, print)]
                workers_s = sum(client.run(processor_s).values()) - before
            client_s, wall_s = own_s() - own_begun, time.monotonic() - began
        made = [one.name for one in ends if one.state == "made"]
        records = len(list((out / ".batch").iterdir()))
        over = "time is over; " if len(ends) < n_plans else ""
        print(f"seed {seed}: {over}{len(ends)} of {n_plans} plans sent, {counted(ends)}, in {wall_s:.0f} s")
        print(f"files that were tracks: {sum(map(len, watched.inodes.values()))}, records: {records}, ")
        print(f"made twice: {watched.twice()}; not made: {[one for one in ends if one.state != 'made']}")
        each_s = workers_s / len(ends)
        print(f"workers: {each_s:.2f} s of processor a track; client with scheduler: ", end="")
        print(f"{1000 * client_s / len(ends):.1f} ms a track", flush=True)
        faults = len(ends) - len(made) + len(watched.twice()) + (records != len(made))
        chosen = sorted(rng.sample(made, min(sample, len(made))))
        faults += told_singles(chosen, scratch, out, each_s)
        faults += second_run(set(made), scratch, out, watched, n_workers)
    return faults


def kills(n_plans: int, length_s: int, n_workers: int, every_s: float, sample: int, seed: int) -> int:
    """Make a season while workers are killed; return the number of faults."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as place:
        scratch, out = Path(place), Path(place) / "out"
        (scratch / "plans").mkdir()
        out.mkdir()
        orders = orders_for(write_season(scratch / "plans", n_plans, length_s, seed), out)
        watched, n_killed, busy, runs = Watched(out), 0, 0, 0
        ends: list[Outcome] = []
        while runs < 5 and (not ends or any(one.state == "failed" for one in ends)):
            runs += 1
            with local_cluster(n_workers) as cluster, repeated(watched.look, 0.3):
                cluster.wait_for_workers(n_workers)

                def kill_one(cluster: LocalCluster = cluster) -> None:
                    nonlocal n_killed, busy
                    pids = [nanny.pid for nanny in cluster.workers.values() if nanny.pid]
                    with contextlib.suppress(psutil.Error, IndexError):
                        chosen = psutil.Process(rng.choice(pids))
                        busy += bool(chosen.children())
                        os.kill(chosen.pid, signal.SIGKILL)
                        n_killed += 1

                with repeated(kill_one, every_s):
                    ends = run_batch(
                        orders,
                        cluster=cluster.scheduler_address,
                        workers=None,
                        progress=lambda done, total: None,
                    )
            print(f"run {runs}: {counted(ends)}; {n_killed} workers killed so far, {busy} that made a track")
            for one in [one for one in ends if one.state == "failed"][:3]:
                print(f"  {one.name}: {one.message}")
            sys.stdout.flush()
        there = {path.stem for path in out.glob(f"*{SUFFIX}")}
        lost = {order.name for order in orders} ^ there
        hidden = [path.name for path in out.iterdir() if path.name.startswith(".") and path.name != ".batch"]
        print(
            f"seed {seed}: lost {sorted(lost)}, made twice {watched.twice()}, left over {hidden}", flush=True
        )
        wrong = told_singles(sorted(rng.sample(sorted(there), min(sample, len(there)))), scratch, out, 0)
    return len(lost) + len(watched.twice()) + len(hidden) + wrong


def nothing(order: Order) -> Outcome:
    """Stand in for the making of a track."""
    return Outcome(order.name, "made", length_ms=sum(map(len, (order.sent or {}).values())))


def overhead(n_orders: int, n_workers: int, seed: int) -> int:
    """Send orders that do nothing; print what each costs the client and scheduler, and what it leaves."""
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "plans").mkdir()
        base = orders_for(write_season(Path(place) / "plans", 100, 1_200, seed), Path(place))
        many = [
            Order(f"{base[n % 100].name}-{n}", SUFFIX, base[n % 100].plan, place) for n in range(n_orders)
        ]
        begun = own_s()
        for order in base:
            clusters.sent_along(order)
        read_ms = 10 * (own_s() - begun)
        clusters.carried_out = nothing
        process, quarter, rows = psutil.Process(), max(1, n_orders // 4), []
        with local_cluster(n_workers) as cluster:
            begun = own_s()
            for n_done, _ in enumerate(on_cluster(many, cluster.scheduler_address, lambda: None, print), 1):
                if n_done % quarter == 0:
                    rows.append((1000 * (own_s() - begun) / quarter, process.memory_info().rss / 2**20))
                    begun = own_s()
    print(f"{n_orders} orders; reading and checking a plan to send it takes {read_ms:.1f} ms of each")
    for number, (each_ms, rss_mb) in enumerate(rows, 1):
        print(f"quarter {number}: {each_ms:.1f} ms of client and scheduler an order, {rss_mb:.0f} MiB in use")
    each_s = sum(each for each, _ in rows) / len(rows) / 1000
    print(f"| tracks | client and scheduler | making them on two cores, {TRACK_S} s each |\n|---|---|---|")
    for n_tracks in (1_000, 10_000, 100_000):
        making_h = n_tracks * TRACK_S / 2 / 3600
        print(f"| {n_tracks:,} | {n_tracks * each_s / 60:.1f} min | {making_h:.1f} h |")
    return 0


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=("plans", "kills", "overhead"))
    parser.add_argument("--plans", type=int, default=1_000)
    parser.add_argument("--minutes", type=int, default=20, help="how long each plan is; at least 3")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seconds", type=float, default=1e9, help="begin no plan later than this")
    parser.add_argument("--every", type=float, default=20.0, help="seconds between two kills")
    parser.add_argument("--sample", type=int, default=40, help="how many are rendered one by one")
    parser.add_argument("--allowed-failures", type=int, help="of Dask: so many workers may die with a track")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    print(json.dumps(vars(given)), flush=True)
    length_s = 60 * given.minutes
    # The machine may be busy with other things.
    clusters.CONNECT_S = 600
    if given.seconds < 1e9:
        # Else thirty would still be made after the time is over.
        clusters._FEWEST = 2 * given.workers
    if given.allowed_failures is not None:
        dask.config.set({"distributed.scheduler.allowed-failures": given.allowed_failures})
    if given.what == "plans":
        return plans(given.plans, length_s, given.workers, given.seconds, given.sample, given.seed)
    if given.what == "kills":
        return kills(given.plans, length_s, given.workers, given.every, given.sample, given.seed)
    return overhead(given.plans, given.workers, given.seed)


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
