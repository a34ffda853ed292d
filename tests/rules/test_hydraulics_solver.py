"""What the solver answers: laws of the elements, states of the valves, and points without one."""

from math import nan

import fluids
import numpy as np
import pytest

from rules.hydraulics import (
    BackPressureRegulator,
    Cause,
    CheckValve,
    FixedPressure,
    Junction,
    LocalLoss,
    LossCurve,
    MeasuredLoss,
    Network,
    NetworkFault,
    Orifice,
    Pipe,
    Points,
    Pump,
    PumpCurve,
    ReducingRegulator,
    Status,
    ValveState,
    friction_factor,
    solve,
    solver,
)

RHO, MU = 745.0, 0.5
RISE = [0.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 650.0, 700.0]
FLOW = [400.0, 380.0, 360.0, 340.0, 320.0, 300.0, 280.0, 150.0, 0.0]
CURVE = PumpCurve(RISE, FLOW)
TANK = FixedPressure("tank")


def _solve(nodes, links, **points):
    return solve(Network(nodes, links), Points(RHO, MU, **points))


def _velocity(flow_lph, diameter_mm):
    return flow_lph / 3.6e6 / (np.pi / 4.0 * (diameter_mm / 1000.0) ** 2)


def _between_tanks(link, start_kpa, end_kpa=0.0):
    """Flow through one link between two given pressures."""
    solution = _solve([FixedPressure("a", start_kpa), FixedPressure("b", end_kpa)], [link])
    assert solution.solved[0], solution.reason(0)
    return float(solution.flow_lph(link.id)[0])


class TestLaws:
    @pytest.mark.parametrize("flow", [0.5, 20.0, 80.0, 110.0, 400.0, 2000.0])
    def test_pipe(self, flow):
        """Laminar, in between and turbulent: (f L / D + K) rho V^2 / 2."""
        pipe = Pipe("p", "tank", "end", 2500.0, 8.0, 0.004, k=1.5)
        solution = _solve([TANK, Junction("end", flow)], [pipe])
        velocity = _velocity(flow, 8.0)
        reynolds = fluids.Reynolds(V=velocity, D=0.008, rho=RHO, mu=MU * 1e-3)
        k = fluids.K_from_f(float(friction_factor(reynolds, 0.0005)), L=2.5, D=0.008)
        k += 1.5 * np.sqrt(1.0 + (10.0 / reynolds) ** 2)
        expected = fluids.dP_from_K(k, rho=RHO, V=velocity) / 1000.0
        assert solution.drop_kpa("p")[0] == pytest.approx(expected, rel=1e-7)
        assert solution.velocity_m_s("p")[0] == pytest.approx(velocity)

    def test_local_loss(self):
        solution = _solve([TANK, Junction("end", 300.0)], [LocalLoss("k", "tank", "end", 2.5, 7.0)])
        expected = fluids.dP_from_K(2.5, rho=RHO, V=_velocity(300.0, 7.0)) / 1000.0
        assert solution.drop_kpa("k")[0] == pytest.approx(expected, rel=1e-5)

    def test_local_loss_is_linear_in_creeping_flow(self):
        """Ten times the flow costs ten times the pressure well below Re 10, never less."""
        network = Network([TANK, Junction("end")], [LocalLoss("k", "tank", "end", 2.5, 7.0)])
        drop = solve(network, Points(RHO, 500.0, demand_lph={"end": [0.1, 1.0, 1000.0]})).drop_kpa(
            "k"
        )
        assert drop[1] / drop[0] == pytest.approx(10.0, rel=1e-3)
        assert drop[2] / drop[1] > 1e3

    @pytest.mark.parametrize("pressure", [1.0, 50.0, 400.0])
    def test_orifice(self, pressure):
        flow = _between_tanks(Orifice("jet", "a", "b", 0.8, 1.2), pressure)
        mass = fluids.flow_meter_discharge(
            D=10.0, Do=0.0012, P1=pressure * 1000.0, P2=0.0, rho=RHO, C=0.8
        )
        assert flow / 3.6e6 * RHO == pytest.approx(mass, rel=1e-4)

    def test_measured_loss_meets_its_points(self):
        curve = LossCurve([100.0, 200.0, 400.0], [2.0, 6.0, 20.0])
        link = MeasuredLoss("filter", "tank", "end", curve)
        solution = _solve(
            [TANK, Junction("end")], [link], demand_lph={"end": [100, 200, 400, -200]}
        )
        assert solution.drop_kpa("filter") == pytest.approx([2.0, 6.0, 20.0, -6.0])

    def test_pump_meets_its_points(self):
        network = Network([TANK, Junction("end")], [Pump("pump", "tank", "end", [CURVE])])
        solution = solve(network, Points(RHO, MU, demand_lph={"end": FLOW}))
        assert solution.pressure_kpa("end") == pytest.approx(RISE)
        assert solution.drop_kpa("pump") == pytest.approx([-p for p in RISE])

    def test_pumps_in_series_add_their_pressures(self):
        pumps = [Pump("one", "tank", "a", [CURVE]), Pump("two", "a", "end", [CURVE])]
        solution = _solve([TANK, Junction("a"), Junction("end", 340.0)], pumps)
        assert solution.pressure_kpa("end")[0] == pytest.approx(600.0)

    def test_pumps_in_parallel_add_their_flows(self):
        pumps = [Pump("one", "tank", "end", [CURVE]), Pump("two", "tank", "end", [CURVE])]
        solution = _solve([TANK, Junction("end", 640.0)], pumps)
        assert solution.pressure_kpa("end")[0] == pytest.approx(400.0)
        assert solution.flow_lph("two")[0] == pytest.approx(320.0)

    def test_elevation_is_hydrostatic(self):
        """At rest the pressure falls by rho g z; the loss of a pipe does not contain it."""
        nodes = [FixedPressure("tank", 50.0, 1.0), Junction("top", elevation_m=3.0)]
        solution = _solve(nodes, [Pipe("p", "tank", "top", 2000.0, 8.0, 0.0)])
        assert solution.pressure_kpa("top")[0] == pytest.approx(50.0 - RHO * 9.80665 * 2.0 / 1000.0)
        assert solution.drop_kpa("p")[0] == pytest.approx(0.0, abs=1e-9)

    def test_flow_runs_backwards_through_what_lets_it(self):
        pipe = Pipe("p", "a", "b", 1000.0, 8.0, 0.0015)
        assert _between_tanks(pipe, 20.0) == pytest.approx(-_between_tanks(pipe, -20.0))

    def test_a_loop_without_a_pump_has_no_flow(self):
        nodes = [TANK, Junction("a"), Junction("b"), Junction("c")]
        ends = [("tank", "a"), ("a", "b"), ("b", "c"), ("c", "a")]
        links = [Pipe(f"p{i}", *pair, 500.0, 8.0, 0.0015) for i, pair in enumerate(ends)]
        solution = _solve(nodes, links)
        assert solution.solved[0]
        assert solution.flows_lph == pytest.approx(0.0, abs=1e-5)
        assert solution.pressures_kpa == pytest.approx(0.0, abs=1e-5)

    def test_a_loop_divides_the_flow_so_that_both_ways_cost_the_same(self):
        nodes = [TANK, Junction("end", 300.0)]
        links = [
            Pipe("wide", "tank", "end", 1000.0, 9.0, 0.0015),
            Pipe("narrow", "tank", "end", 1000.0, 6.0, 0.0015),
        ]
        solution = _solve(nodes, links)
        assert solution.drop_kpa("wide")[0] == pytest.approx(solution.drop_kpa("narrow")[0])
        assert solution.flow_lph("wide")[0] + solution.flow_lph("narrow")[0] == pytest.approx(300.0)

    def test_perfect_elements_cost_nothing(self):
        """Without loss by its data, and with the loss scaled away."""
        nodes = [TANK, Junction("a"), Junction("b"), Junction("end", 300.0)]
        links = [
            LocalLoss("perfect", "tank", "a", 0.0, 8.0),
            Pipe("line", "a", "b", 4000.0, 8.0, 0.0015),
            MeasuredLoss("filter", "b", "end", LossCurve([300.0, 400.0], [10.0, 20.0])),
        ]
        solution = _solve(
            nodes, links, loss_scale={"line": [1.0, 0.0, 0.5], "filter": [0.0, 1.0, 2.0]}
        )
        assert solution.drop_kpa("perfect") == pytest.approx(0.0, abs=1e-5)
        whole = solution.drop_kpa("line")[0]
        assert solution.drop_kpa("line") == pytest.approx([whole, 0.0, 0.5 * whole], abs=1e-5)
        assert solution.drop_kpa("filter") == pytest.approx([0.0, 10.0, 20.0], abs=1e-5)

    def test_a_network_of_given_pressures_only(self):
        flow = _between_tanks(Pipe("p", "a", "b", 1000.0, 8.0, 0.0015), 20.0)
        back = _solve(
            [TANK, Junction("end", flow)], [Pipe("p", "tank", "end", 1000.0, 8.0, 0.0015)]
        )
        assert back.pressure_kpa("end")[0] == pytest.approx(-20.0, rel=1e-6)

    def test_nothing_at_all(self):
        assert solve(Network([], []), Points(RHO, MU)).solved.all()


class TestResiduals:
    def test_mass_balances_from_the_flows_alone(self):
        nodes = [FixedPressure("tank", 300.0), *(Junction(n, 40.0) for n in "abcd")]
        ends = [("tank", "a"), ("a", "b"), ("b", "c"), ("c", "d"), ("d", "a"), ("b", "d")]
        links = [Pipe(f"p{i}", *pair, 700.0, 7.0, 0.0015) for i, pair in enumerate(ends)]
        solution = _solve(nodes, links)
        for node in "abcd":
            out = sum(solution.flow_lph(p.id)[0] for p in links if p.start == node)
            into = sum(solution.flow_lph(p.id)[0] for p in links if p.end == node)
            assert into - out == pytest.approx(40.0, abs=1e-5)
        assert np.abs(solution.mass_residuals_lph).max() < 1e-5
        assert np.abs(solution.energy_residuals_kpa).max() < 1e-5

    def test_residuals_stand_in_the_order_of_the_network(self):
        nodes = [Junction("end", 10.0), TANK]
        solution = _solve(nodes, [Pipe("p", "tank", "end", 100.0, 8.0, 0.0)])
        assert solution.mass_residuals_lph.shape == (1, 2)
        assert solution.mass_residuals_lph[0, 1] == 0.0
        assert solution.energy_residuals_kpa.shape == (1, 1)


class TestVoltageAndScale:
    LOW = PumpCurve(RISE[:-1], [0.8 * q for q in FLOW[:-2]] + [0.0], 12.0)
    HIGH = PumpCurve(RISE, FLOW, 13.5)
    NETWORK = Network([TANK, Junction("end")], [Pump("pump", "tank", "end", [HIGH, LOW])])

    def _at(self, volts, demand, **changed):
        points = Points(
            RHO, MU, pump_voltage_v={"pump": volts}, demand_lph={"end": demand}, **changed
        )
        return solve(self.NETWORK, points)

    def test_at_a_measured_voltage_the_curve_itself(self):
        solution = self._at([12.0, 13.5, 12.0], [0.8 * 340.0, 340.0, 0.0])
        assert solution.pressure_kpa("end") == pytest.approx([300.0, 300.0, 650.0])

    def test_between_two_voltages_flows_mix_in_proportion(self):
        third = 2.0 / 3.0 * 0.8 * 340.0 + 1.0 / 3.0 * 340.0
        assert self._at(12.5, third).pressure_kpa("end")[0] == pytest.approx(300.0)

    def test_more_voltage_never_gives_less(self):
        volts = np.linspace(12.0, 13.5, 31)
        pressures = self._at(volts, 250.0).pressure_kpa("end")
        assert (np.diff(pressures) > 0.0).all()

    @pytest.mark.parametrize(("volts", "limit"), [(11.0, "12 V"), (14.2, "13.5 V")])
    def test_a_voltage_not_measured_is_outside_the_data(self, volts, limit):
        solution = self._at(volts, 200.0)
        assert solution.status[0] == Status.OUTSIDE_DATA
        assert solution.reason(0).startswith(
            f"pump 'pump' is at {volts:g} V; it was measured to {limit}"
        )
        assert np.isnan(solution.pressure_kpa("end")[0])

    def test_a_missing_voltage_is_missing_data(self):
        solution = self._at([12.0, nan], 200.0)
        assert solution.status.tolist() == [Status.SOLVED, Status.NO_DATA]
        assert (
            solution.reason(1) == "the voltage of pump 'pump' is not recorded; its curves need it"
        )

    def test_no_voltage_at_all_is_missing_data(self):
        solution = solve(self.NETWORK, Points(RHO, MU))
        assert solution.status[0] == Status.NO_DATA

    def test_a_single_curve_that_states_its_voltage_is_held_to_it(self):
        network = Network([TANK, Junction("end", 200.0)], [Pump("p", "tank", "end", [self.HIGH])])
        solution = solve(network, Points(RHO, MU, pump_voltage_v={"p": [13.5, 13.0]}))
        assert solution.status.tolist() == [Status.SOLVED, Status.OUTSIDE_DATA]

    def test_a_curve_of_unknown_voltage_does_not_answer_for_a_voltage(self):
        network = Network([TANK, Junction("end", 200.0)], [Pump("p", "tank", "end", [CURVE])])
        solution = solve(network, Points(RHO, MU, pump_voltage_v={"p": 13.5}))
        assert solution.status[0] == Status.NO_DATA
        assert "not recorded" in solution.reason(0)

    def test_beyond_the_shorter_of_the_two_curves_is_outside_the_data(self):
        """At 670 kPa only one of the two was measured."""
        solution = self._at([12.9, 13.5], 60.0)
        assert solution.status.tolist() == [Status.OUTSIDE_DATA, Status.SOLVED]

    def test_scale_multiplies_the_flow(self):
        solution = self._at(13.5, [340.0, 170.0], pump_scale={"pump": [1.0, 0.5]})
        assert solution.pressure_kpa("end") == pytest.approx([300.0, 300.0])

    def test_a_stopped_pump_passes_nothing_and_needs_no_voltage(self):
        network = Network(
            [TANK, Junction("end", 340.0)],
            [Pump("on", "tank", "end", [CURVE]), Pump("off", "tank", "end", [self.HIGH, self.LOW])],
        )
        solution = solve(network, Points(RHO, MU, pump_scale={"off": 0.0}))
        assert solution.solved[0], solution.reason(0)
        assert solution.pressure_kpa("end")[0] == pytest.approx(300.0)
        assert solution.flow_lph("off")[0] == pytest.approx(0.0, abs=1e-5)


class TestCheckValve:
    VALVE = CheckValve("check", "a", "b", 2.0, 8.0, 3.0)

    def test_passes_forward_less_its_cracking_pressure(self):
        passed = _between_tanks(self.VALVE, 23.0)
        assert passed == pytest.approx(_between_tanks(LocalLoss("k", "a", "b", 2.0, 8.0), 20.0))

    @pytest.mark.parametrize("pressure", [-50.0, 0.0, 2.9])
    def test_closed_below_its_cracking_pressure(self, pressure):
        assert _between_tanks(self.VALVE, pressure) == 0.0

    def test_holds_a_weaker_pump_off(self):
        """The weak pump stands at its dead head behind its closed valve."""
        weak = PumpCurve([0.0, 300.0, 400.0], [300.0, 200.0, 0.0])
        nodes = [TANK, *(Junction(n) for n in ("s", "w")), Junction("end", 280.0)]
        links = [
            Pump("strong", "tank", "s", [CURVE]),
            Pump("weak", "tank", "w", [weak]),
            CheckValve("cs", "s", "end", 0.5, 10.0),
            CheckValve("cw", "w", "end", 0.5, 10.0),
        ]
        solution = _solve(nodes, links)
        assert solution.solved[0]
        assert solution.state("cs")[0] == ValveState.OPEN
        assert solution.state("cw")[0] == ValveState.CLOSED
        assert solution.flow_lph("weak")[0] == pytest.approx(0.0, abs=1e-5)
        assert solution.pressure_kpa("w")[0] == pytest.approx(400.0)
        assert solution.pressure_kpa("end")[0] > 590.0

    def test_without_it_the_strong_pump_drives_the_weak_one_backwards(self):
        """Which its data say nothing about."""
        weak = PumpCurve([0.0, 300.0, 400.0], [300.0, 200.0, 0.0])
        nodes = [TANK, Junction("end", 280.0)]
        links = [Pump("strong", "tank", "end", [CURVE]), Pump("weak", "tank", "end", [weak])]
        solution = _solve(nodes, links)
        assert solution.status[0] == Status.PUMP_CANNOT_REACH
        assert "'weak'" in solution.reason(0)


def _regulated(set_point=300.0, *, open_k=4.0, return_bore=8.0, demand=0.0, curve=CURVE):
    return Network(
        [TANK, Junction("out"), Junction("rail", demand), Junction("back")],
        [
            Pump("pump", "tank", "out", [curve]),
            Pipe("feed", "out", "rail", 2000.0, 8.0, 0.0015),
            BackPressureRegulator("regulator", "rail", "back", set_point, open_k, 5.0),
            Pipe("return", "back", "tank", 3000.0, return_bore, 0.0015),
        ],
    )


class TestBackPressureRegulator:
    def test_holds_its_set_point_by_spilling_the_rest(self):
        solution = solve(_regulated(), Points(RHO, MU, demand_lph={"rail": [0.0, 100.0, 200.0]}))
        assert solution.pressure_kpa("rail") == pytest.approx(300.0, abs=1e-5)
        assert (solution.state("regulator") == ValveState.ACTIVE).all()
        spilled = solution.flow_lph("pump") - [0.0, 100.0, 200.0]
        assert solution.flow_lph("regulator") == pytest.approx(spilled, abs=1e-4)

    def test_set_point_counts_from_the_reference(self):
        solution = solve(_regulated(), Points(RHO, MU, reference_kpa={"regulator": [-60.0, 150.0]}))
        assert solution.pressure_kpa("rail") == pytest.approx([240.0, 450.0], abs=1e-5)

    def test_set_point_of_the_operating_point(self):
        solution = solve(_regulated(), Points(RHO, MU, set_point_kpa={"regulator": [250.0, 400.0]}))
        assert solution.pressure_kpa("rail") == pytest.approx([250.0, 400.0], abs=1e-5)

    def test_closed_when_the_pump_is_too_weak_to_hold_it(self):
        solution = solve(_regulated(demand=350.0), Points(RHO, MU))
        assert solution.solved[0]
        assert solution.state("regulator")[0] == ValveState.CLOSED
        assert solution.flow_lph("regulator")[0] == pytest.approx(0.0, abs=1e-5)
        assert solution.pressure_kpa("out")[0] == pytest.approx(250.0, abs=2.0)
        assert solution.pressure_kpa("rail")[0] < 250.0

    def test_wide_open_its_own_loss_and_the_return_set_the_floor(self):
        solution = solve(_regulated(30.0, open_k=8.0, return_bore=5.0), Points(RHO, MU))
        assert solution.state("regulator")[0] == ValveState.OPEN
        flow = float(solution.flow_lph("regulator")[0])
        own = fluids.dP_from_K(8.0, rho=RHO, V=_velocity(flow, 5.0)) / 1000.0
        assert solution.drop_kpa("regulator")[0] == pytest.approx(own, rel=1e-4)
        assert solution.pressure_kpa("rail")[0] == pytest.approx(
            own + solution.drop_kpa("return")[0]
        )
        assert solution.pressure_kpa("rail")[0] > 30.0

    def test_never_passes_backwards(self):
        nodes = [FixedPressure("tank", 500.0), Junction("rail", 10.0), FixedPressure("b", 100.0)]
        links = [
            BackPressureRegulator("regulator", "rail", "tank", 300.0, 4.0, 5.0),
            Pipe("feed", "b", "rail", 1000.0, 8.0, 0.0015),
        ]
        solution = _solve(nodes, links)
        assert solution.state("regulator")[0] == ValveState.CLOSED

    def test_a_relief_valve_stays_shut_below_its_set_point_and_caps_above(self):
        network = Network(
            [TANK, Junction("out"), Junction("rail")],
            [
                Pump("pump", "tank", "out", [CURVE]),
                BackPressureRegulator("relief", "out", "tank", 620.0, 4.0, 4.0),
                Pipe("feed", "out", "rail", 2000.0, 8.0, 0.0015),
            ],
        )
        solution = solve(network, Points(RHO, MU, demand_lph={"rail": [0.0, 100.0, 300.0]}))
        assert solution.state("relief").tolist() == [
            ValveState.ACTIVE,
            ValveState.ACTIVE,
            ValveState.CLOSED,
        ]
        assert solution.pressure_kpa("out")[:2] == pytest.approx(620.0, abs=1e-5)
        assert solution.pressure_kpa("out")[2] == pytest.approx(500.0)

    def test_the_lower_of_two_on_one_node_holds_it(self):
        network = Network(
            [TANK, Junction("out")],
            [
                Pump("pump", "tank", "out", [CURVE]),
                BackPressureRegulator("relief", "out", "tank", 600.0, 4.0, 4.0),
                BackPressureRegulator("regulator", "out", "tank", 300.0, 4.0, 5.0),
            ],
        )
        solution = solve(network, Points(RHO, MU))
        assert solution.pressure_kpa("out")[0] == pytest.approx(300.0, abs=1e-5)
        assert solution.state("relief")[0] == ValveState.CLOSED

    def test_two_at_one_set_point_on_one_node_share_the_flow(self):
        network = Network(
            [TANK, Junction("out")],
            [
                Pump("pump", "tank", "out", [CURVE]),
                BackPressureRegulator("one", "out", "tank", 300.0, 4.0, 5.0),
                BackPressureRegulator("two", "out", "tank", 300.0, 4.0, 5.0),
            ],
        )
        solution = solve(network, Points(RHO, MU))
        assert solution.solved[0]
        assert solution.pressure_kpa("out")[0] == pytest.approx(300.0, abs=1e-5)
        both = solution.flow_lph("one")[0] + solution.flow_lph("two")[0]
        assert both == pytest.approx(340.0, abs=1e-4)

    def test_on_a_given_pressure_it_is_open_above_and_closed_below(self):
        valve = BackPressureRegulator("v", "a", "b", 100.0, 4.0, 5.0)
        assert _between_tanks(valve, 90.0) == 0.0
        expected = _between_tanks(LocalLoss("k", "a", "b", 4.0, 5.0), 110.0)
        assert _between_tanks(valve, 110.0) == pytest.approx(expected)


def _reduced(supply, set_point=300.0):
    return Network(
        [FixedPressure("supply", supply), Junction("up"), Junction("down")],
        [
            Pipe("feed", "supply", "up", 2000.0, 8.0, 0.0015),
            ReducingRegulator("reducer", "up", "down", set_point, 5.0, 5.0),
        ],
    )


class TestReducingRegulator:
    def test_holds_what_lies_behind_it(self):
        solution = solve(_reduced(600.0), Points(RHO, MU, demand_lph={"down": [1.0, 100.0, 250.0]}))
        assert solution.pressure_kpa("down") == pytest.approx(300.0, abs=1e-5)
        assert (solution.state("reducer") == ValveState.ACTIVE).all()

    def test_open_when_the_supply_is_too_weak(self):
        solution = solve(_reduced(250.0), Points(RHO, MU, demand_lph={"down": 200.0}))
        assert solution.state("reducer")[0] == ValveState.OPEN
        own = fluids.dP_from_K(5.0, rho=RHO, V=_velocity(200.0, 5.0)) / 1000.0
        assert solution.drop_kpa("reducer")[0] == pytest.approx(own, rel=1e-4)

    def test_closed_when_what_lies_behind_is_above_its_set_point(self):
        network = Network(
            [FixedPressure("supply", 600.0), FixedPressure("high", 400.0), Junction("down", 20.0)],
            [
                ReducingRegulator("reducer", "supply", "down", 300.0, 5.0, 5.0),
                Pipe("other", "high", "down", 500.0, 8.0, 0.0015),
            ],
        )
        solution = solve(network, Points(RHO, MU))
        assert solution.state("reducer")[0] == ValveState.CLOSED
        assert solution.pressure_kpa("down")[0] > 390.0

    def test_set_point_counts_from_the_reference(self):
        points = Points(
            RHO, MU, demand_lph={"down": 50.0}, reference_kpa={"reducer": [0.0, -40.0, 80.0]}
        )
        solution = solve(_reduced(600.0), points)
        assert solution.pressure_kpa("down") == pytest.approx([300.0, 260.0, 380.0], abs=1e-5)


class TestNoSolution:
    def _is_refused(self, solution, status, *, says):
        assert solution.status[0] == status
        assert says in solution.reason(0)
        for figures in (
            solution.pressures_kpa,
            solution.flows_lph,
            solution.drops_kpa,
            solution.mass_residuals_lph,
            solution.energy_residuals_kpa,
        ):
            assert np.isnan(figures[0]).all()
        assert (solution.states[0] == ValveState.UNKNOWN).all()

    def test_a_pump_that_can_not_reach_the_pressure(self):
        nodes = [TANK, FixedPressure("high", 800.0)]
        solution = _solve(nodes, [Pump("pump", "tank", "high", [CURVE])])
        self._is_refused(
            solution,
            Status.PUMP_CANNOT_REACH,
            says="'pump' would have to raise 800 kPa; it delivers nothing above 700 kPa (100 kPa",
        )

    def test_a_pump_that_can_not_deliver_the_flow(self):
        solution = _solve([TANK, Junction("end", 450.0)], [Pump("pump", "tank", "end", [CURVE])])
        self._is_refused(
            solution,
            Status.PUMP_CANNOT_REACH,
            says="to deliver 450 L/h; the most it was measured to deliver is 400 L/h (50 L/h",
        )

    def test_beyond_the_highest_measured_pressure(self):
        """The curve ends at 500 kPa with flow left: what comes then nobody measured."""
        curve = PumpCurve(RISE[:6], FLOW[:6])
        solution = _solve([TANK, Junction("end", 290.0)], [Pump("pump", "tank", "end", [curve])])
        self._is_refused(solution, Status.OUTSIDE_DATA, says="its data end at 500 kPa")

    def test_below_the_lowest_measured_pressure(self):
        curve = PumpCurve(RISE[2:], FLOW[2:])
        solution = _solve([TANK, Junction("end", 370.0)], [Pump("pump", "tank", "end", [curve])])
        self._is_refused(solution, Status.OUTSIDE_DATA, says="its data end at 200 kPa")

    @pytest.mark.parametrize("demand", [450.0, -450.0])
    def test_more_than_a_loss_was_measured_for(self, demand):
        curve = LossCurve([100.0, 200.0, 400.0], [2.0, 6.0, 20.0])
        link = MeasuredLoss("filter", "tank", "end", curve)
        solution = _solve([TANK, Junction("end", demand)], [link])
        self._is_refused(
            solution,
            Status.OUTSIDE_DATA,
            says="'filter' would pass 450 L/h; it was measured up to 400 L/h (50 L/h beyond)",
        )

    def test_a_loss_scaled_to_nothing_has_no_range(self):
        link = MeasuredLoss("filter", "tank", "end", LossCurve([100.0, 200.0], [2.0, 6.0]))
        solution = _solve([TANK, Junction("end", 300.0)], [link], loss_scale={"filter": [1.0, 0.0]})
        assert solution.status.tolist() == [Status.OUTSIDE_DATA, Status.SOLVED]
        assert solution.pressure_kpa("end")[1] == pytest.approx(0.0, abs=1e-5)

    def test_the_curve_left_the_furthest_is_named(self):
        curves = {
            "small": LossCurve([50.0, 100.0], [1.0, 3.0]),
            "big": LossCurve([100, 400], [1, 9]),
        }
        nodes = [TANK, Junction("a"), Junction("end", 500.0)]
        links = [
            MeasuredLoss("big", "tank", "a", curves["big"]),
            MeasuredLoss("small", "a", "end", curves["small"]),
        ]
        assert "'small'" in _solve(nodes, links).reason(0)

    def test_the_figures_behind_the_reason(self):
        network = Network([TANK, Junction("end")], [Pump("pump", "tank", "end", [CURVE])])
        solution = solve(network, Points(RHO, MU, demand_lph={"end": [450.0, 100.0]}))
        assert solution.cause.tolist() == [Cause.PUMP_FLOW, Cause.NONE]
        assert solution.needed == pytest.approx([450.0, nan], nan_ok=True)
        assert solution.limit == pytest.approx([400.0, nan], nan_ok=True)
        assert [solution.culprit(0), solution.culprit(1)] == ["pump", None]

    def test_a_demand_behind_a_check_valve_that_faces_the_other_way(self):
        nodes = [TANK, Junction("end", 5.0)]
        solution = _solve(nodes, [CheckValve("check", "end", "tank", 2.0, 8.0)])
        self._is_refused(
            solution,
            Status.CUT_OFF,
            says="the demand of 5 L/h at 'end' lies behind closed valves",
        )

    def test_a_demand_behind_a_regulator_that_does_not_open(self):
        nodes = [FixedPressure("supply", 200.0), Junction("a"), Junction("end", 5.0)]
        links = [
            Pipe("p", "supply", "a", 500.0, 8.0, 0.0),
            BackPressureRegulator("regulator", "a", "end", 300.0, 2.0, 8.0),
        ]
        solution = _solve(nodes, links)
        self._is_refused(solution, Status.CUT_OFF, says="'end'")
        assert solution.culprit(0) == "end"

    def test_a_demand_behind_a_stopped_pump(self):
        nodes = [TANK, Junction("end", 5.0)]
        solution = _solve(nodes, [Pump("p", "tank", "end", [CURVE])], pump_scale={"p": 0.0})
        self._is_refused(solution, Status.CUT_OFF, says="'end'")

    def test_a_feed_that_nothing_takes_away(self):
        nodes = [TANK, Junction("end", -5.0)]
        solution = _solve(nodes, [CheckValve("check", "tank", "end", 2.0, 8.0)])
        self._is_refused(solution, Status.CUT_OFF, says="-5 L/h at 'end'")

    def test_trapped_pressure_is_not_a_number(self):
        """Between two closed check valves anything may stand; the rest is solved."""
        nodes = [TANK, Junction("trapped"), Junction("also"), FixedPressure("high", 100.0)]
        links = [
            CheckValve("in", "tank", "trapped", 2.0, 8.0),
            Pipe("p", "trapped", "also", 100.0, 8.0, 0.0),
            CheckValve("out", "also", "high", 2.0, 8.0),
        ]
        solution = _solve(nodes, links)
        assert solution.solved[0]
        assert np.isnan(solution.pressure_kpa("trapped")[0])
        assert np.isnan(solution.drop_kpa("p")[0])
        assert solution.pressure_kpa("high")[0] == 100.0
        assert solution.flows_lph == pytest.approx(0.0, abs=1e-5)

    def test_not_converged_is_never_an_answer(self, monkeypatch):
        """A solver stopped before it is done must say so."""
        monkeypatch.setattr(solver, "_QUICK_ITERATIONS", 1)
        monkeypatch.setattr(solver, "_CAREFUL_ITERATIONS", 1)
        self._is_refused(
            solve(_regulated(), Points(RHO, MU)), Status.NOT_CONVERGED, says="no state that meets"
        )


class TestBatch:
    def test_each_point_of_a_batch_is_as_if_alone(self, monkeypatch):
        """Solved and unsolved points side by side, iterated in more than one part."""
        monkeypatch.setattr(solver, "_PRODUCT_SIZE", 1)
        size = 300
        rng = np.random.default_rng(7)
        values = {
            "density": rng.uniform(700.0, 800.0, size),
            "viscosity": rng.uniform(0.4, 1.5, size),
            "demand": rng.uniform(0.0, 450.0, size),
            "reference": rng.uniform(-60.0, 350.0, size),
        }

        def points(rows):
            return Points(
                values["density"][rows],
                values["viscosity"][rows],
                demand_lph={"rail": values["demand"][rows]},
                reference_kpa={"regulator": values["reference"][rows]},
            )

        network = _regulated()
        batch = solve(network, points(slice(None)))
        assert set(batch.status.tolist()) == {Status.SOLVED, Status.PUMP_CANNOT_REACH}
        for row in range(0, size, 7):
            alone = solve(network, points([row]))
            assert alone.status[0] == batch.status[row]
            assert alone.reason(0) == batch.reason(row)
            assert batch.pressures_kpa[row] == pytest.approx(
                alone.pressures_kpa[0], abs=1e-4, nan_ok=True
            )
            assert (batch.states[row] == alone.states[0]).all()

    def test_one_value_serves_all_points(self):
        solution = solve(_regulated(), Points(RHO, [0.4, 0.5, 0.6], demand_lph={"rail": 100.0}))
        assert solution.status.shape == (3,)
        assert solution.solved.all()

    def test_a_fixed_pressure_of_the_operating_point(self):
        network = Network([TANK, Junction("end")], [Pipe("p", "tank", "end", 100.0, 8.0, 0.0)])
        solution = solve(network, Points(RHO, MU, fixed_pressure_kpa={"tank": [5.0, -3.0]}))
        assert solution.pressure_kpa("end") == pytest.approx([5.0, -3.0], abs=1e-5)

    def test_a_singular_matrix_does_not_take_its_batch_with_it(self):
        matrix = np.array([[[2.0, 0.0], [0.0, 4.0]], [[1.0, 1.0], [1.0, 1.0]]])
        right = np.array([[[2.0], [4.0]], [[2.0], [2.0]]])
        assert solver.solved(matrix, right)[:, :, 0] == pytest.approx(np.ones((2, 2)))


class TestPointFaults:
    NETWORK = _regulated()

    def _faults(self, *fluid, **points):
        with pytest.raises(NetworkFault) as caught:
            solve(self.NETWORK, Points(*fluid, **points))
        return {fault.field: fault.message for fault in caught.value.faults}

    @pytest.mark.parametrize(
        "density", [0.0, -1.0, nan, np.inf, [700.0, nan], "thick", [[1.0]], []]
    )
    def test_density(self, density):
        assert list(self._faults(density, MU)) == ["density_kg_m3"]

    @pytest.mark.parametrize(
        ("name", "element", "value"),
        [
            ("demand_lph", "tank", 1.0),
            ("demand_lph", "nowhere", 1.0),
            ("demand_lph", "rail", nan),
            ("fixed_pressure_kpa", "rail", 1.0),
            ("fixed_pressure_kpa", "tank", np.inf),
            ("set_point_kpa", "feed", 1.0),
            ("reference_kpa", "regulator", nan),
            ("pump_scale", "pump", -0.1),
            ("pump_scale", "regulator", 1.0),
            ("pump_voltage_v", "pump", 0.0),
            ("pump_voltage_v", "feed", 12.0),
            ("loss_scale", "pump", 1.0),
            ("loss_scale", "feed", -1.0),
            ("loss_scale", "feed", "half"),
        ],
    )
    def test_what_is_not_there_or_out_of_range(self, name, element, value):
        assert list(self._faults(RHO, MU, **{name: {element: value}})) == [f"{name}[{element!r}]"]

    def test_arrays_of_different_lengths(self):
        faults = self._faults([700.0, 710.0], MU, demand_lph={"rail": [1.0, 2.0, 3.0]})
        assert faults == {
            "size": "arrays hold [2, 3] points; they must hold equally many, or one value"
        }

    def test_all_at_once(self):
        faults = self._faults(nan, -1.0, demand_lph={"nowhere": 1.0}, loss_scale={"feed": nan})
        assert set(faults) == {
            "density_kg_m3",
            "viscosity_mpa_s",
            "demand_lph['nowhere']",
            "loss_scale['feed']",
        }


class TestSolution:
    def test_unknown_ids_are_key_errors(self):
        solution = solve(_regulated(), Points(RHO, MU))
        for ask in (solution.pressure_kpa, solution.flow_lph, solution.drop_kpa, solution.state):
            with pytest.raises(KeyError):
                ask("nowhere")

    def test_velocity_needs_a_diameter(self):
        solution = solve(_regulated(), Points(RHO, MU))
        with pytest.raises(ValueError, match="'pump' has no diameter"):
            solution.velocity_m_s("pump")

    def test_figures_stand_in_the_order_of_the_network(self):
        nodes = [Junction("end", 200.0), TANK, Junction("mid")]
        links = [
            Pipe("second", "mid", "end", 500.0, 8.0, 0.0),
            Pump("first", "tank", "mid", [CURVE]),
        ]
        solution = _solve(nodes, links)
        assert solution.pressures_kpa[0, 1] == 0.0
        assert solution.pressures_kpa[0, 2] > solution.pressures_kpa[0, 0] > 600.0
        assert solution.drops_kpa[0, 1] < 0.0 < solution.drops_kpa[0, 0]
        assert solution.states[0].tolist() == [ValveState.NOT_A_VALVE] * 2

    def test_a_solved_point_has_no_reason(self):
        assert solve(_regulated(), Points(RHO, MU)).reason(0) == ""
