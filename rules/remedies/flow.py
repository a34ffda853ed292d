"""Pumps and injectors that feed the engine: each put in its place, and the flow asked again.

Trying is dear, so that few are tried: the cheapest first of those that cannot be ruled out without.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from rules import parts
from rules.circuit import PlacedItem
from rules.facts.application import application_facts
from rules.facts.flow import Study, study
from rules.likeness import differences
from rules.remedies.likes import ends_of
from rules.remedies.needs import also_needed
from rules.remedies.search import Found, Search, bears, price_order, with_part
from rules.schema import Unknown

_MOST_TRIED = 4


def stronger_pump(search: Search) -> Iterator[Found]:
    """The cheapest pump of the same ends that feeds the engine with 15 % in hand."""
    pumps = search.circuit.of_kind("pump")
    if len(pumps) != 1:
        return
    (own,) = pumps
    weakest = _flow_at(own.part, search)
    stronger = [part for part in _alike(search, own) if _flow_at(part, search) > weakest]
    yield from _first_that(_feeds, search, own, stronger)


def larger_injectors(search: Search) -> Iterator[Found]:
    """The cheapest injectors of the same fit whose duty stays within its limit."""
    own = next((item for item in search.items if item.kind == "injector"), None)
    if own is None:
        return
    size = _static(own.part)
    larger = [part for part in _alike(search, own) if _static(part) > size]
    yield from _first_that(_within_duty, search, own, larger)


def _first_that(
    does: Callable[[Study], bool],
    search: Search,
    own: PlacedItem,
    candidates: list[parts.Component],
) -> Iterator[Found]:
    for part in sorted(candidates, key=price_order)[:_MOST_TRIED]:
        circuit = with_part(search.circuit, own, part)
        if does(study(circuit, application_facts(circuit))):
            yield from also_needed(search, Found(part, own.item.quantity, own.ref))
            return


# A pump or an injector of other flow is what is asked for; all else must do for its place.
_ASKED_FOR = frozenset(
    {
        *("flow at 3 bar across", "pump curve", "flow at all points of its curve", "dead time"),
        *("greatest current", "marked standards"),
    }
)
_MARGIN_KPA = 70.0
# A holder's rubber sleeve takes up this much (common practice, no source).
_HOLDER_PLAY_MM = 0.5


def _alike(search: Search, own: PlacedItem) -> Iterator[parts.Component]:
    """Sold parts that go in an item's place, whatever their flow."""
    for part in search.catalogue.offered(own.kind):
        if part.sku == own.part.sku or ends_of(part) != ends_of(own.part):
            continue
        worse = (
            each.what
            for each in differences(own.part, part, ())
            if each.how == "worse" and not each.what.startswith("flow at")
        )
        named = {port.id for port in part.ports} == {port.id for port in own.part.ports}
        enough = _ASKED_FOR | _does_all_the_same(search, part)
        if named and enough.issuperset(worse) and search.withstands(part):
            yield part


def _does_all_the_same(search: Search, part: parts.Component) -> frozenset[str]:
    """What a part may be worse in than another, because its place asks for no more."""
    app = search.case.facts.app  # type: ignore[attr-defined]
    peak, spec, found = app.peak_pressure_kpa, part.spec, set()
    if not isinstance(peak, Unknown) and bears(part, peak + _MARGIN_KPA):
        found.add("working pressure")
    if isinstance(spec, parts.PumpSpec):
        if (
            not isinstance(peak, Unknown)
            and (spec.relief_pressure_kpa or 0.0) >= peak + _MARGIN_KPA
        ):
            found |= {"relief pressure", "pressure at no flow"}
        holders = [
            diameter
            for module in search.circuit.of_kind("tank-module")
            for diameter in getattr(module.part.spec, "body_diameters_mm", None) or ()
        ]
        body = spec.body_diameter_mm
        if body is not None and any(abs(body - each) <= _HOLDER_PLAY_MM for each in holders):
            found.add("body diameter")
    return frozenset(found)


def _flow_at(part: parts.Component, search: Search) -> float:
    """What a pump delivers at the highest voltage it was measured at, at the rail's pressure."""
    spec = part.spec
    assert isinstance(spec, parts.PumpSpec)
    peak = search.case.facts.app.peak_pressure_kpa  # type: ignore[attr-defined]
    curves = [curve for curve in spec.curves or () if curve.voltage_v is not None]
    if not curves or isinstance(peak, Unknown):
        return 0.0
    strongest = max(curves, key=lambda curve: curve.voltage_v or 0.0)
    beyond = [point.flow_lph for point in strongest.points if point.pressure_kpa >= peak]
    return max(beyond, default=0.0)


def _static(part: parts.Component) -> float:
    spec = part.spec
    assert isinstance(spec, parts.InjectorSpec)
    if spec.flow_cc_min is None or not spec.flow_pressure_kpa:
        return 0.0
    return float(spec.flow_cc_min / spec.flow_pressure_kpa**0.5)


_IN_HAND = 1.15
_SAG = 0.05
_MUST_BE_HELD = ("full-load", "idle", "named")


def _feeds(found: Study) -> bool:
    """Whether the rail is held with 15 % in hand, and at every state that a rule looks at."""
    end, targets = found.worst, found.targets
    if end is None or targets is None or end.limit.flow_lph is None:
        return False
    if end.limit.flow_lph < _IN_HAND * end.need.demand.volume_flow_lph:
        return False
    rails = end.batch.rail_kpa()
    # A rail that a return too narrow for the pump holds up at idle is a fault it would bring.
    return all(
        abs(rails[row] - targets.rail_kpa(state)) <= _SAG * targets.base_kpa
        for row, state in enumerate(end.states)
        if state.kind in _MUST_BE_HELD
    )


def _within_duty(found: Study) -> bool:
    injectors = found.worst_injectors
    return injectors is not None and injectors.duty <= injectors.limit
