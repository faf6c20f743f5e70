"""The whole desk: composing, and the rooms where lines are spoken, recorded, measured and handed over."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool

from cuelane.audio.store import ClipStore
from cuelane.desk import finishing
from cuelane.desk.answers import NO_PAGE
from cuelane.desk.booth_pages import booth_routes
from cuelane.desk.chores import Chores
from cuelane.desk.class_pages import class_routes
from cuelane.desk.classes import Classes
from cuelane.desk.composing import Composing
from cuelane.desk.finishing import Finishing
from cuelane.desk.jobs import Jobs
from cuelane.desk.keeping import Keeping
from cuelane.desk.keeping_routes import keeping_routes
from cuelane.desk.lines import Speaking
from cuelane.desk.one_at_a_time import OneAtATime
from cuelane.desk.sound_route import sound_route
from cuelane.desk.tapes import Tapes
from cuelane.speech.speak import clip_from_file, speak_all
from cuelane.speech.spoken_before import SpokenBefore


def application(folder: Path, store: ClipStore | None = None) -> Starlette:
    """Return the desk of a folder as an ASGI application; :mod:`cuelane.desk.guard` says who may use it."""
    return whole_desk(Composing(folder, store))


def whole_desk(composing: Composing) -> Starlette:
    """Return the desk with all its rooms. From now on lines can be spoken."""
    workspaces = composing.workspaces
    workspaces.speech.set_result(Speaking(speak_all, clip_from_file, SpokenBefore))
    turn = OneAtATime()
    chores = Chores(turn)
    classes = Classes(workspaces, chores, Tapes(turn))
    at_the_end = Finishing(workspaces, Jobs(turn))
    keeping = Keeping(workspaces, classes, at_the_end, turn)

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        yield
        await run_in_threadpool(chores.close)
        await run_in_threadpool(classes.close)
        await run_in_threadpool(at_the_end.close)
        await run_in_threadpool(workspaces.close)

    return Starlette(
        exception_handlers=NO_PAGE,
        routes=[
            *composing.routes(),
            sound_route(workspaces),
            *booth_routes(workspaces, chores),
            *class_routes(classes),
            *finishing.routes(at_the_end),
            *keeping_routes(keeping, composing.shelf, workspaces.folder),
        ],
        lifespan=lifespan,
    )
