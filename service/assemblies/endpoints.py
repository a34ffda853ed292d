"""`/v1/assemblies`: assemblies that are kept, checked again and signed off."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Body, Path, Query, Request, Response

from rules.signoff import SignOff
from service.assemblies import service, store
from service.assemblies.schemas import (
    CHANGES_EXAMPLE,
    DRAFT_EXAMPLE,
    EXAMPLE,
    NEW_SIGN_OFF_EXAMPLE,
    PAGE_EXAMPLE,
    SIGN_OFF_EXAMPLE,
    Assembly,
    AssemblyChanges,
    AssemblyCheck,
    AssemblyFuelChange,
    AssemblyList,
    AssemblyPage,
    AssemblyWhatIf,
    Draft,
    NewSignOff,
    SignOffs,
    VersionList,
)
from service.checks.judge import JudgeOfApp
from service.conditional import VERSIONED, IfMatch, IfNoneMatch, respond_unless_held, validators
from service.database import now, read_revision
from service.dependencies import DatabaseOfApp
from service.idempotency import Answer, IdempotencyKey, KeyedRequest
from service.paging import LINKED, page_response, read_cursor, write_cursor
from service.problems import problem_responses
from service.what_if.schemas import FUEL_ASKED_EXAMPLE, FuelAsked

PATH: Final = "/v1/assemblies"
router = APIRouter(prefix=PATH, tags=["assemblies"])

_MOST_VERSIONS: Final = 2**31 - 1
_LOCATION: Final[dict[str, Any]] = {
    "Location": {"description": "Where it is.", "schema": {"type": "string"}}
}


def _json(example: object) -> dict[str, Any]:
    return {"application/json": {"example": example}}


IdInPath = Annotated[
    str,
    Path(
        pattern=r"^[0-9A-Za-z-]{1,64}$",
        description="The assembly's id.",
        examples=["0197f3a0-6d3e-7c40-8a57-1f0d3a9b2c11"],
    ),
]
SignOffInPath = Annotated[
    str,
    Path(
        pattern=r"^[0-9A-Za-z-]{1,64}$",
        description="The sign-off's id.",
        examples=["0197f3a1-0a52-7b6e-9f0c-2d4e6f8a1b3c"],
    ),
]
VersionInPath = Annotated[
    int, Path(ge=1, le=_MOST_VERSIONS, description="The version's number.", examples=[1])
]
VersionAsked = Annotated[
    int | None,
    Query(ge=1, le=_MOST_VERSIONS, description="A version; the current one, where left out."),
]
DraftBody = Annotated[
    Draft, Body(description="What to save, the whole of it.", examples=[DRAFT_EXAMPLE])
]


def location(assembly_id: str) -> str:
    """Where an assembly is read."""
    return f"{PATH}/{assembly_id}"


# Assemblies -----------------------------------------------------------------------------------


@router.post(
    "",
    operation_id="create_assembly",
    summary="Save an assembly",
    status_code=201,
    response_model=Assembly,
    responses={
        201: {
            "description": "The assembly as it is stored, with what the check found.",
            "headers": {**_LOCATION, **VERSIONED},
            "content": _json(EXAMPLE),
        },
        **problem_responses("invalid-request", "unavailable"),
    },
)
def create_assembly(
    draft: DraftBody,
    database: DatabaseOfApp,
    judge: JudgeOfApp,
    idempotency_key: IdempotencyKey = None,
) -> Response:
    """Checks an assembly and stores it as its first version, whatever the verdict.

    Components that it names count as used from then on and cannot be deleted.
    """
    keyed = KeyedRequest.of("create_assembly", idempotency_key, store.document_of(draft).encode())
    with database.write() as write:
        if keyed is not None and (before := keyed.answered(write)) is not None:
            return _respond(before)
        stored = service.create(write, draft, judge, now())
        headers = {
            "Location": location(stored.id),
            **validators(stored.version, stored.saved_at),
        }
        answer = Answer(201, headers, service.full_document(stored))
        if keyed is not None:
            keyed.remember(write, answer, judge.settings.idempotency_hours)
    return _respond(answer)


@router.get(
    "",
    operation_id="list_assemblies",
    summary="List the saved assemblies",
    response_model=AssemblyPage,
    responses={
        200: {
            "description": "A page of assemblies in the order they were created.",
            "headers": LINKED,
            "content": _json(PAGE_EXAMPLE),
        },
        **problem_responses("invalid-request", "unavailable"),
    },
)
def list_assemblies(
    request: Request, wanted: Annotated[AssemblyList, Query()], database: DatabaseOfApp
) -> Response:
    """Lists the current versions, those of an owner or with a component where asked."""
    filters = wanted.model_dump(exclude={"limit", "cursor"}, exclude_none=True)
    after = read_cursor(wanted.cursor, filters)
    with database.read() as connection:
        found = store.page(connection, wanted.owner, wanted.sku, after, wanted.limit + 1)
        revision = read_revision(connection)
    shown = found[: wanted.limit]
    cursor = write_cursor(shown[-1].id, filters) if len(found) > wanted.limit else None
    return page_response(request, _summaries(shown), cursor, revision)


@router.get(
    "/{assembly_id}",
    operation_id="read_assembly",
    summary="Read a saved assembly",
    response_model=Assembly,
    responses={
        200: {
            "description": "The current version; what is unknown is absent.",
            "headers": VERSIONED,
            "content": _json(EXAMPLE),
        },
        304: {"description": "The version that the caller holds is the current one."},
        **problem_responses("invalid-request", "not-found", "unavailable"),
    },
)
def read_assembly(
    assembly_id: IdInPath, database: DatabaseOfApp, if_none_match: IfNoneMatch = None
) -> Response:
    """Reads the current version, with what the check found when it was saved."""
    with database.read() as connection:
        stored = service.find(connection, assembly_id)
    return _shown(stored, if_none_match)


@router.put(
    "/{assembly_id}",
    operation_id="replace_assembly",
    summary="Save the next version of an assembly",
    response_model=Assembly,
    responses={
        200: {
            "description": "The new version as it is stored, with what the check found.",
            "headers": VERSIONED,
            "content": _json(EXAMPLE),
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
def replace_assembly(
    assembly_id: IdInPath,
    draft: DraftBody,
    database: DatabaseOfApp,
    judge: JudgeOfApp,
    if_match: IfMatch = None,
) -> Response:
    """Checks an assembly and makes it the current version; those before stay as they were.

    `If-Match` names the version it was made from, so that nobody's change is overwritten unseen.
    """
    with database.write() as write:
        stored = service.put(write, assembly_id, draft, if_match, judge, now())
    headers = validators(stored.version, stored.saved_at)
    return Response(service.full_document(stored), headers=headers, media_type="application/json")


@router.delete(
    "/{assembly_id}",
    operation_id="delete_assembly",
    summary="Delete an assembly",
    status_code=204,
    response_class=Response,
    responses={
        204: {"description": "The assembly is deleted."},
        **problem_responses(
            "invalid-request",
            "not-found",
            "precondition-failed",
            "precondition-required",
            "unavailable",
        ),
    },
)
def delete_assembly(
    assembly_id: IdInPath, database: DatabaseOfApp, if_match: IfMatch = None
) -> None:
    """Deletes an assembly with all its versions and sign-offs."""
    with database.write() as write:
        service.delete(write, assembly_id, if_match)


# Versions -------------------------------------------------------------------------------------


@router.get(
    "/{assembly_id}/versions",
    operation_id="list_assembly_versions",
    summary="List the versions of an assembly",
    response_model=AssemblyPage,
    responses={
        200: {
            "description": "A page of versions, the newest first.",
            "headers": LINKED,
            "content": _json(PAGE_EXAMPLE),
        },
        **problem_responses("invalid-request", "not-found", "unavailable"),
    },
)
def list_assembly_versions(
    request: Request,
    assembly_id: IdInPath,
    wanted: Annotated[VersionList, Query()],
    database: DatabaseOfApp,
) -> Response:
    """Lists every version that was ever saved, each with what the check found then."""
    filters = {"assembly": assembly_id}
    before = service.version_of_cursor(read_cursor(wanted.cursor, filters))
    with database.read() as connection:
        service.find(connection, assembly_id)
        found = store.versions(connection, assembly_id, before, wanted.limit + 1)
        revision = read_revision(connection)
    shown = found[: wanted.limit]
    more = len(found) > wanted.limit
    cursor = write_cursor(str(shown[-1].version), filters) if more else None
    return page_response(request, _summaries(shown), cursor, revision)


@router.get(
    "/{assembly_id}/versions/{version}",
    operation_id="read_assembly_version",
    summary="Read a version of an assembly",
    response_model=Assembly,
    responses={
        200: {
            "description": "The version; it never changes.",
            "headers": VERSIONED,
            "content": _json(EXAMPLE),
        },
        304: {"description": "The caller holds this version."},
        **problem_responses("invalid-request", "not-found", "unavailable"),
    },
)
def read_assembly_version(
    assembly_id: IdInPath,
    version: VersionInPath,
    database: DatabaseOfApp,
    if_none_match: IfNoneMatch = None,
) -> Response:
    """Reads a version as it was saved, with what the check found then."""
    with database.read() as connection:
        stored = service.find(connection, assembly_id, version)
    return _shown(stored, if_none_match)


# Checks ---------------------------------------------------------------------------------------


@router.get(
    "/{assembly_id}/check",
    operation_id="check_saved_assembly",
    summary="Check a saved assembly again",
    response_description="The report as of now, beside what was found at saving.",
    responses=problem_responses("conflict", "invalid-request", "not-found", "unavailable"),
)
def check_saved_assembly(
    assembly_id: IdInPath, database: DatabaseOfApp, judge: JudgeOfApp, version: VersionAsked = None
) -> AssemblyCheck:
    """Checks the current version, or an older one, with the present catalogue and book.

    Says whether the stored verdict is stale and which findings are new or gone since, and what
    people have signed off. Refused with 409 where a part that a version names was deleted since.
    """
    with database.read() as connection:
        stored = service.find(connection, assembly_id, version)
        sign_offs = store.sign_offs_of(connection, assembly_id)
    return service.check(stored, sign_offs, judge)


@router.post(
    "/{assembly_id}/what-if",
    operation_id="ask_what_if_of_assembly",
    summary="Ask what another application would change in a saved assembly",
    response_description="The difference of two reports, and the second of them.",
    responses=problem_responses("conflict", "invalid-request", "not-found", "unavailable"),
)
def ask_what_if_of_assembly(
    assembly_id: IdInPath,
    asked: Annotated[
        AssemblyChanges, Body(description="What becomes different.", examples=[CHANGES_EXAMPLE])
    ],
    database: DatabaseOfApp,
    judge: JudgeOfApp,
    version: VersionAsked = None,
) -> AssemblyWhatIf:
    """Findings that appear, vanish and change on another fuel, power, boost or anything else.

    Nothing is stored. A field that `changes` leaves out stays as it is; `null` makes it unknown.
    """
    with database.read() as connection:
        stored = service.find(connection, assembly_id, version)
        sign_offs = store.sign_offs_of(connection, assembly_id)
    return service.what_if(stored, sign_offs, asked.changes, judge)


@router.post(
    "/{assembly_id}/fuel-change",
    operation_id="ask_fuel_change_of_assembly",
    summary="Ask what must be changed in a saved assembly to run another fuel",
    response_description="Everything there is to do, in one list.",
    responses=problem_responses("conflict", "invalid-request", "not-found", "unavailable"),
)
def ask_fuel_change_of_assembly(
    assembly_id: IdInPath,
    asked: Annotated[
        FuelAsked, Body(description="The fuel to come.", examples=[FUEL_ASKED_EXAMPLE])
    ],
    database: DatabaseOfApp,
    judge: JudgeOfApp,
    version: VersionAsked = None,
) -> AssemblyFuelChange:
    """Findings that appear, parts to renew and the best replacements, the gravest first.

    Nothing is stored; `converted` holds the assembly with the replacements in, to be saved as the
    next version.
    """
    with database.read() as connection:
        stored = service.find(connection, assembly_id, version)
        sign_offs = store.sign_offs_of(connection, assembly_id)
    return service.fuel_change(stored, sign_offs, asked, judge)


# Sign-offs ------------------------------------------------------------------------------------


@router.post(
    "/{assembly_id}/sign-offs",
    operation_id="sign_off_finding",
    summary="Accept a finding",
    status_code=201,
    response_model=SignOff,
    responses={
        201: {
            "description": "The sign-off as it is stored.",
            "headers": _LOCATION,
            "content": _json(SIGN_OFF_EXAMPLE),
        },
        **problem_responses("conflict", "invalid-request", "not-found", "unavailable"),
    },
)
def sign_off_finding(
    assembly_id: IdInPath,
    given: Annotated[
        NewSignOff,
        Body(description="The finding, who accepts it and why.", examples=[NEW_SIGN_OFF_EXAMPLE]),
    ],
    database: DatabaseOfApp,
    judge: JudgeOfApp,
    idempotency_key: IdempotencyKey = None,
) -> Response:
    """Accepts a warning or an unknown of the current version, on the facts it rests on now.

    It no longer counts towards the verdict of the assembly, and every report of the assembly shows
    who accepted it and why. An error is refused with 409, as is what was accepted already.
    """
    keyed = KeyedRequest.of(
        "sign_off_finding", idempotency_key, assembly_id.encode(), given.model_dump_json().encode()
    )
    with database.write() as write:
        if keyed is not None and (before := keyed.answered(write)) is not None:
            return _respond(before)
        made = service.sign_off(write, assembly_id, given, judge, now())
        headers = {"Location": f"{location(assembly_id)}/sign-offs/{made.id}"}
        answer = Answer(201, headers, made.model_dump_json())
        if keyed is not None:
            keyed.remember(write, answer, judge.settings.idempotency_hours)
    return _respond(answer)


@router.get(
    "/{assembly_id}/sign-offs",
    operation_id="list_sign_offs",
    summary="List what people have accepted",
    responses={
        200: {
            "description": "All sign-offs, used or not.",
            "content": _json({"items": [SIGN_OFF_EXAMPLE]}),
        },
        **problem_responses("invalid-request", "not-found", "unavailable"),
    },
)
def list_sign_offs(assembly_id: IdInPath, database: DatabaseOfApp) -> SignOffs:
    """Lists all sign-offs of an assembly; its check says which of them accept nothing now."""
    with database.read() as connection:
        service.find(connection, assembly_id)
        return SignOffs(items=tuple(store.sign_offs_of(connection, assembly_id)))


@router.get(
    "/{assembly_id}/sign-offs/{sign_off_id}",
    operation_id="read_sign_off",
    summary="Read a sign-off",
    responses={
        200: {"description": "The sign-off.", "content": _json(SIGN_OFF_EXAMPLE)},
        **problem_responses("invalid-request", "not-found", "unavailable"),
    },
)
def read_sign_off(
    assembly_id: IdInPath, sign_off_id: SignOffInPath, database: DatabaseOfApp
) -> SignOff:
    """Reads one sign-off."""
    with database.read() as connection:
        return service.find_sign_off(connection, assembly_id, sign_off_id)


@router.delete(
    "/{assembly_id}/sign-offs/{sign_off_id}",
    operation_id="remove_sign_off",
    summary="Take a sign-off away",
    status_code=204,
    response_class=Response,
    responses={
        204: {"description": "The sign-off is gone; what it accepted counts again."},
        **problem_responses("invalid-request", "not-found", "unavailable"),
    },
)
def remove_sign_off(
    assembly_id: IdInPath, sign_off_id: SignOffInPath, database: DatabaseOfApp
) -> None:
    """Takes a sign-off away. A sign-off never changes, so no version has to be named."""
    with database.write() as write:
        service.remove_sign_off(write, assembly_id, sign_off_id)


def _summaries(found: list[store.Stored]) -> list[str]:
    return [service.summary(each).model_dump_json(exclude_none=True) for each in found]


def _shown(stored: store.Stored, if_none_match: str | None) -> Response:
    document = service.full_document(stored)
    return respond_unless_held(if_none_match, stored.version, stored.saved_at, document)


def _respond(answer: Answer) -> Response:
    return Response(answer.body, answer.status, answer.headers, "application/json")
