"""Parts that go into a line: filters, strainers, sensors, and what joins them there."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rules import parts
from rules.circuit import PlacedItem, PlacedPort
from rules.facts.application import AppFacts
from rules.facts.joint import end_of, part_end
from rules.facts.run import RunFacts
from rules.facts.whole import WholeFacts
from rules.remedies.bridges import Bridge, Bridges, spot_of
from rules.remedies.likes import ends_of, is_strainer_for
from rules.remedies.needs import also_needed
from rules.remedies.search import BEARABLE, Found, Search, bears, face_at, price_order, seals_on
from rules.schema import Unknown

_USUAL_FILTER_UM = 10.0
_FITTINGS = "fittings that join it in the line"


# Filters after the pump -------------------------------------------------------------------------


def filter_for_run(search: Search) -> Iterator[Found]:
    """A filter fine enough for what it protects, where it is joined with the fewest fittings."""
    facts = search.case.facts
    assert isinstance(facts, RunFacts)
    wanted = _USUAL_FILTER_UM if isinstance(facts.wanted_um, Unknown) else facts.wanted_um
    fitting = [
        part
        for part in search.catalogue.offered("filter")
        if _is_filter_for(part, wanted, facts.app) and search.withstands(part, BEARABLE)
    ]
    coarse = [item for item in search.items if item.kind == "filter"]
    instead = [p for p in fitting if coarse and ends_of(p) == ends_of(coarse[-1].part)]
    if instead:
        one = Found(min(instead, key=price_order), coarse[-1].item.quantity, coarse[-1].ref)
        yield from also_needed(search, one)
    else:
        yield from _inserted(search, fitting, _joints_on_the_way(search))


def _is_filter_for(part: parts.Component, wanted_um: float, app: AppFacts) -> bool:
    spec = part.spec
    return (
        isinstance(spec, parts.FilterSpec)
        and spec.fineness_um is not None
        and spec.fineness_um <= wanted_um
        and spec.media != "paper"
        and bears(part, app.peak_pressure_kpa)
    )


def _joints_on_the_way(search: Search) -> list[tuple[PlacedPort, PlacedPort]]:
    """The joints of the run of the case outside the tank, each as fuel passes it."""
    start, goal = search.ends
    way = search.circuit.way_from(start).get(goal, ())
    return [
        (one, other)
        for one, other in itertools.pairwise(way)
        if one.item is not other.item
        and not (search.circuit.lies_in_tank[one.item] or search.circuit.lies_in_tank[other.item])
    ]


# What goes between two ports --------------------------------------------------------------------


@dataclass(frozen=True)
class _Fitted:
    """A part in a joint, with what leads to it on both sides."""

    part: parts.Component
    between: tuple[str, str]
    before: Bridge
    after: Bridge

    @property
    def fittings(self) -> tuple[parts.Component, ...]:
        """What goes in with it."""
        return self.before.pieces + self.after.pieces

    @property
    def order(self) -> tuple[object, ...]:
        """Fewest fittings first, then the least to pay."""
        prices = [price_order(each)[0] for each in (self.part, *self.fittings)]
        return len(self.fittings), sum(prices), self.part.sku, self.between


def _inserted(
    search: Search,
    candidates: Iterable[parts.Component],
    joints: Iterable[tuple[PlacedPort, PlacedPort]],
) -> Iterator[Found]:
    """The candidate that the fewest fittings join; else the cheapest, and that it asks for some."""
    cheapest_first = sorted(candidates, key=price_order)
    of_ends = {frozenset(ends_of(part).items()): part for part in reversed(cheapest_first)}
    bridges = Bridges(search, search.case.facts.app.peak_pressure_kpa)  # type: ignore[attr-defined]
    fitted = [
        each
        for before, after in joints
        for part in of_ends.values()
        for each in _fit(bridges, part, before, after)
    ]
    if fitted:
        best = min(fitted, key=lambda each: each.order)
        names = tuple(str(fitting.sku) for fitting in best.fittings)
        one = Found(best.part, 1, between=best.between, needs=names)
        yield from also_needed(search, one, (*best.before.meetings, *best.after.meetings))
        yield from (Found(fitting, 1, between=best.between) for fitting in best.fittings)
    elif cheapest_first:
        yield from also_needed(search, Found(cheapest_first[0], 1, needs=(_FITTINGS,)))


def _fit(
    bridges: Bridges, part: parts.Component, before: PlacedPort, after: PlacedPort
) -> Iterator[_Fitted]:
    for enter, leave in itertools.permutations(part.ports, 2):
        if enter.role not in ("inlet", "either") or leave.role not in ("outlet", "either"):
            continue
        first = bridges.between(spot_of(before), (part, enter))
        last = bridges.between((part, leave), spot_of(after))
        if first is not None and last is not None:
            yield _Fitted(part, (before.name, after.name), first, last)


# Strainers before the pump ----------------------------------------------------------------------


def strainer(search: Search) -> Iterator[Found]:
    """A strainer for the pump of the case: in place of a wrong element, or on its open inlet."""
    wrong = [item for item in search.items if item.kind in ("filter", "strainer")]
    pumps = {end.item for end in search.ends if end.item.kind == "pump"}
    pumps |= {item for item in search.items if item.kind == "pump"}
    if len(pumps) != 1:
        return
    pump = next(iter(pumps))
    if wrong:
        yield from _in_place_of(search, wrong[-1], pump)
    else:
        yield from _on_open_inlet(search, pump)


def _in_place_of(search: Search, wrong: PlacedItem, pump: PlacedItem) -> Iterator[Found]:
    joined = [p for p in wrong.ports if p in search.circuit.joints_of]
    far = [joint.other(p) for p in joined for joint in search.circuit.joints_of[p]]
    fitting = [
        part
        for kind in ("strainer", "filter")
        for part in search.catalogue.offered(kind)
        if is_strainer_for(part, pump.part)
        and search.withstands(part, BEARABLE)
        and (
            ends_of(part) == ends_of(wrong.part)
            or (
                len(far) == 1 and kind == "strainer" and seals_on(face_at(far[0]), part) is not None
            )
        )
    ]
    best = min(fitting, key=price_order, default=None)
    if best is not None:
        yield from also_needed(search, Found(best, wrong.item.quantity, wrong.ref))


def _on_open_inlet(search: Search, pump: PlacedItem) -> Iterator[Found]:
    circuit = search.circuit
    inlets = [port for port in pump.ports if port.port.role == "inlet"]
    open_ends = [
        port
        for inlet in inlets
        for port in circuit.way_from(inlet)
        if port not in circuit.joints_of and port.name not in circuit.outside
    ]
    fitting = [
        (*price_order(part), part, end)
        for end in open_ends
        for part in search.catalogue.offered("strainer")
        if is_strainer_for(part, pump.part)
        and seals_on(face_at(end), part) is not None
        and search.withstands(part, BEARABLE)
    ]
    if fitting:
        *_, part, end = min(fitting, key=lambda each: each[:2])
        port = seals_on(face_at(end), part)
        assert port is not None
        one = Found(part, end.pieces, between=(end.name,))
        yield from also_needed(search, one, [(end_of(end), part_end(part, port))])


# Sensors ----------------------------------------------------------------------------------------


def ethanol_sensor(search: Search) -> Iterator[Found]:
    """A sensor that tells the engine what it is fed, in the feed or else in the return."""
    facts = search.case.facts
    assert isinstance(facts, WholeFacts)
    fitting = [
        part
        for part in search.catalogue.offered("sensor")
        if isinstance(part.spec, parts.SensorSpec)
        and part.spec.senses == "ethanol-content"
        and bears(part, facts.app.peak_pressure_kpa)
        and search.withstands(part, BEARABLE)
    ]
    yield from _inserted(search, fitting, _joints_outside_the_tank(search))


def _joints_outside_the_tank(search: Search) -> list[tuple[PlacedPort, PlacedPort]]:
    """Joints of the feed, then of the return, each as fuel passes it."""
    circuit = search.circuit
    found: dict[tuple[PlacedPort, PlacedPort], None] = {}
    for kind in ("pump", "regulator"):
        starts = (port for item in circuit.of_kind(kind) for port in item.ports)
        for start in starts:
            if start.port.role != "outlet":
                continue
            for way in circuit.way_from(start).values():
                for one, other in itertools.pairwise(way):
                    apart = one.item is not other.item
                    wet = circuit.lies_in_tank[one.item] or circuit.lies_in_tank[other.item]
                    if apart and not wet and other.item.kind != "injector":
                        found[one, other] = None
    return list(found)
