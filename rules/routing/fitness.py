"""Whether a part may be offered for a place in the circuit, before any rule is asked.

The rule book judges the whole in the end. What is bought must be known to serve: a material, a
pressure or a marking that nobody recorded counts against a part here.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field
from enum import IntEnum

from rules import parts
from rules.circuit import Circuit, FuelRange
from rules.facts.application import application_facts
from rules.reference import Reference
from rules.schema import Maybe, Unknown
from rules.vocabulary import Line, Material

MARGIN_KPA = 70.0
"""Room between a part's rating and the highest pressure: common practice, no source."""

_BENT = 2
_CLAMPED = frozenset({"rubber-clamped", "rubber-submersible"})
_RUBBER = _CLAMPED | {"rubber-push-on", "rubber-textile-braid", "rubber-wire-braid"}
_RUBBER_SEALS = frozenset({"o-ring", "bonded-washer", "flat-gasket"})
_PAPER_ETHANOL_PERCENT = 15.0
_STATIC_ETHANOL_PERCENT = 50.0


class Fitness(IntEnum):
    """How well a part serves in a place."""

    GOOD = 0
    CAUTION = 1
    UNFIT = 2


@dataclass(frozen=True, slots=True)
class Place:
    """Where in the circuit something lies."""

    line: Line
    inside_tank: bool = False


@dataclass(eq=False)
class Conditions:
    """What the parts of an application must bear; unknown figures are left to the rules.

    `barred` are SKUs that are not to be offered.
    """

    fuel: FuelRange
    tables: Reference
    peak_kpa: float | None
    fuel_temperature_c: float | None
    boosted: bool | None
    barred: frozenset[str] = frozenset()
    _known: dict[tuple[int, Place], tuple[parts.Component, Fitness]] = field(
        default_factory=dict, repr=False
    )

    @property
    def key(self) -> tuple[object, ...]:
        """What two applications have in common where the same parts serve in both."""
        return (self.fuel, self.peak_kpa, self.fuel_temperature_c, self.barred)

    @property
    def fuel_varies(self) -> bool:
        """Whether one tank holds more ethanol than the next by enough to need measuring."""
        span = self.fuel.ethanol_most_percent - self.fuel.ethanol_least_percent
        return span > _PAPER_ETHANOL_PERCENT

    def meets(self, condition: str) -> bool:
        """Whether a condition of a template holds, as far as is known."""
        return self.boosted is not False if condition == "boosted" else self.fuel_varies

    def fitness(self, part: parts.Component, place: Place) -> Fitness:
        """How well a part serves in a place; unknown is unfit."""
        key = (id(part), place)
        known = self._known.get(key)
        if known is None:
            # The part is kept with the answer, so that its id stays its own.
            known = self._known[key] = (part, self._fitness(part, place))
        return known[1]

    def _fitness(self, part: parts.Component, place: Place) -> Fitness:
        worst = Fitness.GOOD
        for found in self._judged(part, place):
            if found is Fitness.UNFIT:
                return found
            worst = max(worst, found)
        return worst

    def _judged(self, part: parts.Component, place: Place) -> Iterator[Fitness]:
        if part.sku in self.barred:
            yield Fitness.UNFIT
        if part.lifecycle != "sold":
            yield Fitness.CAUTION
        if self.fuel.id is not None and self.fuel.id in part.excluded_fuels:
            yield Fitness.UNFIT
        if place.line != "reference":
            yield from (self._material(part, material) for material in _wetted(part))
        if place.line == "feed":
            yield self._pressure(part)
        if isinstance(part.spec, parts.HoseMarks):
            yield from self._hose(part, part.spec, place)
        yield self._temperature(part)
        if place.line == "feed" and any(p.retention == "latch-plastic" for p in part.ports):
            yield Fitness.CAUTION

    def _material(self, part: parts.Component, material: Material | None) -> Fitness:
        if material is None:
            return Fitness.UNFIT
        rating = self.fuel.rate(material).rating
        if material == "paper":
            wet = self.fuel.ethanol_most_percent > _PAPER_ETHANOL_PERCENT
            return Fitness.UNFIT if wet else Fitness.GOOD
        if material == "ptfe" and isinstance(part.spec, parts.HoseMarks):
            sparks = self.fuel.ethanol_least_percent < _STATIC_ETHANOL_PERCENT
            return Fitness.CAUTION if sparks else Fitness.GOOD
        if rating == "limited" and material != "ptfe":
            return Fitness.CAUTION
        return Fitness.GOOD if rating in ("suitable", "limited") else Fitness.UNFIT

    def _pressure(self, part: parts.Component) -> Fitness:
        rated = part.working_pressure_kpa
        if rated is None:
            return Fitness.UNFIT
        if self.peak_kpa is None or rated >= self.peak_kpa + MARGIN_KPA:
            return Fitness.GOOD
        return Fitness.CAUTION if rated >= self.peak_kpa else Fitness.UNFIT

    def _hose(
        self, part: parts.Component, spec: parts.HoseMarks, place: Place
    ) -> Iterator[Fitness]:
        yield from _ends(part)
        if place.line == "reference":
            return
        if spec.construction is None or spec.marked is None:
            yield Fitness.UNFIT
            return
        rows = [self.tables.marking(marking) for marking in spec.marked]
        if spec.construction in _CLAMPED:
            if not rows:
                yield Fitness.UNFIT
            if place.line == "feed" and all(row.injection == "no" for row in rows):
                yield Fitness.UNFIT
            if place.line == "return" and all(row.injection_return == "no" for row in rows):
                yield Fitness.UNFIT
        if place.inside_tank and spec.construction in _RUBBER:
            wet = any(row.submersible == "yes" for row in rows)
            yield Fitness.GOOD if wet else Fitness.UNFIT
        if spec.construction == "rubber-clamped":
            limits = [r.ethanol_limit_percent for r in rows if r.ethanol_limit_percent is not None]
            enough = not limits or max(limits) >= self.fuel.ethanol_most_percent
            yield Fitness.GOOD if enough else Fitness.UNFIT

    def _temperature(self, part: parts.Component) -> Fitness:
        stated = self.fuel_temperature_c
        if stated is None:
            return Fitness.GOOD
        least, most = part.temperature_least_c, part.temperature_most_c
        inside = (least is None or least <= stated) and (most is None or stated <= most)
        return Fitness.GOOD if inside else Fitness.CAUTION


def service_of(part: parts.Component) -> Hashable:
    """What `Conditions.fitness` asks of a part that is no hose, but for its part number.

    Parts that are alike in this serve alike, under whatever conditions.
    """
    return (
        *(part.lifecycle, part.excluded_fuels, tuple(_wetted(part))),
        *(part.working_pressure_kpa, part.temperature_least_c, part.temperature_most_c),
        any(port.retention == "latch-plastic" for port in part.ports),
    )


def conditions_of(circuit: Circuit, barred: frozenset[str] = frozenset()) -> Conditions:
    """The conditions of a circuit's application, with SKUs that are not to be offered."""
    app = application_facts(circuit)
    return Conditions(
        fuel=circuit.fuel,
        tables=circuit.reference,
        peak_kpa=_known(app.peak_pressure_kpa),
        fuel_temperature_c=circuit.application.fuel_temperature_c,
        boosted=None if isinstance(app.boosted, Unknown) else app.boosted,
        barred=barred,
    )


def _known(value: Maybe[float]) -> float | None:
    return None if isinstance(value, Unknown) else value


def _wetted(part: parts.Component) -> Iterator[Material | None]:
    if part.wetted is None:
        yield None
    else:
        yield from (wetted.material for wetted in part.wetted)
    for port in part.ports:
        seal = port.seal
        if seal is not None and seal.included is not False and seal.form in _RUBBER_SEALS:
            yield seal.material


def _ends(part: parts.Component) -> Iterator[Fitness]:
    """A hose needs an end that turns, and two bent ends an angle between them."""
    ends = [port for port in part.ports if port.role in ("inlet", "outlet", "either")]
    if not isinstance(part.spec, parts.HoseAssemblySpec):
        return
    if len(ends) >= _BENT and not any(port.swivel for port in ends):
        yield Fitness.UNFIT
    bent = sum(bool(port.angle_deg) for port in ends)
    if bent >= _BENT and part.spec.clock_angle_deg is None:
        yield Fitness.CAUTION
