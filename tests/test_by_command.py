"""What a person meets at the command line when something went wrong: told by commands and files alone.

Nothing here knows how the program is made: each test runs commands and looks at what they say and leave.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
from collections.abc import Callable
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from children import run_command

PLAN = """\
title: {title}
cautions: none
lead_in: 3s
closing: false
session: [{{pattern: script, block: A, intervals: [{{kind: work, length: {length}, exercise: A}}]}}]
exercises: {{A: {{announce: []}}}}
"""
SPOKEN = "title: T\ncautions: none\nclosing: false\npips: false\nsession: [{{say: {say}}}]\n"
POSIX = pytest.mark.skipif(os.name == "nt", reason="SIGKILL and limits of a process are POSIX's")


def kill_at(at: int, counter: str) -> None:
    """Have this process kill itself before its change of a name number `at`; keep their number in a file."""
    count = 0

    def counted(real: Callable[..., Any]) -> Callable[..., Any]:
        def operation(*arguments: Any, **options: Any) -> Any:
            nonlocal count
            count += 1
            if count == at:
                os.kill(os.getpid(), signal.SIGKILL)
            Path(counter).write_text(str(count), encoding="ascii")
            return real(*arguments, **options)

        return operation

    for name in ("replace", "rename", "link", "unlink", "remove"):
        setattr(os, name, counted(getattr(os, name)))


def take_no_large_file() -> None:
    """Let no file of this process grow beyond a kilobyte, as on a disk that is full."""
    import resource

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000, 1_000))


def write_plan(folder: Path, title: str, length: str = "6s") -> None:
    (folder / "plan.yaml").write_text(PLAN.format(title=title, length=length), encoding="utf-8")


@POSIX
def test_a_render_that_is_killed_leaves_one_set_for_the_next_command(tmp_path: Path) -> None:
    """Killed amid its renames: after the next command, track, schedule and page are of one render."""
    started = tmp_path / "started"
    started.mkdir()
    write_plan(started, "First")
    assert run_command("render", "plan.yaml", "--out", "x.wav", cwd=started).returncode == 0
    write_plan(started, "Second", "9s")
    n_operations = 0
    for share in (None, 0.5):
        folder = tmp_path / f"cut-{share}"
        shutil.copytree(started, folder)
        at = 0 if share is None else round(share * n_operations)
        first = partial(kill_at, at, str(tmp_path / "counted"))
        done = run_command("render", "plan.yaml", "--out", "x.wav", cwd=folder, first=first)
        if share is None:
            assert done.returncode == 0, done.stderr
            n_operations = int((tmp_path / "counted").read_text(encoding="ascii"))
            assert n_operations > 10
            continue
        assert done.returncode == -signal.SIGKILL
        done = run_command("check", "x.wav", cwd=folder)
        assert done.returncode == 0, done.stdout + done.stderr
        names = {path.name for path in folder.iterdir()}
        assert [name for name in names if name.startswith(".")] == []
        pages = {name: (folder / name).read_text(encoding="utf-8") for name in names if name != "x.wav"}
        pages.pop("plan.yaml")
        titled = {next((t for t in ("First", "Second") if t in text), None) for text in pages.values()}
        assert len(titled - {None}) == 1, {name: text[:60] for name, text in pages.items()}


def test_a_store_without_notes_or_with_a_wrong_one_speaks_the_right_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Notes deleted, and one line's note copied over another's: what is missing is spoken again."""
    store = tmp_path / "store"
    monkeypatch.setenv("CUELANE_CACHE", str(store))

    def clip_of(say: str, *, times: int = 1) -> str:
        (tmp_path / "plan.yaml").write_text(SPOKEN.format(say=say), encoding="utf-8")
        for _ in range(times):
            done = run_command("render", "plan.yaml", "--no-extras", "--out", "x.wav", cwd=tmp_path)
            assert done.returncode == 0, done.stderr
        events = json.loads((tmp_path / "x.schedule.json").read_text(encoding="utf-8"))["events"]
        return next(str(event["clip"]) for event in events if event["text"] == say)

    recipes: dict[str, Path] = {}
    clips = {}
    known: set[Path] = set()
    # The first brings the title's clip, too.
    for say in ("Rest.", "Kneel.", "Stand up."):
        clips[say] = clip_of(say)
        recipes[say] = next(path for path in store.rglob("recipes/*/*.json") if path not in known)
        known = set(store.rglob("recipes/*/*.json"))
    for note in store.rglob("audio/*/*.json"):
        note.unlink()
    assert clip_of("Kneel.", times=2) == clips["Kneel."]
    shutil.copy(recipes["Stand up."], recipes["Kneel."])
    assert clip_of("Kneel.") == clips["Kneel."]


@pytest.mark.parametrize("sign", ["n", "é", "漢", "𝄞"])
def test_a_plan_may_have_the_longest_name_that_a_file_can_have(sign: str, tmp_path: Path) -> None:
    """255 bytes, whatever their number of characters: temporary names must not be longer."""
    stem = sign * ((255 - len(".yaml")) // len(sign.encode()))
    name = stem + "n" * (255 - len(f"{stem}.yaml".encode())) + ".yaml"
    done = run_command("new", "circuit", "--out", name, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / name).read_text(encoding="utf-8").startswith(("title:", "#"))


def test_a_plan_that_new_wrote_is_not_called_another_s(tmp_path: Path) -> None:
    """It is kept, as it may have been changed; what is said of it is true, and how to go on."""
    assert run_command("new", "circuit", cwd=tmp_path).returncode == 0
    before = (tmp_path / "plan.yaml").read_bytes()
    done = run_command("new", "flow", cwd=tmp_path)
    assert done.returncode == 2
    assert "was not written by cuelane" not in done.stderr
    assert (
        "plan.yaml: there is a file already, and it is yours, also if `cuelane new` wrote it" in done.stderr
    )
    assert (tmp_path / "plan.yaml").read_bytes() == before
    assert run_command("new", "flow", "--force", cwd=tmp_path).returncode == 0
    assert (tmp_path / "plan.yaml").read_bytes() != before


@POSIX
@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_a_disk_that_takes_no_more_is_told_with_its_cause(suffix: str, tmp_path: Path) -> None:
    """The system's reason, not the "System error." of the library that writes, and nothing is left."""
    write_plan(tmp_path, "Full")
    # What is spoken is in the store then, and the track is the first large file.
    assert run_command("schedule", "plan.yaml", cwd=tmp_path).returncode == 0
    done = run_command("render", "plan.yaml", "--out", f"x{suffix}", cwd=tmp_path, first=take_no_large_file)
    assert done.returncode == 3
    assert "System error" not in done.stderr
    assert os.strerror(errno.EFBIG) in done.stderr
    assert "Traceback" not in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["plan.yaml"]


def test_a_voice_that_is_not_there_is_told_with_its_place(tmp_path: Path) -> None:
    """A misspelt voice in a plan is an error with line and column, and the word that was meant."""
    plan = "title: T\nvoice: naturall\nsession:\n- say: One.\n"
    (tmp_path / "plan.yaml").write_text(plan, encoding="utf-8")
    done = run_command("schedule", "plan.yaml", cwd=tmp_path)
    assert done.returncode == 2
    assert "plan.yaml:2:8" in done.stderr
    assert "did you mean 'natural'?" in done.stderr


def test_no_two_pips_sound_at_once_however_short_the_intervals(tmp_path: Path) -> None:
    """Intervals of 10 ms: each pip ends before the next begins, or the plan is refused with its place."""
    rows = ["{kind: work, length: 10ms, exercise: A}", "{kind: rest, length: 10ms}"] * 3
    for n_first in (0, 1):
        first = ["{kind: work, length: 5s, exercise: A}"] * n_first
        text = PLAN.format(title="Short", length="6s")
        text = text.replace("{kind: work, length: 6s, exercise: A}", ", ".join([*first, *rows]))
        (tmp_path / "plan.yaml").write_text(text, encoding="utf-8")
        done = run_command("schedule", "plan.yaml", "--json", cwd=tmp_path)
        assert done.returncode in (0, 2), done.stderr
        if done.returncode == 2:
            assert "plan.yaml:5:" in done.stderr
            continue
        report: Any = json.loads(done.stdout)
        pips = [row for row in report["events"] if row["kind"] == "pip"]
        for one, other in pairwise(sorted(pips, key=lambda row: int(row["onset_sample"]))):
            assert one["end_sample"] <= other["onset_sample"]
