"""The service put together: `create_app` makes it from its settings."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from importlib.metadata import version
from typing import Final

from fastapi import FastAPI

from rules.check import load_rules
from rules.routing import load_templates
from service import documentation, explanations, health
from service.assemblies import endpoints as assemblies
from service.catalogue import endpoints as components
from service.checks import endpoints as checks
from service.checks.judge import new_turns
from service.database import Database
from service.forms import Forms
from service.handlers import answer_with_problems
from service.imports import endpoints as imports
from service.interchange import endpoints as interchange
from service.limits import BodyLimits
from service.readings import endpoints as readings
from service.references import connections, fuels, materials
from service.rulebook import endpoints as rulebook
from service.settings import Settings, read_settings
from service.snapshot import Snapshot
from service.trace import Trace
from service.vehicles import endpoints as vehicles
from service.what_if import endpoints as what_if

_ROUTERS: Final = (
    checks.router,
    what_if.router,
    assemblies.router,
    readings.router,
    interchange.router,
    components.router,
    vehicles.router,
    imports.router,
    connections.router,
    materials.router,
    fuels.router,
    rulebook.router,
    explanations.router,
    health.router,
)
SUMMARY: Final = "Checks whether fuel-system parts join, survive the fuel and are all there."


def create_app(settings: Settings | None = None) -> FastAPI:
    """The application of these settings; of the environment's, where none are given.

    The database, the rule book and the catalogue are opened when the application starts.
    """
    settings = settings or read_settings()
    app = FastAPI(
        title="Lineworthy",
        version=version("lineworthy"),
        summary=SUMMARY,
        lifespan=_running,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        # A part is written without what nobody recorded, so one schema holds both ways.
        separate_input_output_schemas=False,
    )
    app.state.settings = settings
    app.state.is_stopping = False
    app.state.turns = new_turns()
    answer_with_problems(app)
    for router in _ROUTERS:
        app.include_router(router)
    documentation.describe(app, _ROUTERS)
    app.state.forms = Forms(app.openapi)
    app.add_middleware(
        BodyLimits,
        most_bytes=settings.body_limit_bytes,
        most_bytes_under={"/v1/imports": settings.import_limit_bytes},
    )
    app.add_middleware(Trace)
    return app


@asynccontextmanager
async def _running(app: FastAPI) -> AsyncIterator[None]:
    """Open what requests are answered from, keep it fresh, and close it at the end.

    Raises:
        SchemaError: the database is at another schema than this version needs.
        DatabaseUnavailable: the database does not answer.
        BookFaults: the rule book or a circuit template has faults; all of them are named.
    """
    settings: Settings = app.state.settings
    database = Database.of(settings)
    try:
        database.require_schema()
        app.state.database = database
        app.state.book = load_rules(settings.book_directory)
        app.state.templates = load_templates(settings.circuit_directory)
        app.state.snapshot = Snapshot(database)
        async with _polled(app.state.snapshot, settings.snapshot_poll_seconds):
            yield
    finally:
        database.close()


@asynccontextmanager
async def _polled(snapshot: Snapshot, seconds: float) -> AsyncIterator[None]:
    polling = asyncio.create_task(snapshot.poll(seconds))
    try:
        yield
    finally:
        polling.cancel()
        with suppress(asyncio.CancelledError):
            await polling
