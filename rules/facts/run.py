"""Facts of a run: from tank to pump, from pump to injectors, from regulator back to the tank.

A run is what the fuel passes in order, so that rules can ask what stands before what.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Annotated

from rules import parts
from rules.circuit import Circuit, PlacedItem, PlacedPort
from rules.facts.application import AppFacts
from rules.facts.case import Case, Gap, recorded
from rules.facts.words import LINES
from rules.schema import UNKNOWN, Flag, Maybe, Number, Record, Text, Unknown, Word


@dataclass(frozen=True, slots=True)
class RunFacts(Record):
    """One run."""

    name: Annotated[str, Text(label="run", origin="computed from the joints")]
    app: AppFacts
    line: Annotated[str, Word(LINES, label="line", origin="computed from the joints")]
    filters: Annotated[int, Number(label="filters on the way", origin="computed from the joints")]
    filter_names: Annotated[str, Text(label="filters", origin="request")]
    finest_um: Annotated[
        Maybe[float], Number("um", positive=True, label="finest filter", origin="catalogue")
    ]
    wanted_um: Annotated[
        Maybe[float],
        Number("um", positive=True, label="fineness asked for", origin="catalogue"),
    ]
    smallest_area_mm2: Annotated[
        Maybe[float], Number("mm2", positive=True, label="smallest filter area", origin="catalogue")
    ]
    wanted_area_stated: Annotated[
        bool, Flag(label="a filter area is asked for", origin="catalogue")
    ]
    wanted_area_mm2: Annotated[
        Maybe[float],
        Number("mm2", positive=True, label="filter area asked for", origin="catalogue"),
    ]
    wanted_stated: Annotated[bool, Flag(label="a fineness is asked for", origin="catalogue")]
    wanted_by: Annotated[str, Text(label="asked for by", origin="catalogue")]
    regulator_first: Annotated[
        bool, Flag(label="regulator before the rail", origin="computed from the joints")
    ]
    origins: Mapping[str, str] = field(default_factory=dict)


def run_cases(circuit: Circuit, app: AppFacts) -> Iterator[Case]:
    """A case for each run of the circuit."""
    for start, ends in (*_feeds(circuit), *_suctions(circuit), *_returns(circuit)):
        yield from _run(circuit, app, start, ends)


def _feeds(circuit: Circuit) -> Iterator[tuple[PlacedPort, str]]:
    for pump in circuit.of_kind("pump"):
        for port in pump.ports:
            if port.port.role == "outlet" and circuit.lines.get(port) == "feed":
                yield port, "feed"


def _suctions(circuit: Circuit) -> Iterator[tuple[PlacedPort, str]]:
    for pump in circuit.of_kind("pump"):
        yield from ((port, "suction") for port in pump.ports if port.port.role == "inlet")


def _returns(circuit: Circuit) -> Iterator[tuple[PlacedPort, str]]:
    for regulator in circuit.of_kind("regulator"):
        for port in regulator.ports:
            if circuit.lines.get(port) == "return" and port.port.role == "outlet":
                yield port, "return"


def _run(circuit: Circuit, app: AppFacts, start: PlacedPort, line: str) -> Iterator[Case]:
    ways = circuit.way_from(start)
    for goal in _goals(ways, line):
        way = ways[goal]
        passed = _items_in_order(way)
        filters = [item for item in passed if item.kind == "filter"]
        strainers = [item for item in passed if item.kind in ("filter", "strainer")]
        wanted, wanted_by = _wanted(circuit, line)
        wanted_area = _wanted_area(start.item, line)
        counted = strainers if line == "suction" else filters
        yield Case(
            about="run",
            kind=None,
            facts=RunFacts(
                name=f"{start.name} to {goal.name}",
                app=app,
                line=line,
                filters=len(counted),
                filter_names=", ".join(item.ref for item in counted) or "none",
                finest_um=_finest(counted),
                smallest_area_mm2=_smallest_area(counted),
                wanted_area_stated=wanted_area is not None,
                wanted_area_mm2=recorded(wanted_area),
                wanted_um=wanted,
                wanted_stated=not isinstance(wanted, Unknown),
                wanted_by=wanted_by,
                regulator_first=_regulator_first(passed),
            ),
            refs=tuple(item.ref for item in counted) or (start.item.ref, goal.item.ref),
            ports=(start.name, goal.name),
            pointer=(counted[0] if counted else start.item).pointer,
            missing=partial(_missing, counted),
        )


def _missing(counted: Sequence[PlacedItem]) -> Mapping[str, tuple[Gap, ...]]:
    unrecorded = [item.ref for item in counted if _fineness(item) is None]
    return {
        "smallest_area_mm2": tuple(
            Gap("filter area", item.ref)
            for item in counted
            if getattr(item.part.spec, "area_mm2", None) is None
        ),
        "finest_um": tuple(Gap("fineness", ref) for ref in unrecorded),
        "wanted_um": (Gap("fineness asked for upstream", "injectors and regulator"),),
    }


def _goals(ways: Mapping[PlacedPort, object], line: str) -> list[PlacedPort]:
    """Where a run ends: at rails or injectors, else at the last port of the line."""
    ports = list(ways)
    if line == "feed":
        rails: dict[PlacedItem, PlacedPort] = {}
        for port in ports:
            if port.item.kind in ("rail", "injector"):
                rails.setdefault(port.item, port)
        direct = [p for item, p in rails.items() if item.kind == "rail"]
        return direct or list(rails.values())
    return ports[-1:]


def _items_in_order(way: Iterable[PlacedPort]) -> list[PlacedItem]:
    return list(dict.fromkeys(port.item for port in way))


def _fineness(item: PlacedItem) -> float | None:
    spec = item.part.spec
    return spec.fineness_um if isinstance(spec, (parts.FilterSpec, parts.StrainerSpec)) else None


def _finest(filters: list[PlacedItem]) -> Maybe[float]:
    values = [_fineness(item) for item in filters]
    known = [value for value in values if value is not None]
    return min(known) if known and len(known) == len(values) else UNKNOWN


def _smallest_area(filters: list[PlacedItem]) -> Maybe[float]:
    areas = [getattr(item.part.spec, "area_mm2", None) for item in filters]
    known = [area for area in areas if area is not None]
    return min(known) if known and len(known) == len(areas) else UNKNOWN


def _wanted_area(pump: PlacedItem, line: str) -> float | None:
    """The strainer area that the pump at the head of a suction run asks for."""
    spec = pump.part.spec
    if line != "suction" or not isinstance(spec, parts.PumpSpec):
        return None
    return spec.inlet_area_at_least_mm2


def _wanted(circuit: Circuit, line: str) -> tuple[Maybe[float], str]:
    """The strictest fineness that parts after this run ask for before them."""
    asking: list[tuple[float, str]] = []
    for item in circuit.items.values():
        spec = item.part.spec
        if line == "feed" and isinstance(spec, (parts.InjectorSpec, parts.RegulatorSpec)):
            if spec.upstream_fineness_at_most_um is not None:
                asking.append((spec.upstream_fineness_at_most_um, item.ref))
        elif line == "suction" and isinstance(spec, parts.PumpSpec):
            least = spec.inlet_fineness_at_least_um
            if least is not None:
                asking.append((least, item.ref))
    if not asking:
        return UNKNOWN, "nobody"
    best = min(asking) if line == "feed" else max(asking)
    return recorded(best[0]), best[1]


def _regulator_first(passed: list[PlacedItem]) -> bool:
    kinds = [item.kind for item in passed]
    return "regulator" in kinds and kinds[-1] in ("rail", "injector")
