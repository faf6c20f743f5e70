"""The sound of a plan that is open, as a file that a player reads by ranges."""

from __future__ import annotations

from functools import partial

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from cuelane.base.errors import SignalError
from cuelane.desk.answers import get_route
from cuelane.desk.sound import asked_range, sound_of, total_bytes
from cuelane.desk.workspace import Workspaces


def sound_route(workspaces: Workspaces) -> Route:
    """Return the route."""
    return get_route("/sound/{name}/{number:int}.wav", partial(_answer, workspaces))


def _answer(workspaces: Workspaces, request: Request) -> Response:
    """A range of the session's sound, mixed now."""
    workspace = workspaces.open(request.path_params["name"])
    try:
        schedule = workspace.schedule()
        total = total_bytes(schedule.n_frames)
        wanted = asked_range(request.headers.get("range"), total)
        if wanted is None:
            return Response(status_code=416, headers={"content-range": f"bytes */{total}"})
        sound = sound_of(workspace, wanted)
    except SignalError as error:
        return PlainTextResponse(str(error), 409)
    headers = {"accept-ranges": "bytes", "content-range": f"bytes {wanted.first}-{wanted.last - 1}/{total}"}
    return Response(sound, 206, headers, "audio/wav")
