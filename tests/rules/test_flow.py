"""From an assembly to its flow: the network, the operating points, the limits, what is unknown."""

import json
import random
from typing import Any

import pytest
from pydantic import ValidationError

from rules.assembly import Request
from rules.catalogue import catalogue
from rules.check import AssemblyFaults, check
from rules.circuit import place
from rules.facts.application import AppFacts, application_facts
from rules.facts.flow import Figures, study
from rules.facts.flow.solving import ALL_PARTS
from rules.facts.subjects import SUBJECTS, cases
from seed_data import demo_assemblies, demo_components, demo_vehicles
from tests.rules.flow_systems import (
    BOOK,
    EMPTY_SHOP,
    PUMP_13V5,
    body_of,
    curve,
    figures_of,
    flow_of,
    flow_rules,
    fuel_filter,
    hat,
    hose,
    hose_of_size,
    injectors,
    part,
    port,
    pump,
    rail,
    regulator,
    report_of,
    return_system,
    returnless_system,
    study_of,
    unknowns,
    with_parts,
)

LARGE_FILTER = fuel_filter([(100, 1), (1000, 40)])
SHOP = catalogue(1, demo_components(), demo_vehicles())


def supported_kw(body: dict[str, Any]) -> float:
    """The power the lines and pumps carry, injectors left out of the reckoning."""
    power = figures_of(body).without_injectors
    assert power is not None
    return power


def full_load(body: dict[str, Any], series: str) -> float:
    figures = figures_of(body)
    value = getattr(figures, series)(figures.end.full_load)
    assert value is not None
    return float(value)


def at_idle(body: dict[str, Any], series: str) -> float:
    figures = figures_of(body)
    value = getattr(figures, series)(figures.end.row("idle"))
    assert value is not None
    return float(value)


# What the report holds ------------------------------------------------------------------------


def test_without_a_power_nothing_flows_and_nothing_is_asked() -> None:
    asked, silent = return_system(), return_system(power=None)
    report = report_of(silent)
    assert report.flow is None
    assert flow_rules(report) == set()
    assert unknowns(report) == set()
    why = [n.why for n in report.not_checked if n.what == "flow and pressure drop"]
    assert why == ["the request names no power"]
    assert not any(n.what == "flow and pressure drop" for n in report_of(asked).not_checked)


def test_a_list_that_is_no_fuel_system_is_not_asked_for_its_flow() -> None:
    body = body_of({"hose": hose()}, [], {"fuel": "E0", "power": "300 kW"})
    report = report_of(body)
    assert report.flow is None
    assert unknowns(report) == set()
    assert any("no fuel system" in n.why for n in report.not_checked)


def test_the_block_is_as_the_contract_shows_it() -> None:
    flow = flow_of(return_system())
    body = flow.model_dump(mode="json")
    assert set(body["demand"]) >= {"mass", "volume"}
    point = body["points"][0]
    assert point["name"] == "full load"
    for name in ("rail_pressure", "target"):
        assert point[name]["unit"] == "bar"
    assert point["pump_flow"]["unit"] == "L/h"
    assert point["held"] is True
    assert all(set(drop) >= {"ref", "drop", "share"} for drop in point["drops"])
    for line in ("feed", "return"):
        shares = [drop["share"] for drop in point["drops"] if drop["line"] == line]
        assert sum(shares) == pytest.approx(1.0, abs=0.02)
    assert body["supports_power"]["unit"] == "kW"
    of_limits = {"ref", "supports_power_without_it", "limits_next"}
    assert all(set(each) == of_limits for each in body["limited_by"])


def test_demand_is_power_by_consumption_by_density() -> None:
    flow = flow_of(return_system(power="200 kW", consumption="0.36 kg/kWh"))
    assert flow.demand.mass.value == pytest.approx(200 * 0.36 / 3600, rel=1e-3)
    assert flow.demand.volume.value == pytest.approx(200 * 0.36 / 0.7405, rel=1e-3)
    told = {each.name: each.origin for each in flow.assumptions}
    assert told["specific consumption"] == "measured by the caller"


def test_power_at_the_wheels_takes_the_loss_on_top_and_answers_at_the_wheels() -> None:
    crank = flow_of(return_system(power="200 kW"))
    wheels = flow_of(return_system(power="160 kW", power_at="wheels", driveline_loss_percent=20))
    assert wheels.demand.volume.value == crank.demand.volume.value
    assert wheels.supports_power is not None
    assert crank.supports_power is not None
    assert wheels.supports_power.value == pytest.approx(0.8 * crank.supports_power.value, rel=1e-3)


def test_a_temperature_that_nobody_stated_is_said_to_be_the_usual_one() -> None:
    flow = flow_of(return_system(fuel_temperature=None))
    (told,) = [each for each in flow.assumptions if each.name == "fuel temperature"]
    assert (told.value.value, told.value.unit) == (20.0, "degC")
    assert told.origin == "usual value, none is stated"


def test_at_every_joint_there_is_a_pressure_and_a_flow() -> None:
    point = flow_of(return_system()).points[0]
    joints = {joint.ports: joint for joint in point.joints}
    assert set(joints) == {
        ("hat.pump", "pump.outlet"),
        ("feed-1.a", "hat.feed"),
        ("feed-1.b", "filter.inlet"),
        ("feed-2.a", "filter.outlet"),
        ("feed-2.b", "rail.a"),
        ("rail.b", "reg.inlet"),
        ("back.a", "reg.spill"),
        ("back.b", "hat.return"),
    }
    feed = [
        joints[ports].pressure.value
        for ports in (
            ("hat.pump", "pump.outlet"),
            ("feed-1.a", "hat.feed"),
            ("feed-1.b", "filter.inlet"),
            ("feed-2.a", "filter.outlet"),
            ("feed-2.b", "rail.a"),
        )
    ]
    assert feed == sorted(feed, reverse=True)
    assert point.pump_flow is not None
    assert joints["feed-1.a", "hat.feed"].flow.value == point.pump_flow.value
    assert point.goes_back is not None
    assert joints["back.b", "hat.return"].flow.value == point.goes_back.value


def test_the_same_request_gives_the_same_block() -> None:
    body = return_system()
    assert flow_of(body).model_dump_json() == flow_of(body).model_dump_json()


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_parts_and_joints_does_not_matter(seed: int) -> None:
    body = return_system()
    shuffled = json.loads(json.dumps(body))
    chance = random.Random(seed)
    chance.shuffle(shuffled["items"])
    chance.shuffle(shuffled["joints"])
    shuffled["joints"] = [list(reversed(joint)) for joint in shuffled["joints"]]
    assert flow_of(shuffled).model_dump_json() == flow_of(body).model_dump_json()


# The network ----------------------------------------------------------------------------------


def test_what_the_pump_delivers_is_burnt_or_goes_back() -> None:
    figures = figures_of(return_system())
    for row in range(len(figures.end.states)):
        pumped, burnt, back = (
            getattr(figures, name)(row) for name in ("pump_lph", "burnt_lph", "spilled_lph")
        )
        assert pumped == pytest.approx(burnt + back, abs=1e-3)


def test_the_pump_works_on_its_curve_at_the_pressure_of_the_rail_and_the_lines() -> None:
    figures = figures_of(return_system())
    row = figures.end.full_load
    outlet, delivered = figures.outlet_kpa(row), figures.pump_lph(row)
    assert outlet is not None
    assert delivered == pytest.approx(400 - 0.24 * outlet, abs=0.01)


def test_the_smallest_hole_counts_and_not_the_thread() -> None:
    wide, narrow = return_system(), with_parts(return_system(), hat=hat("4 mm"))
    point = flow_of(narrow).points[0]
    (drop,) = [each for each in point.drops if each.ref == "hat" and each.line == "feed"]
    assert drop.bore is not None
    assert drop.bore.value == 4.0
    assert supported_kw(narrow) < supported_kw(wide) - 10
    assert figures_of(narrow).costliest[0] == "hat"
    assert figures_of(wide).costliest[0] == "feed-1"


def test_a_step_in_bore_costs_and_the_narrower_part_answers_for_it() -> None:
    def adapter(bore: str) -> dict[str, Any]:
        return part("adapter", [port("a", bore=bore), port("b", bore=bore)])

    def with_adapter(bore: str) -> dict[str, Any]:
        body = with_parts(return_system(), step=adapter(bore))
        body["joints"].remove(["hat.feed", "feed-1.a"])
        body["joints"] += [["hat.feed", "step.a"], ["step.b", "feed-1.a"]]
        return body

    def drops(bore: str) -> dict[str, float]:
        point = flow_of(with_adapter(bore)).points[0]
        return {each.ref: each.drop.value for each in point.drops if each.line == "feed"}

    level, narrow = drops("8 mm"), drops("5 mm")
    assert level["step"] < 0.002
    assert narrow["step"] > 10 * level["step"]
    assert narrow["feed-1"] == pytest.approx(level["feed-1"], rel=0.02)


def test_bends_and_convolutions_cost() -> None:
    straight = full_load(return_system(), "feed_drop_kpa")
    bent = hose()
    bent["ports"][0]["angle"] = "90 deg"
    assert full_load(return_system({"feed-1": bent}), "feed_drop_kpa") > straight + 0.5
    rough = hose(construction="ptfe-convoluted")
    assert full_load(return_system({"feed-1": rough}), "feed_drop_kpa") > 1.8 * straight


def two_rails(*, in_a_row: bool) -> dict[str, Any]:
    """Two rails of three, either one behind the other or fed by a Y and joined again."""
    tee = part("tee", [port("a", bore="10 mm"), port("b", bore="10 mm"), port("c", bore="10 mm")])
    parts = {
        "pump": pump(),
        "hat": hat(),
        "feed": hose(),
        "rail-l": rail(3),
        "rail-r": rail(3),
        "inj-l": (3, injectors()),
        "inj-r": (3, injectors()),
        "reg": regulator(),
        "back": hose(),
    }
    joints = [
        ["pump.outlet", "hat.pump"],
        ["hat.feed", "feed.a"],
        ["rail-l.seats", "inj-l.inlet"],
        ["rail-r.seats", "inj-r.inlet"],
        ["reg.spill", "back.a"],
        ["back.b", "hat.return"],
    ]
    if in_a_row:
        parts["cross"] = hose("6 mm", "0.6 m")
        joints += [
            ["feed.b", "rail-l.a"],
            ["rail-l.b", "cross.a"],
            ["cross.b", "rail-r.a"],
            ["rail-r.b", "reg.inlet"],
        ]
    else:
        parts |= {"wye": tee, "join": tee}
        joints += [
            ["feed.b", "wye.a"],
            ["wye.b", "rail-l.a"],
            ["wye.c", "rail-r.a"],
            ["rail-l.b", "join.b"],
            ["rail-r.b", "join.c"],
            ["join.a", "reg.inlet"],
        ]
    application = return_system()["application"]
    return body_of(parts, joints, application)


def test_parallel_rails_share_the_flow_and_rails_in_a_row_lose_pressure() -> None:
    point = flow_of(two_rails(in_a_row=False)).points[0]
    through = {each.ref: each.flow.value for each in point.drops}
    assert through["rail-l"] == through["rail-r"]
    assert point.pump_flow is not None
    assert through["rail-l"] == pytest.approx(point.pump_flow.value / 2, rel=1e-3)
    row, side = (full_load(two_rails(in_a_row=a), "spread_kpa") for a in (True, False))
    assert row > 10 * side


def test_injectors_draw_by_their_rating_and_the_seats_along_the_rail_one_by_one() -> None:
    body = two_rails(in_a_row=True)
    small = with_parts(
        body, inj_l=(3, injectors("500 cc/min")), inj_r=(3, injectors("1500 cc/min"))
    )
    shares = {seat.node: share for seat, share in study_of(small).best.plan.seats}  # type: ignore[union-attr]
    assert [round(share, 6) for share in shares.values()] == [0.083333] * 3 + [0.25] * 3
    assert sum(shares.values()) == pytest.approx(1.0)


def test_two_pumps_side_by_side_are_one_item_of_two_or_two_items() -> None:
    large = return_system({"filter": LARGE_FILTER})
    grouped = with_parts(large, pump=(2, pump()))
    single = with_parts(
        large,
        pump_2=pump(),
        hat=part(
            "tank-module",
            [
                port("pump", "inlet", "8 mm", submerged=True),
                port("pump-2", "inlet", "8 mm", submerged=True),
                port("feed", "outlet", "8 mm", submerged=False),
                port("return", "inlet", "8 mm", submerged=False),
            ],
            built_in_regulator=False,
        ),
    )
    single["joints"].append(["pump-2.outlet", "hat.pump-2"])
    one = at_idle(large, "pump_lph")
    assert at_idle(grouped, "pump_lph") == pytest.approx(2 * one, rel=0.05)
    # Each of the two single pumps has its own way through the lid.
    assert at_idle(single, "pump_lph") == pytest.approx(at_idle(grouped, "pump_lph"), rel=0.05)
    assert [limit.ref for limit in flow_of(single).points[0].pumps] == ["pump", "pump-2"]


def test_a_pump_behind_a_pump_adds_its_pressure() -> None:
    first, second = pump(mount="external"), pump(mount="external")
    first["ports"][0]["submerged"] = second["ports"][0]["submerged"] = None
    tank = part("tank", [port("out", "outlet", "12 mm"), port("in", "inlet", "12 mm")])
    parts = {
        "tank": tank,
        "first": first,
        "second": second,
        "feed": hose(),
        "rail": rail(),
        "injectors": (6, injectors()),
        "reg": regulator(),
    }
    joints = [
        ["tank.out", "first.inlet"],
        ["first.outlet", "second.inlet"],
        ["second.outlet", "feed.a"],
        ["feed.b", "rail.a"],
        ["rail.b", "reg.inlet"],
        ["reg.spill", "tank.in"],
        ["rail.seats", "injectors.inlet"],
    ]
    body = body_of(parts, joints, return_system()["application"])
    figures = figures_of(body)
    row = figures.end.full_load
    rises = [
        figures.rise_kpa(piece, row)
        for piece in figures.end.plan.pieces.values()
        if piece.what == "pump"
    ]
    assert len(rises) == 2
    assert rises[0] == pytest.approx(rises[1], rel=0.05)
    assert figures.rail_kpa(row) == pytest.approx(400, rel=0.02)


def test_a_regulator_before_the_rails_holds_them_less_the_drop_of_the_line() -> None:
    parts = {
        "pump": pump(),
        "hat": hat(),
        "feed": hose(),
        "tee": part("tee", [port("a"), port("b"), port("c")]),
        "reg": regulator(),
        "on": hose("5 mm", "1 m"),
        "rail": rail(),
        "injectors": (6, injectors()),
        "back": hose(),
    }
    joints = [
        ["pump.outlet", "hat.pump"],
        ["hat.feed", "feed.a"],
        ["feed.b", "tee.a"],
        ["tee.b", "reg.inlet"],
        ["tee.c", "on.a"],
        ["on.b", "rail.a"],
        ["reg.spill", "back.a"],
        ["back.b", "hat.return"],
        ["rail.seats", "injectors.inlet"],
    ]
    body = body_of(parts, joints, return_system()["application"])
    figures = figures_of(body)
    row = figures.end.full_load
    drop = figures.end.batch.drop_of("on", row)
    rail_kpa = figures.rail_kpa(row)
    assert rail_kpa is not None
    assert drop > 1.0
    assert rail_kpa == pytest.approx(400 - drop, abs=0.5)
    # What the line behind the regulator loses limits the power, however strong the pump is.
    limits = dict(figures.without)
    assert limits["on"] is not None
    assert limits["pump"] is not None
    assert limits["on"] > figures.supports_kw(figures.end.limit, with_injectors=False)  # type: ignore[operator]
    assert limits["pump"] == pytest.approx(
        min(figures.supports_kw(figures.end.limit), limits["pump"]),
        rel=1e-6,  # type: ignore[type-var]
    )


def test_a_reducing_regulator_holds_what_is_behind_it() -> None:
    reducer = regulator(
        action="reducing",
        reference="atmosphere",
        set_pressure_least=None,
        set_pressure_most=None,
        set_pressure="3 bar",
    )
    parts = {
        "pump": pump(),
        "hat": hat(),
        "feed": hose(),
        "reducer": reducer,
        "rail": rail(),
        "injectors": (6, injectors()),
    }
    joints = [
        ["pump.outlet", "hat.pump"],
        ["hat.feed", "feed.a"],
        ["feed.b", "reducer.inlet"],
        ["reducer.spill", "rail.a"],
        ["rail.seats", "injectors.inlet"],
    ]
    application = returnless_system(base_pressure="3 bar", power="560 kW")["application"]
    figures = figures_of(body_of(parts, joints, application))
    assert figures.rail_kpa(figures.end.full_load) == pytest.approx(300, abs=3.0)
    assert figures.feed_drop_kpa(figures.end.full_load) > 100  # type: ignore[operator]


def test_a_returnless_module_holds_its_own_pressure() -> None:
    flow = flow_of(returnless_system())
    by_name = {point.name: point for point in flow.points}
    assert by_name["idle"].rail_pressure is not None
    assert by_name["idle"].rail_pressure.value == pytest.approx(4.0, abs=0.001)
    assert by_name["full load"].rail_pressure is not None
    assert 3.9 < by_name["full load"].rail_pressure.value < 4.0


def controlled() -> dict[str, Any]:
    return returnless_system({"hat": hat()}, pump_control="speed-controlled")


def test_a_pump_whose_speed_is_controlled_delivers_what_is_burnt() -> None:
    figures = figures_of(controlled())
    for row, state in enumerate(figures.end.states):
        assert figures.rail_kpa(row) == pytest.approx(400 + state.manifold_kpa, rel=1e-3)
        assert figures.pump_lph(row) == pytest.approx(figures.burnt_lph(row), abs=1e-3)
    assert flow_rules(report_of(controlled())) == set()
    assert flow_of(controlled()).points[0].pumps[0].current is None


def test_a_controlled_pump_at_full_speed_lets_the_rail_sag() -> None:
    body = controlled()
    body["application"]["power"] = "800 kW"
    figures = figures_of(body)
    row = figures.end.full_load
    assert figures.end.batch.rows[row].pump_scale == 1.0
    assert figures.rail_kpa(row) < 380  # type: ignore[operator]


def test_several_hoses_side_by_side_share_the_return() -> None:
    one = with_parts(return_system(), back=hose("5 mm", "4 m"))
    two = with_parts(return_system(), back=(2, hose("5 mm", "4 m")))
    assert at_idle(two, "return_drop_kpa") < 0.45 * at_idle(one, "return_drop_kpa")


def test_a_group_of_hundreds_is_no_line() -> None:
    report = report_of(with_parts(return_system(), back=(300, hose())))
    assert any("12 side by side at most" in n.why for n in report.not_checked)


def test_two_returns_from_one_rail() -> None:
    body = with_parts(
        return_system(),
        split=part("tee", [port("a"), port("b"), port("c")]),
        back_2=hose(length="4 m"),
        hat=part(
            "tank-module",
            [
                port("pump", "inlet", "8 mm", submerged=True),
                port("feed", "outlet", "8 mm", submerged=False),
                port("return", "inlet", "8 mm", submerged=False),
                port("return-2", "inlet", "8 mm", submerged=False),
            ],
            built_in_regulator=False,
        ),
    )
    body["joints"].remove(["reg.spill", "back.a"])
    body["joints"] += [
        ["reg.spill", "split.a"],
        ["split.b", "back.a"],
        ["split.c", "back-2.a"],
        ["back-2.b", "hat.return-2"],
    ]
    point = {p.name: p for p in flow_of(body).points}["idle"]
    through = {each.ref: each.flow.value for each in point.drops if each.line == "return"}
    assert through["back"] == through["back-2"]
    assert point.goes_back is not None
    assert through["back"] == pytest.approx(point.goes_back.value / 2, rel=1e-3)


def test_a_check_valve_opens_only_above_its_spring() -> None:
    valve = part(
        "check-valve",
        [port("inlet", "inlet"), port("outlet", "outlet")],
        opening_pressure="15 kPa",
        drop=[{"flow": "300 L/h", "drop": "6 kPa"}],
    )

    def with_valve(opens: str) -> dict[str, Any]:
        body = with_parts(
            return_system(), valve=valve | {"spec": valve["spec"] | {"opening_pressure": opens}}
        )
        body["joints"].remove(["hat.feed", "feed-1.a"])
        body["joints"] += [["hat.feed", "valve.inlet"], ["valve.outlet", "feed-1.a"]]
        return body

    stiff, soft = (full_load(with_valve(opens), "feed_drop_kpa") for opens in ("15 kPa", "0 kPa"))
    assert stiff - soft == pytest.approx(15.0, abs=1.0)


# Jets and surge tanks -------------------------------------------------------------------------


def with_jet(**spec: Any) -> dict[str, Any]:
    """A jet that bleeds the feed between hat and filter."""
    jet = part(
        "siphon-jet",
        [
            port("drive", "drive", "6 mm"),
            port("pickup", "inlet", "6 mm", submerged=True),
            port("outlet", "outlet", "10 mm", submerged=True),
        ],
        **{"nozzle_bore": "1 mm", "drive_flow": "40 L/h"} | spec,
    )
    body = with_parts(return_system(), jet=jet, tee=part("tee", [port("a"), port("b"), port("c")]))
    body["joints"].remove(["hat.feed", "feed-1.a"])
    body["joints"] += [["hat.feed", "tee.a"], ["tee.b", "feed-1.a"], ["tee.c", "jet.drive"]]
    return body


def test_a_jet_takes_its_flow_from_the_rail() -> None:
    figures = figures_of(with_jet())
    row = figures.end.full_load
    taken = figures.flow_lph("jet", row)
    pressure = figures.outlet_kpa(row)
    assert taken is not None
    assert pressure is not None
    # An orifice of 1 mm: Cd A sqrt(2 dp / rho), with Cd of 0.9.
    assert taken == pytest.approx(
        0.9 * 0.7854e-6 * (2e3 * pressure / 740.5) ** 0.5 * 3.6e6, rel=0.02
    )
    assert figures.pump_lph(row) == pytest.approx(
        figures.burnt_lph(row) + figures.spilled_lph(row) + taken,
        abs=1e-3,  # type: ignore[operator]
    )
    assert supported_kw(with_jet()) < supported_kw(return_system()) - 50


def test_a_jet_whose_drive_is_too_weak_is_told() -> None:
    assert "jet-drive-starved" not in flow_rules(report_of(with_jet()))
    assert "jet-drive-starved" in flow_rules(report_of(with_jet(nozzle_bore="0.4 mm")), "warning")
    report = report_of(with_jet(nozzle_bore=None))
    assert "nozzle bore of jet" in unknowns(report)


def surge_system(
    *, back_to: str = "surge", lift: list[tuple[float, float]] | None = None, volume: str = "2 L"
) -> dict[str, Any]:
    """Tank, lift pump, surge tank, external pump, rail, regulator and return."""
    lift_points = [(0, 300), (20, 260), (60, 100)] if lift is None else lift
    lift_curves = [curve(lift_points), curve([(p, 0.9 * f) for p, f in lift_points], "12 V")]
    lift_pump, main = pump(lift_curves, mount="external"), pump(mount="external")
    for each in (lift_pump, main):
        each["ports"][0]["submerged"] = None
    tank = part("tank", [port("out", "outlet", "12 mm"), port("in", "inlet", "12 mm")])
    surge = part(
        "surge-tank",
        [
            port("fill", "inlet", "12 mm"),
            port("feed", "outlet", "12 mm"),
            port("back", "inlet", "12 mm"),
        ],
        volume=volume,
    )
    parts = {
        "tank": tank,
        "lift": lift_pump,
        "lift-line": hose("10 mm", "2 m"),
        "surge": surge,
        "suction": hose("12 mm", "0.3 m"),
        "main": main,
        "feed": hose(),
        "rail": rail(),
        "injectors": (6, injectors()),
        "reg": regulator(),
    }
    joints = [
        ["tank.out", "lift.inlet"],
        ["lift.outlet", "lift-line.a"],
        ["lift-line.b", "surge.fill"],
        ["surge.feed", "suction.a"],
        ["suction.b", "main.inlet"],
        ["main.outlet", "feed.a"],
        ["feed.b", "rail.a"],
        ["rail.b", "reg.inlet"],
        ["reg.spill", "surge.back" if back_to == "surge" else "tank.in"],
        ["rail.seats", "injectors.inlet"],
    ]
    return body_of(parts, joints, return_system()["application"])


def test_a_lift_pump_must_beat_what_leaves_the_surge_tank_for_good() -> None:
    assert flow_rules(report_of(surge_system()), "error") == set()
    weak = [(0.0, 200.0), (20.0, 180.0), (60.0, 60.0)]
    assert "lift-pump-slower-than-the-engine" not in flow_rules(report_of(surge_system(lift=weak)))
    astray = report_of(surge_system(lift=weak, back_to="tank"))
    assert "lift-pump-slower-than-the-engine" in flow_rules(astray, "error")
    point = flow_of(surge_system()).points[0]
    assert [p.ref for p in point.pumps] == ["main", "lift"]


def test_a_small_surge_tank_is_told_in_seconds() -> None:
    report = report_of(surge_system(volume="0.3 L"))
    (found,) = [f for f in report.findings if f.rule == "surge-tank-small"]
    demand = flow_of(surge_system()).demand.volume.value
    assert found.because[0].value == pytest.approx(0.3 * 3600 / demand, rel=1e-3)


# Suction --------------------------------------------------------------------------------------


def test_pressure_before_an_external_pump_is_that_of_the_air_less_the_line() -> None:
    wide, narrow = surge_system(), with_parts(surge_system(), suction=hose("5 mm", "2 m"))
    pumps = {each.ref: each for each in flow_of(wide).points[0].pumps}
    assert pumps["main"].inlet_pressure.value == pytest.approx(1.013, abs=0.01)
    assert flow_rules(report_of(wide)) & {"suction-near-boiling", "suction-velocity-high"} == set()
    found = flow_rules(report_of(narrow), "warning")
    assert {"suction-near-boiling", "suction-velocity-high"} <= found


def test_altitude_and_heat_bring_the_fuel_to_boil() -> None:
    high = surge_system()
    high["application"]["ambient_pressure"] = "70 kPa"
    assert "suction-near-boiling" in flow_rules(report_of(high), "warning")
    hot = surge_system()
    hot["application"] |= {"fuel_temperature": "52 degC", "fuel": "E10"}
    assert "suction-near-boiling" in flow_rules(report_of(hot), "warning")


def test_a_suction_that_the_list_does_not_hold_is_not_guessed() -> None:
    body = surge_system()
    body["joints"] = [j for j in body["joints"] if j != ["suction.b", "main.inlet"]]
    report = report_of(body)
    assert report.flow is not None
    assert report.flow.points[0].held
    assert "suction line of main" in unknowns(report)


# Unknown data ---------------------------------------------------------------------------------


def test_a_size_is_no_bore_and_a_bracket_that_settles_the_answer_is_enough() -> None:
    body = return_system({"feed-1": hose_of_size("-6")})
    report = report_of(body)
    assert unknowns(report) == set()
    assert flow_rules(report) == set()
    assert report.flow is not None
    (bore,) = [u for u in report.flow.uncertain if u.of == "feed-1"]
    assert bore.least is not None
    assert bore.most is not None
    assert (bore.least.value, bore.most.value) == (7.94, 10.0)
    assert report.flow.supports_power_at_best is not None


def test_the_figures_shown_are_those_of_the_worse_end() -> None:
    bracketed = supported_kw(return_system({"feed-1": hose_of_size("-6")}))
    best = supported_kw(return_system({"feed-1": hose("10 mm")}))
    worst = supported_kw(return_system({"feed-1": hose("7.5 mm")}))
    assert worst < bracketed < best


def limits_of(bore: str) -> float:
    limit = study_of(return_system({"feed-1": hose(bore, "9 m")})).worst.limit.flow_lph  # type: ignore[union-attr]
    assert limit is not None
    return limit


def test_a_bracket_that_does_not_settle_the_answer_says_which_bore_is_missing() -> None:
    unmeasured = hose_of_size("-4", length="9 m")
    narrow, wide = limits_of("4.37 mm"), limits_of("6.3 mm")
    between_kw = 250 * (narrow + wide) / 2 / flow_of(return_system()).demand.volume.value
    report = report_of(return_system({"feed-1": unmeasured}, power=f"{between_kw:.1f} kW"))
    assert report.verdict == "cannot-tell"
    assert unknowns(report) == {"bore of feed-1, feed-1.a, feed-1.b"}
    assert "rail-pressure-not-held" not in flow_rules(report)


def test_what_fails_at_both_ends_of_a_bracket_fails() -> None:
    body = return_system({"feed-1": hose_of_size("-6")}, power="900 kW")
    assert "pump-short-at-pressure" in flow_rules(report_of(body), "error")


def test_a_bore_of_no_known_size_is_not_guessed() -> None:
    report = report_of(return_system({"feed-1": hose(bore=None)}))
    assert report.verdict == "cannot-tell"
    assert "bore of feed-1, feed-1.a, feed-1.b" in unknowns(report)
    assert report.flow is not None
    assert report.flow.points == ()
    assert report.flow.supports_power is None


@pytest.mark.parametrize(
    ("parts", "missing"),
    [
        ({"feed-1": hose(length=None)}, "length of feed-1"),
        ({"filter": fuel_filter([])}, "pressure drop of filter"),
        (
            {"filter": fuel_filter([(100, 3), (300, 2)])},
            "pressure drop that rises with the flow of filter",
        ),
        ({"rail": rail(bore=None)}, "bore of rail"),
        ({"pump": pump([])}, "flow curve of pump"),
        ({"pump": pump([curve([(300, 255)])])}, "flow at a second pressure of pump"),
        (
            {"pump": pump([curve([(0, 255), (300, 300)])])},
            "flow curve that falls with the pressure of pump",
        ),
        ({"pump": pump([curve(PUMP_13V5, None)])}, "test voltage of the flow curve of pump"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_nobody_recorded_is_named_and_never_a_number(
    parts: dict[str, Any], missing: str
) -> None:
    report = report_of(return_system(parts))
    assert report.verdict == "cannot-tell"
    assert missing in unknowns(report)
    assert report.flow is not None
    assert report.flow.points == ()
    assert report.flow.supports_power is None
    assert any(n.what == "flow and pressure drop" for n in report.not_checked)


@pytest.mark.parametrize(
    ("left_out", "missing"),
    [
        ("supply_voltage", "supply voltage of the application"),
        ("base_pressure", "base pressure of the application"),
        ("boost", "boost of the application"),
        ("induction", "induction of the application"),
    ],
)
def test_what_the_request_leaves_out_is_named(left_out: str, missing: str) -> None:
    body = return_system(**{left_out: None})
    assert missing in unknowns(report_of(body))


def test_a_pump_voltage_outside_its_data_is_never_extrapolated() -> None:
    report = report_of(return_system(supply_voltage="14.2 V"))
    assert "flow at 14.2 V of pump" in unknowns(report)
    assert report.flow is not None
    assert report.flow.points[0].rail_pressure is None
    assert "it was measured to 13.5 V" in str(report.flow.points[0].why)


def test_a_pressure_outside_the_pump_s_data_is_never_extrapolated() -> None:
    short = pump([curve(PUMP_13V5[:2])])
    report = report_of(return_system({"pump": short}))
    assert report.verdict == "cannot-tell"
    assert any(missing.startswith("flow at 4.") for missing in unknowns(report))


def test_a_flow_outside_a_filter_s_data_is_never_extrapolated() -> None:
    report = report_of(return_system({"filter": fuel_filter([(50, 1), (100, 2)])}))
    assert any(missing.startswith("pressure drop at 2") for missing in unknowns(report))


def test_a_hose_of_no_length_is_refused_with_the_request() -> None:
    with pytest.raises(ValidationError, match="above 0"):
        Request.model_validate(return_system({"feed-1": hose(length="0 mm")}))


def test_a_filter_the_wrong_way_round_gets_its_finding_and_no_number() -> None:
    body = return_system()
    body["joints"] = [
        *(j for j in body["joints"] if "filter.inlet" not in j and "filter.outlet" not in j),
        ["feed-1.b", "filter.outlet"],
        ["filter.inlet", "feed-2.a"],
    ]
    report = report_of(body)
    assert "flow-direction-reversed" in {f.rule for f in report.findings}
    assert any("`filter` is the wrong way round" in n.why for n in report.not_checked)
    assert unknowns(report) == set()
    assert report.flow is not None
    assert report.flow.points == ()


def test_a_circuit_without_a_pump_cannot_be_told() -> None:
    body = return_system()
    body["items"] = [item for item in body["items"] if item["ref"] != "pump"]
    body["joints"] = [joint for joint in body["joints"] if "pump.outlet" not in joint]
    report = report_of(body)
    assert report.verdict == "cannot-tell"
    assert "pump and its curve of the car" in unknowns(report)
    assert report.flow is not None
    assert report.flow.points == ()


def test_joints_that_lead_nowhere_cannot_be_told() -> None:
    body = return_system()
    body["joints"].remove(["feed-1.b", "filter.inlet"])
    report = report_of(body)
    assert any("lead from a pump" in n.why for n in report.not_checked)
    assert "joints that lead from the pump to the injectors of the list" in unknowns(report)


def test_a_return_that_leaves_the_list_leaves_idle_open_and_full_load_told() -> None:
    body = return_system()
    body["joints"].remove(["back.b", "hat.return"])
    body["outside"] = [{"port": "back.b", "to": "return line of the car"}]
    report = report_of(body)
    assert unknowns(report) == {"line beyond it of back.b"}
    assert report.flow is not None
    assert report.flow.points[0].held


def test_a_regulator_of_unknown_seat_leaves_idle_open_unless_its_maker_states_a_flow() -> None:
    unknown = regulator(seat_bore=None, maximum_flow=None)
    report = report_of(return_system({"reg": unknown}))
    assert unknowns(report) == {"seat bore or highest flow of reg"}
    stated = regulator(seat_bore=None)
    assert unknowns(report_of(return_system({"reg": stated}))) == set()


def test_power_of_unknown_place_is_told_where_crank_and_wheels_agree() -> None:
    easy = report_of(return_system(power="150 kW", power_at=None))
    assert unknowns(easy) == set()
    limit = supported_kw(return_system())
    hard = report_of(return_system(power=f"{0.95 * limit:.1f} kW", power_at=None))
    missing = "where the power is measured (crank or wheels) of the application"
    assert missing in unknowns(hard)
    hopeless = report_of(return_system(power="900 kW", power_at=None))
    assert "pump-short-at-pressure" in flow_rules(hopeless, "error")


def test_injectors_without_a_rating_pressure_are_not_judged() -> None:
    body = with_parts(return_system(), injectors=(6, injectors(flow_pressure=None)))
    report = report_of(body)
    assert "pressure the flow was measured at of injectors" in unknowns(report)
    assert report.flow is not None
    assert report.flow.injectors is None
    assert report.flow.supports_power is not None


def test_injectors_of_unknown_test_fluid_are_judged_at_both() -> None:
    def duty_of(**spec: Any) -> float:
        flow = flow_of(with_parts(return_system(), injectors=(6, injectors("600 cc/min", **spec))))
        assert flow.injectors is not None
        return flow.injectors.duty

    assert duty_of(test_fluid_density=None) == duty_of(test_fluid_density="683.9 kg/m3")
    at_limit = injectors("410 cc/min", test_fluid_density=None)
    report = report_of(with_parts(return_system(), injectors=(6, at_limit)))
    assert "test fluid density of injectors" in unknowns(report)


def test_a_consumption_that_no_engine_has_is_refused_by_its_field() -> None:
    with pytest.raises(AssemblyFaults) as raised:
        report_of(return_system(consumption="0.05 kg/kWh"))
    (fault,) = raised.value.faults
    assert fault.pointer == "/application/consumption"
    assert "without any loss" in fault.detail


def test_a_fuel_temperature_outside_the_data_is_not_guessed() -> None:
    report = report_of(return_system(fuel_temperature="120 degC"))
    assert report.flow is None
    asked = "density at 120 degC (known from -20 to 90 degC) of E0"
    assert asked in unknowns(report)
    assert f"{asked} is not recorded" in {n.why for n in report.not_checked}
    (finding,) = [f for f in report.findings if asked in f.message]
    assert "State a fuel temperature from -20 to 90 degC" in finding.remedy.text


def test_what_does_not_flow_is_shown_as_nothing() -> None:
    for body in (return_system(), returnless_system(), return_system(power="600 kW")):
        for point in flow_of(body).points:
            flows = [point.pump_flow, point.burnt, point.goes_back]
            flows += [drop.flow for drop in point.drops] + [joint.flow for joint in point.joints]
            shown = [abs(flow.value) for flow in flows if flow is not None]
            assert all(value == 0.0 or value > 1e-3 for value in shown)


def test_without_a_figure_of_the_pump_or_filter_the_rest_is_still_told() -> None:
    one_point = {"voltage": "13.5 V", "points": [{"pressure": "3 bar", "flow": "340 L/h"}]}
    for name, body, lacking in (
        ("pump", with_parts(return_system(), pump=pump([one_point])), "flow at a second pressure"),
        ("filter", with_parts(return_system(), filter=fuel_filter([])), "pressure drop"),
    ):
        report = report_of(body)
        assert report.flow is not None, name
        assert report.flow.demand.volume.value > 0
        assert report.flow.injectors is not None
        assert f"{lacking} of {name}" in unknowns(report)
        (why,) = [n.why for n in report.not_checked if n.what == "flow and pressure drop"]
        assert why == f"{lacking} of {name} is not recorded"


class TestBoostAndInduction:
    RULE = "boost-without-a-blower"

    def test_boost_of_an_engine_without_a_blower_is_questioned_and_reckoned_with(self) -> None:
        report = report_of(return_system(induction="naturally-aspirated", boost="0.8 bar"))
        (caution,) = [f for f in report.findings if f.rule == self.RULE]
        assert caution.severity == "warning"
        assert "0.8 bar" in caution.message
        assert "induction that agrees with the boost of the application" in unknowns(report)
        facts = facts_of(return_system(induction="naturally-aspirated", boost="0.8 bar"))
        assert (facts.boosted, facts.peak_pressure_kpa) == (True, pytest.approx(380.0))

    @pytest.mark.parametrize(
        ("stated", "boosted"),
        [
            ({"induction": "naturally-aspirated"}, False),
            ({"induction": "naturally-aspirated", "boost": "0 bar"}, False),
            ({"induction": "turbo", "boost": "0.8 bar"}, True),
        ],
    )
    def test_what_agrees_is_not(self, stated: dict[str, str], boosted: bool) -> None:
        body = return_system()
        del body["application"]["boost"]
        body["application"].update(stated)
        assert self.RULE not in {f.rule for f in report_of(body).findings}
        assert facts_of(body).boosted is boosted

    def test_boost_by_itself_says_that_the_engine_is_boosted(self) -> None:
        body = return_system(boost="0.8 bar")
        del body["application"]["induction"]
        assert facts_of(body).boosted is True
        assert self.RULE not in {f.rule for f in report_of(body).findings}
        assert "induction of the application" in unknowns(report_of(body))


def facts_of(body: dict[str, Any]) -> AppFacts:
    return application_facts(place(Request.model_validate(body), EMPTY_SHOP))


def test_what_needs_no_flow_is_told_without_it() -> None:
    blind = {"pump": pump([])}
    surge = surge_system(volume="0.3 L")
    for item in surge["items"]:
        if item["ref"] == "main":
            item["component"]["spec"]["curves"] = None
    assert "surge-tank-small" in flow_rules(report_of(surge))
    assert "pump-dead-headed" in flow_rules(report_of(returnless_system(blind | {"hat": hat()})))
    elsewhere = return_system(blind, base_pressure="6 bar")
    assert "base-pressure-outside-regulator" in flow_rules(report_of(elsewhere))
    small = return_system(blind | {"injectors": (6, injectors("300 cc/min"))})
    assert "injectors-too-small" in flow_rules(report_of(small))


# Operating points -----------------------------------------------------------------------------


def test_the_usual_operating_points_and_those_the_caller_names() -> None:
    body = return_system(
        operating_points=[{"name": "long hill", "power": "200 kW", "supply_voltage": "12.5 V"}]
    )
    points = {point.name: point for point in flow_of(body).points}
    assert list(points) == [
        "full load",
        "peak torque",
        "part load",
        "idle",
        "low voltage",
        "hot fuel",
        "cold fuel",
        "long hill",
    ]
    assert points["long hill"].burnt is not None
    assert points["full load"].burnt is not None
    assert points["long hill"].burnt.value == pytest.approx(
        0.8 * points["full load"].burnt.value, rel=0.01
    )
    assert points["idle"].target.value == pytest.approx(2.4)
    assert points["hot fuel"].fuel_temperature.value == 40
    assert points["low voltage"].voltage is not None
    assert points["low voltage"].voltage.value == 12


def test_usual_points_that_the_pump_was_not_measured_for_are_left_out_and_named() -> None:
    report = report_of(return_system({"pump": pump([curve(PUMP_13V5)])}))
    left_out = {n.what: n.why for n in report.not_checked if n.what.startswith("flow: ")}
    assert set(left_out) == {"flow: cranking", "flow: low voltage"}
    assert "was measured at 13.5 V, not at 12 V" in left_out["flow: low voltage"]
    cranks = pump([curve([(0, 300), (600, 150)], "10 V"), curve(PUMP_13V5)])
    assert "cranking" in [p.name for p in flow_of(return_system({"pump": cranks})).points]


def test_vacuum_takes_the_rail_down_at_idle_and_boost_up_at_full_load() -> None:
    points = {p.name: p for p in flow_of(return_system(idle_vacuum="50 kPa")).points}
    assert points["idle"].target.value == pytest.approx(2.5)
    assert points["full load"].target.value == pytest.approx(4.0)
    unreferenced = regulator(reference="atmosphere")
    points = {p.name: p for p in flow_of(return_system({"reg": unreferenced})).points}
    assert {point.target.value for point in points.values()} == {3.0}


def test_a_reference_port_that_is_joined_to_nothing_does_not_follow() -> None:
    sensing = regulator()
    sensing["ports"].append(port("reference", "sense", "3 mm"))
    body = return_system({"reg": sensing})
    assert flow_of(body).points[0].target.value == 3.0
    body["outside"] = [{"port": "reg.reference", "to": "manifold"}]
    assert flow_of(body).points[0].target.value == 4.0


def test_injectors_see_what_boost_leaves_them() -> None:
    flow = flow_of(return_system({"reg": regulator(reference="atmosphere")}))
    follows = flow_of(return_system())
    assert flow.injectors is not None
    assert follows.injectors is not None
    assert flow.injectors.pressure_across.value == 2.0
    assert flow.injectors.duty == pytest.approx(follows.injectors.duty * 1.5**0.5, rel=2e-3)


def test_what_boost_leaves_across_the_injectors_is_told_whatever_they_are() -> None:
    unrated = (6, injectors(flow_pressure=None))
    body = return_system({"reg": regulator(reference="atmosphere"), "injectors": unrated})
    (found,) = [f for f in report_of(body).findings if "follow-boost" in f.rule]
    assert found.subject.refs == ("reg",)
    assert found.message.startswith("reg does not follow boost: 2 bar are left")


def test_boost_above_the_rail_s_pressure_is_told() -> None:
    body = return_system({"reg": regulator(reference="atmosphere")}, boost="4 bar")
    report = report_of(body)
    assert any("boost is as high as" in n.why for n in report.not_checked)
    assert "regulator that follows boost of the list" in unknowns(report)


# Limits ---------------------------------------------------------------------------------------


def test_at_its_limit_the_rail_is_just_held() -> None:
    limit = supported_kw(return_system())
    above = figures_of(return_system(power=f"{1.01 * limit:.1f} kW"))
    below = figures_of(return_system(power=f"{0.99 * limit:.1f} kW"))
    # A twentieth of the base pressure of 3 bar may be missing of 4 bar.
    assert below.rail_kpa(below.end.full_load) > 385  # type: ignore[operator]
    assert above.rail_kpa(above.end.full_load) < 385  # type: ignore[operator]


def test_no_perfect_part_makes_it_worse_and_all_together_do_best() -> None:
    end = study_of(return_system()).best
    assert end is not None
    now, best = end.limit.flow_lph, end.pump_limit.flow_lph
    assert now is not None
    assert best is not None
    for ref, limit in end.perfect.items():
        assert limit.flow_lph is not None
        assert limit.flow_lph >= now - 1e-6, ref
        if ref != "pump":
            assert limit.flow_lph <= best + 1e-6, ref
    assert best > now
    assert ALL_PARTS not in end.perfect


def test_with_a_part_perfect_the_limit_is_that_of_the_system_without_it() -> None:
    end = study_of(return_system()).best
    assert end is not None
    body = return_system()
    body["items"] = [item for item in body["items"] if item["ref"] != "filter"]
    body["joints"] = [
        *(j for j in body["joints"] if not any(port.startswith("filter") for port in j)),
        ["feed-1.b", "feed-2.a"],
    ]
    without = study_of(body).best
    assert without is not None
    assert end.perfect["filter"].flow_lph == pytest.approx(without.limit.flow_lph, rel=1e-3)


def test_what_limits_is_named_first_and_the_next_behind_it() -> None:
    small = with_parts(return_system(), injectors=(6, injectors("300 cc/min")))
    flow = flow_of(small)
    assert flow.limited_by[0].ref == "injectors"
    assert flow.limited_by[0].supports_power_without_it is not None
    assert flow.limited_by[0].limits_next == "pump"
    assert flow.supports_power is not None
    assert flow.limited_by[0].supports_power_without_it.value > flow.supports_power.value
    large = with_parts(return_system(), injectors=(6, injectors("3000 cc/min")))
    refs = [limit.ref for limit in flow_of(large).limited_by]
    assert refs[0] == "pump"
    assert "injectors" not in refs


def test_the_duty_limit_is_the_caller_s() -> None:
    usual, strict = flow_of(return_system()), flow_of(return_system(duty_limit_percent=70))
    assert usual.injectors is not None
    assert strict.injectors is not None
    assert usual.injectors.duty == strict.injectors.duty
    ratio = strict.injectors.supports_power.value / usual.injectors.supports_power.value
    assert ratio == pytest.approx(0.70 / 0.85, rel=1e-3)


def test_a_pump_draws_what_its_curve_says_at_its_working_point() -> None:
    figures = figures_of(return_system())
    pump_piece = figures.end.plan.feed_pumps[0]
    row = figures.end.full_load
    outlet = figures.outlet_kpa(row)
    assert outlet is not None
    assert figures.current_a(pump_piece, row) == pytest.approx(4 + 0.015 * outlet, rel=1e-3)
    low = figures.end.row("low-voltage")
    assert low is not None
    assert figures.current_a(pump_piece, low) is not None
    idle = figures.end.row("idle")
    assert idle is not None
    current = figures.current_a(pump_piece, idle)
    assert current is not None
    assert flow_of(return_system()).pump_heat is not None
    assert flow_of(return_system()).pump_heat.value == pytest.approx(13.5 * current, rel=1e-3)  # type: ignore[union-attr]


# Rules, each brought about by an assembly -----------------------------------------------------


def _case(rule: str, body: dict[str, Any]) -> Any:
    return pytest.param(rule, body, id=rule)


def _with_voltage_hungry_pump() -> dict[str, Any]:
    return return_system({"pump": pump([curve([(0, 200), (600, 40)], "12 V"), curve(PUMP_13V5)])})


def _outside_in_the_cold() -> dict[str, Any]:
    """E98, whose viscosity doubles in the cold, in a return that is only just wide enough warm."""
    return return_system(
        {"back": hose("5.3 mm", "6 m"), "reg": regulator(seat_bore="9 mm")}, fuel="E98"
    )


RULES = [
    _case("pump-short-at-pressure", return_system(power="700 kW")),
    _case("rail-pressure-not-held", return_system({"feed-1": hose("5 mm", "9 m")}, power="550 kW")),
    _case("supply-without-margin", return_system(power="550 kW")),
    _case("feed-drop-high", return_system({"feed-1": hose("6 mm", "6 m")})),
    _case(
        "fuel-pressure-does-not-follow-boost",
        return_system({"reg": regulator(reference="atmosphere")}),
    ),
    _case("last-injectors-get-less", return_system({"rail": rail(bore="4 mm")})),
    _case("pump-dead-headed", returnless_system({"hat": hat()})),
    _case("nothing-holds-pressure-for-restart", return_system({"pump": pump(check_valve=False)})),
    _case(
        "lift-pump-slower-than-the-engine",
        surge_system(lift=[(0.0, 90.0), (20.0, 60.0), (60.0, 10.0)]),
    ),
    _case("surge-tank-small", surge_system(volume="0.3 L")),
    _case("rail-sags-at-low-voltage", _with_voltage_hungry_pump()),
    _case("rail-sags-on-hot-fuel", return_system(power="610 kW")),
    _case(
        "rail-sags-at-named-point",
        return_system(operating_points=[{"name": "all out", "power": "800 kW"}]),
    ),
    _case(
        "rail-sags-when-cranking",
        return_system({"pump": pump([curve([(0, 60), (250, 1)], "10 V"), curve(PUMP_13V5)])}),
    ),
    _case("return-sets-the-floor", return_system({"back": hose("4 mm", "4 m")})),
    _case("return-sets-the-floor-in-the-cold", _outside_in_the_cold()),
    _case(
        "injectors-too-small", with_parts(return_system(), injectors=(6, injectors("300 cc/min")))
    ),
    _case(
        "injector-duty-above-limit",
        with_parts(return_system(), injectors=(6, injectors("400 cc/min"))),
    ),
    _case("regulator-over-its-flow", return_system({"reg": regulator(maximum_flow="250 L/h")})),
    _case("base-pressure-outside-regulator", return_system(base_pressure="6 bar")),
    _case("filter-drop-high", return_system({"filter": fuel_filter([(100, 10), (600, 150)])})),
    _case("narrow-part-in-a-wide-line", return_system({"hat": hat("5 mm")})),
    _case("suction-near-boiling", with_parts(surge_system(), suction=hose("5 mm", "2 m"))),
    _case("suction-velocity-high", with_parts(surge_system(), suction=hose("8 mm", "0.3 m"))),
    _case("feed-velocity-high", return_system({"feed-2": hose("4 mm", "0.1 m")})),
    _case("jet-drive-starved", with_jet(nozzle_bore="0.4 mm")),
    _case("pump-current-near-limit", return_system({"pump": pump(maximum_current="11 A")})),
    _case("pump-curve-voltage-unstated", return_system({"pump": pump([curve(PUMP_13V5, None)])})),
    _case(
        "pump-relief-below-working-point",
        return_system({"pump": pump(relief_pressure="4.8 bar"), "feed-1": hose("5 mm", "6 m")}),
    ),
    _case("pump-heats-the-fuel", return_system({"pump": (2, pump()), "filter": LARGE_FILTER})),
]


@pytest.mark.parametrize(("rule", "body"), RULES)
def test_an_assembly_with_this_fault_gets_this_finding(rule: str, body: dict[str, Any]) -> None:
    assert rule in flow_rules(report_of(body))


def test_every_rule_of_the_family_is_brought_about_by_an_assembly() -> None:
    brought_about = {param.values[0] for param in RULES}
    assert {rule.id for rule in BOOK.rules if rule.family == "flow"} == brought_about


def test_a_sound_system_draws_no_finding_about_its_flow() -> None:
    for body in (return_system(), returnless_system(), controlled(), surge_system()):
        report = report_of(body)
        assert flow_rules(report) == set()
        assert unknowns(report) == set()


# Facts ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "body", [param.values[1] for param in RULES], ids=[str(param.id) for param in RULES]
)
def test_facts_of_flow_suit_their_schema(body: dict[str, Any]) -> None:
    faults = []
    circuit = place(Request.model_validate(body), EMPTY_SHOP)
    app = application_facts(circuit)
    for case in cases(circuit, app, study(circuit, app)):
        for facts in (case.facts, *case.alternatives):
            faults += SUBJECTS[case.about].schema.faults_of(facts)  # type: ignore[arg-type]
    assert faults == []


@pytest.mark.parametrize("demo", demo_assemblies(), ids=lambda demo: demo.slug)
def test_every_demo_is_told_or_says_why_not(demo: Any) -> None:
    report = check(demo.request, SHOP, BOOK)
    assert report.flow is not None
    untold = [n for n in report.not_checked if n.what == "flow and pressure drop"]
    assert bool(report.flow.points) != bool(untold)


def test_every_solved_demo_balances_at_every_joint() -> None:
    for demo in demo_assemblies():
        circuit = place(demo.request, SHOP)
        found = study(circuit, application_facts(circuit))
        if found.best is None:
            continue
        solution = found.best.batch.solution
        assert abs(solution.mass_residuals_lph).max() < 1e-4
        figures = Figures(found.best, found.best_injectors)
        for row in range(len(found.best.states)):
            pumped, burnt = figures.pump_lph(row), figures.burnt_lph(row)
            back = figures.spilled_lph(row)
            assert pumped == pytest.approx(burnt + back, abs=0.01)  # type: ignore[operator]
