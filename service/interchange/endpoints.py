"""`/v1/components/{sku}/replacements` and `/mates`: what takes a part's place, what screws on it.

Included before the components themselves, whose part numbers may hold slashes.
"""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, HTTPException, Query

from rules.catalogue import Catalogue
from rules.interchange import mates, replacements
from rules.parts import Component
from service.catalogue.endpoints import PATH, SkuInPath
from service.catalogue.suitability import suited_materials
from service.dependencies import CatalogueOfApp
from service.interchange.schemas import (
    MATES_EXAMPLE,
    REPLACEMENTS_EXAMPLE,
    MateSearch,
    PortMates,
    Replacements,
    ReplacementSearch,
)
from service.problems import Fault, invalid, problem, problem_responses, rendering

router = APIRouter(prefix=PATH, tags=["components"])


def _json(example: object) -> dict[str, Any]:
    return {"application/json": {"example": example}}


_USUAL_RESPONSES: Final = problem_responses("invalid-request", "not-found")


@router.get(
    "/{sku:path}/replacements",
    operation_id="list_replacements",
    summary="List what takes a component's place",
    responses={
        200: {
            "description": "The parts, the surest and cheapest first.",
            "content": _json(REPLACEMENTS_EXAMPLE),
        },
        **_USUAL_RESPONSES,
    },
)
async def list_replacements(
    sku: SkuInPath,
    wanted: Annotated[ReplacementSearch, Query()],
    catalogue: CatalogueOfApp,
) -> Replacements:
    """Sold parts that serve in any assembly the component is in.

    The same ends, ratings that are no lower, bores that are no narrower, and materials that bear
    the asked fuels no worse; each with the differences that matter.
    """
    part = _part(catalogue, sku)
    for fuel in wanted.fuel:
        # Asked for its refusal, which is the same as that of the search by fuel.
        suited_materials(fuel)

    return Replacements(
        sku=sku,
        replacements=replacements(catalogue, part, wanted.fuel, wanted.limit),
        catalogue_revision=catalogue.revision,
    )


@router.get(
    "/{sku:path}/mates",
    operation_id="list_mates",
    summary="List what screws straight on to a port",
    responses={
        200: {
            "description": "The parts, tight ones first, then by price.",
            "content": _json(MATES_EXAMPLE),
        },
        **_USUAL_RESPONSES,
    },
)
async def list_mates(
    sku: SkuInPath,
    wanted: Annotated[MateSearch, Query()],
    catalogue: CatalogueOfApp,
) -> PortMates:
    """Sold parts of which some end seals on a port, or seals under a condition that is named."""
    part = _part(catalogue, sku)
    _require_port(part, wanted.port)

    joining = mates(catalogue, part, wanted.port, wanted.limit, wanted.kind)
    return PortMates(
        sku=sku,
        port=wanted.port,
        count=joining.count,
        mates=joining.mates,
        catalogue_revision=catalogue.revision,
    )


@router.api_route(
    "/{sku:path}/replacements", methods=["PUT", "PATCH", "DELETE"], include_in_schema=False
)
@router.api_route("/{sku:path}/mates", methods=["PUT", "PATCH", "DELETE"], include_in_schema=False)
async def _refuse_to_write() -> None:
    """These lists are only read; without this the path would be taken for a part number."""
    raise HTTPException(405)


def _part(catalogue: Catalogue, sku: str) -> Component:
    part = catalogue.get(sku)
    if part is None:
        near = " or ".join(f"`{each}`" for each in catalogue.near(sku))
        hint = f" Did you mean {near}?" if near else ""
        raise problem("not-found", f"There is no component `{rendering(sku)}`.{hint}")
    return part


def _require_port(part: Component, port: str) -> None:
    ports = [each.id for each in part.ports]
    if port not in ports:
        listed = ", ".join(f"`{each}`" for each in ports)
        raise invalid(
            [
                Fault(
                    "/port",
                    port,
                    f"`{part.sku}` has no port `{port}`.",
                    listed or "a component that has ports",
                    "unknown-port",
                    "query",
                )
            ]
        )
