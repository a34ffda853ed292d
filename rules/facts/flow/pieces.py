"""The ways through a part: which of its ports fuel passes between, before anything is measured."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

from rules import parts
from rules.circuit import Circuit, PlacedItem, PlacedPort

TANK = "#tank"
"""The node of the fuel tank; no ref and no port begins with this sign."""

MANIFOLD = "#manifold"
"""The node behind the injectors."""

What = Literal[
    "duct",
    "tee-leg",
    "lid",
    "tank-mouth",
    "measured",
    "check-valve",
    "rail-end",
    "rail-step",
    "pump",
    "spill",
    "built-in-spill",
    "reduce",
    "nozzle",
]


@dataclass(frozen=True, eq=False)
class Piece:
    """One way through a part, from node to node.

    Attributes:
        id: unique in the circuit; the part's ref and, where it has several, a suffix.
        item: the part.
        what: how its loss is found.
        start, end: nodes.
        start_port, end_port: the ports there, `None` inside the part or at a tank.
    """

    id: str
    item: PlacedItem
    what: What
    start: str
    end: str
    start_port: PlacedPort | None = None
    end_port: PlacedPort | None = None

    @property
    def ports(self) -> tuple[PlacedPort, ...]:
        """The ports it joins."""
        return tuple(port for port in (self.start_port, self.end_port) if port is not None)

    def turned(self) -> Piece:
        """The same, from end to start."""
        return Piece(
            self.id, self.item, self.what, self.end, self.start, self.end_port, self.start_port
        )


@dataclass(frozen=True, eq=False)
class Seat:
    """Where injectors draw: a node, and how many pieces of which item draw there."""

    node: str
    injectors: int
    item: PlacedItem | None
    rail: PlacedItem | None


@dataclass(frozen=True)
class Ways:
    """All ways of a circuit, with where injectors draw."""

    pieces: tuple[Piece, ...]
    seats: tuple[Seat, ...]


NodeOf = Callable[[PlacedPort], str]

_NO_WAY = frozenset({"cap", "strainer", "injector"})


def ways_of(circuit: Circuit, node_of: NodeOf) -> Ways:
    """Every way through every part of a circuit."""
    pieces: list[Piece] = []
    seats: list[Seat] = []
    for item in circuit.items.values():
        if item.kind == "rail":
            rail = _Rail(circuit, item, node_of)
            pieces += rail.pieces()
            seats += rail.seats()
        elif item.kind not in _NO_WAY:
            pieces += _through(item, node_of)
    seats += _injectors_without_rail(circuit, node_of)
    return Ways(tuple(pieces), tuple(seats))


def flow_ports(item: PlacedItem) -> list[PlacedPort]:
    """The ports that fuel for the engine passes, injector seats left out."""
    return [port for port in item.ports if port.carries_flow and not is_seat(port)]


def is_seat(port: PlacedPort) -> bool:
    """Whether injectors sit there."""
    connection = port.port.connection
    return connection is not None and connection.system == "injector-seat"


def _through(item: PlacedItem, node_of: NodeOf) -> Iterator[Piece]:
    ports = flow_ports(item)
    if item.kind == "pump":
        yield from _pump(item, node_of)
    elif item.kind in ("tank", "surge-tank"):
        home = home_of(item)
        for port in ports:
            if port.port.role == "inlet":
                yield Piece(_id(item, port), item, "tank-mouth", node_of(port), home, port)
            else:
                yield Piece(_id(item, port), item, "tank-mouth", home, node_of(port), None, port)
    elif item.kind == "tank-module":
        yield from _module(item, node_of)
    elif item.kind == "regulator":
        yield from _regulator(item, node_of)
    elif item.kind == "siphon-jet":
        yield from _nozzles(item, node_of)
    elif len(ports) == 2:
        one, other = ports
        what = _loss_of(item)
        yield Piece(item.ref, item, what, node_of(one), node_of(other), one, other)
    elif len(ports) > 2:
        for port in ports:
            yield Piece(_id(item, port), item, "tee-leg", node_of(port), f"{item.ref}#", port)


def home_of(tank: PlacedItem) -> str:
    """The node of a tank: a surge tank has its own surface, all others are the fuel tank."""
    return f"#{tank.ref}" if tank.kind == "surge-tank" else TANK


def _loss_of(item: PlacedItem) -> What:
    if item.kind == "filter":
        return "measured"
    return "check-valve" if item.kind == "check-valve" else "duct"


def _id(item: PlacedItem, port: PlacedPort) -> str:
    return f"{item.ref}.{port.port.id}"


def _pump(item: PlacedItem, node_of: NodeOf) -> Iterator[Piece]:
    inlets = [port for port in item.ports if port.port.role == "inlet"]
    outlets = [port for port in item.ports if port.port.role == "outlet"]
    for outlet in outlets[:1]:
        inlet = inlets[0] if inlets else None
        start = TANK if inlet is None else node_of(inlet)
        yield Piece(item.ref, item, "pump", start, node_of(outlet), inlet, outlet)


def _module(item: PlacedItem, node_of: NodeOf) -> Iterator[Piece]:
    """Feed ways from the pumps through the lid, and everything that ends in the tank."""
    wet = [p for p in flow_ports(item) if p.port.submerged is True]
    dry = [p for p in flow_ports(item) if p.port.submerged is False]
    feeds = [p for p in dry if p.port.role in ("outlet", "either")]
    pumps = [p for p in wet if p.port.role in ("inlet", "either")]
    for feed in feeds:
        for pump in pumps:
            name = f"{item.ref}.{pump.port.id}"
            yield Piece(name, item, "lid", node_of(pump), node_of(feed), pump, feed)
    spec = item.part.spec
    if isinstance(spec, parts.TankModuleSpec) and spec.built_in_regulator:
        for feed in feeds[:1]:
            yield Piece(f"{item.ref}#spill", item, "built-in-spill", node_of(feed), TANK, feed)
    inward = [p for p in wet if p.port.role == "outlet"]
    for back in (p for p in dry if p.port.role == "inlet"):
        ends = [node_of(p) for p in inward] or [TANK]
        yield Piece(_id(item, back), item, "lid", node_of(back), ends[0], back)
    for port in (*inward, *(p for p in item.ports if p.port.role == "drive")):
        yield Piece(_id(item, port), item, "lid", node_of(port), TANK, port)


def _regulator(item: PlacedItem, node_of: NodeOf) -> Iterator[Piece]:
    spec: Any = item.part.spec
    inlets = [port for port in flow_ports(item) if port.port.role != "outlet"]
    outlets = [port for port in flow_ports(item) if port.port.role == "outlet"]
    what: What = "reduce" if spec.action == "reducing" else "spill"
    for inlet in inlets[:1]:
        for outlet in outlets[:1]:
            yield Piece(item.ref, item, what, node_of(inlet), node_of(outlet), inlet, outlet)


def _nozzles(item: PlacedItem, node_of: NodeOf) -> Iterator[Piece]:
    for port in item.ports:
        if port.port.role == "drive":
            yield Piece(item.ref, item, "nozzle", node_of(port), TANK, port)


class _Rail:
    """A rail as a row of nodes, one for each injector, between its two ends.

    The first two ports of the list are the ends; others sit in the middle.
    """

    def __init__(self, circuit: Circuit, item: PlacedItem, node_of: NodeOf) -> None:
        self._circuit = circuit
        self._item = item
        self._node_of = node_of
        self._drawing = list(_drawing_at(circuit, item))
        self._row = [f"{item.ref}#{index + 1}" for index in range(max(1, len(self._drawing)))]

    def pieces(self) -> Iterator[Piece]:
        item, row = self._item, self._row
        for one, other in pairwise(row):
            yield Piece(one, item, "rail-step", one, other)
        for index, port in enumerate(flow_ports(item)):
            inner = row[0] if index == 0 else row[-1] if index == 1 else row[len(row) // 2]
            yield Piece(_id(item, port), item, "rail-end", self._node_of(port), inner, port)

    def seats(self) -> Iterator[Seat]:
        for node, injector in zip(self._row, self._drawing, strict=False):
            yield Seat(node, 1, injector, self._item)


def _drawing_at(circuit: Circuit, rail: PlacedItem) -> Iterator[PlacedItem | None]:
    """For each seat of a rail what sits there; `None` where the list does not say."""
    for port in rail.ports:
        if is_seat(port):
            joints = circuit.joints_of.get(port, ())
            sitting = [joint.other(port).item for joint in joints]
            for _ in range(port.port.count):
                yield sitting[0] if sitting else None


def _injectors_without_rail(circuit: Circuit, node_of: NodeOf) -> Iterator[Seat]:
    for item in circuit.of_kind("injector"):
        for port in item.ports:
            for joint in circuit.joints_of.get(port, ()):
                if port.port.role == "inlet" and joint.other(port).item.kind != "rail":
                    yield Seat(node_of(port), item.item.quantity, item, None)
