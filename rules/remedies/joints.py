"""Parts for a joint or an open port: adapters, seals, clamps, hose ends, caps."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from rules import parts
from rules.circuit import PlacedItem, PlacedJoint, PlacedPort
from rules.faces import Face, face_of, grade
from rules.facts.joint import JointFacts, end_of, part_end
from rules.facts.supplies import SEAL_PARTS, SLEEVE_PARTS, covers
from rules.facts.whole import (
    WholeFacts,
    banjo_threads,
    clamps_needed,
    fits_banjo,
    washers_by_thread,
)
from rules.remedies.bridges import Bridges, spot_of
from rules.remedies.needs import also_needed, clamp_for, seal_for
from rules.remedies.search import (
    Found,
    Search,
    bears,
    face_at,
    price_order,
    screwing_on,
    seals_on,
)


def adapter_between(search: Search) -> Iterator[Found]:
    """The cheapest adapter that is tight on both ends of a joint, with the seals it takes."""
    if search.joint is None:
        return
    facts = search.case.facts
    assert isinstance(facts, JointFacts)
    first, second = search.joint.ends
    bridges = Bridges(search, facts.pressure_kpa)
    bridge = bridges.of_one(spot_of(first), spot_of(second))
    if bridge is not None:
        (part,) = bridge.pieces
        one = Found(part, search.joint.pieces, between=(first.name, second.name))
        yield from also_needed(search, one, bridge.meetings)


def seal_for_joint(search: Search) -> Iterator[Found]:
    """The seal that a joint lacks, of the right size and in a material that bears the fuel."""
    yield from _missing_in_joint(search, SEAL_PARTS)


def sleeve_for_joint(search: Search) -> Iterator[Found]:
    """The sleeve that a joint lacks."""
    yield from _missing_in_joint(search, SLEEVE_PARTS)


def _missing_in_joint(search: Search, forms: frozenset[str]) -> Iterator[Found]:
    joint = search.joint
    if joint is None:
        return
    sizes = [end.port.connection.size for end in joint.ends if end.port.connection]
    for need in search.supplies.lacking(joint):
        part = seal_for(search, need, sizes) if forms & set(need.parts) else None
        if part is not None:
            yield Found(part, need.count * joint.pieces)


def new_washer(search: Search) -> Iterator[Found]:
    """A new washer like the one that was fitted before."""
    joint = search.joint
    for item in joint.uses if joint is not None else ():
        spec = item.part.spec
        if not isinstance(spec, parts.SealSpec) or not spec.reused:
            continue
        fitting = (
            part
            for part in search.catalogue.offered("seal")
            if isinstance(part.spec, parts.SealSpec)
            and (part.spec.form, part.spec.size) == (spec.form, spec.size)
            and spec.size is not None
            and not part.spec.reused
            and search.withstands(part)
        )
        best = min(fitting, key=price_order, default=None)
        if best is not None:
            yield Found(best, item.item.quantity, item.ref)


def clamp_for_joint(search: Search) -> Iterator[Found]:
    """A clamp for injection pressure in place of the one that is meant for a joint."""
    joint = search.joint
    if joint is None:
        return
    meant = search.supplies.clamps_at(joint)
    for item in meant:
        served = [j for j in search.circuit.joints if item in search.supplies.clamps_at(j)]
        part = clamp_for(search, (d for each in served for d in _hoses_at(each)))
        if part is not None and part.sku != item.part.sku:
            yield Found(part, item.item.quantity, item.ref)
    if not meant:
        part = clamp_for(search, _hoses_at(joint))
        if part is not None:
            yield Found(part, joint.pieces)


def _hoses_at(joint: PlacedJoint) -> list[float | None]:
    return [
        end.item.part.spec.outside_diameter_mm
        for end in joint.ends
        if isinstance(end.item.part.spec, parts.HoseMarks)
    ]


def clamps_short(search: Search) -> Iterator[Found]:
    """Clamps for injection pressure for the hoses that the list holds too few for."""
    facts = search.case.facts
    assert isinstance(facts, WholeFacts)
    short = facts.clamps_needed - facts.clamps_given
    left = {item: item.item.quantity for item in search.circuit.of_kind("clamp")}
    bare: Counter[float | None] = Counter()
    for joint in search.circuit.joints:
        diameter = next(iter(_hoses_at(joint)), None)
        for _ in range(clamps_needed(joint)):
            item = next((i for i, n in left.items() if n and _clamps(i, diameter)), None)
            if item is None:
                bare[diameter] += 1
            else:
                left[item] -= 1
    for diameter, count in sorted(bare.items(), key=str):
        part = clamp_for(search, [diameter])
        pieces = min(count, short)
        if part is not None and pieces:
            short -= pieces
            yield Found(part, pieces)


def _clamps(item: PlacedItem, diameter: float | None) -> bool:
    assert isinstance(item.part.spec, parts.ClampSpec)
    return covers(item.part.spec, diameter) is not False


def washers_short(search: Search) -> Iterator[Found]:
    """New washers for each thread of banjo bolt that the list holds too few for."""
    for thread in sorted(banjo_threads(search.circuit)):
        short = washers_by_thread(search.circuit, thread)
        fitting = (
            part
            for part in search.catalogue.offered("seal")
            if isinstance(part.spec, parts.SealSpec)
            and not part.spec.reused
            and fits_banjo(part.spec, frozenset({thread}))
            and search.withstands(part)
        )
        best = min(fitting, key=price_order, default=None)
        if best is not None and short > 0:
            yield Found(best, short)


def cap_for_port(search: Search) -> Iterator[Found]:
    """A cap or plug for an open port that nothing in the list needs."""
    for end in search.ends:
        if not _is_spare(search, end):
            continue
        fitting = []
        for part in screwing_on(search.catalogue, end.port):
            port = seals_on(face_at(end), part)
            if part.kind == "cap" and port is not None and search.withstands(part):
                fitting.append((*price_order(part), part, port))
        if fitting:
            *_, part, port = min(fitting, key=lambda each: each[:2])
            one = Found(part, end.pieces, between=(end.name,))
            yield from also_needed(search, one, [(end_of(end), part_end(part, port))])


def _is_spare(search: Search, end: PlacedPort) -> bool:
    """Whether a part works with this port closed, and no open end in the list belongs there.

    A gauge port is spare; so is one of several equal ports of which another is joined, and the
    far end of a rail that is fed.
    """
    if end.port.role == "sense":
        return True
    joined = [p for p in end.item.ports if p in search.circuit.joints_of and p is not end]
    roles = {p.port.role for p in joined if p.carries_flow and not _holds_injectors(p)}
    fed = end.item.kind == "rail" and end.port.role == "outlet" and bool(roles)
    spare = end.item.kind in ("rail", "regulator", "tee", "surge-tank") and end.port.role in roles
    return (fed or spare) and not any(
        grade(face_at(end), face_at(other)) is not None for other in _open_ends(search, end)
    )


def _holds_injectors(port: PlacedPort) -> bool:
    connection = port.port.connection
    return connection is not None and connection.system == "injector-seat"


def _open_ends(search: Search, besides: PlacedPort) -> Iterator[PlacedPort]:
    for item in search.circuit.items.values():
        for port in item.ports:
            joined = port in search.circuit.joints_of or port.name in search.circuit.outside
            if item is not besides.item and port.carries_flow and not joined:
                yield port


def hose_end_for_joint(search: Search) -> Iterator[Found]:
    """A hose end with the same outer end that grips the hose of the joint."""
    joint = search.joint
    for end in joint.ends if joint is not None else ():
        if not isinstance(end.item.part.spec, parts.HoseEndSpec):
            continue
        assert joint is not None
        hose, outer = face_at(joint.other(end)), _outer_ends(end.item.part)
        fitting = (
            part
            for part in search.catalogue.offered("hose-end")
            if seals_on(hose, part) is not None
            and _outer_ends(part) == outer
            and bears(part, end.item.part.working_pressure_kpa)
            and search.withstands(part)
        )
        best = min(fitting, key=price_order, default=None)
        if best is not None:
            yield from also_needed(search, Found(best, end.item.item.quantity, end.item.ref))


def _outer_ends(part: parts.Component) -> Counter[tuple[Face, float | None, bool | None]]:
    """The ends of a hose end that do not grip the hose."""
    return Counter(
        (face_of(part, port), port.angle_deg, port.swivel)
        for port in part.ports
        if port.connection is None or port.connection.system != "hose-end"
    )
