"""The OpenAPI document and the page that shows it, both without a request to anyone else."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic.json_schema import models_json_schema
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from service.glossary import GLOSSARY
from service.page import page
from service.problems import FaultDetails, Kind, ProblemDetails, problem_responses

TAGS: Final = (
    ("checks", "Is this set of parts line-worthy? Findings with their cause, source and remedy."),
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


def describe(app: FastAPI) -> None:
    """Give an application its OpenAPI document at `/openapi.json` and the page of it at `/docs`."""

    @cache
    def document() -> dict[str, Any]:
        return _document(app)

    async def show(_request: Request) -> Response:
        return HTMLResponse(page(document()), headers={"Content-Security-Policy": _POLICY})

    app.openapi = document  # type: ignore[method-assign]
    app.add_route("/docs", show, include_in_schema=False)


def _document(app: FastAPI) -> dict[str, Any]:
    document = get_openapi(
        title=app.title,
        version=app.version,
        summary=app.summary,
        description=DESCRIPTION,
        routes=app.routes,
        tags=[{"name": name, "description": description} for name, description in TAGS],
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
    return document


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
