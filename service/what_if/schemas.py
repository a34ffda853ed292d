"""What the what-if endpoints take and give."""

from __future__ import annotations

from typing import Any, Final

from pydantic import Field

from rules.assembly import Application
from rules.assembly import Request as Proposal
from rules.difference import ApplicationChanges, Difference
from rules.parts import Model
from rules.report import Report


class WhatIfQuestion(Model):
    """A proposal, and what becomes different in its application."""

    request: Proposal = Field(description="The application, the items and their joints.")
    changes: ApplicationChanges = Field(description="What becomes different.")


class WhatIf(Model):
    """The same parts and joints in another application."""

    application: Application = Field(description="The application with the changes made.")
    difference: Difference = Field(description="What that changes in the report.")
    report: Report = Field(description="The whole report with the changes made.")


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
