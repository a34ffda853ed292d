"""The OpenAPI document and the page that shows it, both without a request to anyone else."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Any, Final

from fastapi import APIRouter, FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute
from pydantic.json_schema import models_json_schema
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from service.examples import (
    answer_examples,
    proposal_example,
    question_examples,
    report_examples,
)
from service.glossary import GLOSSARY
from service.page import page
from service.problems import FaultDetails, Kind, ProblemDetails, problem_responses

TAGS: Final = (
    ("checks", "Is this set of parts line-worthy? Findings with their cause, source and remedy."),
    ("assemblies", "Saved assemblies: versions, checks, what-if and sign-offs."),
    ("readings", "What a text of the trade means, and what it leaves open."),
    ("components", "The shop's parts: create, read, replace, delete and search."),
    ("vehicles", "Vehicles with the fixed parts they bring into an assembly."),
    ("imports", "Many parts at once, all or nothing."),
    ("connections", "Connection systems, their sizes, what mates with what and what looks alike."),
    ("materials", "Wetted materials and how they stand each fuel."),
    ("fuels", "Fuels, their content and properties."),
    ("rules", "The rule book: every rule with its condition, source and examples."),
    ("problems", "What each class of refusal means."),
    ("health", "Whether the process lives and can answer."),
)

DESCRIPTION: Final = """\
Lineworthy checks whether a set of fuel-system parts joins, survives the fuel and is all there,
and says why, from which source, and what to change.

Quantities are text with a unit (`"3 bar"`, `"1/2 in"`) or `{"value": 3, "unit": "bar"}`; a bare
number is refused. Pressure is gauge. What nobody recorded is `null` and never passes in silence.

Every refusal is `application/problem+json` (RFC 9457) and lists all faults of the request at once.

A report does not replace a professional: fuel burns. Relieve the pressure, disconnect the battery,
ventilate, keep ignition away and an extinguisher at hand, leak-check before the start, and follow
local codes and emissions law.
"""

_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; connect-src 'self'"
)


def describe(app: FastAPI, routers: Sequence[APIRouter]) -> None:
    """Give an application its OpenAPI document at `/openapi.json` and the page of it at `/docs`.

    `app.openapi()` is the document without the examples that are made from the demo shop, which
    take longer.

    Args:
        app: the application.
        routers: the routers it includes.
    """

    @cache
    def document() -> dict[str, Any]:
        document = _document(app)
        _restore_examples(document, routers)
        return document

    @cache
    def shown() -> dict[str, Any]:
        return _with_examples(document())

    @cache
    def written() -> bytes:
        return json.dumps(shown(), ensure_ascii=False).encode()

    @cache
    def drawn() -> str:
        return page(shown())

    # Plain functions: the first call takes long enough to be run in a thread.
    def show_document(_request: Request) -> Response:
        return Response(written(), media_type="application/json")

    def show_page(_request: Request) -> Response:
        return HTMLResponse(drawn(), headers={"Content-Security-Policy": _POLICY})

    app.openapi = document  # type: ignore[method-assign]
    app.add_route("/openapi.json", show_document, include_in_schema=False)
    app.add_route("/docs", show_page, include_in_schema=False)


def _with_examples(document: dict[str, Any]) -> dict[str, Any]:
    shown = copy.deepcopy(document)
    answers = answer_examples()
    for path in shown["paths"].values():
        for operation in path.values():
            if (answer := answers.get(operation["operationId"])) is not None:
                (content,) = operation["responses"]["200"]["content"].values()
                content["example"] = answer
            if operation["operationId"] == "check_assembly":
                body = operation["requestBody"]["content"]["application/json"]
                body["examples"] = question_examples()
                (content,) = operation["responses"]["200"]["content"].values()
                content["examples"] = report_examples()
            if operation["operationId"] == "draw_pressure_line":
                body = operation["requestBody"]["content"]["application/json"]
                body["example"] = proposal_example()
    return shown


def _document(app: FastAPI) -> dict[str, Any]:
    document = get_openapi(
        title=app.title,
        version=app.version,
        summary=app.summary,
        description=DESCRIPTION,
        routes=app.routes,
        tags=[{"name": name, "description": description} for name, description in TAGS],
        separate_input_output_schemas=app.separate_input_output_schemas,
    )
    schemas = document["components"]["schemas"]
    for standard in ("HTTPValidationError", "ValidationError"):
        schemas.pop(standard, None)
    _, own = models_json_schema(
        [(FaultDetails, "serialization"), (ProblemDetails, "serialization")],
        ref_template="#/components/schemas/{model}",
    )
    schemas.update(own["$defs"])
    for path in document["paths"].values():
        for operation in path.values():
            _declare_problems(operation)
    for schema in schemas.values():
        _explain_fields(schema)
    for name, short in _short_forms(schemas):
        schemas[name] = {"anyOf": [short, schemas[name]]}
    return document


def _short_forms(schemas: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Schemas of the short forms that some models read, which pydantic's generator cannot see."""
    yield (
        "Connection",
        {
            "type": "string",
            "description": "As the trade writes it, where that leaves nothing open.",
            "examples": ["-6 JIC male"],
        },
    )
    ends = schemas["Joint"]["properties"]["ends"]
    shown = {"description": "The two ends alone.", "examples": [["feed.b", "rail.inlet"]]}
    yield "Joint", {**ends, **shown}


def _restore_examples(document: dict[str, Any], routers: Sequence[APIRouter]) -> None:
    """Put examples of answers back as they were written: FastAPI drops the nulls in them."""
    written = {
        (route.operation_id, str(status)): response["content"]
        for router in routers
        for route in router.routes
        if isinstance(route, APIRoute)
        for status, response in route.responses.items()
        if "content" in response
    }
    for path in document["paths"].values():
        for operation in path.values():
            for status, response in operation["responses"].items():
                contents = written.get((operation["operationId"], status), {})
                for media_type, content in contents.items():
                    if "example" in content:
                        response["content"][media_type]["example"] = content["example"]


def _declare_problems(operation: dict[str, Any]) -> None:
    responses = operation["responses"]
    if "application/json" in responses.get("422", {}).get("content", {}):
        del responses["422"]
    for status, response in problem_responses(*_usual_problems(operation)).items():
        responses.setdefault(str(status), response)
    operation["responses"] = dict(sorted(responses.items()))


def _usual_problems(operation: dict[str, Any]) -> Iterator[Kind]:
    yield "internal-error"
    if "requestBody" in operation:
        yield from ("body-too-large", "unsupported-media-type")
    if "requestBody" in operation or "parameters" in operation:
        yield "invalid-request"


def _explain_fields(schema: dict[str, Any]) -> None:
    for name, described in schema.get("properties", {}).items():
        if "description" not in described and name in GLOSSARY:
            described["description"] = GLOSSARY[name]
