"""`POST /v1/checks`: the verdict on an assembly.

The path that a storefront waits for: no database, no thread, one snapshot of the catalogue.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Request

from rules.assembly import Request as Proposal
from rules.report import Report
from service.checks.judging import judged
from service.problems import problem_responses

router = APIRouter(prefix="/v1/checks", tags=["checks"])


@router.post(
    "",
    operation_id="check_assembly",
    summary="Check an assembly",
    response_description="The report, whatever its verdict.",
    responses=problem_responses("invalid-request"),
)
async def check_assembly(
    request: Request,
    proposal: Annotated[Proposal, Body(description="The application, the items and their joints.")],
) -> Report:
    """Do the parts join, survive the fuel, and is everything there?

    The same proposal, book and catalogue give the same report, byte for byte. A check of an
    assembly that does not fit is a check that worked: it is answered with 200 as well.
    """
    state = request.app.state
    return judged(proposal, state.snapshot.current(), state.book, state.settings)
