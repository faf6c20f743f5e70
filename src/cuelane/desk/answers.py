"""Routes whose handlers run in a thread of their own, and whose errors are words that a page can show."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from cuelane.base.errors import CuelaneError, PlanError
from cuelane.desk.asked import BadRequestError
from cuelane.desk.document import ChangedElsewhereError
from cuelane.desk.edits import EditError
from cuelane.desk.forms import in_yaml
from cuelane.desk.page_shell import page
from cuelane.desk.planning import SupersededError
from cuelane.desk.words import DEFAULT_LANGUAGE, Said, desk_words, problems_told, told

Asked = dict[str, Any]
"""The object in a request's body."""


class AsciiJson(JSONResponse):
    """JSON whose text is ASCII, so that half of a character (a lone surrogate) in a message can be sent."""

    def render(self, content: Any) -> bytes:
        """Return the body."""
        return json.dumps(content, allow_nan=False, separators=(",", ":")).encode("ascii")


async def answered(work: Callable[[], Any], *, as_page: bool = False) -> Response:
    """Return what `work` gives, as JSON unless it is an answer already.

    What is wrong is told in JSON too; with `as_page` in a page, since a person looks at the answer.
    """

    def refused(wrong: dict[str, str], status: int) -> Response:
        return HTMLResponse(_page_of(wrong), status) if as_page else AsciiJson(wrong, status)

    try:
        answer = await run_in_threadpool(work)
    except ChangedElsewhereError as error:
        return AsciiJson({"error": "changed", "theirs": _written(error.theirs)}, 409)
    except SupersededError:
        return Response(status_code=204)
    except (EditError, BadRequestError, RecursionError) as error:
        return refused(told(error), 422)
    except UnicodeEncodeError:
        return refused(told(EditError(Said("wrong.half_character"))), 422)
    except PlanError as error:
        return refused({"error": problems_told(error.problems), "lang": DEFAULT_LANGUAGE}, 404)
    except CuelaneError as error:
        return refused(told(error), 400)
    return answer if isinstance(answer, Response) else AsciiJson(answer)


def _written(value: Any) -> str | None:
    """Return a value of a plan as a person types it, None for none; for a date JSON has no word."""
    return value if value is None or isinstance(value, str) else in_yaml(value)


def _page_of(wrong: dict[str, str]) -> str:
    title = desk_words().top["desk"]
    values = {"wrong": wrong["error"], "wrong_lang": wrong["lang"]}
    return page("wrong.html.j2", "wrong", title, scripts=(), **values)


def object_in(body: bytes) -> Asked:
    """Return the object in a request's body. Raises BadRequestError where there is none."""
    try:
        data = json.loads(body) if body else {}
    except ValueError as error:
        raise BadRequestError(f"an object in JSON was expected: {error}") from error
    if not isinstance(data, dict):
        raise BadRequestError("an object was expected")
    return data


def get_route(path: str, handler: Callable[[Request], Any]) -> Route:
    """Return a route that answers GET with what `handler` gives in a thread of its own."""
    return _route(path, lambda request, _: handler(request), "GET")


def post_route(path: str, handler: Callable[[Request, Asked], Any]) -> Route:
    """Return a route that answers POST; `handler` gets the object in the body too."""
    return _route(path, handler, "POST")


def _route(path: str, handler: Callable[[Request, Asked], Any], method: str) -> Route:
    async def answer(request: Request) -> Response:
        body = await request.body() if method == "POST" else b""
        # A browser asks so for what it opens itself; a script, a picture or a player does not.
        as_page = method == "GET" and "text/html" in request.headers.get("accept", "")
        return await answered(lambda: handler(request, object_in(body)), as_page=as_page)

    return Route(path, answer, methods=[method])
