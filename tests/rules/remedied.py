"""Puts what a finding suggests into the request, as a person at the counter would."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from rules.assembly import Item, Joint, Request
from rules.catalogue import Catalogue
from rules.faces import Face, face_of, grade
from rules.parts import Component, Port
from rules.report import Finding, Suggestion


def remedied(request: Request, finding: Finding, shop: Catalogue) -> Request:
    """The request with everything that a finding suggests put in."""
    change = _Change(request, shop)
    for each in finding.remedy.replace:
        change.replace(each)
    of_place: defaultdict[tuple[str, ...], list[tuple[Component, int]]] = defaultdict(list)
    for each in finding.remedy.add:
        part, places = shop.parts[each.sku], each.between
        if not places:
            change.put_in(part, each.quantity)
        for place in places:
            of_place[place].append((part, each.quantity // len(places)))
    for place, pieces in of_place.items():
        change.join(place, pieces)
    return change.request()


class _Change:
    def __init__(self, request: Request, shop: Catalogue) -> None:
        self._asked = request
        self._shop = shop
        vehicle = shop.vehicles.get(request.vehicle or "")
        self._brought = {item.ref: item for item in (vehicle.items if vehicle else ())}
        self._items = {item.ref: item for item in request.items}
        self._joints = list(request.joints)
        self._outside = list(request.outside)

    def request(self) -> Request:
        return self._asked.model_copy(
            update={
                "items": tuple(self._items.values()),
                "joints": tuple(self._joints),
                "outside": tuple(self._outside),
            }
        )

    def put_in(self, part: Component, quantity: int) -> str:
        ref = f"new-{len(self._items)}"
        self._items[ref] = Item(ref=ref, sku=part.sku, quantity=quantity)
        return ref

    def replace(self, suggestion: Suggestion) -> None:
        new = self._shop.parts[suggestion.sku]
        for ref in suggestion.replaces:
            names = _port_names(self._part(self._items[ref]), new)
            changed = {"sku": new.sku, "component": None}
            self._items[ref] = self._items[ref].model_copy(update=changed)
            self._rename({f"{ref}.{own}": other for own, other in names.items()}, ref)

    def _rename(self, names: Mapping[str, str | None], ref: str) -> None:
        """Joints with the names of the new part's ports; what it has no port for falls away."""
        full = {old: None if new is None else f"{ref}.{new}" for old, new in names.items()}
        joints = []
        for joint in self._joints:
            ends = tuple(full.get(end, end) for end in joint.ends)
            if None not in ends:
                joints.append(joint.model_copy(update={"ends": ends}))
        self._joints = joints
        self._outside = [
            each.model_copy(update={"port": full.get(each.port, each.port)})
            for each in self._outside
            if full.get(each.port, each.port) is not None
        ]

    def join(self, place: tuple[str, ...], pieces: Sequence[tuple[Component, int]]) -> None:
        """Puts pieces in a row on a port, or between two that were joined."""
        ends = [face_of(*self._spot(name)) for name in place]
        row = _row(ends[0], pieces, ends[1] if len(ends) == 2 else None)
        self._joints = [joint for joint in self._joints if set(joint.ends) != set(place)]
        before = place[0]
        for part, quantity, enters, leaves in row:
            ref = self.put_in(part, quantity)
            self._joints.append(Joint(ends=(before, f"{ref}.{enters.id}")))
            before = f"{ref}.{leaves.id}" if leaves else ""
        if len(place) == 2:
            self._joints.append(Joint(ends=(before, place[1])))

    def _spot(self, name: str) -> tuple[Component, Port]:
        ref, _, port_id = name.partition(".")
        part = self._part(self._items.get(ref) or self._brought[ref])
        return part, next(port for port in part.ports if port.id == port_id)

    def _part(self, item: Item) -> Component:
        part = item.component or self._shop.get(item.sku or "")
        assert part is not None
        return part


Placed = tuple[Component, int, Port, Port | None]


def _row(start: Face, pieces: Sequence[tuple[Component, int]], goal: Face | None) -> list[Placed]:
    """The pieces in an order in which each is tight on the next; equal ones one behind another,
    or side by side in the places of a group.
    """
    singly = [part for part, quantity in pieces for _ in range(quantity)]
    for parts, quantity in ((singly, 1), ([part for part, _ in pieces], pieces[0][1])):
        for order in itertools.permutations(parts):
            found = next(_led(start, order, goal), None)
            if found is not None:
                return [(part, quantity, enters, leaves) for part, enters, leaves in found]
    raise AssertionError(f"{[part.sku for part, _ in pieces]} do not go together there")


def _led(
    start: Face, order: Sequence[Component], goal: Face | None
) -> Iterator[list[tuple[Component, Port, Port | None]]]:
    if not order:
        if goal is None or grade(start, goal) == 0:
            yield []
        return
    part, *rest = order
    for enters in part.ports:
        if grade(start, face_of(part, enters)) != 0 or (enters.role == "outlet" and goal):
            continue
        if goal is None and not rest:
            yield [(part, enters, None)]
        for leaves in part.ports:
            if leaves is not enters and leaves.role != "inlet":
                for further in _led(face_of(part, leaves), rest, goal):
                    yield [(part, enters, leaves), *further]


def _port_names(old: Component, new: Component) -> Mapping[str, str | None]:
    """Ports that stand for each other: by name where the end is alike, else the first alike."""
    left = list(new.ports)
    names: dict[str, str | None] = {}
    for port in old.ports:
        alike = [p for p in left if (p.role, p.connection) == (port.role, port.connection)]
        alike = alike or [p for p in left if p.role == port.role]
        match = next((p for p in alike if p.id == port.id), alike[0] if alike else None)
        if match is not None:
            left.remove(match)
        names[port.id] = match.id if match else None
    return names
