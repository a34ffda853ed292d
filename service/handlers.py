"""Everything that an endpoint may raise, and the problem it is answered with."""

from __future__ import annotations

import difflib
from typing import Final

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
    return respond(_as_problem(request, error), request_id())


def _as_problem(request: Request, error: HTTPException) -> Problem:
    if isinstance(error, Problem):
        return error
    if isinstance(error.__cause__, RecursionError):
        return invalid([TOO_DEEP])
    headers = error.headers or {}
    if error.status_code == 404:
        return problem("not-found", _no_such_path(request), headers=headers)
    if error.status_code == 405:
        allowed = headers.get("Allow", "")
        path = rendering(request.url.path)
        return problem("method-not-allowed", f"`{path}` takes {allowed}.", headers=headers)
    kind = KIND_OF_STATUS.get(error.status_code, "refused")
    return problem(kind, str(error.detail), headers=headers)


def _no_such_path(request: Request) -> str:
    known = [path for path in request.app.openapi()["paths"] if "{" not in path]
    near = difflib.get_close_matches(request.url.path[:200], known, n=1)
    hint = f" Did you mean `{near[0]}`?" if near else ""
    return f"There is no path `{rendering(request.url.path)}`.{hint}"


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
        operation_id = request.scope["route"].operation_id
        refusal = invalid(
            request_faults(error.errors(), error.body, request.app.state.forms, operation_id)
        )
    return respond(refusal, request_id())


async def _without_database(_request: Request, error: Exception) -> Response:
    refusal = problem("unavailable", str(error), headers={"Retry-After": str(RETRY_AFTER_SECONDS)})
    return respond(refusal, request_id())
