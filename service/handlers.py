"""Everything that an endpoint may raise, and the problem it is answered with."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from typing import Any, Final

from anyio import to_thread
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from service.database import DatabaseUnavailable
from service.faults import request_faults
from service.limits import is_json
from service.problems import KIND_OF_STATUS, Problem, invalid, problem, rendering, respond
from service.strict_json import TOO_DEEP
from service.trace import request_id

RETRY_AFTER_SECONDS: Final = 2


def answer_with_problems(app: FastAPI) -> None:
    """Make an application answer every refusal and failure with problem details."""
    app.add_exception_handler(HTTPException, _refused)
    app.add_exception_handler(RequestValidationError, _malformed)
    app.add_exception_handler(DatabaseUnavailable, _without_database)


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if error.status_code in (404, 405) and not isinstance(error, Problem):
        document = await to_thread.run_sync(request.app.openapi)
        wrong_way = _no_such_path if error.status_code == 404 else _no_such_method
        return respond(wrong_way(request.url.path, document["paths"]), request_id())
    return respond(_as_problem(error), request_id())


def _as_problem(error: HTTPException) -> Problem:
    if isinstance(error, Problem):
        return error
    if isinstance(error.__cause__, RecursionError):
        return invalid([TOO_DEEP])
    kind = KIND_OF_STATUS.get(error.status_code, "refused")
    return problem(kind, str(error.detail), headers=error.headers or {})


def _no_such_method(path: str, known: Mapping[str, Mapping[str, Any]]) -> Problem:
    # A parameter is one segment of the path, but for those that may hold slashes.
    allowed = _methods(path, known, "[^/]+") or _methods(path, known, ".+") or ["GET", "HEAD"]
    listed = ", ".join(allowed)
    return problem(
        "method-not-allowed", f"`{rendering(path)}` takes {listed}.", headers={"Allow": listed}
    )


def _methods(path: str, known: Mapping[str, Mapping[str, Any]], parameter: str) -> list[str]:
    found = {
        method.upper()
        for template, operations in known.items()
        if re.fullmatch(re.sub(r"\\{.*?\\}", parameter, re.escape(template)), path)
        for method in operations
    }
    return sorted(found)


def _no_such_path(path: str, known: Mapping[str, Mapping[str, Any]]) -> Problem:
    plain = [each for each in known if "{" not in each]
    near = difflib.get_close_matches(path[:200], plain, n=1)
    hint = f" Did you mean `{near[0]}`?" if near else ""
    return problem("not-found", f"There is no path `{rendering(path)}`.{hint}")


async def _malformed(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    content_type = request.headers.get("content-type", "")
    if isinstance(error.body, bytes) and not is_json(content_type):
        refusal = problem(
            "unsupported-media-type",
            f"The body is called `{rendering(content_type)}` and `application/json` is read here."
            if content_type
            else "The body has no `Content-Type`; `application/json` is read here.",
            headers={"Accept-Post": "application/json"},
        )
    else:
        # In a thread: the first refusal waits for the forms, and a list of faults may be long.
        faults = await to_thread.run_sync(
            request_faults,
            error.errors(),
            error.body,
            request.app.state.forms,
            request.scope["route"].operation_id,
        )
        refusal = invalid(faults)
    return respond(refusal, request_id())


async def _without_database(_request: Request, error: Exception) -> Response:
    refusal = problem("unavailable", str(error), headers={"Retry-After": str(RETRY_AFTER_SECONDS)})
    return respond(refusal, request_id())
