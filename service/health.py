"""Whether the process lives, and whether it can answer."""

from __future__ import annotations

from typing import Final, Literal

import anyio
from anyio import to_thread
from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from service.database import Database, DatabaseUnavailable, read_revision
from service.problems import problem, problem_responses

PATIENCE_SECONDS: Final = 1.0

router = APIRouter(prefix="/v1/health", tags=["health"])


class Alive(BaseModel):
    """The process runs."""

    model_config = ConfigDict(frozen=True)

    status: Literal["alive"] = Field(default="alive", description="Always `alive`.")


class Ready(BaseModel):
    """The service can answer, and from what."""

    model_config = ConfigDict(frozen=True)

    status: Literal["ready"] = Field(default="ready", description="Always `ready`.")
    book: str = Field(description="Version of the rule book.", examples=["2026.11"])
    catalogue_revision: int = Field(
        description="Revision of the catalogue that checks are answered from.", examples=[1]
    )
    catalogue_fault: str | None = Field(
        description="Why that catalogue is older than the database's; `null` while it is not."
    )


@router.get("/live", operation_id="read_liveness", summary="Does the process live?")
async def read_liveness() -> Alive:
    """Answers as long as the process runs; asks nothing of the database."""
    return Alive()


@router.get(
    "/ready",
    operation_id="read_readiness",
    summary="Can the service answer?",
    responses=problem_responses("unavailable"),
)
async def read_readiness(request: Request) -> Ready:
    """Ready when the book and the catalogue are loaded and the database answers within a second.

    503 from the moment the process was asked to stop, so that no new requests are sent to it.
    """
    state = request.app.state
    if state.is_stopping:
        raise problem("unavailable", "The service is stopping.", headers={"Retry-After": "2"})
    await _require_database(state.database)
    return Ready(
        book=state.book.version,
        catalogue_revision=state.snapshot.current().revision,
        catalogue_fault=state.snapshot.fault,
    )


async def _require_database(database: Database) -> None:
    def ask() -> None:
        with database.read() as connection:
            read_revision(connection)

    try:
        with anyio.fail_after(PATIENCE_SECONDS):
            await to_thread.run_sync(ask, abandon_on_cancel=True)
    except TimeoutError:
        raise DatabaseUnavailable(
            f"The database did not answer within {PATIENCE_SECONDS:g} s."
        ) from None
