"""Components to put into the catalogue."""

from __future__ import annotations

from typing import Any


def component(sku: str, **changes: Any) -> dict[str, Any]:
    """A small component as a caller would send it."""
    return {"sku": sku, "name": f"Part {sku}", "kind": "cap", "wetted": [], **changes}
