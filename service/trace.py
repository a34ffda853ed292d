"""The id of a request, the line that the log keeps of it, and the answer when all else failed."""

from __future__ import annotations

import contextvars
import logging
import re
import time
import uuid
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.problems import problem, respond

_SANE_ID: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_TRACE_PARENT: Final = re.compile(
    r"(?!ff)[0-9a-f]{2}-(?!0{32})([0-9a-f]{32})-[0-9a-f]{16}-[0-9a-f]{2}(?:-.*)?"
)
_PROBES: Final = "/v1/health/"
_REQUEST_ID: contextvars.ContextVar[str] = contextvars.ContextVar("request_id", default="none")
_TRACE_ID: contextvars.ContextVar[str | None] = contextvars.ContextVar("trace_id", default=None)
_LOG: Final = logging.getLogger("lineworthy.requests")


def request_id() -> str:
    """The id of the request that is being answered."""
    return _REQUEST_ID.get()


def trace_id() -> str | None:
    """The W3C trace that the request being answered belongs to, where its caller named one."""
    return _TRACE_ID.get()


class Trace:
    """Gives each request an id, logs how it ended, and answers for what nobody caught."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        own_id = _id_of(headers)
        _REQUEST_ID.set(own_id)
        _TRACE_ID.set(_trace_of(headers))
        started = time.perf_counter()
        status = 0

        async def send_with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)["X-Request-ID"] = own_id
            await send(message)

        try:
            await self._app(scope, receive, send_with_id)
        except Exception:
            _LOG.exception("The request failed.", extra=_asked(scope))
            if status:
                raise
            failure = problem("internal-error", "The service failed on this request.")
            await respond(failure, own_id)(scope, receive, send_with_id)
        finally:
            level = logging.DEBUG if scope["path"].startswith(_PROBES) else logging.INFO
            if _LOG.isEnabledFor(level):
                elapsed_ms = round((time.perf_counter() - started) * 1000, 2)
                ended = {"status": status, "duration_ms": elapsed_ms}
                _LOG.log(level, "answered", extra={**_asked(scope), **ended})


def _id_of(headers: Headers) -> str:
    given = headers.get("x-request-id", "")
    return given if _SANE_ID.fullmatch(given) else uuid.uuid4().hex


def _trace_of(headers: Headers) -> str | None:
    found = _TRACE_PARENT.fullmatch(headers.get("traceparent", ""))
    return found[1] if found else None


def _asked(scope: Scope) -> dict[str, str]:
    return {"method": scope["method"], "path": scope["path"]}
