"""In which language a request is answered: as chosen in the page, by the command, or by the browser."""

from __future__ import annotations

from cuelane.base.language import available_languages, pack_code
from cuelane.desk.guard import App, Message, Receive, Scope, Send
from cuelane.desk.words import DEFAULT_LANGUAGE, in_language

COOKIE = "cuelane-language"
"""Written by the page's script when a language is chosen there; it holds for every desk of this browser."""
_MOST_TAGS = 50


class SpokenIn:
    """An ASGI layer around all of the desk.

    Parameters
    ----------
    language : one that has words, asked for by the command; None to go by the browser. It counts until
        another is chosen in the page: the link that opens the desk puts it in place of an earlier choice.
    """

    def __init__(self, app: App, language: str | None = None) -> None:
        self._app = app
        self._language = language

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = {
            name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]
        }
        language = (
            _chosen(headers.get("cookie", ""))
            or self._language
            or wanted_by(headers.get("accept-language", ""))
            or DEFAULT_LANGUAGE
        )
        opens = self._language is not None and scope["path"] == "/open"

        async def with_choice(message: Message) -> None:
            if opens and message["type"] == "http.response.start" and message["status"] == 200:
                cookie = f"{COOKIE}={self._language}; Path=/; SameSite=Strict"
                message["headers"] = [*message["headers"], (b"set-cookie", cookie.encode("ascii"))]
            await send(message)

        with in_language(language):
            await self._app(scope, receive, with_choice)


def wanted_by(accept_language: str) -> str | None:
    """Return the language of ours that a browser likes best, by its ``Accept-Language`` (RFC 9110, 12.5.4).

    None where it likes none of them. Of two that it likes the same, the first counts.
    """
    found: list[tuple[float, str]] = []
    for row in accept_language.split(",")[:_MOST_TAGS]:
        tag, _, weight = row.partition(";")
        code = pack_code(tag.strip())
        liked = _weight(weight)
        if code is not None and liked > 0:
            found.append((liked, code))
    return max(found, key=lambda row: row[0])[1] if found else None


def _weight(parameter: str) -> float:
    """Return a weight, 0 to 1; 1 where none is given, and 0 for what is none."""
    name, _, value = parameter.partition("=")
    if not name.strip():
        return 1.0
    try:
        weight = float(value)
    except ValueError:
        return 0.0
    return weight if name.strip().lower() == "q" and 0 <= weight <= 1 else 0.0


def _chosen(cookies: str) -> str | None:
    """Return the language that was chosen in the page, if it is one of ours."""
    for part in cookies.split(";"):
        name, _, value = part.strip().partition("=")
        if name == COOKIE and value in available_languages():
            return value
    return None
