"""`/v1/problems`: the pages that the `type` of a problem leads to."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path
from pydantic import BaseModel, ConfigDict, Field

from service.problems import EXPLANATIONS, PAGES, Kind, problem, problem_responses, rendering

router = APIRouter(prefix=PAGES, tags=["problems"])


class ProblemClass(BaseModel):
    """A class of problem: what it means and what to do about it."""

    model_config = ConfigDict(frozen=True)

    type: str = Field(description="Its URI reference.", examples=[f"{PAGES}/not-found"])
    title: str = Field(description="The class in a few words.")
    status: int = Field(description="The HTTP status it comes with.", examples=[404])
    meaning: str = Field(description="What it means.")
    advice: str = Field(description="What the caller can do about it.")


def problem_class(kind: Kind) -> ProblemClass:
    """A class of problem, explained."""
    explained = EXPLANATIONS[kind]
    return ProblemClass(
        type=f"{PAGES}/{kind}",
        title=explained.title,
        status=explained.status,
        meaning=explained.meaning,
        advice=explained.advice,
    )


@router.get("", operation_id="list_problems", summary="List the classes of problem")
async def list_problems() -> tuple[ProblemClass, ...]:
    """Every class of problem that this service answers with."""
    return tuple(problem_class(kind) for kind in EXPLANATIONS)


@router.get(
    "/{kind}",
    operation_id="read_problem",
    summary="Read what a class of problem means",
    responses=problem_responses("not-found"),
)
async def read_problem(
    kind: Annotated[
        str,
        Path(description="Last part of the `type` of a problem.", examples=["invalid-request"]),
    ],
) -> ProblemClass:
    """What a class of problem means and what to do about it."""
    for known in EXPLANATIONS:
        if known == kind:
            return problem_class(known)
    raise problem("not-found", f"There is no class of problem `{rendering(kind)}`.")
