"""In what one part is not the same as another, and whether it is worse.

Whatever the catalogue can record of a part is compared here; what it cannot is named in
`NOT_COMPARED`, so that nobody takes a likeness on paper for one on the car.
"""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final, Literal, TypeAlias

from pydantic import Field

from rules import parts
from rules.faces import face_of
from rules.facts.material import DRY_KINDS
from rules.parts import Component, Model
from rules.reference import rate_fuel
from rules.reference.rows import FuelRow
from rules.vocabulary import Kind, Material

__all__ = ["NOT_COMPARED", "Difference", "How", "differences"]

How = Literal["better", "other", "not-recorded", "worse"]

NOT_COMPARED: Final[Mapping[Kind, str]] = {
    "pump": "the length of the body, and how the hanger holds it",
    "tank-module": "the opening of the tank, its depth, and the sender of the gauge",
    "surge-tank": "the outside measures and how it is mounted",
    "filter": "the outside measures and how it is held",
    "rail": "where it is bolted on, and the room around it",
    "regulator": "how it is mounted",
    "injector": "the spray, and what the engine's control is calibrated for",
    "pulsation-damper": "how it is mounted",
    "sensor": "the signal and the plug",
}
"""What the catalogue does not record of a kind, and a person must look at."""

_RATINGS = ("unsuitable", "unknown", "limited", "suitable")
_FINENESS_RATINGS = ("nominal", "absolute")
_RETENTIONS = ("latch-plastic", "latch-steel", "threaded-collar")


class Difference(Model):
    """Something in which a replacement is not the same as the part."""

    what: str
    how: How = Field(
        description=(
            "Better, other without being worse, or not recorded of one; worse only of a successor "
            "that the catalogue itself names."
        )
    )
    own: str | None = Field(description="What the part has; `null` where nobody recorded it.")
    other: str | None = Field(description="What the replacement has.")


_Compared: TypeAlias = Literal["same", "better", "other", "not-recorded", "worse"]
_Compare: TypeAlias = Callable[[Any, Any], _Compared]


@dataclass(frozen=True, slots=True)
class _Trait:
    """One thing that a replacement must not be worse in.

    Attributes:
        what: in words.
        of: where a part records it.
        compare: how the replacement's stands to the part's.
        unit: that it is shown with.
    """

    what: str
    of: Callable[[Any], Any]
    compare: _Compare
    unit: str = ""


def _same(own: Any, other: Any) -> _Compared:
    return "same" if own == other else "worse"


def _at_least(own: float, other: float) -> _Compared:
    if own == other:
        return "same"
    return "better" if other > own else "worse"


def _at_most(own: float, other: float) -> _Compared:
    return _at_least(-own, -other)


def _holds_all(own: Iterable[Any], other: Iterable[Any]) -> _Compared:
    mine, its = set(own), set(other)
    if mine == its:
        return "same"
    return "better" if mine < its else "worse"


def _within(share: float) -> _Compare:
    """Equal within a share of the part's own."""

    def compare(own: float, other: float) -> _Compared:
        if own == other:
            return "same"
        return "other" if abs(other - own) <= share * abs(own) else "worse"

    return compare


def _in_order(ranked: Sequence[str]) -> _Compare:
    return lambda own, other: _at_least(ranked.index(own), ranked.index(other))


def _flow_at_3_bar(part: Component) -> float | None:
    """Static flow goes with the root of the pressure across the injector (orifice equation)."""
    spec = part.spec
    assert isinstance(spec, parts.InjectorSpec)
    if spec.flow_cc_min is None or spec.flow_pressure_kpa is None:
        return None
    return round(spec.flow_cc_min * math.sqrt(300.0 / spec.flow_pressure_kpa), 1)


def _is_plain_ptfe(part: Component) -> bool:
    return any(wetted.material == "ptfe" for wetted in part.wetted or ())


def _any(own: object, other: object) -> _Compared:
    return "same" if own == other else "other"


# Below the first a bought element stands after the pump only, from the second on before it only;
# between them in either place (common practice, no source; the rules on strainers say the same).
_FINENESS_UM = (30.0, 70.0)


def _finer_in_the_same_place(own: float, other: float) -> _Compared:
    """A finer element guards better, unless it would choke the suction side the other stood in."""
    places = {bisect.bisect(_FINENESS_UM, fineness) for fineness in (own, other)}
    return _at_most(own, other) if len(places) == 1 else "worse"


def _of_spec(what: str, name: str, compare: _Compare, unit: str = "") -> _Trait:
    return _Trait(what, lambda part: getattr(part.spec, name, None), compare, unit)


_ALL_KINDS = (
    _Trait("marked standards", lambda part: part.standards or None, _holds_all),
    _Trait("working pressure", lambda part: part.working_pressure_kpa, _at_least, "kPa"),
    _Trait("highest temperature", lambda part: part.temperature_most_c, _at_least, "degC"),
    _Trait("lowest temperature", lambda part: part.temperature_least_c, _at_most, "degC"),
)

# Shares within which two figures count as one are common practice, no source.
_HOSE = (
    _Trait("liner that leads off static", lambda part: not _is_plain_ptfe(part), _at_least),
    _of_spec("construction", "construction", _same),
    _of_spec("bore", "bore_mm", _at_least, "mm"),
    _of_spec("outside diameter", "outside_diameter_mm", _within(0.03), "mm"),
    _of_spec("tightest bend", "minimum_bend_radius_mm", _at_most, "mm"),
    _of_spec("marking", "marked", _holds_all),
    _of_spec("series", "series", _same),
)
_BY_SPEC: Mapping[type, tuple[_Trait, ...]] = {
    parts.HoseAssemblySpec: (
        *_HOSE,
        _of_spec("length", "length_mm", _within(0.01), "mm"),
        _of_spec("angle between the ends", "clock_angle_deg", _same, "deg"),
    ),
    parts.BulkHoseSpec: (*_HOSE, _of_spec("trade size", "size", _same)),
    parts.HardLineSpec: (
        _of_spec("outside diameter", "outside_diameter_mm", _same, "mm"),
        _of_spec("bore", "bore_mm", _at_least, "mm"),
        _of_spec("length", "length_mm", _within(0.01), "mm"),
    ),
    parts.HoseEndSpec: (
        _of_spec("made for", "for_construction", _same),
        _of_spec("series", "series", _same),
        _of_spec("fixing", "fixing", _same),
        _of_spec("bore", "bore_mm", _at_least, "mm"),
    ),
    parts.AdapterSpec: (_of_spec("form", "form", _same),),
    parts.TeeSpec: (_of_spec("form", "form", _same),),
    parts.BulkheadSpec: (
        _of_spec("panel hole", "panel_hole_mm", _within(0.02), "mm"),
        _of_spec("sealed on both faces", "seals_both_faces", _at_least),
    ),
    parts.QuickConnectorSpec: (
        _of_spec("outside diameter of the tube", "tube_outside_diameter_mm", _same, "mm"),
    ),
    parts.PumpSpec: (
        _of_spec("mount", "mount", _same),
        _of_spec("body diameter", "body_diameter_mm", _within(0.02), "mm"),
        _of_spec("relief pressure", "relief_pressure_kpa", _at_least, "kPa"),
        _of_spec("pressure at no flow", "dead_head_pressure_kpa", _at_least, "kPa"),
        _of_spec("greatest current", "maximum_current_a", _at_most, "A"),
        _of_spec("check valve", "check_valve", _same),
        _of_spec("speed control", "speed_control", _at_least),
        _of_spec("finest strainer before it", "inlet_fineness_at_least_um", _at_most, "um"),
        _of_spec("least area of the strainer", "inlet_area_at_least_mm2", _at_most, "mm2"),
    ),
    parts.TankModuleSpec: (
        _of_spec("pump places", "pump_places", _at_least),
        _of_spec("pump bodies", "body_diameters_mm", _holds_all, "mm"),
        _of_spec("built-in regulator", "built_in_regulator", _same),
        _of_spec("setting of the regulator", "built_in_set_pressure_kpa", _same, "kPa"),
        _of_spec("drive of the jet", "jet_drive", _same),
        _of_spec("current of a terminal", "terminal_current_a", _at_least, "A"),
    ),
    parts.TankSpec: (
        _of_spec("shape", "shape", _same),
        _of_spec("volume", "volume_l", _at_least, "L"),
    ),
    parts.SurgeTankSpec: (_of_spec("volume", "volume_l", _at_least, "L"),),
    parts.FilterSpec: (
        _of_spec("fineness", "fineness_um", _finer_in_the_same_place, "um"),
        _of_spec("how the fineness is stated", "fineness_rating", _in_order(_FINENESS_RATINGS)),
        _of_spec("element", "media", _any),
        _of_spec("area", "area_mm2", _at_least, "mm2"),
        _of_spec("one way only", "directional", _at_most),
    ),
    parts.StrainerSpec: (
        _of_spec("fineness", "fineness_um", _within(0.2), "um"),
        _of_spec("area", "area_mm2", _at_least, "mm2"),
    ),
    parts.CheckValveSpec: (_of_spec("opening pressure", "opening_pressure_kpa", _at_most, "kPa"),),
    parts.RailSpec: (
        _of_spec("bore", "bore_mm", _at_least, "mm"),
        _of_spec("pitch of the injectors", "injector_pitch_mm", _within(0.005), "mm"),
        _of_spec("length", "length_mm", _within(0.02), "mm"),
    ),
    parts.RegulatorSpec: (
        _of_spec("action", "action", _same),
        _of_spec("reference", "reference", _same),
        _of_spec("setting", "set_pressure_kpa", _same, "kPa"),
        _of_spec("lowest setting", "set_pressure_least_kpa", _at_most, "kPa"),
        _of_spec("highest setting", "set_pressure_most_kpa", _at_least, "kPa"),
        _of_spec("greatest flow", "maximum_flow_lph", _at_least, "L/h"),
        _of_spec("bore of the seat", "seat_bore_mm", _at_least, "mm"),
        _of_spec("coarsest filter before it", "upstream_fineness_at_most_um", _at_least, "um"),
        _of_spec("damped", "damped", _at_least),
    ),
    parts.InjectorSpec: (
        _Trait("flow at 3 bar across", _flow_at_3_bar, _within(0.03), "cc/min"),
        _of_spec("density of the test fluid", "test_fluid_density_kg_m3", _within(0.05), "kg/m3"),
        _of_spec("highest pressure", "maximum_pressure_kpa", _at_least, "kPa"),
        _of_spec("coarsest filter before it", "upstream_fineness_at_most_um", _at_least, "um"),
        _of_spec("dead time", "dead_time_ms", _within(0.2), "ms"),
        _of_spec("coil resistance", "coil_resistance_ohm", _within(0.1), "ohm"),
        _of_spec("length", "length_mm", _within(0.02), "mm"),
        _of_spec("plug", "plug", _same),
    ),
    parts.SensorSpec: (
        _of_spec("senses", "senses", _same),
        _of_spec("range", "range_most_kpa", _at_least, "kPa"),
    ),
    parts.PulsationDamperSpec: (_of_spec("years of service", "service_years", _at_least),),
    parts.SiphonJetSpec: (
        _of_spec("nozzle", "nozzle_bore_mm", _within(0.03), "mm"),
        _of_spec("flow that drives it", "drive_flow_lph", _within(0.1), "L/h"),
    ),
    parts.CapSpec: (_of_spec("form", "form", _same),),
    parts.SealSpec: (
        _of_spec("form", "form", _same),
        _of_spec("size", "size", _same),
        _of_spec("pieces in a pack", "pieces", _at_least),
        _of_spec("fitted before", "reused", _at_most),
    ),
    parts.ClampSpec: (
        _of_spec("style", "style", _same),
        _of_spec("smallest hose", "least_diameter_mm", _at_most, "mm"),
        _of_spec("largest hose", "most_diameter_mm", _at_least, "mm"),
    ),
    parts.RelaySpec: (
        _of_spec("rating", "rating_a", _at_least, "A"),
        _of_spec("solid state", "solid_state", _same),
    ),
    parts.FuseSpec: (_of_spec("rating", "rating_a", _same, "A"),),
    parts.WireSpec: (
        _of_spec("area", "area_mm2", _at_least, "mm2"),
        _of_spec("greatest current", "limit_a", _at_least, "A"),
    ),
    parts.TerminalSpec: (
        _of_spec("plug", "plug", _same),
        _of_spec("rating", "rating_a", _at_least, "A"),
    ),
    parts.FastenerSetSpec: (_of_spec("contents", "contents", _same),),
    parts.SealantSpec: (_of_spec("sealant", "sealant", _same),),
}

_OF_PORTS = (
    _Trait("bore of port {}", lambda port: port.bore_mm, _at_least, "mm"),
    _Trait("swivel of port {}", lambda port: port.swivel, _at_least),
    _Trait("angle of port {}", lambda port: port.angle_deg, _same, "deg"),
    _Trait("hold of port {}", lambda port: port.retention, _in_order(_RETENTIONS)),
    _Trait("seal supplied with port {}", lambda port: port.seal and port.seal.included, _at_least),
)


def differences(own: Component, other: Component, fuels: Sequence[FuelRow]) -> Iterator[Difference]:
    """In what a part of the same kind and the same ends is not the same as another, one by one.

    Args:
        own: the part that is to be replaced.
        other: the part that would stand in its place.
        fuels: fuels that the other must bear no worse.
    """
    for trait, mine, its in _compared(own, other):
        if mine is None and its is None:
            continue
        how: _Compared
        how = "not-recorded" if mine is None or its is None else trait.compare(mine, its)
        if how != "same":
            yield Difference(
                what=trait.what,
                how=how,
                own=_shown(mine, trait.unit),
                other=_shown(its, trait.unit),
            )
    yield from _pump_curves(own, other)
    yield from _drop_curves(own, other)
    yield from _materials_differ(own, other, fuels)
    yield from _fuels_allowed(own, other, fuels)
    yield from _needs(own, other)
    yield from _names(own, other)


def _compared(own: Component, other: Component) -> Iterator[tuple[_Trait, Any, Any]]:
    for trait in (*_ALL_KINDS, *_BY_SPEC.get(type(own.spec), ())):
        yield trait, trait.of(own), trait.of(other)
    for mine, its in _ports_alike(own, other):
        for trait in _OF_PORTS:
            named = replace(trait, what=trait.what.format(mine.id))
            yield named, trait.of(mine), trait.of(its)


def _ports_alike(own: Component, other: Component) -> Iterator[tuple[parts.Port, parts.Port]]:
    """The ports of two parts that stand for each other: by name, else in their order."""
    left = list(other.ports)
    pairs = []
    for port in own.ports:
        face = face_of(own, port)
        alike = [
            each
            for each in left
            if each.role == port.role
            and each.submerged == port.submerged
            and face_of(other, each) is face
        ]
        match = next((each for each in alike if each.id == port.id), alike[0])
        left.remove(match)
        pairs.append((port, match))
    yield from pairs


_AS_GOOD = 0.02
"""Share within which two measured curves count as one; common practice, no source."""


def _pump_curves(own: Component, other: Component) -> Iterator[Difference]:
    """A pump must deliver what the other does, at each of its points."""
    if not isinstance(own.spec, parts.PumpSpec) or not isinstance(other.spec, parts.PumpSpec):
        return
    mine, its = own.spec.curves, other.spec.curves
    if not mine or not its:
        if mine != its:
            yield _unrecorded("pump curve", bool(mine), bool(its))
        return
    covered = True
    for curve in mine:
        same = [each for each in its if each.voltage_v == curve.voltage_v]
        points = [(each.pressure_kpa, each.flow_lph) for each in same[0].points] if same else []
        for point in curve.points:
            flow_lph = _read_off(points, point.pressure_kpa)
            covered = covered and flow_lph is not None
            if flow_lph is not None and flow_lph < (1 - _AS_GOOD) * point.flow_lph:
                at = f"flow at {point.pressure_kpa / 100:g} bar"
                yield _difference(at, "worse", f"{point.flow_lph:g} L/h", f"{flow_lph:.0f} L/h")
                return
    if not covered:
        yield _unrecorded("flow at all points of its curve", True, False)


def _drop_curves(own: Component, other: Component) -> Iterator[Difference]:
    """What the fuel passes must drop no more pressure than the other, at each of its points."""
    mine, its = (getattr(part.spec, "drop", None) for part in (own, other))
    if not mine or not its:
        if mine != its:
            yield _unrecorded("pressure drop", bool(mine), bool(its))
        return
    points = [(each.flow_lph, each.drop_kpa) for each in its]
    covered = True
    for point in mine:
        drop_kpa = _read_off(points, point.flow_lph)
        covered = covered and drop_kpa is not None
        if drop_kpa is not None and drop_kpa > (1 + _AS_GOOD) * point.drop_kpa:
            at = f"pressure drop at {point.flow_lph:g} L/h"
            yield _difference(at, "worse", f"{point.drop_kpa:g} kPa", f"{drop_kpa:.3g} kPa")
            return
    if not covered:
        yield _unrecorded("pressure drop at all points of its curve", True, False)


def _read_off(points: Sequence[tuple[float, float]], at: float) -> float | None:
    """A curve's ordinate between its own points; `None` beyond them."""
    for (low, first), (high, last) in itertools.pairwise(points):
        if low <= at <= high:
            return first + (at - low) / (high - low) * (last - first)
    return points[0][1] if len(points) == 1 and points[0][0] == at else None


def _materials_differ(
    own: Component, other: Component, fuels: Sequence[FuelRow]
) -> Iterator[Difference]:
    """Materials by how they bear the asked fuels; without a fuel by name."""
    if own.kind in DRY_KINDS:
        return
    mine, its = _materials(own), _materials(other)
    if not fuels and mine != its:
        how: How = "other" if None not in mine | its else "not-recorded"
        yield _difference("materials", how, _listed(mine), _listed(its))
    for fuel in fuels:
        what = f"materials in {fuel.fuel}"
        before, after = _worst(mine, fuel), _worst(its, fuel)
        if after == "unknown":
            yield _unrecorded(what, before != "unknown", False)
        elif after == "unsuitable":
            yield _difference(what, "worse", before, after)
        elif (compared := _in_order(_RATINGS)(before, after)) != "same":
            yield _difference(what, compared, before, after)


def _materials(part: Component) -> frozenset[Material | None]:
    wetted: set[Material | None] = (
        {None} if part.wetted is None else {each.material for each in part.wetted}
    )
    seals = {p.seal.material for p in part.ports if p.seal and p.seal.included is not False}
    return frozenset(wetted | seals)


@lru_cache(maxsize=100_000)
def _worst(materials: frozenset[Material | None], fuel: FuelRow) -> str:
    rated = [
        "unknown" if material is None else rate_fuel(material, fuel).rating
        for material in materials
    ]
    return min(rated, key=_RATINGS.index, default="suitable")


def _fuels_allowed(
    own: Component, other: Component, fuels: Sequence[FuelRow]
) -> Iterator[Difference]:
    """What the makers say of fuels."""
    asked = {fuel.fuel for fuel in fuels}
    borne_alike = set(own.excluded_fuels) - asked
    if more := sorted(set(other.excluded_fuels) - borne_alike):
        yield _difference("fuels ruled out", "worse", None, ", ".join(more))
    for fuel in sorted(asked & set(own.approved_fuels or ())):
        if other.approved_fuels is None:
            yield _difference(f"approved for {fuel}", "not-recorded", "yes", None)
        elif fuel not in other.approved_fuels:
            yield _difference(f"approved for {fuel}", "worse", "yes", "no")


def _needs(own: Component, other: Component) -> Iterator[Difference]:
    """What must be bought with it that the part does not need."""
    mine = {(need.kind, need.sku, need.size): need.quantity for need in own.needs}
    more = [
        f"{need.quantity} x {need.sku or ' '.join(filter(None, (need.size, need.kind)))}"
        for need in other.needs
        if need.quantity > mine.get((need.kind, need.sku, need.size), 0)
    ]
    if more:
        yield _difference("needs", "other", None, ", ".join(more))


def _names(own: Component, other: Component) -> Iterator[Difference]:
    """Joints speak of ports by name: where the names differ, they must be written anew."""
    pairs = [(mine.id, its.id) for mine, its in _ports_alike(own, other) if mine.id != its.id]
    if pairs:
        mine, its = (", ".join(names) for names in zip(*pairs, strict=True))
        yield _difference("names of ports", "other", mine, its)


def _difference(what: str, how: How, own: str | None, other: str | None) -> Difference:
    return Difference(what=what, how=how, own=own, other=other)


def _unrecorded(what: str, own: bool, other: bool) -> Difference:
    return Difference(
        what=what,
        how="not-recorded",
        own="recorded" if own else None,
        other="recorded" if other else None,
    )


def _listed(materials: Iterable[Material | None]) -> str:
    return ", ".join(sorted(material or "not recorded" for material in materials))


def _shown(value: Any, unit: str) -> str | None:
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(_shown(each, unit) or "" for each in value) or "none"
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text} {unit}".strip()
