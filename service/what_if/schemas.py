"""What the what-if endpoints take and give."""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import Field, StrictInt

from rules.assembly import Application, FuelBlend
from rules.assembly import Request as Proposal
from rules.carts import CartReport
from rules.difference import ApplicationChanges, ReportDifference
from rules.fuelchange import FuelChange
from rules.parts import FuelId, Model
from rules.report import Report
from service.checks.judge import Asked

MOST_CANDIDATES: Final = 5


class WhatIfQuestion(Model):
    """An assembly or a cart, and what becomes different in its application."""

    request: Asked = Field(description="An assembly or a cart, as for a check.")
    changes: ApplicationChanges = Field(description="What becomes different.")


class WhatIf(Model):
    """The same parts in another application."""

    application: Application = Field(description="The application with the changes made.")
    difference: ReportDifference = Field(description="What that changes in the report.")
    report: Report | CartReport = Field(description="The whole report with the changes made.")


class FuelAsked(Model):
    """The fuel to run from now on."""

    fuel: FuelId | FuelBlend = Field(
        description="A fuel's id from `/v1/fuels`, or a blend by its alcohol content.",
        examples=["E85"],
    )
    candidates: Annotated[StrictInt, Field(ge=1, le=MOST_CANDIDATES)] = Field(
        default=3, description="Most replacements to try for each part."
    )


class FuelQuestion(FuelAsked):
    """An assembly or a cart, and the fuel it is to run from now on."""

    request: Asked = Field(description="An assembly or a cart, as for a check.")


class FuelAnswer(FuelChange):
    """What an assembly or a cart needs to run another fuel."""

    request: Proposal = Field(
        description=(
            "The assembly that was asked about, a cart as its parts go together. Pointers of "
            "findings lead into it."
        )
    )


WHAT_IF_EXAMPLE: Final[dict[str, Any]] = {
    "request": {
        "application": {"fuel": "E10", "circuit": "return", "base_pressure": "3 bar"},
        "items": [
            {"ref": "rail", "sku": "HF-RAIL-I6"},
            {"ref": "tube", "sku": "HF-HSE-6-LONG", "length": "3.1 m"},
        ],
        "joints": [["tube.b", "rail.inlet"]],
    },
    "changes": {"fuel": "E85", "power": "300 kW", "boost": "1.2 bar"},
}
FUEL_ASKED_EXAMPLE: Final[dict[str, Any]] = {"fuel": "E85"}
FUEL_QUESTION_EXAMPLE: Final[dict[str, Any]] = {
    "request": WHAT_IF_EXAMPLE["request"],
    **FUEL_ASKED_EXAMPLE,
}
