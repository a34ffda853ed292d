"""The catalogue's half of the service on an open database, and components to put into it."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

from service.catalogue import endpoints as components
from service.database import Database
from service.forms import Forms
from service.handlers import answer_with_problems
from service.imports import endpoints as imports
from service.limits import BodyLimits
from service.settings import Settings
from service.snapshot import Snapshot
from service.trace import Trace
from service.vehicles import endpoints as vehicles


def catalogue_app(database: Database, settings: Settings) -> FastAPI:
    """The catalogue's half of the service on an open database."""
    app = FastAPI()
    for noun in (components, vehicles, imports):
        app.include_router(noun.router)
    answer_with_problems(app)
    app.add_middleware(BodyLimits, most_bytes=1 << 20, most_bytes_under={"/v1/imports": 1 << 25})
    app.add_middleware(Trace)
    app.state.settings = settings
    app.state.database = database
    app.state.snapshot = Snapshot(database)
    app.state.forms = Forms(app.openapi())
    return app


def component(sku: str, **changes: Any) -> dict[str, Any]:
    """A small component as a caller would send it."""
    return {"sku": sku, "name": f"Part {sku}", "kind": "cap", "wetted": [], **changes}
