"""The desk as a server of this computer alone: from a folder to an address, until it is stopped."""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from cuelane.base.errors import UsageError
from cuelane.desk.app import application
from cuelane.desk.guard import Guard
from cuelane.desk.uploads import LARGE

DEFAULT_PORT = 8318
"""No meaning: a number that no common service uses. Where it is taken another is found."""


def listening_socket(port: int | None) -> socket.socket:
    """Return a socket that listens on 127.0.0.1 alone: at `port`, or at the usual one or any that is free.

    Raises
    ------
    UsageError : `port` was asked for and is taken.
    """
    for wanted in (port,) if port is not None else (DEFAULT_PORT, 0):
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        # So that the desk can be started again at once; on Windows it would let two programs share a port.
        if hasattr(socket, "AF_UNIX"):
            found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind(("127.0.0.1", wanted))
        except OSError as error:
            found.close()
            if port is not None:
                raise UsageError(f"port {port} cannot be used here: {error.strerror}; try another") from error
            continue
        return found
    raise UsageError("no port of this computer is free")


def serve(folder: Path, port: int | None, opened: Callable[[str], None]) -> None:
    """Serve the desk of `folder` until Ctrl-C; `opened` is called with its one-time link once it listens.

    Raises
    ------
    UsageError : no such folder, or the port is taken.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder}: there is no such folder; make it first, or name another")
    sock = listening_socket(port)
    with sock:
        number = sock.getsockname()[1]
        guard = Guard(application(folder), port=number, large=LARGE)
        config = uvicorn.Config(
            guard,
            log_level="error",
            access_log=False,
            lifespan="on",
            server_header=False,
            ws="none",
            timeout_graceful_shutdown=5,
        )
        sock.listen(128)
        opened(f"http://127.0.0.1:{number}/open?token={guard.token}")
        uvicorn.Server(config).run(sockets=[sock])
