"""What the component endpoints take and give."""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field

from rules.connections import Words
from rules.parts import Component, FuelId
from rules.vocabulary import Gender, Kind, Lifecycle, Material, System
from service.paging import CursorText, Limit

EXAMPLE: Final[dict[str, Any]] = {
    "sku": "LW-ADP-0601",
    "name": "O-ring boss to 37 degree flare adapter, size 6",
    "kind": "adapter",
    "supplier": "Brook Lane Fittings",
    "ports": [
        {
            "id": "boss",
            "role": "either",
            "connection": {"system": "orb", "size": "-6", "gender": "male"},
            "bore": "7.9 mm",
            "seal": {"form": "o-ring", "material": "fkm-a", "included": True},
        },
        {
            "id": "flare",
            "role": "either",
            "connection": {"system": "flare-37", "size": "-6", "gender": "male"},
            "bore": "7.9 mm",
        },
    ],
    "wetted": [
        {"part": "body", "material": "aluminium-anodised"},
        {"part": "o-ring", "material": "fkm-a"},
    ],
    "working_pressure": "70 bar",
    "price": {"amount": "9.80", "currency": "EUR"},
    "spec": {"form": "straight"},
}


class ComponentSearch(BaseModel):
    """What the components of a list have in common; what is not given is not asked."""

    model_config = ConfigDict(extra="forbid")

    kind: Kind | None = Field(default=None, description="The kind of component.")
    lifecycle: Lifecycle | None = Field(default=None, description="Whether the shop sells it.")
    text: Words | None = Field(
        default=None,
        description="Part of the SKU, the name or the supplier, in upper or lower case.",
        examples=["filter"],
    )
    connection: Words | None = Field(
        default=None,
        description="A connection that one of its ports has, as the trade writes it.",
        examples=["-6 AN male"],
    )
    system: System | None = Field(
        default=None, description="A system that one of its ports is made to."
    )
    size: Annotated[Words, Field(max_length=40)] | None = Field(
        default=None, description="The size of that port, in its system.", examples=["-6"]
    )
    gender: Gender | None = Field(default=None, description="Which half of the joint that port is.")
    material: Material | None = Field(
        default=None, description="A material that is recorded as wetted."
    )
    fuel: FuelId | None = Field(
        default=None,
        description=(
            "A fuel's id from `/v1/fuels`. Lists components whose wetted materials are all "
            "recorded and all rated for it, none as unsuitable, and that their makers do not rule "
            "out."
        ),
        examples=["E85"],
    )
    approved_fuel: FuelId | None = Field(
        default=None, description="A fuel that the maker approves, whatever the materials."
    )
    limit: Limit
    cursor: CursorText


class ComponentPage(BaseModel):
    """A page of components in order of SKU."""

    items: tuple[Component, ...] = Field(
        description="The components; unknown attributes are absent."
    )
    next_cursor: str | None = Field(
        description="The `cursor` of the next page; `null` on the last one."
    )
    catalogue_revision: int = Field(
        description="The revision of the catalogue that the page was read at.", examples=[17]
    )
