"""No thread but the first imports anything: two first imports at once may see modules half made.

Python's import lock is one for each module, and where two threads would wait for each other it lets one go
on with a module that is not finished ("partially initialized module"). On a busy machine that happens.
"""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import soundfile

import cuelane
import roomkit
from cuelane.base import schedule as schedules

SOURCE = Path(cuelane.__file__).parent

# Each may import within a function, for this reason; none of these functions runs beside another that does.
MAY_IMPORT_LATE = {
    "batch/cluster.py": "Dask's package for clusters is an extra; looked for before any other thread runs",
    "adapt/beeps/fingerprint.py": "librosa is slow to import; adapt runs in one thread",
    "adapt/pattern_plan.py": "the YAML writer; adapt runs in one thread",
    "adapt/plan_file.py": "the YAML writer; adapt runs in one thread",
    "adapt/adapted_folder.py": "only where clips are read; adapt runs in one thread",
    "adapt/run.py": "only where a plan is given or was made; adapt runs in one thread",
    "adapt/words/islands.py": "librosa is slow to import; adapt runs in one thread",
    "audio/cache_folder.py": "only where no folder is named; asked before threads start",
    "check/run.py": "the recogniser, only with --words, after all threads have ended",
    "check/speech/second_opinion.py": "the recogniser, only with --words, after all threads have ended",
    "desk/serve.py": "in the first thread, while the server's own serves what needs no import",
    "recording/pronouncing.py": "the pronouncer; takes and adapt run in one thread",
    "recording/quiet_pydub.py": "a library that warns when it is imported; takes runs in one thread",
    "recording/strong_model.py": "the strong recogniser, an extra; takes and adapt run in one thread",
    "recording/strong_words.py": "the strong recogniser, an extra; takes and adapt run in one thread",
    "recording/recogniser.py": "the recogniser; takes and adapt run in one thread",
    "render/run.py": "what is delivered, after all is spoken",
    "speech/_model_child.py": "a process of its own, with one thread",
    "speech/_say.py": "a process of its own, with one thread",
    "speech/number_words.py": "number words; texts are prepared before threads start",
    "speech/espeak_phonemes.py": "the phonemes of the engine, which may be missing; under its lock",
    "speech/piper_config.py": "after piper_model has imported the engine",
    "speech/piper_model.py": "the engine, which may be missing; all of it at once, under its voice's lock",
    "speech/prepare.py": "number words; texts are prepared before threads start",
    "speech/style_model.py": "the engine, which may be missing; all of it at once, under its voice's lock",
    "takes/reading_script.py": "one thread",
    "takes/splitting.py": "one thread",
    "takes/voice_folder.py": "one thread",
}

WATCHED = """
import atexit, os, sys, threading, time
late = []
class Slow:
    def find_spec(self, name, path=None, target=None):
        if threading.current_thread() is not threading.main_thread():
            late.append(name)
            time.sleep(0.05)
        time.sleep(0.0005)
        return None
sys.meta_path.insert(0, Slow())
os.cpu_count = lambda: 4
sys.setswitchinterval(1e-5)
atexit.register(lambda: print(late, file=sys.stderr))
from cuelane.cli import main
main(sys.argv[1:])
"""


def test_functions_import_late_only_where_no_threads_run() -> None:
    """Below the command line, what a function needs is imported with its module, but for a named few."""
    late = set()
    for path in SOURCE.rglob("*.py"):
        name = path.relative_to(SOURCE).as_posix()
        if name.startswith("cli/"):
            continue
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef) and any(
                isinstance(node, ast.Import | ast.ImportFrom) for node in ast.walk(function)
            ):
                late.add(name)
    assert late <= set(MAY_IMPORT_LATE)


@pytest.fixture(scope="module")
def track(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A track with its schedule, and music for it: enough cues and pips that they are measured in threads."""
    sounds = roomkit.clips(roomkit.TEXTS)
    once = roomkit.session(sounds, gap_s=1.5)
    n = once.n_frames
    again = [
        replace(
            event, id=f"{event.id}-2", onset_sample=event.onset_sample + n, end_sample=event.end_sample + n
        )
        for event in once.events
    ]
    twice = replace(once, n_frames=2 * n, events=(*once.events, *again))
    session = replace(twice, intervals=(replace(once.intervals[0], end_sample=2 * n),))
    folder = tmp_path_factory.mktemp("track")
    soundfile.write(folder / "track.wav", roomkit.track(session, sounds, 4.0), roomkit.RATE)
    (folder / "track.schedule.json").write_text(schedules.to_json(session), encoding="utf-8")
    roomkit.write_music(folder / "music.wav", 8.0)
    return folder / "track.wav"


def watched(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a command in a process where each import takes longer, and note those of other threads."""
    command = [sys.executable, "-c", WATCHED, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=280, check=False)


def test_check_imports_nothing_in_its_threads(track: Path, tmp_path: Path) -> None:
    """With every import delayed a check gives its verdict, and no thread but the first imports anything."""
    done = watched("check", track, "--against", track, "--json", tmp_path / "report.json")
    assert done.stderr.splitlines()[-1] == "[]"
    assert done.returncode == 0, done.stderr
    assert json.loads((tmp_path / "report.json").read_text(encoding="utf-8"))["summary"]["events"] == 20


def test_under_imports_nothing_in_its_threads(track: Path, tmp_path: Path) -> None:
    """Nor does `under`, which measures the track and the music side by side."""
    done = watched("under", track, track.with_name("music.wav"), "--out", tmp_path / "mixed.flac")
    assert done.returncode == 0, done.stderr
    assert done.stderr.splitlines()[-1] == "[]"


def test_speech_imports_its_engine_in_one_thread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside the engine, which one thread loads while the others wait for it, no thread imports anything."""
    monkeypatch.setenv("CUELANE_CACHE", str(tmp_path / "store"))
    plan = tmp_path / "plan.yaml"
    plan.write_text(
        "title: T\ncautions: none\nsession:\n  - say: One.\n  - say: Two.\n  - say: Three.\n  - say: Four.\n",
        encoding="utf-8",
    )
    done = watched("schedule", plan)
    assert done.returncode == 0, done.stderr
    late = ast.literal_eval(done.stderr.splitlines()[-1])
    engine = ("onnxruntime", "piper", "wave", "encodings")
    assert [name for name in late if name.partition(".")[0] not in engine] == []
    assert "onnxruntime" in late
