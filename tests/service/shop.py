"""Components to put into the catalogue, and a way to clear it."""

from __future__ import annotations

from typing import Any

from sqlalchemy import delete, update

from service.database import METADATA, catalogue_revision, make_engine


def component(sku: str, **changes: Any) -> dict[str, Any]:
    """A small component as a caller would send it."""
    return {"sku": sku, "name": f"Part {sku}", "kind": "cap", "wetted": [], **changes}


def make_empty(url: str) -> None:
    """Bring a migrated database back to where it holds nothing."""
    engine = make_engine(url, for_migration=True)
    with engine.begin() as connection:
        for table in reversed(METADATA.sorted_tables):
            if table is not catalogue_revision:
                connection.execute(delete(table))
        connection.execute(update(catalogue_revision).values(revision=0))
    engine.dispose()
