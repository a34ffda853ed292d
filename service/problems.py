"""What the service answers when it cannot do what was asked: RFC 9457 problem details.

Raise `problem(kind, detail)` anywhere below an endpoint. Every fault of a request is listed at
once, each with a pointer, what was found and what would be right; `found` is always a bounded,
writable rendering, never the raw input, which may hold NaN, half a surrogate pair or a megabyte.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from types import MappingProxyType
from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue
from starlette.exceptions import HTTPException
from starlette.responses import Response

MEDIA_TYPE: Final = "application/problem+json"
PAGES: Final = "/v1/problems"
MOST_FAULTS: Final = 1000
"""Faults listed in one answer; the detail says how many more there are."""

Kind = Literal[
    "body-too-large",
    "conflict",
    "internal-error",
    "invalid-request",
    "method-not-allowed",
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
            "Send the type that the `Accept-Post` header names, without `Content-Encoding`.",
        ),
    }
)
KIND_OF_STATUS: Final[Mapping[int, Kind]] = MappingProxyType(
    {explained.status: kind for kind, explained in EXPLANATIONS.items()}
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a request.

    `pointer` is an RFC 6901 pointer into `place`: into the body, or `/name` of a parameter. `found`
    must be bounded and writable: pass raw input through `rendering`. `code` is for programs.
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


def invalid(errors: Sequence[Fault]) -> Problem:
    """The problem of a request with these faults; there must be at least one."""
    many = len(errors)
    first = errors[0].detail
    detail = first if many == 1 else f"{many} faults were found; the first: {first}"
    return problem("invalid-request", detail, errors)


_MOST_NAMED: Final = 20


def in_use(named: str, users: Sequence[str], parameter: str) -> Problem:
    """The problem of deleting what others use.

    Args:
        named: what was to be deleted.
        users: what each of its users does with it, in words.
        parameter: the pointer to the parameter of the path that names it.
    """
    listed = "; ".join(users[:_MOST_NAMED])
    more = len(users) - _MOST_NAMED
    return problem(
        "conflict",
        f"`{named}` is used: {listed}{f'; and {more} more' if more > 0 else ''}.",
        [
            Fault(
                pointer=parameter,
                found=named,
                detail=f"`{named}` is used: {user}.",
                expected="what nothing uses; change or delete its users first",
                code="in-use",
                place="path",
            )
            for user in users
        ],
    )


# What goes over the wire ----------------------------------------------------------------------


class FaultDetails(BaseModel):
    """One fault of a request."""

    model_config = ConfigDict(frozen=True)

    pointer: str = Field(
        description=(
            "RFC 6901 pointer to the fault in the body, or `/name` for a parameter. "
            "A missing field is pointed at where it should be."
        ),
        examples=["/items/2/component/working_pressure"],
    )
    place: Place = Field(serialization_alias="in", description="What the pointer points into.")
    found: JsonValue = Field(
        description="What was found, shortened where it is long; `null` where nothing was.",
        examples=[70],
    )
    detail: str = Field(description="What is wrong.", examples=["A bare number has no unit."])
    expected: str | None = Field(
        description="What would be right.", examples=['`"3 bar"` or `"43.5 psi"`']
    )
    code: str = Field(description="The class of fault, for programs.", examples=["quantity"])


class ProblemDetails(BaseModel):
    """A refusal, as RFC 9457 describes it."""

    model_config = ConfigDict(frozen=True)

    type: str = Field(
        description="URI reference of a page that explains this class of problem.",
        examples=["/v1/problems/invalid-request"],
    )
    title: str = Field(
        description="The class of problem in a few words.",
        examples=["The request is not well-formed"],
    )
    status: int = Field(description="The HTTP status.", examples=[422])
    detail: str = Field(
        description="What is wrong this time.", examples=["A bare number has no unit."]
    )
    instance: str = Field(
        description="The request's id, as in the `X-Request-ID` header and in the log.",
        examples=["6f1c0a52e4f14f0f9d5a7c1d2b3e4f50"],
    )
    errors: tuple[FaultDetails, ...] = Field(
        default=(), description="Every single fault of the request, where there are such."
    )


def details(refusal: Problem, request_id: str) -> ProblemDetails:
    """The problem as it is written, at most `MOST_FAULTS` of its faults."""
    listed = refusal.errors[:MOST_FAULTS]
    omitted = len(refusal.errors) - len(listed)
    return ProblemDetails(
        type=f"{PAGES}/{refusal.kind}",
        title=refusal.title,
        status=refusal.status_code,
        detail=f"{refusal.detail} {omitted} more are not listed." if omitted else refusal.detail,
        instance=request_id,
        errors=tuple(
            FaultDetails(
                pointer=fault.pointer,
                place=fault.place,
                found=fault.found,
                detail=fault.detail,
                expected=fault.expected,
                code=fault.code,
            )
            for fault in listed
        ),
    )


def respond(refusal: Problem, request_id: str) -> Response:
    """The answer to a request that is refused."""
    written = details(refusal, request_id)
    exclude = None if written.errors else {"errors"}
    return Response(
        written.model_dump_json(by_alias=True, exclude=exclude),
        status_code=refusal.status_code,
        headers=refusal.headers,
        media_type=MEDIA_TYPE,
    )


def problem_responses(*kinds: Kind) -> dict[int | str, dict[str, Any]]:
    """The `responses` of an operation that may answer with these kinds of problem."""
    return {
        EXPLANATIONS[kind].status: {
            "description": EXPLANATIONS[kind].title + ".",
            "content": {
                MEDIA_TYPE: {
                    "schema": {"$ref": "#/components/schemas/ProblemDetails"},
                    "example": _example(kind),
                }
            },
        }
        for kind in kinds
    }


def _example(kind: Kind) -> dict[str, Any]:
    faults = (
        Fault(
            "/items/2/component/working_pressure",
            70,
            "A bare number has no unit.",
            '`"3 bar"`, `"43.5 psi"` or `{"value": 300, "unit": "kPa"}`',
            "quantity",
        ),
    )
    shown = (
        invalid(faults) if kind == "invalid-request" else problem(kind, EXPLANATIONS[kind].meaning)
    )
    written = details(shown, "6f1c0a52e4f14f0f9d5a7c1d2b3e4f50")
    return written.model_dump(
        mode="json", by_alias=True, exclude=None if written.errors else {"errors"}
    )


# Places and values ----------------------------------------------------------------------------


def pointer(parts: Iterable[str | int]) -> str:
    """RFC 6901 pointer to the place that these keys and indexes lead to."""
    escaped = (str(part).replace("~", "~0").replace("/", "~1") for part in parts)
    return "".join(f"/{_printable(part)}" for part in escaped)


LONGEST_FOUND: Final = 200
_MOST_MEMBERS: Final = 6
_MOST_LEVELS: Final = 3
_LARGEST_INTEGER: Final = 10**18


def rendering(found: object, levels: int = _MOST_LEVELS) -> JsonValue:
    """A bounded and writable likeness of any value: what `Fault.found` may hold.

    Long texts and containers are cut with `…`; what JSON cannot write becomes text.
    """
    if found is None or isinstance(found, bool):
        return found
    if isinstance(found, str):
        return _printable(found)
    if isinstance(found, bytes):
        return _printable(found.decode("utf-8", "replace"))
    if isinstance(found, int):
        return found if abs(found) < _LARGEST_INTEGER else "a number of very many digits"
    if isinstance(found, float):
        return found if math.isfinite(found) else str(found)
    if isinstance(found, Mapping):
        return _rendered_mapping(found, levels)
    if isinstance(found, Sequence):
        return _rendered_sequence(found, levels)
    return _printable(str(found))


def _rendered_mapping(found: Mapping[Any, Any], levels: int) -> JsonValue:
    if levels == 0 and found:
        return "{…}"
    shown: dict[str, JsonValue] = {
        _printable(str(key)): rendering(value, levels - 1)
        for key, value in islice(found.items(), _MOST_MEMBERS)
    }
    if len(found) > _MOST_MEMBERS:
        shown["…"] = f"{len(found) - _MOST_MEMBERS} more"
    return shown


def _rendered_sequence(found: Sequence[Any], levels: int) -> JsonValue:
    if levels == 0 and found:
        return "[…]"
    shown = [rendering(value, levels - 1) for value in islice(found, _MOST_MEMBERS)]
    if len(found) > _MOST_MEMBERS:
        shown.append(f"… {len(found) - _MOST_MEMBERS} more")
    return shown


def _printable(text: str) -> str:
    """The text with half surrogate pairs written out, cut where it is long."""
    cut = text if len(text) <= LONGEST_FOUND else f"{text[:LONGEST_FOUND]}…"
    return cut.encode("utf-8", "backslashreplace").decode("utf-8")
