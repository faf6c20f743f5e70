"""What answers first, while the rest is being imported: the shelf, then the composing of plans, then all.

To import what plans takes a second of the processor, and what speaks and measures another two. The shelf
needs neither, so it is there at once; what a person asks for meanwhile is answered as soon as it can be.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.routing import Match

from cuelane.audio.cache_folder import default_folder
from cuelane.desk.folder import Folder
from cuelane.desk.guard import Receive, Scope, Send
from cuelane.desk.page_shell import environment, page
from cuelane.desk.shelf import SHELF_FOLDER, Shelf, shelf_route
from cuelane.desk.static_files import static_routes
from cuelane.desk.summaries import Summaries
from cuelane.plan.pattern_names import PATTERNS
from cuelane.web.page_parts import base_css


class Front:
    """An ASGI application that answers in place of others until they are imported, then hands all to them."""

    def __init__(self, folder: Path) -> None:
        shelf = Shelf(Folder(folder), Summaries(default_folder() / SHELF_FOLDER))
        self._whole: Future[Starlette] = Future()
        self._composing: Future[Starlette] = Future()
        self._n_answered = 0
        self._n_undecided = 0
        self._first = Starlette(routes=[shelf_route(shelf), *static_routes()], lifespan=self._lifespan)

    def prepare(self) -> None:
        """Do once what would import something in the server's thread: the template, its words, a style."""
        nothing: dict[str, Any] = {"plans": [], "deleted": [], "deleted_folder": ""}
        page("shelf.html.j2", "shelf", "cuelane", patterns=PATTERNS, **nothing)
        environment().get_template("shelf_row.html.j2")
        base_css()

    def wait_until_idle(self, most_s: float) -> None:
        """Return when no request is being answered, or after so long; from any thread."""
        end = time.monotonic() + most_s
        while (self._n_answered or self._n_undecided) and time.monotonic() < end:
            time.sleep(0.02)

    def composes(self, composing: Starlette) -> None:
        """Hand to `composing` whatever it answers, from now on until the whole is there; from any thread."""
        self._composing.set_result(composing)

    def ready(self, whole: Starlette) -> None:
        """Hand everything to `whole` from now on; from any thread."""
        self._whole.set_result(whole)

    def failed(self) -> None:
        """Answer no more: there will be nothing to hand to. From any thread."""
        for waited in (self._composing, self._whole):
            if not waited.done():
                waited.set_result(Starlette())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._first(scope, receive, send)
            return
        app = await self._answering(scope)
        # Without a wait between the two: a request is undecided or answered until it has its answer.
        self._n_answered += 1
        try:
            await app(scope, receive, send)
        finally:
            self._n_answered -= 1

    async def _answering(self, scope: Scope) -> Starlette:
        """Return what answers a request, waiting for it if need be."""
        if not self._whole.done() and _answers(self._first, scope):
            return self._first
        # Shielded: a page that goes away must not take from the others what they wait for.
        if not self._whole.done():
            self._n_undecided += 1
            try:
                composing = await asyncio.shield(asyncio.wrap_future(self._composing))
            finally:
                self._n_undecided -= 1
            if _answers(composing, scope):
                return composing
        return await asyncio.shield(asyncio.wrap_future(self._whole))

    @contextlib.asynccontextmanager
    async def _lifespan(self, _: Starlette) -> AsyncIterator[None]:
        yield
        if self._whole.done():
            whole = self._whole.result()
            async with whole.router.lifespan_context(whole):
                """Its beginning does nothing; its end closes what runs."""


def _answers(app: Starlette, scope: Scope) -> bool:
    return any(route.matches(scope)[0] is not Match.NONE for route in app.routes)
