"""Parts that take another's place: in all that its place asks of it no worse than the other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from rules import parts
from rules.circuit import PlacedItem
from rules.faces import Face, face_of
from rules.facts.material import MaterialFacts
from rules.facts.part import hose_facts, pressure_in
from rules.likeness import differences
from rules.remedies.needs import also_needed
from rules.remedies.search import Found, Search, bears, materials_of, price_order
from rules.schema import Unknown

_RUBBER = frozenset({"rubber-clamped", "rubber-submersible"})


def successor(search: Search) -> Iterator[Found]:
    """The sold part that supersedes an item."""
    for item in search.items:
        sku = item.part.superseded_by
        part = search.catalogue.get(sku) if sku else None
        if part is not None and part.lifecycle == "sold":
            yield from also_needed(search, Found(part, item.item.quantity, item.ref))


def stand_in(search: Search) -> Iterator[Found]:
    """The cheapest part that goes in an item's place and that the fuel does no harm."""
    for item in search.items:
        fitting = (
            part
            for part in search.catalogue.offered(item.kind)
            if part.sku != item.part.sku
            and search.withstands(part)
            and not _has_what_was_found(search, part)
            and takes_the_place(search, item, part)
        )
        best = min(fitting, key=price_order, default=None)
        if best is not None:
            yield from also_needed(search, Found(best, item.item.quantity, item.ref))


def _has_what_was_found(search: Search, part: parts.Component) -> bool:
    facts = search.case.facts
    return isinstance(facts, MaterialFacts) and facts.material in materials_of(part)


def takes_the_place(search: Search, item: PlacedItem, part: parts.Component) -> bool:
    """Whether a part has an item's ends and is known to be no worse in anything that is recorded.

    Rubber hose is taken by what its place asks for: hose of another class is the remedy there.
    """
    if isinstance(part.spec, parts.HoseMarks) and isinstance(item.part.spec, parts.HoseMarks):
        built = part.spec.construction, item.part.spec.construction
        if _RUBBER.issuperset(built):
            return _is_hose_for(search, item, part)
    return ends_of(part) == ends_of(item.part) and is_no_worse(
        item.part, part, _does_all_the_same(search, item, part)
    )


def ends_of(part: parts.Component) -> Counter[tuple[str, bool | None, int, Face]]:
    """The ends of a part: what another must have to be joined in its stead."""
    return Counter(
        (port.role, port.submerged, port.count, face_of(part, port)) for port in part.ports
    )


def is_no_worse(
    own: parts.Component, other: parts.Component, but_for: frozenset[str] = frozenset()
) -> bool:
    """Whether a part with the same ends is known to be as good in all that is recorded of both.

    A part without ports is known by its form and size alone: there all must be recorded.

    Args:
        own: the part to be replaced.
        other: the one in its stead.
        but_for: names of what the other may be worse in.
    """
    for each in differences(own, other, ()):
        if each.what in but_for:
            continue
        if each.how == "worse":
            return False
        if each.how == "not-recorded" and (each.own is not None or not own.ports):
            return False
    return True


_MARGIN_KPA = 70.0


def _does_all_the_same(search: Search, item: PlacedItem, part: parts.Component) -> frozenset[str]:
    """What a part may be worse in than another, because its place asks for no more."""
    app = search.case.facts.app  # type: ignore[attr-defined]
    found = set()
    pressure = pressure_in(search.circuit.line_of(item), app)
    if not isinstance(pressure, Unknown) and bears(part, pressure + _MARGIN_KPA):
        found.add("working pressure")
    spec = part.spec
    if isinstance(spec, parts.StrainerSpec) and all(
        is_strainer_for(part, pump.part) for pump in search.circuit.of_kind("pump")
    ):
        found |= {"fineness", "area"}
    bend = item.item.bend_radius_mm
    if isinstance(spec, parts.HoseMarks) and (bend is None or _bends(spec, bend)):
        found.add("tightest bend")
    return frozenset(found)


# Below this a bought element belongs after the pump (common practice, no source; the rules on
# strainers say the same).
_LEAST_STRAINER_UM = 70.0


def is_strainer_for(part: parts.Component, pump: parts.Component) -> bool:
    """Whether an element is as coarse and as large as a pump asks, where its maker says."""
    spec, asking = part.spec, pump.spec
    if not isinstance(spec, (parts.StrainerSpec, parts.FilterSpec)):
        return False
    assert isinstance(asking, parts.PumpSpec)
    coarse = asking.inlet_fineness_at_least_um or _LEAST_STRAINER_UM
    large = asking.inlet_area_at_least_mm2
    return (
        spec.fineness_um is not None
        and spec.fineness_um >= coarse
        and (large is None or (spec.area_mm2 is not None and spec.area_mm2 >= large))
    )


def _is_hose_for(search: Search, item: PlacedItem, part: parts.Component) -> bool:
    """Whether a rubber hose of the same bore is of a class made for an item's place."""
    circuit, app = search.circuit, search.case.facts.app  # type: ignore[attr-defined]
    own, other = item.part, part
    assert isinstance(own.spec, parts.HoseMarks)
    assert isinstance(other.spec, parts.HoseMarks)
    line, in_tank = circuit.line_of(item), circuit.lies_in_tank[item]
    said = hose_facts(other.spec, circuit.reference)
    pressure = pressure_in(line, app)
    bears = [said.get("marked_pressure_kpa"), other.working_pressure_kpa]
    known = [kpa for kpa in bears if isinstance(kpa, float)]
    wanted = "rubber-submersible" if in_tank else "rubber-clamped"
    ethanol = said.get("marked_ethanol_percent")
    tests = (
        _connections(own) == _connections(other),
        own.spec.bore_mm is not None and own.spec.bore_mm == other.spec.bore_mm,
        _clamped_alike(own.spec, other.spec),
        getattr(own.spec, "length_mm", None) == getattr(other.spec, "length_mm", None),
        item.item.bend_radius_mm is None or _bends(other.spec, item.item.bend_radius_mm),
        other.spec.construction == wanted,
        line != "feed" or said.get("marked_injection") in ("yes", "declared"),
        line != "return" or said.get("marked_return") == "yes",
        not in_tank or said.get("marked_submersible") == "yes",
        line == "reference" or (isinstance(ethanol, float) and ethanol >= app.ethanol_most_percent),
        isinstance(pressure, Unknown) or (bool(known) and max(known) >= pressure),
        line != "suction" or not _has_thin_liner(search, other),
    )
    return all(tests)


def _connections(part: parts.Component) -> list[str]:
    return sorted(f"{port.role} {port.connection!r}" for port in part.ports)


def _clamped_alike(own: parts.HoseMarks, other: parts.HoseMarks) -> bool:
    """Whether clamps chosen for the one go round the other."""
    mine, its = own.outside_diameter_mm, other.outside_diameter_mm
    return mine is None or (its is not None and abs(its - mine) <= 0.1 * mine)


def _bends(hose: parts.HoseMarks, radius_mm: float) -> bool:
    return hose.minimum_bend_radius_mm is not None and hose.minimum_bend_radius_mm <= radius_mm


def _has_thin_liner(search: Search, part: parts.Component) -> bool:
    table = search.circuit.reference
    return any(m is not None and table.material(m).family == "plastic" for m in materials_of(part))
