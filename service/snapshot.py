"""The catalogue as the rules see it: one immutable object, swapped whole.

Requests read an attribute and never wait. A local write refreshes the snapshot before its caller is
answered; what other processes write is found by polling the catalogue revision. A new snapshot is
shown with the indexes that carts, replacements and mates ask already made: until then the old one
serves.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from collections.abc import Callable, Iterable, Mapping
from typing import TypeVar

from pydantic import ValidationError
from sqlalchemy import Connection

from rules.assembly import Vehicle
from rules.catalogue import Catalogue, catalogue
from rules.interchange import prepare
from rules.parts import COMPONENT
from rules.routing.offers import Offers
from service.catalogue import store as component_store
from service.database import Database, read_revision
from service.vehicles import store as vehicle_store

_LOG = logging.getLogger(__name__)
_NEVER_WRITTEN = -1

T = TypeVar("T")


class CorruptRowError(RuntimeError):
    """A stored document cannot be read by this version of the service."""


def _read(what: str, key: str, document: str, read: Callable[[str], T]) -> T:
    try:
        return read(document)
    except ValidationError as refused:
        fault = refused.errors(include_url=False, include_input=False)[0]
        place = "/".join(str(part) for part in fault["loc"])
        raise CorruptRowError(
            f"The stored {what} `{key}` cannot be read: {fault['msg']} at `{place}`. "
            "Restore it from a backup or delete its row."
        ) from refused


def _refreshed(
    held: Mapping[str, T],
    keys: Iterable[str],
    changed: Iterable[tuple[str, str]],
    what: str,
    read: Callable[[str], T],
) -> dict[str, T]:
    """The rows held already, less those deleted, with those changed read again."""
    new = {key: _read(what, key, document, read) for key, document in changed}
    return {key: new[key] if key in new else held[key] for key in keys}


def load(connection: Connection, held: Catalogue | None) -> Catalogue:
    """The catalogue of a transaction's revision; of `held`, what has not changed is kept.

    Raises:
        CorruptRowError: naming the component or vehicle whose document cannot be read.
    """
    revision = read_revision(connection)
    if held is not None and held.revision > revision:
        # An older state of the database was restored; nothing that is held can be trusted.
        held = None
    since = _NEVER_WRITTEN if held is None else held.revision
    parts = _refreshed(
        {} if held is None else held.parts,
        component_store.skus(connection),
        component_store.changed_after(connection, since),
        "component",
        COMPONENT.validate_json,
    )
    vehicles = _refreshed(
        {} if held is None else held.vehicles,
        vehicle_store.ids(connection),
        vehicle_store.changed_after(connection, since),
        "vehicle",
        Vehicle.model_validate_json,
    )
    return catalogue(revision, parts.values(), vehicles.values())


def _indexed(loaded: Catalogue) -> Catalogue:
    """A catalogue with its indexes made, so that no question waits for them."""
    loaded.derived(Offers)
    prepare(loaded)
    return loaded


class Snapshot:
    """Holds the newest catalogue that this process knows.

    Attributes:
        fault: why the snapshot is older than the database, or `None` while it is not.
    """

    def __init__(self, database: Database) -> None:
        """Load the catalogue and follow the writes of this process.

        Raises:
            CorruptRowError: naming the component or vehicle whose document cannot be read.
            DatabaseUnavailable: the database does not answer.
        """
        self._database = database
        self._refreshing = threading.Lock()
        self.fault: str | None = None
        with database.read() as connection:
            loaded = load(connection, None)
        self._catalogue = _indexed(loaded)
        database.on_change(self._written)

    def current(self) -> Catalogue:
        """The catalogue as it is known now."""
        return self._catalogue

    def refresh(self) -> None:
        """Bring the snapshot to the database's revision.

        Raises:
            CorruptRowError, DatabaseUnavailable: the snapshot stays as it is.
        """
        with self._refreshing:
            with self._database.read() as connection:
                if read_revision(connection) == self._catalogue.revision:
                    return
                loaded = load(connection, self._catalogue)
            self._catalogue = _indexed(loaded)

    def _written(self, revision: int) -> None:
        """Follow a write of this process, whose caller was promised success already."""
        if self._catalogue.revision < revision:
            self._refresh_or_note()

    def _refresh_or_note(self) -> None:
        # Whatever went wrong, the next poll tries again; the older catalogue serves until then.
        try:
            self.refresh()
        except Exception as fault:
            self.fault = f"The catalogue stays at revision {self._catalogue.revision}: {fault}"
            _LOG.exception(self.fault)
        else:
            self.fault = None

    async def poll(self, seconds: float) -> None:
        """Refresh the snapshot every `seconds`, in a thread, until the task is cancelled."""
        while True:
            await asyncio.sleep(seconds)
            await asyncio.to_thread(self._refresh_or_note)
