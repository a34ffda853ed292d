"""`POST /v1/checks`: the verdict on an assembly or a cart. `POST /v1/checks/picture`: its pressure.

The path that a storefront waits for: no database, one snapshot of the catalogue, and a thread only
where joints have to be found.
"""

from __future__ import annotations

from typing import Annotated, Final

from anyio import to_thread
from fastapi import APIRouter, Body, Request, Response

from rules.assembly import Request as Proposal
from rules.cart import Cart
from rules.carts import CartReport
from rules.report import Report
from service.checks.judge import Asked, JudgeOfApp, Turns
from service.checks.judging import drawn
from service.problems import problem_responses

router = APIRouter(prefix="/v1/checks", tags=["checks"])

SVG: Final = "image/svg+xml"

Drawable = Annotated[Proposal, Body(description="The application, the items and their joints.")]


_HARMLESS: Final = {"Content-Security-Policy": "default-src 'none'"}
"""A picture that is opened by itself may run nothing and fetch nothing."""


class Picture(Response):
    """An SVG document."""

    media_type = SVG


@router.post(
    "",
    operation_id="check_assembly",
    summary="Check an assembly or a cart",
    response_description="The report, whatever its verdict.",
    responses=problem_responses("invalid-request"),
)
async def check_assembly(
    asked: Annotated[
        Asked,
        Body(
            description=(
                "An assembly: the application, the items and their joints. Or a cart: `lines` of "
                "SKU and quantity, and only those joints that are settled already."
            )
        ),
    ],
    judge: JudgeOfApp,
    turns: Turns,
) -> Report | CartReport:
    """Do the parts join, survive the fuel, and is everything there?

    For a cart the joints are found: `routing` tells them, what is missing and what would complete
    it, and what has no place. The same request, book and catalogue give the same report, byte for
    byte. A check of what does not fit is a check that worked: it is answered with 200 as well.
    """
    if isinstance(asked, Cart):
        # A search, which takes as long as some tens of checks.
        return await to_thread.run_sync(judge.report_on, asked, limiter=turns)
    return judge.report_on(asked)


@router.post(
    "/picture",
    operation_id="draw_pressure_line",
    summary="Draw the pressure line of an assembly",
    response_class=Picture,
    response_description="The picture, one SVG document.",
    responses=problem_responses("invalid-request"),
)
async def draw_pressure_line(request: Request, proposal: Drawable) -> Picture:
    """Where is the pressure lost between the tank, the rail and the tank again?

    The picture shows gauge pressure at full load and at idle past every part in the order of the
    fuel, each named by its ref, and the pressure that the rail should hold. It takes the request of
    a check. The same request and catalogue give the same picture, byte for byte.

    An assembly whose flow cannot be told is refused with 422: `errors` points at the field that is
    missing, `/application/power` first of all, or at the part of which something is not recorded.
    """
    state = request.app.state
    document = drawn(proposal, state.snapshot.current(), state.settings)
    return Picture(document, headers=_HARMLESS)
