"""What saved assemblies keep from being changed: their current versions, and no older ones.

An older version is a record of what was; it is kept whole and needs nothing of the catalogue.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, or_, select

from rules.cart import Cart
from service.assemblies import store
from service.assemblies.tables import assemblies, assembly_parts
from service.checks.judge import Question
from service.vehicles import store as vehicle_store
from service.vehicles.tables import vehicle_parts

_MOST_IN_A_LIST = 1000


def users_of_component(connection: Connection, sku: str) -> list[str]:
    """What each assembly does with a component, in words."""
    return [f"assembly `{each}` holds it as `{ref}`" for each, ref in store.using(connection, sku)]


def users_of_vehicle(connection: Connection, vehicle_id: str) -> list[str]:
    """What each assembly does with a vehicle, in words."""
    return [f"assembly `{each}` is for it" for each in store.built_on(connection, vehicle_id)]


@dataclass(frozen=True, slots=True)
class JoinedPort:
    """A port of a component of the catalogue that an assembly joins as `end`."""

    assembly: str
    name: str
    end: str
    sku: str
    port: str


def joined_ports(connection: Connection, skus: Collection[str]) -> Iterator[JoinedPort]:
    """The ports of these components that assemblies join, those of their vehicles' parts too."""
    for assembly_id in _concerned(connection, sorted(skus)):
        stored = store.find(connection, assembly_id)
        assert stored is not None
        asked = stored.draft().request
        parts = _skus_by_ref(connection, asked)
        for end in _ends(asked):
            ref, _, port = end.partition(".")
            if (sku := parts.get(ref)) in skus and sku is not None:
                yield JoinedPort(assembly_id, stored.name, end, sku, port)


def _concerned(connection: Connection, skus: list[str]) -> list[str]:
    """Assemblies that hold one of the components, or are for a vehicle that brings one."""
    found: set[str] = set()
    for start in range(0, len(skus), _MOST_IN_A_LIST):
        portion = skus[start : start + _MOST_IN_A_LIST]
        holding = select(assembly_parts.c.assembly).where(assembly_parts.c.sku.in_(portion))
        bringing = select(vehicle_parts.c.vehicle).where(vehicle_parts.c.sku.in_(portion))
        query = select(assemblies.c.id).where(
            or_(assemblies.c.id.in_(holding), assemblies.c.vehicle.in_(bringing))
        )
        found.update(connection.scalars(query))
    return sorted(found)


def _skus_by_ref(connection: Connection, asked: Question) -> Mapping[str, str | None]:
    """The component of the catalogue behind each ref that joints may speak of."""
    found: dict[str, str | None] = {}
    if asked.vehicle is not None:
        found |= vehicle_store.skus_by_ref(connection, asked.vehicle)
    if isinstance(asked, Cart):
        for line in asked.lines:
            if line.ref is not None:
                pieces = (f"{line.ref}-{number}" for number in range(1, line.quantity + 1))
                found |= dict.fromkeys((line.ref, *pieces), line.sku)
    return found | {item.ref: item.sku for item in asked.items}


def _ends(asked: Question) -> Iterator[str]:
    for joint in asked.joints:
        yield from joint.ends
    for each in asked.outside:
        yield each.port
