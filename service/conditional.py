"""Conditional requests after RFC 9110: `ETag`, `If-Match`, `If-None-Match`.

The tag of a resource is its version, a number that the service never gives twice.
"""

from __future__ import annotations

import re
from datetime import datetime
from email.utils import format_datetime
from typing import Annotated, Any, Final, Literal

from fastapi import Header, Response

from service.problems import Fault, invalid, problem, rendering

_TAG: Final = re.compile(r'\s*(?P<weak>W/)?"(?P<opaque>[\x21\x23-\x7e\x80-\xff]*)"\s*(?:,|$)')

VERSIONED: Final[dict[str, Any]] = {
    "ETag": {"description": "The version.", "schema": {"type": "string"}},
    "Last-Modified": {"description": "When it was written.", "schema": {"type": "string"}},
}
"""The headers of a resource with versions, for the API's description."""

IfMatch = Annotated[
    str | None,
    Header(
        alias="If-Match",
        max_length=1000,
        description="The `ETag` of the version that the change starts from.",
        examples=['"42"'],
    ),
]
IfNoneMatch = Annotated[
    str | None,
    Header(
        alias="If-None-Match",
        max_length=1000,
        description="The `ETag` the caller holds; while it is the current one, the answer is 304.",
        examples=['"42"'],
    ),
]
CreateOnly = Annotated[
    str | None,
    Header(
        alias="If-None-Match",
        max_length=1000,
        description="`*` to create what must not exist yet.",
        examples=["*"],
    ),
]


def etag(version: int) -> str:
    """The strong entity tag of a version."""
    return f'"{version}"'


def validators(version: int, updated_at: datetime) -> dict[str, str]:
    """The headers by which a caller can later ask whether a resource has changed."""
    return {
        "ETag": etag(version),
        "Last-Modified": format_datetime(updated_at.replace(microsecond=0), usegmt=True),
    }


def _tags(header: str, name: Literal["If-Match", "If-None-Match"]) -> list[tuple[bool, str]]:
    """The tags of a header, each as (is weak, opaque part).

    Raises:
        Problem: 422, the header is not a list of entity tags.
    """
    tags, at = [], 0
    while at < len(header):
        tag = _TAG.match(header, at)
        if tag is None:
            raise invalid(
                [
                    Fault(
                        pointer=f"/{name}",
                        found=rendering(header),
                        detail=f"`{name}` is not a list of entity tags.",
                        expected='an `ETag` as it was received, with its quotes: `"42"`',
                        code="entity-tag",
                        place="header",
                    )
                ]
            )
        tags.append((tag["weak"] is not None, tag["opaque"]))
        at = tag.end()
    return tags


def require_match(header: str | None, version: int, what: str) -> None:
    """Refuse a change that does not start from the current version.

    Args:
        header: the value of `If-Match`.
        version: the current version.
        what: the resource, for the message.

    Raises:
        Problem: 428 without the header, 412 where it names another version, 422 where it is
            malformed.
    """
    if header is None:
        raise problem(
            "precondition-required",
            f"Send the `ETag` of {what} as `If-Match`, so that no one's change is lost.",
        )
    if header.strip() == "*":
        return
    if (False, str(version)) not in _tags(header, "If-Match"):
        raise problem(
            "precondition-failed",
            f"{what} has changed since: it is now at version {version}. Read it again.",
            headers={"ETag": etag(version)},
        )


def respond_unless_held(
    if_none_match: str | None, version: int, updated_at: datetime, document: str
) -> Response:
    """The stored JSON document with its validators, or 304 if the caller holds this version.

    Raises:
        Problem: 422, the header is malformed.
    """
    headers = validators(version, updated_at)
    if _is_held(if_none_match, version):
        return Response(status_code=304, headers=headers)
    return Response(document, headers=headers, media_type="application/json")


def _is_held(header: str | None, version: int) -> bool:
    if header is None:
        return False
    if header.strip() == "*":
        return True
    return any(opaque == str(version) for _, opaque in _tags(header, "If-None-Match"))
