"""Which sold parts could stand in a station that a cart leaves empty, sized for the engine."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from rules import parts
from rules.catalogue import Catalogue
from rules.circuit import Circuit
from rules.facts.flow.demand import Need, needs_of
from rules.fuel import (
    static_flow_at_pressure_cc_min,
    static_flow_needed_cc_min,
    static_flow_on_fluid_cc_min,
)
from rules.routing import costs
from rules.routing.fitness import Conditions, Fitness, Place
from rules.routing.offers import Offers
from rules.routing.pieces import Lot, shop_lot
from rules.routing.template import Station

MOST_CHOICES = 8
"""Parts with different ends that are weighed for one empty station."""

PUMP_MARGIN = 1.2
"""Pump flow over the engine's demand: common practice, no source."""

PLUMBING_KPA = 50.0
"""Pressure that lines and filter take of the pump's: common practice, no source."""

COARSEST_FEED_UM = 10.0
FINEST_FEED_UM = 5.0
FINEST_SUCTION_UM = 70.0


@dataclass(frozen=True, slots=True)
class Choice:
    """What could stand in an empty station: sold parts, or what must be said first.

    Attributes:
        lots: parts with different ends, the cheapest of each; cheapest first.
        asks: what the application must state before a part can be named.
        parts: all parts that could stand there, cheapest first.
    """

    lots: tuple[Lot, ...]
    asks: str | None = None
    parts: tuple[parts.Component, ...] = ()


class Sizing:
    """Chooses among the sold parts of a kind for one application."""

    def __init__(
        self, probe: Circuit, catalogue: Catalogue, offers: Offers, conditions: Conditions
    ) -> None:
        self._probe = probe
        self._catalogue = catalogue
        self._offers = offers
        self._conditions = conditions

    def choice(self, station: Station, place: Place, seats: int | None = None) -> Choice:
        """The sold parts that could stand in a station.

        Args:
            station: what may stand there.
            place: where it lies.
            seats: injector seats that a rail should have, where that is known.
        """
        asks = self._asks(station)
        if asks:
            return Choice((), asks)
        offered = (part for kind in station.kinds for part in self._catalogue.offered(kind))
        fit = [
            part
            for part in offered
            if station.takes(part)
            and self._conditions.fitness(part, place) is Fitness.GOOD
            and self._suits(part, seats)
        ]
        fit.sort(key=lambda part: (self._price(part), part.sku or ""))
        return Choice(tuple(_first_of_each(fit)), parts=tuple(fit))

    def suits(self, part: parts.Component) -> bool:
        """Whether a part is known to do for this engine: flow, pressure, fineness and the like."""
        return self._suits(part, None)

    def _price(self, part: parts.Component) -> int:
        return costs.price_cents(part, self._offers.currency)

    def injectors(self, wanted: int) -> Choice:
        """Sold injectors that feed the engine with so many of them, cheapest first."""
        need = self._need
        base_kpa = self._base_kpa
        if need is None or base_kpa is None:
            return Choice((), "power, induction and base pressure, to size the injectors")
        flow = need.demand.volume_flow_lph
        least = static_flow_needed_cc_min(flow, wanted)
        place = Place("feed")
        fit = [
            part
            for part in self._catalogue.offered("injector")
            if self._conditions.fitness(part, place) is Fitness.GOOD
            and isinstance(part.spec, parts.InjectorSpec)
            and self._is_filtered(part.spec)
            and _static_flow(part.spec, base_kpa, need) >= least
        ]
        fit.sort(key=lambda part: (self._price(part), part.sku or ""))
        return Choice(tuple(_first_of_each(fit)))

    def _is_filtered(self, spec: parts.InjectorSpec) -> bool:
        """Whether the filters there are hold back what an injector cannot bear."""
        held = [
            item.part.spec.fineness_um
            for item in self._probe.of_kind("filter")
            if isinstance(item.part.spec, parts.FilterSpec) and item.part.spec.fineness_um
        ]
        asked = spec.upstream_fineness_at_most_um
        return not held or asked is None or min(held) <= asked

    @cached_property
    def _need(self) -> Need | None:
        return needs_of(self._probe).most

    @property
    def _base_kpa(self) -> float | None:
        return self._probe.application.base_pressure_kpa

    def _asks(self, station: Station) -> str | None:
        if "pump" not in station.kinds:
            return None
        if any(wanted.most is not None for wanted in station.where):
            return None  # a lift pump, which works against hardly any pressure
        if self._need is None or self._conditions.peak_kpa is None:
            return "power, induction, base pressure and boost, to size the pump"
        return None

    def _suits(self, part: parts.Component, seats: int | None) -> bool:
        check = _CHECKS.get(type(part.spec))
        if check is not None and not check(self, part.spec):
            return False
        return seats is None or part.kind != "rail" or seat_count(part) == seats

    def _pump(self, spec: parts.PumpSpec) -> bool:
        if spec.relief_pressure_kpa is not None and spec.relief_pressure_kpa <= _LIFT_KPA:
            return True
        need, peak_kpa = self._need, self._conditions.peak_kpa
        if need is None or peak_kpa is None:
            return False
        voltage_v = self._probe.application.supply_voltage_v
        flow_lph = pump_flow_lph(spec, peak_kpa + PLUMBING_KPA, voltage_v)
        return flow_lph is not None and flow_lph >= PUMP_MARGIN * need.demand.volume_flow_lph

    def _regulator(self, spec: parts.RegulatorSpec) -> bool:
        base_kpa = self._base_kpa
        if self._conditions.boosted is not False and spec.reference == "atmosphere":
            return False
        if base_kpa is None:
            return True
        low = spec.set_pressure_least_kpa or spec.set_pressure_kpa
        high = spec.set_pressure_most_kpa or spec.set_pressure_kpa
        return low is not None and high is not None and low <= base_kpa <= high

    def _filter(self, spec: parts.FilterSpec) -> bool:
        if spec.fineness_um is None:
            return False
        if spec.fineness_um >= FINEST_SUCTION_UM:
            return True
        return FINEST_FEED_UM <= spec.fineness_um <= self._finest_wanted_um

    @cached_property
    def _finest_wanted_um(self) -> float:
        asked = [
            item.part.spec.upstream_fineness_at_most_um
            for item in self._probe.of_kind("injector", "regulator")
            if isinstance(item.part.spec, parts.InjectorSpec | parts.RegulatorSpec)
        ]
        known = [um for um in asked if um is not None]
        return min(known, default=COARSEST_FEED_UM)

    def _strainer(self, spec: parts.StrainerSpec) -> bool:
        if spec.fineness_um is None:
            return False
        asked = [
            item.part.spec.inlet_fineness_at_least_um or 0.0
            for item in self._probe.of_kind("pump")
            if isinstance(item.part.spec, parts.PumpSpec)
        ]
        return spec.fineness_um >= max([FINEST_SUCTION_UM, *asked])

    def _module(self, spec: parts.TankModuleSpec) -> bool:
        pumps = [
            item.part.spec
            for item in self._probe.of_kind("pump")
            if isinstance(item.part.spec, parts.PumpSpec)
        ]
        bodies = {p.body_diameter_mm for p in pumps if p.body_diameter_mm is not None}
        takes = spec.body_diameters_mm
        if takes is not None and not bodies <= set(takes):
            return False
        if spec.pump_places is not None and spec.pump_places < len(pumps):
            return False
        return not self._saddle or spec.jet_drive not in (None, "none")

    @property
    def _saddle(self) -> bool:
        return any(
            isinstance(item.part.spec, parts.TankSpec) and item.part.spec.shape == "saddle"
            for item in self._probe.of_kind("tank")
        )


_LIFT_KPA = 200.0

_CHECKS: Mapping[type, Callable[..., bool]] = {
    parts.PumpSpec: Sizing._pump,
    parts.RegulatorSpec: Sizing._regulator,
    parts.FilterSpec: Sizing._filter,
    parts.StrainerSpec: Sizing._strainer,
    parts.TankModuleSpec: Sizing._module,
}


def _first_of_each(fit: Iterable[parts.Component]) -> Iterator[Lot]:
    """The first part with each set of ends; more would only cost more."""
    seen = set()
    for part in fit:
        lot = shop_lot(part)
        ends = frozenset((port.role, port.submerged, lot.faces[port.id]) for port in part.ports)
        if ends not in seen:
            seen.add(ends)
            yield lot
        if len(seen) == MOST_CHOICES:
            return


def seat_count(part: parts.Component) -> int:
    """How many injectors a rail seats."""
    return sum(
        port.count
        for port in part.ports
        if port.connection is not None and port.connection.system == "injector-seat"
    )


def pump_flow_lph(
    spec: parts.PumpSpec, pressure_kpa: float, voltage_v: float | None
) -> float | None:
    """Flow of a pump at a pressure, on its measured curve at the highest voltage not above its own.

    `None` where no curve states its voltage or the pressure is outside its points.
    """
    stated = [curve for curve in spec.curves or () if curve.voltage_v is not None]
    stated.sort(key=lambda curve: curve.voltage_v or 0.0)
    reached = [c for c in stated if voltage_v is None or (c.voltage_v or 0.0) <= voltage_v]
    curve = next(iter(reached[-1:] or stated[:1]), None)
    if curve is None:
        return None
    for low, high in itertools.pairwise(curve.points):
        if low.pressure_kpa <= pressure_kpa <= high.pressure_kpa:
            share = (pressure_kpa - low.pressure_kpa) / (high.pressure_kpa - low.pressure_kpa)
            return low.flow_lph + share * (high.flow_lph - low.flow_lph)
    return None


def _static_flow(spec: parts.InjectorSpec, base_kpa: float, need: Need) -> float:
    """Static flow of an injector on this fuel at this pressure; nothing where it is not known."""
    if spec.flow_cc_min is None or spec.flow_pressure_kpa is None:
        return -math.inf
    flow = static_flow_at_pressure_cc_min(spec.flow_cc_min, spec.flow_pressure_kpa, base_kpa)
    if spec.test_fluid_density_kg_m3 is None:
        return flow
    return static_flow_on_fluid_cc_min(flow, spec.test_fluid_density_kg_m3, need.density_kg_m3)
