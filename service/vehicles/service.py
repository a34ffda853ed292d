"""What may be done to the vehicles of the catalogue."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from datetime import datetime

from sqlalchemy import Connection

from rules.assembly import Vehicle
from rules.catalogue import Catalogue
from rules.parts import COMPONENT, Component
from service.assemblies import uses
from service.catalogue import store as component_store
from service.conditional import require_match
from service.database import Write
from service.problems import Fault, in_use, invalid, problem, rendering
from service.vehicles import store


def put(
    write: Write,
    vehicle: Vehicle,
    if_match: str | None,
    if_none_match: str | None,
    known: Catalogue,
    moment: datetime,
) -> bool:
    """Store a vehicle.

    Args:
        if_match: the version it replaces.
        if_none_match: `*`, where it must be a new one.
        known: where near SKUs are suggested from.
        moment: when.

    Returns:
        Whether the vehicle is new.

    Raises:
        Problem: 404 or 412 or 428, what is stored is not what the caller supposes; 422, it names
            what is not there.
    """
    stored = store.find(write.connection, vehicle.id)
    _require_supposed(stored, vehicle.id, if_match, if_none_match)
    faults = list(_faults(write.connection, vehicle, known))
    if faults:
        raise invalid(faults)
    store.put(write, vehicle, moment, exists=stored is not None)
    return stored is None


def delete(write: Write, vehicle_id: str, if_match: str | None) -> None:
    """Delete a vehicle that no assembly is for.

    Raises:
        Problem: 404, 412 or 428; 409, it is used, naming by what.
    """
    stored = find(write.connection, vehicle_id)
    require_match(if_match, stored.version, f"`{vehicle_id}`")
    if users := uses.users_of_vehicle(write.connection, vehicle_id):
        raise in_use(vehicle_id, users, "/vehicle_id")
    store.remove(write, vehicle_id)


def find(connection: Connection, vehicle_id: str) -> store.Stored:
    """The vehicle of this id.

    Raises:
        Problem: 404, naming ids that are near.
    """
    found = store.find(connection, vehicle_id)
    if found is None:
        near = difflib.get_close_matches(vehicle_id, store.ids(connection), n=3)
        hint = f" Did you mean {' or '.join(f'`{each}`' for each in near)}?" if near else ""
        raise problem("not-found", f"There is no vehicle `{vehicle_id}`.{hint}")
    return found


def _require_supposed(
    stored: store.Stored | None, vehicle_id: str, if_match: str | None, if_none_match: str | None
) -> None:
    """Refuse to create or replace unless the caller said which of the two it does."""
    if if_none_match is not None:
        if if_none_match.strip() != "*":
            raise invalid(
                [
                    Fault(
                        pointer="/If-None-Match",
                        found=rendering(if_none_match),
                        detail="A vehicle is created with `If-None-Match: *`.",
                        expected="`*`, or `If-Match` with the `ETag` of the stored vehicle",
                        code="entity-tag",
                        place="header",
                    )
                ]
            )
        if stored is not None:
            raise problem(
                "precondition-failed",
                f"There is a vehicle `{vehicle_id}` already. Send its `ETag` as `If-Match` to "
                "replace it.",
            )
    elif stored is not None:
        require_match(if_match, stored.version, f"`{vehicle_id}`")
    elif if_match is None:
        raise problem(
            "precondition-required",
            f"There is no vehicle `{vehicle_id}`. Send `If-None-Match: *` to create it.",
        )
    else:
        raise problem("not-found", f"There is no vehicle `{vehicle_id}` to replace.")


# What a vehicle names -------------------------------------------------------------------------


def _faults(connection: Connection, vehicle: Vehicle, known: Catalogue) -> Iterator[Fault]:
    """What a vehicle names and nobody has: a broken vehicle would break every check with it."""
    yield from _repeated_refs(vehicle)
    stored = _components(connection, vehicle)
    parts: dict[str, Component | None] = {}
    for index, item in enumerate(vehicle.items):
        part = item.component if item.sku is None else stored.get(item.sku)
        parts[item.ref] = part
        if part is None and item.sku is not None:
            near = " or ".join(f"`{sku}`" for sku in known.near(item.sku))
            yield Fault(
                f"/items/{index}/sku",
                item.sku,
                f"There is no component `{item.sku}`.",
                f"a SKU of the catalogue. Did you mean {near}?" if near else "a known SKU",
                "unknown-sku",
            )
    for index, joint in enumerate(vehicle.joints):
        for end in joint.ends:
            yield from _faults_of_end(f"/joints/{index}", end, parts)
        for ref in joint.uses:
            if ref not in parts:
                yield _unknown_ref(f"/joints/{index}", ref, parts)


def _repeated_refs(vehicle: Vehicle) -> Iterator[Fault]:
    seen = set()
    for index, item in enumerate(vehicle.items):
        if item.ref in seen:
            yield Fault(
                f"/items/{index}/ref",
                item.ref,
                f"Two items are called `{item.ref}`.",
                "a different `ref` for each item",
                "repeated-ref",
            )
        seen.add(item.ref)


def _components(connection: Connection, vehicle: Vehicle) -> Mapping[str, Component]:
    skus = {item.sku for item in vehicle.items if item.sku is not None}
    documents = component_store.documents(connection, skus)
    return {sku: COMPONENT.validate_json(document) for sku, document in documents.items()}


def _faults_of_end(place: str, end: str, parts: Mapping[str, Component | None]) -> Iterator[Fault]:
    ref, _, port_id = end.partition(".")
    if ref not in parts:
        yield _unknown_ref(place, ref, parts)
        return
    part = parts[ref]
    if part is None:
        return
    ports = [port.id for port in part.ports]
    if port_id not in ports:
        known = ", ".join(f"`{ref}.{each}`" for each in ports) or "an item that has ports"
        yield Fault(place, end, f"`{ref}` has no port `{port_id}`.", known, "unknown-port")


def _unknown_ref(place: str, ref: str, parts: Mapping[str, Component | None]) -> Fault:
    known = ", ".join(f"`{each}`" for each in parts) or "an item first"
    return Fault(place, ref, f"No item is called `{ref}`.", known, "unknown-ref")
