"""What a finder looks at and what it answers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

from rules import parts
from rules.catalogue import Catalogue
from rules.circuit import Circuit, PlacedItem, PlacedJoint, PlacedPort
from rules.faces import Face, face_of, grade
from rules.facts.case import Case
from rules.facts.joint import matings_of
from rules.facts.supplies import Supplies
from rules.reference.mating import End
from rules.schema import Unknown
from rules.vocabulary import Material

Meeting: TypeAlias = tuple[End, End]
"""Two ends that a suggestion puts together."""


BEARABLE = ("suitable", "limited")
"""Ratings of what a fuel does not destroy."""


@dataclass(frozen=True, slots=True)
class Found:
    """A part that a finder suggests: to add, or in place of the item `replaces`.

    Attributes:
        part: what to fit.
        pieces: how many single pieces; a pack may hold several.
        replaces: ref of the item whose place it takes.
        between: ports of the list that it joins: two where it goes between them, one that it
            closes or ends.
        needs: what else must go in with it, by SKU where that is suggested too, else in words.
    """

    part: parts.Component
    pieces: int
    replaces: str | None = None
    between: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Search:
    """What a finder may look at."""

    case: Case
    circuit: Circuit

    @property
    def catalogue(self) -> Catalogue:
        """The catalogue that the circuit's parts come from."""
        return self.circuit.catalogue

    @property
    def ends(self) -> tuple[PlacedPort, ...]:
        """The ports of the case, placed."""
        found = []
        for name in self.case.ports:
            ref, _, port_id = name.partition(".")
            port = self.circuit.items[ref].port(port_id)
            if port is not None:
                found.append(port)
        return tuple(found)

    @property
    def joint(self) -> PlacedJoint | None:
        """The joint of the case, where it is about one."""
        ends = set(self.ends)
        return next((joint for joint in self.circuit.joints if set(joint.ends) == ends), None)

    @property
    def items(self) -> tuple[PlacedItem, ...]:
        """The items of the case."""
        return tuple(self.circuit.items[ref] for ref in self.case.refs)

    @cached_property
    def supplies(self) -> Supplies:
        """What each joint of the circuit gets and what it lacks."""
        return Supplies(self.circuit, matings_of(self.circuit))

    def withstands(self, part: parts.Component, ratings: Iterable[str] = ("suitable",)) -> bool:
        """Whether every wetted material of a part is known and so rated for the fuel."""
        fuel = self.circuit.fuel
        if part.wetted is None or fuel.id in part.excluded_fuels:
            return False
        if fuel.id and part.approved_fuels is not None and fuel.id not in part.approved_fuels:
            return False
        return all(
            material is not None and fuel.rate(material).rating in ratings
            for material in materials_of(part)
        )


def materials_of(part: parts.Component) -> list[Material | None]:
    """The materials that the fuel meets in a part, its own seals among them."""
    seals = [p.seal.material for p in part.ports if p.seal and p.seal.included is not False]
    return [*(wetted.material for wetted in part.wetted or ()), *seals]


def price_order(part: parts.Component) -> tuple[float, str]:
    """Cheapest first, parts without a price last, then by SKU."""
    amount = float(part.price.amount) if part.price else float("inf")
    return amount, part.sku or ""


def face_at(port: PlacedPort) -> Face:
    """The face of a port in its place."""
    return face_of(port.item.part, port.port)


def seals_on(face: Face, part: parts.Component) -> parts.Port | None:
    """The port of a part that is tight on a face, if one is."""
    return next((p for p in part.ports if grade(face, face_of(part, p)) == 0), None)


def with_part(circuit: Circuit, item: PlacedItem, part: parts.Component) -> Circuit:
    """The circuit with a part of the same ports in the place of an item."""
    swapped = replace(item, part=part)

    def now(port: PlacedPort) -> PlacedPort:
        found = swapped.port(port.port.id) if port.item is item else port
        assert found is not None
        return found

    joints = tuple(
        replace(
            joint,
            first=now(joint.first),
            second=now(joint.second),
            uses=tuple(swapped if used is item else used for used in joint.uses),
        )
        for joint in circuit.joints
    )
    return replace(circuit, items={**circuit.items, item.ref: swapped}, joints=joints)


def screwing_on(catalogue: Catalogue, port: parts.Port) -> Iterator[parts.Component]:
    """Sold parts with a port of the same system and size, the only ones that can seal on it."""
    connection = port.connection
    if connection is None:
        return
    seen = set()
    for candidate in catalogue.offered_ports(connection.system, connection.size):
        if candidate.part.sku not in seen:
            seen.add(candidate.part.sku)
            yield candidate.part


def bears(part: parts.Component, pressure_kpa: float | Unknown | None) -> bool:
    """Whether a part is known to bear a pressure, where it is known what it must bear."""
    if pressure_kpa is None or isinstance(pressure_kpa, Unknown):
        return True
    return part.working_pressure_kpa is not None and part.working_pressure_kpa >= pressure_kpa
