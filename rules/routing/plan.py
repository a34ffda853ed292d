"""The plan: which part stands in which slot, what fills each way, and what stays open.

Everything is put into one integer programme. A *socket* is a place on a part where something may
join: ports that join alike and do alike. Each socket of a part that is used has a ledger: what
joins it, what closes it, what stays open.
"""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeAlias, get_args

from rules.faces import Face, grade
from rules.parts import Component, Port
from rules.routing import costs
from rules.routing.chains import Chain, ChainFinder, Span
from rules.routing.fitness import Conditions, Fitness, Place
from rules.routing.layout import Layout, Slot, Unit, Way, is_side_port, run_between
from rules.routing.offers import Offers
from rules.routing.pieces import CONDUITS, FLOW_ROLES, Contents, Lot
from rules.routing.programme import Programme, Solved
from rules.routing.template import Station
from rules.vocabulary import Line, Role

UNFILLED, COMPROMISES, BOUGHT, LEFT_OVER, MISPLACED, PRICE, DROP = range(7)
"""What is made small, in this order:

0. links and ports left open, stations left empty, and stations' parts without a place;
1. joints that seal only under a condition, and bought parts that bring a caution;
2. parts to buy;
3. hoses, adapters and caps of the cart that are left over;
4. parts of the cart in a line they do not suit or that do not do for the engine, and lines of the
   car off the runs it states;
5. price of all that is used, in cents;
6. drop, by its proxy.
"""

Aims = tuple[int, ...]

BRANCH = "@branch"
"""Node of the ports that chains to branches leave aside: no branch may begin there."""

_MOST_MORE = 50


def aside(line: Line) -> str:
    """Node of the ports that the chains of a line leave aside."""
    return f"@{line}"


@dataclass(frozen=True, slots=True)
class Socket:
    """Equal ports of a part in its place.

    `node` is a slot or a unit; for ports that chains leave aside it is the line the chains are in
    (`aside`), for those of branches `BRANCH`.
    """

    node: str
    lot: Lot
    face: Face
    role: Role
    submerged: bool | None

    @property
    def key(self) -> tuple[object, ...]:
        """What the ledger is kept by."""
        return (self.node, self.lot.key, self.face, self.role, self.submerged)


@dataclass(frozen=True, slots=True)
class Leg:
    """A stretch of a way, from one part in its place to the next.

    Attributes:
        way: the way it is part of.
        start: where it leaves; `None` at the car.
        end: where it arrives; `None` at the car.
        chain: what fills it; `None` where nothing does.
        absent: whether there is nothing to fill, for the part has no such port.
    """

    way: Way
    start: Socket | None
    end: Socket | None
    chain: Chain | None
    nodes: tuple[str, str]
    absent: bool = False


@dataclass(frozen=True, slots=True)
class Closing:
    """A socket closed by a cap or by a part that ends there.

    Attributes:
        socket: what is closed.
        lot: the cap, sensor or damper; `None` where nothing closes it.
        chain: parts between the two.
        count: how many ports of the socket.
        unit: the piece of a branch, where it is one.
    """

    socket: Socket
    lot: Lot | None
    chain: Chain | None
    count: int
    unit: Unit | None = None


Finders: TypeAlias = dict[Hashable, ChainFinder]


@dataclass
class Plan:
    """A solved layout.

    Attributes:
        layout: what was laid out.
        stands: the lot that stands in each slot.
        legs: what fills the ways, in their order.
        closings: what closes the ports that no way takes.
        empty: slots in which nothing stands.
        strays: pieces of the cart or the vehicle without a place, by lot key.
        aims: what each aim comes to.
        proved: whether nothing is better.
    """

    layout: Layout
    stands: dict[str, Lot] = field(default_factory=dict)
    legs: list[Leg] = field(default_factory=list)
    closings: list[Closing] = field(default_factory=list)
    empty: list[Slot] = field(default_factory=list)
    missing_units: list[Station] = field(default_factory=list)
    strays: Counter[tuple[str, ...]] = field(default_factory=Counter)
    aims: Aims = ()
    proved: bool = True


def sockets_of(lot: Lot, node: str) -> dict[Socket, tuple[Port, ...]]:
    """The sockets of a part in a place, each with its ports in the part's order."""
    found: defaultdict[Socket, list[Port]] = defaultdict(list)
    for port in lot.part.ports:
        if port.id not in lot.taken:
            face = lot.faces[port.id]
            found[Socket(node, lot, face, port.role, port.submerged)].append(port)
    return {socket: tuple(ports) for socket, ports in found.items()}


class Solver:
    """Finds the best plans of the layouts of one cart; chains once found serve them all."""

    def __init__(self, contents: Contents, conditions: Conditions, offers: Offers) -> None:
        self._contents = contents
        self._conditions = conditions
        self._offers = offers
        self._finders: Finders = {}

    def solve(self, layout: Layout, *, buying: bool) -> Plan | None:
        """The best plan of a layout.

        Without buying only a plan that nothing could be added to is given, else `None`: whatever
        is bought could not make it better.
        """
        if not buying:
            builder = self._builder(layout, 0)
            return builder.solved({**builder.hoped, BOUGHT: 0})
        # One bought part in a row is nearly always enough, and such rows are few.
        builder = self._builder(layout, 1)
        plan = builder.solved(builder.hoped)
        most = None if plan is None else builder.most_bought_in_a_row(plan)
        if plan is not None and most is not None and most <= 1:
            return plan
        complete = builder.complete
        builder = self._builder(layout, most)
        plan = builder.solved(builder.hoped) or builder.solved({})
        if plan is not None:
            plan.proved = plan.proved and complete
        return plan

    def _builder(self, layout: Layout, most_bought: int | None) -> _Builder:
        return _Builder(
            layout, self._contents, self._conditions, self._offers, self._finders, most_bought
        )


class _Builder:
    def __init__(
        self,
        layout: Layout,
        contents: Contents,
        conditions: Conditions,
        offers: Offers,
        finders: Finders,
        most_bought: int | None,
    ) -> None:
        self.layout = layout
        self.contents = contents
        self.conditions = conditions
        self.offers = offers
        self.buying = most_bought != 0
        self.most_bought = most_bought
        self.programme = Programme(aims=7)
        self.payload: dict[int, Leg | Closing | tuple[Slot, Lot] | Slot | Station] = {}
        self.stray_of: dict[int, Lot] = {}
        self.waiting: set[int] = set()
        self.standing: dict[tuple[str, tuple[str, ...]], int] = {}
        self.more_of: dict[tuple[str, ...], int] = {}
        self.with_bought: list[int] = []
        self.left_open: dict[int, int] = {}
        self.finders = finders
        self.asked: set[ChainFinder] = set()
        self.ledgers: dict[tuple[object, ...], Socket] = {}
        self.nodes: dict[str, Slot | Unit] = {
            **{slot.id: slot for slot in layout.slots},
            **{unit.id: unit for unit in layout.units},
        }
        self.build()

    def build(self) -> None:
        self.capacities()
        for slot in self.layout.slots:
            self.slot(slot)
        for unit in self.layout.units:
            self.unit(unit)
        for way in self.layout.ways:
            self.way(way)
        for unit in self.layout.branches:
            self.branch(unit)
        for socket in list(self.ledgers.values()):
            self.closings(socket)

    # Solving

    @cached_property
    def hoped(self) -> Mapping[int, int]:
        """What is hoped for makes the programme small; most carts have it."""
        return {UNFILLED: self.unavoidable, COMPROMISES: 0}

    @property
    def complete(self) -> bool:
        """Whether all chains were looked at."""
        return all(finder.complete for finder in self.asked)

    def solved(self, ceilings: Mapping[int, int]) -> Plan | None:
        solved = self.programme.solve(ceilings)
        return None if solved is None else self.plan(solved)

    def most_bought_in_a_row(self, plan: Plan) -> int:
        """How many bought parts a row may have at most in a plan that is no worse than this one.

        Take from any plan the rows with bought parts and those that use more pieces than there are:
        each leaves one link open, or one piece out. So there are at least as many such rows as more
        is open where nothing is bought for rows, and each of them buys at least one part.
        """
        bought = plan.aims[BOUGHT]
        if bought <= 1:
            return bought
        off = dict.fromkeys((*self.with_bought, *self.more_of.values()), 0)
        open_without = self.programme.least(UNFILLED, {**off, **self.left_open})
        rows = open_without - self.unavoidable
        return bought - max(0, rows - 1)

    # Pieces

    @cached_property
    def must_place(self) -> frozenset[tuple[str, ...]]:
        """Lots of which each piece without a place counts against the plan."""
        inline = {unit.lot.key for way in self.layout.ways for unit in way.units}
        return frozenset(
            lot.key
            for lot in self.contents.lots
            if not lot.ends_there
            and (
                lot.settled
                or (lot.source == "vehicle" and lot.key in inline)
                or (lot.source == "cart" and lot.part.kind not in CONDUITS | {"cap"})
            )
        )

    def capacities(self) -> None:
        for lot in self.contents.lots:
            name = ("lot", lot.key)
            self.programme.row(name, least=lot.count, most=lot.count)
            spare = lot.source == "cart" and not lot.ends_there
            cost = (1,) if lot.key in self.must_place else (0, 0, 0, int(spare))
            stray = self.programme.variable(cost, most=lot.count)
            self.programme.term(name, stray)
            self.stray_of[stray] = lot
            if self.buying and lot.more_can_be_bought and lot.part.kind in CONDUITS:
                self.more(lot)

    def more(self, lot: Lot) -> None:
        """Pieces of a lot to be bought, beside those of the cart."""
        seals, cents = self.offers.seals_of(lot.part)
        variable = self.programme.variable((0, 0, 1 + seals, 0, 0, cents), most=_MOST_MORE)
        self.programme.term(("lot", lot.key), variable, -1)
        self.more_of[lot.key] = variable
        # What is bought is bought for places it is good for.
        self.programme.row(("own", lot.key), most=lot.count)

    @cached_property
    def unavoidable(self) -> int:
        """Pieces that no plan has a place for: more of a kind than its stations take."""
        takers: dict[tuple[str, ...], set[str]] = defaultdict(set)
        for slot in self.layout.slots:
            for lot in slot.lots:
                takers[lot.key].add(slot.id)
        free = {unit.lot.key for unit in (*self.layout.units, *self.layout.branches)}
        counts = {
            lot.key: lot.count
            for lot in self.contents.lots
            if lot.key in self.must_place and lot.key not in free and not lot.settled
        }
        return sum(
            max(0, sum(counts[key] for key in keys) - len(slots))
            for keys, slots in _components({key: takers[key] for key in counts})
        )

    def use(self, variable: int, lot: Lot, pieces: int = 1) -> None:
        name = ("lot", lot.key)
        if lot.source != "shop" and self.programme.has_row(name):
            self.programme.term(name, variable, pieces)

    def uses(self, variable: int, chain: Chain, place: Place, node: str) -> None:
        counted = Counter(way.lot.key for way in chain.passages if way.lot.source != "shop")
        for key, pieces in counted.items():
            self.programme.term(("lot", key), variable, pieces)
            fitness = self.conditions.fitness(self.lots[key].part, place)
            if key in self.more_of and fitness is not Fitness.GOOD:
                self.programme.term(("own", key), variable, pieces)
        for passage in chain.passages:
            self.side_ports(variable, passage.lot, {passage.enters, passage.leaves}, node)

    # Slots and units

    def slot(self, slot: Slot) -> None:
        name = ("slot", slot.id)
        self.programme.row(name, least=1, most=1)
        empty = self.programme.variable((1,))
        self.programme.term(name, empty)
        self.payload[empty] = slot
        place = Place(_line_of(slot.station, self.layout))
        for lot in slot.candidates if self.buying else slot.lots:
            cost = self.station_cost(lot, place, second_best=lot.key in slot.second_best)
            variable = self.programme.variable(cost)
            self.programme.term(name, variable)
            self.use(variable, lot)
            self.payload[variable] = (slot, lot)
            self.standing[slot.id, lot.key] = variable
            self.open_ledgers(slot.id, lot, variable)

    def station_cost(self, lot: Lot, place: Place, *, second_best: bool = False) -> Aims:
        if lot.source == "vehicle":
            return ()
        price = costs.price_cents(lot.part, self.offers.currency)
        drop = costs.drop(lot.part, None)
        if lot.source == "shop":
            seals, cents = self.offers.seals_of(lot.part)
            return (0, 0, 1 + seals, 0, 0, price + cents, drop)
        unfit = self.conditions.fitness(lot.part, place) is not Fitness.GOOD
        return (0, 0, 0, 0, int(unfit) + int(second_best), price, drop)

    def open_ledgers(self, node: str, lot: Lot, variable: int) -> None:
        """A ledger for each socket of a part, which is in force where the part is there."""
        for socket, ports in sockets_of(lot, node).items():
            closed = _must_be_closed(socket)
            self.programme.row(socket.key, least=0 if closed else -len(ports), most=0)
            self.programme.term(socket.key, variable, -len(ports))
            self.ledgers[socket.key] = socket

    def side_ports(self, variable: int, lot: Lot, used: Iterable[str], node: str) -> None:
        """Ledgers of the ports that a chain leaves aside, such as the gauge port of a tee."""
        if len(lot.flow_ports) == 2:
            return
        for socket, ports in sockets_of(lot, node).items():
            left = [port for port in ports if port.id not in used]
            if not left or not _must_be_closed(socket):
                continue
            if socket.key not in self.ledgers:
                self.programme.row(socket.key, least=0, most=0)
                self.ledgers[socket.key] = socket
            self.programme.term(socket.key, variable, -len(left))

    def unit(self, unit: Unit) -> None:
        """A piece in a link: it is entered as often as it is left, and once at most."""
        self.programme.row(("unit", unit.id), most=1)
        if unit.bought:
            name = ("needed", unit.station.id)
            if not self.programme.has_row(name):
                self.programme.row(name, least=1, most=1)
                missing = self.programme.variable((1,))
                self.programme.term(name, missing)
                self.payload[missing] = unit.station

    # Ways

    def way(self, way: Way) -> None:
        name = ("way", way.id)
        units = [unit for unit in way.units if self.buying or not unit.bought]
        for edge in ("leaves", "arrives"):
            self.programme.row((*name, edge), least=1, most=1)
        for unit in units:
            self.programme.row((*name, unit.id), least=0, most=0)
            self.programme.row((*name, "one", unit.station.id), most=1)
        for start, end in itertools.product((way.start, *units), (way.end, *units)):
            if start is None or end is None or start is not end:
                self.leg(way, start, end, bool(units))
        if units and way.link.by == "hose":
            self.hose(way)

    def hose(self, way: Way) -> None:
        """Somewhere in a way between stations that stand apart there is a hose."""
        name = ("way", way.id, "hose")
        self.programme.row(name, least=1)
        for variable, payload in self.payload.items():
            if isinstance(payload, Leg) and payload.way is way:
                chain = payload.chain
                if chain is None or chain.has_hose:
                    self.programme.term(name, variable)

    def leg(
        self, way: Way, start: Slot | Unit | None, end: Slot | Unit | None, several: bool
    ) -> None:
        span = self.span(way, start, end, several)
        nodes = (start.id if start else "", end.id if end else "")
        if not (isinstance(start, Unit) and isinstance(end, Unit)):
            gap = self.programme.variable((1,))
            self.add_leg(Leg(way, None, None, None, nodes), gap)
            self.wait(way, start, gap, leaving=True)
            self.wait(way, end, gap, leaving=False)
        elif self.buying:
            gap = self.programme.variable((1,), most=0)
            self.add_leg(Leg(way, None, None, None, nodes), gap)
            self.left_open[gap] = 1
        if self.absent(way, start, end, nodes):
            return
        finder = self.finder(span)
        for leaves in self.sockets(way, start, leaving=True):
            for arrives in self.sockets(way, end, leaving=False):
                if leaves is not None and arrives is not None:
                    chains = finder.chains(leaves.face, arrives.face)
                elif leaves is not None:
                    chains = finder.chains_to_car(leaves.face, by_hose=way.link.by == "hose")
                elif arrives is not None:
                    against = self.finder(span, backwards=True)
                    chains = against.chains_to_car(arrives.face, by_hose=way.link.by == "hose")
                else:
                    continue
                for chain in chains:
                    self.filled(Leg(way, leaves, arrives, chain, nodes))

    def wait(self, way: Way, node: Slot | Unit | None, gap: int, *, leaving: bool) -> None:
        """The ports at the ends of a link that stays open wait for it: nothing is to close them."""
        name = ("waits", way.id, "" if node is None else node.id, leaving)
        if not self.programme.has_row(name):
            self.programme.row(name, most=0)
            for socket in self.sockets(way, node, leaving=leaving):
                if socket is None or socket.face.pin is not None:
                    continue
                if socket.key not in self.ledgers:
                    self.open_unit(socket)
                waiting = self.programme.variable()
                self.programme.term(name, waiting)
                self.programme.term(socket.key, waiting)
                self.waiting.add(waiting)
        self.programme.term(name, gap, -1)

    def span(
        self, way: Way, start: Slot | Unit | None, end: Slot | Unit | None, several: bool
    ) -> Span:
        run_mm = self.run_between(way, start, end)
        by_hose = way.link.by == "hose"
        return Span(
            place=way.place,
            run_mm=run_mm,
            mounts=way.link.mounts,
            needs_hose=by_hose and not several,
            hose_counts=by_hose and several,
        )

    def station(self, station_id: str) -> Station:
        return self.layout.template.stations[station_id]

    def finder(self, span: Span, *, backwards: bool = False) -> ChainFinder:
        conduits = tuple(lot.key for lot in self.conduits)
        key = (span, backwards, self.most_bought, conduits)
        found = self.finders.get(key)
        if found is None:
            bridges = None
            if self.buying:
                bridges = self.offers.bridges(
                    self.conditions, span.place, span.run_mm, "fewest-parts"
                )
            found = self.finders[key] = ChainFinder(
                self.conduits,
                span,
                self.conditions,
                self.offers.currency,
                bridges=bridges,
                most_bought=self.most_bought if self.buying else None,
                backwards=backwards,
            )
        self.asked.add(found)
        return found

    @cached_property
    def conduits(self) -> list[Lot]:
        inline = {unit.lot.key for unit in self.layout.units}
        return [
            lot
            for lot in self.contents.lots
            if lot.part.kind in CONDUITS and lot.key not in inline and len(lot.flow_ports) > 1
        ]

    def sockets(
        self, way: Way, node: Slot | Unit | None, *, leaving: bool
    ) -> Iterator[Socket | None]:
        """The sockets at which a way may leave or arrive at a node; `None` for the car's part."""
        if node is None:
            yield None
            return
        if isinstance(node, Unit):
            name = "out" if leaving else "in"
            lots: Sequence[Lot] = (node.lot,)
        else:
            name = (way.link.start if leaving else way.link.end)[1]
            lots = node.candidates if self.buying else node.lots
        for lot in lots:
            wanted = {port.id for port in node.station.ports_of(lot.part, name)}
            for socket, ports in sockets_of(lot, node.id).items():
                if any(port.id in wanted for port in ports):
                    yield socket

    def absent(
        self,
        way: Way,
        start: Slot | Unit | None,
        end: Slot | Unit | None,
        nodes: tuple[str, str],
    ) -> bool:
        """Add a leg for each part that has no such port; true where no part has one."""
        none_has = False
        for node, (_, name) in ((start, way.link.start), (end, way.link.end)):
            if not isinstance(node, Slot):
                continue
            lots = node.candidates if self.buying else node.lots
            without = [
                lot
                for lot in lots
                if is_side_port(node.station, name) and not node.station.ports_of(lot.part, name)
            ] + [lot for lot in lots if _is_taken(node.station, lot, name, way.car is not None)]
            for lot in without:
                leg = Leg(way, None, None, None, nodes, absent=True)
                variable = self.programme.variable()
                self.add_leg(leg, variable)
                row = ("absent", way.id, node.id, lot.key)
                if not self.programme.has_row(row):
                    self.programme.row(row, most=0)
                    self.programme.term(row, self.standing[node.id, lot.key], -1)
                self.programme.term(row, variable)
            none_has = none_has or (bool(lots) and len(without) == len(lots))
        return none_has

    def add_leg(self, leg: Leg, variable: int) -> None:
        name = ("way", leg.way.id)
        start, end = leg.nodes
        first = leg.way.start.id if leg.way.start else ""
        last = leg.way.end.id if leg.way.end else ""
        self.programme.term((*name, "leaves" if start == first else start), variable)
        ends = (*name, "arrives") if end == last else (*name, end)
        self.programme.term(ends, variable, 1 if end == last else -1)
        arrived = self.nodes.get(end)
        if isinstance(arrived, Unit):
            self.programme.term(("unit", arrived.id), variable)
            self.programme.term((*name, "one", arrived.station.id), variable)
            self.use(variable, arrived.lot)
            if arrived.bought:
                self.programme.term(("needed", arrived.station.id), variable)
        self.payload[variable] = leg

    def filled(self, leg: Leg) -> None:
        assert leg.chain is not None
        compromises, bought, misplaced, price, drop = costs.unpacked(leg.chain.cost)
        ends = [socket for socket in (leg.start, leg.end) if socket is not None]
        arrived = self.nodes.get(leg.nodes[1])
        if isinstance(arrived, Unit) and arrived.bought:
            extra = self.station_cost(arrived.lot, leg.way.place)
            bought, price, drop = bought + extra[BOUGHT], price + extra[PRICE], drop + extra[DROP]
        misplaced += self.off_the_runs(leg) + self.elsewhere(leg)
        variable = self.programme.variable((0, compromises, bought, 0, misplaced, price, drop))
        if leg.chain.buys:
            self.with_bought.append(variable)
        self.add_leg(leg, variable)
        self.uses(variable, leg.chain, leg.way.place, aside(leg.way.link.line))
        self.bridges_run(variable, leg)
        for socket in ends:
            if socket.key not in self.ledgers:
                self.open_unit(socket)
            self.programme.term(socket.key, variable)

    def bridges_run(self, variable: int, leg: Leg) -> None:
        """A hose must be as long as its run: of long enough ones there must be enough.

        That is so where for each run no more hoses are wanted for it and all longer runs than
        there are hoses as long as it.
        """
        assert leg.chain is not None
        own_mm = self.run_of(leg)
        lot = self.lots.get(leg.chain.over or ())
        if lot is None or own_mm is None:
            return
        for run_mm in sorted({run.length_mm for run in self.contents.runs}):
            if run_mm > own_mm:
                break
            row = ("long enough", lot.key, run_mm)
            if not self.programme.has_row(row):
                self.programme.row(row, most=lot.reaching(run_mm))
                if lot.key in self.more_of:
                    self.programme.term(row, self.more_of[lot.key], -1)
            self.programme.term(row, variable)

    @cached_property
    def lots(self) -> Mapping[tuple[str, ...], Lot]:
        return {lot.key: lot for lot in self.contents.lots}

    def run_of(self, leg: Leg) -> float | None:
        start, end = (self.nodes.get(node) for node in leg.nodes)
        return self.run_between(leg.way, start, end)

    def run_between(
        self, way: Way, start: Slot | Unit | None, end: Slot | Unit | None
    ) -> float | None:
        first = start or self.station(way.link.start[0])
        last = end or self.station(way.link.end[0])
        return run_between(self.contents.runs, way.link.line, first, last)

    def off_the_runs(self, leg: Leg) -> int:
        """Whether a line of the car would lie where the car states no run for it."""
        if not self.contents.runs:
            return 0
        ends = [self.nodes.get(node) for node in leg.nodes]
        of_car = any(isinstance(end, Unit) and end.station.of_vehicle for end in ends)
        line = leg.way.link.line
        return int(of_car and run_between(self.contents.runs, line, *ends) is None)

    def elsewhere(self, leg: Leg) -> int:
        """Whether what the caller says a port of the car is does not name this end of the way."""
        assert leg.chain is not None
        name = leg.way.link.end[0] if leg.end is None else leg.way.link.start[0]
        if (leg.start is not None and leg.end is not None) or not leg.chain.passages:
            return 0
        last = leg.chain.passages[-1 if leg.end is None else 0]
        port = last.leaves if leg.end is None else last.enters
        if port not in last.lot.taken:
            return 0
        said = self.contents.probe.outside[f"{last.lot.items[0].ref}.{port}"].to.casefold()
        station = self.station(name)
        return int(not any(called in said for called in (*station.called, station.id)))

    def open_unit(self, socket: Socket) -> None:
        """The ledger of a piece in a link: its ends are taken by the way that holds it."""
        self.programme.row(socket.key, most=len(sockets_of(socket.lot, socket.node)[socket]))
        self.ledgers[socket.key] = socket

    # Spare ports

    def branch(self, unit: Unit) -> None:
        """A piece that ends at a spare port: at any in its line, with adapters between."""
        self.programme.row(("unit", unit.id), most=1)
        line = self.layout.template.branch_lines[unit.station.id]
        finder = self.finder(Span(Place(line)))
        (port,) = unit.station.ports_of(unit.lot.part, "port")
        goal = unit.lot.faces[port.id]
        for socket in list(self.ledgers.values()):
            if not self.may_branch(socket, line):
                continue
            for chain in finder.chains(socket.face, goal):
                compromises, bought, misplaced, price, drop = costs.unpacked(chain.cost)
                variable = self.programme.variable(
                    (0, compromises, bought, 0, misplaced, price, drop)
                )
                if chain.buys:
                    self.with_bought.append(variable)
                self.programme.term(("unit", unit.id), variable)
                self.programme.term(socket.key, variable)
                self.use(variable, unit.lot)
                self.uses(variable, chain, Place(line), BRANCH)
                self.payload[variable] = Closing(socket, unit.lot, chain, 1, unit)

    def may_branch(self, socket: Socket, line: Line) -> bool:
        if not _must_be_closed(socket):
            return False
        node = self.nodes.get(socket.node)
        if node is None:
            return socket.node == aside(line)
        return isinstance(node, Slot) and line in _lines_of(node.station, self.layout)

    def closings(self, socket: Socket) -> None:
        """What may close the ports of a socket that no way takes."""
        if not _must_be_closed(socket) or isinstance(self.nodes.get(socket.node), Unit):
            return
        most = len(sockets_of(socket.lot, socket.node)[socket])
        if socket.node not in self.nodes:
            most *= socket.lot.count
        for lot in self.contents.lots:
            if lot.part.kind != "cap" or lot.source != "cart" or lot.ends_there:
                continue
            how = min(
                (g for face in lot.faces.values() if (g := grade(socket.face, face)) is not None),
                default=None,
            )
            if how is not None:
                price = costs.price_cents(lot.part, self.offers.currency)
                self.closing(socket, lot, (0, how, 0, 0, 0, price), min(most, lot.count))
        if not self.buying:
            return
        left_open = self.programme.variable(most=0)
        self.programme.term(socket.key, left_open)
        self.left_open[left_open] = most
        place = Place(self.line_at(socket))
        cap = self.offers.cap(socket.face, self.conditions, place)
        if cap is None:
            self.closing(socket, None, (1,), most)
            return
        seals, cents = self.offers.seals_of(cap.part)
        price = costs.price_cents(cap.part, self.offers.currency) + cents
        self.closing(socket, cap, (0, 0, 1 + seals, 0, 0, price), most)

    def closing(self, socket: Socket, lot: Lot | None, cost: Aims, most: int) -> None:
        variable = self.programme.variable(cost, most=most)
        self.programme.term(socket.key, variable)
        if lot is not None:
            self.use(variable, lot)
        self.payload[variable] = Closing(socket, lot, None, 0)

    def line_at(self, socket: Socket) -> Line:
        node = self.nodes.get(socket.node)
        if node is None:
            lines: tuple[Line, ...] = get_args(Line)
            return next((line for line in lines if socket.node == aside(line)), "feed")
        port = sockets_of(socket.lot, socket.node)[socket][0]
        return port_line(node.station, socket.lot.part, port.id, self.layout)

    # The answer

    def plan(self, solved: Solved) -> Plan:
        plan = Plan(self.layout, aims=solved.aims)
        more = frozenset(self.more_of.values())
        plan.proved = solved.proved and self.complete
        for variable, value in enumerate(solved.values):
            if not value:
                continue
            if variable in self.waiting or variable in more:
                continue
            if variable in self.stray_of:
                plan.strays[self.stray_of[variable].key] += value
                continue
            payload = self.payload[variable]
            match payload:
                case Leg():
                    plan.legs.append(payload)
                case Closing():
                    plan.closings.append(
                        Closing(payload.socket, payload.lot, payload.chain, value, payload.unit)
                    )
                case Slot():
                    plan.empty.append(payload)
                case Station():
                    plan.missing_units.append(payload)
                case (slot, lot):
                    plan.stands[slot.id] = lot
        plan.legs = _in_flow(plan.legs, self.layout)
        return plan


def _components(
    takers: Mapping[tuple[str, ...], set[str]],
) -> Iterator[tuple[list[tuple[str, ...]], set[str]]]:
    """Lots that compete for the same slots, with those slots."""
    groups: list[tuple[list[tuple[str, ...]], set[str]]] = []
    for key, slots in takers.items():
        keys, merged = [key], set(slots)
        apart = []
        for group in groups:
            if group[1] & merged:
                keys, merged = [*group[0], *keys], group[1] | merged
            else:
                apart.append(group)
        groups = [*apart, (keys, merged)]
    yield from groups


def _must_be_closed(socket: Socket) -> bool:
    """Whether fuel would run out of it: not of what lies in the fuel, nor of what is joined."""
    seat = socket.face.end.system == "injector-seat"
    joined = socket.face.pin is not None
    return socket.role in FLOW_ROLES and socket.submerged is not True and not joined and not seat


def _is_taken(station: Station, lot: Lot, name: str, to_car: bool) -> bool:
    """Whether the caller says that ports of this name join something outside: all, or the one."""
    taken = [port.id in lot.taken for port in station.ports_of(lot.part, name)]
    return any(taken) if to_car else bool(taken) and all(taken)


def _lines_of(station: Station, layout: Layout) -> list[Line]:
    """The lines a station touches, in the order of the template."""
    return [
        link.line
        for link in layout.template.links
        if station.id in (link.start[0], link.end[0], *link.holds)
    ]


def _line_of(station: Station, layout: Layout) -> Line:
    """The line a station is in: the feed where it touches it, for that asks the most."""
    lines = _lines_of(station, layout)
    return "feed" if "feed" in lines or not lines else lines[0]


def port_line(station: Station, part: Component, port: str, layout: Layout) -> Line:
    """The line that a station's port is in, whether or not anything joins it."""
    for link in layout.template.links:
        for station_id, name in (link.start, link.end):
            if station_id == station.id and any(
                each.id == port for selector in station.ports[name] for each in selector.ports(part)
            ):
                return link.line
    return _line_of(station, layout)


def _in_flow(legs: Sequence[Leg], layout: Layout) -> list[Leg]:
    """Legs in the order of the template's ways, and within a way in the order of the flow."""
    found = []
    for way in layout.ways:
        following = {leg.nodes[0]: leg for leg in legs if leg.way is way}
        at = way.start.id if way.start else ""
        while (leg := following.pop(at, None)) is not None:
            found.append(leg)
            at = leg.nodes[1]
    return found
