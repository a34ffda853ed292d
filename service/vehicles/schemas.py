"""What the vehicle endpoints take and give."""

from __future__ import annotations

from typing import Any, Final

from pydantic import BaseModel, ConfigDict, Field

from rules.assembly import Vehicle
from service.paging import CursorText, Limit

EXAMPLE: Final[dict[str, Any]] = {
    "id": "hatch-16",
    "name": "Small hatchback, single tank",
    "notes": "The tank neck takes modules of 100 mm.",
    "items": [
        {
            "ref": "tank",
            "component": {
                "name": "Fuel tank, 45 L",
                "kind": "tank",
                "lifecycle": "vehicle-part",
                "ports": [{"id": "neck", "role": "either"}],
                "spec": {"shape": "single", "volume": "45 L"},
            },
        },
    ],
    "joints": [],
    "runs": [{"name": "tank to engine bay", "length": "3.6 m"}],
}


class VehicleList(BaseModel):
    """Which page of the vehicles."""

    model_config = ConfigDict(extra="forbid")

    limit: Limit
    cursor: CursorText


class VehiclePage(BaseModel):
    """A page of vehicles in order of id."""

    items: tuple[Vehicle, ...] = Field(description="The vehicles; unknown attributes are absent.")
    next_cursor: str | None = Field(
        description="The `cursor` of the next page; `null` on the last one."
    )
    catalogue_revision: int = Field(
        description="The revision of the catalogue that the page was read at.", examples=[17]
    )
