"""An ASGI application asked directly, without a server: for tests of the desk."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

PORT = 8318
OWN = f"127.0.0.1:{PORT}"
PATIENCE_S = 300.0
"""What takes longer hangs, however busy the machine is: a test fails then, rather than wait for ever."""


@dataclass(frozen=True)
class Answer:
    """What came back: status, headers by name in lower case, body."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


def ask(
    app: Any,
    method: str,
    path: str,
    *,
    body: bytes = b"",
    headers: Mapping[str, str] | None = None,
    chunks: int = 1,
    is_closed: bool = False,
) -> Answer:
    """Return the answer of `app` to one request; a body in several `chunks` comes without its length.

    With `is_closed` the page is closed after the body, of which more was to come.
    """
    path, _, query = path.partition("?")
    given = {"host": OWN, **({"origin": f"http://{OWN}"} if method == "POST" else {}), **(headers or {})}
    if chunks == 1 and body:
        given.setdefault("content-length", str(len(body)))
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "root_path": "",
        "headers": [(name.encode(), value.encode("latin-1")) for name, value in given.items() if value != ""],
        "server": ("127.0.0.1", PORT),
        "client": ("127.0.0.1", 50_000),
    }
    size = -(-len(body) // chunks) or 1
    parts = [body[i : i + size] for i in range(0, len(body), size)] or [b""]
    sent: list[dict[str, Any]] = []

    async def run() -> None:
        waiting = list(parts)

        async def receive() -> dict[str, Any]:
            if waiting:
                part = waiting.pop(0)
                return {"type": "http.request", "body": part, "more_body": is_closed or bool(waiting)}
            if not is_closed:
                await asyncio.Event().wait()
            return {"type": "http.disconnect"}

        async def send(message: dict[str, Any]) -> None:
            sent.append(message)

        await app(scope, receive, send)

    asyncio.run(run())
    head = next(message for message in sent if message["type"] == "http.response.start")
    found = {name.decode().lower(): value.decode("latin-1") for name, value in head["headers"]}
    return Answer(head["status"], found, b"".join(message.get("body", b"") for message in sent))


def post(app: Any, path: str, data: Any, **headers: str) -> Answer:
    """Return the answer to a POST of `data` as JSON."""
    return ask(app, "POST", path, body=json.dumps(data).encode(), headers=headers)


def until(look: Callable[[], Any], is_over: Callable[[Any], bool]) -> Any:
    """Return what `look` gives as soon as `is_over` says so of it; fail after `PATIENCE_S`."""
    end_s = time.monotonic() + PATIENCE_S
    while not is_over(found := look()):
        assert time.monotonic() < end_s, f"after {PATIENCE_S:.0f} s still {found}"
        time.sleep(0.02)
    return found
