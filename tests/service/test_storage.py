"""Transactions, the catalogue revision and concurrent writers, on both databases."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy import select, text, update
from sqlalchemy.engine import URL

from rules.catalogue import catalogue
from rules.parts import Component, read_component
from service.catalogue import service, store
from service.catalogue.tables import components
from service.conditional import etag
from service.database import (
    Database,
    DatabaseUnavailable,
    LostUpdateError,
    SchemaError,
    catalogue_revision,
    make_engine,
    migrate,
    now,
    read_revision,
)
from service.problems import Problem
from tests.service.shop import component

NOTHING_KNOWN = catalogue(0, ())


def part(sku: str, **changes: object) -> Component:
    return read_component(component(sku, **changes))


def revision_of(database: Database) -> int:
    with database.read() as connection:
        return read_revision(connection)


def test_a_write_raises_the_revision_once_however_much_it_changes(database: Database) -> None:
    with database.write() as write:
        store.insert_all(write, [part("A")], now())
        store.insert_all(write, [part("B")], now())
        store.remove(write, "A")
    with database.read() as connection:
        rows = connection.execute(select(components.c.sku, components.c.version)).all()
    assert [tuple(row) for row in rows] == [("B", 1)]
    assert revision_of(database) == 1


def test_a_write_that_changes_nothing_leaves_the_revision(database: Database) -> None:
    with database.write() as write:
        assert store.find(write.connection, "A") is None
    assert revision_of(database) == 0


def test_a_failed_write_leaves_rows_and_revision(database: Database) -> None:
    def fail_after_insert() -> None:
        with database.write() as write:
            store.insert_all(write, [part("A")], now())
            raise RuntimeError("the block fails")

    with pytest.raises(RuntimeError, match="the block fails"):
        fail_after_insert()
    with database.read() as connection:
        assert store.find(connection, "A") is None
    assert revision_of(database) == 0


def test_a_revision_that_moved_unseen_rolls_the_write_back(database: Database) -> None:
    def write_over_a_moved_revision() -> None:
        with database.write() as write:
            store.insert_all(write, [part("A")], now())
            write.connection.execute(update(catalogue_revision).values(revision=7))

    with pytest.raises(LostUpdateError):
        write_over_a_moved_revision()
    assert revision_of(database) == 0
    with database.read() as connection:
        assert store.skus(connection) == []


def test_listeners_hear_of_changes_after_they_are_committed(database: Database) -> None:
    heard: list[tuple[int, int]] = []
    database.on_change(lambda revision: heard.append((revision, revision_of(database))))
    with database.write() as write:
        store.insert_all(write, [part("A")], now())
        assert heard == []
    with database.write():
        pass
    assert heard == [(1, 1)]


def test_a_reader_sees_one_state_throughout(database: Database) -> None:
    with database.read() as connection:
        assert store.skus(connection) == []
        with database.write() as write:
            store.insert_all(write, [part("A")], now())
        assert store.skus(connection) == []
        assert read_revision(connection) == 0
    with database.read() as connection:
        assert store.skus(connection) == ["A"]


def test_moments_are_read_back_in_utc_whatever_their_zone(database: Database) -> None:
    moment = datetime(2026, 3, 4, 5, 6, 7, 890, tzinfo=timezone(timedelta(hours=5)))
    with database.write() as write:
        store.insert_all(write, [part("A")], moment)
    with database.read() as connection:
        stored = store.find(connection, "A")
    assert stored is not None
    assert stored.updated_at == moment
    assert stored.updated_at.tzinfo is UTC


def test_a_replaced_row_keeps_when_it_was_created(database: Database) -> None:
    created, replaced = datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 2, 2, tzinfo=UTC)
    with database.write() as write:
        store.insert_all(write, [part("A")], created)
    with database.write() as write:
        store.replace_all(write, [part("A", name="new")], replaced)
    with database.read() as connection:
        row = connection.execute(
            select(components.c.created_at, components.c.updated_at, components.c.name)
        ).one()
    assert tuple(row) == (created, replaced, "new")


def test_side_tables_follow_their_component(database: Database) -> None:
    ports = [{"id": "a", "role": "either", "connection": {"system": "orb", "size": "-6"}}]
    with database.write() as write:
        store.insert_all(write, [part("A"), part("B", ports=ports, superseded_by="A")], now())
    with database.write() as write:
        store.remove(write, "B")
        store.remove(write, "A")
    with database.read() as connection:
        for table in ("component_ports", "component_references", "component_materials"):
            assert connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() == 0


def test_a_document_read_back_is_the_component_that_was_stored() -> None:
    given = part(
        "A",
        kind="pump",
        ports=[{"id": "in", "role": "inlet", "bore": "3 1/8 in", "seal": {"form": "o-ring"}}],
        wetted=[{"part": "vane", "material": None, "moving": True}],
        approved_fuels=["E85"],
        price={"amount": "10.00", "currency": "EUR"},
        needs=[{"kind": "clamp", "quantity": 2}],
        temperature_least="-40 degF",
        spec={"curves": [{"points": [{"pressure": "43.5 psi", "flow": "255 L/h"}]}]},
    )
    document = store.document_of(given)
    assert read_component(json.loads(document)) == given
    assert store.document_of(read_component(json.loads(document))) == document


# Writers at the same time ---------------------------------------------------------------------


def count_up(database: Database, times: int) -> int:
    """Raise the number in a component's name, starting again whenever another was first."""
    collisions = 0
    for _ in range(times):
        while True:
            with database.read() as connection:
                stored = store.find(connection, "COUNTER")
            assert stored is not None
            number = int(read_component(json.loads(stored.document)).name)
            try:
                with database.write() as write:
                    service.replace(
                        write,
                        part("COUNTER", name=str(number + 1)),
                        etag(stored.version),
                        NOTHING_KNOWN,
                        now(),
                    )
                break
            except Problem as refusal:
                if refusal.status_code != 412:
                    raise
                collisions += 1
    return collisions


def test_eight_writers_lose_no_update(database: Database) -> None:
    with database.write() as write:
        store.insert_all(write, [part("COUNTER", name="0")], now())
    with ThreadPoolExecutor(8) as pool:
        collisions = list(pool.map(lambda _: count_up(database, 50), range(8)))
    with database.read() as connection:
        stored = store.find(connection, "COUNTER")
    assert stored is not None
    assert read_component(json.loads(stored.document)).name == "400"
    assert sum(collisions) > 0, "the writers never met, so nothing was shown"
    assert revision_of(database) == 401
    assert database.engine.pool.checkedout() == 0  # type: ignore[attr-defined]


def test_writers_take_turns_from_their_first_statement(database: Database) -> None:
    order: list[str] = []
    first_is_in = threading.Event()

    def second() -> None:
        first_is_in.wait(10)
        with database.write() as write:
            order.append(f"second found {write.found}")

    thread = threading.Thread(target=second)
    thread.start()
    with database.write() as write:
        first_is_in.set()
        thread.join(0.3)
        order.append("first ends")
        write.change()
    thread.join(10)
    assert order == ["first ends", "second found 1"]


# When the database is not there ---------------------------------------------------------------


def test_a_database_that_is_not_migrated_is_refused_by_name_of_the_command(empty_url: str) -> None:
    database = Database(make_engine(empty_url))
    try:
        with pytest.raises(SchemaError, match="lineworthy migrate"):
            database.require_schema()
        migrate(empty_url)
        database.require_schema()
    finally:
        database.close()


def test_a_file_that_cannot_be_opened_is_unavailable(tmp_path: Path) -> None:
    database = Database(make_engine(f"sqlite:///{tmp_path}/missing/shop.sqlite3"))
    with pytest.raises(DatabaseUnavailable), database.read():
        pass


def test_a_server_that_does_not_listen_is_unavailable() -> None:
    url = "postgresql+psycopg://nobody@127.0.0.1:1/none"
    database = Database(make_engine(url, connect_seconds=1))
    with pytest.raises(DatabaseUnavailable), database.read():
        pass


def test_waiting_for_a_lock_ends(database_url: str) -> None:
    """A writer that waits longer than it may says so; the one who holds the lock is unharmed."""
    patient = Database(make_engine(database_url))
    hasty = Database(make_engine(database_url, statement_seconds=1))

    def write_in_vain() -> None:
        with hasty.write():
            pass

    try:
        with patient.write() as write:
            store.insert_all(write, [part("A")], now())
            with pytest.raises(DatabaseUnavailable):
                write_in_vain()
        assert revision_of(patient) == 1
    finally:
        patient.close()
        hasty.close()


def test_sqlite_keeps_what_it_committed_through_a_loss_of_power(tmp_path: Path) -> None:
    engine = make_engine(f"sqlite:///{tmp_path}/shop.sqlite3")

    def read(name: str) -> object:
        with engine.connect() as connection:
            return connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()

    assert read("journal_mode") == "wal"
    assert read("synchronous") == 2
    assert read("foreign_keys") == 1
    assert read("busy_timeout") == 30_000
    engine.dispose()


def test_connections_that_the_server_closed_are_replaced_unseen(
    make_postgresql: Callable[[str | None], URL], migrated_postgresql: str
) -> None:
    url = make_postgresql(migrated_postgresql).render_as_string(hide_password=False)
    database, administrator = Database(make_engine(url)), make_engine(url)
    try:
        with database.read(), database.read():
            pass
        with administrator.begin() as connection:
            connection.execute(
                text(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                    "WHERE datname = current_database() AND pid <> pg_backend_pid()"
                )
            )
        assert revision_of(database) == 0
        with database.write() as write:
            store.insert_all(write, [part("A")], now())
        assert revision_of(database) == 1
    finally:
        database.close()
        administrator.dispose()


def test_a_connection_lost_in_a_write_is_unavailable_and_nothing_is_stored(
    make_postgresql: Callable[[str | None], URL], migrated_postgresql: str
) -> None:
    url = make_postgresql(migrated_postgresql).render_as_string(hide_password=False)
    database, administrator = Database(make_engine(url)), make_engine(url)

    def lose_it_half_way() -> None:
        with database.write() as write:
            store.insert_all(write, [part("A")], now())
            own = write.connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
            with administrator.begin() as connection:
                connection.execute(text("SELECT pg_terminate_backend(:pid)"), {"pid": own})
            store.insert_all(write, [part("B")], now())

    try:
        with pytest.raises(DatabaseUnavailable):
            lose_it_half_way()
        assert database.engine.pool.checkedout() == 0  # type: ignore[attr-defined]
        assert revision_of(database) == 0
    finally:
        database.close()
        administrator.dispose()
