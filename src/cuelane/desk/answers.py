"""Routes whose handlers run in a thread of their own, and whose errors are words that a page can show."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from cuelane.base.errors import CuelaneError, PlanError, UsageError
from cuelane.desk.asked import BadRequestError
from cuelane.desk.document import ChangedElsewhereError
from cuelane.desk.edits import EditError
from cuelane.desk.forms import in_yaml
from cuelane.desk.page_shell import page
from cuelane.desk.planning import SupersededError
from cuelane.desk.words import DEFAULT_LANGUAGE, Said, desk_words, problems_told, told

Asked = dict[str, Any]
"""The object in a request's body."""


_TOLD = (
    ChangedElsewhereError,
    SupersededError,
    EditError,
    BadRequestError,
    RecursionError,
    UnicodeEncodeError,
    CuelaneError,
    OSError,
)


class AsciiJson(JSONResponse):
    """JSON whose text is ASCII, so that half of a character (a lone surrogate) in a message can be sent."""

    def render(self, content: Any) -> bytes:
        """Return the body."""
        return json.dumps(content, allow_nan=False, separators=(",", ":")).encode("ascii")


async def answered(work: Callable[[], Any], *, as_page: bool = False) -> Response:
    """Return what `work` gives, as JSON unless it is an answer already.

    What is wrong is told in JSON too; with `as_page` in a page, since a person looks at the answer.
    """
    try:
        answer = await run_in_threadpool(work)
    except _TOLD as error:
        return _refusal(error, as_page)
    return answer if isinstance(answer, Response) else AsciiJson(answer)


def _refusal(error: BaseException, as_page: bool) -> Response:
    match error:
        case ChangedElsewhereError():
            return AsciiJson({"error": "changed", "theirs": _written(error.theirs)}, 409)
        case SupersededError():
            return Response(status_code=204)
        case UnicodeEncodeError():
            return _refused(told(EditError(Said("wrong.half_character"))), 422, as_page)
        case EditError() | BadRequestError() | RecursionError():
            return _refused(told(error), 422, as_page)
        case PlanError():
            wrong = {"error": problems_told(error.problems), "lang": DEFAULT_LANGUAGE}
            return _refused(wrong, 404, as_page)
        case OSError():
            return _refused(told(error), 500, as_page)
    return _refused(told(error), 400, as_page)


def _refused(wrong: dict[str, str], status: int, as_page: bool) -> Response:
    return HTMLResponse(_page_of(wrong), status) if as_page else AsciiJson(wrong, status)


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


def upload_route(path: str, handler: Callable[[Request], Awaitable[Response]]) -> Route:
    """Return a route that answers POST; `handler` takes in the body as it comes, and then answers."""

    async def answer(request: Request) -> Response:
        try:
            return await handler(request)
        except _TOLD as error:
            return _refusal(error, as_page=False)

    return Route(path, answer, methods=["POST"])


def _route(path: str, handler: Callable[[Request, Asked], Any], method: str) -> Route:
    async def answer(request: Request) -> Response:
        body = await request.body() if method == "POST" else b""
        return await answered(lambda: handler(request, object_in(body)), as_page=_as_page(request))

    return Route(path, answer, methods=[method])


def _as_page(request: Request) -> bool:
    """Return whether a browser opens the address itself; a script, a picture or a player asks otherwise."""
    return request.method == "GET" and "text/html" in request.headers.get("accept", "")


async def _no_page(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    wrong = told(UsageError(Said("wrong.no_page", plans=desk_words().top["plans"])))
    return _refused(wrong, error.status_code, _as_page(request))


NO_PAGE: dict[Any, Callable[[Request, Exception], Awaitable[Response]]] = {404: _no_page, 405: _no_page}
"""What an application answers at an address that it does not have, or not so."""
