"""Fuel systems for the tests of flow: the parts written out, nothing but what decides the flow.

    body = return_system(power="300 kW")
    body = changed(body, hat={"ports": {"feed": {"bore": "4 mm"}}})
    flow = flow_of(body)

Parts carry no threads: what joins what is another test's business.
"""

import copy
from typing import Any

from rules.assembly import Request
from rules.catalogue import catalogue
from rules.check import check, load_rules
from rules.circuit import place
from rules.facts.application import application_facts
from rules.facts.flow import Figures, Study, study
from rules.report import Flow, Report

EMPTY_SHOP = catalogue(1, [])
BOOK = load_rules()

# Straight lines: 24 L/h less for each bar, 12 % less at 12 V.
PUMP_12V = [(0, 352), (200, 310), (400, 268), (600, 225), (800, 183)]
PUMP_13V5 = [(0, 400), (200, 352), (400, 304), (600, 256), (800, 208)]


def curve(points: list[tuple[float, float]], voltage: str | None = "13.5 V") -> dict[str, Any]:
    """A pump curve from pairs of kPa and L/h; the current rises from 4 A by 1.5 A for each bar."""
    return {
        "voltage": voltage,
        "points": [
            {
                "pressure": f"{kpa} kPa",
                "flow": f"{lph} L/h",
                "current": f"{4 + 0.015 * kpa:g} A",
            }
            for kpa, lph in points
        ],
    }


def straight_curve(free_lph: float, at_8_bar_lph: float, voltage: str) -> dict[str, Any]:
    """A pump curve that falls straight from no pressure to 8 bar."""
    fall = (free_lph - at_8_bar_lph) / 800
    return curve([(kpa, round(free_lph - fall * kpa, 2)) for kpa in range(0, 900, 100)], voltage)


def port(name: str, role: str = "either", bore: str | None = "8 mm", **more: Any) -> dict[str, Any]:
    return {"id": name, "role": role, "bore": bore, **more}


def part(kind: str, ports: list[dict[str, Any]], **spec: Any) -> dict[str, Any]:
    return {"name": kind, "kind": kind, "ports": ports, "spec": spec}


def pump(curves: list[dict[str, Any]] | None = None, **spec: Any) -> dict[str, Any]:
    if curves is None:
        curves = [curve(PUMP_12V, "12 V"), curve(PUMP_13V5)]
    usual = {"mount": "in-tank", "check_valve": True, "maximum_current": "20 A", "curves": curves}
    ports = [port("inlet", "inlet", "10 mm", submerged=True), port("outlet", "outlet")]
    return part("pump", ports, **usual | spec)


def hat(feed: str | None = "8 mm", **spec: Any) -> dict[str, Any]:
    ports = [
        port("pump", "inlet", "8 mm", submerged=True),
        port("feed", "outlet", feed, submerged=False),
        port("return", "inlet", "8 mm", submerged=False),
    ]
    return part("tank-module", ports, **{"built_in_regulator": False, "jet_drive": "none"} | spec)


def hose(bore: str | None = "8 mm", length: str | None = "3 m", **spec: Any) -> dict[str, Any]:
    ends = [port("a", bore=bore), port("b", bore=bore)]
    usual = {"construction": "ptfe-smooth-bore", "bore": bore, "length": length}
    return part("hose-assembly", ends, **usual | spec)


def hose_of_size(size: str, **spec: Any) -> dict[str, Any]:
    """A hose of which only the trade size is known."""
    connection = {"system": "flare-37", "size": size, "gender": "female"}
    ends = [port(name, bore=None, connection=connection, swivel=True) for name in ("a", "b")]
    usual = {"construction": "ptfe-smooth-bore", "length": "3 m"}
    return part("hose-assembly", ends, **usual | spec)


def fuel_filter(drops: list[tuple[float, float]] | None = None) -> dict[str, Any]:
    """A filter from pairs of L/h and kPa."""
    drops = [(100, 1), (300, 6), (600, 20)] if drops is None else drops
    ports = [port("inlet", "inlet"), port("outlet", "outlet")]
    points = [{"flow": f"{lph} L/h", "drop": f"{kpa} kPa"} for lph, kpa in drops]
    return part("filter", ports, directional=True, drop=points or None)


def rail(seats: int = 6, bore: str = "14 mm", **spec: Any) -> dict[str, Any]:
    seat = {"system": "injector-seat", "size": "14 mm", "gender": "female"}
    ports = [port("a"), port("b"), port("seats", "outlet", None, connection=seat, count=seats)]
    return part("rail", ports, **{"bore": bore, "injector_pitch": "90 mm"} | spec)


def regulator(**spec: Any) -> dict[str, Any]:
    usual = {
        "action": "back-pressure",
        "reference": "manifold",
        "set_pressure_least": "2 bar",
        "set_pressure_most": "5 bar",
        "maximum_flow": "900 L/h",
        "seat_bore": "6 mm",
    }
    return part("regulator", [port("inlet", "inlet"), port("spill", "outlet")], **usual | spec)


def injectors(flow: str = "1000 cc/min", **spec: Any) -> dict[str, Any]:
    seat = {"system": "injector-seat", "size": "14 mm", "gender": "male"}
    usual = {"flow": flow, "flow_pressure": "3 bar", "test_fluid_density": "684 kg/m3"}
    return part("injector", [port("inlet", "inlet", None, connection=seat)], **usual | spec)


APPLICATION = {
    "fuel": "E0",
    "power": "250 kW",
    "power_at": "crank",
    "induction": "turbo",
    "boost": "1 bar",
    "base_pressure": "3 bar",
    "supply_voltage": "13.5 V",
    "fuel_temperature": "20 degC",
    "circuit": "return",
}


def body_of(
    parts: dict[str, Any], joints: list[list[str]], application: dict[str, Any]
) -> dict[str, Any]:
    """A request of parts written out, each under its ref; a count goes in front: ("6", part)."""
    items = []
    for ref, given in parts.items():
        count, described = given if isinstance(given, tuple) else (1, given)
        items.append({"ref": ref, "component": described, "quantity": count})
    stated = {name: value for name, value in application.items() if value is not None}
    return {"application": stated, "items": items, "joints": joints}


def return_system(parts: dict[str, Any] | None = None, **application: Any) -> dict[str, Any]:
    """Pump, hat, hose, filter, hose, rail, regulator and return, in one row."""
    usual = {
        "pump": pump(),
        "hat": hat(),
        "feed-1": hose(),
        "filter": fuel_filter(),
        "feed-2": hose(length="0.5 m"),
        "rail": rail(),
        "injectors": (6, injectors()),
        "reg": regulator(),
        "back": hose(length="4 m"),
    }
    joints = [
        ["pump.outlet", "hat.pump"],
        ["hat.feed", "feed-1.a"],
        ["feed-1.b", "filter.inlet"],
        ["filter.outlet", "feed-2.a"],
        ["feed-2.b", "rail.a"],
        ["rail.b", "reg.inlet"],
        ["rail.seats", "injectors.inlet"],
        ["reg.spill", "back.a"],
        ["back.b", "hat.return"],
    ]
    return body_of(usual | (parts or {}), joints, APPLICATION | application)


def returnless_system(parts: dict[str, Any] | None = None, **application: Any) -> dict[str, Any]:
    """A tank module with its own regulator, one line, a rail with its far end plugged."""
    usual = {
        "pump": pump(),
        "hat": hat(built_in_regulator=True, built_in_set_pressure="4 bar"),
        "feed": hose(length="3 m"),
        "rail": rail(),
        "injectors": (6, injectors()),
    }
    joints = [
        ["pump.outlet", "hat.pump"],
        ["hat.feed", "feed.a"],
        ["feed.b", "rail.a"],
        ["rail.seats", "injectors.inlet"],
    ]
    usual_application = APPLICATION | {
        "induction": "naturally-aspirated",
        "boost": None,
        "base_pressure": "4 bar",
        "circuit": "returnless",
    }
    return body_of(usual | (parts or {}), joints, usual_application | application)


def with_parts(body: dict[str, Any], **parts: Any) -> dict[str, Any]:
    """The same request with some of its parts replaced, or new ones added."""
    found = copy.deepcopy(body)
    for ref, given in parts.items():
        count, described = given if isinstance(given, tuple) else (1, given)
        name = ref.replace("_", "-")
        found["items"] = [item for item in found["items"] if item["ref"] != name]
        found["items"].append({"ref": name, "component": described, "quantity": count})
    return found


def study_of(body: dict[str, Any]) -> Study:
    circuit = place(Request.model_validate(body), EMPTY_SHOP)
    return study(circuit, application_facts(circuit))


def figures_of(body: dict[str, Any]) -> Figures:
    found = study_of(body)
    assert found.worst is not None, found.why_not
    return Figures(found.worst, found.worst_injectors)


def report_of(body: dict[str, Any]) -> Report:
    return check(Request.model_validate(body), EMPTY_SHOP, BOOK)


def flow_of(body: dict[str, Any]) -> Flow:
    flow = report_of(body).flow
    assert flow is not None
    return flow


def flow_rules(report: Report, *severities: str) -> set[str]:
    """Rules about flow that fired, of some severities or of any."""
    return {
        finding.rule
        for finding in report.findings
        if finding.subject.about.startswith("flow")
        and (finding.severity in severities if severities else finding.severity != "unknown")
    }


def unknowns(report: Report) -> set[str]:
    """What the report says is not recorded and leaves a rule about flow open."""
    of_flow = {rule.id for rule in BOOK.rules if rule.family == "flow"}
    return {
        finding.message.removeprefix("Not recorded: ").removesuffix(".")
        for finding in report.findings
        if of_flow & set(finding.open_rules)
    }
