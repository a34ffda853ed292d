"""Every database call of every write fails once: all is stored or nothing, and nothing leaks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlalchemy import event, select
from sqlalchemy.engine import Engine

from service.database import METADATA, Database
from tests.service.shop import component

PORT = {"id": "a", "role": "either", "connection": {"system": "orb", "size": "-6"}}
CAR = {"id": "car", "name": "Car", "items": [{"ref": "cap", "sku": "KEPT"}]}
ANY = {"If-Match": "*"}

Write = Callable[[TestClient], Response]

WRITES: dict[str, Write] = {
    "create": lambda client: client.post(
        "/v1/components",
        json=component("NEW", ports=[PORT], needs=[{"kind": "seal", "sku": "KEPT"}]),
        headers={"Idempotency-Key": "one"},
    ),
    "replace": lambda client: client.put(
        "/v1/components/OLD", json=component("OLD", ports=[PORT], mass="1 g"), headers=ANY
    ),
    "delete": lambda client: client.delete("/v1/components/OLD", headers=ANY),
    "import": lambda client: client.post(
        "/v1/imports?mode=upsert",
        json=[
            component("NEW", superseded_by="NEWER"),
            component("NEWER"),
            component("OLD", supplier="Other"),
        ],
        headers={"Idempotency-Key": "one"},
    ),
    "create vehicle": lambda client: client.put(
        "/v1/vehicles/second", json={**CAR, "id": "second"}, headers={"If-None-Match": "*"}
    ),
    "replace vehicle": lambda client: client.put(
        "/v1/vehicles/car", json={**CAR, "name": "Other"}, headers=ANY
    ),
    "delete vehicle": lambda client: client.delete("/v1/vehicles/car", headers=ANY),
}


def prepare(client: TestClient) -> None:
    rows = [component("KEPT"), component("OLD", ports=[PORT], excluded_fuels=["M100"])]
    assert client.post("/v1/imports", json=rows).status_code == 200
    car = client.put("/v1/vehicles/car", json=CAR, headers={"If-None-Match": "*"})
    assert car.status_code == 201


def stored(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    """Everything the database holds but for moments, which no two runs share."""
    with database.read() as connection:
        return {
            table.name: sorted(
                map(
                    tuple,
                    connection.execute(
                        select(*(c for c in table.columns if not c.name.endswith("_at")))
                    ),
                ),
                key=repr,
            )
            for table in METADATA.sorted_tables
        }


class Failure:
    """Counts the calls that reach the driver and lets one of them fail."""

    def __init__(self, engine: Engine, nth: int) -> None:
        self._engine = engine
        self._nth = nth
        self.calls = 0

    @property
    def has_happened(self) -> bool:
        return self.calls >= self._nth

    def on_call(self, *_: object) -> None:
        self.calls += 1
        if self.calls == self._nth:
            raise self._engine.dialect.loaded_dbapi.OperationalError("made to fail")


@contextmanager
def failing(engine: Engine, nth: int, monkeypatch: pytest.MonkeyPatch) -> Iterator[Failure]:
    """Let the `nth` statement or commit fail, as the driver would report it."""
    failure = Failure(engine, nth)
    calls = ("do_execute", "do_executemany", "do_execute_no_params")
    commit = engine.dialect.do_commit

    def commit_or_fail(connection: Any) -> None:
        failure.on_call()
        commit(connection)

    for call in calls:
        event.listen(engine, call, failure.on_call)
    with monkeypatch.context() as patched:
        patched.setattr(engine.dialect, "do_commit", commit_or_fail)
        yield failure
    for call in calls:
        event.remove(engine, call, failure.on_call)


@pytest.mark.parametrize("name", WRITES)
def test_a_write_whose_nth_call_fails_stores_all_or_nothing(
    client: TestClient, database: Database, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    prepare(client)
    before = stored(database)
    refusals = 0
    for nth in range(1, 200):
        with failing(database.engine, nth, monkeypatch) as failure:
            answer = WRITES[name](client)
        assert database.engine.pool.checkedout() == 0  # type: ignore[attr-defined]
        if answer.is_success:
            break
        assert failure.has_happened, answer.text
        assert answer.status_code == 503
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert answer.headers["Retry-After"]
        assert stored(database) == before, f"call {nth} left something behind"
        refusals += 1
    # At least: the revision read, something looked up, something written, the commit.
    assert refusals >= 4
    after = stored(database)
    assert after != before

    # What follows the commit may fail too; the write has happened and its caller is told so.
    snapshot = client.app.state.snapshot  # type: ignore[attr-defined]
    if failure.has_happened:
        assert snapshot.fault is not None
        snapshot.refresh()
    assert snapshot.current().revision == after["catalogue_revision"][0][1]


def test_a_commit_that_fails_is_no_success_and_its_key_stays_free(
    client: TestClient, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_connection: Any) -> None:
        raise database.engine.dialect.loaded_dbapi.OperationalError("disk full")

    with monkeypatch.context() as patched:
        patched.setattr(database.engine.dialect, "do_commit", fail)
        answer = client.post(
            "/v1/components", json=component("A"), headers={"Idempotency-Key": "one"}
        )
    assert answer.status_code == 503
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert client.get("/v1/components/A").status_code == 404

    again = client.post("/v1/components", json=component("A"), headers={"Idempotency-Key": "one"})
    assert again.status_code == 201
    assert client.get("/v1/components/A").status_code == 200


def test_a_failure_that_is_no_database_error_is_a_problem_too(
    client: TestClient, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_connection: Any) -> None:
        raise RuntimeError("a fault of this program")

    with monkeypatch.context() as patched:
        patched.setattr(database.engine.dialect, "do_commit", fail)
        answer = client.post("/v1/components", json=component("A"))
    assert answer.status_code == 500
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert client.get("/v1/components/A").status_code == 404
    assert database.engine.pool.checkedout() == 0  # type: ignore[attr-defined]
