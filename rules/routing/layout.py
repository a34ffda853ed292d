"""A template laid out over the parts of a cart: the slots there are, and the ways between them."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from rules.assembly import Run
from rules.cart import Cart
from rules.parts import Component
from rules.routing.fitness import Conditions, Place
from rules.routing.pieces import GROUPED, Contents, Lot
from rules.routing.sizing import Choice, Sizing, seat_count
from rules.routing.template import Link, Station, Template
from rules.vocabulary import Line

_SIDE_ROLES = frozenset({"vent", "sense", "drive"})


@dataclass(frozen=True, eq=False)
class Slot:
    """One place for a part.

    Attributes:
        id: station, numbered where the station stands several times.
        station: what may stand there.
        lots: the pieces of cart and vehicle that may.
        choice: where there are none, what could be bought.
        second_best: of several lots those that are not known to do for this engine, by key.
    """

    id: str
    station: Station
    lots: tuple[Lot, ...]
    choice: Choice
    second_best: frozenset[tuple[str, ...]] = frozenset()

    @cached_property
    def candidates(self) -> tuple[Lot, ...]:
        """All that may stand here, the cart's own first."""
        return self.lots or self.choice.lots


@dataclass(frozen=True, eq=False)
class Unit:
    """A piece of the cart or the vehicle that sits in a link or at a spare port."""

    id: str
    station: Station
    lot: Lot
    bought: bool = False


@dataclass(frozen=True, eq=False)
class Way:
    """The way from one slot's port to another's, or to a part of the car.

    Attributes:
        id: link, numbered where the template's link stands several times.
        link: the template's link.
        start: slot it comes from; `None` for the car's part.
        end: slot it goes to; `None` for the car's part.
        car: what the car's part is, in words.
        units: pieces that may sit in it.
    """

    id: str
    link: Link
    start: Slot | None
    end: Slot | None
    car: str | None
    units: tuple[Unit, ...]

    @property
    def place(self) -> Place:
        """Where it lies."""
        return Place(self.link.line, self.link.inside_tank)


@dataclass(frozen=True, eq=False)
class Layout:
    """A template over a cart.

    Attributes:
        template: the template.
        slots: in its order.
        ways: in its order.
        units: pieces for links, whichever they may sit in.
        branches: pieces that end at spare ports.
        seats: for each slot of rails, the group station whose pieces it seats.
        missing: stations that nothing can fill, with what must be said first.
    """

    template: Template
    slots: tuple[Slot, ...]
    ways: tuple[Way, ...]
    units: tuple[Unit, ...]
    branches: tuple[Unit, ...]
    seats: Mapping[str, Station]

    @cached_property
    def least_unfilled(self) -> int:
        """Links that must stay open whatever is bought: parts have too few ports for them."""
        return sum(
            min((self._ports_short(slot, lot) for lot in slot.lots), default=0)
            for slot in self.slots
        )

    @cached_property
    def least_bought(self) -> int:
        """Stations for which the cart has nothing."""
        return sum(not slot.lots for slot in self.slots)

    def line_of(self, station: Station) -> Line:
        """The line a station is in: the feed where it touches it, for that asks the most."""
        lines = [
            link.line
            for link in self.template.links
            if station.id in (link.start[0], link.end[0], *link.holds)
        ]
        return "feed" if "feed" in lines or not lines else lines[0]

    def _ports_short(self, slot: Slot, lot: Lot) -> int:
        wanted = [
            frozenset(port.id for port in slot.station.ports_of(lot.part, name))
            for way in self.ways
            for end, (_, name) in ((way.start, way.link.start), (way.end, way.link.end))
            if end is slot and not is_side_port(slot.station, name)
        ]
        return len(wanted) - _matched(wanted)


def _matched(wanted: Sequence[frozenset[str]]) -> int:
    """How many of the wishes for one of some ports can be met at once."""
    given: dict[str, int] = {}

    def place(wish: int, tried: set[str]) -> bool:
        for port in sorted(wanted[wish] - tried):
            tried.add(port)
            if port not in given or place(given[port], tried):
                given[port] = wish
                return True
        return False

    return sum(place(wish, set()) for wish in range(len(wanted)))


def lay_out(
    template: Template,
    cart: Cart,
    contents: Contents,
    conditions: Conditions,
    sizing: Sizing,
    *,
    recommended: bool,
) -> Layout:
    """Lay a template out over the pieces of a cart.

    Args:
        template: the circuit.
        cart: the cart.
        contents: its pieces.
        conditions: what they must bear.
        sizing: chooses what could be bought.
        recommended: whether what is only recommended is to be bought as well.
    """
    planner = _Planner(template, cart, contents, conditions, sizing, recommended=recommended)
    return planner.layout()


@dataclass(frozen=True, slots=True)
class _Place:
    """A place of a station: for a part of the cart or the vehicle, or for one to be bought.

    Of a rail that is to be bought `count` says how many injectors it should seat.
    """

    of_cart: bool
    count: int | None = None


class _Planner:
    def __init__(
        self,
        template: Template,
        cart: Cart,
        contents: Contents,
        conditions: Conditions,
        sizing: Sizing,
        *,
        recommended: bool,
    ) -> None:
        self.recommended = recommended
        self.template = template
        self.cart = cart
        self.contents = contents
        self.conditions = conditions
        self.sizing = sizing

    def layout(self) -> Layout:
        slots = {
            station.id: tuple(self.slots(station))
            for station in self.template.stations.values()
            if not _is_group(station)
        }
        units = tuple(self.units())
        return Layout(
            template=self.template,
            slots=tuple(slot for each in slots.values() for slot in each),
            ways=tuple(
                way for link in self.template.links for way in self.ways(link, slots, units)
            ),
            units=units,
            branches=tuple(self.branches()),
            seats=self.seats(slots),
        )

    # Slots

    def slots(self, station: Station) -> Iterator[Slot]:
        lots = self.lots_for(station)
        kept = station.id in self.cart.keeps or (station.beside in self.cart.keeps and not lots)
        if kept:
            return
        if not lots and not self.is_wanted(station):
            return
        places = self.places(station, lots)
        for number, seats in enumerate(places, start=1):
            slot_id = station.id if len(places) == 1 else f"{station.id}-{number}"
            own = lots if seats.of_cart else ()
            choice = Choice(())
            if not own and station.presence != "car":
                choice = self.sizing.choice(station, self.place_of(station), seats.count)
            second_best = frozenset(
                lot.key for lot in own if len(own) > 1 and not self.sizing.suits(lot.part)
            )
            yield Slot(slot_id, station, own, choice, second_best)

    def lots_for(self, station: Station) -> tuple[Lot, ...]:
        found = [
            lot
            for lot in self.contents.lots
            if station.takes(lot.part)
            and (lot.source == "vehicle" or not station.of_vehicle)
            and any(station.ports_of(lot.part, name) for name in station.ports)
        ]
        own = [lot for lot in found if lot.source == "cart"]
        # What the cart brings takes the place of the vehicle's own part.
        return tuple(own or found)

    def places(self, station: Station, lots: Sequence[Lot]) -> list[_Place]:
        """One entry for each place that the station has here."""
        here = _Place(of_cart=bool(lots))
        if station.beside is not None:
            other = self.template.stations[station.beside]
            return [here] * len(self.places(other, self.lots_for(other)))
        if station.repeat == "parallel":
            pieces = sum(lot.count for lot in lots)
            return [here] * max(1, min(pieces, self.room_for(station)))
        if station.repeat == "series":
            return self.rails(lots)
        return [here]

    def room_for(self, station: Station) -> int:
        """How many of a parallel station the part next to it has ports for."""
        rooms = []
        for link in self.template.links:
            ends = (link.start, link.end)
            for near, far in (ends, ends[::-1]):
                if near[0] != station.id:
                    continue
                other = self.template.stations[far[0]]
                if other.beside == station.id:
                    continue
                ports = [len(other.ports_of(lot.part, far[1])) for lot in self.lots_for(other)]
                rooms.append(max(ports, default=1))
        return min(rooms, default=1)

    def rails(self, lots: Sequence[Lot]) -> list[_Place]:
        """A place for each rail of the cart as far as injectors are wanted, and for what lacks."""
        wanted = self.injectors_wanted()
        counts = sorted(
            (seat_count(lot.part) for lot in lots for _ in range(lot.count)), reverse=True
        )
        if wanted is None or 0 in counts:
            return [_Place(of_cart=bool(lots))] * max(1, len(counts))
        found: list[_Place] = []
        for seats in counts:
            if seats <= wanted or not found:
                found.append(_Place(of_cart=True))
                wanted -= seats
        if wanted > 0:
            found.append(_Place(of_cart=False, count=wanted))
        return found

    def injectors_wanted(self) -> int | None:
        """How many injectors the engine takes: one a cylinder, or as many as the cart has."""
        cylinders = self.cart.application.cylinders
        if cylinders is not None:
            return cylinders
        held = [item.item.quantity for item in self.contents.groups if item.kind == "injector"]
        return sum(held) or None

    def place_of(self, station: Station) -> Place:
        """Where a station lies: with the feed where it touches it, as the strictest."""
        lines = [
            link.line for link in self.template.links if station.id in (link.start[0], link.end[0])
        ]
        return Place("feed" if "feed" in lines else lines[0] if lines else "feed")

    # Ways

    def ways(
        self, link: Link, slots: Mapping[str, tuple[Slot, ...]], units: Iterable[Unit]
    ) -> Iterator[Way]:
        stations = self.template.stations
        first, last = stations[link.start[0]], stations[link.end[0]]
        if _is_group(first) or _is_group(last):
            return
        held = tuple(
            unit
            for unit in units
            if unit.station.id in link.holds and unit.lot.line in (None, link.line)
        )
        pairs = list(self.pairs(first, last, slots))
        for number, (start, end) in enumerate(pairs, start=1):
            car = self.car_of(first if start is None else last, start, end)
            if (start is None or end is None) and (car is None or not self.matters(link)):
                continue
            way_id = link.id if len(pairs) == 1 else f"{link.id}-{number}"
            yield Way(way_id, link, start, end, car, held)

    def pairs(
        self, first: Station, last: Station, slots: Mapping[str, tuple[Slot, ...]]
    ) -> Iterator[tuple[Slot | None, Slot | None]]:
        starts: Sequence[Slot | None] = slots[first.id] or (None,)
        ends: Sequence[Slot | None] = slots[last.id] or (None,)
        if first.id == last.id:
            yield from itertools.pairwise(starts)
            return
        if first.repeat == "series":
            starts = starts[-1:]
        if last.repeat == "series":
            ends = ends[:1]
        if len(starts) == len(ends):
            yield from zip(starts, ends, strict=True)
        else:
            yield from ((start, end) for start in starts for end in ends)

    def car_of(self, absent: Station, start: Slot | None, end: Slot | None) -> str | None:
        """What the car has at the end of a way, where the list holds nothing there."""
        if start is None and end is None:
            return None
        if absent.id in self.cart.keeps:
            return absent.car or f"{absent.id.replace('-', ' ')} of the car"
        return absent.car

    def matters(self, link: Link) -> bool:
        return link.car_when is None or self.conditions.meets(link.car_when)

    # What sits in links and at spare ports

    def units(self) -> Iterator[Unit]:
        for station in self.template.inline.values():
            lots = [
                lot
                for lot in self.contents.lots
                if station.takes(lot.part)
                and len(lot.flow_ports) > 1
                and (lot.source == "vehicle") == station.of_vehicle
            ]
            yield from self.pieces(station, lots)
            if not lots and self.is_wanted(station):
                choice = self.sizing.choice(station, place_in_links(self.template, station))
                yield from (
                    Unit(f"{station.id}:{'/'.join(lot.key)}", station, lot, bought=True)
                    for lot in choice.lots
                )

    def is_wanted(self, station: Station) -> bool:
        if station.id in self.cart.keeps:
            return False
        return station.required or (self.recommended and is_recommended(station, self.conditions))

    def branches(self) -> Iterator[Unit]:
        for station in self.template.branches.values():
            lots = [
                lot
                for lot in self.contents.lots
                if lot.source == "cart"
                and not lot.ends_there
                and station.takes(lot.part)
                and len(station.ports_of(lot.part, "port")) == 1
                and len(lot.flow_ports) < 2
            ]
            yield from self.pieces(station, lots)

    @staticmethod
    def pieces(station: Station, lots: Iterable[Lot]) -> Iterator[Unit]:
        for lot in lots:
            for number in range(1, lot.count + 1):
                yield Unit(f"{station.id}:{'/'.join(lot.key)}#{number}", station, lot)

    def seats(self, slots: Mapping[str, tuple[Slot, ...]]) -> Mapping[str, Station]:
        found = {}
        for link in self.template.links:
            group = self.template.stations[link.end[0]]
            if _is_group(group) and group.id not in self.cart.keeps:
                found.update({slot.id: group for slot in slots.get(link.start[0], ())})
        return found


def is_recommended(station: Station, conditions: Conditions) -> bool:
    """Whether a circuit goes together without a station and is the better for one."""
    when = station.needed_when
    return not station.required and when is not None and conditions.meets(when)


def place_in_links(template: Template, station: Station) -> Place:
    """Where an inline station lies: in the feed where a link of it may hold it."""
    lines = [link.line for link in template.links if station.id in link.holds]
    return Place("feed" if "feed" in lines else lines[0])


def _is_group(station: Station) -> bool:
    return all(kind in GROUPED for kind in station.kinds)


def is_side_port(station: Station, name: str) -> bool:
    """Whether a part may do without this port: vents, references and drives are not on all."""
    return all(role in _SIDE_ROLES for selector in station.ports[name] for role in selector.roles)


def run_between(
    runs: Iterable[Run],
    line: Line,
    start: Slot | Unit | Station | None,
    end: Slot | Unit | Station | None,
) -> float | None:
    """Length of the vehicle's run between two places, found by the names they are called by.

    A run of the reference is for the reference line alone, one of fuel for every other line.
    """
    of = "reference" if line == "reference" else "fuel"
    for run in runs:
        if run.of != of:
            continue
        first, _, last = run.name.casefold().partition(" to ")
        for one, other in ((start, end), (end, start)):
            if _is_called(one, first) and _is_called(other, last):
                return run.length_mm
    return None


def _is_called(place: Slot | Unit | Station | None, name: str) -> bool:
    if place is None:
        return False
    if isinstance(place, Unit) and place.lot.source == "vehicle":
        # The runs speak of the car's own parts by their names: of `car-feed-line` as `feed line`.
        own_name = place.lot.items[0].ref.replace("-", " ").replace("_", " ")
        return f" {own_name}".endswith(f" {name}")
    station = place if isinstance(place, Station) else place.station
    return name in station.called


def takes_kind(template: Template, part: Component) -> bool:
    """Whether a template has a place for a part of this kind and specification."""
    stations = (*template.stations.values(), *template.inline.values(), *template.branches.values())
    return any(station.takes(part) for station in stations)
