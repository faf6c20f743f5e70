"""The command line as a person meets it: exit codes, messages, JSON, and never a traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from children import run_command as run
from cuelane.cli.app import COMMANDS

HEAVY = ("numpy", "scipy", "librosa", "onnxruntime", "pydub", "pyttsx3", "pydantic", "ruamel.yaml", "piper")


def test_help_imports_nothing_heavy() -> None:
    """The whole command line with all its commands is built without one heavy library."""
    code = "import sys, cuelane.cli.app; print([name for name in sys.argv[1:] if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code, *HEAVY], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command: str) -> None:
    """Each command of the list answers --help with its usage."""
    done = run(command, "--help")
    assert done.returncode == 0
    assert f"Usage: cuelane {command}" in done.stdout
    assert done.stderr == ""


@pytest.mark.parametrize("pattern", ["build-up", "breath"])
def test_a_new_plan_can_be_scheduled_at_once(pattern: str, tmp_path: Path) -> None:
    """`new` then `schedule --estimate` works with no edit between, and says that it estimates."""
    assert run("new", pattern, "--out", "mine.yaml", cwd=tmp_path).returncode == 0
    assert (tmp_path / "plan.schema.json").exists()
    done = run("schedule", "mine.yaml", "--estimate", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "estimates" in done.stdout
    assert "Total" in done.stdout


@pytest.mark.parametrize(
    ("audio", "told"),
    [
        ("legs.yaml", "legs.yaml: is no audio; name the track that was made of it, such as legs.m4a"),
        (
            "song.schedule.json",
            "song.schedule.json: is no audio; name the track that it lies beside, such as song.m4a",
        ),
        ("none.m4a", "none.m4a: there is no such file"),
        ("song.mp3", "song.schedule.json: there is no schedule beside song.mp3; name it with --schedule"),
    ],
)
def test_what_cannot_be_checked_is_named(audio: str, told: str, tmp_path: Path) -> None:
    """The plan in place of its track, a track that is not there, one without a schedule."""
    for name in ("legs.yaml", "song.mp3"):
        (tmp_path / name).write_text("title: Legs\n", encoding="utf-8")
    done = run("check", audio, cwd=tmp_path)
    assert (done.returncode, done.stderr.strip()) == (2, f"cuelane: {told}")


def test_a_command_that_is_told_can_be_typed_as_it_stands(tmp_path: Path) -> None:
    """A name with a space in it is one argument."""
    done = run("new", "breath", "--out", "my plan.yaml", cwd=tmp_path)
    assert done.returncode == 0
    quote = '"' if os.name == "nt" else "'"
    said = f"cuelane render {quote}my plan.yaml{quote} --out {quote}my plan.m4a{quote}"
    assert done.stderr.splitlines()[-1] == said


def test_new_never_overwrites(tmp_path: Path) -> None:
    """A plan that is there is left alone, with exit code 2."""
    (tmp_path / "mine.yaml").write_text("mine", encoding="utf-8")
    done = run("new", "circuit", "--out", "mine.yaml", cwd=tmp_path)
    assert done.returncode == 2
    assert (tmp_path / "mine.yaml").read_text(encoding="utf-8") == "mine"
    assert "there is a file already" in done.stderr


def test_to_name_the_music_is_to_ask_for_the_room_over_it(small_plan: Path, tmp_path: Path) -> None:
    """`--music` needs no `--room` beside it; where no line is spoken, there is nothing to measure."""
    song = tmp_path / "song.wav"
    soundfile.write(song, 0.1 * np.random.default_rng(5).standard_normal(20 * 48_000), 48_000)
    done = run("schedule", small_plan, "--voice", "system", "--music", song)
    assert done.returncode == 0, done.stderr
    assert "set the music to" in done.stdout
    refused = run("schedule", small_plan, "--estimate", "--music", song)
    assert refused.returncode == 2
    assert "need the spoken clips" in refused.stderr


def test_json_is_all_that_is_on_standard_output(small_plan: Path) -> None:
    """`--json` prints one JSON value with intervals, facts and warnings."""
    done = run("schedule", small_plan, "--estimate", "--json")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["schema"] == "cuelane.schedule/1"
    assert {"intervals", "events", "facts", "warnings", "misfits"} <= set(data)
    assert data["estimated"] is True


def test_csv_has_a_line_for_every_event(small_plan: Path) -> None:
    """`--csv` prints a header and one row for each event."""
    done = run("schedule", small_plan, "--estimate", "--csv")
    n_events = len(json.loads(run("schedule", small_plan, "--estimate", "--json").stdout)["events"])
    assert len(done.stdout.strip().splitlines()) == n_events + 1


def test_words_that_do_not_fit_exit_with_1(tmp_path: Path) -> None:
    """The timetable is shown as far as it goes, and what does not fit is said on standard error."""
    plan = tmp_path / "long.yaml"
    plan.write_text(
        "title: T\ncautions: none\nsession:\n  - {block: B, pattern: circuit, work: 10s, exercises: [a]}\n"
        "exercises:\n  a:\n    setup: " + "Stand tall and breathe slowly. " * 5 + "\n",
        encoding="utf-8",
    )
    done = run("schedule", plan, "--estimate")
    assert done.returncode == 1
    assert "does not fit: a, round 1 (work of 10s at" in done.stderr
    assert "would work: " in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("nonsense",),
        ("schedule",),
        ("schedule", "missing.yaml"),
        ("schedule", "."),
        ("schedule", "broken.yaml"),
        ("schedule", "broken.yaml", "--pace", "9"),
        ("render", "good.yaml"),
        ("render", "good.yaml", "--out", "x.xyz"),
        ("render", "good.yaml", "--out", "no/such/folder/x.wav"),
        ("render", "good.yaml", "--out", "x.wav", "--voice", "nobody"),
        ("render", "missing.yaml", "--out", "x.wav"),
        ("new", "zigzag"),
        ("new", "circuit", "--out", "."),
        ("voices", "nobody", "--out", "x.wav"),
        ("voices", "natural"),
        ("voices", "natural", "--say", " ", "--out", "x.wav"),
        ("check", "missing.m4a"),
        ("check", "good.yaml"),
        ("check", "."),
        ("under", ".", "also-missing.mp3", "--out", "x.m4a"),
        ("under", "missing.m4a", "also-missing.mp3", "--out", "x.m4a"),
    ],
    ids=lambda arguments: " ".join(arguments),
)
def test_bad_use_exits_with_2_and_a_message(
    arguments: tuple[str, ...], tmp_path: Path, store_folder: Path
) -> None:
    """Usage that cannot work gives exit code 2, words on standard error, no traceback, and no file."""
    (tmp_path / "broken.yaml").write_text("title: [\n", encoding="utf-8")
    (tmp_path / "good.yaml").write_text("title: T\nsession: [{rest: 10s}]\n", encoding="utf-8")
    before = {path.name for path in tmp_path.iterdir()}
    done = run(*arguments, cwd=tmp_path)
    assert done.returncode == 2, (done.stdout, done.stderr)
    assert done.stderr.strip()
    assert "Traceback" not in done.stderr + done.stdout
    assert {path.name for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize("more", [(), ("--say", " "), ("--out", "x.wav")])
def test_a_voice_that_is_not_there_is_told_first(more: tuple[str, ...], tmp_path: Path) -> None:
    """Whatever else the command lacks, with the nearest name; of one that is there, what it lacks."""
    done = run("voices", "naturel", *more, cwd=tmp_path)
    assert done.returncode == 2
    assert "there is no voice called 'naturel'; did you mean natural?" in done.stderr
    assert "--out" not in done.stderr
    assert "--out" in run("voices", "natural", cwd=tmp_path).stderr


def test_voices_lists_names_and_licences() -> None:
    """Each voice that ships is listed with its engine and licence."""
    data = json.loads(run("voices", "--json").stdout)
    assert {"natural", "system", "linden"} <= {row["name"] for row in data}
    assert all(row["licence"] for row in data)
    assert all({"name", "language", "engine", "installed", "licence", "measured"} <= set(row) for row in data)
    natural = next(row for row in data if row["name"] == "natural")
    assert natural["installed"] is True
    assert natural["measured"]["n_cues"] > 0


def test_voices_say_what_was_measured_and_how(tmp_path: Path) -> None:
    """With the number of cues, what judged them, and plainly where less is understood than is aimed at."""
    folder = tmp_path / "voices"
    folder.mkdir()
    for name, match in (("good", 0.95), ("poor", 0.949)):
        (folder / f"{name}.toml").write_text(
            'engine = "system"\n[measured]\nn_cues = 200\nwords_per_min = 150\ncpu_s_per_s = 1.2\n'
            f"times_natural = 8.04\ndnsmos = 3.1\nrecall = 0.9\ncharacter_match = {match}\n",
            encoding="utf-8",
        )
    arguments = ("voices", "--folder", str(tmp_path))
    data = {row["name"]: row for row in json.loads(run(*arguments, "--json").stdout)}
    lines = [line.strip() for line in run(*arguments).stdout.splitlines()]
    good, poor = ([line.split()[:1] for line in lines].index([name]) for name in ("good", "poor"))

    assert data["poor"]["measured"]["n_cues"] == 200
    assert "Whisper" in data["poor"]["measured"]["how"]
    assert lines[good + 1 : good + 3] == [
        "150 words a minute; 1.2 s of processor for 1 s of speech, 8 times the light voice's",
        "measured on 200 cues: DNSMOS 3.10 of 5; understood were 90.0% of the words and 95.0% of the letters",
    ]
    told = "less is understood than cuelane aims at, 95% of the letters"
    assert lines[poor + 3] == told
    assert lines[good + 3] != told
    # Of cuelane's own voices too.
    matches = [row["measured"]["character_match"] for row in data.values() if row["measured"]]
    assert lines.count(told) == sum(match < 0.95 for match in matches)
    assert lines[-1].startswith("Figures: nobody listened")


def test_a_broken_definition_hides_no_voice(tmp_path: Path) -> None:
    """The others are listed, then file and line of what is wrong, and the exit is 2."""
    folder = tmp_path / "voices"
    folder.mkdir()
    (folder / "aaa.toml").write_text('title = "x"\nengine = "loud"\n', encoding="utf-8")
    (folder / "mine.toml").write_text('engine = "system"\n', encoding="utf-8")
    done = run("voices", "--folder", str(tmp_path), "--json")

    assert done.returncode == 2
    assert {"mine", "natural", "system"} <= {voice["name"] for voice in json.loads(done.stdout)}
    assert "aaa.toml:2" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_version_is_the_packages() -> None:
    """`--version` prints the version that the package has."""
    import cuelane

    assert run("--version").stdout.strip() == f"cuelane {cuelane.__version__}"


def test_python_runs_it_as_a_module(tmp_path: Path) -> None:
    """Where pip puts programs is often not on the path; `python -m cuelane` is the same command."""
    (tmp_path / "p.yaml").write_text("title: T\nsession: []\n", encoding="utf-8")
    for line in (["--help"], ["schedule", "p.yaml"]):
        by_name = run(*line, cwd=tmp_path)
        command = [sys.executable, "-m", "cuelane", *line]
        as_module = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path)
        assert (as_module.returncode, as_module.stdout, as_module.stderr) == (
            by_name.returncode,
            by_name.stdout,
            by_name.stderr,
        )
