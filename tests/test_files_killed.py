"""A set of files is whole, old or new, wherever the work is cut off; what the dead leave is cleared up."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from cuelane.base import folder_lock, journal
from cuelane.base.errors import DeliveryError, UsageError
from cuelane.base.files import all_or_nothing, finish_interrupted
from cuelane.base.seals import digest_of, digest_of_text, listed_files, sealable_json
from cuelane.speech.definition import ClipRecording
from cuelane.speech.recorded import RecordedVoice
from cuelane.speech.voices import find_voice, voice_names
from cuelane.takes.voice_folder import INDEX, keep_clip

OPERATIONS = ("replace", "link", "unlink", "rmdir", "fsync", "mkdir")
NAMES = ("x.m4a", "x.html", "x.vtt", "x.md")


class KilledError(BaseException):
    """Stands for the end of a process: nothing that comes after it is done."""


def _deliver(folder: Path, content: str, names: tuple[str, ...] = NAMES) -> None:
    listing = folder / "x.schedule.json"
    with all_or_nothing(*(folder / name for name in names), listing, listing=listing) as staged:
        for name in names:
            staged.write_text(folder / name, f"{content} {name}")
        staged.write_listing(
            lambda files: sealable_json(json.dumps({"is": content, "files": files})), lambda *_: False
        )


def _state(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir() if path.is_file()}


def _leftovers(folder: Path) -> list[Path]:
    return [path for path in folder.iterdir() if path.name.startswith(".")]


def _cut_off(
    work: Callable[[], None], at: int, monkeypatch: pytest.MonkeyPatch, *, error: BaseException, dead: bool
) -> bool:
    """Do `work`, whose operation `at` fails, and all after it if `dead`; return whether it came to it."""
    count = 0

    def counted(real: Callable[..., Any]) -> Callable[..., Any]:
        def operation(*arguments: Any, **options: Any) -> Any:
            nonlocal count
            count += 1
            if count == at or (dead and count > at):
                raise error
            return real(*arguments, **options)

        return operation

    with monkeypatch.context() as patched:
        for name in OPERATIONS:
            patched.setattr(os, name, counted(getattr(os, name)))
        with contextlib.suppress(KilledError, KeyboardInterrupt, DeliveryError):
            work()
    return count >= at


@pytest.mark.parametrize("error", [KilledError(), KeyboardInterrupt(), OSError(5, "Input/output error")])
@pytest.mark.parametrize("dead", [True, False])
def test_a_set_is_whole_wherever_it_is_cut_off(
    error: BaseException, dead: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A kill, Ctrl-C (once, or again and again) or a failing disk at each operation: old or new, clean."""
    whole: list[dict[str, str]] = []
    for content, names in (("old", NAMES), ("new", ("x.m4a", "x.html", "x.srt"))):
        folder = tmp_path / content
        folder.mkdir()
        _deliver(folder, content, names)
        whole.append(_state(folder))
    seen = set()
    at = 0
    while True:
        at += 1
        folder = tmp_path / str(at)
        folder.mkdir()
        _deliver(folder, "old")
        # A page replaced, captions and a description that go, subtitles that are new.
        work = lambda where=folder: _deliver(where, "new", ("x.m4a", "x.html", "x.srt"))  # noqa: E731
        came_to_it = _cut_off(work, at, monkeypatch, error=error, dead=dead)
        finish_interrupted(folder)
        assert _leftovers(folder) == [], at
        assert _state(folder) in whole, at
        seen.add(whole.index(_state(folder)))
        if not came_to_it:
            break
    assert at > 20
    assert seen == {0, 1}


def test_recovery_itself_may_be_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A run that dies while it completes what another left is completed by the one after it."""
    for first in range(1, 60):
        for second in range(1, 12):
            folder = tmp_path / f"{first}-{second}"
            folder.mkdir()
            _deliver(folder, "old")
            old = _state(folder)
            if not _cut_off(
                lambda where=folder: _deliver(where, "new"),  # type: ignore[misc]
                first,
                monkeypatch,
                error=KilledError(),
                dead=True,
            ):
                return
            if not _leftovers(folder):
                break
            more = _cut_off(
                lambda where=folder: finish_interrupted(where),  # type: ignore[misc]
                second,
                monkeypatch,
                error=KilledError(),
                dead=True,
            )
            finish_interrupted(folder)
            state = _state(folder)
            assert _leftovers(folder) == []
            assert state == old or {text[:3] for name, text in state.items() if name in NAMES} == {"new"}
            assert len(state) == len(NAMES) + 1
            if not more:
                break


def test_what_a_person_wrote_after_the_kill_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between a kill and the next run a person may edit a file; it is never replaced by an old delivery's."""
    for at in range(1, 80):
        folder = tmp_path / str(at)
        folder.mkdir()
        _deliver(folder, "old")
        came_to_it = _cut_off(
            lambda where=folder: _deliver(where, "new"),  # type: ignore[misc]
            at,
            monkeypatch,
            error=KilledError(),
            dead=True,
        )
        for name in ("x.md", "x.html"):
            (folder / name).write_text(f"mine {name}", encoding="utf-8")
        finish_interrupted(folder)
        assert _leftovers(folder) == []
        assert (folder / "x.md").read_text(encoding="utf-8") == "mine x.md"
        assert (folder / "x.html").read_text(encoding="utf-8") == "mine x.html"
        if not came_to_it:
            return
    pytest.fail("the delivery has more operations than were tried")


def test_a_delivery_that_lives_is_left_alone(tmp_path: Path) -> None:
    """Another run in the same folder clears up after dead processes only."""
    with all_or_nothing(tmp_path / "slow.txt") as slow:
        slow.write_text(tmp_path / "slow.txt", "slow")
        _deliver(tmp_path, "quick")
        journal.recover(tmp_path)
    assert (tmp_path / "slow.txt").read_text() == "slow"
    assert _leftovers(tmp_path) == []


def test_many_at_once_leave_one_set(tmp_path: Path) -> None:
    """Several renders into one name: the set that stays is all of one of them."""
    errors: list[BaseException] = []

    def work(number: int) -> None:
        try:
            for _ in range(5):
                _deliver(tmp_path, f"n{number}", NAMES if number % 2 else NAMES[:2])
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    state = _state(tmp_path)
    winner = json.loads(state.pop("x.schedule.json"))["is"]
    assert {text.split()[0] for text in state.values()} == {winner}
    assert set(state) == set(NAMES if int(winner[1:]) % 2 else NAMES[:2])
    assert _leftovers(tmp_path) == []


@pytest.mark.parametrize(
    "target",
    ["../theirs.txt", "/etc/theirs.txt", "a/../../theirs.txt", "link/theirs.txt", "", "c:theirs.txt"],
)
def test_a_strangers_journal_moves_nothing_outside(target: str, tmp_path: Path) -> None:
    """A folder from elsewhere may hold a journal made up to write or delete somewhere else."""
    folder, outside = tmp_path / "folder", tmp_path / "outside"
    (folder / ".cuelane-00000000").mkdir(parents=True)
    outside.mkdir()
    (folder / "link").symlink_to(outside)
    staged = folder / ".cuelane-00000000" / "0.txt"
    staged.write_text("bad", encoding="utf-8")
    new = "sha256:" + hashlib.sha256(b"bad").hexdigest()
    move = {"target": target, "staged": "0.txt", "new": new, "old": None, "kept": "old-0"}
    text = json.dumps({"schema": "cuelane.journal/1", "direction": "forward", "moves": [move]})
    (folder / ".cuelane-00000000" / "journal.json").write_text(text, encoding="utf-8")
    finish_interrupted(folder)
    assert list(outside.iterdir()) == []
    assert not (tmp_path / "theirs.txt").exists()
    assert sorted(path.name for path in folder.iterdir()) == ["link"]


@pytest.mark.parametrize("first", [True, False], ids=["first clip", "second reading"])
def test_a_recorded_voice_is_whole_before_it_is_read(
    first: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A voice whose clips and index were cut off anywhere is completed or undone by whoever looks for it."""
    low, high = (np.full(4_800, level, np.float32) for level in (0.1, 0.2))
    seen = set()
    at = 0
    came_to_it = True
    while came_to_it:
        at += 1
        folder = tmp_path / str(at) / "voices" / "mine"
        folder.mkdir(parents=True)
        if not first:
            keep_clip(folder, 1, "One.", low)
            keep_clip(folder, 2, "Two.", low)
        work = lambda where=folder: keep_clip(where, 1, "One.", high)  # noqa: E731
        came_to_it = _cut_off(work, at, monkeypatch, error=KilledError(), dead=True)
        plan_folder = tmp_path / str(at)
        there = "mine" in voice_names(plan_folder)
        assert there or first
        assert _leftovers(folder) == [], at
        if there:
            found = RecordedVoice(find_voice("mine", plan_folder)).find("One.")
            assert isinstance(found, ClipRecording), at
            assert all(digest_of(folder / name) == row for name, row in listed_files(folder / INDEX).items())
            seen.add(float(soundfile.read(found.path)[0].max()) > 0.15)
        else:
            seen.add(False)
    assert at > 10
    assert seen == {False, True}


def test_a_voice_that_links_outside_is_not_settled(tmp_path: Path) -> None:
    """What somebody left in a folder elsewhere is not touched for a link beside a plan."""
    staging = tmp_path / "outside" / ".cuelane-00000000"
    staging.mkdir(parents=True)
    (tmp_path / "plan" / "voices").mkdir(parents=True)
    (tmp_path / "plan" / "voices" / "mine").symlink_to(tmp_path / "outside")
    voice_names(tmp_path / "plan")
    with pytest.raises(UsageError):
        find_voice("mine", tmp_path / "plan")
    assert staging.is_dir()


def test_check_tells_a_mixed_set(tmp_path: Path, store_folder: Path) -> None:
    """A page, captions or chapters of another render are a fault; a description that was edited is a note."""
    from cuelane.audio.store import ClipStore
    from cuelane.base.schedule import load_schedule
    from cuelane.check.run import check
    from cuelane.check.set_files import with_set
    from cuelane.render.run import render

    plan, audio = tmp_path / "plan.yaml", tmp_path / "x.wav"
    text = (
        "title: {}\ncautions: none\nclosing: false\nsession: [{{pattern: script, block: A, intervals: "
        "[{{kind: work, length: 6s, exercise: A}}]}}]\nexercises: {{A: {{}}}}\n"
    )
    old = {}
    for title in ("One", "Two"):
        old = {path.name: path.read_bytes() for path in tmp_path.glob("x.*")}
        plan.write_text(text.format(title), encoding="utf-8")
        render(plan, audio, store=ClipStore())
    schedule = audio.with_suffix(".schedule.json")
    report = check(audio, load_schedule(schedule), store=ClipStore())
    assert report.ok
    assert with_set(report, audio, schedule) == report
    for name in ("x.html", "x.vtt", "x.chapters.json"):
        new = (tmp_path / name).read_bytes()
        (tmp_path / name).write_bytes(old[name])
        told = with_set(report, audio, schedule)
        assert not told.ok
        assert [fault.kind for fault in told.faults] == ["mixed set"]
        assert told.faults[0].message.startswith(name)
        (tmp_path / name).write_bytes(new + b"\n")
        assert with_set(report, audio, schedule).ok
        assert name in with_set(report, audio, schedule).notes[-1]
        (tmp_path / name).write_bytes(new)
    (tmp_path / "x.md").write_bytes(old["x.md"])
    assert "x.md was changed since it was written" in with_set(report, audio, schedule).notes[-1]


def test_nothing_stays_where_a_lock_is_a_file_inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on Windows: the lock's file cannot be deleted while it is held, and so not the folder around it."""
    held: set[Path] = set()
    unlink = os.unlink

    def take(folder: Path) -> Callable[[], object] | None:
        path = folder / ".cuelane.lock"
        if path in held:
            return None
        path.touch()
        held.add(path)

        def release() -> None:
            held.remove(path)
            path.unlink()

        return release

    def refusing(path: str | Path, *, dir_fd: int | None = None) -> None:
        # With the number of an open folder only the last part of the name is told.
        if Path(path) in held or (dir_fd is not None and path in {one.name for one in held}):
            raise PermissionError(13, "The process cannot access the file")
        unlink(path, dir_fd=dir_fd)

    monkeypatch.setattr(folder_lock, "_take", take)
    monkeypatch.setattr(os, "unlink", refusing)
    _deliver(tmp_path, "new")
    left = tmp_path / ".cuelane-00000000"
    left.mkdir()
    (left / "0.txt").write_text("half", encoding="utf-8")
    journal.recover(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {*NAMES, "x.schedule.json"}
    assert held == set()


def test_a_new_file_that_is_no_longer_whole_takes_no_place(tmp_path: Path) -> None:
    """A disk that lost a part of it after the power failed: the set that was there stays, and is whole."""
    old, staging = tmp_path / "x.md", tmp_path / ".cuelane-00000000"
    old.write_text("old", encoding="utf-8")
    staging.mkdir()
    os.link(old, staging / "old-0")
    for name, text in (("0.md", "new, but cut"), ("1.vtt", "new")):
        (staging / name).write_text(text, encoding="utf-8")
    moves = [
        journal.FileMove("x.md", "0.md", digest_of_text("new, but cut off"), digest_of_text("old"), "old-0"),
        journal.FileMove("x.vtt", "1.vtt", digest_of_text("new"), None, "old-1"),
    ]
    journal._write(staging, "forward", moves)
    journal.recover(tmp_path)
    assert _state(tmp_path) == {"x.md": "old"}
    assert _leftovers(tmp_path) == []
