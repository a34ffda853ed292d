"""From an assembly to a pipe network: which ways carry flow, and which way round."""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from rules import parts
from rules.circuit import Circuit, PlacedItem, PlacedPort
from rules.facts.case import Gap
from rules.facts.flow.elements import Around, element_of
from rules.facts.flow.ledger import Ledger, Shortfall
from rules.facts.flow.pieces import MANIFOLD, TANK, Piece, Seat, is_seat, ways_of
from rules.facts.flow.practice import LARGEST_GROUP
from rules.hydraulics import (
    BackPressureRegulator,
    FixedPressure,
    Junction,
    Link,
    LocalLoss,
    Network,
    NetworkFault,
    ReducingRegulator,
)

INJECTOR_BORE_MM = 1.0
"""Diameter on which the openings that stand for the injectors are reckoned."""

_REGULATORS = ("spill", "built-in-spill", "reduce")
_ONE_WAY = ("pump", "nozzle", *_REGULATORS)


class CannotLayOut(Exception):
    """The list makes no network that could be solved; the text says why.

    Attributes:
        gap: what is not recorded, where that is why; `None` where something is wrong.
    """

    def __init__(self, why: str, gap: Gap | None = None) -> None:
        super().__init__(why)
        self.gap = gap


_NO_WAY = Gap("joints that lead from the pump to the injectors", "the list")


@dataclass(frozen=True)
class Regulator:
    """A regulator in its place.

    Attributes:
        piece: its way.
        set_kpa: what it holds with the reference open to the air, gauge.
        follows: whether manifold pressure adds to that; `None` where nobody recorded it.
    """

    piece: Piece
    set_kpa: float
    follows: bool | None

    @property
    def held_node(self) -> str:
        """The node whose pressure it holds."""
        return self.piece.end if self.piece.what == "reduce" else self.piece.start


@dataclass(frozen=True)
class Unregulated:
    """A network as it is with regulators that spill nothing and throttle nothing.

    Attributes:
        network: only what carries flow then.
        stands_at: for each node that does not, the node whose pressure it has.
    """

    network: Network
    stands_at: Mapping[str, str]


@dataclass(frozen=True)
class Plan:
    """A circuit as a network, at one end of what is known.

    Attributes:
        network: what is solved.
        pieces: the ways that carry flow, turned with it, by id.
        lines: the line of each.
        bores_mm: the narrowest hole of each, `None` where it has none recorded.
        seats: where injectors draw, with their shares of the whole flow.
        feed_pumps, lift_pumps: pumps that feed the engine, and those that fill a surge tank.
        regulators: what holds pressure.
        ports_at: the ports that meet at each node.
        shortfalls: what is not recorded, and what stands for it.
    """

    network: Network
    pieces: Mapping[str, Piece]
    lines: Mapping[str, str]
    bores_mm: Mapping[str, float | None]
    seats: tuple[tuple[Seat, float], ...]
    feed_pumps: tuple[Piece, ...]
    lift_pumps: tuple[Piece, ...]
    regulators: tuple[Regulator, ...]
    ports_at: Mapping[str, tuple[str, ...]]
    shortfalls: tuple[Shortfall, ...]

    def pieces_of(self, ref: str) -> tuple[Piece, ...]:
        """The ways through a part that carry flow."""
        return tuple(piece for piece in self.pieces.values() if piece.item.ref == ref)

    @cached_property
    def unregulated(self) -> Unregulated:
        """The network with its regulators out of work."""
        links = [
            link if not isinstance(link, ReducingRegulator) else _wide_open(link)
            for link in self.network.links
            if not isinstance(link, BackPressureRegulator)
        ]
        stands_at: dict[str, str] = {}
        while dead := _dead_ends(links):
            for link in links:
                for node, other in ((link.start, link.end), (link.end, link.start)):
                    if node in dead:
                        stands_at[node] = other
            links = [link for link in links if not {link.start, link.end} & dead]
        fixed = {node.id for node in self.network.nodes if isinstance(node, FixedPressure)}
        fed = joined_to(fixed, links)
        links = [link for link in links if link.start in fed]
        used = {node for link in links for node in (link.start, link.end)}
        nodes = [node for node in self.network.nodes if node.id in used]
        return Unregulated(Network(nodes, links), stands_at)

    @property
    def refs(self) -> tuple[str, ...]:
        """The parts that carry flow, in order of ref."""
        return tuple(sorted({piece.item.ref for piece in self.pieces.values()}))


def _wide_open(link: ReducingRegulator) -> LocalLoss:
    return LocalLoss(link.id, link.start, link.end, link.open_k, link.diameter_mm)


def _dead_ends(links: Iterable[Link]) -> set[str]:
    ends = Counter(node for link in links for node in (link.start, link.end))
    return {node for node, count in ends.items() if count == 1 and not node.startswith("#")}


def joined_to(nodes: Iterable[str], links: Collection[Link]) -> set[str]:
    """Nodes that some path of links joins to others, those included."""
    found = set(nodes)
    while True:
        more = {
            node
            for link in links
            if link.start in found or link.end in found
            for node in (link.start, link.end)
        } - found
        if not more:
            return found
        found |= more


def opening_id(seat: Seat) -> str:
    """The link that stands for the injectors of a seat."""
    return f"{seat.node}@"


def lay_out(circuit: Circuit, base_kpa: float, *, worst: bool) -> Plan:
    """The network of a circuit.

    Args:
        circuit: the placed assembly.
        base_kpa: what an adjustable regulator is set to.
        worst: whether what is not recorded takes the value that lets the least fuel through.

    Raises:
        CannotLayOut: no way leads from a pump to the injectors, a part is the wrong way round, or
            a group is too large.
    """
    return _Layout(circuit, base_kpa, Ledger(circuit.reference, worst)).plan()


class _Layout:
    def __init__(self, circuit: Circuit, base_kpa: float, ledger: Ledger) -> None:
        self._circuit = circuit
        self._base_kpa = base_kpa
        self._ledger = ledger
        self._nodes = _nodes(circuit)
        self._tie_to_the_tank()

    def _node_of(self, port: PlacedPort) -> str:
        return self._nodes[port]

    def plan(self) -> Plan:
        ways = ways_of(self._circuit, self._node_of)
        seat_nodes = {seat.node for seat in ways.seats}
        live = _alive(_grouped(ways.pieces), seat_nodes)
        seats = [seat for seat in ways.seats if seat.node in _nodes_of(live)]
        self._refuse_what_does_not_flow(live, seats, ways.seats)
        pieces = {piece.id: piece for piece in self._turned_with_the_flow(live)}
        _refuse_reversed(pieces.values())
        lines = {name: self._line_of(piece) for name, piece in pieces.items()}
        regulators = self._regulators(pieces.values())
        links, bores = self._links(pieces, lines, regulators, seats)
        shares = _shares(seats)
        return Plan(
            network=self._network(links, seats),
            pieces=pieces,
            lines=lines,
            bores_mm=bores,
            seats=tuple(zip(seats, shares, strict=True)),
            feed_pumps=tuple(p for p in pieces.values() if _pumps_into(p, lines, "feed")),
            lift_pumps=tuple(p for p in pieces.values() if _pumps_into(p, lines, "transfer")),
            regulators=regulators,
            ports_at=self._ports_at(),
            shortfalls=tuple(self._ledger.shortfalls.values()),
        )

    def _tie_to_the_tank(self) -> None:
        """Ports that open into the tank, or into a part of the car that the list does not hold."""
        circuit = self._circuit
        tied: dict[str, str] = {}
        for item in circuit.items.values():
            # A line of the car that nothing of the list joins takes no fuel from it.
            alone = not any(port in circuit.joints_of for port in item.ports)
            for port in item.ports:
                if not port.carries_flow and port.port.role != "drive":
                    continue
                if self._opens_into_the_tank(port):
                    tied[self._nodes[port]] = TANK
                elif port.name in circuit.outside and not alone:
                    line = circuit.lines.get(port)
                    if line in ("return", "suction"):
                        self._ledger.lacks("line beyond it", port.name, line)
                        tied[self._nodes[port]] = TANK
                elif _is_unjoined_inlet(port, circuit):
                    self._ledger.lacks("suction line", item.ref, "suction")
                    tied[self._nodes[port]] = TANK
        for port, node in self._nodes.items():
            self._nodes[port] = tied.get(node, node)

    def _opens_into_the_tank(self, port: PlacedPort) -> bool:
        item = port.item
        if item.kind == "strainer":
            return True
        if port in self._circuit.joints_of or port.port.role == "outlet":
            return False
        if item.kind == "pump":
            inside = self._circuit.lies_in_tank[item] is True
            return port.port.role == "inlet" and (inside or port.port.submerged is True)
        return port.port.submerged is True and item.kind not in ("tank-module", "siphon-jet")

    def _refuse_what_does_not_flow(
        self, live: Collection[Piece], seats: Collection[Seat], wanted: Collection[Seat]
    ) -> None:
        if not any(piece.what == "pump" for piece in live):
            raise CannotLayOut("no joints lead from a pump to where fuel is used", _NO_WAY)
        if len(seats) < len(wanted) or not seats:
            raise CannotLayOut("the joints do not lead from a pump to all injectors", _NO_WAY)
        fed = _reached_from_pumps(live)
        if not all(seat.node in fed for seat in seats):
            raise CannotLayOut("the joints do not lead from a pump to all injectors", _NO_WAY)

    def _line_of(self, piece: Piece) -> str:
        if piece.what.startswith("rail"):
            return "feed"
        ports = piece.ports[::-1] if piece.what == "pump" else piece.ports
        found = (self._circuit.lines.get(port) for port in ports)
        return next((line for line in found if line is not None), "feed")

    def _turned_with_the_flow(self, live: Collection[Piece]) -> list[Piece]:
        """Every way from where fuel comes to where it goes: suction, then feed, then return."""
        homes = {node for node in _nodes_of(live) if node.startswith("#")}
        at: defaultdict[str, list[Piece]] = defaultdict(list)
        for piece in live:
            at[piece.start].append(piece)
            at[piece.end].append(piece)
        turned: dict[str, Piece] = {}

        def walk(starts: Iterable[str], allowed: Collection[Piece]) -> None:
            waiting = deque(starts)
            while waiting:
                node = waiting.popleft()
                for piece in at[node]:
                    if piece.id in turned or piece not in allowed:
                        continue
                    here = piece if piece.start == node else piece.turned()
                    turned[piece.id] = here
                    if here.end not in homes:
                        waiting.append(here.end)

        plain = [piece for piece in live if piece.what not in _ONE_WAY]
        suction = {piece for piece in plain if self._line_of(piece) == "suction"}
        walk(homes, suction)
        beyond = set(plain) | {piece for piece in live if piece.what == "reduce"}
        walk([piece.end for piece in live if piece.what == "pump"], beyond)
        spills = [piece.end for piece in live if piece.what in ("spill", "built-in-spill")]
        walk([node for node in spills if node not in homes], beyond)
        return [piece if piece.what in _ONE_WAY else turned.get(piece.id, piece) for piece in live]

    def _regulators(self, pieces: Iterable[Piece]) -> tuple[Regulator, ...]:
        return tuple(
            Regulator(
                piece, set_pressure_kpa(piece.item, self._base_kpa), self._follows(piece.item)
            )
            for piece in pieces
            if piece.what in _REGULATORS
        )

    def _follows(self, item: PlacedItem) -> bool | None:
        return follows_manifold(item, self._circuit)

    def _links(
        self,
        pieces: Mapping[str, Piece],
        lines: Mapping[str, str],
        regulators: Iterable[Regulator],
        seats: Iterable[Seat],
    ) -> tuple[list[Link], dict[str, float | None]]:
        set_to = {regulator.piece.id: regulator.set_kpa for regulator in regulators}
        on_rail = Counter(seat.rail.ref for seat in seats if seat.rail is not None)
        links: list[Link] = []
        bores: dict[str, float | None] = {}
        for name, piece in pieces.items():
            around = Around(
                before=self._bore_beside(piece, piece.start, pieces.values()),
                behind=self._bore_beside(piece, piece.end, pieces.values()),
                line=lines[name],
                seats=on_rail[piece.item.ref],
                set_kpa=set_to.get(name, 0.0),
            )
            link, bores[name] = element_of(piece, around, self._ledger)
            links.append(link)
        return links, bores

    def _bore_beside(self, piece: Piece, node: str, all_pieces: Iterable[Piece]) -> float | None:
        """The bore of the one other port at a node; a junction of several has no such bore."""
        there = [
            port
            for other in all_pieces
            if other.item is not piece.item
            for at, port in ((other.start, other.start_port), (other.end, other.end_port))
            if at == node and port is not None
        ]
        return there[0].port.bore_mm if len(there) == 1 else None

    def _network(self, links: Iterable[Link], seats: Iterable[Seat]) -> Network:
        all_links = [*links]
        for seat in seats:
            opening = LocalLoss(opening_id(seat), seat.node, MANIFOLD, 1.0, INJECTOR_BORE_MM)
            all_links.append(opening)
        names = sorted({end for link in all_links for end in (link.start, link.end)})
        nodes = [FixedPressure(n) if n.startswith("#") else Junction(n) for n in names]
        try:
            return Network(nodes, all_links)
        except NetworkFault as fault:
            raise CannotLayOut(str(fault)) from fault

    def _ports_at(self) -> Mapping[str, tuple[str, ...]]:
        found: defaultdict[str, list[str]] = defaultdict(list)
        for port, node in self._nodes.items():
            if port in self._circuit.joints_of and not is_seat(port):
                found[node].append(port.name)
        return {node: tuple(sorted(names)) for node, names in found.items()}


# Nodes ------------------------------------------------------------------------------------------


def _nodes(circuit: Circuit) -> dict[PlacedPort, str]:
    """The node of each port: ports that are joined share one."""
    node: dict[PlacedPort, str] = {}
    for item in circuit.items.values():
        for port in item.ports:
            if port not in node:
                group = _joined_with(port, circuit)
                name = min(each.name for each in group)
                node.update(dict.fromkeys(group, name))
    return node


def _joined_with(port: PlacedPort, circuit: Circuit) -> set[PlacedPort]:
    group = {port}
    waiting = [port]
    while waiting:
        here = waiting.pop()
        for joint in circuit.joints_of.get(here, ()):
            other = joint.other(here)
            if other not in group and not is_seat(here) and not is_seat(other):
                group.add(other)
                waiting.append(other)
    return group


def _is_unjoined_inlet(port: PlacedPort, circuit: Circuit) -> bool:
    return port.item.kind == "pump" and port.port.role == "inlet" and port not in circuit.joints_of


# Which ways carry flow --------------------------------------------------------------------------


def _grouped(pieces: Iterable[Piece]) -> list[Piece]:
    """As many ways side by side as an item stands for; a pump's curves stand for all of it."""
    found = []
    for piece in pieces:
        count = 1 if piece.what == "pump" else piece.item.item.quantity
        if count > LARGEST_GROUP:
            ref = piece.item.ref
            why = f"`{ref}` stands for {count} pieces; {LARGEST_GROUP} side by side at most"
            raise CannotLayOut(why, Gap(f"how its {count} pieces are joined", ref))
        found.append(piece)
        for number in range(2, count + 1):
            name = f"{piece.id}*{number}"
            more = (piece.item, piece.what, piece.start, piece.end)
            found.append(Piece(name, *more, piece.start_port, piece.end_port))
    return found


def _nodes_of(pieces: Iterable[Piece]) -> set[str]:
    return {node for piece in pieces for node in (piece.start, piece.end)}


def _alive(pieces: Iterable[Piece], seat_nodes: Collection[str]) -> list[Piece]:
    """What is left when every dead end is cut off, and every part that no pump stands in."""
    left = [piece for piece in pieces if piece.start != piece.end]
    while True:
        ends = Counter(node for piece in left for node in (piece.start, piece.end))
        dead = {
            node
            for node, count in ends.items()
            if count == 1 and not node.startswith("#") and node not in seat_nodes
        }
        if not dead:
            break
        left = [piece for piece in left if piece.start not in dead and piece.end not in dead]
    pumped = _reached(left, [n for p in left if p.what == "pump" for n in (p.start, p.end)])
    return [piece for piece in left if {piece.start, piece.end} & pumped]


def _reached_from_pumps(pieces: Collection[Piece]) -> set[str]:
    ahead = [piece for piece in pieces if piece.what != "pump"]
    return _reached(ahead, [piece.end for piece in pieces if piece.what == "pump"])


def _reached(pieces: Iterable[Piece], starts: Iterable[str]) -> set[str]:
    """Nodes reached from some others without passing through a tank."""
    beside: defaultdict[str, list[str]] = defaultdict(list)
    for piece in pieces:
        beside[piece.start].append(piece.end)
        beside[piece.end].append(piece.start)
    found: set[str] = set()
    waiting = [node for node in starts if not node.startswith("#")]
    while waiting:
        node = waiting.pop()
        if node not in found:
            found.add(node)
            waiting += [other for other in beside[node] if not other.startswith("#")]
    return found


def _pumps_into(piece: Piece, lines: Mapping[str, str], line: str) -> bool:
    return piece.what == "pump" and lines[piece.id] == line


def _refuse_reversed(pieces: Iterable[Piece]) -> None:
    for piece in pieces:
        one_way = getattr(piece.item.part.spec, "directional", piece.item.kind == "check-valve")
        entered = piece.start_port
        entered_by_outlet = entered is not None and entered.port.role == "outlet"
        if piece.what in ("measured", "check-valve") and one_way and entered_by_outlet:
            raise CannotLayOut(f"`{piece.item.ref}` is the wrong way round")


def _shares(seats: Collection[Seat]) -> list[float]:
    """Each seat's share of the engine's fuel: by the rated flow of what sits there, else equal."""
    rated = [_rated_flow(seat) for seat in seats]
    weights = [1.0 * seat.injectors for seat in seats] if None in rated else rated
    known = [weight for weight in weights if weight is not None]
    whole = sum(known)
    return [weight / whole for weight in known]


def _rated_flow(seat: Seat) -> float | None:
    flow = getattr(seat.item.part.spec, "flow_cc_min", None) if seat.item else None
    return None if flow is None else float(flow) * seat.injectors


# Regulators -------------------------------------------------------------------------------------


def set_pressure_kpa(item: PlacedItem, base_kpa: float) -> float:
    """What a regulator is set to, above its reference [kPa].

    As the item says; an adjustable one to the base pressure, as far as it goes; a fixed one as its
    catalogue says; the base pressure where nothing is recorded.
    """
    spec: Any = item.part.spec
    if isinstance(spec, parts.TankModuleSpec):
        return spec.built_in_set_pressure_kpa or base_kpa
    if item.item.set_pressure_kpa is not None:
        return item.item.set_pressure_kpa
    least, most = spec.set_pressure_least_kpa, spec.set_pressure_most_kpa
    if least is not None and most is not None:
        return float(min(max(base_kpa, least), most))
    return spec.set_pressure_kpa or base_kpa


def follows_manifold(item: PlacedItem, circuit: Circuit) -> bool | None:
    """Whether a regulator adds manifold pressure to its setting; `None` where nobody recorded it.

    One that is made to, and whose reference port is joined to nothing, does not.
    """
    spec = item.part.spec
    if not isinstance(spec, parts.RegulatorSpec):
        return False
    if spec.reference is None:
        return None
    sensing = [port for port in item.ports if port.port.role == "sense"]
    connected = not sensing or any(
        (port in circuit.joints_of and not circuit.is_capped(port)) or port.name in circuit.outside
        for port in sensing
    )
    return spec.reference == "manifold" and connected
