"""`/v1/checks/...`: questions about a proposal in another application, without saving it."""

from __future__ import annotations

from typing import Annotated

from anyio import to_thread
from fastapi import APIRouter, Body

from service.checks.judge import JudgeOfApp, Turns
from service.problems import problem_responses
from service.what_if import service
from service.what_if.schemas import (
    FUEL_QUESTION_EXAMPLE,
    WHAT_IF_EXAMPLE,
    FuelAnswer,
    FuelQuestion,
    WhatIf,
    WhatIfQuestion,
)

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
    judge: JudgeOfApp,
    turns: Turns,
) -> WhatIf:
    """Findings that appear, vanish and change on another fuel, power, boost or anything else.

    A field that `changes` leaves out stays as it is; `null` makes the fact unknown.
    """

    def answer() -> WhatIf:
        before = judge.report_on(question.request, "/request")
        return service.answer(question.request, before, question.changes, judge)

    return await to_thread.run_sync(answer, limiter=turns)


@router.post(
    "/fuel-change",
    operation_id="ask_fuel_change",
    summary="Ask what must be changed to run another fuel",
    response_description="Everything there is to do, in one list.",
    responses=problem_responses("invalid-request"),
)
async def ask_fuel_change(
    question: Annotated[
        FuelQuestion,
        Body(description="A proposal and the fuel to come.", examples=[FUEL_QUESTION_EXAMPLE]),
    ],
    judge: JudgeOfApp,
    turns: Turns,
) -> FuelAnswer:
    """Findings that appear, parts to renew and the best replacements, the gravest first.

    Each replacement is tried: put in and the whole judged again, so that what is called the answer
    is one. What is found on either fuel alike is told apart.
    """

    def answer() -> FuelAnswer:
        before = judge.report_on(question.request, "/request")
        return service.for_fuel(question.request, before, question, judge)

    return await to_thread.run_sync(answer, limiter=turns)
