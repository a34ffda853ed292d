"""Finders: which parts of the catalogue would mend what a rule found.

A finder suggests a part only where it is sold and known to serve; it promises no stock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from rules import parts
from rules.catalogue import Catalogue
from rules.circuit import Circuit, PlacedItem, PlacedPort
from rules.facts.case import Case
from rules.facts.joint import end_of, part_end
from rules.facts.part import missing_needs
from rules.facts.run import RunFacts
from rules.facts.supplies import covers
from rules.facts.whole import WholeFacts, banjo_threads, fits_banjo
from rules.quantities import QuantityError, read_quantity
from rules.reference.mating import End, mate
from rules.schema import Unknown

_TIGHT = frozenset({"seals", "seals-with"})
_INJECTION_CLAMPS = ("smooth-band", "ear", "constant-torque")


@dataclass(frozen=True, slots=True)
class Found:
    """A part that a finder suggests: to add, or in place of the item `replaces`."""

    part: parts.Component
    quantity: int
    replaces: str | None = None


@dataclass(frozen=True, slots=True)
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
    def pieces(self) -> int:
        """How many equal joints the case stands for."""
        return min((end.pieces for end in self.ends), default=1)

    @property
    def items(self) -> tuple[PlacedItem, ...]:
        """The items of the case."""
        return tuple(self.circuit.items[ref] for ref in self.case.refs)

    def withstands(self, part: parts.Component, ratings: Iterable[str] = ("suitable",)) -> bool:
        """Whether every wetted material of a part is known and so rated for the fuel."""
        if part.wetted is None or self.circuit.fuel.id in part.excluded_fuels:
            return False
        seals = [p.seal.material for p in part.ports if p.seal and p.seal.included]
        for material in [*(w.material for w in part.wetted), *seals]:
            if material is None:
                return False
            if self.circuit.fuel.rate(material).rating not in ratings:
                return False
        return True


def price_order(part: parts.Component) -> tuple[float, str]:
    """Cheapest first, parts without a price last, then by SKU."""
    amount = float(part.price.amount) if part.price else float("inf")
    return amount, part.sku or ""


def adapter_between(search: Search) -> Iterator[Found]:
    """The cheapest adapter whose two ends seal on the two ends of a joint."""
    if len(search.ends) != 2:
        return
    first, second = search.ends
    wanted = [
        part
        for part in _screwing_on(search.catalogue, end_of(first))
        if part.kind in ("adapter", "quick-connector")
        and _joins(part, end_of(first), end_of(second))
    ]
    for part in sorted(wanted, key=price_order)[:1]:
        yield Found(part, search.pieces)


def _screwing_on(catalogue: Catalogue, end: End) -> Iterator[parts.Component]:
    """Sold parts with a port of the same system and size, the only ones that can seal on it."""
    if end.system is None:
        return
    seen = set()
    for candidate in catalogue.offered_ports(end.system, end.size):
        if candidate.part.sku not in seen:
            seen.add(candidate.part.sku)
            yield candidate.part


def _joins(part: parts.Component, first: End, second: End) -> bool:
    flow = [port for port in part.ports if port.role in ("either", "inlet", "outlet")]
    return any(
        one is not other
        and mate(first, part_end(part, one)).verdict in _TIGHT
        and mate(part_end(part, other), second).verdict in _TIGHT
        for one in flow
        for other in flow
    )


def successor(search: Search) -> Iterator[Found]:
    """The sold part that supersedes an item."""
    for item in search.items:
        sku = item.part.superseded_by
        part = search.catalogue.get(sku) if sku else None
        if part is not None and part.lifecycle == "sold":
            yield Found(part, item.item.quantity, item.ref)


def seal_for_joint(search: Search) -> Iterator[Found]:
    """The seal, washer or sleeve that a joint needs, in a material that bears the fuel."""
    if len(search.ends) != 2:
        return
    first, second = search.ends
    for need in mate(end_of(first), end_of(second)).needs:
        sizes = {p.port.connection.size for p in search.ends if p.port.connection} | {need.size}
        fitting = [
            part
            for part in search.catalogue.offered("seal")
            if isinstance(part.spec, parts.SealSpec)
            and part.spec.form in need.parts
            and part.spec.size in sizes
            and search.withstands(part)
        ]
        for part in sorted(fitting, key=price_order)[:1]:
            pieces = getattr(part.spec, "pieces", None) or 1
            yield Found(part, -(-need.count * search.pieces // pieces))


def clamp_for_joint(search: Search) -> Iterator[Found]:
    """A clamp for injection pressure whose range covers the hose of a joint."""
    outside = [
        end.item.part.spec.outside_diameter_mm
        for end in search.ends
        if isinstance(end.item.part.spec, parts.HoseMarks)
    ]
    for part in sorted(search.catalogue.offered("clamp"), key=price_order):
        if any(_clamps(part.spec, diameter) for diameter in outside):
            yield Found(part, search.pieces)
            return


def _clamps(spec: object, outside_mm: float | None) -> bool:
    """Whether a part is a clamp for injection pressure that is known to suit a hose."""
    if not isinstance(spec, parts.ClampSpec) or spec.style not in _INJECTION_CLAMPS:
        return False
    return covers(spec, outside_mm) is True


def clamps_short(search: Search) -> Iterator[Found]:
    """Clamps for injection pressure, as many as the list is short of."""
    facts = search.case.facts
    assert isinstance(facts, WholeFacts)
    short = facts.clamps_needed - facts.clamps_given
    hoses = {
        item.part.spec.outside_diameter_mm
        for item in search.circuit.items.values()
        if isinstance(item.part.spec, parts.HoseMarks)
    }
    for part in sorted(search.catalogue.offered("clamp"), key=price_order):
        if any(_clamps(part.spec, diameter) for diameter in hoses):
            yield Found(part, short)
            return


def washers_short(search: Search) -> Iterator[Found]:
    """Washers for the banjo bolts of the list, as many as it is short of."""
    facts = search.case.facts
    assert isinstance(facts, WholeFacts)
    short = facts.washers_needed - facts.washers_given
    threads = banjo_threads(search.circuit)
    for part in sorted(search.catalogue.offered("seal"), key=price_order):
        if isinstance(part.spec, parts.SealSpec) and fits_banjo(part.spec, threads):
            yield Found(part, -(-short // (part.spec.pieces or 1)))
            return


def stand_in(search: Search) -> Iterator[Found]:
    """A part of the same kind with the same ends whose materials all bear the fuel."""
    for item in search.items:
        alike = [
            part
            for part in search.catalogue.offered(item.kind)
            if part.sku != item.part.sku
            and _signature(part) == _signature(item.part)
            and search.withstands(part)
        ]
        for part in sorted(alike, key=price_order)[:1]:
            yield Found(part, item.item.quantity, item.ref)


def _signature(part: parts.Component) -> list[tuple[str, str, str]]:
    """The ends of a part: what another must have to take its place."""
    return sorted(
        (
            port.connection.system if port.connection else "?",
            (port.connection.size or "?") if port.connection else "?",
            (port.connection.gender or "?") if port.connection else "?",
        )
        for port in part.ports
    )


def cap_for_port(search: Search) -> Iterator[Found]:
    """A cap or plug that seals an open port."""
    for end in search.ends:
        fitting = [
            part
            for part in _screwing_on(search.catalogue, end_of(end))
            if part.kind == "cap" and _mates(end, part)
        ]
        for part in sorted(fitting, key=price_order)[:1]:
            yield Found(part, end.pieces)


def hose_end_for_joint(search: Search) -> Iterator[Found]:
    """A hose end with the same outer end that grips the hose of the joint."""
    hose = {
        item.part.spec.construction
        for item in search.items
        if isinstance(item.part.spec, parts.HoseMarks)
    }
    for item in search.items:
        if not isinstance(item.part.spec, parts.HoseEndSpec):
            continue
        outer = [s for s in _signature(item.part) if s[0] != "hose-end"]
        fitting = [
            part
            for part in search.catalogue.offered("hose-end")
            if isinstance(part.spec, parts.HoseEndSpec)
            and part.spec.for_construction in hose
            and [s for s in _signature(part) if s[0] != "hose-end"] == outer
        ]
        for part in sorted(fitting, key=price_order)[:1]:
            yield Found(part, item.item.quantity, item.ref)


def filter_for_run(search: Search) -> Iterator[Found]:
    """A filter fine enough for what it protects, in materials that bear the fuel."""
    facts = search.case.facts
    assert isinstance(facts, RunFacts)
    wanted = 10.0 if isinstance(facts.wanted_um, Unknown) else facts.wanted_um
    peak = facts.app.peak_pressure_kpa
    fitting = [
        part
        for part in search.catalogue.offered("filter")
        if isinstance(part.spec, parts.FilterSpec)
        and part.spec.fineness_um is not None
        and part.spec.fineness_um <= wanted
        and part.spec.media != "paper"
        and search.withstands(part, ("suitable", "limited"))
        and (isinstance(peak, Unknown) or (part.working_pressure_kpa or 0.0) >= peak)
    ]
    for part in sorted(fitting, key=price_order)[:1]:
        yield Found(part, 1)


def strainer(search: Search) -> Iterator[Found]:
    """A strainer that goes on the inlet of the pump of the case."""
    pumps = {end.item for end in search.ends if end.item.kind == "pump"}
    pumps |= {item for item in search.items if item.kind == "pump"}
    inlets = [port for pump in pumps for port in pump.ports if port.port.role == "inlet"]
    for part in sorted(search.catalogue.offered("strainer"), key=price_order):
        if any(_mates(inlet, part) for inlet in inlets):
            yield Found(part, 1)
            return


def _mates(end: PlacedPort, part: parts.Component) -> bool:
    """Whether some port of a part seals on a placed port."""
    return any(mate(end_of(end), part_end(part, port)).verdict in _TIGHT for port in part.ports)


def ethanol_sensor(search: Search) -> Iterator[Found]:
    """A sensor that tells the engine what it is fed."""
    for part in sorted(search.catalogue.offered("sensor"), key=price_order):
        if isinstance(part.spec, parts.SensorSpec) and part.spec.senses == "ethanol-content":
            yield Found(part, 1)
            return


def needs_of_the_maker(search: Search) -> Iterator[Found]:
    """What the list lacks of an item's needs: the part named, or the cheapest that serves."""
    lacking = missing_needs(search.circuit)
    for item in search.items:
        for need in lacking[item]:
            if need.sku is not None:
                named = search.catalogue.get(need.sku)
                serving = [named] if named is not None and named.lifecycle == "sold" else []
            else:
                serving = [
                    part
                    for part in search.catalogue.offered(need.kind)
                    if _serves(part, need, item, search.circuit)
                ]
            for part in sorted(serving, key=price_order)[:1]:
                yield Found(part, need.quantity)


def _serves(part: parts.Component, need: parts.Need, item: PlacedItem, circuit: Circuit) -> bool:
    """Whether a fuse, wire or relay is known to be of the size asked for; others have no sizes."""
    spec = part.spec
    if isinstance(spec, parts.FuseSpec):
        return need.size is not None and spec.rating_a == _size(need.size, "current", "A")
    if isinstance(spec, parts.WireSpec):
        asked = _size(need.size, "area", "mm**2") if need.size else None
        return asked is not None and spec.area_mm2 is not None and spec.area_mm2 >= asked
    if isinstance(spec, parts.RelaySpec) and isinstance(item.part.spec, parts.PumpSpec):
        current, rating = item.part.spec.maximum_current_a, spec.rating_a
        strong = current is not None and rating is not None and rating >= current
        modulated = circuit.application.pump_control == "speed-controlled"
        return strong and spec.solid_state is modulated
    return False


def _size(text: str, dimension: str, unit: str) -> float | None:
    try:
        return read_quantity(text, dimension, unit)
    except QuantityError:
        return None


FINDERS: Mapping[str, Callable[[Search], Iterator[Found]]] = {
    "adapter-between": adapter_between,
    "successor": successor,
    "seal-for-joint": seal_for_joint,
    "clamp-for-joint": clamp_for_joint,
    "clamps-short": clamps_short,
    "washers-short": washers_short,
    "stand-in": stand_in,
    "cap-for-port": cap_for_port,
    "hose-end-for-joint": hose_end_for_joint,
    "filter-for-run": filter_for_run,
    "strainer": strainer,
    "ethanol-sensor": ethanol_sensor,
    "missing-needs": needs_of_the_maker,
}
"""The finders by the name that rules use after `find:`."""
