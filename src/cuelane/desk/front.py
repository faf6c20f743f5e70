"""What answers first: the shelf and the desk's own styles and scripts, while all the rest is being imported.

To import what plans, speaks and measures takes seconds of the processor. The shelf needs none of it, so it
is there at once; what a person asks for meanwhile is answered as soon as it can be.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from concurrent.futures import Future
from pathlib import Path

from starlette.applications import Starlette

from cuelane.audio.cache_folder import default_folder
from cuelane.desk.document import Folder
from cuelane.desk.guard import Receive, Scope, Send
from cuelane.desk.page_shell import environment, page
from cuelane.desk.shelf import SHELF_FOLDER, Shelf, shelf_route
from cuelane.desk.static_files import static_routes
from cuelane.desk.summaries import Summaries
from cuelane.plan.pattern_names import PATTERNS
from cuelane.web.page_parts import base_css


class Front:
    """An ASGI application that stands for another until that is there, and from then on hands all to it."""

    def __init__(self, folder: Path) -> None:
        shelf = Shelf(Folder(folder), Summaries(default_folder() / SHELF_FOLDER))
        self._whole: Future[Starlette] = Future()
        routes = [shelf_route(shelf), *static_routes()]
        self._paths = {route.path for route in routes}
        self._first = Starlette(routes=routes, lifespan=self._lifespan)

    def prepare(self) -> None:
        """Do once what would import something in the server's thread: the template, its words, a style."""
        page("shelf.html.j2", "shelf", "cuelane", plans=[], patterns=PATTERNS)
        environment().get_template("shelf_row.html.j2")
        base_css()

    def ready(self, whole: Starlette) -> None:
        """Hand everything to `whole` from now on; from any thread."""
        self._whole.set_result(whole)

    def failed(self) -> None:
        """Answer no more: there will be nothing to hand to. From any thread."""
        if not self._whole.done():
            self._whole.set_result(Starlette())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        app = self._first
        if scope["type"] == "http" and (self._whole.done() or scope["path"] not in self._paths):
            # Shielded: a page that goes away must not take from the others what they wait for.
            app = await asyncio.shield(asyncio.wrap_future(self._whole))
        await app(scope, receive, send)

    @contextlib.asynccontextmanager
    async def _lifespan(self, _: Starlette) -> AsyncIterator[None]:
        yield
        if self._whole.done():
            whole = self._whole.result()
            async with whole.router.lifespan_context(whole):
                """Its beginning does nothing; its end closes what runs."""
