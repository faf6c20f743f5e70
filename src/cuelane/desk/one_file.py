"""A server of one file and nothing else: what a phone on the same network may fetch for some minutes.

It shares nothing with the desk: no cookie, no session, no other path. Whoever does not know the path, which
holds 128 random bits, is told nothing but that there is nothing here.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
import threading
from collections.abc import Iterable
from pathlib import Path
from typing import IO
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool

from cuelane.base.errors import UsageError
from cuelane.desk.guard import Receive, Scope, Send
from cuelane.desk.page_shell import environment
from cuelane.desk.sound import asked_range
from cuelane.desk.words import Said, desk_words
from cuelane.web.page_parts import base_css

_CHUNK = 1 << 18
_STYLE = base_css() + (
    "body{font-size:1.1rem;max-width:34rem;margin:0 auto;padding:1.2rem}"
    "h1{padding-bottom:.5rem;border-bottom:3px double}"
    "h2{margin-top:1.6rem;padding-top:1rem;border-top:1px solid var(--rule)}"
    "audio{display:block;width:100%;margin:1.2rem 0}"
    "a.get{display:block;text-align:center;padding:.9rem;background:var(--ink);color:var(--paper);"
    "border-radius:2px;font-weight:700;text-decoration:none}"
    "ul{padding-inline-start:1.3rem}li{margin:.4rem 0}li::marker{color:var(--pencil)}"
)
_STYLE_HASH = base64.b64encode(hashlib.sha256(_STYLE.encode("utf-8")).digest()).decode("ascii")
_HEADERS = (
    (
        b"content-security-policy",
        f"default-src 'none'; img-src data:; media-src 'self'; style-src 'sha256-{_STYLE_HASH}'; "
        "base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'".encode("ascii"),
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cache-control", b"no-store"),
    (b"x-robots-tag", b"noindex"),
)


class OneFile:
    """An ASGI application: a plain page with a player at ``/SECRET/``, and the file beneath it.

    Parameters
    ----------
    path : the file. It is opened here, once; what is put in its place later is not served.
    media_type, title, cautions : for the page.
    language : of the session, and so of all that the page says.
    """

    def __init__(
        self, path: Path, media_type: str, title: str, cautions: Iterable[str], language: str = "en"
    ) -> None:
        try:
            self._file: IO[bytes] = path.open("rb")
        except OSError as error:
            raise UsageError(Said("phone.cannot_read", file=path.name, why=error.strerror)) from error
        self._reading = threading.Lock()
        self._size = self._file.seek(0, 2)
        self._name = path.name
        self._media_type = media_type
        self._secret = secrets.token_urlsafe(16)
        self._hosts: frozenset[str] = frozenset()
        page = environment().get_template("phone.html.j2").render(
            words=desk_words(language), title=title, name=self._name, href=quote(self._name), style=_STYLE,
            cautions=list(cautions),
        )  # fmt: skip
        self._page = page.encode("utf-8", "replace")

    def address(self, host: str, port: int) -> str:
        """Return the page's address, and answer from now on to this host and port alone."""
        self._hosts = frozenset({f"{host}:{port}"})
        return f"http://{host}:{port}/{self._secret}/"

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return None
        headers: dict[str, str] = {}
        for name, value in scope["headers"]:
            key = name.decode("latin-1").lower()
            if key in headers and key in ("host", "content-length", "range"):
                return await _plain(send, 400, "this header came twice")
            headers[key] = value.decode("latin-1")
        if scope["method"] not in ("GET", "HEAD"):
            return await _plain(send, 405, "nothing can be sent here", (b"allow", b"GET, HEAD"))
        if headers.get("content-length", "0") != "0" or "transfer-encoding" in headers:
            return await _plain(send, 413, "nothing can be sent here")
        _, secret, *rest = scope["path"].split("/", 2)
        known = hmac.compare_digest(secret.encode("utf-8", "replace"), self._secret.encode("ascii"))
        if headers.get("host") not in self._hosts or not known or scope["query_string"]:
            return await _plain(send, 404, "there is nothing here")
        if rest == [""]:
            return await _whole(send, self._page, b"text/html; charset=utf-8", scope["method"])
        if rest == [self._name]:
            return await self._send_file(scope["method"], headers.get("range"), send)
        return await _plain(send, 404, "there is nothing here")

    async def _send_file(self, method: str, wanted: str | None, send: Send) -> None:
        part = asked_range(wanted, self._size, most=None)
        if part is None:
            await _plain(send, 416, "no such range", (b"content-range", b"bytes */%d" % self._size))
            return
        partial = wanted is not None and wanted.startswith("bytes=")
        head = [
            *_HEADERS,
            (b"content-type", self._media_type.encode("ascii")),
            (b"content-length", b"%d" % (part.last - part.first)),
            (b"accept-ranges", b"bytes"),
        ]
        if partial:
            head.append((b"content-range", b"bytes %d-%d/%d" % (part.first, part.last - 1, self._size)))
        await send({"type": "http.response.start", "status": 206 if partial else 200, "headers": head})
        first = part.first
        while first < part.last and method == "GET":
            data = await run_in_threadpool(self._read, first, min(_CHUNK, part.last - first))
            if not data:
                break
            first += len(data)
            await send({"type": "http.response.body", "body": data, "more_body": True})
        await send({"type": "http.response.body", "body": b""})

    def _read(self, first: int, n_bytes: int) -> bytes:
        with self._reading:
            self._file.seek(first)
            return self._file.read(n_bytes)


async def _whole(send: Send, body: bytes, media_type: bytes, method: str, status: int = 200) -> None:
    head = [*_HEADERS, (b"content-type", media_type), (b"content-length", b"%d" % len(body))]
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": b"" if method == "HEAD" else body})


async def _plain(send: Send, status: int, reason: str, *more: tuple[bytes, bytes]) -> None:
    body = reason.encode("ascii")
    head = [*_HEADERS, *more, (b"content-type", b"text/plain; charset=utf-8"),
            (b"content-length", b"%d" % len(body))]  # fmt: skip
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": body})
