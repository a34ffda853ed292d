"""What the interchange endpoints take and give."""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field

from rules.interchange import Mate, Replacement
from rules.parts import FuelId, Identifier, Model, Sku
from rules.vocabulary import Kind
from service.paging import MOST_ROWS

MOST_FUELS: Final = 10

Most = Annotated[int, Field(default=20, ge=1, le=MOST_ROWS, description="Most parts to name.")]


class ReplacementSearch(BaseModel):
    """What a replacement must bear, and how many to name."""

    model_config = ConfigDict(extra="forbid")

    fuel: tuple[FuelId, ...] = Field(
        default=(),
        max_length=MOST_FUELS,
        description=(
            "A fuel's id from `/v1/fuels` that it must bear no worse than the part; may be given "
            "several times."
        ),
        examples=[["E85"]],
    )
    limit: Most


class MateSearch(BaseModel):
    """Which port, and how many to name."""

    model_config = ConfigDict(extra="forbid")

    port: Identifier = Field(description="The port's id.", examples=["inlet"])
    kind: Kind | None = Field(
        default=None, description="The only kind of part to name.", examples=["adapter"]
    )
    limit: Most


class Replacements(Model):
    """Sold parts that take a component's place, the surest and cheapest first."""

    sku: Sku = Field(description="The component that is to be replaced.")
    replacements: tuple[Replacement, ...] = Field(
        description="The parts, each with the differences that matter."
    )
    catalogue_revision: int = Field(
        description="The revision of the catalogue that answered.", examples=[17]
    )


class PortMates(Model):
    """Sold parts that screw straight on to a port, tight ones first."""

    sku: Sku = Field(description="The component that has the port.")
    port: Identifier = Field(description="The port.")
    count: int = Field(description="How many such parts there are in all.", examples=[11])
    mates: tuple[Mate, ...] = Field(description="The first of them.")
    catalogue_revision: int = Field(
        description="The revision of the catalogue that answered.", examples=[17]
    )


REPLACEMENTS_EXAMPLE: Final[dict[str, Any]] = {
    "sku": "LW-FLT-10",
    "replacements": [
        {
            "sku": "LW-FLT-10S",
            "name": "Filter, 10 um, stainless element",
            "price": {"amount": "64.00", "currency": "EUR"},
            "successor": False,
            "certain": True,
            "differences": [
                {
                    "what": "working pressure",
                    "how": "better",
                    "own": "700 kPa",
                    "other": "1000 kPa",
                }
            ],
            "not_compared": "the outside measures and how it is held",
        }
    ],
    "catalogue_revision": 17,
}
MATES_EXAMPLE: Final[dict[str, Any]] = {
    "sku": "LW-RAIL-6",
    "port": "inlet",
    "count": 11,
    "mates": [
        {
            "sku": "LW-ADP-0601",
            "name": "O-ring boss to 37 degree flare adapter, size 6",
            "kind": "adapter",
            "port": "boss",
            "seals": True,
            "why": "The O-ring is squeezed between the chamfer of the port and the shoulder.",
            "needs": [],
            "price": {"amount": "9.80", "currency": "EUR"},
        }
    ],
    "catalogue_revision": 17,
}
