"""Run by hand: music under a track, on real music and at full length.

    python tests/benchmarks/bench_under.py MUSIC...                what the finished file does, song by song
    python tests/benchmarks/bench_under.py --minutes 45 MUSIC...   time against the encoder alone
    python tests/benchmarks/bench_under.py MUSIC... --memory 5 45 120

Prints; asserts nothing. Ratios hold within one run only: the two are timed in turn, and each pair has its
own. Any music will do; game data packages hold some.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "kit"))

import roomkit
import synth
from cuelane.audio.clip import Clip
from cuelane.audio.pip_specs import pip_for
from cuelane.base import schedule as schedules
from cuelane.base.schedule import Event, Schedule
from cuelane.check.run import check
from cuelane.hearing.bands import band_powers, full_scale_db_spl, spectrum_levels_db
from cuelane.hearing.room import room
from cuelane.hearing.sii import speech_intelligibility_index
from cuelane.media import decode, encode
from cuelane.meter import Meter
from cuelane.render.mix import blocks, plan_levels
from cuelane.speech.finish import finish
from cuelane.under import UnderOptions, under
from cuelane.under.grid import node_frames
from cuelane.under.playlist import lay_out
from cuelane.under.song import read_song

RATE = roomkit.RATE


def spoken(folder: Path | None) -> dict[str, roomkit.Wave]:
    """The WAV files of a folder as clips, or speech-like sound."""
    if folder is None:
        return roomkit.clips(tuple(synth.CUES[:16]))
    clips = {}
    for path in sorted(folder.glob("*.wav")):
        raw = np.concatenate(list(decode(path, sample_rate=RATE)))[:, 0]
        samples = finish(raw, RATE, synthetic=True).samples
        clips[synth.clip_hash(samples)] = samples
    return clips


def long_session(sounds: dict[str, roomkit.Wave], minutes: float) -> Schedule:
    """Cues at random distances and a countdown after every seventh."""
    rng, n_frames = np.random.default_rng(0), round(minutes * 60 * RATE)
    events: list[Event] = []
    at, names = 2 * RATE, list(sounds)
    while at < n_frames - 14 * RATE:
        clip = names[len(events) % len(names)]
        end = at + len(sounds[clip])
        events.append(Event(f"e{len(events):05d}", "cue", "form", 0, at, end, text=clip[-6:], clip=clip))
        at = end + round(rng.uniform(0.5, 9) * RATE)
        if len(events) % 11 == 7:
            for i in range(4):
                pip = pip_for("work", "short" if i < 3 else "long")
                name = f"e{len(events):05d}"
                stop = at + pip.n_frames
                events.append(Event(name, "pip", pip.role, 0, at, stop, frequency_hz=pip.frequency_hz))
                at += RATE
    return Schedule("Bench", "en", RATE, n_frames, (), tuple(events))


def write_track(folder: Path, schedule: Schedule, sounds: dict[str, roomkit.Wave], suffix: str) -> Path:
    path = folder / f"track{suffix}"
    levels = plan_levels(schedule, sounds.__getitem__, headroom_db=1.0)
    encode(path, blocks(schedule, sounds.__getitem__, gain_db=levels.gain_db), sample_rate=RATE)
    (folder / "track.schedule.json").write_text(schedules.to_json(schedule), encoding="utf-8")
    return path


class Store:
    def __init__(self, sounds: dict[str, roomkit.Wave]) -> None:
        self.sounds = sounds

    def by_hash(self, sha256: str) -> Clip | None:
        samples = self.sounds.get(sha256)
        return None if samples is None else Clip("", "", RATE, samples, sha256)


def song_by_song(music: list[Path], sounds: dict[str, roomkit.Wave]) -> None:
    schedule = long_session(sounds, 3.0)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        track = write_track(folder, schedule, sounds, ".wav")
        voice = np.concatenate(list(decode(track, channels=1))).astype(np.float64)[:, 0]
        for song in music:
            facts = room(schedule, sounds.__getitem__, music=song, stretch="loudest")
            safe_lu = round(min(facts.understood_to_lu or 0.0, 0.0), 1)
            for level_lu in (-3.0, safe_lu):
                one_song(folder, track, voice, song, level_lu, sounds, schedule)


def one_song(
    folder: Path,
    track: Path,
    voice: np.ndarray,
    song: Path,
    level_lu: float,
    sounds: dict[str, roomkit.Wave],
    schedule: Schedule,
) -> None:
    made = under(track, [song], folder / "made.wav", UnderOptions(music_level_lu=level_lu))
    gain = 10 ** (made.plan.gain_db / 20)
    left = np.concatenate(list(decode(made.out, channels=1))).astype(np.float64)[:, 0] - voice * gain
    n_nodes = -(-schedule.n_frames // node_frames(RATE))
    songs = [read_song(song, RATE, schedule.n_frames)]
    bed = lay_out(songs, n_nodes, made.speech_lufs + level_lu, RATE, "loop")
    full = gain * np.concatenate([block.mean(axis=1) for block in bed.blocks(2, 128)])[: len(left)]
    full_scale_db = full_scale_db_spl(made.speech_lufs + made.plan.gain_db)
    late, back, indexes = [], [], []
    ends = [need.event.end_sample for need in made.plan.needs]
    onsets = [*[need.event.onset_sample for need in made.plan.needs][1:], schedule.n_frames]
    for need, end, following in zip(made.plan.needs, ends, onsets, strict=True):
        onset = need.event.onset_sample
        before = slice(onset - 50 * RATE // 1000, onset)
        late.append(level_db(left[before], full[before]) + need.depth_lu)
        if following - end > 1.7 * RATE:
            after = slice(end + 6 * RATE // 10, end + 9 * RATE // 10)
            back.append(level_db(left[after], full[after]))
        if need.event.kind == "cue":
            span = slice(onset, need.event.end_sample)
            indexes.append(
                speech_intelligibility_index(
                    spectrum_levels_db(band_powers(voice[span] * gain, RATE), full_scale_db),
                    spectrum_levels_db(band_powers(left[span], RATE), full_scale_db),
                )
            )
    found = check(made.out, schedule, store=Store(sounds))
    depths = [need.depth_lu for need in made.plan.needs]
    slope = float(np.abs(np.diff(made.plan.music_db)).max()) / 10
    lowest, highest = min(back, default=0.0), max(back, default=0.0)
    print(f"{song.name}, music {level_lu:+.1f} LU")
    print(f"  {made.loudness_lufs:.2f} LUFS, {made.true_peak_dbtp:.2f} dBTP")
    print(f"  depth {min(depths):.1f} to {max(depths):.1f} LU, index in the file {min(indexes):.2f} at least")
    print(f"  50 ms before onset {max(late):+.2f} dB over its depth at most; steepest {slope:.3f} dB/ms")
    print(f"  0.6 s after its end {lowest:+.2f} to {highest:+.2f} dB")
    print(f"  the whole dipped by {made.plan.deepest_peak_dip_db:.1f} dB for peaks")
    print(
        f"  short of target {len(made.short_of_target)}, check {found.summary.matched}/{found.summary.events}"
    )
    print(f"  largest timing error {found.summary.largest_ms:.3f} ms", flush=True)


def level_db(part: np.ndarray, whole: np.ndarray) -> float:
    return float(10 * np.log10((np.square(part).sum() + 1e-12) / (np.square(whole).sum() + 1e-12)))


def full_length(minutes: float, music: list[Path], sounds: dict[str, roomkit.Wave], pairs: int) -> None:
    schedule = long_session(sounds, minutes)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        track = write_track(folder, schedule, sounds, ".m4a")
        report = under(track, music, folder / "made.wav")
        print(f"{minutes:g} min, {len(schedule.events)} events, {len(report.songs)} of {len(music)} songs")
        ratios = []
        for _ in range(pairs):
            begun = Begun()
            whole, used = timed(lambda begun=begun: under(track, music, folder / "made.m4a", progress=begun))
            alone, alone_used = timed(lambda: encode_again(folder))
            ratios.append(whole / alone)
            print(
                f"  under {whole:.1f} s (measuring {begun.after_s:.1f}), encoder alone {alone:.1f} s: "
                f"{whole / alone:.2f}; processor {used:.1f} s (measuring {begun.processor_s:.1f}) "
                f"and {alone_used:.1f} s",
                flush=True,
            )
        print(f"  ratio {min(ratios):.2f} to {max(ratios):.2f}, median {np.median(ratios):.2f}")
        meter = Meter(RATE, 2)
        for block in decode(folder / "made.m4a", channels=2):
            meter.push(block)
    print(f"  planned {report.plan.loudness_lufs:.2f} LUFS, decoded {meter.integrated_lufs:.2f} LUFS")
    print(f"  decoded true peak {meter.true_peak_dbtp:.2f} dBTP", flush=True)


class Begun:
    """Notes when the first block is on its way to the encoder."""

    def __init__(self) -> None:
        self._started, self._used = time.perf_counter(), processor_s()
        self.after_s = self.processor_s = 0.0

    def __call__(self, done: int, total: int) -> None:
        if not self.after_s:
            self.after_s = time.perf_counter() - self._started
            self.processor_s = processor_s() - self._used


def encode_again(folder: Path) -> None:
    blocks = decode(folder / "made.wav", channels=2)
    encode(folder / "again.m4a", blocks, sample_rate=RATE, n_channels=2)


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Return what a job took by the clock, and in processor time of all its processes, in seconds."""
    started, used = time.perf_counter(), processor_s()
    work()
    return time.perf_counter() - started, processor_s() - used


def processor_s() -> float:
    """Return the processor time of this process and of those it has waited for."""
    return sum(
        usage.ru_utime + usage.ru_stime
        for usage in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


def memory(minutes: float, music: list[Path], sounds: dict[str, roomkit.Wave]) -> None:
    """Print the most memory of a process that does nothing else."""
    schedule = long_session(sounds, minutes)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        track = write_track(folder, schedule, sounds, ".m4a")
        program = (
            "import resource, sys; from pathlib import Path; from cuelane.under import under\n"
            "track, out, *music = map(Path, sys.argv[1:]); under(track, music, out)\n"
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)"
        )
        arguments = map(str, (track, folder / "made.m4a", *music))
        said = subprocess.run(
            [sys.executable, "-c", program, *arguments], check=True, capture_output=True, text=True
        ).stdout
    print(f"{minutes:g} min: {said.strip()} MB at most", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("music", nargs="+", type=Path)
    parser.add_argument("--minutes", type=float)
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--memory", type=float, nargs="*", help="minutes; only memory, of each")
    parser.add_argument(
        "--clips", type=Path, help="a folder of spoken WAV files; speech-like sound if absent"
    )
    options = parser.parse_args()
    sounds = spoken(options.clips)
    for minutes in options.memory or ():
        memory(minutes, options.music, sounds)
    if options.minutes:
        full_length(options.minutes, options.music, sounds, options.pairs)
    elif not options.memory:
        song_by_song(options.music, sounds)


if __name__ == "__main__":
    main()
