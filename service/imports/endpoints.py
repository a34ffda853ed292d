"""`/v1/imports`: many components at once, all of them or none."""

from __future__ import annotations

from email.message import Message
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request, Response

from rules.catalogue import Catalogue
from service.catalogue.schemas import EXAMPLE
from service.catalogue.service import Plan
from service.database import now, read_revision
from service.dependencies import CatalogueOfApp, DatabaseOfApp, RawBody, SettingsOfApp
from service.idempotency import Answer, IdempotencyKey, KeyedRequest
from service.imports.columns import DecimalMark, kinds
from service.imports.csv_rows import read_table
from service.imports.json_rows import read_array, read_lines
from service.imports.rows import Table
from service.imports.schemas import ImportOptions, ImportResult
from service.imports.service import Batch, carry_out_import, check_rows, plan_import, result_of
from service.imports.template import TEMPLATE
from service.problems import problem, problem_responses, rendering

router = APIRouter(prefix="/v1/imports", tags=["imports"])

_READABLE: Final = ("application/json", "application/x-ndjson", "text/csv")
_RESULT: Final = {
    "dry_run": False,
    "mode": "create",
    "components": 120,
    "created": 120,
    "replaced": 0,
    "unchanged": 0,
    "catalogue_revision": 18,
    "notes": [],
}


def _body_schema() -> dict[str, Any]:
    """The description of a body that no parameter of the endpoint stands for."""
    places = {kind: f"#/components/schemas/{model.__name__}" for kind, model in kinds().items()}
    component = {
        "oneOf": [{"$ref": place} for place in places.values()],
        "discriminator": {"propertyName": "kind", "mapping": places},
    }
    return {
        "required": True,
        "description": "The components: a JSON array, one JSON object a line, or a CSV table.",
        "content": {
            "application/json": {
                "schema": {"type": "array", "items": component},
                "example": [EXAMPLE],
            },
            "application/x-ndjson": {
                "schema": {"type": "string", "description": "One component a line."},
            },
            "text/csv": {
                "schema": {"type": "string", "description": "One component a row."},
                "example": TEMPLATE,
            },
        },
    }


@router.get(
    "/template.csv",
    operation_id="read_import_template",
    summary="A CSV file to start from",
    response_class=Response,
    responses={
        200: {
            "description": "The usual columns, with three components as examples.",
            "content": {"text/csv": {"schema": {"type": "string"}, "example": TEMPLATE}},
        }
    },
)
async def read_import_template() -> Response:
    """A column is named by the place of its value in a component.

    `spec.bore`, `ports.<id>.connection`, `wetted.<part>.material`, `needs.<number>.sku`, and so on
    for each field of a component; a row leaves empty what its kind does not have or nobody
    recorded. Members of a list stand in one cell with `|` between them, and `none` is a list that
    is known to be empty. Lists of objects, such as `spec.curves`, are written as JSON.
    """
    return Response(
        TEMPLATE,
        media_type="text/csv",
        headers={"Content-Disposition": 'attachment; filename="components.csv"'},
    )


@router.post(
    "",
    operation_id="import_components",
    summary="Import components",
    response_model=ImportResult,
    openapi_extra={"requestBody": _body_schema()},
    responses={
        200: {
            "description": "What was stored, or would be.",
            "content": {"application/json": {"example": _RESULT}},
        },
        **problem_responses(
            "body-too-large", "invalid-request", "unavailable", "unsupported-media-type"
        ),
    },
)
def import_components(
    request: Request,
    options: Annotated[ImportOptions, Query()],
    body: RawBody,
    database: DatabaseOfApp,
    catalogue: CatalogueOfApp,
    settings: SettingsOfApp,
    idempotency_key: IdempotencyKey = None,
) -> Response:
    """Stores many components in one transaction: all of them, or none.

    Every faulty row is told at once, with line, column, what was found and what would be right. A
    SKU is kept as text: `0017` stays `0017`. A dry run says what would happen and stores nothing.
    """
    content_type = request.headers.get("content-type", "")
    table = _table(content_type, body, options.decimal)
    if len(table.rows) > settings.import_limit_rows:
        raise problem(
            "body-too-large",
            f"The file has {len(table.rows)} components, "
            f"and at most {settings.import_limit_rows} are taken at once.",
        )
    batch = check_rows(table)
    if options.dry_run:
        with database.read() as connection:
            made = plan_import(connection, batch, options.mode, catalogue)
            revision = read_revision(connection)
        return _answer(options, batch, made, revision, catalogue).response()
    keyed = KeyedRequest.of(
        "import_components",
        idempotency_key,
        options.model_dump_json().encode(),
        content_type.encode(),
        body,
    )
    with database.write() as write:
        if keyed is not None and (before := keyed.answered(write)) is not None:
            return before.response()
        made = carry_out_import(write, batch, options.mode, catalogue, now())
        answer = _answer(options, batch, made, write.revision, catalogue)
        if keyed is not None:
            keyed.remember(write, answer, settings.idempotency_hours)
    return answer.response()


def _table(content_type: str, body: bytes, decimal: DecimalMark | None) -> Table:
    """The rows of a file of any type that is read here.

    Raises:
        Problem: 415, the type is none of them; 422, the file cannot be read.
    """
    named = Message()
    named["content-type"] = content_type or "none"
    match named.get_content_type() if content_type else None:
        case "application/json":
            return read_array(body)
        case "application/x-ndjson":
            return read_lines(body)
        case "text/csv":
            return read_table(body, decimal)
        case _:
            said = f"called `{rendering(content_type)}`" if content_type else "of no stated type"
            raise problem(
                "unsupported-media-type",
                f"The body is {said}; read here are {', '.join(_READABLE)}.",
                headers={"Accept-Post": ", ".join(_READABLE)},
            )


def _answer(
    options: ImportOptions, batch: Batch, made: Plan, revision: int, catalogue: Catalogue
) -> Answer:
    result = result_of(
        batch, made, catalogue, mode=options.mode, dry_run=options.dry_run, revision=revision
    )
    return Answer(200, {}, result.model_dump_json())
