"""`/v1/checks/...`: questions about a proposal in another application, without saving it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body

from service.dependencies import BookOfApp, CatalogueOfApp, SettingsOfApp
from service.problems import problem_responses
from service.what_if import service
from service.what_if.schemas import WHAT_IF_EXAMPLE, WhatIf, WhatIfQuestion

router = APIRouter(prefix="/v1/checks", tags=["checks"])


@router.post(
    "/what-if",
    operation_id="ask_what_if",
    summary="Ask what another application would change",
    response_description="The difference of two reports, and the second of them.",
    responses=problem_responses("invalid-request"),
)
async def ask_what_if(
    question: Annotated[
        WhatIfQuestion,
        Body(description="A proposal and what becomes different.", examples=[WHAT_IF_EXAMPLE]),
    ],
    catalogue: CatalogueOfApp,
    book: BookOfApp,
    settings: SettingsOfApp,
) -> WhatIf:
    """Findings that appear, vanish and change on another fuel, power, boost or anything else.

    A field that `changes` leaves out stays as it is; `null` makes the fact unknown.
    """
    before = service.asked_inside("/request", question.request, catalogue, book, settings)
    return service.answer(question.request, before, question.changes, catalogue, book, settings)
