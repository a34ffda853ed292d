"""Injectors in their rails: groups of equal pieces, each joined as a whole."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from rules.assembly import Item, Joint
from rules.circuit import PlacedItem
from rules.faces import Face, face_of, grade
from rules.parts import Component, Port
from rules.routing import costs
from rules.routing.joining import Joined, Stand
from rules.routing.layout import Layout
from rules.routing.pieces import Contents, free_ref
from rules.routing.sizing import Sizing


@dataclass(frozen=True, slots=True)
class Seats:
    """The seats of one rail that lack injectors."""

    port: str
    lacking: int
    stand: Stand | None
    face: Face


@dataclass
class Seated:
    """Where the injectors of a cart go.

    Attributes:
        stands: items in the rails of the cart.
        joints: their joints.
        lacking: seats without an injector.
        left: groups of the cart that seat nowhere, with how many pieces.
        part: the injector that is used.
        divided: for each group that was divided, the ref of the whole by that of the part.
    """

    stands: list[Stand] = field(default_factory=list)
    joints: list[Joint] = field(default_factory=list)
    lacking: list[Seats] = field(default_factory=list)
    left: list[tuple[PlacedItem, int]] = field(default_factory=list)
    part: Component | None = None
    divided: dict[str, str] = field(default_factory=dict)


def seat(layout: Layout, joined: Joined, contents: Contents, currency: str | None) -> Seated:
    """Seat the injectors of a cart in the rails of a plan."""
    settled = {end for joint in contents.joints for end in joint.ends}
    rails = [
        (stand, port)
        for slot_id in layout.seats
        if (stand := joined.nodes.get(slot_id)) is not None
        for port in stand.part.ports
        if _is_seat(port) and f"{stand.item.ref}.{port.id}" not in settled
    ]
    groups = [
        item
        for item in contents.groups
        if item.kind == "injector" and not any(p.name in settled for p in item.ports)
    ]
    found = Seated()
    chosen = _chosen(groups, rails, currency)
    pool = [(item, item.item.quantity) for item in chosen]
    for stand, port in rails:
        pool = _fill(stand, port, pool, found, joined)
    found.left = [(item, left) for item, left in pool if left]
    found.left += [(item, item.item.quantity) for item in groups if item not in chosen]
    return found


def _chosen(
    groups: Iterable[PlacedItem], rails: Sequence[tuple[Stand, Port]], currency: str | None
) -> list[PlacedItem]:
    """The groups of one part: enough of it, else the most there is; then the cheapest."""
    wanted = sum(port.count for _, port in rails)
    by_part: defaultdict[str, list[PlacedItem]] = defaultdict(list)
    for item in groups:
        if all(_joins(stand, port, item.part) for stand, port in rails):
            by_part[item.part.sku or item.ref].append(item)

    def rank(key: str) -> tuple[int, int, str]:
        held = sum(item.item.quantity for item in by_part[key])
        price = costs.price_cents(by_part[key][0].part, currency)
        return (-min(held, wanted), price, key)

    return by_part[min(by_part, key=rank)] if by_part and rails else []


def _fill(
    stand: Stand,
    port: Port,
    pool: list[tuple[PlacedItem, int]],
    found: Seated,
    joined: Joined,
) -> list[tuple[PlacedItem, int]]:
    """Fill one rail from the pool, from a group of its size where there is one."""
    name = f"{stand.item.ref}.{port.id}"
    face = face_of(stand.part, port)
    held = [(item, left) for item, left in pool if left]
    if not held:
        found.lacking.append(Seats(name, port.count, None, face))
        return pool
    exact = [each for each in held if each[1] == port.count]
    item, left = (exact or held)[0]
    taken = min(left, port.count)
    group = _part_of(item.item, taken, joined)
    found.part = item.part
    if group.ref != item.ref:
        found.divided[group.ref] = item.ref
    seated = Stand(group, item.part, bought=False)
    found.stands.append(seated)
    found.joints.append(Joint(ends=(name, f"{group.ref}.{inlet(item.part).id}")))
    if taken < port.count:
        found.lacking.append(Seats(name, port.count - taken, seated, face))
    return [(other, left - taken if other is item else rest) for other, rest in pool]


def _part_of(item: Item, quantity: int, joined: Joined) -> Item:
    """A group, or so many of it under a name of their own."""
    if quantity == item.quantity:
        return item
    ref = free_ref(f"{item.ref}-1", joined.refs)
    joined.refs.add(ref)
    return item.model_copy(update={"ref": ref, "quantity": quantity})


def _is_seat(port: Port) -> bool:
    return port.connection is not None and port.connection.system == "injector-seat"


def inlet(part: Component) -> Port:
    """The port by which an injector sits in its rail."""
    return next(port for port in part.ports if port.role == "inlet")


def _joins(stand: Stand, port: Port, part: Component) -> bool:
    inlets = [each for each in part.ports if each.role == "inlet"]
    seat_face = face_of(stand.part, port)
    return any(grade(seat_face, face_of(part, each)) is not None for each in inlets)


def to_buy(seated: Seated, sizing: Sizing) -> tuple[Component | None, str | None]:
    """The injector that fills what is lacking: the same as in the cart, else one that is sized."""
    if seated.part is not None:
        return (seated.part if seated.part.lifecycle == "sold" else None), None
    wanted = sum(seats.lacking for seats in seated.lacking)
    choice = sizing.injectors(wanted)
    for lot in choice.lots:
        face = lot.faces[inlet(lot.part).id]
        if all(grade(seats.face, face) is not None for seats in seated.lacking):
            return lot.part, None
    return None, choice.asks
