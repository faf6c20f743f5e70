"""Finish: made by the desk as by the command line, checked by itself, stopped without a trace, and packed."""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
import shutil
import threading
import time
import zipfile
from multiprocessing import Pipe
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from cuelane.audio.store import ClipStore
from cuelane.base.errors import PlanError, UsageError
from cuelane.desk import chores, last_check
from cuelane.desk.app import application
from cuelane.desk.archive import files_of, zipped
from cuelane.desk.guard import Guard
from cuelane.desk.jobs import JobCancelledError, Jobs
from cuelane.desk.last_check import digests_beside, is_fresh, plan_sha256
from cuelane.desk.made import made_of, report_of
from cuelane.desk.music_tried import TriedMusics
from cuelane.desk.words import in_language
from cuelane.render.run import RenderOptions, render
from deskkit import PATIENCE_S, PORT, Answer, ask, post, until

PLAN = (
    "title: Pier\nvoice: system\nsession:\n  - block: A\n    pattern: circuit\n    work: 20s\n    rounds: 2\n"
    "    rest: 10s\n    exercises: [row]\nexercises:\n  row:\n    setup: Sit tall.\n"
)


class Pilot:
    """A desk asked as its page asks it."""

    def __init__(self, folder: Path) -> None:
        self.guard = Guard(application(folder), port=PORT, large={"/api/music/": 1 << 26})
        opened = ask(self.guard, "GET", f"/open?token={self.guard.token}")
        self.cookie = opened.headers["set-cookie"].partition(";")[0]

    def get(self, path: str, **headers: str) -> Answer:
        return ask(self.guard, "GET", path, headers={"cookie": self.cookie, **headers})

    def post(self, path: str, data: Any) -> Answer:
        return post(self.guard, path, data, cookie=self.cookie)

    def over(self) -> dict[str, Any]:
        """Wait for the running job."""
        return dict(until(lambda: self.get("/api/job").json, lambda job: job["status"] != "running"))


@pytest.fixture
def desk(tmp_path: Path) -> Pilot:
    (tmp_path / "p.yaml").write_text(PLAN, encoding="utf-8")
    return Pilot(tmp_path)


def made(desk: Pilot, **wishes: Any) -> dict[str, Any]:
    answer = desk.post("/api/finish/p.yaml/render", {"format": ".flac", **wishes})
    assert answer.status == 200, answer.body
    return desk.over()


@pytest.mark.parametrize(
    "changed",
    ["walk.yaml", "parts/day.yaml", "voices/mine/index.json", "voices/mine/a.wav", "own.wav"],
)
def test_what_a_plan_uses_counts_as_the_plan(desk: Pilot, tmp_path: Path, changed: str) -> None:
    """Another included plan, another recording, another list of them: the track is of an older plan."""
    own = "    setup: Sit tall.\n    form: {text: Long back., clip: own.wav}\n"
    text = PLAN.replace("voice: system", "voice: mine").replace("    setup: Sit tall.\n", own)
    text = text.replace("exercises:\n  row", "  - include: parts/day.yaml\nexercises:\n  row")
    (tmp_path / "p.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "parts").mkdir()
    day = "title: D\nsession:\n  - include: ../walk.yaml\n"
    (tmp_path / "parts" / "day.yaml").write_text(day, encoding="utf-8")
    (tmp_path / "walk.yaml").write_text("title: W\nsession:\n  - say: Walk.\n", encoding="utf-8")
    voice = tmp_path / "voices" / "mine"
    voice.mkdir(parents=True)
    clips = [{"text": "Sit tall.", "file": "a.wav"}]
    (voice / "index.json").write_text(json.dumps({"clips": clips}), encoding="utf-8")
    for path in (voice / "a.wav", tmp_path / "own.wav"):
        soundfile.write(path, 0.1 * np.random.default_rng(7).standard_normal(48_000), 48_000)
    assert made(desk)["status"] == "done"
    assert "place; the plan has changed since" not in desk.get("/").body.decode()
    before = (tmp_path / changed).read_bytes()
    for content, is_stale in ((before + b" ", True), (before, False)):
        (tmp_path / changed).write_bytes(content)
        assert ('id="stale"' in desk.get("/api/finish/p.yaml").json["parts"]["result"]) == is_stale
        assert ("place; the plan has changed since" in desk.get("/").body.decode()) == is_stale


def test_a_kept_check_that_names_anything_beside_its_plan_is_of_another(tmp_path: Path) -> None:
    """The file may be anybody's: it makes nothing be read outside the plan's folder."""
    (tmp_path / "secret").write_text("s", encoding="utf-8")
    plan, audio = tmp_path / "in" / "p.yaml", tmp_path / "in" / "p.flac"
    plan.parent.mkdir()
    for path in (plan, audio):
        path.write_text("", encoding="utf-8")
    good = hashlib.sha256(b"s").hexdigest()
    kept = {"plan": plan_sha256("")}
    assert is_fresh(plan, audio, kept, "")
    for beside in ([], "x", {"../secret": good}, {str(tmp_path / "secret"): good}, {"\0": "a"}, {"none": 3}):
        assert not is_fresh(plan, audio, kept | {"beside": beside}, "")
    assert is_fresh(plan, audio, kept | {"beside": {"none": ""}}, "")


@pytest.mark.parametrize("most_read", [None, 1 << 20])
def test_a_change_of_a_large_recording_is_seen(
    most_read: int | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One of 33 MiB beside the plan, and one too large to be read through each time."""
    if most_read is not None:
        monkeypatch.setattr(last_check, "_MOST_READ_BYTES", most_read)
    plan, audio, reading = tmp_path / "p.yaml", tmp_path / "p.flac", tmp_path / "reading.wav"
    for path in (plan, audio):
        path.write_text("", encoding="utf-8")
    with reading.open("wb") as file:
        file.truncate(33 << 20)
    kept = {"plan": plan_sha256(""), "beside": digests_beside(tmp_path, [reading])}
    assert is_fresh(plan, audio, kept, "")
    before = reading.stat().st_mtime_ns
    os.utime(reading, ns=(before, before + 2_000_000_000))
    assert is_fresh(plan, audio, kept, "") == (most_read is None), "what is read counts by its content"
    with reading.open("r+b") as file:
        file.seek(32 << 20)
        file.write(b"x")
    os.utime(reading, ns=(before, before + 4_000_000_000))
    assert not is_fresh(plan, audio, kept, "")


def test_what_is_made_is_what_the_command_line_makes(desk: Pilot, tmp_path: Path) -> None:
    """Byte for byte, the check beside it; the shelf says both, and that the plan has changed since."""
    job = made(desk)
    assert (job["status"], job["message"], job["result"]) == ("done", "", {"ok": True})
    again = tmp_path / "again"
    again.mkdir()
    (again / "p.yaml").write_text(PLAN, encoding="utf-8")
    render(again / "p.yaml", again / "p.flac", RenderOptions(), store=ClipStore())
    for name in [path.name for path in again.iterdir()]:
        assert (tmp_path / name).read_bytes() == (again / name).read_bytes(), name
    shelf = desk.get("/").body.decode()
    assert "the check found all in place" in shelf
    page = desk.get("/finish/p.yaml").body.decode()
    assert "Every pip and every cue is in place." in page
    assert page.count("<svg") == 2
    assert "style=" not in page
    assert "built-in" not in page + shelf + desk.get("/plan/p.yaml").body.decode(), "words, not methods"
    assert desk.get("/made/p.yaml/track", range="bytes=0-3").body == b"fLaC"
    (tmp_path / "p.yaml").write_text(PLAN.replace("20s", "25s"), encoding="utf-8")
    assert "place; the plan has changed since" in desk.get("/").body.decode()
    assert [path for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_words_that_do_not_fit_are_linked_to_their_fields(desk: Pilot, tmp_path: Path) -> None:
    """The job fails, nothing is written, and the page is told where to go."""
    tall = "Sit tall and look far ahead over the water, then pull. " * 8
    (tmp_path / "p.yaml").write_text(PLAN.replace("Sit tall.", tall), encoding="utf-8")
    job = made(desk)
    assert job["status"] == "failed"
    assert [link["at"] for link in job["links"]] == ["exercises/row/setup"]
    assert [path.name for path in tmp_path.iterdir()] == ["p.yaml"]
    (tmp_path / "p.yaml").write_text(PLAN.replace("work: 20s", "work: soon"), encoding="utf-8")
    assert [link["at"] for link in made(desk)["links"]] == ["session/0/work"]


def test_two_plans_of_one_name_do_not_take_each_other_s_track(desk: Pilot, tmp_path: Path) -> None:
    """p.yaml and p.yml: what is made of a plan has its name without the ending, so one is to be renamed."""
    made(desk)
    track = (tmp_path / "p.flac").read_bytes()
    (tmp_path / "p.yml").write_text(PLAN.replace("20s", "25s"), encoding="utf-8")
    for name in ("p.yml", "p.yaml"):
        answer = desk.post(f"/api/finish/{name}/render", {"format": ".flac"})
        assert answer.status == 400
        assert {"p.yaml", "p.yml", "p.flac."} <= set(answer.json["error"].split())
    assert (tmp_path / "p.flac").read_bytes() == track
    (tmp_path / "p.yml").rename(tmp_path / "q.yml")
    assert made(desk)["status"] == "done"


def test_a_file_of_somebodys_own_is_not_overwritten(desk: Pilot, tmp_path: Path) -> None:
    """A recording that happens to have the track's name, and no schedule beside it."""
    (tmp_path / "p.flac").write_bytes(b"mine")
    answer = desk.post("/api/finish/p.yaml/render", {"format": ".flac"})
    assert answer.status == 400
    assert "p.flac" in answer.json["error"]
    assert "--" not in answer.json["error"], "a page has fields, not options"
    assert (tmp_path / "p.flac").read_bytes() == b"mine"


@pytest.mark.parametrize("wish", [{"format": ".exe"}, {"format": None}, {"format": "../x.wav"}, {}])
def test_no_other_format_is_written(desk: Pilot, tmp_path: Path, wish: dict[str, Any]) -> None:
    """Only the suffixes of the formats that there are."""
    assert desk.post("/api/finish/p.yaml/render", wish).status == 422
    assert [path.name for path in tmp_path.iterdir()] == ["p.yaml"]


def test_music_is_tried_and_kept_only_if_asked(desk: Pilot, tmp_path: Path) -> None:
    """The songs and the mix lie outside the folder until one is kept."""
    made(desk)
    before = {path.name for path in tmp_path.iterdir()}
    song = io.BytesIO()
    tone = 0.3 * np.random.default_rng(3).standard_normal((48_000 * 8, 2)).clip(-1, 1)
    soundfile.write(song, tone, 48_000, format="WAV")
    assert desk.post("/api/finish/p.yaml/under", {"level": -6}).status == 400, "without a song"
    assert "Choose a song first" in desk.get("/api/finish/p.yaml").json["parts"]["mix-why"]
    answer = ask(
        desk.guard,
        "POST",
        "/api/music/p.yaml?file=../../a%20song.wav",
        body=song.getvalue(),
        headers={"cookie": desk.cookie},
    )
    assert answer.status == 200
    assert "a song.wav" in answer.json["parts"]["music"]
    assert answer.json["parts"]["mix-why"] == "", "nothing keeps the button from being pressed"
    assert 'p.html <span class="hint">the web page of the track</span>' in answer.json["parts"]["result"]
    assert desk.post("/api/finish/p.yaml/under", {"level": -6}).status == 200
    assert desk.over()["status"] == "done"
    assert "cues over this music" in desk.get("/api/finish/p.yaml").json["parts"]["music"]
    assert desk.get("/made/p.yaml/tried", range="bytes=0-3").body == b"fLaC"
    assert {path.name for path in tmp_path.iterdir()} == before
    assert desk.post("/api/finish/p.yaml/keep", {}).status == 200
    new = {path.name for path in tmp_path.iterdir()} - before
    assert new == {"p-with-music.flac", "p-with-music.schedule.json"}
    for level in (-60, 20, "loud", None):
        assert desk.post("/api/finish/p.yaml/under", {"level": level}).status == 422


def test_songs_that_some_systems_take_for_one_have_names_of_their_own(tmp_path: Path) -> None:
    """Capitals tell nothing on some disks, and no file of Windows is called as a device is."""
    musics = TriedMusics()
    for n, name in enumerate(("Song.mp3", "song.mp3", "SONG.MP3", "song.mp3", "aux.wav", "Con.tar.mp3")):
        source = tmp_path / f"{n}"
        source.write_bytes(b"%d" % n)
        musics.add("p", name, source)
    songs = musics.of("p").songs
    names = ["Song.mp3", "2 song.mp3", "3 SONG.MP3", "4 song.mp3", "2 aux.wav", "2 Con.tar.mp3"]
    assert [song.name for song in songs] == names
    assert [song.read_bytes() for song in songs] == [b"%d" % n for n in range(6)]
    musics.close()


def test_a_mix_is_kept_beside_its_plan(desk: Pilot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """That of a class in the class's folder, where it is looked for, and where no other class has its own."""
    below = tmp_path / "monday"
    below.mkdir()
    (below / "plan.yaml").write_text(PLAN, encoding="utf-8")
    asked: list[Path] = []

    def keep(_self: object, _plan: str, folder: Path) -> Path:
        asked.append(folder)
        return folder / "plan-with-music.flac"

    monkeypatch.setattr(TriedMusics, "keep", keep)
    for name in ("p.yaml", "monday:plan.yaml"):
        assert desk.post(f"/api/finish/{name}/keep", {}).status == 200
    assert asked == [tmp_path, below]


def test_a_check_that_somebody_else_wrote_is_not_drawn(desk: Pilot, tmp_path: Path) -> None:
    """The file beside the track may be anybody's: what is no report is not shown."""
    made(desk)
    kept = (tmp_path / "p.check.json").read_text(encoding="utf-8")
    for old, new in (
        ('"kind": "pip"', '"kind": "\\"><script>"'),
        ('"length_s": ', '"length_s": 1e300, "x": '),
        ('"outline": [', '"outline": [["a", 1], '),
        ('"planned_file_s": ', '"planned_file_s": "1", "y": '),
        ('"summary": {', '"summary": [], "x": {'),
        ('"events": [', '"events": [7, '),
        ("{", "["),
    ):
        assert old in kept
        (tmp_path / "p.check.json").write_text(kept.replace(old, new), encoding="utf-8")
        page = desk.get("/finish/p.yaml")
        assert page.status == 200
        assert b"<script>" not in page.body.replace(b'<script type="module"', b"")
        assert page.body.count(b"<svg") == 0
    assert report_of({}) is None
    found = made_of(tmp_path / "p.yaml", PLAN)
    assert found is not None
    assert found.ok is None


def test_one_job_at_a_time_and_a_stopped_one_ends(tmp_path: Path) -> None:
    """A second one is refused; the first sees that it is to stop at its next step, and cleans up itself."""
    jobs, begun, cleaned = Jobs(), threading.Event(), []

    def work(tell: Any) -> dict[str, Any]:
        progress = tell("writing")
        try:
            while True:
                progress(1, 2)
                begun.set()
                time.sleep(0.001)
        except JobCancelledError:
            cleaned.append(True)
            raise

    jobs.start("render", "p", work)
    assert begun.wait(PATIENCE_S)
    assert jobs.now()["step"] == "writing"
    with pytest.raises(UsageError, match="The desk is"):
        jobs.start("render", "q", work)
    jobs.cancel()
    assert jobs.wait(PATIENCE_S)["status"] == "cancelled"
    assert cleaned == [True]
    jobs.start("check", "p", lambda tell: {"ok": True})
    assert jobs.wait(PATIENCE_S)["result"] == {"ok": True}


def test_a_job_that_breaks_says_so() -> None:
    """Whatever is raised, the page that waits is told; places that cannot be found are no second failure."""
    jobs = Jobs()

    def breaks(tell: Any) -> dict[str, Any]:
        raise RuntimeError("odd")

    jobs.start("render", "p", breaks)
    assert "odd" in jobs.wait(PATIENCE_S)["message"]

    def fills(tell: Any) -> dict[str, Any]:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    jobs.start("render", "p", fills)
    assert jobs.wait(PATIENCE_S)["message"].startswith("this computer did not let that be done: the disk is ")

    def refuses(tell: Any) -> dict[str, Any]:
        raise UsageError("no")

    for trouble in (PlanError([]), RuntimeError("odd")):

        def lost(trouble: Exception = trouble) -> list[dict[str, str]]:
            raise trouble

        jobs.start("render", "p", refuses, lost)
        assert (jobs.wait(PATIENCE_S)["message"], jobs.now()["links"]) == ("no", [])


def test_a_chore_that_the_disk_refuses_says_so() -> None:
    """As the child tells it: no fault of the program, in the language of whoever looks."""
    told_from, to_tell = Pipe(duplex=False)

    def fills(told: Any) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "class.wav")

    chores._run(fills, (), to_tell)
    kind, said = told_from.recv()
    with in_language("de"):
        assert (kind, str(said).partition(": ")[0]) == ("failed", "dieser Computer hat das nicht zugelassen")


def test_a_render_stopped_in_the_middle_leaves_nothing(
    desk: Pilot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped while the sound is being written: no audio, no schedule, no temporary file."""
    from cuelane.render import run

    blocks = run._reporting

    def stopping(*arguments: Any) -> Any:
        for number, block in enumerate(blocks(*arguments)):
            if number == 1:
                desk.post("/api/job/cancel", {})
            yield block

    monkeypatch.setattr(run, "_reporting", stopping)
    assert made(desk)["status"] == "cancelled"
    assert [path.name for path in tmp_path.iterdir()] == ["p.yaml"]


def test_the_folder_as_a_zip(desk: Pilot, tmp_path: Path) -> None:
    """Read by the standard library: every file and those below, no link, nothing hidden or passing."""
    outside = tmp_path.parent / f"{tmp_path.name}-outside.txt"
    outside.write_text("secret", encoding="utf-8")
    below = tmp_path / "voice é"
    below.mkdir()
    (below / "a.wav").write_bytes(bytes(300_000))
    # A clock that was wrong: zip files tell 1980 to 2107 (PKWARE APPNOTE 4.4.6, value from memory).
    os.utime(below / "a.wav", (0, 5e9))
    (tmp_path / ".hidden").write_text("x", encoding="utf-8")
    (tmp_path / ".x.1.partial.m4a").write_text("x", encoding="utf-8")
    (tmp_path / "half.part").write_text("x", encoding="utf-8")
    (tmp_path / "link.txt").symlink_to(outside)
    (tmp_path / "dir").symlink_to(tmp_path.parent)
    answer = desk.get("/export.zip")
    assert answer.headers["content-type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.body)) as archive:
        assert archive.testzip() is None
        assert sorted(archive.namelist()) == ["p.yaml", "voice é/a.wav"]
        assert archive.read("p.yaml").decode() == PLAN
    gone = [*files_of(tmp_path), tmp_path / "gone.txt", tmp_path / "link.txt"]
    with zipfile.ZipFile(io.BytesIO(b"".join(zipped(tmp_path, gone)))) as archive:
        assert "gone.txt" not in archive.namelist(), "a file that went away meanwhile is left out"
        assert "link.txt" not in archive.namelist()


def test_names_that_are_no_text_are_packed_and_kept_from_no_page(desk: Pilot, tmp_path: Path) -> None:
    """Names in Latin-1, as an old disk has them; a plan or a class of such a name cannot have an address."""
    try:
        for name in (b"caf\xe9.txt", b"\xe9.yaml", b"\xe8/plan.yaml", b"\xe8/class.json"):
            path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + name))
            path.parent.mkdir(exist_ok=True)
            path.write_text(PLAN, encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        pytest.skip(f"this system takes no such names: {error}")
    for page in ("/", "/classes"):
        assert desk.get(page).status == 200
    with zipfile.ZipFile(io.BytesIO(desk.get("/export.zip").body)) as archive:
        assert archive.testzip() is None
        names = sorted(archive.namelist())
    assert names == ["café.txt", "p.yaml", "è/class.json", "è/plan.yaml", "é.yaml"]


@pytest.mark.parametrize("path", ["/", "/classes", "/plan/p.yaml", "/export.zip"])
def test_a_folder_that_is_gone_is_said(tmp_path: Path, path: str) -> None:
    """Unplugged, renamed or deleted while the desk is open: words, not a traceback."""
    folder = tmp_path / "plans"
    folder.mkdir()
    (folder / "p.yaml").write_text(PLAN, encoding="utf-8")
    desk = Pilot(folder)
    shutil.rmtree(folder)
    answer = desk.get(path)
    assert answer.status == 400
    assert "plans" in answer.json["error"]
