"""The desk as a server of this computer alone: from a folder to an address, until it is stopped."""

from __future__ import annotations

import contextlib
import importlib
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import anyio._backends._asyncio  # noqa: F401  (what the server's threads would import)
import uvicorn
from starlette.applications import Starlette

from cuelane.base.errors import UsageError
from cuelane.base.language import available_languages, pack_code
from cuelane.desk.collecting import nothing_collected
from cuelane.desk.front import Front
from cuelane.desk.guard import Guard
from cuelane.desk.spoken_in import SpokenIn
from cuelane.desk.uploads import LARGE
from cuelane.plan.phrases import listing

_BACKLOG = 128
"""Chosen: requests that may wait to be taken up, more than a browser sends at once."""

_SLOW = (
    "scipy.linalg", "scipy.special", "scipy.optimize", "scipy.interpolate", "scipy.ndimage", "scipy.stats",
    "scipy.signal", "cuelane.speech.speak", "cuelane.render.run", "cuelane.check.run",
    "cuelane.adapt.analysis",
)  # fmt: skip
"""Parts of the rest that take longest to import, each a few tenths of a second."""
_PATIENCE_S = 5.0
"""Longer than a plan takes to be opened; what waits for the rest must not wait for ever."""

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
            # At once: two desks that start together may both bind one port; only the first may listen there.
            found.listen(_BACKLOG)
        except OSError as error:
            found.close()
            if port is not None:
                raise UsageError(f"port {port} cannot be used here: {error.strerror}; try another") from error
            continue
        return found
    raise UsageError("no port of this computer is free")


def serve(folder: Path, port: int | None, opened: Callable[[str], None], language: str | None = None) -> None:
    """Serve the desk of `folder` until Ctrl-C; `opened` is called with its one-time link once it listens.

    The server has a thread of its own, and this one imports what is slow to import: no thread but the first
    ever imports anything, see ``tests/test_thread_imports.py``. Call it in the first thread.

    Raises
    ------
    UsageError : no such folder, no words in `language`, or the port is taken.
    """
    if language is not None and pack_code(language) is None:
        raise UsageError(f"the desk has no words in {language!r}; choose {listing(available_languages())}")
    if not folder.is_dir():
        raise UsageError(f"{folder}: there is no such folder; make it first, or name another")
    sock = listening_socket(port)
    with sock:
        number = sock.getsockname()[1]
        front = Front(folder)
        guard = Guard(front, port=number, large=LARGE)
        config = uvicorn.Config(
            SpokenIn(guard, pack_code(language) if language is not None else None),
            log_level="error",
            access_log=False,
            lifespan="on",
            server_header=False,
            ws="none",
            http="h11",
            loop="asyncio",
            timeout_graceful_shutdown=5,
        )
        # All three import: here, so that the server's own thread finds all it needs.
        with nothing_collected():
            config.load()
            config.get_loop_factory()
            front.prepare()
        with _terminated_in_order(), _running(uvicorn.Server(config), sock) as ended:
            try:
                opened(f"http://127.0.0.1:{number}/open?token={guard.token}")
                with nothing_collected():
                    _import_the_rest(front, folder)
                _wait_for(ended)
            finally:
                front.failed()


def _import_the_rest(front: Front, folder: Path) -> None:
    """Import what composes plans, and then all the rest; each is served as soon as it is there."""
    from cuelane.desk.answers import NO_PAGE
    from cuelane.desk.composing import Composing

    composing = Composing(folder)
    front.composes(Starlette(routes=composing.routes(), exception_handlers=NO_PAGE))
    # What is asked for now is answered first: of two threads that work, each takes twice as long.
    for name in _SLOW:
        front.wait_until_idle(_PATIENCE_S)
        importlib.import_module(name)
    front.wait_until_idle(_PATIENCE_S)

    from cuelane.desk.app import whole_desk

    front.ready(whole_desk(composing))


@contextlib.contextmanager
def _running(server: uvicorn.Server, sock: socket.socket) -> Iterator[threading.Event]:
    """Run a server in a thread of its own until what is within ends; the event tells that it has ended."""
    ended = threading.Event()

    def run() -> None:
        try:
            server.run([sock])
        finally:
            ended.set()

    threading.Thread(target=run, name="desk").start()
    try:
        yield ended
    finally:
        server.should_exit = True
        try:
            _wait_for(ended)
        except KeyboardInterrupt:
            # Pressed again: what is being sent need not end first.
            server.force_exit = True
            _wait_for(ended)


def _wait_for(ended: threading.Event) -> None:
    # In short turns, since on Windows a wait without an end hears no Ctrl-C; and not by joining the thread,
    # which Python 3.11 takes for ended when Ctrl-C comes meanwhile.
    while not ended.wait(0.5):
        pass


@contextlib.contextmanager
def _terminated_in_order() -> Iterator[None]:
    """Let SIGTERM end what is within as Ctrl-C does, and then this process as it would have.

    Ctrl-C is heard even where this process was started with it ignored, as a shell starts what it runs in the
    background.
    """
    told = False

    def stop(*_: object) -> None:
        nonlocal told
        told = True
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop), signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before[0])
        signal.signal(signal.SIGINT, before[1])
        if told:
            signal.raise_signal(signal.SIGTERM)
