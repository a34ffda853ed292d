"""The database: connections, transactions and the catalogue revision.

One engine serves SQLite (a file, in write-ahead mode) and PostgreSQL (psycopg). Readers see one
state from their first statement to their last. Writers of the catalogue take turns: on SQLite by
`BEGIN IMMEDIATE`, since a transaction that reads before it writes cannot wait for a lock there, on
PostgreSQL by the row lock on the catalogue revision. So whatever a writer checked still holds when
it commits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Connection,
    DateTime,
    Dialect,
    Engine,
    Integer,
    MetaData,
    NullPool,
    QueuePool,
    String,
    Table,
    TypeDecorator,
    create_engine,
    event,
    select,
    update,
)
from sqlalchemy.engine import make_url
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.pool import ConnectionPoolEntry

from service.settings import Settings

METADATA: Final = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def exact_text(length: int) -> String:
    """Text that compares and sorts by code point on both databases, whatever their locale."""
    return String(length).with_variant(String(length, collation="C"), "postgresql")


class UtcDateTime(TypeDecorator[datetime]):
    """A moment in UTC. SQLite keeps no offset, so it is put back when a row is read."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """The moment in UTC, without offset where the database has no place for one."""
        if value is None:
            return None
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """The moment with its offset."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if dialect.name == "sqlite" else value.astimezone(UTC)


catalogue_revision = Table(
    "catalogue_revision",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("revision", BigInteger, nullable=False),
    CheckConstraint("id = 1", name="single_row"),
)

_WRITES: Final = "lineworthy_writes"


class DatabaseUnavailable(RuntimeError):
    """The database does not answer, or not in time. The cause is chained."""


class SchemaError(RuntimeError):
    """The database holds another schema than this version of the service works on."""


class LostUpdateError(RuntimeError):
    """Two transactions wrote the same catalogue revision; the later one is rolled back."""


class Write:
    """A transaction that may change the catalogue.

    Attributes:
        connection: where its statements run.
        found: the catalogue revision it started from.
    """

    def __init__(self, connection: Connection, found: int) -> None:
        self.connection = connection
        self.found = found
        self.has_changed = False

    @property
    def revision(self) -> int:
        """The catalogue revision that stands once this transaction is committed."""
        return self.found + 1 if self.has_changed else self.found

    def change(self) -> int:
        """Say that the catalogue changes.

        Returns:
            The revision that the change belongs to: the `version` of each row it writes.
        """
        self.has_changed = True
        return self.revision


def _prepare_sqlite(engine: Engine, busy_seconds: int, foreign_keys: bool) -> None:
    @event.listens_for(engine, "connect")
    def _connected(connection: DBAPIConnection, _entry: ConnectionPoolEntry) -> None:
        # None: this module says when a transaction begins, not the driver, which would begin a
        # deferred one at the first INSERT.
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {busy_seconds * 1000}")
        cursor.execute("PRAGMA journal_mode = WAL")
        # FULL: a committed change survives a loss of power, not only a crash of the process.
        cursor.execute("PRAGMA synchronous = FULL")
        cursor.execute(f"PRAGMA foreign_keys = {'ON' if foreign_keys else 'OFF'}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _postgresql_arguments(connect_seconds: int, statement_seconds: int) -> dict[str, Any]:
    milliseconds = statement_seconds * 1000
    return {
        "application_name": "lineworthy",
        "connect_timeout": connect_seconds,
        "options": (
            f"-c statement_timeout={milliseconds} -c lock_timeout={milliseconds} "
            f"-c idle_in_transaction_session_timeout={2 * milliseconds}"
        ),
    }


def make_engine(
    url: str,
    *,
    connections: int = 20,
    connect_seconds: int = 5,
    statement_seconds: int = 30,
    for_migration: bool = False,
) -> Engine:
    """An engine for `sqlite:///path` or `postgresql+psycopg://...`.

    Args:
        url: where the database is.
        connections: most connections kept; a caller beyond them waits.
        connect_seconds: how long opening a connection, or waiting for a free one, may take.
        statement_seconds: how long a statement, or waiting for a lock, may take.
        for_migration: one connection at a time, without foreign keys on SQLite, where dropping a
            table that is being rebuilt would delete the rows that refer to it, and without a limit
            on the time a statement takes.
    """
    sqlite = make_url(url).get_backend_name() == "sqlite"
    arguments: dict[str, Any] = {}
    if not sqlite:
        arguments = _postgresql_arguments(
            connect_seconds, 0 if for_migration else statement_seconds
        )
    engine = (
        create_engine(url, poolclass=NullPool, connect_args=arguments)
        if for_migration
        else create_engine(
            url,
            poolclass=QueuePool,
            pool_size=connections,
            max_overflow=0,
            pool_timeout=connect_seconds,
            pool_pre_ping=not sqlite,
            connect_args=arguments,
        )
    )
    if sqlite:
        _prepare_sqlite(engine, statement_seconds, foreign_keys=not for_migration)
    return engine


@contextmanager
def _availability(engine: Engine) -> Iterator[None]:
    """Tell a database that does not answer from a fault of this program."""
    try:
        yield
    except PoolTimeout as fault:
        raise DatabaseUnavailable("All connections to the database are busy.") from fault
    except (OperationalError, InterfaceError) as fault:
        missing = _missing_directory(engine)
        raise DatabaseUnavailable(missing or "The database does not answer.") from fault
    except DBAPIError as fault:
        if fault.connection_invalidated:
            raise DatabaseUnavailable("The connection to the database was lost.") from fault
        raise


def _missing_directory(engine: Engine) -> str | None:
    """What to say of a SQLite file whose directory is not there: SQLite makes files alone."""
    if engine.dialect.name != "sqlite" or not engine.url.database:
        return None
    directory = Path(engine.url.database).parent
    if directory.is_dir():
        return None
    return f"The directory `{directory}` of the database file does not exist."


class Database:
    """Access to one database from any number of threads."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self._reader = (
            engine
            if engine.dialect.name == "sqlite"
            else engine.execution_options(
                isolation_level="REPEATABLE READ", postgresql_readonly=True
            )
        )
        self._writer = engine.execution_options(**{_WRITES: True})
        self._listeners: list[Callable[[int], None]] = []

    @classmethod
    def of(cls, settings: Settings) -> Database:
        """The database that the settings name."""
        return cls(
            make_engine(
                settings.database_url,
                connections=settings.database_connections,
                connect_seconds=settings.database_connect_seconds,
                statement_seconds=settings.database_statement_seconds,
            )
        )

    def on_change(self, listener: Callable[[int], None]) -> None:
        """Call `listener` with the new revision after each committed change of the catalogue.

        It runs in the writer's thread before the writer's caller is answered.
        """
        self._listeners.append(listener)

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A transaction that sees one state of the database throughout.

        Raises:
            DatabaseUnavailable: the database does not answer.
        """
        with _availability(self.engine), self._reader.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[Write]:
        """A transaction that may change the catalogue, committed when the block ends.

        It holds the catalogue's write lock from its first statement. If the block said so by
        `Write.change`, the catalogue revision rises by one in the same transaction.

        Raises:
            DatabaseUnavailable: the database does not answer; nothing is stored, unless the
                connection broke during the commit itself.
        """
        with _availability(self.engine), self._writer.connect() as connection, connection.begin():
            found = connection.execute(
                select(catalogue_revision.c.revision).with_for_update()
            ).scalar_one()
            write = Write(connection, found)
            yield write
            if write.has_changed:
                self._raise_revision(write)
        if write.has_changed:
            for listener in self._listeners:
                listener(write.revision)

    @staticmethod
    def _raise_revision(write: Write) -> None:
        raised = write.connection.execute(
            update(catalogue_revision)
            .where(catalogue_revision.c.revision == write.found)
            .values(revision=write.revision)
        )
        if raised.rowcount != 1:
            raise LostUpdateError(f"Catalogue revision {write.found} was written by another.")

    def require_schema(self) -> None:
        """Refuse a database that was not brought to this version's schema.

        Raises:
            SchemaError: saying what to run.
            DatabaseUnavailable: the database does not answer.
        """
        head = _head()
        with self.read() as connection:
            found = MigrationContext.configure(connection).get_current_revision()
        if found != head:
            raise SchemaError(
                f"The database is at schema {found or 'none'}, this version needs {head}. "
                "Run `lineworthy migrate`."
            )

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


def read_revision(connection: Connection) -> int:
    """The catalogue revision as this transaction sees it."""
    revision: int = connection.execute(select(catalogue_revision.c.revision)).scalar_one()
    return revision


def now() -> datetime:
    """The present moment in UTC."""
    return datetime.now(UTC)


def migration_config() -> Config:
    """Where the migrations are, for Alembic."""
    config = Config()
    # Alembic reads its options through ConfigParser, to which a percent sign is special.
    config.set_main_option("script_location", str(files("migrations")).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


@cache
def _head() -> str | None:
    return ScriptDirectory.from_config(migration_config()).get_current_head()


def migrate(url: str) -> None:
    """Create the tables or bring them to this version's schema; do nothing if they are there.

    Any number of processes may do this at once: they take turns.

    Raises:
        DatabaseUnavailable: the database does not answer or its file cannot be opened.
    """
    engine = make_engine(url, for_migration=True)
    config = migration_config()
    config.attributes["engine"] = engine
    try:
        with _availability(engine):
            command.upgrade(config, "head")
    finally:
        engine.dispose()
