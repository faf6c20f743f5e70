"""The booth's page, and what its script asks for."""

from __future__ import annotations

import io
import tempfile
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

import soundfile
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from cuelane.base.errors import UsageError
from cuelane.desk.answers import Asked, answered, get_route, post_route, upload_route
from cuelane.desk.asked import BadRequestError
from cuelane.desk.booth import Booth
from cuelane.desk.chores import Chores
from cuelane.desk.one_take import Audio
from cuelane.desk.page_shell import page
from cuelane.desk.uploads import received, stream_into, unnamed
from cuelane.desk.whole_reading import WholeReadings
from cuelane.desk.workspace import Workspaces
from cuelane.desk.written_title import written_title
from cuelane.recording.decode import CLIP_RATE
from cuelane.speech.definition import MAX_LINE_S


def booth_routes(workspaces: Workspaces, chores: Chores) -> list[Route]:
    """Return the routes of the booth."""
    pages = _BoothPages(workspaces, chores)

    return [
        get_route("/booth/{name}", pages.page),
        get_route("/api/booth/{name}", pages.state),
        get_route("/api/booth/{name}/reading", pages.reading),
        get_route("/take/{name}/{key}/{take}.wav", pages.take_sound),
        get_route("/reading/{name}/{key}.wav", pages.reading_sound),
        post_route("/api/booth/{name}/keep", pages.keep),
        post_route("/api/booth/{name}/back", pages.back),
        post_route("/api/booth/{name}/reading", pages.settle),
        upload_route("/api/take/{name}/{key}", pages.take),
        upload_route("/api/reading/{name}", pages.read),
    ]


class _BoothPages:
    """Handlers; each is called in a thread."""

    def __init__(self, workspaces: Workspaces, chores: Chores) -> None:
        self._booth = Booth(workspaces)
        self._readings = WholeReadings(self._booth, chores)

    def page(self, request: Request) -> Response:
        name = request.path_params["name"]
        version, preview = self._booth.workspaces.open(name).now()
        title = preview.schedule.title if preview.schedule is not None else written_title(version.text)
        state = self._booth.state(name, None) if preview.arranged is not None else None
        html = page(
            "booth.html.j2",
            "booth",
            title or name,
            title_lang=preview.schedule.language if preview.schedule is not None else "",
            plan=name,
            scripts=("booth.js", "reading.js"),
            styles=("booth.css",),
            state=state,
            href=quote(name, safe=""),
        )
        return HTMLResponse(html)

    def state(self, request: Request) -> Any:
        return self._booth.state(request.path_params["name"], request.query_params.get("voice") or None)

    async def take(self, request: Request) -> Response:
        """A take of one line, as the request's body."""
        name, key = request.path_params["name"], request.path_params["key"]
        voice = request.query_params.get("voice", "")
        async with received(request) as path:
            take = partial(
                self._booth.take,
                name,
                key,
                path,
                voice=voice,
                spoke_from_s=_seconds(request, "after") or 0.0,
                until_s=_seconds(request, "until"),
            )
            return await answered(lambda: unnamed(path, take))

    async def read(self, request: Request) -> Response:
        """A whole reading, as the request's body."""
        folder = Path(tempfile.mkdtemp(prefix="cuelane-desk-"))
        path = folder / "sound"
        try:
            with path.open("wb") as file:
                await stream_into(request, file)
        except BaseException:
            path.unlink(missing_ok=True)
            folder.rmdir()
            raise
        name = request.path_params["name"]
        return await answered(lambda: self._started(name, path))

    def _started(self, name: str, path: Path) -> Any:
        self._readings.start(name, path)
        return self._readings.state(name)

    def reading(self, request: Request) -> Any:
        name = request.path_params["name"]
        self._booth.workspaces.open(name)
        return self._readings.state(name)

    def settle(self, request: Request, data: Asked) -> Any:
        """Keep lines of a reading, or put it away."""
        name, keys = request.path_params["name"], data.get("keys")
        if keys is None:
            self._readings.stop(name)
            return self._booth.state(name, str(data.get("voice", "")) or None)
        if not isinstance(keys, list) or not all(isinstance(key, str) for key in keys):
            raise BadRequestError("keys must be a list of texts")
        voice = str(data.get("voice", ""))
        kept = self._readings.keep(name, set(keys), voice)
        return {**self._booth.state(name, voice), "kept": kept}

    def keep(self, request: Request, data: Asked) -> Any:
        name, voice = request.path_params["name"], str(data.get("voice", ""))
        self._booth.keep(name, str(data.get("key", "")), str(data.get("id", "")), voice)
        return self._booth.state(name, voice)

    def back(self, request: Request, data: Asked) -> Any:
        name, voice = request.path_params["name"], str(data.get("voice", ""))
        take_id = self._booth.take_back(name, str(data.get("key", "")), voice)
        return {**self._booth.state(name, voice), "id": take_id}

    def take_sound(self, request: Request) -> Response:
        name, key, take = (request.path_params[part] for part in ("name", "key", "take"))
        if take == "kept":
            return wav(self._booth.kept(name, key, request.query_params.get("voice", "")))
        return wav(self._booth.waiting(take).take.clip)

    def reading_sound(self, request: Request) -> Response:
        return wav(self._readings.clip(request.path_params["name"], request.path_params["key"]))


def wav(samples: Audio) -> Response:
    """Return mono sound at 48 kHz, shape (n_samples,), as a WAV file of 16 bits."""
    file = io.BytesIO()
    soundfile.write(file, samples, CLIP_RATE, format="WAV", subtype="PCM_16")
    return Response(file.getvalue(), media_type="audio/wav")


def _seconds(request: Request, name: str) -> float | None:
    text = request.query_params.get(name)
    if text is None:
        return None
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 <= value <= MAX_LINE_S:
        raise UsageError(f"{name} must be seconds, from 0 to {MAX_LINE_S:g}")
    return value
