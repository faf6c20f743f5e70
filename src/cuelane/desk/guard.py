"""Who may talk to the desk: only pages that the desk itself served, on this computer.

A page of any other site can send requests to 127.0.0.1 too, so an address is no proof. Every request must
name the desk's own host and port; one that a browser marks with an origin must come from the desk's own
pages; and every request but the first carries a cookie that only the link printed by the command brings.
Bodies are bounded before they are read.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.requests import ClientDisconnect

from cuelane.desk.words import desk_words

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

COOKIE = "cuelane-desk"
"""Followed by the port: cookies do not tell ports apart, and two desks must not sign each other out."""
MAX_BODY_BYTES = 4 * 1024 * 1024
"""For edits and plans. Recordings and classes have limits of their own, see `large`."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self' blob:; "
    "connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode("ascii")),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"microphone=(self)"),
    (b"cache-control", b"no-store"),
)


class Guard:
    """An ASGI layer around the desk's application.

    Parameters
    ----------
    port : the port that the desk listens on.
    token : what the first link carries; made here if not given. It opens the desk once, then is spent: the
        cookie that it was traded for goes on.
    large : path prefixes whose bodies may hold so many bytes instead.
    """

    def __init__(
        self, app: App, *, port: int, token: str | None = None, large: dict[str, int] | None = None
    ) -> None:
        self._app = app
        self._hosts = {f"{host}:{port}" for host in ("127.0.0.1", "localhost")}
        self._origins = {f"http://{host}" for host in self._hosts}
        self._cookie = f"{COOKIE}-{port}"
        self._large = large or {}
        self._session = secrets.token_urlsafe(32)
        self.token = token or secrets.token_urlsafe(32)
        self._spent = False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        headers: dict[str, str] = {}
        for name, value in scope["headers"]:
            key = name.decode("latin-1").lower()
            if key in headers and key in ("host", "origin", "content-length", "cookie"):
                await _refuse(send, 400, "this header came twice")
                return
            headers[key] = value.decode("latin-1")
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _refuse(send, *refusal)
            return
        if scope["method"] == "GET" and scope["path"] == "/open":
            await self._open(scope, send, is_known=self._has_cookie(headers))
            return
        if not self._has_cookie(headers):
            await _refuse(send, 403, desk_words().wrong["by_link"])
            return
        limit = next(
            (n for prefix, n in self._large.items() if scope["path"].startswith(prefix)), MAX_BODY_BYTES
        )
        if int(headers.get("content-length") or 0) > limit:
            await _refuse(send, *_too_large(limit))
            return
        await self._pass_on(scope, receive, send, limit)

    def _refusal(self, scope: Scope, headers: dict[str, str]) -> tuple[int, str] | None:
        if headers.get("host") not in self._hosts:
            return 400, "the desk answers only to its own address on this computer"
        origin = headers.get("origin")
        if origin is not None and origin not in self._origins:
            return 403, "this page is not the desk's"
        # A browser sends no Origin with a plain GET; with anything that changes something it does.
        if origin is None and scope["method"] not in ("GET", "HEAD"):
            return 403, "a change must come from one of the desk's own pages"
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, "this page is not the desk's"
        length = headers.get("content-length")
        if length is not None and not (length.isascii() and length.isdigit() and len(length) < 16):
            return 400, "the length of the body is not a number"
        return None

    def _has_cookie(self, headers: dict[str, str]) -> bool:
        for part in headers.get("cookie", "").split(";"):
            name, _, value = part.strip().partition("=")
            if name == self._cookie and hmac.compare_digest(value.encode(), self._session.encode()):
                return True
        return False

    async def _open(self, scope: Scope, send: Send, *, is_known: bool) -> None:
        """Trade the link for the cookie; whoever has that already may press the link again."""
        given = scope["query_string"].decode("latin-1").removeprefix("token=")
        if not is_known:
            if self._spent or not hmac.compare_digest(given.encode(), self.token.encode()):
                await _refuse(send, 403, desk_words().wrong["link_used"])
                return
            self._spent = True
        cookie = f"{self._cookie}={self._session}; Path=/; HttpOnly; SameSite=Strict"
        # Strict cookies do not go with the redirect of a link from another program, so the page is asked for
        # by the desk's own page.
        body = (
            b'<!DOCTYPE html><meta charset="utf-8"><title>cuelane</title><link rel="icon" href="data:,">'
            b'<meta http-equiv="refresh" content="0;url=/">'
        )
        await send(
            {
                "type": "http.response.start",
                "status": 200,
                "headers": [
                    *HEADERS,
                    (b"content-type", b"text/html; charset=utf-8"),
                    (b"set-cookie", cookie.encode("ascii")),
                ],
            }
        )
        await send({"type": "http.response.body", "body": body})

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send, limit: int) -> None:
        n_bytes = 0
        refused = False

        async def bounded() -> Message:
            nonlocal n_bytes, refused
            message = await receive()
            n_bytes += len(message.get("body", b""))
            if n_bytes > limit and not refused:
                refused = True
                await _refuse(send, *_too_large(limit))
            return {"type": "http.disconnect"} if refused else message

        async def with_headers(message: Message) -> None:
            if refused:
                return
            if message["type"] == "http.response.start":
                own = {name for name, _ in message["headers"]}
                message["headers"] = [*message["headers"], *(row for row in HEADERS if row[0] not in own)]
            await send(message)

        try:
            await self._app(scope, bounded, with_headers)
        except ClientDisconnect:
            # Whoever closes a page while it sends something waits for no answer.
            pass
        except Exception:
            # To the application, what was refused looks like a page that went away.
            if not refused:
                raise


def _too_large(limit: int) -> tuple[int, str]:
    return 413, desk_words()("wrong.too_large", n=limit // (1024 * 1024))


async def _refuse(send: Send, status: int, reason: str) -> None:
    body = reason.encode("utf-8")
    headers = [
        *HEADERS,
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", b"%d" % len(body)),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
