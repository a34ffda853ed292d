"""Facts of the whole assembly: what is there, what is counted, what drives what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, TypeVar

from rules import parts
from rules.circuit import Circuit, PlacedItem, PlacedJoint, PlacedPort
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
    regulators: Annotated[Maybe[int], Number(label="regulators", origin="request")]
    regulator_names: Annotated[str, Text(label="regulators", origin="request")]
    fuel_goes_on: Annotated[
        bool, Flag(label="feed or return goes on outside the list", origin="request")
    ]
    return_lines: Annotated[int, Number(label="return lines to the tank", origin="computed")]
    ethanol_sensors: Annotated[int, Number(label="ethanol sensors", origin="request")]
    saddle_tank: Annotated[Maybe[bool], Flag(label="saddle tank", origin="catalogue")]
    jet_drive: Annotated[
        Maybe[str], Word(JET_DRIVES, label="what drives the jet", origin="catalogue")
    ]
    jet_driven: Annotated[Maybe[bool], Flag(label="jet is driven", origin="computed")]
    plugs_differ: Annotated[Maybe[bool], Flag(label="plugs differ", origin="computed")]
    injector_plugs: Annotated[str, Text(label="plug of the injectors", origin="catalogue")]
    terminal_plugs: Annotated[str, Text(label="plug of the terminals", origin="catalogue")]
    lays_the_runs: Annotated[
        bool, Flag(label="the list lays the fuel runs of the vehicle", origin="vehicle")
    ]
    runs_length_mm: Annotated[
        float, Number("mm", shown="m", label="length of the fuel runs", origin="vehicle")
    ]
    hose_length_mm: Annotated[
        Maybe[float],
        Number("mm", shown="m", label="hose and line in the list", origin="request"),
    ]
    hose_short_mm: Annotated[
        Maybe[float], Number("mm", shown="m", label="short by", origin="computed")
    ]
    bodies_stated: Annotated[
        bool, Flag(label="pump and holder diameters known", origin="catalogue")
    ]
    bodies_fit: Annotated[bool, Flag(label="pump fits its holder", origin="computed")]
    pump_bodies: Annotated[str, Text(label="pump diameter", origin="catalogue")]
    module_bodies: Annotated[str, Text(label="holder diameters", origin="catalogue")]
    places_stated: Annotated[bool, Flag(label="pump places known", origin="catalogue")]
    pump_places: Annotated[int, Number(label="pump places", origin="catalogue")]
    pumps_in_tank: Annotated[int, Number(label="pumps in the tank", origin="computed")]
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
        regulators=regulator_count(circuit),
        fuel_goes_on=bool(circuit.goes_on_outside & {"feed", "return", None}),
        regulator_names=", ".join(item.ref for item in _regulating(circuit)) or "none",
        return_lines=_return_lines(circuit),
        ethanol_sensors=_ethanol_sensors(circuit),
        saddle_tank=saddle,
        jet_drive=drive,
        jet_driven=_jet_driven(circuit, drive),
        **_plugs(circuit),
        **_runs(circuit),
        **_holders(circuit),
        clamps_needed=sum(clamps_needed(joint) for joint in circuit.joints),
        clamps_given=_pieces(circuit, "clamp"),
        washers_needed=washers_needed(circuit),
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
        "regulators": (Gap("built-in regulator", "the tank module"),),
        "saddle_tank": (Gap("shape", "the tank"),),
        "jet_drive": jet,
        "jet_driven": jet,
        "seats": (Gap("injector seats", "the rails"),),
        "plugs_differ": (Gap("plug", "the injectors"),),
        "hose_length_mm": (Gap("length", "hoses and lines"),),
    }


def _pieces(circuit: Circuit, kind: str) -> int:
    return sum(item.item.quantity for item in circuit.of_kind(kind))


def _seats(circuit: Circuit) -> Maybe[int]:
    """Injector seats of all rails; as many as there are injectors where no rail is listed."""
    rails = circuit.of_kind("rail")
    if not rails:
        return _pieces(circuit, "injector")
    seats = [
        port.pieces
        for item in rails
        for port in item.ports
        if port.port.connection is not None and port.port.connection.system == "injector-seat"
    ]
    return sum(seats) if seats else UNKNOWN


def _plugs(circuit: Circuit) -> dict[str, Any]:
    """Whether the terminals in the list suit the injectors; false where either is not listed."""
    injectors = {_spec(i, parts.InjectorSpec).plug for i in circuit.of_kind("injector")}
    terminals = {_spec(i, parts.TerminalSpec).plug for i in circuit.of_kind("terminal")}
    # Terminals for the pump are listed too: one that suits is enough.
    named = {plug.casefold() for plug in terminals if plug is not None}
    differ: Maybe[bool] = False
    if injectors and terminals and named:
        differ = (
            UNKNOWN
            if None in injectors
            else not all(str(plug).casefold() in named for plug in injectors)
        )
    return {
        "plugs_differ": differ,
        "injector_plugs": ", ".join(sorted(filter(None, injectors))) or "none stated",
        "terminal_plugs": ", ".join(sorted(filter(None, terminals))) or "none stated",
    }


S = TypeVar("S")


def _spec(item: PlacedItem, of_type: type[S]) -> S:
    assert isinstance(item.part.spec, of_type)
    return item.part.spec


_AIR = frozenset({"reference", "vent"})


def _runs(circuit: Circuit) -> dict[str, Any]:
    """Hose and line in the list against the vehicle's fuel runs.

    A list that leads to parts of the car, or that holds no hose, renews some of them at most.
    """
    runs = circuit.vehicle.runs if circuit.vehicle else ()
    needed = sum(run.length_mm for run in runs if run.of == "fuel")
    bought = [
        (item.item.length_mm or getattr(item.part.spec, "length_mm", None), item.item.quantity)
        for item in circuit.of_kind("bulk-hose", "hose-assembly", "hard-line")
        if circuit.line_of(item) not in _AIR
    ]
    unknown = any(length is None for length, _ in bought)
    listed = sum(length * pieces for length, pieces in bought if length is not None)
    return {
        "lays_the_runs": needed > 0 and bool(bought) and not circuit.goes_on_outside - _AIR,
        "runs_length_mm": needed,
        "hose_length_mm": UNKNOWN if unknown and listed < needed else listed,
        "hose_short_mm": UNKNOWN if unknown and listed < needed else max(0.0, needed - listed),
    }


# A holder's rubber sleeve takes up this much.
_HOLDER_PLAY_MM = 0.5


def _holders(circuit: Circuit) -> dict[str, Any]:
    """Pumps inside the tank against the places of the tank modules."""
    pumps = [pump for pump in circuit.of_kind("pump") if circuit.lies_in_tank[pump]]
    modules = [_spec(item, parts.TankModuleSpec) for item in circuit.of_kind("tank-module")]
    bodies = {_spec(pump, parts.PumpSpec).body_diameter_mm for pump in pumps}
    holders = {d for module in modules for d in module.body_diameters_mm or ()}
    places = [module.pump_places for module in modules]
    known = [body for body in bodies if body is not None]
    return {
        "bodies_stated": bool(known and holders),
        "bodies_fit": all(any(abs(b - h) <= _HOLDER_PLAY_MM for h in holders) for b in known),
        "pump_bodies": ", ".join(f"{b:g} mm" for b in sorted(known)) or "none stated",
        "module_bodies": ", ".join(f"{h:g} mm" for h in sorted(holders)) or "none stated",
        "places_stated": bool(places) and None not in places,
        "pump_places": sum(count or 0 for count in places),
        "pumps_in_tank": sum(pump.item.quantity for pump in pumps),
    }


def _regulating(circuit: Circuit) -> list[PlacedItem]:
    modules = [
        item
        for item in circuit.of_kind("tank-module")
        if isinstance(item.part.spec, parts.TankModuleSpec) and item.part.spec.built_in_regulator
    ]
    return [*circuit.of_kind("regulator"), *modules]


def regulator_count(circuit: Circuit) -> Maybe[int]:
    """How many hold the pressure; unknown where the only one may be built into a module."""
    known = len(_regulating(circuit))
    open_ = any(
        _spec(item, parts.TankModuleSpec).built_in_regulator is None
        for item in circuit.of_kind("tank-module")
    )
    return UNKNOWN if open_ and not known else known


def _return_lines(circuit: Circuit) -> int:
    """Spills of regulators that lead back to a tank, or that the car takes over."""
    found = 0
    for regulator in circuit.of_kind("regulator"):
        for port in regulator.ports:
            if port.port.role != "outlet" or circuit.lines.get(port) != "return":
                continue
            way = circuit.way_from(port)
            to_tank = any(p.item.kind in ("tank", "tank-module", "surge-tank") for p in way)
            ends = any(p.name in circuit.outside or p.port.submerged for p in way)
            found += to_tank or ends
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


def washers_needed(circuit: Circuit) -> int:
    """One washer on each side of each banjo ring: two for a bolt with one ring, three with two.

    A bolt or ring that is listed without the other counts as one of each.
    """
    rings: Counter[PlacedItem] = Counter()
    alone = 0
    for joint in circuit.joints:
        by_gender = {_banjo_gender(end): end.item for end in joint.ends}
        if "bolt" in by_gender:
            rings[by_gender["bolt"]] += "ring" in by_gender
        elif "ring" in by_gender:
            alone += 1
    return sum(max(1, count) + 1 for count in rings.values()) + 2 * alone


def washers_by_thread(circuit: Circuit, thread: str) -> int:
    """How many washers the banjo bolts of one thread are short of."""
    joints = tuple(joint for joint in circuit.joints if thread in _sizes(joint))
    of_thread = replace(circuit, joints=joints)
    given = sum(
        _pieces_of(item)
        for item in circuit.of_kind("seal")
        if fits_banjo(_spec(item, parts.SealSpec), frozenset({thread}))
    )
    return washers_needed(of_thread) - given


def _sizes(joint: PlacedJoint) -> set[str | None]:
    return {end.port.connection.size for end in joint.ends if end.port.connection is not None}


def _pieces_of(item: PlacedItem) -> int:
    return item.item.quantity * (_spec(item, parts.SealSpec).pieces or 1)


def _banjo_gender(end: PlacedPort) -> str | None:
    connection = end.port.connection
    return connection.gender if connection is not None and connection.system == "banjo" else None


def washers_given(circuit: Circuit) -> int:
    """Washers of all packs in the list that go on its banjo bolts."""
    threads = banjo_threads(circuit)
    return sum(
        _pieces_of(item)
        for item in circuit.of_kind("seal")
        if fits_banjo(_spec(item, parts.SealSpec), threads)
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
