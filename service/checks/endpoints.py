"""`POST /v1/checks`: the verdict on an assembly, and `POST /v1/checks/picture`: its pressure line.

The path that a storefront waits for: no database, no thread, one snapshot of the catalogue.
"""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import APIRouter, Body, Request, Response

from rules.assembly import Request as Proposal
from rules.report import Report
from service.checks.judging import drawn, judged
from service.problems import problem_responses

router = APIRouter(prefix="/v1/checks", tags=["checks"])

SVG: Final = "image/svg+xml"

Asked = Annotated[Proposal, Body(description="The application, the items and their joints.")]


_HARMLESS: Final = {"Content-Security-Policy": "default-src 'none'"}
"""A picture that is opened by itself may run nothing and fetch nothing."""


class Picture(Response):
    """An SVG document."""

    media_type = SVG


@router.post(
    "",
    operation_id="check_assembly",
    summary="Check an assembly",
    response_description="The report, whatever its verdict.",
    responses=problem_responses("invalid-request"),
)
async def check_assembly(request: Request, proposal: Asked) -> Report:
    """Do the parts join, survive the fuel, and is everything there?

    The same proposal, book and catalogue give the same report, byte for byte. A check of an
    assembly that does not fit is a check that worked: it is answered with 200 as well.
    """
    state = request.app.state
    return judged(proposal, state.snapshot.current(), state.book, state.settings)


@router.post(
    "/picture",
    operation_id="draw_pressure_line",
    summary="Draw the pressure line of an assembly",
    response_class=Picture,
    response_description="The picture, one SVG document.",
    responses=problem_responses("invalid-request"),
)
async def draw_pressure_line(request: Request, proposal: Asked) -> Picture:
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
