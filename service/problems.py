"""What the service answers when it cannot do what was asked: RFC 9457 problem details.

Raise `Problem` anywhere below an endpoint. Every fault of a request is listed at once, each with a
pointer, what was found and what would be right; `found` is always a bounded, writable rendering,
never the raw input, which may hold NaN, half a surrogate pair or a megabyte.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from pydantic import JsonValue
from starlette.exceptions import HTTPException

MEDIA_TYPE: Final = "application/problem+json"
PAGES: Final = "/v1/problems"

Kind = Literal[
    "body-too-large",
    "conflict",
    "internal-error",
    "invalid-request",
    "method-not-allowed",
    "not-acceptable",
    "not-found",
    "precondition-failed",
    "precondition-required",
    "refused",
    "unavailable",
    "unsupported-media-type",
]

Place = Literal["body", "path", "query", "header", "cookie"]


@dataclass(frozen=True, slots=True)
class Explanation:
    """What a class of problem means and what the caller can do about it."""

    status: int
    title: str
    meaning: str
    advice: str


EXPLANATIONS: Final[Mapping[Kind, Explanation]] = MappingProxyType(
    {
        "body-too-large": Explanation(
            413,
            "The body is too large",
            "The request's body is longer than this service takes in one request.",
            "Send less at a time; the detail names the limit in bytes.",
        ),
        "conflict": Explanation(
            409,
            "The state of the resource forbids it",
            "What was asked contradicts what is stored: it exists already, or something uses it.",
            "Read the resource, settle what the detail names and ask again.",
        ),
        "internal-error": Explanation(
            500,
            "The service failed",
            "The fault is on this side; the request may have been right.",
            "Try again later. Quote the request id when you report it: the log holds the cause.",
        ),
        "invalid-request": Explanation(
            422,
            "The request is not well-formed",
            "The request could not be read, or does not have the form this operation takes.",
            "`errors` lists every fault with its place, what was found and what would be right.",
        ),
        "method-not-allowed": Explanation(
            405,
            "The method is not allowed here",
            "The path exists but does not take this method.",
            "Use a method that the `Allow` header names.",
        ),
        "not-acceptable": Explanation(
            406,
            "No acceptable form of the answer",
            "The `Accept` header rules out every form this operation can answer in.",
            "Accept `application/json`.",
        ),
        "not-found": Explanation(
            404,
            "There is nothing here",
            "The path, or the thing that the path names, does not exist.",
            "Check the spelling; where near names are known, the detail lists them.",
        ),
        "precondition-failed": Explanation(
            412,
            "The resource has changed",
            "The `If-Match` header names a version that is no longer the current one.",
            "Read the resource again, apply the change to what it is now, and send its new `ETag`.",
        ),
        "precondition-required": Explanation(
            428,
            "The version must be named",
            "A change needs an `If-Match` header, so that no one's work is overwritten unseen.",
            "Read the resource and send its `ETag` as `If-Match`.",
        ),
        "refused": Explanation(
            400,
            "The request is refused",
            "The request breaks the protocol in a way that no other class of problem names.",
            "Read the detail.",
        ),
        "unavailable": Explanation(
            503,
            "The service cannot answer just now",
            "Something the service depends on, such as its database, does not answer.",
            "Try again after the time in the `Retry-After` header.",
        ),
        "unsupported-media-type": Explanation(
            415,
            "The body is of a type not read here",
            "The `Content-Type` header is missing or names a type this operation does not read.",
            "Send one of the types that the `Accept-Post` header names.",
        ),
    }
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a request.

    `pointer` is an RFC 6901 pointer into `place`: into the body, or `/name` of a parameter.
    `found` must be JSON that can be written: use `service.faults.rendering` for raw input.
    """

    pointer: str
    found: JsonValue
    detail: str
    expected: str | None
    code: str
    place: Place = "body"


class Problem(HTTPException):
    """A refusal that is answered as problem details.

    Args:
        status: HTTP status.
        kind: class of the problem, the last part of its `type`.
        title: the class in a few words; the same for each problem of the kind.
        detail: what is wrong this time.
        errors: every single fault, where there are such.
        headers: headers of the answer.
    """

    def __init__(
        self,
        status: int,
        kind: Kind,
        title: str,
        detail: str,
        errors: Sequence[Fault] = (),
        headers: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        super().__init__(status, detail, dict(headers))
        self.kind: Kind = kind
        self.title = title
        self.errors = tuple(errors)


def problem(
    kind: Kind,
    detail: str,
    errors: Sequence[Fault] = (),
    headers: Mapping[str, str] = MappingProxyType({}),
) -> Problem:
    """A `Problem` with the status and title that its kind always has."""
    explained = EXPLANATIONS[kind]
    return Problem(explained.status, kind, explained.title, detail, errors, headers)
