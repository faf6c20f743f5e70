"""How long a render takes beside encoding alone, other ways to mix, and how much memory it needs.

Run by hand: ``python tests/benchmarks/bench_render.py [--minutes 45] [--cues 200] [--rounds 3]``. Clips are
warm (in memory, as after one render), speech-like and synthesised. Every figure is a ratio within this run;
times are the least of the rounds, taken in turn, so that a busy machine is busy for all.
"""

from __future__ import annotations

import argparse
import gc
import json
import os
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

import numpy as np

import soundkit
from cuelane import media
from cuelane.audio.pip_specs import pip_for
from cuelane.base.schedule import Event, Schedule, ScheduledInterval, load_schedule, to_json
from cuelane.media import ffmpeg
from cuelane.media.formats import LossyCoding, format_of
from cuelane.render import mix

RATE = 48_000


def session(minutes: float, n_cues: int) -> tuple[Schedule, dict[str, np.ndarray]]:
    """Return a session of distinct cues of two to four seconds, with a countdown each minute."""
    rng = np.random.default_rng(5)
    n_frames = round(minutes * 60 * RATE)
    events = []
    for minute in range(int(minutes)):
        boundary = minute * 60 * RATE + 48 * RATE
        for before in (3, 2, 1, 0):
            spec = pip_for("rest" if minute % 2 else "work", "short" if before else "long")
            onset = boundary - before * RATE
            events.append(Event(f"p{minute}{before}", "pip", spec.role, 0, onset, onset + spec.n_frames,
                                frequency_hz=spec.frequency_hz))  # fmt: skip
    clips: dict[str, np.ndarray] = {}
    per_minute = -(-n_cues // max(1, int(minutes)))
    places = [
        minute * 60 * RATE + round(slot * 44 / per_minute * RATE)
        for minute in range(int(minutes))
        for slot in range(per_minute)
    ][:n_cues]
    for number, place in enumerate(places):
        # At most 200 different ones: four hours of distinct clips would measure the benchmark's own memory.
        key = f"sha256:{number % 200}"
        if key not in clips:
            words = " ".join(
                rng.choice(["knees", "over", "toes", "slowly", "chest", "tall"], int(rng.integers(7, 14)))
            )
            clips[key] = soundkit.spoken(f"{words} {number}")
        onset = place + round(float(rng.uniform(1, 2)) * RATE)
        events.append(Event(f"c{number:05d}", "cue", "form", 0, onset, onset + len(clips[key]), clip=key))
    ordered = tuple(sorted(events, key=lambda event: event.onset_sample))
    row = ScheduledInterval(0, "B", "work", 1, None, None, 0, n_frames)
    return Schedule("Benchmark", "en", RATE, n_frames, (row,), ordered), clips


def render(schedule: Schedule, clips: dict[str, np.ndarray], path: Path) -> None:
    levels = mix.plan_levels(schedule, clips.__getitem__, headroom_db=1.0)
    blocks = mix.blocks(schedule, clips.__getitem__, gain_db=levels.gain_db)
    media.encode(path, blocks, sample_rate=RATE, n_frames=schedule.n_frames)


def by_program(raw: Path, path: Path) -> None:
    """Encode samples that lie ready on disk, by the program alone, with our own settings."""
    form = format_of(path).coding
    assert isinstance(form, LossyCoding)
    command = [*ffmpeg.quiet(), "-y", "-f", "f32le", "-ar", str(RATE), "-ac", "1", "-i", str(raw)]
    command += ["-c:a", form.encoder, "-b:a", f"{form.bitrate_kbps}k", *form.options, "-bitexact"]
    subprocess.run([*command, "-f", form.muxer, str(path)], check=True)


def by_pyav(raw: Path, path: Path) -> None:
    import av

    form = format_of(path).coding
    assert isinstance(form, LossyCoding)
    samples = np.memmap(raw, dtype=np.float32, mode="r")
    pairs = zip(form.options[::2], form.options[1::2], strict=True)
    options = {name[1:]: value for name, value in pairs if name.startswith("-aac")}
    with av.open(str(path), "w", format={"ipod": "mp4"}.get(form.muxer, form.muxer)) as container:
        stream = container.add_stream(form.encoder, rate=RATE, layout="mono", options=options)
        stream.bit_rate = form.bitrate_kbps * 1000
        for start in range(0, len(samples), 65_536):
            block = np.ascontiguousarray(samples[start : start + 65_536])[np.newaxis]
            frame = av.AudioFrame.from_ndarray(block, format="fltp", layout="mono")
            frame.sample_rate, frame.pts = RATE, start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def by_soundfile(raw: Path, path: Path) -> None:
    import soundfile

    samples = np.memmap(raw, dtype=np.float32, mode="r")
    with soundfile.SoundFile(
        path,
        "w",
        RATE,
        1,
        format="MP3",
        subtype="MPEG_LAYER_III",
        bitrate_mode="CONSTANT",
        compression_level=0.8,
    ) as file:
        for start in range(0, len(samples), 65_536):
            file.write(samples[start : start + 65_536])


def by_pydub(schedule: Schedule, clips: dict[str, np.ndarray], n_events: int) -> float:
    """Return the seconds that overlays of all events would take, from the first `n_events` of them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pydub import AudioSegment

    def segment(samples: np.ndarray) -> AudioSegment:
        data = np.asarray(np.rint(samples * 32767), dtype="<i2").tobytes()
        return AudioSegment(data, sample_width=2, frame_rate=RATE, channels=1)

    track = AudioSegment.silent(duration=schedule.n_frames * 1000 // RATE, frame_rate=RATE)
    cues = [event for event in schedule.events if event.clip][:n_events]
    started = time.perf_counter()
    for event in cues:
        track = track.overlay(segment(clips[event.clip]), position=event.onset_sample * 1000 / RATE)
    return (time.perf_counter() - started) / len(cues) * len(schedule.events)


def by_graph(schedule: Schedule, clips: dict[str, np.ndarray], folder: Path, n_events: int) -> float:
    """Return the seconds an adelay and amix graph takes to mix the first `n_events` cues."""
    import soundfile

    cues = [event for event in schedule.events if event.clip][:n_events]
    inputs, graph = [], []
    for number, event in enumerate(cues):
        path = folder / f"clip{number}.wav"
        soundfile.write(path, clips[event.clip], RATE, subtype="PCM_24")
        inputs += ["-i", str(path)]
        graph.append(f"[{number}]adelay=delays={event.onset_sample}S:all=1[d{number}]")
    names = "".join(f"[d{number}]" for number in range(len(cues)))
    graph.append(f"{names}amix=inputs={len(cues)}:normalize=0[out]")
    (folder / "graph.txt").write_text(";".join(graph))
    command = [*ffmpeg.quiet(), "-y", *inputs, "-/filter_complex", str(folder / "graph.txt"), "-map", "[out]"]
    started = time.perf_counter()
    subprocess.run([*command, "-f", "f32le", str(folder / "graph.raw")], check=True)
    return time.perf_counter() - started


def memory(folder: Path) -> None:
    """Render what lies in `folder` and print the peak memory of this process and of its encoder, in KiB.

    Read from /proc (Linux): what getrusage tells of a fresh process includes the one that started it.
    """
    schedule = load_schedule(folder / "session.json")
    encoder = [0]

    def load(sha256: str) -> np.ndarray:
        return np.load(folder / f"{sha256.removeprefix('sha256:')}.npy")

    def watched() -> Iterator[np.ndarray]:
        for number, block in enumerate(mix.blocks(schedule, load, gain_db=levels.gain_db)):
            yield block
            if number % 50 == 0:
                children = Path(f"/proc/self/task/{os.getpid()}/children").read_text().split()
                encoder[0] = max([encoder[0], *(high_water(child) for child in children)])

    levels = mix.plan_levels(schedule, load, headroom_db=1.0)
    media.encode(folder / "memory.m4a", watched(), sample_rate=RATE, n_frames=schedule.n_frames)
    print(json.dumps([high_water("self"), encoder[0]]))


def high_water(process: str) -> int:
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0])


def peak_memory(minutes: float, folder: Path) -> list[int]:
    """Return the peak memory of a render of `minutes` in a process of its own, clips read from disk."""
    folder.mkdir()
    schedule, clips = session(minutes, round(minutes * 200 / 45))
    (folder / "session.json").write_text(to_json(schedule), encoding="utf-8")
    for key, samples in clips.items():
        np.save(folder / f"{key.removeprefix('sha256:')}.npy", samples)
    command = [sys.executable, __file__, "--memory", str(folder)]
    return list(json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout))


def least(rounds: int, ways: dict[str, Callable[[], None]]) -> dict[str, tuple[float, float]]:
    """Return the least seconds on the clock, and of processor time in all processes, of each way."""
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, way in ways.items():
            gc.collect()
            before, started = os.times(), time.perf_counter()
            way()
            after, elapsed = os.times(), time.perf_counter() - started
            # user, system, children_user, children_system
            times[name].append((elapsed, sum(after[:4]) - sum(before[:4])))
    return {name: (min(t for t, _ in found), min(t for _, t in found)) for name, found in times.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=45)
    parser.add_argument("--cues", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument(
        "--overlays", type=int, default=10, help="pydub overlays to time; the rest is in proportion"
    )
    parser.add_argument("--memory", type=Path, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if chosen.memory:
            memory(chosen.memory)
            return
        schedule, clips = session(chosen.minutes, chosen.cues)
        print(f"{chosen.minutes:g} min, {len(schedule.cues)} cues, {len(schedule.pips)} pips, {RATE} Hz mono")
        render(schedule, clips, folder / "warm.flac")
        raw = folder / "samples.f32"
        levels = mix.plan_levels(schedule, clips.__getitem__, headroom_db=1.0)
        with raw.open("wb") as file:
            for block in mix.blocks(schedule, clips.__getitem__, gain_db=levels.gain_db):
                file.write(block.tobytes())
        for suffix in (".m4a", ".mp3"):
            ways = {
                "render": lambda s=suffix: render(schedule, clips, folder / f"a{s}"),
                "ffmpeg program alone": lambda s=suffix: by_program(raw, folder / f"b{s}"),
                "PyAV alone": lambda s=suffix: by_pyav(raw, folder / f"c{s}"),
            }
            if suffix == ".mp3":
                ways["soundfile alone"] = lambda: by_soundfile(raw, folder / "d.mp3")
            times = least(chosen.rounds, ways)
            clock, work = (
                times["render"][i] / min(found[i] for way, found in times.items() if way != "render")
                for i in (0, 1)
            )
            print(f"\n{suffix}: render / fastest encode alone = {clock:.2f} (aim <= 1.25)")
            print(f"  and of processor time, which a busy machine blurs less: {work:.2f}")
            for way, (elapsed, used) in times.items():
                print(f"  {way:22} {elapsed:7.2f} s, {used:7.2f} s of processor time", flush=True)

        def mixed() -> None:
            planned = mix.plan_levels(schedule, clips.__getitem__, headroom_db=1.0)
            for _ in mix.blocks(schedule, clips.__getitem__, gain_db=planned.gain_db):
                pass

        ours = least(chosen.rounds, {"mix": mixed})["mix"][0]
        overlays = by_pydub(schedule, clips, chosen.overlays)
        graph = by_graph(schedule, clips, folder, min(chosen.cues, 200))
        print(f"\nlevels and mix          {ours:7.2f} s")
        print(f"pydub overlays          {overlays:7.2f} s = {overlays / ours:.0f} times (aim >= 20), "
              f"from {chosen.overlays} of {len(schedule.events)} events")  # fmt: skip
        print(f"ffmpeg adelay and amix  {graph:7.2f} s = {graph / ours:.0f} times, cues only, no levels")
        peaks = {minutes: peak_memory(minutes, folder / str(minutes)) for minutes in (15, 240)}
        own, child = (peaks[240][i] / peaks[15][i] for i in (0, 1))
        print(f"\npeak memory, 4 h / 15 min: {own:.2f} (aim <= 1.2), the encoder's {child:.2f}")
        for minutes, (own, child) in peaks.items():
            print(f"  {minutes} min: {own / 1024:.0f} MiB, the encoder's {child / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
