"""From a plan to items and joints: which piece takes which place, and which port which joint."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from rules.assembly import Item, Joint, Outside
from rules.faces import Face, grade
from rules.parts import Component
from rules.routing.chains import SHOP
from rules.routing.fitness import Conditions, Fitness
from rules.routing.layout import Slot, Unit, run_between
from rules.routing.offers import Passage
from rules.routing.pieces import Contents, Lot, free_ref, plain_item, slug
from rules.routing.plan import BRANCH, Closing, Leg, Plan, Socket, aside, port_line, sockets_of
from rules.vocabulary import Line


@dataclass(frozen=True, slots=True)
class Stand:
    """A piece in its place."""

    item: Item
    part: Component
    bought: bool


@dataclass(frozen=True, slots=True)
class Filled:
    """A leg with its pieces.

    Attributes:
        leg: the leg of the plan.
        stands: the pieces of its chain, in the direction of the flow.
        joints: the joints they make, those at both ends included.
        run_mm: distance that the vehicle states for it.
    """

    leg: Leg
    stands: tuple[Stand, ...]
    joints: tuple[Joint, ...]
    run_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Closed:
    """Ports that something ends at, with the pieces and joints; nothing where they stay open."""

    closing: Closing
    port: str
    line: Line
    stands: tuple[Stand, ...]
    joints: tuple[Joint, ...]


@dataclass
class Joined:
    """A plan with refs and ports.

    Attributes:
        nodes: what stands in each slot and unit.
        filled: the legs in the order of the flow.
        closed: what ends at spare ports.
        assumed: ports taken to join the car.
        conditional: joints that seal only under a condition.
        refs: all refs that are taken.
        left: pieces without a place, by lot.
    """

    nodes: dict[str, Stand] = field(default_factory=dict)
    filled: list[Filled] = field(default_factory=list)
    closed: list[Closed] = field(default_factory=list)
    assumed: list[Outside] = field(default_factory=list)
    conditional: list[Joint] = field(default_factory=list)
    refs: set[str] = field(default_factory=set)
    left: dict[tuple[str, ...], list[Item]] = field(default_factory=dict)


UNUSED = "nothing, for this line of the car is not used: close both ends or take it out"
"""What the ends of a line of the car are taken to join where the circuit has no place for it."""

_ANY = Item.model_construct(ref="any")
"""Stands for whichever piece of a lot comes next."""


def join(plan: Plan, contents: Contents, conditions: Conditions) -> Joined:
    """Give each part of a plan its piece, and each joint its ports."""
    return _Joiner(plan, contents, conditions).join()


class _Joiner:
    def __init__(self, plan: Plan, contents: Contents, conditions: Conditions) -> None:
        self.plan = plan
        self.conditions = conditions
        self.contents = contents
        self.joined = Joined(refs=set(contents.probe.items))
        self.left = self.joined.left
        self.left.update({lot.key: list(lot.items) for lot in contents.lots})
        self.ports: dict[tuple[object, ...], list[str]] = {}
        self.chosen: dict[tuple[int, int], Item | None] = {}
        self.places: dict[str, Slot | Unit] = {
            **{slot.id: slot for slot in plan.layout.slots},
            **{unit.id: unit for unit in plan.layout.units},
        }

    def join(self) -> Joined:
        for slot_id, lot in self.plan.stands.items():
            self.stand(slot_id, lot)
        for leg in self.plan.legs:
            place = self.places.get(leg.nodes[1])
            if isinstance(place, Unit):
                self.stand(place.id, place.lot)
        self.keep_for_odd_places()
        self.cut_hoses()
        for leg in self.plan.legs:
            self.fill(leg)
        for closing in sorted(self.plan.closings, key=_closing_order):
            self.close(closing)
        self.leave_lines()
        return self.joined

    def leave_lines(self) -> None:
        """Lines of the car without a place, as the return where the new circuit has none."""
        for lot in self.contents.lots:
            if lot.source == "vehicle" and lot.part.kind == "hard-line" and not lot.settled:
                self.joined.assumed += [
                    Outside(port=f"{item.ref}.{port.id}", to=UNUSED, line=lot.line)
                    for item in self.left[lot.key]
                    for port in lot.flow_ports
                ]

    def stand(self, node: str, lot: Lot) -> None:
        self.joined.nodes[node] = self.take(lot)
        for socket, ports in sockets_of(lot, node).items():
            self.ports[socket.key] = [port.id for port in ports]

    def take(self, lot: Lot) -> Stand:
        """The next piece of a lot; of the shop's a new one."""
        if lot.source == "shop" or not self.left[lot.key]:
            return self.bought(lot, None)
        return Stand(self.left[lot.key].pop(0), lot.part, bought=False)

    def bought(self, lot: Lot, length_mm: float | None) -> Stand:
        ref = free_ref(slug(lot.part.sku or "part"), self.joined.refs)
        self.joined.refs.add(ref)
        cut = length_mm if is_cut(lot.part) else None
        return Stand(plain_item(ref, lot.part.sku or "", length_mm=cut), lot.part, bought=True)

    # Which piece where it is not all one

    def keep_for_odd_places(self) -> None:
        """Where a part does not suit, the cart's own piece goes: none is bought for there."""
        for number, leg in enumerate(self.plan.legs):
            for place, way in enumerate(_passages(leg)):
                left = self.left.get(way.lot.key)
                fitness = self.conditions.fitness(way.lot.part, leg.way.place)
                hose_of_a_run = leg.chain is not None and leg.chain.over == way.lot.key
                if left and fitness is not Fitness.GOOD and not hose_of_a_run:
                    self.chosen[number, place] = left.pop(0)

    def cut_hoses(self) -> None:
        """Choose for each run the shortest hose that is long enough, for the longest run first."""
        wanted: defaultdict[tuple[str, ...], list[tuple[float, int, int]]] = defaultdict(list)
        for number, leg in enumerate(self.plan.legs):
            chain = leg.chain
            run_mm = self.run_of(leg)
            if chain is None or run_mm is None or chain.over in (None, SHOP):
                continue
            place = next(
                index
                for index, way in enumerate(chain.passages)
                if way.lot.key == chain.over and way.is_hose
            )
            wanted[chain.passages[place].lot.key].append((run_mm, number, place))
        lots = {lot.key: lot for lot in self.contents.lots}
        for key, runs in wanted.items():
            for run_mm, number, place in sorted(runs, key=lambda each: (-each[0], each[1:])):
                self.chosen[number, place] = self.shortest(lots[key], run_mm)

    def shortest(self, lot: Lot, run_mm: float) -> Item | None:
        """The shortest piece left that is long enough; nothing where one is to be bought."""
        left = self.left[lot.key]
        enough = [
            (lot.length_of(item) or float("inf"), index)
            for index, item in enumerate(left)
            if (lot.length_of(item) or float("inf")) >= run_mm
        ]
        return left.pop(min(enough)[1]) if enough else None

    @staticmethod
    def cut_to(run_mm: float | None, stand: Stand) -> Stand:
        """A hose of the cart that is still to be cut gets the length of its run."""
        item = stand.item
        if run_mm is None or item.length_mm is not None or not is_cut(stand.part):
            return stand
        cut = item.model_copy(update={"length_mm": run_mm})
        return Stand(cut, stand.part, stand.bought)

    def run_of(self, leg: Leg) -> float | None:
        stations = self.plan.layout.template.stations
        start = self.places.get(leg.nodes[0]) or stations[leg.way.link.start[0]]
        end = self.places.get(leg.nodes[1]) or stations[leg.way.link.end[0]]
        return run_between(self.contents.runs, leg.way.link.line, start, end)

    # Joints

    def fill(self, leg: Leg) -> None:
        if leg.chain is None:
            self.joined.filled.append(Filled(leg, (), ()))
            return
        number = self.plan.legs.index(leg)
        run_mm = self.run_of(leg)
        stands = []
        for place, way in enumerate(leg.chain.passages):
            own = self.chosen.get((number, place), _ANY)
            if own is _ANY:
                stand = self.take(way.lot)
            elif own is None:
                stand = self.bought(way.lot, run_mm)
            else:
                stand = Stand(own, way.lot.part, bought=False)
            stands.append(self.cut_to(run_mm, stand))
        start, end = self.port(leg.start), self.port(leg.end)
        joints = list(self.row(start, leg.chain.passages, stands, end))
        if leg.end is None or leg.start is None:
            self.assume(leg, start, end, stands)
        self.note_conditions(leg, joints)
        self.joined.filled.append(Filled(leg, tuple(stands), tuple(joints), run_mm))

    def port(self, socket: Socket | None) -> str | None:
        """The next free port of a socket, by name."""
        if socket is None:
            return None
        ref = self.joined.nodes[socket.node].item.ref
        return f"{ref}.{self.ports[socket.key].pop(0)}"

    @staticmethod
    def row(
        start: str | None, row: Iterable[Passage], stands: Iterable[Stand], end: str | None
    ) -> Iterator[Joint]:
        before = start
        for way, stand in zip(row, stands, strict=True):
            if before is not None:
                yield Joint(ends=(before, f"{stand.item.ref}.{way.enters}"))
            before = f"{stand.item.ref}.{way.leaves}"
        if before is not None and end is not None:
            yield Joint(ends=(before, end))

    def note_conditions(self, leg: Leg, joints: Iterable[Joint]) -> None:
        for joint, (one, other) in zip(joints, faces_joined(leg), strict=True):
            if grade(one, other) == 1:
                self.joined.conditional.append(joint)

    def assume(self, leg: Leg, start: str | None, end: str | None, stands: list[Stand]) -> None:
        """The free end of a way to the car joins it, which the caller may have said already."""
        assert leg.chain is not None
        assert leg.way.car is not None
        row = leg.chain.passages
        if leg.end is None:
            last = f"{stands[-1].item.ref}.{row[-1].leaves}" if stands else start
        else:
            last = f"{stands[0].item.ref}.{row[0].enters}" if stands else end
        if last is not None and last not in self.contents.probe.outside:
            self.joined.assumed.append(
                Outside(
                    port=last,
                    to=leg.way.car,
                    line=leg.way.link.line,
                    flow="out" if leg.end is None else "in",
                )
            )

    # Spare ports

    def close(self, closing: Closing) -> None:
        for _ in range(closing.count):
            port, line = self.spare_port(closing.socket)
            stands: list[Stand] = []
            joints: list[Joint] = []
            if closing.lot is not None:
                row = closing.chain.passages if closing.chain else ()
                for way in row:
                    shop = way.lot.source == "shop"
                    stands.append(self.bought(way.lot, None) if shop else self.take(way.lot))
                tip = self.take(closing.lot)
                if tip.part.kind == "cap" and tip.item.line is None:
                    tip = Stand(tip.item.model_copy(update={"line": line}), tip.part, tip.bought)
                tip_port = _tip_port(closing, row[-1] if row else None)
                joints = list(self.row(port, row, stands, f"{tip.item.ref}.{tip_port}"))
                stands.append(tip)
            self.joined.closed.append(Closed(closing, port, line, tuple(stands), tuple(joints)))

    def spare_port(self, socket: Socket) -> tuple[str, Line]:
        if socket.node in self.places:
            ref = self.joined.nodes[socket.node].item.ref
            port_id = self.ports[socket.key].pop(0)
            station = self.places[socket.node].station
            return f"{ref}.{port_id}", port_line(
                station, socket.lot.part, port_id, self.plan.layout
            )
        return self.side_port(socket)

    def side_port(self, socket: Socket) -> tuple[str, Line]:
        """A port that a chain has left aside, on the first part that has one."""
        taken = {closed.port for closed in self.joined.closed}
        for row, stands, line in self.rows(socket.node):
            for way, stand in zip(row, stands, strict=False):
                if way.lot is not socket.lot:
                    continue
                for port in sockets_of(socket.lot, socket.node)[socket]:
                    name = f"{stand.item.ref}.{port.id}"
                    if port.id not in (way.enters, way.leaves) and name not in taken:
                        return name, line
        raise AssertionError(socket)  # the ledger counts no more than there are

    def rows(self, node: str) -> Iterator[tuple[tuple[Passage, ...], tuple[Stand, ...], Line]]:
        """The chains that leave ports aside for a node, with their pieces and their line."""
        for filled in self.joined.filled:
            line = filled.leg.way.link.line
            if node == aside(line):
                yield _passages(filled.leg), filled.stands, line
        for closed in self.joined.closed:
            if closed.closing.chain is not None and node == BRANCH:
                yield closed.closing.chain.passages, closed.stands, closed.line


def faces_joined(leg: Leg) -> list[tuple[Face, Face]]:
    """The two faces of each joint of a filled leg, in the direction of the flow."""
    assert leg.chain is not None
    faces = [leg.start.face if leg.start else None]
    for way in leg.chain.passages:
        faces += [way.entry, way.exit]
    faces.append(leg.end.face if leg.end else None)
    return [
        (one, other)
        for one, other in zip(faces[::2], faces[1::2], strict=True)
        if one is not None and other is not None
    ]


def _passages(leg: Leg) -> tuple[Passage, ...]:
    return leg.chain.passages if leg.chain else ()


def is_cut(part: Component) -> bool:
    """Whether a hose or line gets its length when it is ordered."""
    flexible = part.kind in ("hose-assembly", "bulk-hose")
    return flexible and getattr(part.spec, "length_mm", None) is None


def _closing_order(closing: Closing) -> tuple[object, ...]:
    """Branches first, for their adapters may have ports to close; then by name."""
    lot = closing.lot.key if closing.lot else ("", "")
    socket = closing.socket
    return (closing.unit is None, socket.node, socket.lot.key, socket.role, lot)


def _tip_port(closing: Closing, last: Passage | None) -> str:
    """The port of what closes a socket that joins it, or the adapter before it."""
    assert closing.lot is not None
    before = closing.socket.face if last is None else last.exit
    graded = [
        (how, index, port)
        for index, (port, face) in enumerate(closing.lot.faces.items())
        if (how := grade(before, face)) is not None
    ]
    return min(graded)[2]
