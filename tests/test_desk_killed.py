"""The desk killed in the middle of its work: every edit that was confirmed is in the file, which is whole."""

from __future__ import annotations

import http.client
import json
import multiprocessing
import random
import threading
import time
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest

from cuelane.audio.store import ClipStore
from cuelane.desk.app import application
from cuelane.desk.document import digest_of
from cuelane.desk.serve import serve
from cuelane.desk.workspace import Workspace
from cuelane.plan.load import load_plan
from deskkit import PATIENCE_S, Answer, post

N_KILLS = 20
PLAN = (
    "# kept as it is\ntitle: T\nvoice: system\nsession:\n  - block: A\n    pattern: circuit\n    work: 40s\n"
    "    exercises: [row]\nexercises:\n  row: {}  # so is this\n"
)

# Forked off a process that has imported the desk once; where there is no such thing each imports it anew.
METHOD = "forkserver" if "forkserver" in multiprocessing.get_all_start_methods() else "spawn"


def live(folder: Path, told: Connection) -> None:
    """Run a desk in this process until it is killed; its link is sent once it listens."""
    serve(folder, 0, told.send)


class Life:
    """One desk from its start to its death."""

    def __init__(self, context: Any, folder: Path) -> None:
        told, to_tell = context.Pipe(duplex=False)
        self.process = context.Process(target=live, args=(folder, to_tell), daemon=True)
        self.process.start()
        to_tell.close()
        assert told.poll(PATIENCE_S), "the desk did not start"
        host, _, path = told.recv().removeprefix("http://").partition("/")
        self.host = host
        told.close()
        self.cookie = ""
        _, headers, _ = self.ask("GET", f"/{path}")
        self.cookie = headers["set-cookie"].partition(";")[0]
        # Answered once all of the desk is there: it is to be killed in the middle of its work.
        status, _, body = self.ask("GET", "/api/phone")
        assert status == 200, body

    def ask(self, method: str, path: str, data: Any = None) -> tuple[int, Any, bytes]:
        """Return status, headers and body of an answer. Raises OSError or HTTPException if none comes."""
        asked = http.client.HTTPConnection(self.host, timeout=PATIENCE_S)
        try:
            headers = {"Cookie": self.cookie, "Origin": f"http://{self.host}"}
            body = None if data is None else json.dumps(data)
            if body is not None:
                headers["Content-Type"] = "application/json"
            asked.request(method, path, body, headers)
            answer = asked.getresponse()
            return answer.status, answer.headers, answer.read()
        finally:
            asked.close()

    def kill(self) -> None:
        """End it at once: SIGKILL, or what is like it."""
        self.process.kill()
        self.process.join(PATIENCE_S)


def add_exercises(life: Life, first: int, confirmed: list[str]) -> None:
    """Add one exercise after the other until the desk is gone; those answered with 200 are `confirmed`."""
    number = 1
    try:
        for n in range(first, first + 10_000):
            name = f"exercise {n}"
            edit = {"op": "add", "kind": "exercise", "name": name}
            status, _, body = life.ask(
                "POST", "/api/plan/p.yaml/edit", {"number": number, "what": name, "edits": [edit]}
            )
            assert status == 200, body
            confirmed.append(name)
            number = json.loads(body)["number"]
    except (OSError, http.client.HTTPException):
        return


def test_twenty_kills_lose_no_confirmed_edit(tmp_path: Path) -> None:
    """Killed at random moments while edits come one after the other, and opened again each time."""
    path = tmp_path / "p.yaml"
    path.write_text(PLAN, encoding="utf-8")
    context: Any = multiprocessing.get_context(METHOD)
    if METHOD == "forkserver":
        context.set_forkserver_preload(["cuelane.desk.serve", "cuelane.desk.app"])
    chance = random.Random(16)
    confirmed: list[str] = []
    edit_s = 0.05
    for _ in range(N_KILLS):
        life = Life(context, tmp_path)
        names = list(load_plan(path).plan.exercises)
        assert [name for name in confirmed if name not in names] == []
        assert len(names) <= 1 + len(confirmed) + 1, (
            "at most the edit that was being made is there unconfirmed"
        )
        confirmed = names[1:]
        began, n_before = time.monotonic(), len(confirmed)
        sender = threading.Thread(target=add_exercises, args=(life, len(names), confirmed))
        sender.start()
        # So many edits are waited for, however slow the machine; then the kill falls somewhere in the next.
        n_first = chance.randrange(4)
        while len(confirmed) < n_before + n_first and sender.is_alive():
            time.sleep(0.001)
        assert len(confirmed) >= n_before + n_first, "the desk answers"
        if n_first:
            edit_s = (time.monotonic() - began) / n_first
        sender.join(chance.uniform(0.0, 2 * edit_s))
        life.kill()
        sender.join(PATIENCE_S)
        assert not sender.is_alive()
    life = Life(context, tmp_path)
    text = json.loads(life.ask("POST", "/api/plan/p.yaml/undo", {})[2])["text"]
    life.kill()
    assert text == path.read_text(encoding="utf-8"), "what was killed is opened again as it is on the disk"
    names = list(load_plan(path).plan.exercises)
    assert confirmed, "some edits were confirmed at all"
    assert [name for name in confirmed if name not in names] == []
    assert text.startswith("# kept as it is\n")
    assert "# so is this" in text


def asked_again(folder: Path, on: str, edit: dict[str, Any], **more: Any) -> Answer:
    """Return what a desk that was started anew answers to an edit that is asked for once more."""
    desk = application(folder, ClipStore(folder / "clips"))
    body = {"number": 1, "seen": digest_of(on), "what": "", "edits": [edit], "on": on, **more}
    return post(desk, "/api/plan/p.yaml/edit", body)


EDITS = (
    ({"op": "set", "at": "title", "kind": "text", "typed": "Two"}, {"was": {"kind": "text", "typed": "T"}}),
    ({"op": "add", "kind": "exercise", "name": "press"}, {}),
    ({"op": "add", "kind": "rest"}, {}),
    ({"op": "append", "at": "session/0/exercises", "typed": "row"}, {}),
    ({"op": "times", "at": "session/0/exercises/0"}, {}),
    ({"op": "rename", "at": "exercises/row", "name": "pull"}, {}),
    ({"op": "copy", "at": "session/0"}, {}),
    ({"op": "remove", "at": "voice"}, {}),
)


@pytest.mark.parametrize(("edit", "more"), EDITS)
def test_an_edit_written_before_a_kill_is_told_as_made(
    edit: dict[str, Any], more: dict[str, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked for again, since no answer came, it is neither made twice nor called somebody else's change."""
    monkeypatch.setattr(Workspace, "_speak_all", lambda _self: None)
    path = tmp_path / "p.yaml"
    path.write_text(PLAN, encoding="utf-8")
    assert asked_again(tmp_path, PLAN, edit, **more).status == 200
    written = path.read_text(encoding="utf-8")
    assert written != PLAN
    answer = asked_again(tmp_path, PLAN, edit, **more)
    assert answer.status == 200, answer.body
    found = answer.json
    assert (found["base"], found["made"], found["seen"]) == (digest_of(PLAN), *[digest_of(written)] * 2)
    assert found["text"] == path.read_text(encoding="utf-8") == written
    theirs = written.replace("work: 40s", "work: 45s")
    path.write_text(theirs, encoding="utf-8")
    refused = asked_again(tmp_path, PLAN, edit, **more)
    assert refused.status in (409, 422), "another change is not this one"
    assert path.read_text(encoding="utf-8") == theirs
