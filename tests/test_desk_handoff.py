"""To the phone: one file for some minutes, and nothing else of this computer."""

from __future__ import annotations

import contextlib
import http.client
import re
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from cuelane.base.errors import UsageError
from cuelane.desk import handoff
from cuelane.desk.handoff import Handoff, local_address, qr_svg
from cuelane.desk.one_file import OneFile
from deskkit import PATIENCE_S, until

CONTENT = bytes(range(256)) * 3_000


@pytest.fixture
def track(tmp_path: Path) -> Path:
    path = tmp_path / "pier & co.m4a"
    path.write_bytes(CONTENT)
    (tmp_path / "p.yaml").write_text("title: secret", encoding="utf-8")
    return path


@pytest.fixture
def opened(track: Path) -> Iterator[str]:
    door = Handoff(lambda: "127.0.0.1")
    told = door.start(OneFile(track, "audio/mp4", "Pier <b>", ["Stop & rest."]), "p.yaml", track.name)
    yield told["address"]
    door.stop()


def request(
    address: str, path: str, method: str = "GET", body: bytes | None = None, **headers: str
) -> tuple[int, dict[str, str], bytes]:
    where = urlsplit(address)
    line = http.client.HTTPConnection(where.hostname or "", where.port, timeout=PATIENCE_S)
    line.request(method, path, body=body, headers={name.replace("_", "-"): v for name, v in headers.items()})
    answer = line.getresponse()
    data = answer.read()
    line.close()
    return answer.status, dict(answer.getheaders()), data


def test_the_page_and_its_file_are_served(opened: str) -> None:
    """A player, a download and the cautions; the file whole, and by ranges (RFC 9110, section 14)."""
    base = urlsplit(opened).path
    status, headers, page = request(opened, base)
    assert status == 200
    assert b"Pier &lt;b&gt;" in page
    assert b"Stop &amp; rest." in page
    assert "unsafe" not in headers["content-security-policy"]
    href = re.search(rb'href="([^"]+)" download', page)
    assert href is not None
    file = base + href[1].decode()
    status, headers, data = request(opened, file)
    assert (status, data, headers["content-type"]) == (200, CONTENT, "audio/mp4")
    for asked, first, last in (
        ("0-9", 0, 10),
        ("700000-", 700_000, len(CONTENT)),
        ("-5", len(CONTENT) - 5, len(CONTENT)),
    ):
        status, headers, data = request(opened, file, range=f"bytes={asked}")
        assert (status, data) == (206, CONTENT[first:last])
        assert headers["content-range"] == f"bytes {first}-{last - 1}/{len(CONTENT)}"
    assert request(opened, file, range="bytes=99999999-")[0] == 416
    status, headers, data = request(opened, file, "HEAD")
    assert (status, data, int(headers["content-length"])) == (200, b"", len(CONTENT))


def test_it_stays_open_for_a_quarter_of_an_hour(track: Path) -> None:
    """As README promises, unless another time is asked for."""
    door = Handoff(lambda: "127.0.0.1")
    told = door.start(OneFile(track, "audio/mp4", "T", []), "p.yaml", track.name)
    door.stop()
    assert 14 * 60 < told["left_s"] <= 15 * 60


def test_nothing_else_is_served(opened: str) -> None:
    """Other paths, guesses, methods, hosts, bodies: the answer says nothing."""
    base = urlsplit(opened).path
    secret = base.strip("/")
    assert len(secret) >= 22, "128 bits"
    foreign = ["/", "/open", "/api/job", "/plan/p.yaml", "/assets/desk.css", "/%00", f"//{secret}/"]
    guesses = [f"/{secret}", f"/{secret[:-1]}/", f"/{secret}x/", f"/{secret.swapcase()}/"]
    beside = ["p.yaml", "../p.yaml", "%2e%2e/p.yaml", "./", "pier%20&%20co.m4a/", "?x=1"]
    for path in [*foreign, *guesses, *(base + name for name in beside)]:
        status, _, data = request(opened, path)
        assert status in (400, 404), path
        assert b"Pier" not in data
        assert b"secret" not in data
    for method in ("POST", "PUT", "DELETE", "OPTIONS", "PATCH", "PROPFIND"):
        assert request(opened, base, method)[0] == 405
    for host in ("evil.example", "localhost", "127.0.0.1", "127.0.0.1:80", ""):
        assert request(opened, base, host=host)[0] in (400, 404)
    assert request(opened, base, "GET", body=b"x" * 10)[0] == 413


def test_a_path_without_end_is_cut(opened: str) -> None:
    """It is refused before it has been read whole, and the listener goes on."""
    where = urlsplit(opened)
    answer = b""
    with (
        socket.create_connection((where.hostname or "", where.port or 0), timeout=PATIENCE_S) as line,
        # Whoever closes with bytes unread resets the connection, and a reset may overtake the answer
        # (RFC 9112, section 9.6): what arrives is the refusal, its beginning, or nothing.
        contextlib.suppress(ConnectionError),
    ):
        line.sendall(f"GET {where.path}{'a' * 70_000} HTTP/1.1\r\n".encode())
        line.sendall(f"Host: {where.netloc}\r\nConnection: close\r\n\r\n".encode())
        while received := line.recv(4096):
            answer += received
    assert answer[:12] in (b"", b"HTTP/1.1 400", b"HTTP/1.1 404", b"HTTP/1.1 414", b"HTTP/1.1 431")
    assert b"Pier" not in answer
    assert request(opened, where.path)[0] == 200


def test_a_head_that_never_ends_is_cut(opened: str) -> None:
    """A request of a megabyte of headers is refused, not collected."""
    where = urlsplit(opened)
    answer, cut = b"", False
    with socket.create_connection((where.hostname or "", where.port or 0), timeout=PATIENCE_S) as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n")
        try:
            for _ in range(64):
                line.sendall(b"a: " + b"b" * 16_384 + b"\r\n")
            answer = line.recv(100)
        except ConnectionError:
            # A reset may overtake the answer, as above. From a listener that goes on reading nothing comes.
            cut = True
    assert cut or answer[9:12] in (b"400", b"431"), answer
    assert request(opened, where.path)[0] == 200


def test_it_ends_by_itself(track: Path) -> None:
    """After its time nobody answers at that address, and the desk is told so."""
    door = Handoff(lambda: "127.0.0.1")
    told = door.start(OneFile(track, "audio/mp4", "T", []), "p.yaml", track.name, minutes=1 / 60)
    assert 0 <= told["left_s"] <= 1
    until(lambda: bool(door.now()) or _serves(told["address"]), lambda there: not there)
    assert door.stop() == {}


def test_a_button_closes_it_and_a_new_one_replaces_it(track: Path) -> None:
    """The first address is dead as soon as the second is there; a file put in its place is not served."""
    door = Handoff(lambda: "127.0.0.1")
    first = door.start(OneFile(track, "audio/mp4", "T", []), "p.yaml", track.name)["address"]
    second = door.start(OneFile(track, "audio/mp4", "T", []), "p.yaml", track.name)["address"]
    assert first != second
    assert not _serves(first)
    track.unlink()
    track.write_bytes(b"other")
    path = f"{urlsplit(second).path}pier%20%26%20co.m4a"
    assert request(second, path)[2] == CONTENT
    door.stop()
    assert not _serves(second)


def test_of_two_opened_at_once_one_stays(track: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first was forgotten and stayed open to the network, where no button reached it."""
    door, both = Handoff(lambda: "127.0.0.1"), threading.Barrier(2)
    stop, told = door.stop, list[str]()

    def stopped() -> object:
        ended = stop()
        # Both have come so far, unless one waits for the other.
        with contextlib.suppress(threading.BrokenBarrierError):
            both.wait(0.5)
        return ended

    def start() -> None:
        told.append(door.start(OneFile(track, "audio/mp4", "T", []), "p.yaml", track.name)["address"])

    monkeypatch.setattr(door, "stop", stopped)
    pressed = [threading.Thread(target=start) for _ in range(2)]
    for one in pressed:
        one.start()
    for one in pressed:
        one.join(PATIENCE_S)
    assert sum(map(_serves, told)) == 1
    stop()
    assert not any(map(_serves, told))


def _serves(address: str) -> bool:
    """Whether the page is there. Another program may have been given the port meanwhile."""
    try:
        return request(address, urlsplit(address).path)[0] == 200
    except (OSError, http.client.HTTPException):
        return False


@pytest.mark.parametrize(
    ("found", "words"), [("127.0.0.1", "no local network"), ("8.8.8.8", "from anywhere")]
)
def test_nothing_is_shared_where_there_is_no_local_network(
    monkeypatch: pytest.MonkeyPatch, found: str, words: str
) -> None:
    """Neither on this computer alone nor on a public address."""

    class Asked(socket.socket):
        def connect(self, _: object) -> None: ...

        def getsockname(self) -> tuple[str, int]:
            return found, 1

    monkeypatch.setattr(handoff.socket, "socket", Asked)
    with pytest.raises(UsageError, match=words):
        local_address()


def test_the_code_is_drawn_as_segno_makes_it() -> None:
    """Module by module what segno makes, a library of its own, with its quiet zone."""
    import segno

    address = "http://192.168.1.23:54321/AAAAAAAAAAAAAAAAAAAAAA/"
    svg = qr_svg(address, 'the "code"')
    assert "style" not in svg
    size = int(re.search(r'viewBox="0 0 (\d+)', svg)[1])  # type: ignore[index]
    drawn = [[0] * size for _ in range(size)]
    for x, y, n in re.findall(r"M(\d+) (\d+)h(\d+)v1", svg):
        for column in range(int(x), int(x) + int(n)):
            drawn[int(y)][column] = 1
    matrix = [list(row) for row in segno.make(address, error="m", micro=False).matrix_iter(border=4)]
    assert drawn == matrix
