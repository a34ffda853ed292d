"""Pages of a list by cursor.

A cursor names the last key of a page, so rows that others insert or delete meanwhile neither repeat
nor skip one that stays.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import Request, Response
from pydantic import Field

from service.problems import Fault, invalid, rendering

MOST_ROWS: Final = 200
_USUAL_ROWS: Final = 50
_KEY: Final = re.compile(r"[\x21-\x7e]{1,64}")

LINKED: Final[dict[str, Any]] = {
    "Link": {
        "description": "The next page, with `rel=next`, where there is one.",
        "schema": {"type": "string"},
    }
}
"""The header of a page, for the API's description."""

Limit = Annotated[
    int, Field(default=_USUAL_ROWS, ge=1, le=MOST_ROWS, description="Most rows of one page.")
]
CursorText = Annotated[
    str | None,
    Field(
        default=None,
        max_length=400,
        description="The `next_cursor` of the page before; the other parameters stay the same.",
    ),
]


def _fingerprint(filters: Mapping[str, object]) -> str:
    text = json.dumps(filters, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def write_cursor(last: str, filters: Mapping[str, object]) -> str:
    """The cursor of the page after the row with key `last`, in a list with these filters."""
    text = json.dumps([last, _fingerprint(filters)], separators=(",", ":"))
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def _refused(cursor: str, detail: str) -> Exception:
    return invalid(
        [
            Fault(
                pointer="/cursor",
                found=rendering(cursor),
                detail=detail,
                expected="the `next_cursor` of the page before, with its other parameters",
                code="cursor",
                place="query",
            )
        ]
    )


def read_cursor(cursor: str | None, filters: Mapping[str, object]) -> str | None:
    """The key after which the page starts; `None` for the first page.

    Raises:
        Problem: 422, not a cursor of this service or one of a list with other filters.
    """
    if cursor is None:
        return None
    try:
        padded = cursor + "=" * (-len(cursor) % 4)
        read = json.loads(base64.b64decode(padded, altchars=b"-_", validate=True))
    except (ValueError, binascii.Error, RecursionError):
        read = None
    match read:
        case [str(last), str(fingerprint)] if _KEY.fullmatch(last):
            if fingerprint != _fingerprint(filters):
                raise _refused(cursor, "The cursor belongs to a list with other parameters.")
            return last
        case _:
            raise _refused(cursor, "The cursor is not one that this service gave.")


def page_response(
    request: Request, documents: Sequence[str], cursor: str | None, revision: int
) -> Response:
    """A page of stored JSON documents, put together without reading them.

    Args:
        request: the request for the page.
        documents: the rows.
        cursor: of the next page, where there is one; a `Link` header leads there too.
        revision: the catalogue revision that the page was read at.
    """
    rows = ",".join(documents)
    content = (
        f'{{"items":[{rows}],"next_cursor":{json.dumps(cursor)},"catalogue_revision":{revision}}}'
    )
    headers = {} if cursor is None else {"Link": _next_link(request, cursor)}
    return Response(content, headers=headers, media_type="application/json")


def _next_link(request: Request, cursor: str) -> str:
    query = [(k, v) for k, v in request.query_params.multi_items() if k != "cursor"]
    return f'<{request.url.path}?{urlencode([*query, ("cursor", cursor)])}>; rel="next"'
