"""Who may talk to the desk. By RFC 9110 (Host), RFC 6454 (Origin) and the Fetch standard (Sec-Fetch-Site)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from cuelane.audio.store import ClipStore
from cuelane.desk.app import application
from cuelane.desk.guard import MAX_BODY_BYTES, Guard
from deskkit import OWN, PORT, Answer, ask, post

PLAN = "title: One\nsession:\n  - rest: 30s\n"


@pytest.fixture
def desk(tmp_path: Path) -> Guard:
    (tmp_path / "p.yaml").write_text(PLAN, encoding="utf-8")
    (tmp_path.parent / "outside.yaml").write_text(PLAN, encoding="utf-8")
    return Guard(application(tmp_path, ClipStore(tmp_path / "clips")), port=PORT)


@pytest.fixture
def cookie(desk: Guard) -> str:
    answer = ask(desk, "GET", f"/open?token={desk.token}")
    assert answer.status == 200
    return answer.headers["set-cookie"].split(";")[0]


def edit(desk: Any, **headers: str) -> Answer:
    return post(
        desk,
        "/api/plan/p.yaml/edit",
        {"number": 1, "edits": [{"op": "set", "at": "title", "value": "Two"}]},
        **headers,
    )


def test_the_desk_answers_its_own_page(desk: Guard, cookie: str, tmp_path: Path) -> None:
    """The checks below refuse; this is what they let through."""
    assert edit(desk, cookie=cookie).status == 200
    assert (tmp_path / "p.yaml").read_text(encoding="utf-8").startswith("title: Two")
    assert ask(desk, "GET", "/plan/p.yaml", headers={"cookie": cookie}).status == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": ""},
        {"origin": f"https://{OWN}"},
        {"origin": f"http://127.0.0.1:{PORT + 1}"},
        {"origin": f"http://{OWN}.evil.example"},
        {"host": "evil.example"},
        {"host": f"127.0.0.1:{PORT + 1}"},
        {"host": "127.0.0.1"},
        {"host": ""},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"content-length": "-1"},
        {"content-length": "1e3"},
        {"content-length": "9" * 40},
    ],
    ids=str,
)
def test_foreign_and_odd_requests_change_nothing(
    desk: Guard, cookie: str, tmp_path: Path, headers: dict[str, str]
) -> None:
    """A foreign, missing or null origin, a foreign host, a length that is no number."""
    answer = edit(desk, cookie=cookie, **headers)
    assert answer.status in (400, 403)
    assert (tmp_path / "p.yaml").read_text(encoding="utf-8") == PLAN


@pytest.mark.parametrize(
    "cookie", ["", f"cuelane-desk-{PORT}=", f"cuelane-desk-{PORT}=guess", "other=1", "é=\xff"]
)
def test_without_the_cookie_nothing_is_read_or_changed(desk: Guard, tmp_path: Path, cookie: str) -> None:
    """Not even the style."""
    assert edit(desk, cookie=cookie).status == 403
    for path in ("/", "/plan/p.yaml", "/assets/desk.css", "/sound/p.yaml/1.wav"):
        assert ask(desk, "GET", path, headers={"cookie": cookie}).status == 403
    assert (tmp_path / "p.yaml").read_text(encoding="utf-8") == PLAN


def test_a_token_opens_once(desk: Guard) -> None:
    """A guess never does, nor does the right one a second time: a link seen later is worth nothing."""
    for guess in ("", "x", desk.token[:-1], desk.token + "x"):
        assert ask(desk, "GET", f"/open?token={guess}").status == 403
    first = ask(desk, "GET", f"/open?token={desk.token}")
    assert first.status == 200
    assert "HttpOnly" in first.headers["set-cookie"]
    assert "SameSite=Strict" in first.headers["set-cookie"]
    assert ask(desk, "GET", f"/open?token={desk.token}").status == 403
    # The browser that it opened is not shut out by its own link, pressed again.
    cookie = first.headers["set-cookie"].partition(";")[0]
    again = ask(desk, "GET", f"/open?token={desk.token}", headers={"cookie": cookie})
    assert (again.status, again.headers["set-cookie"]) == (200, first.headers["set-cookie"])
    assert ask(desk, "GET", f"/open?token={desk.token}", headers={"cookie": f"{cookie}x"}).status == 403


@pytest.mark.parametrize("chunks", [1, 7])
def test_a_body_has_a_limit(desk: Guard, cookie: str, chunks: int) -> None:
    """Told by its length, or counted as it comes."""
    body = b'{"a":"' + b"x" * MAX_BODY_BYTES + b'"}'
    answer = ask(desk, "POST", "/api/plan/p.yaml/edit", body=body, headers={"cookie": cookie}, chunks=chunks)
    assert answer.status == 413
    assert b"4 MiB" in answer.body


@pytest.mark.parametrize(
    "name",
    [
        "..%2Foutside.yaml",
        "../outside.yaml",
        "%2e%2e/outside.yaml",
        "/etc/passwd",
        "p.yaml/..",
        "p.yaml%00",
        ".yaml",
        "nul",
    ],
)
def test_no_name_leaves_the_folder(desk: Guard, cookie: str, name: str) -> None:
    """Neither a page, nor a state, nor a sound of it."""
    for path in (f"/plan/{name}", f"/api/plan/{name}", f"/sound/{name}/1.wav", f"/assets/{name}"):
        assert ask(desk, "GET", path, headers={"cookie": cookie}).status in (400, 404, 405)


def test_a_page_may_run_nothing_but_the_desks_own_script(desk: Guard, cookie: str) -> None:
    """Content Security Policy level 3: no unsafe-inline, no unsafe-eval, nothing from elsewhere."""
    for answer in (ask(desk, "GET", "/plan/p.yaml", headers={"cookie": cookie}), ask(desk, "GET", "/")):
        policy = answer.headers["content-security-policy"]
        assert "unsafe" not in policy
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "http" not in policy
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_header_twice_is_refused(desk: Guard, cookie: str) -> None:
    """Two hosts, of which another program might believe the other one."""
    scope_headers = {"cookie": cookie, "Host": "evil.example"}
    assert ask(desk, "GET", "/", headers=scope_headers).status == 400


@pytest.mark.parametrize("path", ["/api/new", "/api/class/new", "/api/reading/p.yaml", "/api/music/p.yaml"])
def test_a_page_that_is_closed_while_it_sends_is_no_fault(
    desk: Guard, cookie: str, tmp_path: Path, path: str
) -> None:
    """Each such request printed a traceback in the terminal of the desk. Nothing stays of what came."""
    ask(desk, "POST", path, body=b"abc", headers={"cookie": cookie}, is_closed=True)
    assert [path.name for path in tmp_path.iterdir()] == ["p.yaml"]
