"""A piece of work in a thread of its own, and its errors as words that a page can show."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from cuelane.base.errors import CuelaneError, PlanError
from cuelane.desk.asked import BadRequestError
from cuelane.desk.document import ChangedElsewhereError
from cuelane.desk.edits import EditError
from cuelane.desk.planning import SupersededError


async def answered(work: Callable[[], Any]) -> Response:
    """Return what `work` gives, as JSON unless it is an answer already."""
    try:
        answer = await run_in_threadpool(work)
    except ChangedElsewhereError as error:
        return JSONResponse({"error": "changed", "theirs": error.theirs}, 409)
    except SupersededError:
        return Response(status_code=204)
    except (EditError, BadRequestError, json.JSONDecodeError, RecursionError) as error:
        return JSONResponse({"error": str(error)}, 422)
    except PlanError as error:
        return JSONResponse({"error": "; ".join(problem.message for problem in error.problems)}, 404)
    except CuelaneError as error:
        return JSONResponse({"error": str(error)}, 400)
    return answer if isinstance(answer, Response) else JSONResponse(answer)


def object_in(body: bytes) -> dict[str, Any]:
    """Return the object in a request's body. Raises BadRequestError, or ValueError, where there is none."""
    data = json.loads(body) if body else {}
    if not isinstance(data, dict):
        raise BadRequestError("an object was expected")
    return data
