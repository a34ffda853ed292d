"""One history of migrations for both databases, run up and down on databases that hold rows."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import dedent

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, Table, func, inspect, select, text

import service.database
from rules.assembly import Vehicle
from rules.parts import read_component
from rules.report import BookStamp, Counts, Report
from rules.signoff import SignOff
from service.assemblies import store as assembly_store
from service.assemblies.schemas import Draft
from service.catalogue import store
from service.catalogue.schemas import EXAMPLE
from service.database import METADATA, Database, make_engine, migrate, migration_config, now
from service.idempotency import Answer, KeyedRequest
from service.vehicles import store as vehicle_store
from service.vehicles.tables import vehicle_parts
from tests.service.shop import component

HEAD = "0003"
CAME_LATER = {
    "answered_requests",
    "assemblies",
    "assembly_versions",
    "assembly_parts",
    "sign_offs",
}
"""Tables that came with a later revision than the first and go with it."""

KEPT_ON_EVERY_WAY = [table for table in METADATA.sorted_tables if table.name not in CAME_LATER]


def config_for(engine: Engine, *more_versions: Path) -> Config:
    config = migration_config()
    config.attributes["engine"] = engine
    if more_versions:
        own = Path(ScriptDirectory.from_config(config).versions)
        config.set_main_option("version_locations", ":".join(map(str, (own, *more_versions))))
    return config


@pytest.fixture
def engine(empty_url: str) -> Iterator[Engine]:
    made = make_engine(empty_url, for_migration=True)
    yield made
    made.dispose()


def fill(url: str) -> None:
    """Store something in every table."""
    database = Database(make_engine(url))
    successor = component(
        "NEW", superseded_by=None, approved_fuels=["E85"], needs=[{"kind": "seal", "sku": "OLD"}]
    )
    items = [{"ref": "adapter", "sku": EXAMPLE["sku"]}]
    with database.write() as write:
        parts = [EXAMPLE, component("OLD", superseded_by="NEW"), successor]
        store.insert_all(write, [read_component(each) for each in parts], now())
        car = Vehicle.model_validate({"id": "car", "name": "Car", "items": items})
        vehicle_store.put(write, car, now(), exists=False)
        keyed = KeyedRequest.of("create_component", "key", b"payload")
        assert keyed is not None
        keyed.remember(write, Answer(201, {}, "{}"), hours=1)
        saved = Draft.model_validate(
            {
                "name": "Saved",
                "request": {"application": {"fuel": "E10"}, "vehicle": "car", "items": items},
            }
        )
        assembly_store.create(write, "assembly", saved, EMPTY_REPORT, now())
        assembly_store.add_sign_off(write, "assembly", SIGN_OFF)
    database.close()


EMPTY_REPORT = Report(
    verdict="fits",
    counts=Counts(),
    findings=(),
    not_checked=(),
    cautions=(),
    book=BookStamp(version="1"),
    catalogue_revision=1,
    fingerprint="0" * 64,
)
SIGN_OFF = SignOff(
    id="sign-off",
    finding="0" * 32,
    rule="rule",
    refs=(),
    severity="warning",
    message="Message.",
    name="Name",
    reason="Reason",
    signed_at=now(),
)


def counts(engine: Engine) -> dict[str, int]:
    with engine.connect() as connection:
        return {
            table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in KEPT_ON_EVERY_WAY
        }


def rows(
    engine: Engine, tables: Sequence[Table] = METADATA.sorted_tables
) -> dict[str, list[tuple[object, ...]]]:
    with engine.connect() as connection:
        return {
            table.name: sorted(map(tuple, connection.execute(select(table))), key=repr)
            for table in tables
        }


def test_the_history_has_one_head() -> None:
    assert ScriptDirectory.from_config(migration_config()).get_heads() == [HEAD]


def test_migrated_tables_are_those_of_the_model(empty_url: str, engine: Engine) -> None:
    migrate(empty_url)
    with engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "compare_server_default": True}
        )
        assert compare_metadata(context, METADATA) == []


def test_constraints_have_the_names_of_the_model(empty_url: str, engine: Engine) -> None:
    """Alembic does not compare names of keys and checks; a batch change needs them to be known."""
    migrate(empty_url)
    found = inspect(engine)
    for table in METADATA.sorted_tables:
        wanted = {str(each.name) for each in table.constraints if each.name is not None}
        named = {
            found.get_pk_constraint(table.name)["name"],
            *(each["name"] for each in found.get_foreign_keys(table.name)),
            *(each["name"] for each in found.get_unique_constraints(table.name)),
            *(each["name"] for each in found.get_check_constraints(table.name)),
        }
        assert {str(name) for name in named} == wanted


def test_every_revision_is_reached_going_up_and_left_going_down(engine: Engine) -> None:
    config = config_for(engine)
    revisions = [each.revision for each in ScriptDirectory.from_config(config).walk_revisions()]
    for revision in reversed(revisions):
        command.upgrade(config, revision)
    for revision in revisions[1:]:
        command.downgrade(config, revision)
    command.downgrade(config, "base")
    assert set(inspect(engine).get_table_names()) <= {"alembic_version"}


def test_a_filled_database_goes_down_and_up_without_losing_a_row(
    empty_url: str, engine: Engine
) -> None:
    migrate(empty_url)
    fill(empty_url)
    assert all(rows(engine).values()), "every table must hold a row"
    before = rows(engine, KEPT_ON_EVERY_WAY)
    config = config_for(engine)
    command.downgrade(config, "0001")
    command.upgrade(config, "head")
    assert rows(engine, KEPT_ON_EVERY_WAY) == before


REBUILD = '''
    """Change a column of the table that most others refer to; SQLite must rebuild it for that."""

    import sqlalchemy as sa
    from alembic import op

    revision = "rebuild"
    down_revision = "HEAD"


    def set_length(length):
        with op.batch_alter_table("components") as table:
            table.alter_column("name", type_=sa.String(length), existing_nullable=False)


    def upgrade() -> None:
        set_length(300)


    def downgrade() -> None:
        set_length(200)
'''


def length_of_name(engine: Engine) -> int:
    columns = inspect(engine).get_columns("components")
    return next(each["type"].length for each in columns if each["name"] == "name")


def test_rebuilding_a_table_keeps_the_rows_that_refer_to_it(
    empty_url: str, engine: Engine, tmp_path: Path
) -> None:
    """With foreign keys on, SQLite would delete every port, material and reference here."""
    (tmp_path / "rebuild.py").write_text(dedent(REBUILD).replace("HEAD", HEAD))
    config = config_for(engine, tmp_path)
    command.upgrade(config, HEAD)
    fill(empty_url)
    before = rows(engine)
    command.upgrade(config, "head")
    assert length_of_name(engine) == 300
    assert rows(engine) == before
    command.downgrade(config, HEAD)
    assert length_of_name(engine) == 200
    assert rows(engine) == before


LOSE = '''
    """Delete what others refer to."""

    from alembic import op

    revision = "lose"
    down_revision = "HEAD"


    def upgrade() -> None:
        op.execute("DELETE FROM components")
'''


def test_a_migration_that_leaves_references_to_nothing_is_undone(
    empty_url: str, engine: Engine, tmp_path: Path
) -> None:
    (tmp_path / "lose.py").write_text(dedent(LOSE).replace("HEAD", HEAD))
    config = config_for(engine, tmp_path)
    command.upgrade(config, HEAD)
    fill(empty_url)
    before = rows(engine)
    with pytest.raises(Exception, match=r"dangling references|violates foreign key"):
        command.upgrade(config, "head")
    assert rows(engine) == before
    with engine.connect() as connection:
        assert MigrationContext.configure(connection).get_current_revision() == HEAD


def test_migrating_again_changes_nothing(empty_url: str, engine: Engine) -> None:
    migrate(empty_url)
    fill(empty_url)
    before = rows(engine)
    migrate(empty_url)
    assert rows(engine) == before


def test_foreign_keys_are_kept_by_the_service(empty_url: str) -> None:
    migrate(empty_url)
    fill(empty_url)
    database = Database(make_engine(empty_url))

    def lose_a_part() -> None:
        with database.write() as write:
            write.connection.execute(text("DELETE FROM components WHERE sku = 'OLD'"))

    with pytest.raises(Exception, match=r"(?i)foreign key"):
        lose_a_part()
    with database.read() as connection:
        assert store.find(connection, "OLD") is not None
        assert connection.execute(select(func.count()).select_from(vehicle_parts)).scalar_one() == 1
    database.close()


ROOT = Path(service.database.__file__).parents[1]
START = "import sys; from service.database import migrate; migrate(sys.argv[1])"


def test_processes_that_start_together_migrate_once(empty_url: str, engine: Engine) -> None:
    starting = [
        subprocess.Popen(
            [sys.executable, "-c", START, empty_url], cwd=ROOT, stderr=subprocess.PIPE, text=True
        )
        for _ in range(3)
    ]
    ended = [(process.communicate(timeout=60)[1], process.returncode) for process in starting]
    assert [code for _, code in ended] == [0, 0, 0], [said for said, code in ended if code]
    assert counts(engine)["catalogue_revision"] == 1


def test_the_migrations_are_found_wherever_the_service_is_started(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    migrate("sqlite:///here.sqlite3")
    assert (tmp_path / "here.sqlite3").exists()
