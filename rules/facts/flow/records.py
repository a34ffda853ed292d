"""Facts of flow that rules speak about: the system, an operating point, a part in the flow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, get_args

from rules.facts.application import AppFacts
from rules.facts.flow.points import Kind
from rules.facts.words import KINDS, LINES
from rules.schema import Flag, Maybe, Number, Record, Text, Vocabulary, Word

POINTS = Vocabulary("operating point", get_args(Kind))

_NETWORK = "computed from the pipe network"
_SUM = "computed"


@dataclass(frozen=True, slots=True)
class FlowFacts(Record):
    """The fuel system as a whole, at full load where nothing else is said."""

    name: Annotated[str, Text(label="system", origin="request")]
    app: AppFacts
    pumps: Annotated[int, Number(label="pumps", origin="request")]
    rails: Annotated[int, Number(label="rails", origin="request")]
    regulators: Annotated[int, Number(label="regulators", origin="request")]
    pump_names: Annotated[str, Text(label="pumps", origin="request")]
    power_kw: Annotated[
        Maybe[float], Number("kW", positive=True, label="power asked for", origin="request")
    ]
    demand_lph: Annotated[
        Maybe[float],
        Number("L/h", positive=True, label="fuel the engine burns", origin="computed from power"),
    ]
    limit_lph: Annotated[
        Maybe[float],
        Number("L/h", label="fuel it delivers with the rail held", origin=_NETWORK),
    ]
    pump_limit_lph: Annotated[
        Maybe[float],
        Number("L/h", label="fuel the pumps deliver through perfect lines", origin=_NETWORK),
    ]
    supports_kw: Annotated[Maybe[float], Number("kW", label="power it supports", origin=_NETWORK)]
    lines_support_kw: Annotated[
        Maybe[float], Number("kW", label="power that pump and lines support", origin=_NETWORK)
    ]
    costliest: Annotated[str, Text(label="part that costs most", origin=_NETWORK)]
    costliest_supports_kw: Annotated[
        Maybe[float], Number("kW", label="power with that part perfect", origin=_NETWORK)
    ]
    base_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", label="base pressure", origin="request")
    ]
    target_kpa: Annotated[
        Maybe[float],
        Number(
            "kPa", shown="bar", label="rail pressure wanted", origin="computed: base plus boost"
        ),
    ]
    rail_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", label="rail pressure", origin=_NETWORK)
    ]
    feed_drop_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="drop from pump to rail", origin=_NETWORK),
    ]
    relieved: Annotated[
        Maybe[bool], Flag(label="way back for the surplus", origin="computed from the joints")
    ]
    speed_controlled: Annotated[bool, Flag(label="pump speed is controlled", origin="request")]
    holds_for_restart: Annotated[
        Maybe[bool], Flag(label="a check valve holds the pressure", origin="catalogue")
    ]
    surge_tank: Annotated[bool, Flag(label="surge tank", origin="request")]
    surge_lasts_s: Annotated[
        Maybe[float],
        Number("s", label="how long the surge tank lasts", origin="computed: volume by demand"),
    ]
    lift_pumps: Annotated[int, Number(label="lift pumps", origin="request")]
    lift_lph: Annotated[Maybe[float], Number("L/h", label="flow of the lift pump", origin=_NETWORK)]
    surge_loses_lph: Annotated[
        Maybe[float],
        Number("L/h", label="what leaves the surge tank for good", origin=_NETWORK),
    ]
    origins: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FlowPointFacts(Record):
    """The system at one operating point."""

    name: Annotated[str, Text(label="operating point", origin="request")]
    kind: Annotated[str, Word(POINTS, label="kind of operating point", origin="request")]
    app: AppFacts
    base_kpa: Annotated[
        float, Number("kPa", shown="bar", positive=True, label="base pressure", origin="request")
    ]
    target_kpa: Annotated[
        float, Number("kPa", shown="bar", label="rail pressure wanted", origin=_SUM)
    ]
    rail_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", label="rail pressure", origin=_NETWORK)
    ]
    pump_lph: Annotated[Maybe[float], Number("L/h", label="pump flow", origin=_NETWORK)]
    burnt_lph: Annotated[Maybe[float], Number("L/h", label="fuel burnt", origin=_NETWORK)]
    return_lph: Annotated[Maybe[float], Number("L/h", label="fuel that goes back", origin=_NETWORK)]
    voltage_v: Annotated[
        Maybe[float], Number("V", positive=True, label="voltage at the pump", origin="request")
    ]
    temperature_c: Annotated[
        float, Number("degC", label="fuel temperature", origin="operating point")
    ]
    full_load_short_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="rail pressure too low at full load", origin=_NETWORK),
    ]
    idle_over_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="rail pressure too high at idle", origin=_NETWORK),
    ]
    return_costs_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", label="drop of the return", origin=_NETWORK)
    ]
    speed_controlled: Annotated[bool, Flag(label="pump speed is controlled", origin="request")]
    origins: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FlowPartFacts(Record):
    """A part in the flow, at full load where nothing else is said."""

    name: Annotated[str, Text(label="ref", origin="request")]
    title: Annotated[str, Text(label="part", origin="catalogue")]
    kind: Annotated[str, Word(KINDS, label="kind", origin="catalogue")]
    app: AppFacts
    line: Annotated[str, Word(LINES, label="line", origin="computed from the joints")]
    flow_lph: Annotated[Maybe[float], Number("L/h", label="flow", origin=_NETWORK)]
    drop_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", label="pressure drop", origin=_NETWORK)
    ]
    bore_mm: Annotated[
        Maybe[float], Number("mm", positive=True, label="narrowest bore", origin="catalogue")
    ]
    line_bore_mm: Annotated[
        Maybe[float],
        Number("mm", positive=True, label="bore of the line", origin="catalogue"),
    ]
    velocity_m_s: Annotated[Maybe[float], Number("m/s", label="velocity in it", origin=_NETWORK)]
    supports_kw: Annotated[
        Maybe[float],
        Number("kW", label="power the lines would carry if it were perfect", origin=_NETWORK),
    ]

    in_tank: Annotated[Maybe[bool], Flag(label="inside the tank", origin="computed")]
    voltage_stated: Annotated[
        bool, Flag(label="test voltage of its curve is stated", origin="catalogue")
    ]
    outlet_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="pressure it works at", origin=_NETWORK),
    ]
    relief_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", label="its relief pressure", origin="catalogue")
    ]
    relief_stated: Annotated[bool, Flag(label="relief pressure stated", origin="catalogue")]
    current_a: Annotated[Maybe[float], Number("A", label="current it draws", origin="pump curve")]
    current_stated: Annotated[bool, Flag(label="current stated", origin="catalogue")]
    maximum_current_a: Annotated[
        Maybe[float], Number("A", positive=True, label="highest current", origin="catalogue")
    ]
    heat_w: Annotated[
        Maybe[float], Number("W", label="heat into the fuel at idle", origin="computed")
    ]
    suction_kpa: Annotated[
        Maybe[float],
        Number("kPa", label="absolute pressure at its inlet", origin=_NETWORK),
    ]
    vapour_kpa: Annotated[
        Maybe[float],
        Number("kPa", label="vapour pressure of the hot fuel", origin="reference table of fuels"),
    ]
    hot_fuel_c: Annotated[Maybe[float], Number("degC", label="hot fuel", origin="operating point")]

    passes_lph: Annotated[
        Maybe[float], Number("L/h", label="flow through it at idle", origin=_NETWORK)
    ]
    maximum_lph: Annotated[
        Maybe[float],
        Number("L/h", positive=True, label="highest flow it regulates", origin="catalogue"),
    ]
    maximum_stated: Annotated[bool, Flag(label="highest flow stated", origin="catalogue")]
    base_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", label="base pressure", origin="request")
    ]
    set_least_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="lowest setting", origin="catalogue"),
    ]
    set_most_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="highest setting", origin="catalogue"),
    ]
    set_stated: Annotated[bool, Flag(label="setting stated", origin="catalogue")]
    follows_boost: Annotated[
        Maybe[bool], Flag(label="its pressure follows boost", origin="catalogue")
    ]
    spread_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="difference between injectors", origin=_NETWORK),
    ]

    needed_lph: Annotated[
        Maybe[float],
        Number("L/h", positive=True, label="flow that drives it", origin="catalogue"),
    ]
    drive_stated: Annotated[bool, Flag(label="drive flow stated", origin="catalogue")]

    pieces: Annotated[int, Number(positive=True, label="pieces", origin="request")]
    static_cc_min: Annotated[
        Maybe[float],
        Number(
            "cc/min",
            positive=True,
            label="flow of one held open",
            origin="computed from its rating",
        ),
    ]
    difference_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", label="pressure across the injectors", origin=_SUM)
    ]
    duty: Annotated[Maybe[float], Number(None, shown="%", label="injector duty", origin=_SUM)]
    duty_limit: Annotated[
        Maybe[float], Number(None, shown="%", label="duty limit", origin="request or usual")
    ]
    duty_supports_kw: Annotated[
        Maybe[float], Number("kW", label="power the injectors support", origin=_SUM)
    ]
    origins: Mapping[str, str] = field(default_factory=dict)
