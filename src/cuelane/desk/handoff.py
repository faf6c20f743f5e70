"""To the phone: a second listener on the local network, for one file, that ends by itself.

It is opened only when somebody asks for it, on this computer's address in the local network, and never on a
public one. While it is open the desk itself stays where it was, on 127.0.0.1.
"""

from __future__ import annotations

import ipaddress
import socket
import threading
import time
from collections.abc import Callable
from typing import Any

import segno
import uvicorn
from markupsafe import Markup

from cuelane.base.errors import UsageError
from cuelane.desk.one_file import OneFile
from cuelane.desk.words import Said

OPEN_MINUTES = 15
_GRACE_S = 10
_MOST_AT_ONCE = 16


def local_address() -> str:
    """Return this computer's address in its local network.

    Raises
    ------
    UsageError : it is in none, or its address can be reached from anywhere.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            # Nothing is sent: the system only says from which address it would be (RFC 5737 address).
            asked.connect(("198.51.100.1", 9))
            found = str(asked.getsockname()[0])
        except OSError:
            found = "127.0.0.1"
    address = ipaddress.ip_address(found)
    if address.is_loopback or address.is_unspecified:
        raise UsageError(Said("phone.no_network"))
    if not address.is_private:
        raise UsageError(Said("phone.public"))
    return found


class Handoff:
    """The one listener for a phone. All methods may be called from several threads."""

    def __init__(self, address_of: Callable[[], str] = local_address) -> None:
        self._address_of = address_of
        self._opening = threading.Lock()
        self._lock = threading.Lock()
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._timer: threading.Timer | None = None
        self._ends = 0.0
        self._told: dict[str, Any] = {}

    def start(self, shared: OneFile, plan: str, name: str, minutes: float = OPEN_MINUTES) -> dict[str, Any]:
        """Open the listener for `shared`, in place of one that is open; return what :meth:`now` does.

        Raises
        ------
        UsageError : see :func:`local_address`; or the address cannot be listened on.
        """
        # One after the other: of two at once, the first could be reached no more, and stay open.
        with self._opening:
            self.stop()
            self._open(shared, plan, name, minutes)
            return self.now()

    def _open(self, shared: OneFile, plan: str, name: str, minutes: float) -> None:
        with self._lock:
            try:
                host = self._address_of()
                sock = socket.create_server((host, 0), backlog=_MOST_AT_ONCE)
            except (UsageError, OSError) as error:
                shared.close()
                if isinstance(error, UsageError):
                    raise
                raise UsageError(Said("phone.no_listening", why=error.strerror)) from error
            address = shared.address(host, sock.getsockname()[1])
            config = uvicorn.Config(
                shared,
                log_level="critical",
                access_log=False,
                lifespan="off",
                server_header=False,
                ws="none",
                limit_concurrency=_MOST_AT_ONCE,
                timeout_keep_alive=5,
                timeout_graceful_shutdown=_GRACE_S,
                h11_max_incomplete_event_size=16_384,
            )
            server = self._server = uvicorn.Server(config)
            self._thread = threading.Thread(target=_serve, args=(server, sock, shared), daemon=True)
            self._thread.start()
            self._timer = threading.Timer(60 * minutes, self._expire, args=(server,))
            self._timer.daemon = True
            self._timer.start()
            self._ends = time.monotonic() + 60 * minutes
            self._told = {"address": address, "plan": plan, "file": name}

    def now(self) -> dict[str, Any]:
        """Return address, plan, file and the seconds left; an empty object when nothing is open."""
        with self._lock:
            if self._server is None or self._server.should_exit:
                return {}
            return {**self._told, "left_s": max(0, round(self._ends - time.monotonic()))}

    def stop(self) -> dict[str, Any]:
        """Close the listener, if it is open, and wait until it is; what is being sent may end first."""
        with self._lock:
            server, thread, timer = self._server, self._thread, self._timer
            self._server = self._thread = self._timer = None
        if timer is not None:
            timer.cancel()
        if server is not None and thread is not None:
            server.should_exit = True
            thread.join(_GRACE_S + 5)
        return {}

    def _expire(self, server: uvicorn.Server) -> None:
        server.should_exit = True


def _serve(server: uvicorn.Server, sock: socket.socket, shared: OneFile) -> None:
    try:
        server.run(sockets=[sock])
    finally:
        sock.close()
        shared.close()


def qr_svg(text: str, title: str) -> Markup:
    """Return `text` as a QR code (ISO/IEC 18004) in SVG, its quiet zone of 4 modules included.

    Colours are the style sheet's: class ``qr``, the code itself a path on a rectangle.
    """
    matrix = segno.make(text, error="m", micro=False).matrix
    size = len(matrix) + 8
    runs = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            end = x
            while end < len(row) and row[end]:
                end += 1
            if end > x:
                runs.append(f"M{x + 4} {y + 4}h{end - x}v1h-{end - x}z")
            x = end + 1
    return Markup(
        '<svg class="qr" viewBox="0 0 {size} {size}" role="img" aria-label="{title}" '
        'shape-rendering="crispEdges"><rect width="{size}" height="{size}"/><path d="{path}"/></svg>'
    ).format(size=size, title=title, path="".join(runs))
