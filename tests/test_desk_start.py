"""The desk's first page is there before what plans and speaks has been imported; what waits is answered."""

from __future__ import annotations

import asyncio
import http.client
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from cuelane.audio.store import ClipStore
from cuelane.base.errors import UsageError
from cuelane.desk.app import application
from cuelane.desk.front import Front
from cuelane.desk.guard import Guard
from cuelane.desk.serve import listening_socket
from cuelane.desk.shelf import SHELF_FOLDER
from cuelane.desk.summaries import PlanSummary, Summaries
from cuelane.plan.model import BLOCKS
from cuelane.plan.pattern_names import PATTERNS
from deskkit import PATIENCE_S, PORT, ask

PLAN = """\
title: Breath at the window
voice: system
cautions: none
session:
  - include: parts/arrive.yaml
  - block: Breath
    pattern: breath
    inhale: 4s
    exhale: 6s
    cycles: 6
"""
ARRIVE = "title: Arrive\nsession:\n  - rest: 30s\n"
SHORT = PlanSummary("Breath at the window", 115_000, (("rest", "M0 0V8", ""),), True)

STARTED = """
import signal, sys, threading, time
from pathlib import Path
# As a shell starts what it runs in the background.
signal.signal(signal.SIGINT, signal.SIG_IGN)
gate = Path(sys.argv.pop(1))
late = []
class Held:
    def find_spec(self, name, path=None, target=None):
        if threading.current_thread() is not threading.main_thread():
            late.append(name)
        while name == "cuelane.desk.app" and not gate.exists():
            time.sleep(0.01)
sys.meta_path.insert(0, Held())
from cuelane.cli.outcome import exit_code_of
from cuelane.cli.app import run
code = exit_code_of(lambda: run(sys.argv[1:]))
print(late)
sys.exit(code)
"""
"""Held, the import keeps every other thread from importing anything: one that tries waits for the gate."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a plan that includes another."""
    made = tmp_path / "plans"
    (made / "parts").mkdir(parents=True)
    (made / "p.yaml").write_text(PLAN, encoding="utf-8")
    (made / "parts/arrive.yaml").write_text(ARRIVE, encoding="utf-8")
    return made


@pytest.fixture
def summaries(tmp_path: Path, folder: Path) -> Summaries:
    """A folder of summaries that holds one of the plan."""
    found = Summaries(tmp_path / "kept")
    found.keep(folder / "p.yaml", PLAN, [folder / "parts/arrive.yaml"], [], SHORT)
    return found


def test_a_summary_comes_back_as_it_was_kept(folder: Path, summaries: Summaries) -> None:
    """All of its parts, read from the file that `keep` wrote."""
    assert summaries.get(folder / "p.yaml", PLAN) == SHORT


def test_a_summary_counts_for_its_text_and_what_it_includes_alone(folder: Path, summaries: Summaries) -> None:
    """Another text, another text of an included plan, or none of it: no summary."""
    plan, included = folder / "p.yaml", folder / "parts/arrive.yaml"
    assert summaries.get(plan, PLAN.replace("6s", "8s")) is None
    included.write_text(ARRIVE.replace("30s", "40s"), encoding="utf-8")
    assert summaries.get(plan, PLAN) is None
    included.write_text(ARRIVE, encoding="utf-8")
    assert summaries.get(plan, PLAN) == SHORT
    included.unlink()
    assert summaries.get(plan, PLAN) is None


def test_an_included_file_on_another_drive_keeps_none(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As Windows answers where two paths lie on two drives."""

    def no_way(path: object, start: object) -> str:
        raise ValueError("path is on mount 'D:', start on mount 'C:'")

    monkeypatch.setattr("cuelane.desk.summaries.os.path.relpath", no_way)
    kept = Summaries(tmp_path / "other")
    kept.keep(folder / "p.yaml", PLAN, [folder / "parts/arrive.yaml"], [], SHORT)
    assert kept.get(folder / "p.yaml", PLAN) is None


def test_a_summary_counts_for_its_voice_alone(folder: Path, summaries: Summaries, tmp_path: Path) -> None:
    """Its definition, beside the plan or with the program; and a voice put beside it may take its place."""
    voices = folder / "voices"
    voices.mkdir()
    own, beside = tmp_path / "natural.toml", voices / "mine.toml"
    for voice in (own, beside):
        voice.write_text("pace = 1.0\n", encoding="utf-8")
    summaries.keep(folder / "p.yaml", PLAN, [], [own, beside], SHORT)
    assert summaries.get(folder / "p.yaml", PLAN) == SHORT
    for voice in (own, beside):
        voice.write_text("pace = 0.9\n", encoding="utf-8")
        assert summaries.get(folder / "p.yaml", PLAN) is None
        voice.write_text("pace = 1.0\n", encoding="utf-8")
    (voices / "natural.toml").write_text("pace = 0.9\n", encoding="utf-8")
    assert summaries.get(folder / "p.yaml", PLAN) is None
    (voices / "natural.toml").unlink()
    assert summaries.get(folder / "p.yaml", PLAN) == SHORT
    copied = tmp_path / "copied"
    shutil.copytree(folder, copied)
    assert summaries.get(copied / "p.yaml", PLAN) == SHORT
    (copied / "voices/mine.toml").write_text("pace = 0.9\n", encoding="utf-8")
    assert summaries.get(copied / "p.yaml", PLAN) is None


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("summary", "title"), 3),
        (("summary", "length_ms"), "long"),
        (("summary", "settled"), 1),
        (("summary", "cover"), [["rest"]]),
        (("includes",), {"../plans/parts/arrive.yaml": "0"}),
        (("includes",), 7),
        (("voice",), 7),
        (("voices",), ["natural.toml"]),
        (("summary",), None),
    ],
)
def test_a_summary_of_another_form_is_as_none(
    where: tuple[str, ...], value: object, tmp_path: Path, folder: Path, summaries: Summaries
) -> None:
    """Whatever stands in the cache, the shelf goes without it."""
    (path,) = (tmp_path / "kept").glob("*.json")
    kept = json.loads(path.read_text(encoding="utf-8"))
    inner = kept["summary"] if len(where) > 1 else kept
    inner[where[-1]] = value
    path.write_text(json.dumps(kept), encoding="utf-8")
    assert summaries.get(folder / "p.yaml", PLAN) is None
    path.write_text("[" * 100_000, encoding="utf-8")
    assert summaries.get(folder / "p.yaml", PLAN) is None


def test_the_oldest_summaries_go(tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The number kept is bounded, and the newest is among them."""
    monkeypatch.setattr("cuelane.desk.summaries._MOST_KEPT", 6)
    summaries = Summaries(tmp_path / "kept")
    for n in range(20):
        summaries.keep(folder / "p.yaml", f"{PLAN}# {n}\n", [], [], SHORT)
    assert len(list((tmp_path / "kept").iterdir())) <= 6
    assert summaries.get(folder / "p.yaml", f"{PLAN}# 19\n") == SHORT


def test_the_shelf_asks_for_what_it_does_not_know_and_keeps_it(folder: Path, tmp_path: Path) -> None:
    """The first time a plan's row waits; from then on, and at the next start, it is there at once."""
    store = ClipStore(tmp_path / "store")

    def desk() -> tuple[Guard, str]:
        guard = Guard(application(folder, store), port=PORT)
        return guard, ask(guard, "GET", f"/open?token={guard.token}").headers["set-cookie"].partition(";")[0]

    guard, cookie = desk()
    shelf = ask(guard, "GET", "/", headers={"cookie": cookie}).body.decode()
    assert 'data-waits="p.yaml"' in shelf
    row = ask(guard, "GET", "/api/shelf/p.yaml", headers={"cookie": cookie}).json["row"]
    assert "Breath at the window" in row
    guard, cookie = desk()
    shelf = ask(guard, "GET", "/", headers={"cookie": cookie}).body.decode()
    assert "data-waits" not in shelf
    assert " ".join(row.split()) in " ".join(shelf.split())


def test_another_pace_of_the_voice_is_another_length_on_the_shelf(folder: Path, tmp_path: Path) -> None:
    """A plan's length is asked for again once the file of its voice has changed."""
    voices = folder / "voices"
    voices.mkdir()
    voice = voices / "slow.toml"
    voice.write_text('engine = "system"\nlanguage = "en"\n', encoding="utf-8")
    (folder / "p.yaml").write_text(PLAN.replace("voice: system", "voice: slow"), encoding="utf-8")
    guard = Guard(application(folder, ClipStore(tmp_path / "store")), port=PORT)
    cookie = ask(guard, "GET", f"/open?token={guard.token}").headers["set-cookie"].partition(";")[0]
    ask(guard, "GET", "/api/shelf/p.yaml", headers={"cookie": cookie})
    assert b"data-waits" not in ask(guard, "GET", "/", headers={"cookie": cookie}).body
    voice.write_text(voice.read_text(encoding="utf-8") + "pace = 0.9\n", encoding="utf-8")
    guard = Guard(application(folder, ClipStore(tmp_path / "store")), port=PORT)
    cookie = ask(guard, "GET", f"/open?token={guard.token}").headers["set-cookie"].partition(";")[0]
    assert b'data-waits="p.yaml"' in ask(guard, "GET", "/", headers={"cookie": cookie}).body


def test_a_plan_that_cannot_be_planned_says_so_on_the_shelf(folder: Path, tmp_path: Path) -> None:
    """Its row is there, with the reason in place of its figures."""
    (folder / "p.yaml").write_text("title: [\n", encoding="utf-8")
    guard = Guard(application(folder, ClipStore(tmp_path / "store")), port=PORT)
    cookie = ask(guard, "GET", f"/open?token={guard.token}").headers["set-cookie"].partition(";")[0]
    row = ask(guard, "GET", "/api/shelf/p.yaml", headers={"cookie": cookie}).json["row"]
    assert "Something in it must be mended before it can be played" in row


def test_the_patterns_on_the_shelf_are_those_of_the_plan() -> None:
    """The shelf has a list of its own, since it is shown before the models of a plan are imported."""
    assert tuple(BLOCKS) == PATTERNS


async def get(front: Front, path: str) -> bytes:
    """Return the body of the answer to GET."""
    scope = {"type": "http", "method": "GET", "path": path, "headers": [], "query_string": b""}
    body = []

    async def receive() -> dict[str, object]:
        await asyncio.Event().wait()
        return {}

    async def send(message: dict[str, bytes]) -> None:
        body.append(message.get("body", b""))

    await front(scope, receive, send)
    return b"".join(body)


def test_the_front_answers_the_shelf_and_lets_the_rest_wait(folder: Path) -> None:
    """A page is answered once what answers it is there: composing first, in the end all by the whole."""
    whole = Starlette(routes=[Route("/{any:path}", lambda request: PlainTextResponse("the whole"))])
    composing = Starlette(routes=[Route("/plan/{name}", lambda request: PlainTextResponse("composing"))])
    front = Front(folder)

    async def run() -> None:
        gone = asyncio.create_task(get(front, "/plan/p.yaml"))
        waiting = asyncio.create_task(get(front, "/plan/p.yaml"))
        longer = asyncio.create_task(get(front, "/booth/p.yaml"))
        assert b"p.yaml" in await get(front, "/")
        assert b"--ink" in await get(front, "/assets/desk.css")
        gone.cancel()
        assert not waiting.done()
        front.composes(composing)
        assert await waiting == b"composing"
        assert await get(front, "/plan/p.yaml") == b"composing"
        assert b"p.yaml" in await get(front, "/")
        assert not longer.done()
        front.ready(whole)
        assert await longer == b"the whole"
        assert await get(front, "/") == b"the whole"
        assert await get(front, "/plan/p.yaml") == b"the whole"

    asyncio.run(run())


def test_what_was_asked_for_is_answered_before_more_is_imported(folder: Path) -> None:
    """A page that waits for the composing keeps imports waiting; one of another room does not."""
    composing = Starlette(routes=[Route("/plan/{name}", lambda request: PlainTextResponse("composing"))])
    front = Front(folder)

    async def run() -> None:
        page = asyncio.create_task(get(front, "/plan/p.yaml"))
        room = asyncio.create_task(get(front, "/booth/p.yaml"))
        await asyncio.sleep(0)
        front.composes(composing)
        began = time.monotonic()
        # In the thread of the loop, so that nothing is answered meanwhile.
        front.wait_until_idle(0.05)
        assert time.monotonic() - began >= 0.05
        await asyncio.to_thread(front.wait_until_idle, PATIENCE_S)
        assert page.done()
        assert not room.done()
        front.failed()
        await room

    asyncio.run(asyncio.wait_for(run(), PATIENCE_S))


@contextmanager
def started(
    *arguments: str | Path,
) -> Iterator[tuple[subprocess.Popen[str], http.client.HTTPConnection, str]]:
    """Run the desk whose import of its whole is held back until a file is there."""
    command = [sys.executable, "-c", STARTED, *map(str, arguments), "--no-open"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as desk:
        try:
            assert desk.stdout is not None
            _, _, host, path = desk.stdout.readline().strip().split("/", 3)
            with closing(http.client.HTTPConnection(host, timeout=PATIENCE_S)) as asked:
                asked.request("GET", f"/{path}")
                answer = asked.getresponse()
                answer.read()
                yield desk, asked, answer.headers["set-cookie"].partition(";")[0]
        finally:
            desk.kill()


def test_the_desk_shows_the_shelf_before_it_has_imported_what_plans(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Title and length too, from a summary; a plan is composed meanwhile, a room waits; Ctrl-C ends it."""
    monkeypatch.setenv("CUELANE_CACHE", str(tmp_path / "store"))
    kept = Summaries(tmp_path / "store" / SHELF_FOLDER)
    kept.keep(folder / "p.yaml", PLAN, [folder / "parts/arrive.yaml"], [], SHORT)
    gate = tmp_path / "gate"
    with started(gate, "desk", folder) as (desk, asked, cookie):
        asked.request("GET", "/", headers={"cookie": cookie})
        shelf = asked.getresponse().read().decode()
        assert "Breath at the window" in shelf
        assert "1:55" in shelf
        for path in ("/plan/p.yaml", "/api/plan/p.yaml", "/api/plan/p.yaml/score", "/api/shelf/p.yaml"):
            asked.request("GET", path, headers={"cookie": cookie})
            answer = asked.getresponse()
            assert answer.status == 200, path
            assert b"Breath" in answer.read()
        edit = {"op": "set", "at": "session/1/cycles", "kind": "whole", "typed": "8"}
        body = json.dumps({"edits": [edit], "number": 1})
        own = f"http://{asked.host}:{asked.port}"
        asked.request("POST", "/api/plan/p.yaml/try", body, {"cookie": cookie, "origin": own})
        answer = asked.getresponse()
        assert answer.status == 200
        assert b"timetable" in answer.read()
        asked.request("GET", "/finish/p.yaml", headers={"cookie": cookie})
        gate.touch()
        answer = asked.getresponse()
        assert answer.status == 200
        answer.read()
        for path in ("/booth/p.yaml", "/classes", "/api/plan/p.yaml/score"):
            asked.request("GET", path, headers={"cookie": cookie})
            answer = asked.getresponse()
            answer.read()
            assert answer.status == 200
        desk.send_signal(signal.SIGINT)
        said, _ = desk.communicate(timeout=PATIENCE_S)
        assert said == "[]\n", "no thread but the first has imported anything"
        assert desk.returncode == 0


@pytest.mark.skipif(
    sys.platform == "win32",
    reason="Windows ends a process that is sent SIGINT or SIGTERM at once: nothing there is to end in order",
)
@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM])
def test_the_desk_ends_in_order_while_it_still_imports(
    told: signal.Signals, folder: Path, tmp_path: Path
) -> None:
    """Ctrl-C: with 0. SIGTERM: by that signal, as a program that does not handle it."""
    with started(tmp_path / "gate", "desk", folder) as (desk, _, _):
        desk.send_signal(told)
        assert desk.wait(PATIENCE_S) == (0 if told == signal.SIGINT else -told)


LISTENS = """\
import os, signal, time
from cuelane.desk.chores import Chores
from cuelane.desk.words import Said

# Python takes no interrupt where a shell started it in the background.
signal.signal(signal.SIGINT, signal.default_int_handler)

def work(told):
    # From the keyboard all processes of the desk are interrupted.
    os.killpg(0, signal.SIGINT)
    time.sleep(600)

if __name__ == "__main__":
    chores = Chores()
    try:
        chores.start("class", Said("busy.class", name="x"), work, (), lambda: None)
        time.sleep(600)
    except KeyboardInterrupt:
        chores.close()
        print("closed")
"""


@pytest.mark.skipif(
    sys.platform == "win32",
    reason="the test interrupts all processes of a terminal with os.killpg, which Windows does not have",
)
def test_an_interrupt_in_long_work_is_the_desks_alone(tmp_path: Path) -> None:
    """A class is listened to in a process of its own; Ctrl-C ends it without a word from there."""
    script = tmp_path / "listens.py"
    script.write_text(LISTENS, encoding="utf-8")
    command = [sys.executable, str(script)]
    ended = subprocess.run(
        command, capture_output=True, text=True, start_new_session=True, timeout=PATIENCE_S, check=False
    )
    assert (ended.stdout, ended.stderr, ended.returncode) == ("closed\n", "", 0)


@pytest.mark.skipif(
    sys.platform == "win32",
    reason="the browser is a shell script that BROWSER names, which Windows cannot run",
)
@pytest.mark.parametrize(("browser", "told"), [("true", "is open in your browser"), ("false", "no browser")])
def test_the_terminal_says_that_it_must_stay_open(browser: str, told: str, tmp_path: Path) -> None:
    """And how the desk is ended; where no browser is found, that the address is to be opened in one."""
    program = [sys.executable, "-c", "from cuelane.cli import main; main()", "desk", str(tmp_path)]
    command = str(tmp_path / "browser")
    Path(command).write_text(f"#!/bin/sh\n{browser}\n", encoding="utf-8")
    Path(command).chmod(0o755)
    # With %s it is waited for, and its exit code tells; nothing else is tried after it.
    env = {**os.environ, "BROWSER": f"{command} %s", "PATH": str(tmp_path), "DISPLAY": ""}
    pipe = subprocess.PIPE
    with subprocess.Popen(program, stdout=pipe, stderr=pipe, text=True, env=env) as desk:
        assert desk.stdout is not None
        assert desk.stderr is not None
        address, said = desk.stdout.readline(), desk.stderr.readline()
        # An interrupt while the line is still being written would have it written twice. The shelf is served
        # by another thread before that; classes are when the one that writes has gone on and imported them.
        host, _, path = address.strip().removeprefix("http://").partition("/")
        with closing(http.client.HTTPConnection(host, timeout=PATIENCE_S)) as asked:
            asked.request("GET", f"/{path}")
            answer = asked.getresponse()
            answer.read()
            cookie = (answer.getheader("set-cookie") or "").partition(";")[0]
            asked.request("GET", "/classes", headers={"cookie": cookie})
            assert asked.getresponse().status == 200
        desk.send_signal(signal.SIGINT)
        rest = desk.communicate(timeout=PATIENCE_S)
    assert told in said
    assert "Leave this window open" in said
    assert (rest, desk.returncode) == (("", ""), 0)


def test_two_desks_that_start_together_have_a_port_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second finds the usual port taken though nothing is served there yet; asked for, it is refused."""
    with listening_socket(0) as one:
        number = one.getsockname()[1]
        monkeypatch.setattr("cuelane.desk.serve.DEFAULT_PORT", number)
        with listening_socket(None) as other:
            assert other.getsockname()[1] != number
        with pytest.raises(UsageError, match=f"port {number} cannot be used here"):
            listening_socket(number)


def test_a_desk_has_the_usual_port_where_it_is_free(monkeypatch: pytest.MonkeyPatch) -> None:
    """A number that was free is tried; another program may be given it in between, so more than once."""
    for _ in range(20):
        with listening_socket(0) as free:
            number = free.getsockname()[1]
        monkeypatch.setattr("cuelane.desk.serve.DEFAULT_PORT", number)
        with listening_socket(None) as desk:
            if desk.getsockname()[1] == number:
                return
    pytest.fail("the usual port was never taken")
