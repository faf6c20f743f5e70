"""The pages of recorded classes, and what their script asks for."""

from __future__ import annotations

import re
from typing import Any

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from cuelane.adapt.analysis import Analysis
from cuelane.adapt.clock import clock
from cuelane.base.units import format_duration
from cuelane.desk.answers import Asked, answered, get_route, post_route, upload_route
from cuelane.desk.asked import BadRequestError
from cuelane.desk.booth_pages import wav
from cuelane.desk.classes import Classes
from cuelane.desk.labels import role_of
from cuelane.desk.page_shell import page
from cuelane.desk.tapes import N_POINTS
from cuelane.desk.uploads import stream_into
from cuelane.desk.words import desk_words
from cuelane.web.page_parts import envelope_path, plain, spans_path

_STYLES = ("class.css", "booth.css")
_OPTION = re.compile("(--beep-at |--beep-at|--plan|--work|--rest)")


def class_routes(classes: Classes) -> list[Route]:
    """Return the routes of the classes."""
    pages = _ClassPages(classes)

    return [
        get_route("/classes", pages.list_page),
        get_route("/class/{name}", pages.class_page),
        get_route("/class-sound/{name}/{start:int}-{end:int}.wav", pages.sound),
        get_route("/api/class-state/{name}", pages.state),
        get_route("/api/class-tape/{name}", pages.tape),
        post_route("/api/class-run/{name}", pages.run),
        post_route("/api/class-stop/{name}", pages.stop),
        post_route("/api/class-decide/{name}", pages.decide),
        upload_route("/api/class-words/{name}", pages.captions),
        upload_route("/api/class/new", pages.bring),
    ]


class _ClassPages:
    """Handlers; those that are no coroutines are called in a thread."""

    def __init__(self, classes: Classes) -> None:
        self._classes = classes

    def list_page(self, request: Request) -> Response:
        rows = [
            (name, self._classes.title(name), self._classes.plan_name(name)) for name in self._classes.names()
        ]
        title = desk_words().classes["title"]
        return HTMLResponse(
            page("classes.html.j2", "classes", title, scripts=("classes.js",), styles=_STYLES, classes=rows)
        )

    def class_page(self, request: Request) -> Response:
        name = request.path_params["name"]
        found = self._classes.open(name)
        analysis = self._classes.analysis(name)
        runs = self._classes.progress(name)["state"] == "running"
        beep_at, work, rest = (_written(one) for one in (found.beep_at_s, found.work_s, found.rest_s))
        values: dict[str, Any] = {"name": name, "found": None, "runs": runs}
        values |= {"beep_at": beep_at, "work": work, "rest": rest}
        values |= {"plans": self._classes.plans(), "followed": found.plan.name if found.plan else ""}
        if analysis is not None and not runs:
            kept = self._classes.decided(name, analysis)
            values["found"] = {
                "doubts": [_for_the_desk(doubt) for doubt in self._classes.doubts(analysis)],
                "cues": _rows(analysis, kept),
                "plan": self._classes.plan_name(name),
                "clocks": [clock(round(analysis.seconds * part / 4)).partition(".")[0] for part in range(5)],
            }
        title = self._classes.title(name)
        return HTMLResponse(
            page("class.html.j2", "class", title, scripts=("classes.js",), styles=_STYLES, **values)
        )

    async def bring(self, request: Request) -> Response:
        """A recording, as the request's body, into a folder of its own."""
        name, path = self._classes.begin(request.query_params.get("name", "")[:200])
        try:
            with path.open("wb") as file:
                await stream_into(request, file)
        except BaseException:
            self._classes.give_up(name)
            raise
        return await answered(lambda: self._brought(name, path))

    def _brought(self, name: str, path: Any) -> Any:
        self._classes.brought(name, path)
        return {"name": name}

    async def captions(self, request: Request) -> Response:
        body = await request.body()
        name = request.path_params["name"]
        return await answered(lambda: {"captions": self._classes.add_captions(name, body)})

    def run(self, request: Request, data: Asked) -> Any:
        name, told = request.path_params["name"], "beep_at" in data
        if data.get("kept") is not None:
            # Decided on the page and not yet made again with: what is found now is told by these too.
            self._classes.keep(name, _kept(data))
        if told:
            beep_at, work, rest = (str(data.get(key, "")).strip()[:20] for key in ("beep_at", "work", "rest"))
            self._classes.tell(name, beep_at, str(data.get("plan", ""))[:200], work, rest)
        # Whoever says more about a class wants its plan made anew; undo brings the one before back.
        self._classes.run(name, again=told)
        return self.state(request)

    def tape(self, request: Request) -> Any:
        """How far the recording is decoded, and once it is, its picture with what was found on it."""
        name = request.path_params["name"]
        told = self._classes.tape(name)
        analysis = self._classes.analysis(name)
        if analysis is not None:
            told["of_seconds"] = round(analysis.seconds, 1)
            if told["state"] == "done":
                told["picture"] = self._picture(name, analysis, self._classes.decided(name, analysis))
        return told

    def stop(self, request: Request, _: Asked) -> Any:
        self._classes.stop(request.path_params["name"])
        return self.state(request)

    def state(self, request: Request) -> Any:
        name = request.path_params["name"]
        self._classes.open(name)
        told = self._classes.progress(name)
        if told.get("error"):
            fields = _fields()
            told["error"] = "".join(fields.get(part, part) for part in _OPTION.split(told["error"]))
        return {**told, "found": self._classes.analysis(name) is not None}

    def decide(self, request: Request, data: Asked) -> Any:
        self._classes.decide(request.path_params["name"], _kept(data))
        return self.state(request)

    def sound(self, request: Request) -> Response:
        name, start, end = (request.path_params[part] for part in ("name", "start", "end"))
        return wav(self._classes.sound(name, start / 1000, end / 1000))

    def _picture(self, name: str, analysis: Analysis, kept: list[bool]) -> Markup:
        """Return the recording's outline with its rounds, beeps and sentences on it, as SVG."""
        across = N_POINTS / max(analysis.seconds, 1e-3)

        def spans(rows: Any, top: float, bottom: float) -> str:
            return spans_path(
                ((row.start_s * across, row.end_s * across) for row in rows), top=top, bottom=bottom
            )

        ends = [row.end_s * across for row in analysis.intervals if row.countdown]
        paths = [
            ("work", spans((row for row in analysis.intervals if row.kind == "work"), 0, 100)),
            ("rest", spans((row for row in analysis.intervals if row.kind == "rest"), 0, 100)),
            ("wave", envelope_path(self._classes.tapes.of(name).envelope)),
            ("pip", spans_path(((x - 1, x + 1) for x in ends), top=0, bottom=100)),
            ("kept", spans((c for c, k in zip(analysis.cues, kept, strict=True) if k), 103, 112)),
            ("left", spans((c for c, k in zip(analysis.cues, kept, strict=True) if not k), 114, 123)),
        ]
        drawn = Markup("").join(Markup('<path class="c-{}" d="{}"/>').format(*row) for row in paths if row[1])
        return Markup(
            '<svg viewBox="0 0 {} 124" preserveAspectRatio="none" aria-hidden="true">{}</svg>'
        ).format(N_POINTS, drawn)


def _kept(data: Asked) -> list[bool]:
    """Return which cues a page says are kept. Raises BadRequestError where it says something else."""
    kept = data.get("kept")
    if not isinstance(kept, list) or not all(isinstance(one, bool) for one in kept):
        raise BadRequestError("kept must be a list of yes and no")
    return kept


def _rows(analysis: Analysis, kept: list[bool]) -> list[dict[str, Any]]:
    return [
        {
            "index": index,
            "at": clock(cue.start_s),
            "start": round(cue.start_s * 1000),
            "end": round(cue.end_s * 1000),
            "text": plain(cue.text),
            "role": role_of(cue.role),
            "why": [plain(why) for why in (*cue.reasons, *cue.notes)],
            "kept": keep,
        }
        for index, (cue, keep) in enumerate(zip(analysis.cues, kept, strict=True))
    ]


def _written(seconds: float | None) -> str:
    return format_duration(round(1000 * seconds)) if seconds is not None else ""


def _for_the_desk(doubt: str) -> Markup:
    """Return a doubt with the page's fields named for the options of the command line.

    It is English; the names of the fields are in the page's language, and marked so.
    """
    fields, own = _fields(), Markup('<span lang="{}">{}</span>')
    return Markup("").join(
        own.format(desk_words().code, fields[part]) if part in fields else part
        for part in _OPTION.split(plain(doubt))
    )


def _fields() -> dict[str, str]:
    """Return what the page calls each option of the command line."""
    words = desk_words().classes
    return {
        # With an example of a time after it, the field's name has a colon; without, it has none.
        "--beep-at ": f"{words['by_beep_at']} ",
        "--beep-at": words["by_beep_at"].rstrip(" \u00a0:"),
        "--plan": words["by_plan"],
        "--work": words["by_work"],
        "--rest": words["by_rest"],
    }
