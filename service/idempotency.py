"""`Idempotency-Key`: a creating request that is sent twice is carried out once.

The answer is stored in the transaction that did the work, so either both exist or neither.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated

from fastapi import Header, Response
from sqlalchemy import Column, Index, Integer, Table, Text, delete, insert, select

from service.database import METADATA, UtcDateTime, Write, exact_text, now
from service.problems import Fault, problem

LONGEST_KEY = 255

answered_requests = Table(
    "answered_requests",
    METADATA,
    Column("operation", exact_text(64), primary_key=True),
    Column("key", exact_text(LONGEST_KEY), primary_key=True),
    Column("payload_hash", exact_text(64), nullable=False),
    Column("status", Integer, nullable=False),
    Column("headers", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("answered_at", UtcDateTime, nullable=False),
    Index(None, "answered_at"),
)

IdempotencyKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=LONGEST_KEY,
        pattern=r"^[\x21-\x7e]+$",
        description=(
            "A key of the caller's making, such as a UUID. The same request with the same key is "
            "carried out once and answered alike each time."
        ),
        examples=["6f1c4b8e-2f0a-4f57-9a53-0f6e6c0b8d7e"],
    ),
]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a request was answered."""

    status: int
    headers: Mapping[str, str]
    body: str

    def response(self) -> Response:
        """The answer as it is sent, with its JSON body."""
        return Response(self.body, self.status, self.headers, "application/json")


@dataclass(frozen=True, slots=True)
class KeyedRequest:
    """A request that came with an idempotency key."""

    operation: str
    key: str
    payload_hash: str

    @classmethod
    def of(cls, operation: str, key: str | None, *payload: bytes) -> KeyedRequest | None:
        """The request under its key, or `None` where it has none.

        Args:
            operation: operation id; keys of different operations are apart.
            key: the header's value.
            payload: everything that decides what the request does.
        """
        if key is None:
            return None
        hashed = hashlib.sha256()
        for part in payload:
            hashed.update(len(part).to_bytes(8, "big"))
            hashed.update(part)
        return cls(operation, key, hashed.hexdigest())

    def answered(self, write: Write) -> Answer | None:
        """The answer that this request got before.

        Raises:
            Problem: 422, the key was used for another request.
        """
        row = write.connection.execute(
            select(answered_requests).where(
                answered_requests.c.operation == self.operation,
                answered_requests.c.key == self.key,
            )
        ).one_or_none()
        if row is None:
            return None
        if row.payload_hash != self.payload_hash:
            detail = "This `Idempotency-Key` was used for another request."
            raise problem(
                "invalid-request",
                detail,
                [
                    Fault(
                        pointer="/Idempotency-Key",
                        found=self.key,
                        detail=detail,
                        expected="a new key, or the request that the key was first used for",
                        code="key-reused",
                        place="header",
                    )
                ],
            )
        return Answer(row.status, json.loads(row.headers), row.body)

    def remember(self, write: Write, answer: Answer, hours: int) -> None:
        """Store the answer, and forget those older than `hours`."""
        moment = now()
        write.connection.execute(
            delete(answered_requests).where(
                answered_requests.c.answered_at < moment - timedelta(hours=hours)
            )
        )
        write.connection.execute(
            insert(answered_requests).values(
                operation=self.operation,
                key=self.key,
                payload_hash=self.payload_hash,
                status=answer.status,
                headers=json.dumps(dict(answer.headers)),
                body=answer.body,
                answered_at=moment,
            )
        )
