"""What endpoints ask the running application for.

These are coroutines though they wait for nothing: a plain function would be run in a thread.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

from rules.catalogue import Catalogue
from service.database import Database
from service.settings import Settings
from service.snapshot import Snapshot


async def _database(request: Request) -> Database:
    database: Database = request.app.state.database
    return database


async def _catalogue(request: Request) -> Catalogue:
    snapshot: Snapshot = request.app.state.snapshot
    return snapshot.current()


async def _settings(request: Request) -> Settings:
    settings: Settings = request.app.state.settings
    return settings


async def _body(request: Request) -> bytes:
    return await request.body()


DatabaseOfApp = Annotated[Database, Depends(_database)]
CatalogueOfApp = Annotated[Catalogue, Depends(_catalogue)]
SettingsOfApp = Annotated[Settings, Depends(_settings)]
RawBody = Annotated[bytes, Depends(_body)]
