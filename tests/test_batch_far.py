"""Results at an address of fsspec: the same bytes, kept as on a disk, and nobody's file replaced."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fsspec.implementations.dirfs import DirFileSystem
from fsspec.implementations.local import LocalFileSystem
from fsspec.implementations.memory import MemoryFileSystem

from cuelane.base.errors import DeliveryError, UsageError
from cuelane.batch import one_track
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
        ("tracks", False),
        ("C:\\tracks", False),
        ("a:b/c", False),
        ("", False),
    ],
)
def test_an_address_is_told_from_a_folder(out: str, far: bool) -> None:
    """By its scheme and two strokes; a drive of Windows is none."""
    assert is_address(out) is far


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
    far = FarFolder(DirFileSystem(str(tmp_path), LocalFileSystem()), "sub")
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
    with pytest.raises(UsageError, match="cannot be used for results"):
        run(["batch", str(plan), "--out", "nowhere-such://x"])
    with pytest.raises(DeliveryError, match="can only be read"), FarFolder.at(out)._told():
        raise NotImplementedError
