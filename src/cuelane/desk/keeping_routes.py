"""What the shelf asks for beside new plans: to copy, rename and delete one, and to bring one back."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from starlette.requests import Request
from starlette.routing import Route

from cuelane.desk.answers import Asked, post_route
from cuelane.desk.deleted import put_away_as
from cuelane.desk.folder import OWN_PLAN, Folder
from cuelane.desk.keeping import Keeping
from cuelane.desk.shelf import Shelf
from cuelane.desk.words import desk_words


def keeping_routes(keeping: Keeping, shelf: Shelf, folder: Folder) -> list[Route]:
    """Return the routes. What changes the shelf is answered with the shelf as it is then."""

    def copied(request: Request, data: Asked) -> Any:
        return {"name": keeping.copy(request.path_params["name"], str(data.get("title", "")))}

    def renamed(request: Request, data: Asked) -> Any:
        before = request.path_params["name"]
        name, is_made_away = keeping.rename(before, str(data.get("title", "")))
        own = name.removesuffix(f":{OWN_PLAN}")
        key = "shelf.renamed_made" if is_made_away else "shelf.renamed"
        said = desk_words()(key if own == name else "shelf.renamed_folder", name=own)
        told = _told(shelf, said, f"acts/{name}")
        if is_made_away:
            # Where it is made again is one press away.
            told["go"] = {"href": f"/finish/{quote(name, safe='')}", "text": desk_words().top["finish"]}
        return told

    def deleted(request: Request, _: Asked) -> Any:
        key = keeping.delete(request.path_params["name"])
        title = put_away_as(folder, key).title
        return _told(shelf, desk_words()("shelf.was_deleted", title=title), f"back/{key}")

    def brought_back(request: Request, _: Asked) -> Any:
        name, title = keeping.bring_back(request.path_params["key"])
        focus = f"open/{name}" if name else "deleted-title"
        return _told(shelf, desk_words()("shelf.was_back", title=title), focus)

    return [
        post_route("/api/shelf/{name}/copy", copied),
        post_route("/api/shelf/{name}/rename", renamed),
        post_route("/api/shelf/{name}/delete", deleted),
        post_route("/api/deleted/{key}/back", brought_back),
    ]


def _told(shelf: Shelf, said: str, focus: str) -> dict[str, Any]:
    """Return what the page then shows and says, and which of its elements is to have the focus.

    With ``go`` beside them it shows a link behind what it says.
    """
    return {"parts": shelf.parts(), "said": said, "focus": focus}
