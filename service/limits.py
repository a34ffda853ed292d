"""What stands between the wire and the routes: a limit on the length of a body, and strict JSON.

Both are plain ASGI: a middleware of Starlette's base class would cost half of the throughput.
"""

from __future__ import annotations

from collections.abc import Mapping
from email.message import Message
from typing import Final

from anyio import to_thread
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.types import Message as Event

from service.problems import Problem, invalid, problem, respond
from service.strict_json import JsonFaults, read_json
from service.trace import request_id

MOST_DRAINED_BYTES: Final = 64 * 1024 * 1024
"""How much of a body that is too long is read and thrown away.

A client that is cut off while it still sends may lose the answer that says why.
"""

LONGEST_READ_IN_LOOP: Final = 256 * 1024
"""A longer body is parsed in a thread, so that other requests are answered meanwhile."""


class BodyLimits:
    """Takes the whole body before the application runs, or refuses it.

    Args:
        app: what runs on.
        most_bytes: longest body.
        most_bytes_under: longer or shorter limits for paths that begin so.
    """

    def __init__(self, app: ASGIApp, most_bytes: int, most_bytes_under: Mapping[str, int]) -> None:
        self._app = app
        self._most_bytes = most_bytes
        self._most_bytes_under = most_bytes_under

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or not _has_body(headers := Headers(scope=scope)):
            await self._app(scope, receive, send)
            return
        try:
            body = await self._read(scope["path"], headers, receive)
            await _require_readable(body, headers)
        except Problem as refusal:
            await respond(refusal, request_id())(scope, receive, send)
            return
        except _Disconnected:
            return
        await self._app(scope, _replaying(body, receive), send)

    async def _read(self, path: str, headers: Headers, receive: Receive) -> bytes:
        most = self._limit(path)
        declared = _declared_length(headers)
        if declared > most and headers.get("expect", "").lower() == "100-continue":
            raise _too_large(most)
        chunks: list[bytes] = []
        length = 0
        while True:
            event = await receive()
            if event["type"] == "http.disconnect":
                raise _Disconnected
            chunk: bytes = event.get("body", b"")
            length += len(chunk)
            if max(length, declared) <= most:
                chunks.append(chunk)
            else:
                chunks.clear()
            if length > MOST_DRAINED_BYTES or not event.get("more_body", False):
                break
        if max(length, declared) > most:
            raise _too_large(most)
        return b"".join(chunks)

    def _limit(self, path: str) -> int:
        for beginning, most in self._most_bytes_under.items():
            if path.startswith(beginning):
                return most
        return self._most_bytes


class _Disconnected(Exception):
    """The client went away before it had sent its body."""


def _has_body(headers: Headers) -> bool:
    return headers.get("content-length", "0") != "0" or "transfer-encoding" in headers


def _declared_length(headers: Headers) -> int:
    text = headers.get("content-length", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 18 else 0


def _too_large(most: int) -> Problem:
    return problem(
        "body-too-large",
        f"The body is longer than {most} bytes.",
        headers={"Connection": "close"},
    )


async def _require_readable(body: bytes, headers: Headers) -> None:
    """Refuse a body that is encoded, or that is called JSON and cannot be taken as such.

    Raises:
        Problem: saying why.
    """
    encoding = headers.get("content-encoding", "identity").strip().lower()
    if encoding != "identity":
        raise problem(
            "unsupported-media-type",
            "The body is encoded, and only plain bodies are read here.",
            headers={"Accept-Encoding": "identity"},
        )
    if not is_json(headers.get("content-type", "")):
        return
    try:
        if len(body) > LONGEST_READ_IN_LOOP:
            await to_thread.run_sync(read_json, body)
        else:
            read_json(body)
    except JsonFaults as refused:
        raise invalid(refused.faults) from refused


def is_json(content_type: str) -> bool:
    """Whether a `Content-Type` names JSON."""
    parsed = Message()
    parsed["content-type"] = content_type
    subtype = parsed.get_content_subtype()
    return parsed.get_content_maintype() == "application" and (
        subtype == "json" or subtype.endswith("+json")
    )


def _replaying(body: bytes, receive: Receive) -> Receive:
    """A `receive` that hands out the body in one piece, then what really comes."""
    waiting = [body]

    async def replay() -> Event:
        if waiting:
            return {"type": "http.request", "body": waiting.pop(), "more_body": False}
        return await receive()

    return replay
