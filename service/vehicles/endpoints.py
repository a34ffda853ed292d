"""`/v1/vehicles`: the cars that the shop knows, each with the parts it brings."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import APIRouter, Body, Path, Query, Request, Response

from rules.assembly import Vehicle
from rules.parts import Identifier
from service.conditional import (
    VERSIONED,
    CreateOnly,
    IfMatch,
    IfNoneMatch,
    respond_unless_held,
    validators,
)
from service.database import now, read_revision
from service.dependencies import CatalogueOfApp, DatabaseOfApp
from service.paging import LINKED, page_response, read_cursor, write_cursor
from service.problems import Fault, invalid, problem_responses
from service.vehicles import service, store
from service.vehicles.schemas import EXAMPLE, VehicleList, VehiclePage

PATH: Final = "/v1/vehicles"
router = APIRouter(prefix=PATH, tags=["vehicles"])

_EXAMPLE_RESPONSE: Final = {"application/json": {"example": EXAMPLE}}

IdInPath = Annotated[Identifier, Path(description="The vehicle's id.", examples=["hatch-16"])]


@router.get(
    "",
    operation_id="list_vehicles",
    summary="List the vehicles",
    response_model=VehiclePage,
    responses={
        200: {
            "description": "A page of vehicles in order of id.",
            "headers": LINKED,
            "content": {
                "application/json": {
                    "example": {"items": [EXAMPLE], "next_cursor": None, "catalogue_revision": 17}
                }
            },
        },
        **problem_responses("invalid-request", "unavailable"),
    },
)
def list_vehicles(
    request: Request, wanted: Annotated[VehicleList, Query()], database: DatabaseOfApp
) -> Response:
    """Lists the vehicles, a page at a time."""
    after = read_cursor(wanted.cursor, {})
    with database.read() as connection:
        found = store.page(connection, after, wanted.limit + 1)
        revision = read_revision(connection)
    shown = found[: wanted.limit]
    cursor = write_cursor(shown[-1].id, {}) if len(found) > wanted.limit else None
    return page_response(request, [each.document for each in shown], cursor, revision)


@router.get(
    "/{vehicle_id}",
    operation_id="read_vehicle",
    summary="Read a vehicle",
    response_model=Vehicle,
    responses={
        200: {
            "description": "The vehicle; unknown attributes are absent.",
            "headers": VERSIONED,
            "content": _EXAMPLE_RESPONSE,
        },
        304: {"description": "The version that the caller holds is the current one."},
        **problem_responses("invalid-request", "not-found", "unavailable"),
    },
)
def read_vehicle(
    vehicle_id: IdInPath, database: DatabaseOfApp, if_none_match: IfNoneMatch = None
) -> Response:
    """Reads one vehicle. An id that is not found is answered with those that are near."""
    with database.read() as connection:
        found = service.find(connection, vehicle_id)
    return respond_unless_held(if_none_match, found.version, found.updated_at, found.document)


@router.put(
    "/{vehicle_id}",
    operation_id="put_vehicle",
    summary="Create or replace a vehicle",
    response_model=Vehicle,
    responses={
        200: {
            "description": "The vehicle as it is stored, in place of the one before.",
            "headers": VERSIONED,
            "content": _EXAMPLE_RESPONSE,
        },
        201: {
            "description": "The vehicle as it is stored, a new one.",
            "headers": {
                "Location": {"description": "Where it is.", "schema": {"type": "string"}},
                **VERSIONED,
            },
            "model": Vehicle,
            "content": _EXAMPLE_RESPONSE,
        },
        **problem_responses(
            "invalid-request",
            "not-found",
            "precondition-failed",
            "precondition-required",
            "unavailable",
        ),
    },
)
def put_vehicle(
    vehicle_id: IdInPath,
    vehicle: Annotated[
        Vehicle,
        Body(description="The vehicle. What is not recorded is left out.", examples=[EXAMPLE]),
    ],
    database: DatabaseOfApp,
    catalogue: CatalogueOfApp,
    if_match: IfMatch = None,
    if_none_match: CreateOnly = None,
) -> Response:
    """Creates a vehicle (`If-None-Match: *`) or replaces it (`If-Match` with its `ETag`).

    The components that its items name must exist, and its joints must name ports they have.
    """
    if vehicle.id != vehicle_id:
        raise invalid(
            [
                Fault(
                    pointer="/id",
                    found=vehicle.id,
                    detail=f"The body is `{vehicle.id}`, the path names `{vehicle_id}`.",
                    expected=f"`{vehicle_id}`",
                    code="id-mismatch",
                )
            ]
        )
    moment = now()
    with database.write() as write:
        is_new = service.put(write, vehicle, if_match, if_none_match, catalogue, moment)
        headers = validators(write.revision, moment)
    if is_new:
        headers["Location"] = f"{PATH}/{vehicle_id}"
    return Response(store.document_of(vehicle), 201 if is_new else 200, headers, "application/json")


@router.delete(
    "/{vehicle_id}",
    operation_id="delete_vehicle",
    summary="Delete a vehicle",
    status_code=204,
    response_class=Response,
    responses={
        204: {"description": "The vehicle is deleted."},
        **problem_responses(
            "conflict",
            "invalid-request",
            "not-found",
            "precondition-failed",
            "precondition-required",
            "unavailable",
        ),
    },
)
def delete_vehicle(vehicle_id: IdInPath, database: DatabaseOfApp, if_match: IfMatch = None) -> None:
    """Deletes a vehicle, unless a saved assembly is for it (409).

    The components that it brought stay.
    """
    with database.write() as write:
        service.delete(write, vehicle_id, if_match)
