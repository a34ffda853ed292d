"""How Alembic runs the migrations: one transaction for all of them, one process at a time.

`lineworthy migrate` hands over the engine. When Alembic's own command runs this file, to write a
new revision, the database is the one that the settings name.
"""

from alembic import context
from sqlalchemy import Connection, Engine

from service.assemblies import tables as _assemblies  # noqa: F401
from service.catalogue import tables as _components  # noqa: F401
from service.database import METADATA, make_engine
from service.idempotency import answered_requests as _answered_requests  # noqa: F401
from service.settings import read_settings
from service.vehicles import tables as _vehicles  # noqa: F401

# Any number that no other program uses as an advisory lock of the same database.
MIGRATION_LOCK = 7_203_118_664


def _engine() -> Engine:
    given: Engine | None = context.config.attributes.get("engine")
    return given or make_engine(read_settings().database_url, for_migration=True)


def _require_whole_references(connection: Connection) -> None:
    """Stop a migration that leaves a row of SQLite referring to nothing."""
    dangling = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if dangling:
        listed = ", ".join(f"{row[0]} row {row[1]} to {row[2]}" for row in dangling[:10])
        raise RuntimeError(f"The migration leaves {len(dangling)} dangling references: {listed}.")


def run() -> None:
    engine = _engine().execution_options(lineworthy_writes=True)
    sqlite = engine.dialect.name == "sqlite"
    with engine.connect() as connection, connection.begin():
        if not sqlite:
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({MIGRATION_LOCK})")
        context.configure(
            connection=connection,
            target_metadata=METADATA,
            render_as_batch=True,
            compare_type=True,
            compare_server_default=True,
        )
        context.run_migrations()
        if sqlite:
            _require_whole_references(connection)


run()
