"""`/v1/components`: the parts of the shop."""

from __future__ import annotations

from typing import Annotated, Final
from urllib.parse import quote

from fastapi import APIRouter, Body, Path, Query, Request, Response

from rules.parts import Component, Sku
from rules.reading import UnclearConnection, connection_or_fault
from service.catalogue import service, store
from service.catalogue.schemas import EXAMPLE, ComponentPage, ComponentSearch
from service.catalogue.suitability import suited_materials
from service.conditional import VERSIONED, IfMatch, IfNoneMatch, respond_unless_held, validators
from service.database import now, read_revision
from service.dependencies import CatalogueOfApp, DatabaseOfApp, SettingsOfApp
from service.idempotency import Answer, IdempotencyKey, KeyedRequest
from service.paging import LINKED, page_response, read_cursor, write_cursor
from service.problems import Fault, Problem, invalid, problem_responses, rendering

PATH: Final = "/v1/components"
router = APIRouter(prefix=PATH, tags=["components"])

_EXAMPLE_RESPONSE: Final = {"application/json": {"example": EXAMPLE}}

SkuInPath = Annotated[
    Sku, Path(description="The SKU, letter for letter.", examples=["LW-ADP-0601"])
]
ComponentBody = Annotated[
    Component,
    Body(description="The component. What is not recorded is left out.", examples=[EXAMPLE]),
]


def location(sku: str) -> str:
    """Where a component is read."""
    return f"{PATH}/{quote(sku, safe='/')}"


@router.post(
    "",
    operation_id="create_component",
    summary="Create a component",
    status_code=201,
    response_model=Component,
    responses={
        201: {
            "description": "The component as it is stored.",
            "headers": {
                "Location": {"description": "Where it is.", "schema": {"type": "string"}},
                **VERSIONED,
            },
            "content": _EXAMPLE_RESPONSE,
        },
        **problem_responses("conflict", "invalid-request", "unavailable"),
    },
)
def create_component(
    component: ComponentBody,
    database: DatabaseOfApp,
    catalogue: CatalogueOfApp,
    settings: SettingsOfApp,
    idempotency_key: IdempotencyKey = None,
) -> Response:
    """Adds a part to the catalogue. A SKU is kept as text: `0017` and `17` are two part numbers.

    Refused with 409 if the SKU exists, or one that differs only in case, dashes or blanks.
    Components that it names (`superseded_by`, `needs`) must exist.
    """
    sku = _required_sku(component)
    document = store.document_of(component)
    keyed = KeyedRequest.of("create_component", idempotency_key, document.encode())
    moment = now()
    with database.write() as write:
        if keyed is not None and (before := keyed.answered(write)) is not None:
            return before.response()
        service.create(write, component, catalogue, moment)
        headers = {"Location": location(sku), **validators(write.revision, moment)}
        answer = Answer(201, headers, document)
        if keyed is not None:
            keyed.remember(write, answer, settings.idempotency_hours)
    return answer.response()


@router.get(
    "",
    operation_id="list_components",
    summary="Search the components",
    response_model=ComponentPage,
    responses={
        200: {
            "description": "A page of components in order of SKU.",
            "headers": LINKED,
            "content": {
                "application/json": {
                    "example": {
                        "items": [EXAMPLE],
                        "next_cursor": "WyJMVy1BRFAtMDYwMSIsIjBhMWIyYzNkNGU1ZiJd",
                        "catalogue_revision": 17,
                    }
                }
            },
        },
        **problem_responses("invalid-request", "unavailable"),
    },
)
def list_components(
    request: Request, search: Annotated[ComponentSearch, Query()], database: DatabaseOfApp
) -> Response:
    """Lists the components that meet everything asked, a page at a time.

    Components created or deleted meanwhile neither repeat nor hide one that stays.
    """
    filters = search.model_dump(exclude={"limit", "cursor"}, exclude_none=True)
    after = read_cursor(search.cursor, filters)
    criteria = _criteria(search)
    with database.read() as connection:
        found = store.page(connection, criteria, after, search.limit + 1)
        revision = read_revision(connection)
    shown = found[: search.limit]
    cursor = write_cursor(shown[-1].sku, filters) if len(found) > search.limit else None
    return page_response(request, [each.document for each in shown], cursor, revision)


@router.get(
    "/{sku:path}",
    operation_id="read_component",
    summary="Read a component",
    response_model=Component,
    responses={
        200: {
            "description": "The component; unknown attributes are absent.",
            "headers": VERSIONED,
            "content": _EXAMPLE_RESPONSE,
        },
        304: {"description": "The version that the caller holds is the current one."},
        **problem_responses("invalid-request", "not-found", "unavailable"),
    },
)
def read_component(
    sku: SkuInPath,
    database: DatabaseOfApp,
    catalogue: CatalogueOfApp,
    if_none_match: IfNoneMatch = None,
) -> Response:
    """Reads one component. A SKU that is not found is answered with those that are near."""
    with database.read() as connection:
        found = service.find(connection, sku, catalogue)
    return respond_unless_held(if_none_match, found.version, found.updated_at, found.document)


@router.put(
    "/{sku:path}",
    operation_id="replace_component",
    summary="Replace a component",
    response_model=Component,
    responses={
        200: {
            "description": "The component as it is stored.",
            "headers": VERSIONED,
            "content": _EXAMPLE_RESPONSE,
        },
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
def replace_component(
    sku: SkuInPath,
    component: ComponentBody,
    database: DatabaseOfApp,
    catalogue: CatalogueOfApp,
    if_match: IfMatch = None,
) -> Response:
    """Puts a component in place of the stored one.

    The whole of it: an attribute that is left out is unknown from then on. `If-Match` names the
    version it was made from, so that nobody's change is overwritten unseen. Refused with 409 if a
    vehicle or the current version of an assembly joins a port that would be gone.
    """
    if (given := _required_sku(component)) != sku:
        raise invalid(
            [
                Fault(
                    pointer="/sku",
                    found=given,
                    detail=f"The body is the component `{given}`, the path names `{sku}`.",
                    expected=f"`{sku}`; to rename a part, create the new one and delete the old",
                    code="sku-mismatch",
                )
            ]
        )
    moment = now()
    with database.write() as write:
        service.replace(write, component, if_match, catalogue, moment)
        version = write.revision
    document = store.document_of(component)
    return Response(document, headers=validators(version, moment), media_type="application/json")


@router.delete(
    "/{sku:path}",
    operation_id="delete_component",
    summary="Delete a component",
    status_code=204,
    response_class=Response,
    responses={
        204: {"description": "The component is deleted."},
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
def delete_component(
    sku: SkuInPath,
    database: DatabaseOfApp,
    catalogue: CatalogueOfApp,
    if_match: IfMatch = None,
) -> None:
    """Deletes a component that nothing uses.

    Refused with 409 if a vehicle brings it, another component names it or the current version of
    an assembly holds it. Older versions of assemblies keep what they say and hold nothing back.
    """
    with database.write() as write:
        service.delete(write, sku, if_match, catalogue)


def _required_sku(component: Component) -> str:
    if component.sku is None:
        raise invalid(
            [
                Fault(
                    pointer="/sku",
                    found=None,
                    detail="A component of the catalogue needs a SKU.",
                    expected="the part number, as text",
                    code="missing",
                )
            ]
        )
    return component.sku


def _criteria(search: ComponentSearch) -> store.Criteria:
    """What to ask the database.

    Raises:
        Problem: 422, a connection that leaves something open, or a fuel that is not known.
    """
    system, size, gender = _connection(search)
    return store.Criteria(
        kind=search.kind,
        lifecycle=search.lifecycle,
        system=system,
        size=size,
        gender=gender,
        text=search.text,
        material=search.material,
        approved_fuel=search.approved_fuel,
        suited_materials=None if search.fuel is None else suited_materials(search.fuel),
        unless_excluded=search.fuel,
    )


def _connection(search: ComponentSearch) -> tuple[str | None, str | None, str | None]:
    parts = {"system": search.system, "size": search.size, "gender": search.gender}
    given = {name: value for name, value in parts.items() if value is not None}
    if search.connection is None:
        if given and search.system is None:
            name, value = next(iter(given.items()))
            raise _refused(
                name,
                value,
                f"`{name}` says nothing without a system: standards share names of sizes.",
                "`system` as well, or a whole `connection`",
            )
        return search.system, search.size, search.gender
    if given:
        raise _refused(
            "connection",
            search.connection,
            f"`connection` and {', '.join(f'`{name}`' for name in given)} ask the same.",
            "the connection as text or in its parts, not both",
        )
    try:
        return connection_or_fault(search.connection)
    except UnclearConnection as unclear:
        raise _refused(
            "connection", search.connection, unclear.reason, unclear.expected
        ) from unclear


def _refused(name: str, found: str, detail: str, expected: str) -> Problem:
    return invalid([Fault(f"/{name}", rendering(found), detail, expected, "search", "query")])
