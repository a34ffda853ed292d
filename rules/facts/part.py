"""Facts of a part in its place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Annotated, Any

from rules import parts
from rules.catalogue import Catalogue
from rules.circuit import Circuit, PlacedItem, PlacedPort
from rules.facts.application import AppFacts
from rules.facts.case import STATE, WHICH_LINE, Case, Gap, recorded
from rules.facts.words import (
    CLASS_USES,
    CONSTRUCTIONS,
    KINDS,
    LIFECYCLES,
    LINES,
    MARKINGS,
    MEDIA,
    MOUNTS,
    PLACEMENTS,
)
from rules.reference import Reference
from rules.schema import UNKNOWN, Flag, Maybe, Number, Record, Text, Unknown, Word, Words

_TABLE_J30 = "reference table, SAE J30"
_THREADED = frozenset(
    {
        *("flare-37", "flare-45", "inverted-flare", "orb", "orfs", "npt", "nptf", "nps"),
        *("bspp", "bspt", "iso-6149", "metric-flat", "din-24-cone"),
    }
)


_RUBBER_WITH_CLASSES = frozenset({"rubber-clamped", "rubber-submersible"})


@dataclass(frozen=True, slots=True)
class PartFacts(Record):
    """A part in its place. What does not apply to a kind of part is unknown for it."""

    name: Annotated[str, Text(label="ref", origin="request")]
    title: Annotated[str, Text(label="part", origin="catalogue")]
    kind: Annotated[str, Word(KINDS, label="kind", origin="catalogue")]
    quantity: Annotated[int, Number(positive=True, label="quantity", origin="request")]
    app: AppFacts

    lifecycle: Annotated[str, Word(LIFECYCLES, label="lifecycle", origin="catalogue")]
    successor: Annotated[Maybe[str], Text(label="successor", origin="catalogue")]

    line: Annotated[Maybe[str], Word(LINES, label="line", origin="computed from the joints")]
    in_tank: Annotated[Maybe[bool], Flag(label="inside the tank", origin="computed")]
    placement: Annotated[Maybe[str], Word(PLACEMENTS, label="placement", origin="request")]
    pressure_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="pressure it sees", origin="computed: base plus boost"),
    ]
    working_pressure_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="working pressure", origin="catalogue"),
    ]
    temperature_least_c: Annotated[
        Maybe[float], Number("degC", label="lowest temperature", origin="catalogue")
    ]
    temperature_most_c: Annotated[
        Maybe[float], Number("degC", label="highest temperature", origin="catalogue")
    ]
    approved_for_others: Annotated[
        bool, Flag(label="approved, but for other fuels only", origin="catalogue")
    ]
    maker_excludes: Annotated[bool, Flag(label="ruled out by its maker", origin="catalogue")]

    construction: Annotated[
        Maybe[str], Word(CONSTRUCTIONS, label="hose construction", origin="catalogue")
    ]
    marked: Annotated[Maybe[frozenset[str]], Words(MARKINGS, label="marking", origin="catalogue")]
    markings: Annotated[Maybe[int], Number(label="number of markings", origin="catalogue")]
    marked_injection: Annotated[
        Maybe[str], Word(CLASS_USES, label="class for injection", origin=_TABLE_J30)
    ]
    marked_return: Annotated[
        Maybe[str], Word(CLASS_USES, label="class for an injection return", origin=_TABLE_J30)
    ]
    marked_pressure_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="pressure of its class", origin=_TABLE_J30),
    ]
    low_pressure_class: Annotated[
        bool, Flag(label="rubber hose of a low-pressure class", origin=_TABLE_J30)
    ]
    marked_submersible: Annotated[
        Maybe[str], Word(CLASS_USES, label="class for inside the tank", origin=_TABLE_J30)
    ]
    marked_ethanol_percent: Annotated[
        Maybe[float], Number("%", label="ethanol its class allows", origin=_TABLE_J30)
    ]
    flow_ends: Annotated[int, Number(label="ends", origin="catalogue")]
    threaded_ends: Annotated[Maybe[int], Number(label="threaded ends", origin="catalogue")]
    can_turn: Annotated[Maybe[bool], Flag(label="an end turns", origin="catalogue")]
    both_ends_angled: Annotated[Maybe[bool], Flag(label="two angled ends", origin="catalogue")]
    clocked: Annotated[bool, Flag(label="clocking angle stated", origin="request")]
    bend_radius_mm: Annotated[
        Maybe[float], Number("mm", label="bend it is laid in", origin="request")
    ]
    bend_stated: Annotated[bool, Flag(label="bend stated", origin="request")]
    minimum_bend_radius_mm: Annotated[
        Maybe[float], Number("mm", label="tightest bend allowed", origin="catalogue")
    ]
    length_mm: Annotated[
        Maybe[float], Number("mm", shown="m", positive=True, label="length", origin="request")
    ]

    cut_length_stated: Annotated[bool, Flag(label="cut length stated", origin="request")]
    inside_body: Annotated[bool, Flag(label="inside cabin or boot", origin="request")]

    directional: Annotated[Maybe[bool], Flag(label="one way only", origin="catalogue")]
    media: Annotated[Maybe[str], Word(MEDIA, label="filter medium", origin="catalogue")]
    fineness_um: Annotated[
        Maybe[float], Number("um", positive=True, label="fineness", origin="catalogue")
    ]
    reversed: Annotated[Maybe[bool], Flag(label="turned round", origin="computed from joints")]

    mount: Annotated[Maybe[str], Word(MOUNTS, label="pump mount", origin="catalogue")]
    relief_pressure_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="relief pressure", origin="catalogue"),
    ]
    delivers_at_kpa: Annotated[
        float,
        Number("kPa", shown="bar", label="pressure it is shown to reach", origin="pump curve"),
    ]
    strainers: Annotated[Maybe[int], Number(label="strainers before it", origin="computed")]
    pump_limit_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="greatest pump pressure", origin="catalogue of the pump"),
    ]
    pump_listed: Annotated[bool, Flag(label="pump in the list", origin="request")]
    limited: Annotated[Maybe[bool], Flag(label="regulator limits the pressure", origin="computed")]
    feed_goes_on: Annotated[bool, Flag(label="feed goes on outside the list", origin="request")]
    maximum_pressure_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="highest injector pressure", origin="catalogue"),
    ]
    needs_missing: Annotated[int, Number(label="needs not in the list", origin="computed")]
    needs: Annotated[str, Text(label="missing needs", origin="catalogue")]
    origins: Mapping[str, str] = field(default_factory=dict)


_UNKNOWN_FOR_MOST: Mapping[str, Any] = dict.fromkeys(
    (
        *("construction", "marked", "markings", "marked_injection", "marked_return"),
        *(
            "marked_pressure_kpa",
            "marked_submersible",
            "marked_ethanol_percent",
            "minimum_bend_radius_mm",
        ),
        "directional",
        *("media", "fineness_um", "mount", "relief_pressure_kpa", "strainers"),
        "maximum_pressure_kpa",
    ),
    UNKNOWN,
)


def part_cases(circuit: Circuit, app: AppFacts) -> Iterator[Case]:
    """A case for each item."""
    limited = _pressure_is_limited(circuit)
    feed_goes_on = bool(circuit.goes_on_outside & {"feed", "return", None})
    pump_limit = _pump_limit(circuit)
    flow_starts = tuple(_flow_starts(circuit))
    reversed_items = _reversed_items(circuit, flow_starts)
    lacking = missing_needs(circuit)
    for item in circuit.items.values():
        line = circuit.line_of(item)
        facts = PartFacts(
            name=item.ref,
            title=item.part.name,
            kind=item.kind,
            quantity=item.item.quantity,
            app=app,
            lifecycle=item.part.lifecycle,
            successor=recorded(item.part.superseded_by),
            line=recorded(line),
            in_tank=recorded(circuit.lies_in_tank[item]),
            placement=recorded(item.item.placement),
            pressure_kpa=pressure_in(line, app),
            working_pressure_kpa=recorded(item.part.working_pressure_kpa),
            temperature_least_c=recorded(item.part.temperature_least_c),
            temperature_most_c=recorded(item.part.temperature_most_c),
            approved_for_others=maker_approves(item, circuit) is False,
            maker_excludes=circuit.fuel.id in item.part.excluded_fuels,
            reversed=_reversed(item, reversed_items, line, flow_starts),
            pump_limit_kpa=pump_limit,
            pump_listed=bool(circuit.of_kind("pump")),
            limited=limited,
            feed_goes_on=feed_goes_on,
            delivers_at_kpa=_delivers_at(item.part.spec),
            bend_stated=item.item.bend_radius_mm is not None,
            bend_radius_mm=recorded(item.item.bend_radius_mm),
            cut_length_stated=item.item.length_mm is not None,
            inside_body=item.item.placement == "cabin-or-boot",
            length_mm=_length(item),
            needs_missing=len(lacking[item]),
            needs=", ".join(in_words(need) for need in lacking[item]),
            **_ends(item, circuit),
            **{**_UNKNOWN_FOR_MOST, "low_pressure_class": False, **_by_kind(item, circuit)},
            origins=_origins(item),
        )
        yield Case(
            about="part",
            kind=item.kind,
            facts=facts,
            refs=(item.ref,),
            ports=(),
            pointer=item.pointer,
            missing=partial(_missing, item, line, app),
        )


def _pump_spec(item: PlacedItem) -> parts.PumpSpec:
    assert isinstance(item.part, parts.PumpPart)
    return item.part.spec


def pressure_in(line: str | None, app: AppFacts) -> Maybe[float]:
    """The pressure a part of a line must bear. Only the feed sees the peak fuel pressure."""
    if line == "feed":
        return app.peak_pressure_kpa
    if line == "reference":
        return app.boost_kpa
    return UNKNOWN if line is None else 0.0


def pressure_gaps(line: str | None, app: AppFacts, of: str) -> tuple[Gap, ...]:
    """What a pressure that is unknown hangs on."""
    if line is None:
        return (Gap("line", of, WHICH_LINE),)
    if isinstance(app.base_pressure_kpa, Unknown):
        return (Gap("base pressure", app.name, STATE),)
    return (Gap("boost", app.name, STATE),)


def maker_approves(item: PlacedItem, circuit: Circuit) -> Maybe[bool]:
    """Whether the part's maker names the application's fuel among those approved."""
    if item.part.approved_fuels is None or circuit.fuel.id is None:
        return UNKNOWN
    return circuit.fuel.id in item.part.approved_fuels


def _by_kind(item: PlacedItem, circuit: Circuit) -> dict[str, Any]:
    """Facts that only parts of some kinds have."""
    spec = item.part.spec
    if isinstance(spec, parts.HoseMarks):
        return hose_facts(spec, circuit.reference)
    if isinstance(spec, parts.FilterSpec):
        return {
            "media": recorded(spec.media),
            "fineness_um": recorded(spec.fineness_um),
            "directional": recorded(spec.directional),
        }
    if isinstance(spec, parts.CheckValveSpec):
        return {"directional": True}
    if isinstance(spec, parts.StrainerSpec):
        return {"fineness_um": recorded(spec.fineness_um)}
    if isinstance(spec, parts.PumpSpec):
        return {
            "mount": recorded(spec.mount),
            "relief_pressure_kpa": recorded(spec.relief_pressure_kpa),
            "strainers": _strainers_before(item, circuit),
        }
    if isinstance(spec, parts.InjectorSpec):
        return {
            "maximum_pressure_kpa": recorded(spec.maximum_pressure_kpa),
        }
    return {}


def _delivers_at(spec: object) -> float:
    """The highest pressure at which any curve of a pump shows flow; its relief opens above that."""
    if not isinstance(spec, parts.PumpSpec):
        return 0.0
    shown = [
        point.pressure_kpa
        for curve in spec.curves or ()
        for point in curve.points
        if point.flow_lph > 0
    ]
    return max(shown, default=0.0)


def hose_facts(spec: parts.HoseMarks, table: Reference) -> dict[str, Any]:
    """What a hose's construction and markings say of it, by the names of the facts."""
    found: dict[str, Any] = {
        "construction": recorded(spec.construction),
        "minimum_bend_radius_mm": recorded(spec.minimum_bend_radius_mm),
    }
    if spec.marked is None:
        return found
    rows = [table.marking(m) for m in spec.marked]
    found |= {"marked": frozenset(spec.marked), "markings": len(rows)}
    if not rows:
        return found
    found["marked_injection"] = _best(row.injection for row in rows)
    found["low_pressure_class"] = (
        found["marked_injection"] == "no" and spec.construction in _RUBBER_WITH_CLASSES
    )
    found["marked_return"] = _best(row.injection_return for row in rows)
    found["marked_submersible"] = _best(row.submersible for row in rows)
    allowed = [row.working_pressure(spec.bore_mm) for row in rows]
    pressures = [pressure.max_working_kpa for pressure in allowed if pressure is not None]
    found["marked_pressure_kpa"] = max(pressures) if pressures else UNKNOWN
    limits = [row.ethanol_limit_percent for row in rows if row.ethanol_limit_percent is not None]
    found["marked_ethanol_percent"] = max(limits) if limits else UNKNOWN
    return found


def _best(allowed: Iterable[str]) -> Maybe[str]:
    """What the best of several markings allows; a hose may carry more than one."""
    said = set(allowed)
    return next((word for word in ("yes", "declared", "no") if word in said), UNKNOWN)


def _ends(item: PlacedItem, circuit: Circuit) -> dict[str, Any]:
    flow = [port for port in item.ports if port.carries_flow]
    connections = [port.port.connection for port in flow]
    threaded = [p for p in flow if _system(p) in _THREADED]
    angled = [None if p.port.angle_deg is None else p.port.angle_deg > 0 for p in flow]
    clock = item.item.clock_angle_deg is not None or (
        isinstance(item.part.spec, parts.HoseAssemblySpec)
        and item.part.spec.clock_angle_deg is not None
    )
    return {
        "flow_ends": len(flow),
        "threaded_ends": UNKNOWN if None in connections else len(threaded),
        "can_turn": _at_least(1, [_turns_when_screwed(port, circuit) for port in threaded]),
        "both_ends_angled": _at_least(2, angled),
        "clocked": clock,
    }


def _system(port: PlacedPort) -> str | None:
    connection = port.port.connection
    return connection.system if connection is not None else None


def _at_least(count: int, flags: Sequence[bool | None]) -> Maybe[bool]:
    """Whether so many are true; unknown where it hangs on those that nobody recorded."""
    if flags.count(True) >= count:
        return True
    return UNKNOWN if flags.count(True) + flags.count(None) >= count else False


# The female half of these is a nut that turns on its end, whoever makes it.
_NUTS = frozenset({"flare-37", "flare-45", "orfs"})


def _turns_when_screwed(port: PlacedPort, circuit: Circuit) -> bool | None:
    """Whether an end, or what it is screwed to, turns by itself; `None` where nobody recorded it.

    The threads in the body of a pump, rail, filter or regulator turn only where it is said.
    """
    turning = [_swivels(port)]
    for joint in circuit.joints_of.get(port, ()):
        far = joint.other(port)
        alone = far.item.kind in ("adapter", "tee", "hose-end", "hose-assembly", "hard-line")
        turning.append(_swivels(far) if alone else bool(far.port.swivel))
    return True if True in turning else (None if None in turning else False)


def _swivels(port: PlacedPort) -> bool | None:
    connection = port.port.connection
    if port.port.swivel is None and connection is not None and connection.gender == "female":
        return True if connection.system in _NUTS else None
    return port.port.swivel


def _length(item: PlacedItem) -> Maybe[float]:
    if item.item.length_mm is not None:
        return item.item.length_mm
    spec = item.part.spec
    if isinstance(spec, (parts.HoseAssemblySpec, parts.HardLineSpec)):
        return recorded(spec.length_mm)
    return UNKNOWN


def _strainers_before(pump: PlacedItem, circuit: Circuit) -> Maybe[int]:
    """Unknown where the pump draws from parts of the car that are not listed, and none is."""
    inlets = [port for port in pump.ports if port.port.role == "inlet"]
    way = [far for inlet in inlets for far in circuit.way_from(inlet)]
    on_the_way = {far.item for far in way if far.item.kind in ("strainer", "filter")}
    # A strainer in the list that no joint names belongs to the only pump there is.
    loose = [s for s in circuit.of_kind("strainer") if not _is_joined(s, circuit)]
    alone = len(circuit.of_kind("pump")) == 1
    found = len(on_the_way) + (len(loose) if alone else 0)
    draws_on_the_car = any(far.name in circuit.outside for far in way)
    return UNKNOWN if draws_on_the_car and not found else found


def _is_joined(item: PlacedItem, circuit: Circuit) -> bool:
    return any(port in circuit.joints_of for port in item.ports)


def _pressure_is_limited(circuit: Circuit) -> Maybe[bool]:
    if circuit.of_kind("regulator"):
        return True
    built_in = [
        item.part.spec.built_in_regulator
        for item in circuit.of_kind("tank-module")
        if isinstance(item.part.spec, parts.TankModuleSpec)
    ]
    return _at_least(1, built_in)


def _pump_limit(circuit: Circuit) -> Maybe[float]:
    """The most any pump can build up: its relief valve, else its pressure at no flow."""
    limits = []
    for pump in circuit.of_kind("pump"):
        spec = _pump_spec(pump)
        known = [p for p in (spec.relief_pressure_kpa, spec.dead_head_pressure_kpa) if p]
        if not known:
            return UNKNOWN
        limits.append(min(known))
    return max(limits) if limits else UNKNOWN


def _reversed_items(
    circuit: Circuit, flow_starts: Iterable[tuple[PlacedPort, bool]]
) -> Mapping[PlacedItem, bool]:
    """For each part that flow enters on its way: whether it enters by the outlet."""
    found: dict[PlacedItem, bool] = {}
    for start, downstream in flow_starts:
        if start.name in circuit.outside and start.port.role in ("inlet", "outlet"):
            found[start.item] = start.port.role == ("outlet" if downstream else "inlet")
    for start, downstream in flow_starts:
        for way in circuit.way_from(start).values():
            for port in way[1:]:
                if port.item is start.item or port.item in found:
                    continue
                wrong = "outlet" if downstream else "inlet"
                if port.port.role in ("inlet", "outlet"):
                    found[port.item] = port.port.role == wrong
    return found


def _flow_starts(circuit: Circuit) -> Iterator[tuple[PlacedPort, bool]]:
    for pump in circuit.of_kind("pump"):
        for port in pump.ports:
            if port.port.role in ("inlet", "outlet"):
                yield port, port.port.role == "outlet"
    for regulator in circuit.of_kind("regulator"):
        yield from ((p, True) for p in regulator.ports if p.port.role == "outlet")
    for item in circuit.items.values():
        for port in item.ports:
            said = circuit.outside.get(port.name)
            if said is not None and said.flow is not None:
                yield port, said.flow == "in"


def _reversed(
    item: PlacedItem,
    reversed_items: Mapping[PlacedItem, bool],
    line: str | None,
    flow_starts: tuple[tuple[PlacedPort, bool], ...],
) -> Maybe[bool]:
    if item in reversed_items:
        return reversed_items[item]
    # Nothing flows where the list has nothing that makes a flow: no direction to be wrong about.
    return UNKNOWN if flow_starts and line not in (None, "vent", "reference") else False


def missing_needs(circuit: Circuit) -> Mapping[PlacedItem, Sequence[parts.Need]]:
    """What the makers say their parts need and the list does not hold, for all of an item's pieces.

    The list is handed out part by part, so that one relay does not serve two pumps. Clamps and
    the seals of joints are counted where they are needed, at the joints.
    """
    listed = tuple(circuit.items.values())
    lacking = lacking_needs([(item.part, item.item.quantity) for item in listed], circuit.catalogue)
    return dict(zip(listed, lacking, strict=True))


def lacking_needs(
    listed: Sequence[tuple[parts.Component, int]], catalogue: Catalogue
) -> Iterator[Sequence[parts.Need]]:
    """The same for each of some parts, listed with their quantities."""
    stock: Counter[str] = Counter()
    for part, quantity in listed:
        pieces = quantity * (getattr(part.spec, "pieces", None) or 1)
        stock[part.sku or part.kind] += pieces
        if part.sku is not None:
            stock[part.kind] += pieces
    for part, quantity in listed:
        short = []
        for need in part.needs:
            if _counted_at_joints(need, catalogue):
                continue
            key, wanted = need.sku or need.kind, need.quantity * quantity
            if stock[key] < wanted:
                short.append(need.model_copy(update={"quantity": wanted}))
            stock[key] -= wanted
        yield short


def in_words(need: parts.Need) -> str:
    """A need as a person asks for it: `2 x 30 A fuse`."""
    what = need.sku or " ".join(filter(None, (need.size, need.kind.replace("-", " "))))
    return f"{need.quantity} x {what}"


_JOINT_SEALS = frozenset({"o-ring", "crush-washer", "bonded-washer", "flare-sleeve"})


def _counted_at_joints(need: parts.Need, catalogue: Catalogue) -> bool:
    part = catalogue.get(need.sku) if need.sku else None
    seal = isinstance(part, parts.SealPart) and part.spec.form in _JOINT_SEALS
    return seal or need.kind == "clamp"


def _origins(item: PlacedItem) -> Mapping[str, str]:
    if item.origin == "catalogue":
        return {}
    where = "vehicle" if item.origin == "vehicle" else "request"
    return dict.fromkeys(("working_pressure_kpa", "construction", "marked", "fineness_um"), where)


def _missing(item: PlacedItem, line: str | None, app: AppFacts) -> Mapping[str, tuple[Gap, ...]]:
    pressure = pressure_gaps(line, app, item.ref)
    marking = (Gap("marking", item.ref),)
    return {
        "line": (Gap("line", item.ref, WHICH_LINE),),
        "reversed": (Gap("direction of flow", item.ref, WHICH_LINE),),
        "can_turn": (Gap("swivel ends", item.ref),),
        "both_ends_angled": (Gap("angle of the ends", item.ref),),
        "strainers": (Gap("strainer", f"what feeds {item.ref}"),),
        "limited": (Gap("built-in regulator", "the tank module"),),
        "pressure_kpa": pressure,
        "app.peak_pressure_kpa": pressure,
        **dict.fromkeys(
            ("markings", "marked", "marked_injection", "marked_return", "marked_pressure_kpa"),
            marking,
        ),
        **dict.fromkeys(("marked_submersible", "marked_ethanol_percent"), marking),
        "pump_limit_kpa": (Gap("relief or dead-head pressure", "the pump"),),
        "in_tank": (Gap("mount", "the pump"),),
    }
