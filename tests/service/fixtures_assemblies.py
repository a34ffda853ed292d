"""The demo shop on a database of each kind, and assemblies saved in it."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx import Response

from rules.check import load_rules
from rules.engine import Book
from rules.routing import load_templates
from seed_data import demo_components, demo_vehicles
from service.catalogue import store as component_store
from service.database import Database, now
from service.vehicles import store as vehicle_store
from tests.service.fixtures_demo import assembly

__all__ = ["book", "shop"]

PATH = "/v1/assemblies"


@pytest.fixture(scope="session")
def book() -> Book:
    return load_rules()


@pytest.fixture
def shop(app: FastAPI, database: Database, book: Book) -> TestClient:
    """The service on the demo shop, which a test may change."""
    with database.write() as write:
        component_store.insert_all(write, demo_components(), now())
        for car in demo_vehicles():
            vehicle_store.put(write, car, now(), exists=False)
    app.state.book = book
    app.state.templates = load_templates()
    return TestClient(app, raise_server_exceptions=False)


def request(slug: str) -> dict[str, Any]:
    """The request of a demo assembly, to be changed at will."""
    return copy.deepcopy(assembly(slug).body)


def draft(slug: str, **changes: Any) -> dict[str, Any]:
    """What a caller sends to save a demo assembly."""
    return {"name": slug, "request": request(slug), **changes}


def save(client: TestClient, given: dict[str, Any]) -> Response:
    """The answer to saving an assembly, which must succeed."""
    saved = client.post(PATH, json=given)
    assert saved.status_code == 201, saved.text
    return saved
