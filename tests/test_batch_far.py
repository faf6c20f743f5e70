"""Results at an address of fsspec: the same bytes, kept as on a disk, and nobody's file replaced."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fsspec.implementations.dirfs import DirFileSystem
from fsspec.implementations.local import LocalFileSystem
from fsspec.implementations.memory import MemoryFileSystem

from cuelane.base.errors import CuelaneError, DeliveryError, UsageError
from cuelane.batch import far_parts, one_track
from cuelane.batch.far_folder import FarFolder, is_address
from cuelane.batch.jobs_made import Order
from cuelane.batch.run import orders_of, run_batch
from cuelane.batch.tracks import Asked, tracks
from cuelane.cli.app import run
from test_batch import write

FAR = "memory://winter/tracks"


@pytest.fixture
def memory() -> Iterator[MemoryFileSystem]:
    """The filesystem in this process's memory, empty before and after."""
    found = MemoryFileSystem()
    found.store.clear()
    yield found
    found.store.clear()


def order_for(plan: Path, out: str, *, force: bool = False) -> Order:
    (found,) = orders_of(
        tracks([plan], None, Asked(formats=("wav",), variants=("plain",))), out, {}, force=force
    )
    return found


def files_at(memory: MemoryFileSystem) -> dict[str, bytes]:
    """Return every file's content by its path from the folder of results."""
    return {
        path.removeprefix("/winter/tracks/"): memory.cat_file(path) for path in memory.find("/winter/tracks")
    }


@pytest.mark.parametrize(
    ("out", "far"),
    [
        ("s3://bucket/x", True),
        ("file:///tmp/x", True),
        ("dir::file:///x", True),
        ("S3://bucket/x", True),
        ("File:///tmp/x", True),
        ("tracks", False),
        ("C:\\tracks", False),
        ("a:b/c", False),
        ("", False),
    ],
)
def test_an_address_is_told_from_a_folder(out: str, far: bool) -> None:
    """By its scheme and two strokes; a drive of Windows is none."""
    assert is_address(out) is far


def test_capitals_in_the_kind_of_an_address_count_for_nothing() -> None:
    """RFC 3986, section 3.1; what follows the kind is kept as it is."""
    assert FarFolder.at("FILE:///Winter/Tracks").root == FarFolder.at("file:///Winter/Tracks").root


def test_a_track_put_at_an_address_is_as_on_a_disk(tmp_path: Path, memory: MemoryFileSystem) -> None:
    """Byte for byte, its record last and nothing temporary left; kept while nothing changes."""
    plan = write(tmp_path, "one")
    here = tmp_path / "here"
    order = order_for(plan, FAR)
    assert order.out == FAR
    assert one_track.made(order_for(plan, str(here))).state == "made"
    assert one_track.made(order).state == "made"
    found = files_at(memory)
    local = {
        path.relative_to(here).as_posix(): path.read_bytes() for path in here.rglob("*") if path.is_file()
    }
    name = ".batch/one.wav.json"
    assert {**found, name: b""} == {**local, name: b""}
    assert json.loads(found[name]) == {
        key: value for key, value in json.loads(local[name]).items() if key != "seal"
    }
    assert one_track.made(order).state == "kept"
    assert files_at(memory) == found

    again = run_batch([order], cluster=None, workers=1, progress=lambda done, total: None)
    assert [one.state for one in again] == ["kept"]
    memory.rm_file("/winter/tracks/one.vtt")
    assert one_track.made(order).state == "made"
    assert files_at(memory) == found


def test_a_file_of_somebody_else_at_an_address_is_kept(tmp_path: Path, memory: MemoryFileSystem) -> None:
    """It is named, and nothing is put; with force it is replaced. So is one that was changed since."""
    plan = write(tmp_path, "one")
    memory.pipe_file("/winter/tracks/one.md", b"# my own notes")
    outcome = one_track.made(order_for(plan, FAR))
    assert (outcome.state, outcome.code) == ("failed", 2)
    assert "one.md: there is a file already" in outcome.message
    assert files_at(memory) == {"one.md": b"# my own notes"}
    assert one_track.made(order_for(plan, FAR, force=True)).state == "made"
    memory.pipe_file("/winter/tracks/one.vtt", b"WEBVTT mine")
    write(tmp_path, "one", "Sit down slowly.")
    assert "one.vtt: there is a file already" in one_track.made(order_for(plan, FAR)).message
    assert memory.cat_file("/winter/tracks/one.vtt") == b"WEBVTT mine"


def test_another_format_at_an_address_is_refused_and_why_is_told(
    tmp_path: Path, memory: MemoryFileSystem
) -> None:
    """The files beside it are the other format's; nothing is put, and that format stays as it is."""
    plan = write(tmp_path, "one")
    order = order_for(plan, FAR)
    assert one_track.made(order).state == "made"
    before = files_at(memory)
    outcome = one_track.made(replace(order, suffix=".flac"))
    assert (outcome.state, outcome.code) == ("failed", 2)
    assert "goes with this track in another format" in outcome.message
    assert files_at(memory) == before
    assert one_track.made(order).state == "kept"


def test_what_no_longer_goes_with_a_track_is_taken_away(tmp_path: Path, memory: MemoryFileSystem) -> None:
    """Captions of an earlier session do not stay beside the new one, unless somebody has changed them."""
    plan = write(tmp_path, "one")
    order = order_for(plan, FAR)
    with_srt = replace(order, options={**order.options, "subtitles": True})
    assert one_track.made(with_srt).state == "made"
    assert "one.srt" in files_at(memory)
    write(tmp_path, "one", "Sit down slowly.")
    assert one_track.made(order).state == "made"
    assert "one.srt" not in files_at(memory)
    assert one_track.made(with_srt).state == "made"
    memory.pipe_file("/winter/tracks/one.srt", b"mine")
    assert one_track.made(order).state == "made"
    assert files_at(memory)["one.srt"] == b"mine"


def test_a_track_that_was_put_half_way_is_finished(
    tmp_path: Path, memory: MemoryFileSystem, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also by a plan that has changed again meanwhile: both the old files and the new ones are ours."""
    plan = write(tmp_path, "one")
    order = order_for(plan, FAR)
    assert one_track.made(order).state == "made"
    put, n_put = FarFolder.put, 0

    def broken(self: FarFolder, name: str, content: Path | bytes) -> None:
        nonlocal n_put
        n_put += 1
        if n_put == 4:
            raise OSError("the line is cut")
        put(self, name, content)

    write(tmp_path, "one", "Sit down slowly.")
    with monkeypatch.context() as cut:
        cut.setattr(FarFolder, "put", broken)
        outcome = one_track.made(order)
    assert (outcome.state, outcome.code) == ("failed", 3)
    assert "the line is cut" in outcome.message
    assert json.loads(memory.cat_file("/winter/tracks/.batch/one.wav.json"))["basis"] == ""
    write(tmp_path, "one", "Sit down, and wait.")
    assert one_track.made(order).state == "made"
    assert one_track.made(order_for(plan, str(tmp_path / "x"))).state == "made"
    assert one_track.made(order).state == "kept"
    assert not [name for name in files_at(memory) if ".part-" in name]
    assert files_at(memory)["one.wav"] == (tmp_path / "x" / "one.wav").read_bytes()


def test_what_fails_while_it_is_put_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Through a folder of another filesystem too: the temporary file is taken away again."""
    (tmp_path / "old.txt").write_bytes(b"old")
    far = FarFolder(DirFileSystem(str(tmp_path), LocalFileSystem()), "sub", "dir://sub")
    far.put("new.txt", b"new")
    assert (tmp_path / "sub" / "new.txt").read_bytes() == b"new"
    far.put("new.txt", tmp_path / "old.txt")
    assert far.digest("new.txt") == FarFolder.at(f"file://{tmp_path.as_posix()}").digest("old.txt")

    def refuse(*_: object, **__: object) -> None:
        raise OSError("no room")

    monkeypatch.setattr(far.fs, "mv", refuse)
    with pytest.raises(OSError, match="no room"):
        far.put("new.txt", b"newer")
    assert [path.name for path in (tmp_path / "sub").iterdir()] == ["new.txt"]
    assert (tmp_path / "sub" / "new.txt").read_bytes() == b"old"


def test_the_command_takes_an_address(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Across processes, a plan's folder for each format; an address that cannot be is refused at once."""
    plan = write(tmp_path, "one")
    out = (tmp_path / "far away").as_uri().replace("%20", " ")
    for state in ("made", "kept"):
        every = ["batch", str(plan), "--out", out, "-f", "wav", "-f", "flac", "--variant", "once", "--json"]
        assert run(every) == 0
        assert [one["state"] for one in json.loads(capsys.readouterr().out)["tracks"]] == [state, state]
    assert (tmp_path / "far away" / "flac" / "one-once.flac").is_file()
    assert not list((tmp_path / "far away").rglob(".part-*"))


@pytest.mark.parametrize(
    ("out", "kind", "message"),
    [
        ("nowhere-such://x", UsageError, "cannot be used"),
        ("memory://winter", UsageError, "only the process that puts a file there finds it"),
        # Port 1 is reserved (RFC 1078) and nobody listens there.
        ("ftp://127.0.0.1:1/x", DeliveryError, "cannot be reached"),
        ("file:///dev/null/x", DeliveryError, "cannot be used"),
    ],
)
def test_a_wrong_address_is_told_before_any_track_is_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, out: str, kind: type[CuelaneError], message: str
) -> None:
    """For the tracks and for shared clips; no track is begun."""
    plan = write(tmp_path, "one")
    monkeypatch.setattr("cuelane.batch.run.run_batch", lambda *_, **__: pytest.fail("a track was begun"))
    monkeypatch.chdir(tmp_path)
    for given in (["--out", out], ["--clips", out]):
        with pytest.raises(kind, match=message) as caught:
            run(["batch", str(plan), *given])
        assert caught.value.exit_code == (2 if kind is UsageError else 3)
        # As it was typed, so that it can be found on the command line.
        assert str(caught.value).startswith(f"{out}: ")


@pytest.mark.parametrize("method", ["pipe_file", "cat_file", "rm_file", "ls"])
@pytest.mark.parametrize(
    ("error", "message"),
    [
        (PermissionError(13, "Forbidden"), "does not let this account do that"),
        (FileNotFoundError("The bucket does not exist"), "there is no such place"),
        (RuntimeError("Unable to locate credentials"), r"Unable to locate credentials \(RuntimeError\)"),
        (NotImplementedError(), "can only be read"),
    ],
)
def test_an_address_is_tried_by_what_will_be_done_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, method: str, error: Exception, message: str
) -> None:
    """Whichever step is refused, and with whatever kind of error; without one nothing is left there."""
    address = (tmp_path / "far").as_uri()
    assert FarFolder.tried(address).root.endswith("far")
    assert list((tmp_path / "far").iterdir()) == []

    def refuse(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(LocalFileSystem, method, refuse)
    with pytest.raises(DeliveryError, match=message):
        FarFolder.tried(address)


@pytest.mark.parametrize(
    "error",
    # What fsspec's filesystems raise for it: the common one, sftp's and webhdfs's, and any without that key.
    [NotImplementedError(), RuntimeError("Could not retrieve modification time."), KeyError("LastModified")],
)
def test_a_place_that_tells_no_times_is_used_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    """What another machine may have left half put there stays, since nobody knows how old it is."""
    left = tmp_path / f".part-7-{16 * 'a'}"
    left.write_bytes(b"half")
    os.utime(left, (0, 0))

    def refuse(*_: object, **__: object) -> None:
        raise error

    with monkeypatch.context() as untold:
        untold.setattr(LocalFileSystem, "modified", refuse)
        FarFolder.tried(tmp_path.as_uri())
        assert list(tmp_path.iterdir()) == [left]
    FarFolder.tried(tmp_path.as_uri())
    assert not left.exists()


def test_buckets_are_not_made_by_a_slip_of_the_pen(
    memory: MemoryFileSystem, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where folders are only parts of names none is made; elsewhere they are."""
    FarFolder(memory, "/one", "memory://one").put("a/b", b"1")
    assert memory.isdir("/one/a")
    monkeypatch.setattr(MemoryFileSystem, "protocol", ("s3", "s3a"))
    monkeypatch.setattr(memory, "makedirs", lambda *_, **__: pytest.fail("a folder was made"))
    FarFolder(memory, "/one", "memory://one").put("c", b"1")


@pytest.mark.parametrize("ending", [".json", ".vtt"])
def test_a_track_of_which_nothing_can_be_told_is_not_made_again(
    tmp_path: Path, memory: MemoryFileSystem, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    """Its record, or a file of it, cannot be read now: that is told. One that is not there is none."""
    order = order_for(write(tmp_path, "one"), FAR)
    assert one_track.made(order).state == "made"
    before = files_at(memory)
    opened = MemoryFileSystem._open

    def refuse(self: MemoryFileSystem, path: str, *rest: object, **options: object) -> object:
        if path.endswith(ending):
            raise TimeoutError("the line is slow")
        return opened(self, path, *rest, **options)

    with monkeypatch.context() as slow:
        slow.setattr(MemoryFileSystem, "_open", refuse)
        ends = run_batch([order], cluster=None, workers=1, progress=lambda done, total: None)
    assert [(one.state, one.code) for one in ends] == [("failed", 3)]
    assert "the line is slow" in ends[0].message
    assert files_at(memory) == before
    assert FarFolder.at(FAR).record("other.json") is None


def test_what_a_killed_run_left_is_taken_away_and_nothing_of_a_live_one(tmp_path: Path) -> None:
    """A dead process's at once; one of another machine after an hour; a person's never."""
    far = tmp_path / "far"
    far.mkdir()
    program = (
        "import sys, time; from cuelane.batch.far_parts import FarPart; part = FarPart.begun();"
        "name = part.__enter__().name; open(sys.argv[1] + '/' + name, 'w').close();"
        "print(name, flush=True); time.sleep(600)"
    )
    names = []
    with contextlib.ExitStack() as all_ended:
        children = [
            all_ended.enter_context(
                subprocess.Popen([sys.executable, "-c", program, str(far)], stdout=subprocess.PIPE)
            )
            for _ in range(2)
        ]
        for child in children:
            assert child.stdout is not None
            names.append(child.stdout.readline().decode().strip())
        old, new = f".part-7-{16 * 'a'}", f".part-7-{16 * 'b'}"
        for name in (old, new, ".part-of-my-notes"):
            (far / name).write_bytes(b"half")
        long_ago = time.time() - far_parts.LEFT_OVER_AFTER.total_seconds() - 60
        for name in (old, names[1], ".part-of-my-notes"):
            os.utime(far / name, (long_ago, long_ago))
        children[0].kill()
        children[0].wait()
        FarFolder.tried(far.as_uri())
        assert {path.name for path in far.iterdir()} == {names[1], new, ".part-of-my-notes"}
        children[1].kill()
        children[1].wait()
        FarFolder.tried(far.as_uri())
        assert {path.name for path in far.iterdir()} == {new, ".part-of-my-notes"}
