"""What takes a part's place, and what screws straight on to it.

`replacements` names sold parts that serve in any assembly the part is in: the same ends, ratings
that are no lower, bores that are no narrower, materials that bear the asked fuels no worse.
`mates` names sold parts of which some end seals on one of its ports. Both ask indexes on ends that
are made once for each state of the catalogue.
"""

from __future__ import annotations

import difflib
import heapq
import itertools
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal, TypeAlias

from pydantic import Field

from rules import parts
from rules.catalogue import Catalogue
from rules.faces import Face, FaceReader, Grade, face_of, grade, mating
from rules.parts import Component, Model, Price
from rules.reference import rate_fuel, reference
from rules.reference.mating import Need
from rules.reference.rows import FuelRow
from rules.vocabulary import Material

__all__ = ["Difference", "Mate", "Mates", "Replacement", "mates", "replacements"]

How = Literal["better", "other", "not-recorded", "worse"]

_RATINGS = ("unsuitable", "unknown", "limited", "suitable")
_RETENTIONS = ("latch-plastic", "latch-steel", "threaded-collar")
_REMEMBERED_FACES = 4096


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


class Replacement(Model):
    """A sold part that takes another's place."""

    sku: str
    name: str
    price: Price | None
    successor: bool = Field(description="Whether the catalogue names it as the successor.")
    differences: tuple[Difference, ...]


class Mate(Model):
    """A sold part that joins a port."""

    sku: str
    name: str
    kind: str
    port: str = Field(description="Its port that does.")
    seals: bool = Field(description="Whether it is tight; else it seals under a condition.")
    why: str = Field(description="What makes it tight, or the condition.")
    needs: tuple[str, ...] = Field(description="What else the joint needs.")
    price: Price | None


class Mates(Model):
    """The parts that join a port."""

    count: int = Field(description="How many parts there are in all.")
    mates: tuple[Mate, ...] = Field(description="The first of them: tight before conditional.")


def replacements(
    catalogue: Catalogue, part: Component, fuels: Iterable[str] = (), limit: int = 10
) -> tuple[Replacement, ...]:
    """The sold parts that take a part's place in any assembly, the surest and cheapest first.

    Args:
        catalogue: what the shop sells.
        part: the part to be replaced; it need not be sold, nor be in the catalogue.
        fuels: ids of fuels that the replacement must bear no worse than the part.
        limit: how many to name at most.

    Raises:
        ValueError: a fuel that the tables do not hold or do not judge.
    """
    asked = tuple(_known_fuel(fuel) for fuel in fuels)
    found = []
    for other in catalogue.derived(_Index).alike(part):
        if other.sku != part.sku:
            differences = list(_differences(part, other, asked))
            named = other.sku == part.superseded_by
            if named or not any(each.how == "worse" for each in differences):
                found.append((not named, *_rank(other, differences), other, differences))
    return tuple(
        Replacement(
            sku=str(other.sku),
            name=other.name,
            price=other.price,
            successor=not strange,
            differences=tuple(differences),
        )
        for strange, *_, other, differences in heapq.nsmallest(
            limit, found, key=lambda each: each[:5]
        )
    )


def mates(catalogue: Catalogue, part: Component, port: str, limit: int = 50) -> Mates:
    """The sold parts of which some end seals on a port, tight ones first, then by price.

    Raises:
        ValueError: the part has no such port.
    """
    ends = {each.id: each for each in part.ports}
    if port not in ends:
        known = ", ".join(ends) or "none"
        raise ValueError(f"The part has no port `{port}`; it has {known}.")
    return catalogue.derived(_Index).mates(face_of(part, ends[port]), limit)


# Indexes ----------------------------------------------------------------------------------------


def _amount(part: Component) -> float:
    return float(part.price.amount) if part.price else float("inf")


class _Index:
    """The sold parts of a catalogue by their ends."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._by_ends: defaultdict[Hashable, list[Component]] = defaultdict(list)
        self._by_face: defaultdict[Face, list[tuple[float, str, str, Component]]] = defaultdict(
            list
        )
        self._joining: dict[Face, tuple[tuple[Grade, Face], ...]] = {}
        read = FaceReader()
        for part in catalogue:
            if part.lifecycle != "sold":
                continue
            faces = [read(part, port) for port in part.ports]
            first = {
                face: port.id for port, face in reversed(list(zip(part.ports, faces, strict=True)))
            }
            for face, port_id in first.items():
                self._by_face[face].append((_amount(part), str(part.sku), port_id, part))
            self._by_ends[_signature(part, faces)].append(part)
        for offered in self._by_face.values():
            offered.sort(key=lambda each: each[:3])

    def alike(self, part: Component) -> Sequence[Component]:
        """The sold parts of the same kind with the same ends in the same roles."""
        return self._by_ends.get(_signature(part, [face_of(part, p) for p in part.ports]), ())

    def mates(self, face: Face, limit: int) -> Mates:
        """The sold parts of which an end joins a face."""
        joining = self._joining_faces(face)
        rows = (
            (how, *offer, other) for how, other in joining for offer in self._by_face[other][:limit]
        )
        best = heapq.nsmallest(limit, rows, key=lambda row: row[:4])
        return Mates(
            count=sum(len(self._by_face[other]) for _, other in joining),
            mates=tuple(_mate(port, part, face, other) for _, _, _, port, part, other in best),
        )

    def _joining_faces(self, face: Face) -> tuple[tuple[Grade, Face], ...]:
        found = self._joining.get(face)
        if found is None:
            found = tuple(
                (how, other) for other in self._by_face if (how := grade(face, other)) is not None
            )
            if len(self._joining) >= _REMEMBERED_FACES:
                self._joining.clear()
            self._joining[face] = found
        return found


def _signature(part: Component, faces: Sequence[Face]) -> Hashable:
    """What two parts have in common that join the same parts in the same places."""
    ports = (
        (port.role, port.submerged is True, port.submerged is False, port.count, id(face))
        for port, face in zip(part.ports, faces, strict=True)
    )
    return part.kind, tuple(sorted(ports))


def _mate(port: str, part: Component, face: Face, other: Face) -> Mate:
    how = mating(face.end, other.end)
    return Mate(
        sku=str(part.sku),
        name=part.name,
        kind=part.kind,
        port=port,
        seals=grade(face, other) == 0,
        why=how.why,
        needs=tuple(_in_words(need) for need in how.needs if not need.provided),
        price=part.price,
    )


def _in_words(need: Need) -> str:
    named = " or ".join(each.replace("-", " ").replace("o ring", "O-ring") for each in need.parts)
    return f"{need.count} x {named}" if need.count > 1 else named


# What must not be worse -------------------------------------------------------------------------

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


def _is_plain_ptfe(part: Component) -> bool:
    return any(wetted.material == "ptfe" for wetted in part.wetted or ())


def _of_spec(what: str, name: str, compare: _Compare, unit: str = "") -> _Trait:
    return _Trait(what, lambda part: getattr(part.spec, name, None), compare, unit)


_ALL_KINDS = (
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
)
_BY_SPEC: Mapping[type, tuple[_Trait, ...]] = {
    parts.HoseAssemblySpec: (*_HOSE, _of_spec("length", "length_mm", _within(0.01), "mm")),
    parts.BulkHoseSpec: _HOSE,
    parts.HardLineSpec: (
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
    parts.BulkheadSpec: (_of_spec("panel hole", "panel_hole_mm", _within(0.02), "mm"),),
    parts.PumpSpec: (
        _of_spec("mount", "mount", _same),
        _of_spec("body diameter", "body_diameter_mm", _within(0.02), "mm"),
        _of_spec("relief pressure", "relief_pressure_kpa", _at_least, "kPa"),
        _of_spec("greatest current", "maximum_current_a", _at_most, "A"),
        _of_spec("check valve", "check_valve", _same),
        _of_spec("speed control", "speed_control", _at_least),
        _of_spec("finest strainer", "inlet_fineness_at_least_um", _at_most, "um"),
    ),
    parts.TankModuleSpec: (
        _of_spec("pump places", "pump_places", _at_least),
        _of_spec("pump bodies", "body_diameters_mm", _holds_all, "mm"),
        _of_spec("built-in regulator", "built_in_regulator", _same),
        _of_spec("drive of the jet", "jet_drive", _same),
        _of_spec("current of a terminal", "terminal_current_a", _at_least, "A"),
    ),
    parts.TankSpec: (_of_spec("shape", "shape", _same),),
    parts.SurgeTankSpec: (_of_spec("volume", "volume_l", _at_least, "L"),),
    parts.FilterSpec: (
        _of_spec("fineness", "fineness_um", _at_most, "um"),
        _of_spec("area", "area_mm2", _at_least, "mm2"),
        _of_spec("one way only", "directional", _at_most),
    ),
    parts.StrainerSpec: (_of_spec("fineness", "fineness_um", _within(0.2), "um"),),
    parts.CheckValveSpec: (_of_spec("opening pressure", "opening_pressure_kpa", _at_most, "kPa"),),
    parts.RailSpec: (
        _of_spec("bore", "bore_mm", _at_least, "mm"),
        _of_spec("pitch of the injectors", "injector_pitch_mm", _within(0.005), "mm"),
        _of_spec("length", "length_mm", _within(0.02), "mm"),
    ),
    parts.RegulatorSpec: (
        _of_spec("action", "action", _same),
        _of_spec("reference", "reference", _same),
        _of_spec("lowest setting", "set_pressure_least_kpa", _at_most, "kPa"),
        _of_spec("highest setting", "set_pressure_most_kpa", _at_least, "kPa"),
        _of_spec("greatest flow", "maximum_flow_lph", _at_least, "L/h"),
        _of_spec("seat", "seat_bore_mm", _at_least, "mm"),
    ),
    parts.InjectorSpec: (
        _of_spec("flow", "flow_cc_min", _within(0.03), "cc/min"),
        _of_spec("pressure of the flow figure", "flow_pressure_kpa", _same, "kPa"),
        _of_spec("highest pressure", "maximum_pressure_kpa", _at_least, "kPa"),
        _of_spec("coil resistance", "coil_resistance_ohm", _within(0.1), "ohm"),
        _of_spec("length", "length_mm", _within(0.02), "mm"),
        _of_spec("plug", "plug", _same),
    ),
    parts.SensorSpec: (
        _of_spec("senses", "senses", _same),
        _of_spec("range", "range_most_kpa", _at_least, "kPa"),
    ),
    parts.SiphonJetSpec: (_of_spec("nozzle", "nozzle_bore_mm", _within(0.03), "mm"),),
    parts.CapSpec: (_of_spec("form", "form", _same),),
    parts.SealSpec: (
        _of_spec("form", "form", _same),
        _of_spec("size", "size", _same),
        _of_spec("pieces in a pack", "pieces", _at_least),
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
        _of_spec("limit", "limit_a", _at_least, "A"),
    ),
    parts.TerminalSpec: (
        _of_spec("plug", "plug", _same),
        _of_spec("rating", "rating_a", _at_least, "A"),
    ),
    parts.FastenerSetSpec: (_of_spec("contents", "contents", _same),),
    parts.SealantSpec: (_of_spec("sealant", "sealant", _same),),
}

_OF_PORTS = (
    _Trait("bore of {}", lambda port: port.bore_mm, _at_least, "mm"),
    _Trait("swivel of {}", lambda port: port.swivel, _at_least),
    _Trait("angle of {}", lambda port: port.angle_deg, _same, "deg"),
    _Trait("hold of {}", lambda port: port.retention, _in_order(_RETENTIONS)),
    _Trait("seal of {} supplied", lambda port: port.seal and port.seal.included, _at_least),
)


def _differences(
    own: Component, other: Component, fuels: Sequence[FuelRow]
) -> Iterator[Difference]:
    """In what a part differs from another; it ends where it is worse and no successor."""
    named = other.sku == own.superseded_by
    for difference in _all_differences(own, other, fuels):
        yield difference
        if difference.how == "worse" and not named:
            return


def _all_differences(
    own: Component, other: Component, fuels: Sequence[FuelRow]
) -> Iterator[Difference]:
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
    yield from _curves(own, other)
    yield from _materials_differ(own, other, fuels)
    if more := sorted(set(other.excluded_fuels) - set(own.excluded_fuels)):
        yield _difference("fuels ruled out", "worse", None, ", ".join(more))
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


def _curves(own: Component, other: Component) -> Iterator[Difference]:
    """A pump must deliver what the other does, at each of its points."""
    if not isinstance(own.spec, parts.PumpSpec) or not isinstance(other.spec, parts.PumpSpec):
        return
    mine, its = own.spec.curves, other.spec.curves
    if not mine or not its:
        if mine != its:
            yield _unrecorded("pump curve", bool(mine), bool(its))
        return
    unknown = False
    for curve in mine:
        same = [each for each in its if each.voltage_v == curve.voltage_v]
        for point in curve.points:
            flow_lph = _flow_at(same[0], point.pressure_kpa) if same else None
            unknown = unknown or flow_lph is None
            if flow_lph is not None and flow_lph < _ENOUGH * point.flow_lph:
                at = f"flow at {point.pressure_kpa / 100:g} bar"
                yield _difference(at, "worse", f"{point.flow_lph:g} L/h", f"{flow_lph:.0f} L/h")
                return
    if unknown:
        yield _unrecorded("flow at all points of its curve", True, False)


_ENOUGH = 0.98
"""A pump that delivers this share of another's flow delivers as much: within what is measured."""


def _flow_at(curve: parts.PumpCurve, pressure_kpa: float) -> float | None:
    for low, high in itertools.pairwise(curve.points):
        if low.pressure_kpa <= pressure_kpa <= high.pressure_kpa:
            share = (pressure_kpa - low.pressure_kpa) / (high.pressure_kpa - low.pressure_kpa)
            return low.flow_lph + share * (high.flow_lph - low.flow_lph)
    return None


def _materials_differ(
    own: Component, other: Component, fuels: Sequence[FuelRow]
) -> Iterator[Difference]:
    """Materials by how they bear the asked fuels; without a fuel by name."""
    mine, its = _materials(own), _materials(other)
    if not fuels and mine != its:
        yield _difference("materials", "other", _listed(mine), _listed(its))
    for fuel in fuels:
        what = f"materials in {fuel.fuel}"
        before, after = _worst(mine, fuel), _worst(its, fuel)
        how = _in_order(_RATINGS)(before, after)
        if after == "unsuitable":
            yield _difference(what, "worse", before, after)
        elif after == "unknown" and how != "worse":
            yield _unrecorded(what, before != "unknown", False)
        elif how != "same":
            yield _difference(what, how, before, after)


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


def _rank(other: Component, differences: Sequence[Difference]) -> tuple[int, int, float, str]:
    """What is not recorded last, then what is otherwise, then by price."""
    hows = [difference.how for difference in differences]
    return (hows.count("not-recorded"), hows.count("other"), _amount(other), str(other.sku))


def _known_fuel(fuel: str) -> FuelRow:
    row = reference().fuel(fuel)
    if row is None or not row.judged:
        judged = [each for each, known in reference().fuels.items() if known.judged]
        near = difflib.get_close_matches(fuel, judged, n=3, cutoff=0.3) or judged
        raise ValueError(f"There is no fuel `{fuel}` that can be judged; near: {', '.join(near)}.")
    return row
