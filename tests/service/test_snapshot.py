"""The catalogue in memory: it follows every write, keeps what did not change, and never lies."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterator

import pytest
from sqlalchemy import text

from rules.assembly import Vehicle
from rules.parts import Component, read_component
from service.catalogue import store
from service.database import Database, DatabaseUnavailable, Write, make_engine, now
from service.snapshot import CorruptRowError, Snapshot
from service.vehicles import store as vehicle_store
from tests.service.shop import component


def part(sku: str, **changes: object) -> Component:
    return read_component(component(sku, **changes))


def put(database: Database, change: Callable[[Write], None]) -> None:
    with database.write() as write:
        change(write)


@pytest.fixture
def elsewhere(database_url: str) -> Iterator[Database]:
    """The same database as another process would have it."""
    other = Database(make_engine(database_url))
    yield other
    other.close()


def test_a_local_write_is_seen_as_soon_as_it_has_returned(database: Database) -> None:
    snapshot = Snapshot(database)
    put(database, lambda write: store.insert_all(write, [part("A"), part("B")], now()))
    assert list(snapshot.current().parts) == ["A", "B"]
    put(database, lambda write: store.remove(write, "A"))
    assert list(snapshot.current().parts) == ["B"]
    assert snapshot.current().revision == 2


def test_a_vehicle_is_seen_too(database: Database) -> None:
    snapshot = Snapshot(database)
    car = Vehicle.model_validate({"id": "car", "name": "Car", "items": []})
    put(database, lambda write: vehicle_store.put(write, car, now(), exists=False))
    assert snapshot.current().vehicles["car"] == car
    put(database, lambda write: vehicle_store.remove(write, "car"))
    assert not snapshot.current().vehicles


def test_a_catalogue_once_handed_out_never_changes(database: Database) -> None:
    snapshot = Snapshot(database)
    held = snapshot.current()
    put(database, lambda write: store.insert_all(write, [part("A")], now()))
    assert held.revision == 0
    assert not held.parts
    assert snapshot.current() is not held


def test_components_that_did_not_change_are_not_read_again(
    database: Database, elsewhere: Database
) -> None:
    put(database, lambda write: store.insert_all(write, [part("A"), part("B")], now()))
    snapshot = Snapshot(database)
    before = snapshot.current()
    put(elsewhere, lambda write: store.replace_all(write, [part("B", name="new")], now()))
    snapshot.refresh()
    after = snapshot.current()
    assert after.parts["A"] is before.parts["A"]
    assert after.parts["B"].name == "new"


def test_a_write_of_another_process_is_found_by_polling(
    database: Database, elsewhere: Database
) -> None:
    snapshot = Snapshot(database)

    async def wait_for_it() -> float:
        polling = asyncio.create_task(snapshot.poll(0.02))
        await asyncio.to_thread(
            put, elsewhere, lambda write: store.insert_all(write, [part("A")], now())
        )
        written = time.monotonic()
        while "A" not in snapshot.current().parts and time.monotonic() < written + 10:
            await asyncio.sleep(0.01)
        polling.cancel()
        return time.monotonic() - written

    assert asyncio.run(wait_for_it()) < 10
    assert snapshot.current().revision == 1


def test_polling_leaves_the_event_loop_free(database: Database) -> None:
    snapshot = Snapshot(database)
    put(database, lambda write: store.insert_all(write, [part("A")], now()))

    async def longest_pause() -> float:
        polling = asyncio.create_task(snapshot.poll(0.01))
        slow = snapshot.refresh

        def slowly() -> None:
            time.sleep(0.3)
            slow()

        snapshot.refresh = slowly  # type: ignore[method-assign]
        longest = 0.0
        started = time.monotonic()
        while time.monotonic() < started + 0.8:
            before = time.monotonic()
            await asyncio.sleep(0.01)
            longest = max(longest, time.monotonic() - before)
        polling.cancel()
        return longest

    assert asyncio.run(longest_pause()) < 0.25


def spoil(database: Database, table: str, key: str, value: str, document: str) -> None:
    with database.write() as write:
        version = write.change()
        write.connection.execute(
            text(f"UPDATE {table} SET document = :document, version = :version WHERE {key} = :id"),
            {"document": document, "version": version, "id": value},
        )


@pytest.mark.parametrize(
    "document", ['{"sku":"BROKEN","kind":"cap"}', '{"sku":', '{"sku":"BROKEN","kind":"gone"}']
)
def test_a_component_that_cannot_be_read_stops_the_start_by_name(
    database: Database, document: str
) -> None:
    put(database, lambda write: store.insert_all(write, [part("BROKEN"), part("FINE")], now()))
    spoil(database, "components", "sku", "BROKEN", document)
    with pytest.raises(CorruptRowError, match="component `BROKEN`"):
        Snapshot(database)


def test_a_vehicle_that_cannot_be_read_stops_the_start_by_name(database: Database) -> None:
    car = Vehicle.model_validate({"id": "car", "name": "Car", "items": []})
    put(database, lambda write: vehicle_store.put(write, car, now(), exists=False))
    spoil(database, "vehicles", "id", "car", "[]")
    with pytest.raises(CorruptRowError, match="vehicle `car`"):
        Snapshot(database)


def test_what_cannot_be_read_later_leaves_the_older_catalogue_and_says_so(
    database: Database, elsewhere: Database
) -> None:
    put(database, lambda write: store.insert_all(write, [part("A")], now()))
    snapshot = Snapshot(database)
    spoil(elsewhere, "components", "sku", "A", "{}")
    with pytest.raises(CorruptRowError):
        snapshot.refresh()
    assert snapshot.current().revision == 1

    # A write of this process has to follow the same rows; its caller is still told of success.
    put(database, lambda write: store.insert_all(write, [part("B")], now()))
    assert snapshot.fault is not None
    assert "component `A`" in snapshot.fault
    assert snapshot.current().revision == 1

    put(database, lambda write: store.replace_all(write, [part("A", name="mended")], now()))
    assert snapshot.fault is None
    assert snapshot.current().revision == 4
    assert snapshot.current().parts["A"].name == "mended"


def test_a_restored_older_state_is_read_from_the_start(
    database: Database, elsewhere: Database
) -> None:
    put(database, lambda write: store.insert_all(write, [part("A")], now()))
    put(database, lambda write: store.replace_all(write, [part("A", name="later")], now()))
    snapshot = Snapshot(database)
    with elsewhere.engine.begin() as connection:
        older = store.document_of(part("A", name="earlier"))
        connection.execute(
            text("UPDATE components SET document = :document, version = 1"), {"document": older}
        )
        connection.execute(text("UPDATE catalogue_revision SET revision = 1"))
    snapshot.refresh()
    assert snapshot.current().revision == 1
    assert snapshot.current().parts["A"].name == "earlier"


def test_without_a_database_the_snapshot_stays(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(database, lambda write: store.insert_all(write, [part("A")], now()))
    snapshot = Snapshot(database)

    def unavailable() -> None:
        raise DatabaseUnavailable("The database does not answer.")

    monkeypatch.setattr(database, "read", unavailable)
    with pytest.raises(DatabaseUnavailable):
        snapshot.refresh()
    assert list(snapshot.current().parts) == ["A"]
