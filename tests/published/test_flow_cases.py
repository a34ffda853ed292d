"""Questions of the trade about flow, with the numbers of their answers.

Cases are those of `cases.jsonl`, by their ids; worked cases are end-to-end sums of pump, injector
and return, from published heating values and textbook friction, with pumps that are invented
(`invented_pumps.csv`). A tolerance says how closely the case's own figures were rounded, or how far
its simpler formula (friction of smooth pipes after Blasius, one density for all petrol) stands
apart.
"""

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from rules import fuel
from rules.assembly import Request
from rules.circuit import place
from rules.facts.flow import Figures
from rules.facts.flow.demand import needs_of
from rules.facts.flow.practice import SEAT_DISCHARGE
from rules.fuel import Blend
from rules.hydraulics import FixedPressure, Junction, Network, Pipe, Points, Pump, PumpCurve, solve
from rules.report import Flow, Report
from tests.rules.flow_systems import (
    EMPTY_SHOP,
    body_of,
    figures_of,
    flow_of,
    flow_rules,
    fuel_filter,
    hat,
    hose,
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
)

PSI = 6.894757
HP = 0.7456999
LB_HP_H = 0.6082774  # kg/kWh
US_GPH = 3.785412

E83 = Blend(83)


def psi_curve(points: list[tuple[float, float]], voltage: str | None = "13.5 V") -> dict[str, Any]:
    """A pump curve as makers print it: psi and L/h."""
    return {
        "voltage": voltage,
        "points": [{"pressure": f"{psi:.2f} psi", "flow": f"{lph:.2f} L/h"} for psi, lph in points],
    }


def flat_pump(lph: float, most_kpa: float = 900.0) -> dict[str, Any]:
    """A pump that delivers about the same at any pressure."""
    points = [(0.0, lph * 1.002), (most_kpa / PSI, lph * 0.998)]
    return pump([psi_curve(points), psi_curve(points, "12 V")])


def duct_drop_kpa(flow_lph: float, bore_mm: float, length_m: float, blend: Blend) -> float:
    """What a smooth tube costs at 20 degC."""
    tube = Pipe("tube", "in", "out", length_m * 1000, bore_mm, 0.0015)
    network = Network([FixedPressure("in", 1000.0), Junction("out", flow_lph)], [tube])
    points = Points(blend.density_kg_m3(20), blend.dynamic_viscosity_mpas(20))
    return float(solve(network, points).drop_kpa("tube")[0])


def consumption(lb_hp_h: float) -> str:
    return f"{lb_hp_h * LB_HP_H:.5f} kg/kWh"


def told(flow: Flow) -> Any:
    assert flow.injectors is not None
    return flow.injectors


# FC-053: a pump that passes at one base pressure and fails at another ------------------------


CURVE_053 = [(45.0, 164.0), (60.0, 145.0)]


def pump_053(base_psi: float, voltage: str | None) -> dict[str, Any]:
    # The engine's maker asks for 40 US gal/h, whatever its power: stated as a consumption.
    lph = 40 * US_GPH
    stated = lph * 0.7454 / 250
    return return_system(
        {"pump": pump([psi_curve(CURVE_053, voltage)]), "feed-1": hose("10 mm", "1 m")},
        fuel="E10",
        power="250 kW",
        consumption=f"{stated:.5f} kg/kWh",
        induction="naturally-aspirated",
        boost=None,
        base_pressure=f"{base_psi} psi",
    )


def test_fc_053_between_two_points_of_the_curve() -> None:
    curve = PumpCurve([p * PSI for p, _ in CURVE_053], [q for _, q in CURVE_053])
    network = Network(
        [FixedPressure("tank"), FixedPressure("rail")], [Pump("p", "tank", "rail", [curve])]
    )
    points = Points(745.0, 0.5, fixed_pressure_kpa={"rail": [43.5 * PSI, 58 * PSI]})
    solution = solve(network, points)
    assert solution.flow_lph("p")[1] == pytest.approx(147.53, abs=0.01)
    assert "it was measured" in solution.reason(0) or "data end" in solution.reason(0)


def test_fc_053_the_verdict_flips_with_the_base_pressure() -> None:
    assert "pump-short-at-pressure" in flow_rules(report_of(pump_053(58, "13.5 V")), "error")
    at_45 = report_of(pump_053(45, "13.5 V"))
    assert "pump-short-at-pressure" not in flow_rules(at_45)
    assert "supply-without-margin" in flow_rules(at_45, "warning")


def test_fc_053_without_its_test_voltage_the_curve_answers_nothing() -> None:
    """The case warns; by its own caveat the missing voltage moves the flow by 10 to 20 %, more than
    what parts the two answers. So the warning is there, and the verdict waits for the voltage."""
    report = report_of(pump_053(43.5, None))
    assert report.verdict == "cannot-tell"
    assert "pump-curve-voltage-unstated" in flow_rules(report, "warning")
    assert "test voltage of the flow curve of pump" in unknowns(report)


# FC-054: an E85 four with margin --------------------------------------------------------------


def test_fc_054_naturally_aspirated_e85_four() -> None:
    body = returnless_system(
        {
            "pump": pump(
                [
                    psi_curve([(40, 340), (60, 305), (80, 270)]),
                    psi_curve([(40, 300), (60, 268), (80, 235)], "12 V"),
                ]
            ),
            "hat": hat(),
            "rail": rail(4),
            "injectors": (
                4,
                injectors("550 cc/min", flow_pressure="43.5 psi", test_fluid_density="783 kg/m3"),
            ),
        },
        fuel={"ethanol_percent": 85},
        power="250 hp",
        power_at="wheels",
        consumption=consumption(0.65),
        base_pressure="58 psi",
        pump_control="speed-controlled",
    )
    report = report_of(body)
    assert flow_rules(report) == set()
    flow = flow_of(body)
    assert flow.demand.volume.value == pytest.approx(110.7, rel=0.01)
    assert told(flow).duty == pytest.approx(0.727, abs=0.008)
    assert told(flow).static_flow.value == pytest.approx(635, rel=0.005)


# FC-056: a small pump and a blower ------------------------------------------------------------


@pytest.mark.parametrize(("lph", "horsepower"), [(60, 148.7), (88, 218)])
def test_fc_056_what_a_small_pump_supports_on_boost(lph: float, horsepower: float) -> None:
    body = return_system(
        {"pump": flat_pump(lph)},
        power="300 hp",
        induction="supercharged",
        boost="0.6 bar",
        consumption=consumption(0.65),
    )
    report = report_of(body)
    assert "pump-short-at-pressure" in flow_rules(report, "error")
    assert report.flow is not None
    assert report.flow.demand.volume.value == pytest.approx(121.0, rel=0.02)
    assert report.flow.supports_power is not None
    assert report.flow.supports_power.value / HP == pytest.approx(horsepower, rel=0.02)


# FC-057: injectors held open all the time -----------------------------------------------------


def eight_of_36(**application: Any) -> dict[str, Any]:
    cc_min = fuel.cc_min_from_lb_h(36, 740.5)
    return return_system(
        {
            "rail": rail(8),
            "injectors": (
                8,
                injectors(
                    f"{cc_min:.2f} cc/min", flow_pressure="43 psi", test_fluid_density="740.5 kg/m3"
                ),
            ),
        },
        base_pressure="43 psi",
        **application,
    )


def test_fc_057_power_at_85_percent_duty_and_not_at_100() -> None:
    body = eight_of_36(
        induction="naturally-aspirated", boost=None, consumption=consumption(0.5), power="490 hp"
    )
    injecting = told(flow_of(body))
    assert injecting.supports_power.value / HP == pytest.approx(489.6, rel=1e-3)
    assert injecting.duty == pytest.approx(0.85, abs=0.002)


def test_fc_057_six_hundred_boosted_horsepower_are_out_of_reach() -> None:
    body = eight_of_36(induction="supercharged", consumption=consumption(0.55), power="600 hp")
    report = report_of(body)
    assert "injectors-too-small" in flow_rules(report, "error")
    # 48.5 lb/h would do at 85 percent.
    assert told(flow_of(body)).duty == pytest.approx(0.85 * 48.5 / 36, rel=0.003)


# FC-058, FC-060, FC-109: the square root of pressure -----------------------------------------


def test_fc_058_half_as_much_pressure_again_is_22_percent_of_flow() -> None:
    low, high = (
        told(flow_of(return_system(base_pressure=base, boost="1.2 bar"))).static_flow.value
        for base in ("3 bar", "4.5 bar")
    )
    assert high / low == pytest.approx(1.225, abs=0.001)


def test_fc_058_the_pump_must_hold_the_raised_peak() -> None:
    small = pump(
        [
            psi_curve([(0, 180), (43.5, 160), (60, 120), (70, 20)]),
            psi_curve([(0, 160), (43.5, 140), (60, 100), (70, 10)], "12 V"),
        ]
    )
    asked = {"power": "180 hp", "boost": "1.2 bar"}
    raised = return_system({"pump": small, "rail": rail(4)}, base_pressure="4.5 bar", **asked)
    assert flow_of(raised).points[0].target.value == pytest.approx(5.7)
    assert report_of(raised).verdict in ("cannot-tell", "does-not-fit")
    usual = return_system({"pump": small, "rail": rail(4)}, base_pressure="3 bar", **asked)
    assert "pump-short-at-pressure" not in flow_rules(report_of(usual), "error")


def unreferenced_v8() -> dict[str, Any]:
    """Eight injectors of 60 lb/h, sized at 58 psi for 85 percent duty, on 20 psi of boost."""
    cc_min = fuel.cc_min_from_lb_h(60, 740.5)
    horsepower = 8 * 60 * 0.85 / 0.6
    return returnless_system(
        {
            "pump": flat_pump(500),
            "hat": hat(built_in_regulator=True, built_in_set_pressure="58 psi"),
            "feed": hose("10 mm", "3 m"),
            "rail": rail(8),
            "injectors": (
                8,
                injectors(
                    f"{cc_min:.2f} cc/min", flow_pressure="58 psi", test_fluid_density="740.5 kg/m3"
                ),
            ),
        },
        induction="supercharged",
        boost="20 psi",
        base_pressure="58 psi",
        power=f"{horsepower:.1f} hp",
        consumption=consumption(0.6),
    )


def test_fc_060_a_fixed_pressure_on_boost_leaves_38_psi() -> None:
    report = report_of(unreferenced_v8())
    assert {"fuel-pressure-does-not-follow-boost"} <= flow_rules(report, "warning")
    assert {"injectors-too-small"} <= flow_rules(report, "error")
    injecting = told(flow_of(unreferenced_v8()))
    assert injecting.pressure_across.value * 100 / PSI == pytest.approx(38, abs=0.1)
    lb_h = fuel.lb_h_from_cc_min(injecting.static_flow.value, 740.5)
    assert lb_h == pytest.approx(48.57, rel=2e-3)
    assert injecting.duty == pytest.approx(0.85 / 0.8094, rel=2e-3)


def test_fc_109_without_its_reference_the_injectors_pass_77_percent() -> None:
    asked = {"base_pressure": "43.5 psi", "boost": "18 psi"}
    blind = told(flow_of(return_system({"reg": regulator(reference="atmosphere")}, **asked)))
    sighted = told(flow_of(return_system(**asked)))
    assert blind.static_flow.value / sighted.static_flow.value == pytest.approx(0.766, abs=0.001)


# FC-062: two large pumps, one regulator -------------------------------------------------------


def twin_pumps(return_bore: str) -> dict[str, Any]:
    curves = [
        psi_curve([(0, 466), (40, 465), (110, 464)]),
        psi_curve([(0, 416), (40, 415), (110, 414)], "12 V"),
    ]
    return return_system(
        {
            "pump": (2, pump(curves)),
            "hat": hat("12 mm"),
            "feed-1": hose("12 mm", "3 m"),
            "feed-2": hose("12 mm", "1 m"),
            "filter": fuel_filter([(100, 1), (1200, 20)]),
            "reg": regulator(maximum_flow=f"{150 * US_GPH:.1f} L/h", seat_bore="5.5 mm"),
            "back": hose(return_bore, "4.5 m"),
        },
        fuel={"ethanol_percent": 85},
        power="1100 hp",
        base_pressure="43.5 psi",
        idle_vacuum="10 psi",
    )


def test_fc_062_the_return_holds_the_rail_up_and_the_regulator_is_overrun() -> None:
    body = twin_pumps("6.5 mm")
    report = report_of(body)
    assert {"regulator-over-its-flow", "return-sets-the-floor"} <= flow_rules(report, "error")
    (over,) = [f for f in report.findings if f.rule == "regulator-over-its-flow"]
    facts = {e.fact: e.value for e in over.because}
    overload = float(facts["flow through it at idle"]) / float(facts["highest flow it regulates"])  # type: ignore[arg-type]
    assert overload == pytest.approx(1.64, abs=0.03)
    idle = {p.name: p for p in flow_of(body).points}["idle"]
    assert idle.rail_pressure is not None
    assert 60 <= idle.rail_pressure.value * 100 / PSI <= 75


def test_fc_062_a_size_8_return_lets_it_down_again() -> None:
    body = twin_pumps("10.3 mm")
    assert "return-sets-the-floor" not in flow_rules(report_of(body))
    figures = figures_of(body)
    idle = figures.end.row("idle")
    assert idle is not None
    drop = figures.return_drop_kpa(idle)
    assert drop is not None
    # Five to six psi in the hose, what its ends and the hat add, and 15 in the seat: below the 33.5
    # that are set.
    assert 5.0 < drop / PSI < 9.0


@pytest.mark.parametrize(("bore_mm", "psi"), [(6.5, 44.3), (8.7, 11.1), (7.9, 17.5), (10.3, 5.0)])
def test_fc_062_what_930_litres_cost_by_bore(bore_mm: float, psi: float) -> None:
    assert duct_drop_kpa(930, bore_mm, 4.5, Blend(0)) / PSI == pytest.approx(psi, rel=0.10)


def test_fc_062_what_the_seat_costs_wide_open() -> None:
    area = 3.141593 / 4 * 0.0055**2
    velocity = 930 / 3.6e6 / area
    kpa = 740.5 * velocity**2 / 2000 / SEAT_DISCHARGE**2
    assert kpa / PSI == pytest.approx(15.1, rel=0.02)


# FC-064, FC-065: what sags, and what does not -------------------------------------------------


def test_fc_064_pressure_that_falls_with_load_is_a_pump_at_its_end() -> None:
    old = pump(
        [
            psi_curve([(0, 230), (45, 190), (75, 150)]),
            psi_curve([(0, 200), (45, 165), (75, 130)], "12 V"),
        ]
    )
    body = return_system({"pump": old}, power="450 kW", boost="1 bar")
    report = report_of(body)
    assert flow_rules(report, "error") & {"pump-short-at-pressure", "rail-pressure-not-held"}
    points = {point.name: point for point in flow_of(body).points}
    assert points["part load"].held
    assert points["full load"].held is False


def test_fc_065_the_injectors_are_ruled_out_by_arithmetic_and_the_rest_is_asked_for() -> None:
    kept = pump([])
    parts = {
        "pump": kept,
        "hat": hat(),
        "feed": hose(),
        "rail-p": rail(2),
        "rail-s": rail(2),
        "primary": (
            2,
            injectors("550 cc/min", flow_pressure="43.5 psi", test_fluid_density="745.4 kg/m3"),
        ),
        "secondary": (
            2,
            injectors("1600 cc/min", flow_pressure="43.5 psi", test_fluid_density="745.4 kg/m3"),
        ),
        "reg": regulator(),
    }
    joints = [
        ["pump.outlet", "hat.pump"],
        ["hat.feed", "feed.a"],
        ["feed.b", "rail-p.a"],
        ["rail-p.b", "rail-s.a"],
        ["rail-s.b", "reg.inlet"],
        ["reg.spill", "hat.return"],
        ["rail-p.seats", "primary.inlet"],
        ["rail-s.seats", "secondary.inlet"],
    ]
    application = return_system(
        fuel="E10",
        power="350 hp",
        boost="12.5 psi",
        base_pressure="43.5 psi",
        consumption=consumption(0.65),
    )["application"]
    body = body_of(parts, joints, application)
    report = report_of(body)
    assert "flow curve of pump" in unknowns(report)
    assert flow_rules(report, "error") == set()
    assert told(flow_of(body)).supports_power.value / HP == pytest.approx(554, rel=0.005)


# FC-068: cavitation on a hot day --------------------------------------------------------------


def hot_van(fuel_name: str, temperature: str) -> dict[str, Any]:
    main = pump(mount="external")
    main["ports"][0] |= {"submerged": None, "bore": "12 mm"}
    tank = part("tank", [port("out", "outlet", "12 mm"), port("in", "inlet", "12 mm")])
    parts = {
        "tank": tank,
        "suction": hose("12 mm", "1 m"),
        "pump": main,
        "feed": hose(),
        "rail": rail(4),
        "injectors": (4, injectors()),
        "reg": regulator(),
    }
    joints = [
        ["tank.out", "suction.a"],
        ["suction.b", "pump.inlet"],
        ["pump.outlet", "feed.a"],
        ["feed.b", "rail.a"],
        ["rail.b", "reg.inlet"],
        ["reg.spill", "tank.in"],
        ["rail.seats", "injectors.inlet"],
    ]
    application = return_system(
        fuel=fuel_name,
        power="90 kW",
        induction="naturally-aspirated",
        boost=None,
        fuel_temperature=temperature,
    )["application"]
    return body_of(parts, joints, application)


def margin_kpa(report: Report) -> float:
    (found,) = [f for f in report.findings if f.rule == "suction-near-boiling"]
    facts = {e.fact: e.value for e in found.because}
    inlet, vapour = (
        facts["absolute pressure at its inlet"],
        facts["vapour pressure of the hot fuel"],
    )
    return float(inlet) - float(vapour)  # type: ignore[arg-type]


def test_fc_068_summer_petrol_at_50_degrees_leaves_next_to_nothing() -> None:
    report = report_of(hot_van("E10", "50 degC"))
    assert "suction-near-boiling" in flow_rules(report, "warning")
    # The case reckons 6 kPa with a typical summer petrol, between petrol without and with ethanol.
    assert margin_kpa(report) < 6.0
    assert "suction-near-boiling" not in flow_rules(report_of(hot_van("E0", "50 degC")))
    assert "suction-near-boiling" not in flow_rules(report_of(hot_van("E10", "20 degC")))


# FC-070: a surge tank sized by consumption ----------------------------------------------------


def racer(back_to: str) -> dict[str, Any]:
    lph = 72 * US_GPH
    lift = pump([psi_curve([(0, lph * 1.01), (10, lph * 0.98)])], mount="external")
    main = pump(mount="external")
    for each in (lift, main):
        each["ports"][0]["submerged"] = None
    ports = [
        port("fill", "inlet", "12 mm"),
        port("feed", "outlet", "12 mm"),
        port("back", "inlet", "12 mm"),
    ]
    parts = {
        "cell": part("tank", [port("out", "outlet", "12 mm"), port("in", "inlet", "12 mm")]),
        "lift": lift,
        "can": part("surge-tank", ports, volume="1 L"),
        "main": main,
        "rail": rail(4),
        "injectors": (4, injectors()),
        "reg": regulator(),
    }
    joints = [
        ["cell.out", "lift.inlet"],
        ["lift.outlet", "can.fill"],
        ["can.feed", "main.inlet"],
        ["main.outlet", "rail.a"],
        ["rail.b", "reg.inlet"],
        ["reg.spill", "can.back" if back_to == "can" else "cell.in"],
        ["rail.seats", "injectors.inlet"],
    ]
    application = return_system(
        power="200 hp", induction="naturally-aspirated", boost=None, consumption=consumption(0.5)
    )["application"]
    return body_of(parts, joints, application)


def test_fc_070_the_lift_pump_beats_what_is_burnt_four_and_a_half_times() -> None:
    body = racer("can")
    assert "lift-pump-slower-than-the-engine" not in flow_rules(report_of(body))
    figures = figures_of(body)
    row = figures.end.full_load
    lifted, burnt = figures.lift_lph(row), figures.burnt_lph(row)
    assert lifted is not None
    assert burnt is not None
    assert burnt == pytest.approx(60.9, rel=0.01)
    assert lifted / burnt == pytest.approx(4.5, abs=0.1)


def test_fc_070_with_the_return_in_the_main_tank_another_rule_holds() -> None:
    assert "lift-pump-slower-than-the-engine" in flow_rules(report_of(racer("cell")), "error")


# FC-078, FC-104, FC-106, FC-107: what lines and holes cost ----------------------------------


def test_fc_078_the_old_tube_and_a_wider_hose() -> None:
    e85 = Blend(85)
    assert duct_drop_kpa(300, 6.5, 4.5, e85) / PSI == pytest.approx(7.5, rel=0.05)
    assert duct_drop_kpa(300, 8.7, 4.5, e85) / PSI == pytest.approx(1.9, rel=0.05)


def old_feed(points: list[tuple[float, float]], bore: str) -> dict[str, Any]:
    return return_system(
        {
            "pump": pump([psi_curve(points)]),
            "feed-1": hose(bore, "4.5 m"),
            "feed-2": hose("10 mm", "0.1 m"),
            "filter": fuel_filter([(300, 2 * PSI), (600, 8 * PSI)]),
            "rail": rail(4),
            "injectors": (4, injectors("2000 cc/min")),
        },
        fuel={"ethanol_percent": 85},
        power="500 hp",
        consumption=consumption(0.82),
        base_pressure="43.5 psi",
        boost="25 psi",
    )


def test_fc_078_the_pump_s_list_ends_before_the_pressure_it_works_at() -> None:
    report = report_of(old_feed([(40, 340), (60, 305)], "6.5 mm"))
    assert report.flow is not None
    assert report.flow.demand.volume.value == pytest.approx(237.5, rel=0.01)
    assert report.verdict == "cannot-tell"
    assert any(missing.startswith("flow at 5.") for missing in unknowns(report))


def test_fc_078_with_300_litres_at_78_psi_the_line_costs_what_the_case_says() -> None:
    body = old_feed([(0, 325), (78, 300), (120, 270)], "6.5 mm")
    figures = figures_of(body)
    row = figures.end.full_load
    outlet = figures.outlet_kpa(row)
    assert outlet is not None
    assert outlet / PSI == pytest.approx(78, abs=1.0)
    assert "feed-drop-high" in flow_rules(report_of(body), "warning")
    assert "feed-drop-high" not in flow_rules(
        report_of(old_feed([(0, 325), (78, 300), (120, 270)], "8.7 mm"))
    )


def test_fc_104_an_old_return_of_8_and_a_half_millimetres() -> None:
    assert duct_drop_kpa(465, 8.5, 4.5, Blend(85)) / PSI == pytest.approx(4.49, rel=0.06)


def hat_of_six() -> dict[str, Any]:
    return return_system(
        {
            "pump": flat_pump(465),
            "hat": hat("6 mm"),
            "feed-1": hose("10.3 mm", "3 m"),
            "feed-2": hose("10.3 mm", "1 m"),
        },
        fuel={"ethanol_percent": 85},
        base_pressure="43.5 psi",
    )


def test_fc_106_a_hole_of_six_millimetres_in_a_size_8_hat() -> None:
    report = report_of(hat_of_six())
    assert "narrow-part-in-a-wide-line" in flow_rules(report, "warning")
    (hat_drop,) = [
        drop
        for drop in flow_of(hat_of_six()).points[0].drops
        if drop.ref == "hat" and drop.line == "feed"
    ]
    assert hat_drop.velocity is not None
    assert hat_drop.velocity.value == pytest.approx(4.57, abs=0.03)
    assert hat_drop.drop.value * 100 / PSI == pytest.approx(2.1, abs=0.05)
    wide = report_of(
        return_system(
            {"pump": flat_pump(465), "hat": hat("8.7 mm"), "feed-1": hose("10.3 mm", "3 m")},
            fuel={"ethanol_percent": 85},
        )
    )
    assert "narrow-part-in-a-wide-line" not in flow_rules(wide)


def crossover_v8(bore: str) -> dict[str, Any]:
    curves = [
        psi_curve([(0, 960), (45, 950), (100, 900)]),
        psi_curve([(0, 860), (45, 850), (100, 800)], "12 V"),
    ]
    parts = {
        "pump": pump(curves),
        "hat": hat("12 mm"),
        "feed": hose("12 mm", "3 m"),
        "rail-l": rail(4, "16 mm"),
        "cross": hose(bore, "0.6 m"),
        "rail-r": rail(4, "16 mm"),
        "inj-l": (4, injectors("2000 cc/min")),
        "inj-r": (4, injectors("2000 cc/min")),
        "reg": regulator(maximum_flow="1500 L/h", seat_bore="9 mm"),
        "back": hose("12 mm", "4 m"),
    }
    joints = [
        ["pump.outlet", "hat.pump"],
        ["hat.feed", "feed.a"],
        ["feed.b", "rail-l.a"],
        ["rail-l.b", "cross.a"],
        ["cross.b", "rail-r.a"],
        ["rail-r.b", "reg.inlet"],
        ["reg.spill", "back.a"],
        ["back.b", "hat.return"],
        ["rail-l.seats", "inj-l.inlet"],
        ["rail-r.seats", "inj-r.inlet"],
    ]
    application = return_system(
        fuel={"ethanol_percent": 85}, power="800 hp", consumption=consumption(0.82)
    )["application"]
    return body_of(parts, joints, application)


def test_fc_107_one_crossover_is_no_matter_for_the_last_cylinders() -> None:
    body = crossover_v8("8.7 mm")
    flow = flow_of(body)
    assert flow.demand.volume.value == pytest.approx(380, rel=0.01)
    assert duct_drop_kpa(190, 8.7, 0.6, Blend(85)) / PSI == pytest.approx(0.1, abs=0.03)
    idle = {p.name: p for p in flow.points}["idle"]
    (crossing,) = [drop for drop in idle.drops if drop.ref == "cross"]
    # Nearly all that the pump delivers crosses over: nearer to 2 psi.
    assert 1.4 <= crossing.drop.value * 100 / PSI <= 2.6
    assert "last-injectors-get-less" in flow_rules(report_of(crossover_v8("5 mm")), "warning")


# FC-079: power of unknown place ---------------------------------------------------------------


def test_fc_079_six_hundred_at_the_crank_or_at_the_wheels() -> None:
    silent = return_system(
        {"pump": pump([psi_curve([(0, 480), (40, 465), (90, 430)])])},
        fuel={"ethanol_percent": 85},
        power="600 hp",
        power_at=None,
        consumption=consumption(0.82),
    )
    needs = needs_of(place(Request.model_validate(silent), EMPTY_SHOP))
    assert needs.least is not None
    assert needs.most is not None
    crank, wheels = (n.demand.volume_flow_lph for n in (needs.least, needs.most))
    assert crank == pytest.approx(285, rel=0.01)
    assert wheels == pytest.approx(335, rel=0.01)
    assert wheels - crank == pytest.approx(50, abs=1)
    assert needs.gaps[0].what == "where the power is measured (crank or wheels)"
    at_limit = return_system(
        {"pump": flat_pump(310), "injectors": (6, injectors("3000 cc/min"))},
        fuel={"ethanol_percent": 85},
        power="600 hp",
        power_at=None,
        consumption=consumption(0.82),
    )
    assert "where the power is measured (crank or wheels) of the application" in unknowns(
        report_of(at_limit)
    )


# FC-116: a plain cart that is right -----------------------------------------------------------


def plain_cart() -> dict[str, Any]:
    cc_min = fuel.cc_min_from_lb_h(36, 745.4)
    return return_system(
        {
            "pump": pump(
                [
                    psi_curve([(0, 300), (43.5, 255), (90, 200)]),
                    psi_curve([(0, 264), (43.5, 220), (90, 166)], "12 V"),
                ]
            ),
            "hat": hat("7.5 mm"),
            "feed-1": hose("7.9 mm", "3 m"),
            "feed-2": hose("7.9 mm", "1 m"),
            "injectors": (
                6,
                injectors(
                    f"{cc_min:.2f} cc/min",
                    flow_pressure="43.5 psi",
                    test_fluid_density="745.4 kg/m3",
                ),
            ),
            "reg": regulator(seat_bore="6 mm"),
            "back": hose("7.9 mm", "4.5 m"),
        },
        fuel="E10",
        power="300 hp",
        induction="naturally-aspirated",
        boost=None,
        base_pressure="43.5 psi",
        consumption=consumption(0.5),
    )


def test_fc_116_a_check_says_yes_and_shows_why() -> None:
    report = report_of(plain_cart())
    assert flow_rules(report) == set()
    assert unknowns(report) == set()
    flow = flow_of(plain_cart())
    assert flow.demand.volume.value == pytest.approx(91.3, rel=0.005)
    assert told(flow).duty == pytest.approx(0.694, abs=0.001)
    figures = figures_of(plain_cart())
    limit = figures.end.limit.flow_lph
    assert limit is not None
    assert limit / flow.demand.volume.value == pytest.approx(2.8, abs=0.1)
    idle = {p.name: p for p in flow.points}["idle"]
    (back,) = [drop for drop in idle.drops if drop.ref == "back"]
    assert back.drop.value * 100 / PSI == pytest.approx(1.8, abs=0.2)


# Worked cases ---------------------------------------------------------------------------------


def invented_pumps() -> Mapping[str, Mapping[float, list[tuple[float, float, float]]]]:
    found: dict[str, dict[float, list[tuple[float, float, float]]]] = {}
    path = Path(__file__).parent / "invented_pumps.csv"
    with path.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            curve = found.setdefault(row["pump"], {}).setdefault(float(row["voltage_v"]), [])
            curve.append(
                (float(row["pressure_bar"]), float(row["flow_lph"]), float(row["current_a"]))
            )
    return found


PUMPS = invented_pumps()


def invented(name: str) -> dict[str, Any]:
    return pump(
        [
            {
                "voltage": f"{volts} V",
                "points": [
                    {"pressure": f"{bar} bar", "flow": f"{lph} L/h", "current": f"{amps} A"}
                    for bar, lph, amps in points
                ],
            }
            for volts, points in PUMPS[name].items()
        ],
        maximum_current="40 A",
    )


def delivered_lph(name: str, bar: float, volts: float) -> float:
    curves = [
        PumpCurve([b * 100 for b, _, _ in points], [q for _, q, _ in points], v)
        for v, points in PUMPS[name].items()
    ]
    network = Network(
        [FixedPressure("tank"), FixedPressure("rail")], [Pump("p", "tank", "rail", curves)]
    )
    points = Points(745.0, 0.5, fixed_pressure_kpa={"rail": bar * 100}, pump_voltage_v={"p": volts})
    return float(solve(network, points).flow_lph("p")[0])


@pytest.mark.parametrize(
    ("name", "volts", "lph"),
    [
        ("A", 12.0, 152.8),
        ("A", 13.5, 184.1),
        ("B", 12.0, 238.6),
        ("B", 13.5, 286.3),
        ("C", 12.0, 378.5),
        ("C", 13.5, 451.7),
        # Wired with 4, 6 and 10 mm2 the pump sees less than the alternator gives.
        ("C", 12.38, 397.1),
        ("C", 12.79, 416.9),
        ("C", 13.13, 433.6),
    ],
)
def test_case_3_and_4_what_a_pump_delivers_at_5_1_bar(name: str, volts: float, lph: float) -> None:
    assert delivered_lph(name, 5.1, volts) == pytest.approx(lph, abs=3.0)


def test_case_3_a_higher_base_pressure_moves_the_pump_s_point() -> None:
    assert delivered_lph("C", 6.1, 13.5) == pytest.approx(418.6, abs=3.0)


def turbo_four(name: str, cc_min: int, base_bar: float = 3.0) -> dict[str, Any]:
    """500 wheel horsepower on summer E85, lines that cost about 0.3 bar."""
    return return_system(
        {
            "pump": invented(name),
            "hat": hat("10 mm"),
            "feed-1": hose("11 mm", "4 m"),
            "feed-2": hose("11 mm", "0.5 m"),
            "filter": fuel_filter([(200, 4), (600, 25)]),
            "rail": rail(4),
            "injectors": (
                4,
                injectors(
                    f"{cc_min} cc/min", flow_pressure="3 bar", test_fluid_density="683.9 kg/m3"
                ),
            ),
            "reg": regulator(seat_bore="8 mm", maximum_flow="1200 L/h"),
            "back": hose("10 mm", "4 m"),
        },
        fuel={"ethanol_percent": 83},
        power="500 hp",
        power_at="wheels",
        driveline_loss_percent=15,
        consumption=consumption(0.83),
        base_pressure=f"{base_bar} bar",
        boost="1.8 bar",
    )


def test_case_2_four_hundred_horsepower_on_petrol() -> None:
    cc_min = 300.3
    body = return_system(
        {
            "rail": rail(8),
            "injectors": (
                8,
                injectors(
                    f"{cc_min} cc/min", flow_pressure="3 bar", test_fluid_density="740.5 kg/m3"
                ),
            ),
        },
        fuel="E0",
        power="400 hp",
        induction="naturally-aspirated",
        boost=None,
        consumption=consumption(0.5),
    )
    flow = flow_of(body)
    assert flow.demand.mass.value * 3600 == pytest.approx(90.72, abs=0.1)
    assert flow.demand.volume.value == pytest.approx(122.5, abs=0.7)
    assert flow.demand.volume.value * 1000 / 60 / 8 == pytest.approx(255.2, abs=1.5)
    assert told(flow).duty == pytest.approx(0.85, abs=0.002)
    at_4_bar = told(
        flow_of(body | {"application": body["application"] | {"base_pressure": "4 bar"}})
    )
    assert 300.3 * told(flow).static_flow.value / at_4_bar.static_flow.value == pytest.approx(
        260.0, abs=2
    )


def test_case_3_the_demand_of_500_wheel_horsepower_on_summer_e85() -> None:
    flow = flow_of(turbo_four("C", 1700))
    assert flow.demand.crank_power.value / HP == pytest.approx(588.2, abs=0.5)
    assert flow.demand.volume.value == pytest.approx(283.5, abs=1.5)


def test_case_3_which_pump_serves() -> None:
    small, middle, large = (report_of(turbo_four(name, 1700)) for name in "ABC")
    assert "pump-short-at-pressure" in flow_rules(small, "error")
    # The case fails a pump that meets the bare demand and not the 15 % in hand. Here what is met is
    # met: the margin is planning practice, and a list that lives on none of it gets a warning.
    assert flow_rules(middle, "error") == set()
    assert "supply-without-margin" in flow_rules(middle, "warning")
    assert "rail-sags-at-low-voltage" in flow_rules(middle, "warning")
    assert flow_rules(large, "error") == set()
    assert "supply-without-margin" not in flow_rules(large)
    figures = figures_of(turbo_four("C", 1700))
    assert figures.outlet_kpa(figures.end.full_load) == pytest.approx(510, abs=10)
    limit = figures.end.limit.flow_lph
    assert limit is not None
    assert limit > 326.0


def test_case_3_which_injectors_serve() -> None:
    small = told(flow_of(turbo_four("C", 1000, 4.0)))
    assert small.static_flow.value == pytest.approx(1080.4, abs=4)
    assert small.duty == pytest.approx(1.093, abs=0.01)
    assert "injectors-too-small" in flow_rules(report_of(turbo_four("C", 1000, 4.0)), "error")
    large = told(flow_of(turbo_four("C", 1700, 4.0)))
    assert large.static_flow.value == pytest.approx(1836.7, abs=6)
    assert large.duty == pytest.approx(0.643, abs=0.01)
    assert flow_rules(report_of(turbo_four("C", 1700, 4.0)), "error") == set()


def test_case_4_current_at_the_working_point() -> None:
    figures = figures_of(turbo_four("C", 1700))
    row = figures.end.full_load
    outlet = figures.outlet_kpa(row)
    assert outlet is not None
    current = figures.current_a(figures.end.plan.feed_pumps[0], row)
    # 21.3 A at 5.1 bar, three amperes more for each bar.
    assert current == pytest.approx(21.3 + 0.03 * (outlet - 510), abs=0.2)


@pytest.mark.parametrize(
    ("lph", "velocity", "reynolds", "bar", "floor"),
    [(340, 3.34, 36440, 0.631, 1.031), (680, 6.68, 72879, 2.121, 2.521)],
)
def test_case_6_what_a_return_of_six_millimetres_costs(
    lph: float, velocity: float, reynolds: float, bar: float, floor: float
) -> None:
    tube = Pipe("back", "reg", "tank", 4000.0, 6.0, 0.0)
    network = Network([Junction("reg", -lph), FixedPressure("tank")], [tube])
    solution = solve(network, Points(740.5, 0.55 * 0.7405))
    assert solution.velocity_m_s("back")[0] == pytest.approx(velocity, abs=0.03)
    assert solution.velocity_m_s("back")[0] * 6.0 / 0.55 * 1000 == pytest.approx(reynolds, abs=400)
    drop = float(solution.drop_kpa("back")[0]) / 100
    assert drop == pytest.approx(bar, abs=0.05)
    assert drop + 0.4 == pytest.approx(floor, abs=0.06)


def return_of_six(lph: float) -> dict[str, Any]:
    """A pump of this flow, a regulator that costs 0.4 bar wide open at it, 4 m of 6 mm."""
    velocity = (2 * 40_000 * SEAT_DISCHARGE**2 / 740.5) ** 0.5
    seat_mm = 1000 * (lph / 3.6e6 / velocity * 4 / 3.141593) ** 0.5
    return return_system(
        {
            "pump": flat_pump(lph),
            "hat": hat("12 mm"),
            "feed-1": hose("10 mm", "3 m"),
            "feed-2": hose("10 mm", "1 m"),
            "filter": fuel_filter([(100, 1), (900, 20)]),
            "reg": regulator(seat_bore=f"{seat_mm:.3f} mm", maximum_flow="1000 L/h"),
            "back": hose("6 mm", "4 m"),
        },
        fuel="E0",
        power="150 kW",
        induction="naturally-aspirated",
        boost=None,
        base_pressure="3 bar",
        idle_vacuum="0.6 bar",
    )


def test_case_6_the_return_of_340_litres_holds_and_that_of_680_creeps() -> None:
    assert "return-sets-the-floor" not in flow_rules(report_of(return_of_six(340)))
    held = {p.name: p for p in flow_of(return_of_six(340)).points}["idle"]
    assert held.held
    creeping = report_of(return_of_six(680))
    assert "return-sets-the-floor" in flow_rules(creeping, "error")
    idle = {p.name: p for p in flow_of(return_of_six(680)).points}["idle"]
    assert idle.rail_pressure is not None
    assert idle.target.value == pytest.approx(2.4)
    # The hat's own hole and the ends of the hose come on top of what the case reckons.
    assert 2.521 - 0.06 <= idle.rail_pressure.value <= 2.521 + 0.4


def test_the_study_says_where_its_numbers_come_from() -> None:
    body = turbo_four("C", 1700)
    flow = flow_of(body)
    origins = {each.name: each.origin for each in flow.assumptions}
    assert origins["driveline loss"] == "given"
    assert origins["specific consumption"] == "measured by the caller"
    assert "common practice" in origins["fuel at idle, of full load"]
    found = study_of(body)
    assert found.worst is not None
    assert Figures(found.worst, found.worst_injectors).power_kw is not None
