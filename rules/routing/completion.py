"""What is missing from a cart, and the parts of the shop that would complete it.

Everything missing has an id, the place it belongs to, and up to three ways to fill it. The first
way is the one the plan reckons with; the others are the cheapest and the least restrictive, where
they are not the same.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import get_args

from rules.assembly import Joint
from rules.faces import Face, face_of, grade
from rules.parts import Component, Price
from rules.reading import write_connection
from rules.routing import costs
from rules.routing.costs import plain
from rules.routing.fitness import Conditions, Place
from rules.routing.joining import Closed, Filled, Joined, Stand, is_cut
from rules.routing.layout import Slot, Unit
from rules.routing.leftovers import LongRun, OpenEnd
from rules.routing.offers import Bridge, Offers, Passage
from rules.routing.outcome import BestAt, BoughtPart, Missing, Option
from rules.routing.pieces import FLOW_ROLES, free_ref, plain_item, slug
from rules.routing.plan import Leg, Plan, Socket
from rules.routing.seating import Seated, Seats, inlet, to_buy
from rules.routing.sizing import Sizing
from rules.routing.supplies import Short
from rules.routing.template import Station

_KINDS: tuple[BestAt, ...] = get_args(BestAt)


@dataclass(frozen=True, slots=True)
class Way:
    """One way to fill what is missing, with its parts as items."""

    best_at: tuple[BestAt, ...]
    stands: tuple[Stand, ...]
    joints: tuple[Joint, ...]
    notes: tuple[str, ...] = ()
    undoes: tuple[Joint, ...] = ()
    in_place_of: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Hole:
    """Something missing, and the ways to fill it."""

    missing: Missing
    ways: tuple[Way, ...]


@dataclass
class Holes:
    """All that is missing from a cart.

    Attributes:
        holes: in the order of the flow, then ports, then supplies.
        joints: the joints between the cart's own parts.
        open_ends: the ends beside what is missing, for the reasons of what is left over.
        long_runs: the runs for which a hose must be bought.
    """

    holes: list[Hole] = field(default_factory=list)
    joints: list[Joint] = field(default_factory=list)
    open_ends: list[OpenEnd] = field(default_factory=list)
    long_runs: list[LongRun] = field(default_factory=list)


def find_holes(
    plan: Plan,
    joined: Joined,
    seated: Seated,
    offers: Offers,
    conditions: Conditions,
    sizing: Sizing,
) -> Holes:
    """What the cart's own parts leave open in a plan."""
    return _Finder(plan, joined, seated, offers, conditions, sizing).find()


class _Finder:
    def __init__(
        self,
        plan: Plan,
        joined: Joined,
        seated: Seated,
        offers: Offers,
        conditions: Conditions,
        sizing: Sizing,
    ) -> None:
        self.plan = plan
        self.joined = joined
        self.seated = seated
        self.offers = offers
        self.conditions = conditions
        self.sizing = sizing
        self.found = Holes()
        self.to_station: dict[str, list[Joint]] = {
            node: [] for node, stand in joined.nodes.items() if stand.bought
        }
        self.places: dict[str, Slot | Unit] = {
            **{slot.id: slot for slot in plan.layout.slots},
            **{unit.id: unit for unit in plan.layout.units},
        }

    def find(self) -> Holes:
        for filled in self.joined.filled:
            self.leg(filled)
        for joint in self.seated.joints:
            self.settle(joint)
        open_ports = [closed for closed in self.joined.closed if not self.is_closed(closed)]
        self.stations()
        for closed in open_ports:
            self.port(closed)
        self.injectors()
        return self.found

    # Links

    def leg(self, filled: Filled) -> None:
        leg = filled.leg
        if leg.absent:
            return
        if leg.chain is None:
            self.gap(leg)
            return
        segments = list(_segments(filled))
        inside: set[int] = set()
        for number, segment in enumerate(segments, start=1):
            self.segment(filled, segment, number if len(segments) > 1 else None)
            inside |= set(segment.places)
        for place, joint in enumerate(filled.joints):
            if place not in inside:
                self.settle(joint)

    def settle(self, joint: Joint) -> None:
        """A joint of the cart's own parts, or one that waits for a station to be bought."""
        refs = {end.partition(".")[0] for end in joint.ends}
        for node, waiting in self.to_station.items():
            if self.joined.nodes[node].item.ref in refs:
                waiting.append(joint)
                return
        self.found.joints.append(joint)

    def gap(self, leg: Leg) -> None:
        """A link that nothing fills, unless a station is missing from it already."""
        ends = self.gap_ends(leg)
        if ends is None:
            self.portless(leg)
            return
        texts = [_described(end) for end in ends]
        unknown = [end.port for end in ends if end.face.end.system is None]
        message = (
            f"Nothing in the catalogue leads from {texts[0]} to {texts[-1]}."
            if len(ends) > 1
            else f"Nothing in the catalogue joins {texts[0]} to the {leg.way.car}."
        )
        pinned = {
            f"{lot.items[0].ref}.{port}" for lot in self.plan.stands.values() for port in lot.pins
        }
        settled = [end.port for end in ends if end.port in pinned]
        if settled and len(ends) > 1:
            other = texts[0] if settled[0] == ends[-1].port else texts[-1]
            message = f"What is joined already leads {settled[0]} elsewhere than to {other}."
        self.found.open_ends += ends
        self.add(
            Missing(
                id=self.leg_id(leg),
                what="link",
                line=leg.way.link.line,
                between=tuple(end.port for end in ends),
                message=message,
                asks=f"the connection of {' and '.join(unknown)}" if unknown else None,
            ),
            self.instead(leg) if len(ends) > 1 else (),
        )

    def portless(self, leg: Leg) -> None:
        """A link to a part that has no port for it, such as the return of a returnless module."""
        for node, (_, name) in zip(leg.nodes, (leg.way.link.start, leg.way.link.end), strict=True):
            stand, place = self.joined.nodes.get(node), self.places.get(node)
            if stand is None or not isinstance(place, Slot):
                continue
            if place.station.ports_of(stand.part, name):
                continue
            serving = [
                part.sku
                for part in self.serving(place)
                if place.station.ports_of(part, name) and part.sku
            ]
            listed = f" Of what is sold, {', '.join(serving[:3])} can." if serving else ""
            line = leg.way.link.line
            self.add(
                Missing(
                    id=leg.way.id,
                    what="link",
                    line=line,
                    between=(stand.item.ref,),
                    message=f"{stand.item.ref} cannot take the {line}: it has no port for it."
                    f"{listed}",
                ),
                (),
            )
            return

    def serving(self, place: Slot) -> tuple[Component, ...]:
        """What is sold for a station, whether or not the cart holds something for it."""
        line = self.plan.layout.line_of(place.station)
        return self.sizing.choice(place.station, Place(line)).parts

    def instead(self, leg: Leg) -> Iterator[Way]:
        """Another part for one of the two stations, which joins the other one as it is."""
        ends = tuple(zip(leg.nodes, (leg.way.link.start, leg.way.link.end), strict=True))
        for (node, (_, name)), (beside, (_, far_name)) in (ends, ends[::-1]):
            place, far = self.places.get(node), self.places.get(beside)
            if not isinstance(place, Slot) or not isinstance(far, Slot):
                continue
            stand, other = self.joined.nodes[node], self.joined.nodes[beside]
            if stand.bought or self.joints_at(stand):
                continue
            for part in self.serving(place):
                ways = (
                    (port.id, far_port.id)
                    for port in place.station.ports_of(part, name)
                    for far_port in far.station.ports_of(other.part, far_name)
                    if grade(face_of(part, port), face_of(other.part, far_port)) == 0
                )
                found = next(ways, None)
                if found is None:
                    continue
                new = buy(part, self.joined.refs)
                near = f"{new.item.ref}.{found[0]}", f"{other.item.ref}.{found[1]}"
                joint = Joint(ends=near if node == leg.nodes[0] else near[::-1])
                yield Way(_KINDS[:1], (new,), (joint,), in_place_of=(stand.item.ref,))
                return

    def joints_at(self, stand: Stand) -> int:
        """How many joints of the plan a part has."""
        joints = [joint for filled in self.joined.filled for joint in filled.joints]
        joints += [joint for closed in self.joined.closed for joint in closed.joints]
        joints += self.seated.joints
        return sum(end.startswith(f"{stand.item.ref}.") for j in joints for end in j.ends)

    def gap_ends(self, leg: Leg) -> list[OpenEnd] | None:
        """The ports of both ends; nothing where a station itself is missing."""
        ends = []
        names = (leg.way.link.start[1], leg.way.link.end[1])
        for node, name, unit_name in zip(leg.nodes, names, ("out", "in"), strict=True):
            if not node:
                continue
            stand, place = self.joined.nodes.get(node), self.places[node]
            if stand is None:
                return None
            port = unit_name if isinstance(place, Unit) else name
            ports = place.station.ports_of(stand.part, port)
            joints = [joint for filled in self.joined.filled for joint in filled.joints]
            joints += [joint for closed in self.joined.closed for joint in closed.joints]
            taken = {name for joint in joints for name in joint.ends}
            free = [p for p in ports if f"{stand.item.ref}.{p.id}" not in taken] or list(ports)
            if not free:
                return None
            face = face_of(stand.part, free[0])
            ends.append(OpenEnd(f"{stand.item.ref}.{free[0].id}", face))
        return ends

    def leg_id(self, leg: Leg) -> str:
        units = [node for node in leg.nodes if isinstance(self.places.get(node), Unit)]
        if not units:
            return leg.way.id
        place = self.places[units[0]]
        side = "before" if leg.nodes[1] == units[0] else "after"
        return f"{leg.way.id}-{side}-{place.station.id}"

    def segment(self, filled: Filled, segment: _Segment, number: int | None) -> None:
        leg, run_mm = filled.leg, filled.run_mm
        ends = [end for end in segment.ends if end is not None]
        between = tuple(end.port for end in ends)
        self.found.open_ends += ends
        if run_mm is not None:
            name = f"the run from {between[0]} to {between[-1]}"
            self.found.long_runs += [
                LongRun(name, run_mm, way.entry, way.exit)
                for way in segment.passages
                if way.is_hose
            ]
        leg_id = self.leg_id(leg)
        names = " and ".join(stand.part.name for stand in segment.stands)
        texts = " and ".join(_described(end) for end in ends)
        where = f"Between {texts}" if len(ends) > 1 else f"On {texts}"
        self.add(
            Missing(
                id=leg_id if number is None else f"{leg_id}-{number}",
                what="link",
                line=leg.way.link.line,
                between=between,
                message=f"{where} there is nothing in the cart; it takes: {names}.",
            ),
            (
                Way(("fewest-parts",), segment.stands, segment.joints),
                *self.others(leg, segment, run_mm),
            ),
        )

    def others(self, leg: Leg, segment: _Segment, run_mm: float | None) -> Iterator[Way]:
        """The cheapest and the least restrictive way between the same two ports."""
        start, end = segment.ends
        if start is None:
            return
        has_hose = any(way.is_hose for way in segment.passages)
        for kind in _KINDS[1:]:
            bridges = self.offers.bridges(self.conditions, leg.way.place, run_mm, kind)
            goal = None if end is None else end.face
            bridge = bridges.between(start.face, goal, hose=has_hose)
            if bridge is not None and not plain(bridge.cost, kind)[costs.COMPROMISES]:
                yield self.way(kind, bridge, start, end, run_mm)

    def way(
        self,
        kind: BestAt,
        bridge: Bridge,
        start: OpenEnd,
        end: OpenEnd | None,
        run_mm: float | None,
    ) -> Way:
        stands, joints, before = [], [], start.port
        for way in bridge.passages:
            stand = buy(way.lot.part, self.joined.refs, run_mm)
            stands.append(stand)
            joints.append(Joint(ends=(before, f"{stand.item.ref}.{way.enters}")))
            before = f"{stand.item.ref}.{way.leaves}"
        if end is not None:
            joints.append(Joint(ends=(before, end.port)))
        return Way((kind,), tuple(stands), tuple(joints))

    # Stations

    def stations(self) -> None:
        for node, joints in self.to_station.items():
            stand, place = self.joined.nodes[node], self.places[node]
            name = place.station.id.replace("-", " ")
            first = Way(("fewest-parts",), (stand,), tuple(joints))
            self.add(
                Missing(
                    id=node if isinstance(place, Slot) else place.station.id,
                    what="station",
                    required=place.station.required,
                    between=_beyond(first),
                    message=_station_message(name, first, _beyond(first)),
                ),
                (first, *self.other_stations(place, first)),
            )
        for slot in self.plan.empty:
            if slot.station.presence != "car":
                self.add(_empty(slot.id, slot.station, slot.choice.asks), ())
        for station in self.plan.missing_units:
            self.add(_empty(station.id, station, None), ())

    def other_stations(self, place: Slot | Unit, first: Way) -> Iterator[Way]:
        """The cheapest and the least restrictive of the parts that join what the first one does.

        Where more has to be bought to join it, another would want other parts.
        """
        if self.joints_at(first.stands[0]) != len(first.joints):
            return
        parts = [
            (part, ports)
            for part in (place.choice.parts if isinstance(place, Slot) else ())
            if (ports := self.joined_alike(part, first)) is not None
        ]
        if not parts:
            return
        cheapest = min(parts, key=lambda each: (self.price(each[0]), each[0].sku or ""))
        widest = min(parts, key=lambda each: (costs.drop(each[0], None), self.price(each[0])))
        best: tuple[tuple[BestAt, tuple[Component, dict[str, str]]], ...] = (
            ("cheapest", cheapest),
            ("least-restrictive", widest),
        )
        (stand,) = first.stands
        for kind, (part, ports) in best:
            other = stand if part.sku == stand.part.sku else buy(part, self.joined.refs)
            renamed = {old: f"{other.item.ref}.{new}" for old, new in ports.items()}
            moved = tuple(
                joint.model_copy(
                    update={"ends": tuple(renamed.get(end, end) for end in joint.ends)}
                )
                for joint in first.joints
            )
            yield Way((kind,), (other,), moved)

    def joined_alike(self, part: Component, first: Way) -> dict[str, str] | None:
        """For each joined port of the first part the port of another that takes its joint.

        Nothing where a joint would not seal outright, or where a port would be left open.
        """
        (stand,) = first.stands
        ports = {port.id: port for port in stand.part.ports}
        found: dict[str, str] = {}
        for joint in first.joints:
            (near,) = (end for end in joint.ends if end.startswith(f"{stand.item.ref}."))
            (far,) = (end for end in joint.ends if end != near)
            role = ports[near.partition(".")[2]].role
            beyond = self.face_at(far)
            serving = (
                port.id
                for port in part.ports
                if port.role == role
                and port.id not in found.values()
                and grade(face_of(part, port), beyond) == 0
            )
            taken = next(serving, None)
            if taken is None:
                return None
            found[near] = taken
        counts = [sum(port.role in FLOW_ROLES for port in p.ports) for p in (part, stand.part)]
        return found if counts[0] == counts[1] else None

    def face_at(self, end: str) -> Face:
        ref, _, port_id = end.partition(".")
        stands = [*self.joined.nodes.values()]
        stands += [stand for filled in self.joined.filled for stand in filled.stands]
        stands += [stand for closed in self.joined.closed for stand in closed.stands]
        stands += self.seated.stands
        part = next(stand.part for stand in stands if stand.item.ref == ref)
        return next(face_of(part, port) for port in part.ports if port.id == port_id)

    def price(self, part: Component) -> int:
        return costs.price_cents(part, self.offers.currency)

    # Ports and injectors

    def is_closed(self, closed: Closed) -> bool:
        """Whether parts of the cart close a port; their joints are settled then."""
        if not closed.stands or any(stand.bought for stand in closed.stands):
            return False
        for joint in closed.joints:
            self.settle(joint)
        return True

    def port(self, closed: Closed) -> None:
        bought = [stand for stand in closed.stands if stand.bought]
        what = _port_message(closed)
        ways = [Way(("fewest-parts",), tuple(bought), closed.joints)] if bought else []
        self.add(
            Missing(
                id=f"port-{closed.port}",
                what="port",
                line=closed.line,
                between=(closed.port,),
                message=what,
            ),
            ways,
        )
        face = closed.closing.socket.face
        self.found.open_ends.append(OpenEnd(closed.port, face, closes=True))

    def injectors(self) -> None:
        lacking = self.seated.lacking
        if not lacking:
            return
        part, asks = to_buy(self.seated, self.sizing)
        for seats in lacking:
            ref = seats.port.partition(".")[0]
            word = "injector" if seats.lacking == 1 else "injectors"
            self.found.open_ends.append(OpenEnd(seats.port, seats.face))
            self.add(
                Missing(
                    id=f"injectors-{ref}",
                    what="station",
                    line="feed",
                    between=(seats.port,),
                    message=f"{seats.lacking} {word} short in {ref}.",
                    asks=asks,
                ),
                () if part is None else (self.more_injectors(part, seats),),
            )

    def more_injectors(self, part: Component, seats: Seats) -> Way:
        if seats.stand is not None:
            ref = seats.stand.item.ref
            more = plain_item(ref, part.sku or "", quantity=seats.lacking)
            return Way(("fewest-parts",), (Stand(more, part, bought=True),), ())
        new = buy(part, self.joined.refs, quantity=seats.lacking)
        joint = Joint(ends=(seats.port, f"{new.item.ref}.{inlet(part).id}"))
        return Way(("fewest-parts",), (new,), (joint,))

    def add(self, missing: Missing, ways: Iterable[Way]) -> None:
        self.found.holes.append(Hole(missing, tuple(distinct(ways))))


# Rows of parts ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Segment:
    """Bought parts in a row, with the ports of what is there before and behind them.

    `places` are the places of their joints among those of the leg.
    """

    passages: tuple[Passage, ...]
    stands: tuple[Stand, ...]
    joints: tuple[Joint, ...]
    places: range
    ends: tuple[OpenEnd | None, OpenEnd | None]


def _segments(filled: Filled) -> Iterator[_Segment]:
    leg = filled.leg
    assert leg.chain is not None
    row = leg.chain.passages
    # At the car there is no joint before the first part.
    shift = 0 if leg.start is not None else -1
    for bought, group in itertools.groupby(range(len(row)), lambda at: filled.stands[at].bought):
        at = list(group)
        if not bought:
            continue
        first, last = at[0], at[-1]
        before, behind = first + shift, last + 1 + shift
        places = range(max(0, before), min(len(filled.joints), behind + 1))
        start = end = None
        if before >= 0:
            face = row[first - 1].exit if first else _face(leg.start)
            start = OpenEnd(filled.joints[before].ends[0], face)
        if behind < len(filled.joints):
            face = row[last + 1].entry if last + 1 < len(row) else _face(leg.end)
            end = OpenEnd(filled.joints[behind].ends[1], face)
        yield _Segment(
            passages=row[first : last + 1],
            stands=filled.stands[first : last + 1],
            joints=filled.joints[places.start : places.stop],
            places=places,
            ends=(start, end),
        )


def _face(socket: Socket | None) -> Face:
    assert socket is not None
    return socket.face


def _described(end: OpenEnd) -> str:
    own = end.face.end
    if own.system is None:
        return f"{end.port}, whose connection nobody recorded,"
    return f"{end.port} ({write_connection(own.system, own.size, own.gender)})"


def _empty(hole_id: str, station: Station, asks: str | None) -> Missing:
    name = station.id.replace("-", " ")
    tail = "Say more, so that one can be sized." if asks else "Nothing in the catalogue serves."
    return Missing(
        id=hole_id,
        what="station",
        required=station.required,
        message=f"The circuit has no {name}. {tail}",
        asks=asks,
    )


def _station_message(name: str, way: Way, between: tuple[str, ...]) -> str:
    takes = " and ".join(stand.part.name for stand in way.stands)
    where = "" if not between else ", on " if len(between) == 1 else ", between "
    ends = " and ".join(filter(None, (", ".join(between[:-1]), *between[-1:])))
    return f"The circuit has no {name}; it takes: {takes}{where}{ends}."


def _beyond(way: Way) -> tuple[str, ...]:
    """The ports that the parts of a way join, in the order of its joints."""
    own = {stand.item.ref for stand in way.stands}
    ends = (end for joint in way.joints for end in joint.ends)
    return tuple(end for end in ends if end.partition(".")[0] not in own)


def _port_message(closed: Closed) -> str:
    end = _described(OpenEnd(closed.port, closed.closing.socket.face))
    if closed.stands:
        return f"{end} is left open; it takes: {closed.stands[-1].part.name}."
    return f"{end} is left open, and nothing in the catalogue closes it."


def buy(
    part: Component, refs: set[str], length_mm: float | None = None, quantity: int = 1
) -> Stand:
    """A sold part under a ref of its own, which is added to those that are taken."""
    ref = free_ref(slug(part.sku or "part"), refs)
    refs.add(ref)
    cut = length_mm if is_cut(part) or part.kind == "wire" else None
    item = plain_item(ref, part.sku or "", length_mm=cut, quantity=quantity)
    return Stand(item, part, bought=True)


def distinct(ways: Iterable[Way]) -> Iterator[Way]:
    """Ways with different parts; one that is best at several things says so once."""
    by_parts: dict[tuple[str, ...], Way] = {}
    for way in ways:
        skus = tuple(sorted(stand.part.sku or "" for stand in way.stands))
        held = by_parts.get(skus)
        by_parts[skus] = (
            way if held is None else replace(held, best_at=(*held.best_at, *way.best_at))
        )
    yield from by_parts.values()


# Supplies ---------------------------------------------------------------------------------------


def supply_holes(shorts: Sequence[Short], joined: Joined) -> Iterator[Hole]:
    """What is short of seals, clamps and electrical parts, as things that are missing."""
    for number, short in enumerate(shorts, start=1):
        of = ", ".join(short.of)
        missing = Missing(
            id=f"supply-{number}",
            what="supply",
            between=short.of,
            message=f"{short.quantity} x {short.what}, for {of}.",
        )
        if short.part is None:
            lacking = "nothing in the catalogue serves"
            yield Hole(
                missing.model_copy(update={"message": f"{missing.message[:-1]}: {lacking}."}), ()
            )
            continue
        stand = buy(short.part, joined.refs, short.length_mm, short.quantity)
        ref = stand.item.ref
        put_on = tuple(
            Joint(ends=tuple(name.split(" and ")), uses=(ref,))
            for name in short.of
            if " and " in name
        )
        yield Hole(missing, (Way(("fewest-parts",), (stand,), put_on),))


def option_of(way: Way, currency: str | None) -> Option:
    """A way to fill something, as the answer shows it."""
    parts = tuple(_bought_part(stand, currency) for stand in way.stands)
    cents = [_cents(stand, currency) for stand in way.stands]
    total = None if None in cents or currency is None else sum(c for c in cents if c is not None)
    return Option(
        best_at=way.best_at,
        parts=parts,
        joints=way.joints,
        undoes=way.undoes,
        in_place_of=way.in_place_of,
        price=None if total is None or currency is None else _price(total, currency),
        notes=way.notes,
    )


def _bought_part(stand: Stand, currency: str | None) -> BoughtPart:
    cents = _cents(stand, currency)
    length = stand.item.length_mm
    return BoughtPart.model_validate(
        {
            "ref": stand.item.ref,
            "sku": stand.part.sku,
            "name": stand.part.name,
            "quantity": stand.item.quantity,
            "length": None if length is None else {"value": length, "unit": "mm"},
            "line": stand.item.line,
            "price": None if cents is None or currency is None else _price(cents, currency),
        }
    )


def _cents(stand: Stand, currency: str | None) -> int | None:
    """Price of all of a part; nothing where it has none, or is sold by a length nobody knows."""
    part, length_mm = stand.part, stand.item.length_mm
    if part.price is None or part.price.currency != currency:
        return None
    if part.kind in ("bulk-hose", "wire"):
        if length_mm is None:
            return None
        return round(float(part.price.amount) * length_mm / 10.0) * stand.item.quantity
    return costs.price_cents(part, currency) * stand.item.quantity


def _price(cents: int, currency: str) -> Price:
    return Price(amount=f"{cents / 100:.2f}", currency=currency)
