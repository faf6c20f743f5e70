"""A check of 45 minutes beside its decoding and beside librosa's onset detection, and its memory.

Then checks of silence in WAV, two hours and eight: each beside reading the file once with libsndfile, in
processor time, which should be in proportion to the length; memory should not grow with it.

``program`` is the ffmpeg program decoding to PCM through a pipe as it is usually run; ``decode`` is our own
decoding, which has it decode in one thread.

Run by hand: ``python tests/benchmarks/bench_check.py [minutes]``. Prints ratios within one run; absolute
times depend on the machine. Libraries are loaded, and librosa's code compiled, before the clock starts.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "kit"))

import synth

N_CUES = 200


def make(folder: Path, minutes: float) -> Path:
    """Write an m4a of `minutes` with about 200 cues for each 45 minutes, and its schedule and clips."""
    from cuelane.media import encode

    every_s = minutes * 60 / max(1, round(N_CUES * minutes / 45))
    texts = [f"{text} {word}." for text in synth.CUES for word in ("Now", "Again", "Good", "Once more")][:120]
    sounds = {text: synth.speak(text) for text in texts}
    track = synth.session(minutes * 60, seed=1, work_s=3.0 * every_s, rest_s=1.5 * every_s, sounds=sounds)
    cues = [item for item in track.placed if item.kind == "cue"]
    step = max(1.0, len(cues) / max(1, round(N_CUES * minutes / 45)))
    keep = {cues[int(i * step)].id for i in range(int(len(cues) / step))}
    track.placed = [item for item in track.placed if item.kind == "pip" or item.id in keep]
    track.planned = list(track.placed)
    audio = folder / "bench.m4a"
    sound = track.samples()
    blocks = (sound[a : a + 65_536, np.newaxis] for a in range(0, len(sound), 65_536))
    encode(audio, blocks, sample_rate=track.rate, bitrate_kbps=64)
    (folder / "bench.schedule.json").write_text(track.schedule(), encoding="utf-8")
    np.savez(
        folder / "clips.npz", **{synth.clip_hash(i.sound): i.sound for i in track.planned if i.kind == "cue"}
    )
    print(f"{minutes:g} min: {sum(i.kind == 'cue' for i in track.planned)} cues, "
          f"{sum(i.kind == 'pip' for i in track.planned)} pips")  # fmt: skip
    return audio


def silent(folder: Path, hours: int) -> Path:
    """Write `hours` of silence as WAV, and a schedule of pips for it."""
    import soundfile

    from cuelane.base.schedule import Event, Schedule, ScheduledInterval, to_json

    rate, audio = 48_000, folder / f"silent-{hours}.wav"
    minute = np.zeros(60 * rate, np.int16)
    with soundfile.SoundFile(audio, "w", rate, 1, subtype="PCM_16") as file:
        for _ in range(60 * hours):
            file.write(minute)
    n_frames = 3600 * rate * hours
    work = ScheduledInterval(0, "A", "work", 1, "A", None, 0, n_frames)
    pips = tuple(
        Event(f"e{at}", "pip", "long", 0, at, at + 9_600, frequency_hz=880.0)
        for at in range(0, n_frames - rate, 60 * rate)
    )
    schedule = Schedule("Silence", "en", rate, n_frames, (work,), pips)
    audio.with_suffix(".schedule.json").write_text(to_json(schedule), encoding="utf-8")
    return audio


def child_in_silence(what: str, audio: Path) -> None:
    """Read a silent file, or check it, and print the processor's seconds and the peak memory in MB."""
    import soundfile

    from cuelane.base.schedule import load_schedule
    from cuelane.check.run import check

    schedule = load_schedule(audio.with_suffix(".schedule.json"))
    began = time.process_time()
    if what == "silence":
        assert not check(audio, schedule).ok
    else:
        with soundfile.SoundFile(audio) as file:
            while len(file.read(262_144, dtype="float32")):
                pass
    print(time.process_time() - began, peak_mb())


def peak_mb() -> float:
    # ru_maxrss would remember the parent from before this program was loaded.
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(re.search(r"VmHWM:\s+(\d+)", status)[1]) / 1024


def child(what: str, audio: Path) -> None:
    """Do one thing and print its seconds and this process's peak memory in MB."""
    folder = audio.parent
    if what == "decode":
        from cuelane.media import decode

        began = time.perf_counter()
        for _ in decode(audio):
            pass
    elif what == "program":
        from cuelane.media import ffmpeg

        began = time.perf_counter()
        command = [*ffmpeg.quiet(), "-i", str(audio), "-c:a", "pcm_f32le", "-f", "wav", "pipe:1"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, bufsize=0) as process:
            assert process.stdout is not None
            ffmpeg.enlarge_pipe(process.stdout)
            while process.stdout.read(1 << 18):
                pass
    elif what == "librosa":
        import librosa

        from cuelane.media import decode

        librosa.onset.onset_detect(y=np.zeros(22_050, np.float32), sr=22_050)
        began = time.perf_counter()
        sound = np.concatenate(list(decode(audio, sample_rate=22_050)))[:, 0]
        librosa.onset.onset_detect(y=sound, sr=22_050)
    else:
        import scipy.fft
        import scipy.ndimage
        import scipy.optimize
        import scipy.signal  # noqa: F401  # loading these takes half a second, whatever the file's length
        import soxr  # noqa: F401

        from cuelane.base.schedule import load_schedule
        from cuelane.check.run import check

        clips = np.load(folder / "clips.npz")
        store = synth.Store({key: synth.StoredClip("", 48_000, clips[key]) for key in clips.files})
        schedule = load_schedule(folder / "bench.schedule.json")
        began = time.perf_counter()
        report = check(audio, schedule, store=store)
        print(report.verdict, file=sys.stderr)
    print(time.perf_counter() - began, peak_mb())


def measure(what: str, audio: Path) -> tuple[float, float]:
    """Return (seconds, peak MB) of one thing done in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, "--child", what, str(audio)], check=True, capture_output=True
    )
    seconds, memory = done.stdout.split()
    return float(seconds), float(memory)


def main(minutes: float) -> None:
    with tempfile.TemporaryDirectory() as name:
        audio = make(Path(name), minutes)
        measure("decode", audio)
        rows = {
            what: [measure(what, audio) for _ in range(2)]
            for what in ("program", "decode", "check", "librosa")
        }
        least = {what: min(seconds for seconds, _ in runs) for what, runs in rows.items()}
        for what, runs in rows.items():
            memory = max(mb for _, mb in runs)
            to_program, to_decode = least[what] / least["program"], least[what] / least["decode"]
            print(f"{what:8s} {least[what]:7.2f} s  {to_program:5.2f} x program  {to_decode:5.2f} x decode  "
                  f"{memory:6.0f} MB")  # fmt: skip
        for hours in (2, 8):
            audio = silent(Path(name), hours)
            least_s = min(measure("libsndfile", audio)[0] for _ in range(2))
            runs = [measure("silence", audio) for _ in range(2)]
            took_s, memory = min(runs)[0], max(mb for _, mb in runs)
            print(f"{hours} h silent {took_s:6.2f} s  {took_s / least_s:5.2f} x libsndfile  {memory:6.0f} MB")
            audio.unlink()


if __name__ == "__main__":
    if len(sys.argv) > 1 and sys.argv[1] == "--child":
        what, path = sys.argv[2], Path(sys.argv[3])
        (child_in_silence if what in ("silence", "libsndfile") else child)(what, path)
    else:
        main(float(sys.argv[1]) if len(sys.argv) > 1 else 45.0)
