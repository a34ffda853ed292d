"""An assembly with its parts looked up, as a graph of ports; and what the graph can be asked.

`place()` turns a request into a `Circuit` or says everything that is wrong with it. The circuit
knows which line each port is in, what lies inside the tank and which parts the fuel passes on its
way, and judges nothing.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

from rules.assembly import (
    Application,
    FuelBlend,
    Item,
    Joint,
    Outside,
    PercentRange,
    Request,
    Vehicle,
)
from rules.catalogue import Catalogue
from rules.parts import Component, Port, near_fuels
from rules.reference import Rating, Reference, rate, rate_fuel, reference
from rules.vocabulary import Line, Material

FLOW_ROLES = frozenset({"inlet", "outlet", "either"})

# Parts whose flow ports are not one piece of pipe: what leaves a pump is another line than what
# enters it, a tank is the end of a line.
_DIVIDED_KINDS = frozenset({"pump", "tank", "surge-tank", "injector", "siphon-jet", "cap"})


@dataclass(frozen=True)
class AssemblyFault:
    """One thing that makes a request impossible to look at."""

    pointer: str
    found: str
    detail: str
    expected: str


class AssemblyFaults(ValueError):
    """A request names parts, ports, fuels or vehicles that do not exist; all of them at once."""

    def __init__(self, faults: Iterable[AssemblyFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{f.pointer}: {f.detail}" for f in self.faults))


@dataclass(frozen=True)
class FuelRange:
    """What the tank will hold: a blend, or everything between two blends.

    `id` is the fuel's id in the tables, `None` for a blend given by its content.
    """

    label: str
    id: str | None
    ethanol_least_percent: float
    ethanol_most_percent: float
    methanol_percent: float

    def rate(self, material: Material) -> Rating:
        """How a material stands this fuel, where it stands it worst."""
        return _rating(material, self)

    @property
    def is_range(self) -> bool:
        """Whether the blend varies by more than the seasons of one grade."""
        return self.ethanol_most_percent - self.ethanol_least_percent > 0.0


@lru_cache(maxsize=4096)
def _rating(material: Material, fuel: FuelRange) -> Rating:
    row = reference().fuel(fuel.id) if fuel.id else None
    if row is not None:
        return rate_fuel(material, row)
    return rate(
        material, fuel.ethanol_least_percent, fuel.ethanol_most_percent, fuel.methanol_percent
    )


@dataclass(frozen=True, eq=False)
class PlacedItem:
    """An item with its part; `origin` says whether catalogue, request or vehicle described it."""

    ref: str
    item: Item
    part: Component
    pointer: str
    origin: str

    @property
    def kind(self) -> str:
        """The part's kind."""
        return self.part.kind

    def port(self, port_id: str) -> PlacedPort | None:
        """The port of this id, if the part has one."""
        return self._ports.get(port_id)

    @cached_property
    def _ports(self) -> Mapping[str, PlacedPort]:
        return {port.id: PlacedPort(self, port) for port in self.part.ports}

    @property
    def ports(self) -> Iterable[PlacedPort]:
        """The part's ports in the order of the catalogue."""
        return self._ports.values()


@dataclass(frozen=True, eq=False)
class PlacedPort:
    """A port of an item."""

    item: PlacedItem
    port: Port

    @property
    def name(self) -> str:
        """`ref.port`, as in a joint."""
        return f"{self.item.ref}.{self.port.id}"

    @property
    def carries_flow(self) -> bool:
        """Whether fuel for the engine passes here."""
        return self.port.role in FLOW_ROLES

    @property
    def pieces(self) -> int:
        """How many equal ports this stands for, over all pieces of the item."""
        return self.port.count * self.item.item.quantity


@dataclass(frozen=True, eq=False)
class PlacedJoint:
    """Two ports that meet; `implied` where the list leaves it to common sense."""

    first: PlacedPort
    second: PlacedPort
    uses: tuple[PlacedItem, ...]
    sealant: str | None
    pointer: str
    implied: bool = False

    @property
    def ends(self) -> tuple[PlacedPort, PlacedPort]:
        """Both ports, in the order of the request."""
        return (self.first, self.second)

    @property
    def name(self) -> str:
        """Both ports by name, in alphabetical order."""
        low, high = sorted((self.first.name, self.second.name))
        return f"{low} and {high}"

    @property
    def pieces(self) -> int:
        """How many joints this one stands for: six injectors in six seats are six."""
        return min(end.pieces for end in self.ends)

    def other(self, port: PlacedPort) -> PlacedPort:
        """The far side of the joint."""
        return self.second if port is self.first else self.first


@dataclass(frozen=True, eq=False)
class Circuit:
    """The graph of an assembly."""

    application: Application
    fuel: FuelRange
    items: Mapping[str, PlacedItem]
    joints: tuple[PlacedJoint, ...]
    outside: Mapping[str, Outside]
    vehicle: Vehicle | None
    catalogue: Catalogue = field(repr=False)
    reference: Reference = field(repr=False)

    def of_kind(self, *kinds: str) -> tuple[PlacedItem, ...]:
        """Items of these kinds in order of ref."""
        if len(kinds) == 1:
            return self._by_kind.get(kinds[0], ())
        return tuple(item for item in self.items.values() if item.kind in kinds)

    @cached_property
    def _by_kind(self) -> Mapping[str, tuple[PlacedItem, ...]]:
        found: defaultdict[str, list[PlacedItem]] = defaultdict(list)
        for item in self.items.values():
            found[item.kind].append(item)
        return {kind: tuple(items) for kind, items in found.items()}

    @cached_property
    def joints_of(self) -> Mapping[PlacedPort, tuple[PlacedJoint, ...]]:
        """The joints at each port."""
        found: defaultdict[PlacedPort, list[PlacedJoint]] = defaultdict(list)
        for joint in self.joints:
            for end in joint.ends:
                found[end].append(joint)
        return {port: tuple(joints) for port, joints in found.items()}

    def is_capped(self, port: PlacedPort) -> bool:
        """Whether a cap or plug closes the port."""
        return any(joint.other(port).item.kind == "cap" for joint in self.joints_of.get(port, ()))

    @cached_property
    def lines(self) -> Mapping[PlacedPort, Line]:
        """Which line each port is in; a port that nothing tells about is absent."""
        found: dict[PlacedPort, Line] = {}
        for port, line in self._seeds():
            for reached in self._flood(port, found):
                found[reached] = line
        for item in self.items.values():
            for port in item.ports:
                of_pipe = None if port in found else self._side_port_line(port, found)
                if of_pipe is not None:
                    found[port] = of_pipe
        return found

    def line_of(self, item: PlacedItem) -> Line | None:
        """The line an item is in, taken from its flow ports; feed wins at a boundary."""
        if item.item.line is not None:
            return item.item.line
        here = {self.lines.get(port) for port in item.ports}
        for line in _LINE_ORDER:
            if line in here:
                return line
        return None

    @staticmethod
    def _side_port_line(port: PlacedPort, found: Mapping[PlacedPort, Line]) -> Line | None:
        """A gauge port is in the line of the pipe it sits on, a tap without a pipe senses air."""
        if port.port.role != "sense":
            return None
        pipe = [other for other in port.item.ports if other.carries_flow]
        if not pipe:
            return "reference"
        on_pipe = (found.get(other) for other in pipe)
        return next((line for line in on_pipe if line is not None), None)

    def _seeds(self) -> Iterator[tuple[PlacedPort, Line]]:
        """Ports whose line is certain, the most telling first."""
        for pump in self.of_kind("pump"):
            for port in pump.ports:
                if port.port.role == "outlet":
                    yield port, self._line_after(port)
        for kind in ("rail", "injector"):
            for item in self.of_kind(kind):
                yield from ((p, "feed") for p in item.ports if p.carries_flow)
        for regulator in self.of_kind("regulator"):
            for port in regulator.ports:
                if port.port.role == "outlet" and not _is_reducing(regulator):
                    yield port, "return"
                elif port.carries_flow:
                    yield port, "feed"
        for pump in self.of_kind("pump"):
            yield from ((p, "suction") for p in pump.ports if p.port.role == "inlet")
        for regulator in self.of_kind("regulator"):
            yield from ((p, "reference") for p in _reference_ports(regulator))
        for item in self.items.values():
            if item.item.line is not None:
                yield from ((p, item.item.line) for p in item.ports)
            for port in item.ports:
                said = self.outside.get(port.name)
                if said is not None and said.line is not None:
                    yield port, said.line
            yield from ((p, "vent") for p in item.ports if p.port.role == "vent")
            # A jet empties into the tank: what drives it is no more than a return, unless a joint
            # has already made it part of the feed.
            yield from ((p, "return") for p in item.ports if p.port.role == "drive")

    def _line_after(self, outlet: PlacedPort) -> Line:
        kinds = {port.item.kind for port in self._flood(outlet, {})}
        fills_surge_tank = "surge-tank" in kinds and not kinds & {"rail", "injector", "regulator"}
        return "transfer" if fills_surge_tank else "feed"

    def _flood(self, start: PlacedPort, known: Mapping[PlacedPort, object]) -> Iterator[PlacedPort]:
        """Ports on the same piece of pipe as `start`, not entering what is known already."""
        if start in known:
            return
        seen = {start}
        queue = deque([start])
        while queue:
            port = queue.popleft()
            yield port
            for reached in self._neighbours(port):
                if reached not in seen and reached not in known:
                    seen.add(reached)
                    queue.append(reached)

    def _neighbours(self, port: PlacedPort) -> list[PlacedPort]:
        """Ports that a joint or the inside of the part makes one piece of pipe with this one."""
        return [*self._beyond(port), *inner_neighbours(port)]

    def _beyond(self, port: PlacedPort) -> list[PlacedPort]:
        return [joint.other(port) for joint in self.joints_of.get(port, ())]

    @cached_property
    def goes_on_outside(self) -> frozenset[Line | None]:
        """The lines in which fuel goes on to unlisted parts; `None` where it is open which."""
        return frozenset(
            self.lines.get(port)
            for item in self.items.values()
            for port in item.ports
            if port.name in self.outside and port.carries_flow
        )

    @cached_property
    def inside_tank(self) -> frozenset[PlacedItem]:
        """Items that lie in the fuel."""
        wet_ports = [
            port
            for item in self.items.values()
            for port in item.ports
            if port.port.submerged or _lies_in_tank(item)
        ]
        seen = set(wet_ports)
        queue = deque(wet_ports)
        while queue:
            port = queue.popleft()
            inner = () if _is_tank_wall(port.item) else port.item.ports
            for reached in [*self._beyond(port), *inner]:
                dry_side = reached.port.submerged is False
                if reached not in seen and not dry_side and not _lies_outside(reached.item):
                    seen.add(reached)
                    queue.append(reached)
        return frozenset(p.item for p in seen if not _is_tank_wall(p.item)) | {
            item for item in self.items.values() if _lies_in_tank(item)
        }

    @cached_property
    def lies_in_tank(self) -> Mapping[PlacedItem, bool | None]:
        """Whether each item lies in the fuel; `None` beside a pump whose mount nobody recorded."""
        return {item: self._lies_in_tank(item) for item in self.items.values()}

    def _lies_in_tank(self, item: PlacedItem) -> bool | None:
        if item in self.inside_tank:
            return True
        if item.item.placement is not None or item.kind in ("tank-module", "tank"):
            return False
        beside = [far.item for port in item.ports for far in self._beyond(port)]
        pumps = [pump for pump in (item, *beside) if pump.kind == "pump"]
        undecided = any(getattr(pump.part.spec, "mount", None) is None for pump in pumps)
        return None if undecided else False

    def way_from(self, start: PlacedPort) -> Mapping[PlacedPort, tuple[PlacedPort, ...]]:
        """The shortest way along one line from `start` to each port it reaches, both included."""
        ways: dict[PlacedPort, tuple[PlacedPort, ...]] = {start: (start,)}
        queue = deque([start])
        while queue:
            port = queue.popleft()
            for reached in self._neighbours(port):
                if reached not in ways:
                    ways[reached] = (*ways[port], reached)
                    queue.append(reached)
        return ways


_LINE_ORDER: tuple[Line, ...] = ("feed", "suction", "return", "transfer", "vent", "reference")


def _lies_in_tank(item: PlacedItem) -> bool:
    if item.item.placement is not None:
        return item.item.placement == "tank"
    mount = getattr(item.part.spec, "mount", None)
    return mount == "in-tank" or item.kind == "strainer"


def _lies_outside(item: PlacedItem) -> bool:
    if item.item.placement is not None:
        return item.item.placement != "tank"
    return getattr(item.part.spec, "mount", None) == "external"


def _is_reducing(regulator: PlacedItem) -> bool:
    return getattr(regulator.part.spec, "action", None) == "reducing"


_HOSE_SYSTEMS = frozenset({"barb", "beaded-tube", "hose-end"})


def _reference_ports(regulator: PlacedItem) -> list[PlacedPort]:
    """The ports by which a regulator senses the manifold; its other sense ports take a gauge.

    A reference port takes a hose; where none does, the only sense port there is.
    """
    sensing = [port for port in regulator.ports if port.port.role == "sense"]
    for_hose = [
        port
        for port in sensing
        if port.port.connection is not None and port.port.connection.system in _HOSE_SYSTEMS
    ]
    return for_hose or (sensing if len(sensing) == 1 else [])


def _is_tank_wall(item: PlacedItem) -> bool:
    return item.kind in ("tank-module", "tank") or any(
        port.port.submerged is not None for port in item.ports
    )


def inner_neighbours(port: PlacedPort) -> tuple[PlacedPort, ...]:
    """The ports of the same part that are one piece of pipe with this one."""
    item = port.item
    if item.kind in _DIVIDED_KINDS or not port.carries_flow:
        return ()
    others = tuple(p for p in item.ports if p is not port and p.carries_flow)
    if item.kind == "regulator" and not _is_reducing(item):
        # Both inlets of a back-pressure regulator see the rail; only its spill is another line.
        spill = port.port.role == "outlet"
        return () if spill else tuple(p for p in others if p.port.role != "outlet")
    if item.kind == "tank-module":
        return tuple(p for p in others if _passes_the_lid(port, p))
    return others


def _passes_the_lid(one: PlacedPort, other: PlacedPort) -> bool:
    """Feed and return of a module are two pipes; each runs from an inlet to an outlet."""
    roles = {one.port.role, other.port.role}
    return roles == {"inlet", "outlet"} and one.port.submerged != other.port.submerged


def place(request: Request, catalogue: Catalogue) -> Circuit:
    """Look up everything a request names.

    Raises:
        AssemblyFaults: unknown SKUs, ports, refs, fuels or vehicles, all at once.
    """
    table = reference()
    faults: list[AssemblyFault] = []
    fuel = _fuel(request, table, faults)
    vehicle = _vehicle(request, catalogue, faults)
    items = _items(request, catalogue, vehicle, faults)
    joints = list(_joints(request, vehicle, items, faults))
    outside = {}
    for index, entry in enumerate(request.outside):
        port = _port(entry.port, items, f"/outside/{index}/port", faults)
        if port is not None:
            outside[port.name] = entry
    if faults or fuel is None:
        raise AssemblyFaults(faults)
    joints += _injector_seats(items, joints)
    # By name, so that a report does not depend on the order in which a caller lists joints.
    joints.sort(key=lambda joint: joint.name)
    return Circuit(
        request.application, fuel, items, tuple(joints), outside, vehicle, catalogue, table
    )


def _fuel(request: Request, table: Reference, faults: list[AssemblyFault]) -> FuelRange | None:
    given = request.application.fuel
    if isinstance(given, FuelBlend):
        ethanol = given.ethanol_percent
        least, most = (
            (ethanol.least, ethanol.most)
            if isinstance(ethanol, PercentRange)
            else (ethanol, ethanol)
        )
        label = f"E{least:g}" if least == most else f"E{least:g} to E{most:g}"
        if given.methanol_percent:
            label += f" with {given.methanol_percent:g} % methanol"
        return FuelRange(label, None, least, most, given.methanol_percent)
    known = table.fuel(given)
    if known is None or not known.judged:
        judged = [fuel for fuel, row in table.fuels.items() if row.judged]
        detail = (
            f"There is no fuel `{given}`." if known is None else f"{known.name} is not judged here."
        )
        near = near_fuels(given, judged) or judged
        listed = ", ".join(f"`{fuel}`" for fuel in near)
        blend = 'a blend such as `{"ethanol_percent": 71}`'
        faults.append(
            AssemblyFault("/application/fuel", given, detail, f"one of {listed}, or {blend}")
        )
        return None
    return FuelRange(
        label=known.fuel,
        id=known.fuel,
        ethanol_least_percent=known.ethanol_low_percent or 0.0,
        ethanol_most_percent=known.ethanol_high_percent or 0.0,
        methanol_percent=known.methanol_percent or 0.0,
    )


def _vehicle(request: Request, catalogue: Catalogue, faults: list[AssemblyFault]) -> Vehicle | None:
    if request.vehicle is None:
        return None
    vehicle = catalogue.vehicles.get(request.vehicle)
    if vehicle is None:
        known = ", ".join(f"`{v}`" for v in list(catalogue.vehicles)[:5]) or "none is stored"
        faults.append(
            AssemblyFault(
                "/vehicle",
                request.vehicle,
                f"There is no vehicle `{request.vehicle}`.",
                f"the id of a stored vehicle: {known}",
            )
        )
    return vehicle


def _items(
    request: Request,
    catalogue: Catalogue,
    vehicle: Vehicle | None,
    faults: list[AssemblyFault],
) -> Mapping[str, PlacedItem]:
    placed: dict[str, PlacedItem] = {}
    sources = [(f"/items/{i}", item, "request") for i, item in enumerate(request.items)]
    if vehicle is not None:
        sources += [("/vehicle", item, "vehicle") for item in vehicle.items]
    for pointer, item, origin in sources:
        if item.ref in placed:
            faults.append(
                AssemblyFault(
                    f"{pointer}/ref",
                    item.ref,
                    f"The vehicle already brings a part called `{item.ref}`.",
                    "another `ref`",
                )
            )
            continue
        part = item.component
        if item.sku is not None:
            part = catalogue.get(item.sku)
            origin = "catalogue" if origin == "request" else origin
        if part is None:
            near = ", ".join(f"`{s}`" for s in catalogue.near(str(item.sku)))
            faults.append(
                AssemblyFault(
                    f"{pointer}/sku",
                    str(item.sku),
                    f"There is no part `{item.sku}` in the catalogue.",
                    f"a known SKU; near ones are {near}" if near else "a known SKU",
                )
            )
            continue
        placed[item.ref] = PlacedItem(item.ref, item, part, pointer, origin)
    return dict(sorted(placed.items()))


def _joints(
    request: Request,
    vehicle: Vehicle | None,
    items: Mapping[str, PlacedItem],
    faults: list[AssemblyFault],
) -> Iterator[PlacedJoint]:
    sources = [(f"/joints/{i}", joint) for i, joint in enumerate(request.joints)]
    if vehicle is not None:
        sources += [("/vehicle", joint) for joint in vehicle.joints]
    unknown_refs = {item.ref for item in request.items} - items.keys()
    for pointer, joint in sources:
        placed = _joint(pointer, joint, items, unknown_refs, faults)
        if placed is not None:
            yield placed


def _joint(
    pointer: str,
    joint: Joint,
    items: Mapping[str, PlacedItem],
    unknown_refs: set[str],
    faults: list[AssemblyFault],
) -> PlacedJoint | None:
    ends = [
        _port(name, items, f"{pointer}/{index}", faults, unknown_refs)
        for index, name in enumerate(joint.ends)
    ]
    uses = []
    for index, ref in enumerate(joint.uses):
        if ref in items:
            uses.append(items[ref])
        elif ref not in unknown_refs:
            faults.append(_no_such_ref(f"{pointer}/uses/{index}", ref, items))
    first, second = ends
    if first is None or second is None:
        return None
    return PlacedJoint(first, second, tuple(uses), joint.sealant, pointer)


def _port(
    name: str,
    items: Mapping[str, PlacedItem],
    pointer: str,
    faults: list[AssemblyFault],
    unknown_refs: Iterable[str] = (),
) -> PlacedPort | None:
    ref, _, port_id = name.partition(".")
    item = items.get(ref)
    if item is None:
        # A part that could not be looked up is reported once, at its item.
        if ref not in unknown_refs:
            faults.append(_no_such_ref(pointer, ref, items))
        return None
    port = item.port(port_id)
    if port is None:
        known = ", ".join(f"`{ref}.{p.port.id}`" for p in item.ports) or "it has no ports"
        faults.append(
            AssemblyFault(
                pointer, name, f"`{ref}` has no port `{port_id}`.", f"a port of `{ref}`: {known}"
            )
        )
    return port


def _no_such_ref(pointer: str, ref: str, items: Mapping[str, PlacedItem]) -> AssemblyFault:
    known = ", ".join(f"`{r}`" for r in list(items)[:12])
    return AssemblyFault(
        pointer, ref, f"No item is called `{ref}`.", f"the `ref` of an item: {known}"
    )


def _injector_seats(
    items: Mapping[str, PlacedItem], joints: Iterable[PlacedJoint]
) -> Iterator[PlacedJoint]:
    """Joints of injectors and rails that a list leaves out because they go without saying.

    Only where nothing is left to choose: one group of injectors, and rails whose seats are free.
    """
    taken = {end for joint in joints for end in joint.ends}
    seats = [
        port
        for item in items.values()
        if item.kind == "rail"
        for port in item.ports
        if port.port.connection is not None
        and port.port.connection.system == "injector-seat"
        and port not in taken
    ]
    inlets = [
        port
        for item in items.values()
        if item.kind == "injector"
        for port in item.ports
        if port.port.role == "inlet" and port not in taken
    ]
    if len(inlets) == 1:
        for seat in seats:
            yield PlacedJoint(seat, inlets[0], (), None, inlets[0].item.pointer, implied=True)
