"""The whole service on the demo shop: one database for a test run, copied for who writes."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from seed_data import DemoAssembly, demo_assemblies
from service.app import create_app
from service.seeding import seed
from service.settings import Settings

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database file with the demo shop in it; to be copied, not opened."""
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite3"
    seed(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="module")
def demo_database(seeded: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The URL of a copy of the demo shop."""
    path = tmp_path_factory.mktemp("shop") / "shop.sqlite3"
    shutil.copy(seeded, path)
    return f"sqlite:///{path}"


@pytest.fixture(scope="module")
def demo_client(demo_database: str) -> Iterator[TestClient]:
    """The running service on the demo shop, for tests that only read."""
    app = create_app(Settings(database_url=demo_database))
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def fresh_client(seeded: Path, tmp_path: Path) -> Iterator[TestClient]:
    """The running service on a demo shop of its own, for tests that write."""
    path = tmp_path / "shop.sqlite3"
    shutil.copy(seeded, path)
    app = create_app(Settings(database_url=f"sqlite:///{path}"))
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def assembly(slug: str) -> DemoAssembly:
    """A demo assembly by its file name."""
    return next(each for each in demo_assemblies() if each.slug == slug)


def environment(**settings: str) -> dict[str, str]:
    """The environment of a command that is run by itself, with no setting but these."""
    own = {k: v for k, v in os.environ.items() if not k.startswith(("LINEWORTHY_", "LC_", "LANG"))}
    return {**own, "PYTHONPATH": str(ROOT), **settings}


@contextmanager
def serving(database_url: str, *arguments: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The service in a process of its own, and its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "service.cli", "serve", "--port", "0", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        env=environment(LINEWORTHY_DATABASE_URL=database_url),
    )
    try:
        assert process.stdout
        yield process, process.stdout.readline().strip().rpartition(" ")[2]
    finally:
        process.kill()
        process.wait()
