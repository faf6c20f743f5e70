"""The desk's own styles and scripts."""

from __future__ import annotations

from functools import partial
from importlib import resources

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from cuelane.web.page_parts import base_css, picture_css, score_css

STATIC_FILES = {
    "desk.css": "text/css",
    "desk.js": "text/javascript",
    "elsewhere.js": "text/javascript",
    "cues.js": "text/javascript",
    "drop.js": "text/javascript",
    "languages.js": "text/javascript",
    "naming.js": "text/javascript",
    "score.js": "text/javascript",
    "shelf.js": "text/javascript",
    "finish.css": "text/css",
    "finish.js": "text/javascript",
    "page.js": "text/javascript",
    "player.js": "text/javascript",
    "booth.css": "text/css",
    "booth.js": "text/javascript",
    "microphone.js": "text/javascript",
    "reading.js": "text/javascript",
    "class.css": "text/css",
    "classes.js": "text/javascript",
}


def static_routes() -> list[Route]:
    """Return a route for each file."""
    return [Route(f"/assets/{name}", partial(_answer, name)) for name in STATIC_FILES]


async def _answer(name: str, _: Request) -> Response:
    text = (resources.files("cuelane") / "desk" / "assets" / name).read_text(encoding="utf-8")
    if name == "desk.css":
        # The score has rows and shapes of the same names as the timetable: its style is for it alone.
        text = f"{base_css()}{text}#score {{\n{score_css()}\n}}\n"
    if name == "finish.css":
        text += picture_css()
    return Response(text, media_type=STATIC_FILES[name])
