"""Facts of the whole assembly: what is there, what is counted, what drives what."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Annotated

from rules import parts
from rules.circuit import Circuit, PlacedItem, PlacedJoint
from rules.facts.application import AppFacts
from rules.facts.case import Case, Gap
from rules.facts.words import JET_DRIVES
from rules.schema import UNKNOWN, Flag, Maybe, Number, Record, Text, Word

BARBED = frozenset({"barb", "beaded-tube"})


@dataclass(frozen=True, slots=True)
class WholeFacts(Record):
    """The assembly as a whole."""

    name: Annotated[str, Text(label="assembly", origin="request")]
    app: AppFacts
    pumps: Annotated[int, Number(label="pumps", origin="request")]
    rails: Annotated[int, Number(label="rails", origin="request")]
    injectors: Annotated[int, Number(label="injectors", origin="request")]
    seats: Annotated[Maybe[int], Number(label="injector seats", origin="catalogue")]
    regulators: Annotated[int, Number(label="regulators", origin="request")]
    regulator_names: Annotated[str, Text(label="regulators", origin="request")]
    filters_after_pump: Annotated[int, Number(label="filters", origin="request")]
    return_lines: Annotated[int, Number(label="return lines to the tank", origin="computed")]
    ethanol_sensors: Annotated[int, Number(label="ethanol sensors", origin="request")]
    saddle_tank: Annotated[Maybe[bool], Flag(label="saddle tank", origin="catalogue")]
    jet_drive: Annotated[
        Maybe[str], Word(JET_DRIVES, label="what drives the jet", origin="catalogue")
    ]
    jet_driven: Annotated[Maybe[bool], Flag(label="jet is driven", origin="computed")]
    clamps_needed: Annotated[int, Number(label="clamps needed", origin="computed from joints")]
    clamps_given: Annotated[int, Number(label="clamps in the list", origin="request")]
    washers_needed: Annotated[int, Number(label="washers needed", origin="computed from joints")]
    washers_given: Annotated[int, Number(label="washers in the list", origin="request")]
    origins: Mapping[str, str] = field(default_factory=dict)


def whole_cases(circuit: Circuit, app: AppFacts) -> Iterator[Case]:
    """The one case of the assembly."""
    saddle = _saddle_tank(circuit)
    drive = _jet_drive(circuit)
    facts = WholeFacts(
        name="the assembly",
        app=app,
        pumps=_pieces(circuit, "pump"),
        rails=_pieces(circuit, "rail"),
        injectors=_pieces(circuit, "injector"),
        seats=_seats(circuit),
        regulators=len(_regulating(circuit)),
        regulator_names=", ".join(item.ref for item in _regulating(circuit)) or "none",
        filters_after_pump=len(circuit.of_kind("filter")),
        return_lines=_return_lines(circuit),
        ethanol_sensors=_ethanol_sensors(circuit),
        saddle_tank=saddle,
        jet_drive=drive,
        jet_driven=_jet_driven(circuit, drive),
        clamps_needed=sum(clamps_needed(joint) for joint in circuit.joints),
        clamps_given=_pieces(circuit, "clamp"),
        washers_needed=sum(washers_needed(joint) for joint in circuit.joints),
        washers_given=washers_given(circuit),
    )
    yield Case(
        about="assembly",
        kind=None,
        facts=facts,
        refs=(),
        ports=(),
        pointer="",
        missing=_missing,
    )


def _missing() -> Mapping[str, tuple[Gap, ...]]:
    jet = (Gap("drive of the transfer jet", "the tank module"),)
    return {
        "saddle_tank": (Gap("shape", "the tank"),),
        "jet_drive": jet,
        "jet_driven": jet,
        "seats": (Gap("injector seats", "the rails"),),
    }


def _pieces(circuit: Circuit, kind: str) -> int:
    return sum(item.item.quantity for item in circuit.of_kind(kind))


def _seats(circuit: Circuit) -> Maybe[int]:
    """Injector seats of all rails; as many as there are injectors where no rail is listed."""
    rails = circuit.of_kind("rail")
    if not rails:
        return _pieces(circuit, "injector")
    seats = [
        port.port.count * item.item.quantity
        for item in rails
        for port in item.ports
        if port.port.connection is not None and port.port.connection.system == "injector-seat"
    ]
    return sum(seats) if seats else UNKNOWN


def _regulating(circuit: Circuit) -> list[PlacedItem]:
    modules = [
        item
        for item in circuit.of_kind("tank-module")
        if isinstance(item.part.spec, parts.TankModuleSpec) and item.part.spec.built_in_regulator
    ]
    return [*circuit.of_kind("regulator"), *modules]


def _return_lines(circuit: Circuit) -> int:
    """Spills of regulators that lead back to a tank, or that the car takes over."""
    found = 0
    for regulator in circuit.of_kind("regulator"):
        for port in regulator.ports:
            if port.port.role != "outlet" or circuit.lines.get(port) != "return":
                continue
            way = circuit.way_from(port)
            to_tank = any(p.item.kind in ("tank", "tank-module", "surge-tank") for p in way)
            found += to_tank or any(p.name in circuit.outside for p in way)
    return found


def _ethanol_sensors(circuit: Circuit) -> int:
    return sum(
        isinstance(item.part.spec, parts.SensorSpec) and item.part.spec.senses == "ethanol-content"
        for item in circuit.items.values()
    )


def _saddle_tank(circuit: Circuit) -> Maybe[bool]:
    """Unknown only where a tank is listed whose shape nobody recorded."""
    shapes = {
        item.part.spec.shape
        for item in circuit.of_kind("tank")
        if isinstance(item.part.spec, parts.TankSpec)
    }
    if "saddle" in shapes:
        return True
    return UNKNOWN if None in shapes else False


def _jet_drive(circuit: Circuit) -> Maybe[str]:
    drives = {
        item.part.spec.jet_drive
        for item in circuit.of_kind("tank-module")
        if isinstance(item.part.spec, parts.TankModuleSpec)
    }
    if circuit.of_kind("siphon-jet"):
        return "feed-bleed"
    return drives.pop() or UNKNOWN if len(drives) == 1 else UNKNOWN


def _jet_driven(circuit: Circuit, drive: Maybe[str]) -> Maybe[bool]:
    """Whether the plumbing feeds what the jet lives on."""
    if drive is UNKNOWN:
        return UNKNOWN
    if drive == "return-flow":
        return _reaches_drive(circuit, "return")
    if drive == "feed-bleed":
        return _reaches_drive(circuit, "feed")
    if drive == "regulator-spill":
        return any(
            isinstance(item.part.spec, parts.TankModuleSpec)
            and item.part.spec.built_in_regulator is True
            for item in circuit.of_kind("tank-module")
        )
    return False


def _reaches_drive(circuit: Circuit, line: str) -> bool:
    """Whether a port with role `drive` is joined to the line that feeds it."""
    return any(
        circuit.lines.get(joint.other(port)) == line
        for item in circuit.items.values()
        for port in item.ports
        if port.port.role == "drive" and not circuit.is_capped(port)
        for joint in circuit.joints_of.get(port, ())
    )


def clamps_needed(joint: PlacedJoint) -> int:
    """One where a hose end is pushed over a barb or a beaded tube, push-on barbs excepted."""
    connections = [end.port.connection for end in joint.ends]
    systems = {c.system for c in connections if c is not None}
    push_on = any(end.port.barb_style == "push-on" for end in joint.ends)
    return int(bool(systems & BARBED) and "hose-end" in systems and not push_on)


def washers_needed(joint: PlacedJoint) -> int:
    """One washer on each side of a banjo ring, counted at the joint of ring and bolt."""
    genders = {end.port.connection.gender for end in joint.ends if end.port.connection}
    banjo = any(
        end.port.connection is not None and end.port.connection.system == "banjo"
        for end in joint.ends
    )
    if not banjo:
        return 0
    return 1 if "ring" in genders else int("bolt" in genders)


def washers_given(circuit: Circuit) -> int:
    """Washers of all packs in the list that go on its banjo bolts."""
    threads = banjo_threads(circuit)
    return sum(
        item.item.quantity * (item.part.spec.pieces or 1)
        for item in circuit.of_kind("seal")
        if isinstance(item.part.spec, parts.SealSpec) and fits_banjo(item.part.spec, threads)
    )


def banjo_threads(circuit: Circuit) -> frozenset[str]:
    """The threads of the banjo bolts and rings in the list."""
    return frozenset(
        port.port.connection.size
        for item in circuit.items.values()
        for port in item.ports
        if port.port.connection is not None
        and port.port.connection.system == "banjo"
        and port.port.connection.size is not None
    )


def fits_banjo(seal: parts.SealSpec, threads: frozenset[str]) -> bool:
    """Whether a seal is a washer for one of these threads.

    Washers are named by the diameter of the thread (`M12`) or by the whole thread.
    """
    if seal.form not in ("crush-washer", "bonded-washer"):
        return False
    return any(seal.size in (thread, thread.split("x")[0]) for thread in threads)
