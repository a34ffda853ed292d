"""Vehicles in the database. Every function runs in the transaction its caller opened."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy import Connection, delete, insert, select, update

from rules.assembly import Vehicle
from service.database import Write
from service.vehicles.tables import vehicle_parts, vehicles


@dataclass(frozen=True, slots=True)
class Stored:
    """A vehicle as it is stored; `document` is its JSON, in which what is unknown is absent."""

    id: str
    version: int
    updated_at: datetime
    document: str


_STORED: Final = (
    vehicles.c.id,
    vehicles.c.version,
    vehicles.c.updated_at,
    vehicles.c.document,
)


def document_of(vehicle: Vehicle) -> str:
    """The canonical JSON of a vehicle; reading it gives an equal vehicle."""
    return vehicle.model_dump_json(exclude_none=True)


def find(connection: Connection, vehicle_id: str) -> Stored | None:
    """The vehicle of this id."""
    row = connection.execute(select(*_STORED).where(vehicles.c.id == vehicle_id)).one_or_none()
    return None if row is None else Stored(*row)


def page(connection: Connection, after: str | None, limit: int) -> list[Stored]:
    """At most `limit` vehicles in order of id, those after `after`."""
    query = select(*_STORED).order_by(vehicles.c.id).limit(limit)
    if after is not None:
        query = query.where(vehicles.c.id > after)
    return [Stored(*row) for row in connection.execute(query)]


def using(connection: Connection, sku: str) -> list[tuple[str, str]]:
    """Vehicles that bring this component, each with the ref of the item."""
    query = (
        select(vehicle_parts.c.vehicle, vehicle_parts.c.ref)
        .where(vehicle_parts.c.sku == sku)
        .order_by(vehicle_parts.c.vehicle, vehicle_parts.c.ref)
    )
    return [(vehicle, ref) for vehicle, ref in connection.execute(query)]


@dataclass(frozen=True, slots=True)
class JoinedPort:
    """A port of a component of the catalogue that a vehicle joins."""

    vehicle: str
    sku: str
    port: str


def joined_ports(connection: Connection, skus: Collection[str]) -> list[JoinedPort]:
    """The ports of these components that stored vehicles join."""
    query = select(vehicle_parts.c.vehicle, vehicle_parts.c.sku)
    users = {row.vehicle for row in connection.execute(query) if row.sku in skus}
    documents = connection.scalars(
        select(vehicles.c.document).where(vehicles.c.id.in_(users)).order_by(vehicles.c.id)
    )
    return [
        joined
        for document in documents
        for joined in _joined(Vehicle.model_validate_json(document))
        if joined.sku in skus
    ]


def skus_by_ref(connection: Connection, vehicle_id: str) -> dict[str, str | None]:
    """The components of the catalogue that a vehicle brings, by their refs in it."""
    query = select(vehicle_parts.c.ref, vehicle_parts.c.sku).where(
        vehicle_parts.c.vehicle == vehicle_id
    )
    return {row.ref: row.sku for row in connection.execute(query)}


def _joined(vehicle: Vehicle) -> Iterator[JoinedPort]:
    skus = {item.ref: item.sku for item in vehicle.items}
    for joint in vehicle.joints:
        for end in joint.ends:
            ref, _, port = end.partition(".")
            if (sku := skus.get(ref)) is not None:
                yield JoinedPort(vehicle.id, sku, port)


def ids(connection: Connection) -> list[str]:
    """All ids."""
    return list(connection.scalars(select(vehicles.c.id)))


def changed_after(connection: Connection, version: int) -> list[tuple[str, str]]:
    """Id and document of the vehicles written after this revision of the catalogue."""
    query = select(vehicles.c.id, vehicles.c.document).where(vehicles.c.version > version)
    return [(vehicle, document) for vehicle, document in connection.execute(query)]


def put(write: Write, vehicle: Vehicle, moment: datetime, *, exists: bool) -> None:
    """Store a vehicle, in place of the one of the same id where it exists; `moment` is when."""
    cells = {
        "version": write.change(),
        "name": vehicle.name,
        "document": document_of(vehicle),
        "updated_at": moment,
    }
    if exists:
        write.connection.execute(update(vehicles).where(vehicles.c.id == vehicle.id).values(cells))
        write.connection.execute(delete(vehicle_parts).where(vehicle_parts.c.vehicle == vehicle.id))
    else:
        write.connection.execute(insert(vehicles).values(id=vehicle.id, created_at=moment, **cells))
    parts = [
        {"vehicle": vehicle.id, "ref": item.ref, "sku": item.sku}
        for item in vehicle.items
        if item.sku is not None
    ]
    if parts:
        write.connection.execute(insert(vehicle_parts), parts)


def remove(write: Write, vehicle_id: str) -> None:
    """Delete a vehicle."""
    write.change()
    write.connection.execute(delete(vehicles).where(vehicles.c.id == vehicle_id))
