"""Faults of a network: each kind, all of them at once, and what is not a fault."""

from dataclasses import FrozenInstanceError
from math import inf, nan

import pytest

from rules.hydraulics import (
    BackPressureRegulator,
    CheckValve,
    FixedPressure,
    Junction,
    LocalLoss,
    LossCurve,
    MeasuredLoss,
    Missing,
    Network,
    NetworkFault,
    Orifice,
    Pipe,
    Points,
    Pump,
    PumpCurve,
    ReducingRegulator,
    Status,
    solve,
)

TANK, END = FixedPressure("tank"), Junction("end")
LINE = Pipe("line", "tank", "end", 1000.0, 8.0, 0.0015)
CURVE = PumpCurve([0.0, 300.0, 600.0], [400.0, 300.0, 0.0])


def _faults(nodes, links):
    with pytest.raises(NetworkFault) as caught:
        Network(nodes, links)
    return {(fault.element, fault.field): fault.message for fault in caught.value.faults}


def _fault_of(link, *, nodes=(TANK, END)):
    """The only fault of a network with one more link beside a sound one."""
    faults = _faults(nodes, [LINE, link])
    assert len(faults) == 1, faults
    return faults.popitem()


def _pipe(**changed):
    values = {"length_mm": 1000.0, "diameter_mm": 8.0, "roughness_mm": 0.0015, "k": 0.0}
    return Pipe("p", "tank", "end", **{**values, **changed})


@pytest.mark.parametrize(
    ("link", "field"),
    [
        (_pipe(length_mm=0.0), "length_mm"),
        (_pipe(length_mm=-1.0), "length_mm"),
        (_pipe(length_mm=nan), "length_mm"),
        (_pipe(length_mm=inf), "length_mm"),
        (_pipe(length_mm="1000"), "length_mm"),
        (_pipe(diameter_mm=0.0), "diameter_mm"),
        (_pipe(diameter_mm=-8.0), "diameter_mm"),
        (_pipe(diameter_mm=nan), "diameter_mm"),
        (_pipe(roughness_mm=-0.001), "roughness_mm"),
        (_pipe(roughness_mm=0.41), "roughness_mm"),
        (_pipe(k=-1.0), "k"),
        (LocalLoss("p", "tank", "end", -0.5, 8.0), "k"),
        (LocalLoss("p", "tank", "end", 1.0, 0.0), "diameter_mm"),
        (Orifice("p", "tank", "end", 0.0, 1.0), "discharge_coefficient"),
        (Orifice("p", "tank", "end", 1.2, 1.0), "discharge_coefficient"),
        (Orifice("p", "tank", "end", 0.8, -1.0), "diameter_mm"),
        (CheckValve("p", "tank", "end", -1.0, 8.0), "k"),
        (CheckValve("p", "tank", "end", 1.0, 8.0, -3.0), "cracking_pressure_kpa"),
        (BackPressureRegulator("p", "end", "tank", nan, 1.0, 5.0), "set_point_kpa"),
        (BackPressureRegulator("p", "end", "tank", 300.0, -1.0, 5.0), "open_k"),
        (ReducingRegulator("p", "tank", "end", inf, 1.0, 5.0), "set_point_kpa"),
        (ReducingRegulator("p", "tank", "end", 300.0, 1.0, 0.0), "diameter_mm"),
    ],
)
def test_a_number_out_of_range_names_element_and_field(link, field):
    (element, named), message = _fault_of(link)
    assert (element, named) == ("p", field)
    assert repr(getattr(link, field)) in message
    assert "must" in message


@pytest.mark.parametrize(
    ("node", "field"),
    [
        (Junction("end", demand_lph=nan), "demand_lph"),
        (Junction("end", elevation_m=inf), "elevation_m"),
        (FixedPressure("end", pressure_kpa=nan), "pressure_kpa"),
    ],
)
def test_a_number_of_a_node_must_be_finite(node, field):
    faults = _faults([TANK, node], [LINE])
    assert list(faults) == [("end", field)]


@pytest.mark.parametrize(
    ("curves", "field", "says"),
    [
        ([], "curves", "empty"),
        ([PumpCurve([], [])], "curves[0]", "empty"),
        ([PumpCurve([300.0], [200.0])], "curves[0]", "single point"),
        ([PumpCurve([0.0, 300.0], [400.0])], "curves[0].pressure_rise_kpa", "pairs"),
        (
            [PumpCurve([0.0, nan], [400.0, 0.0])],
            "curves[0].pressure_rise_kpa",
            "not a finite number",
        ),
        ([PumpCurve([0.0, 300.0], [400.0, inf])], "curves[0].flow_lph", "not a finite number"),
        ([PumpCurve([0.0, 300.0], [400.0, None])], "curves[0].flow_lph", "not a finite number"),
        (
            [PumpCurve([0.0, 300.0, 200.0], [400.0, 300.0, 0.0])],
            "curves[0].pressure_rise_kpa",
            "200.0 follows 300.0",
        ),
        (
            [PumpCurve([0.0, 200.0, 300.0], [400.0, 410.0, 0.0])],
            "curves[0].flow_lph",
            "410.0 follows 400.0",
        ),
        ([PumpCurve([0.0, 200.0], [400.0, 400.0])], "curves[0].flow_lph", "fall strictly"),
        ([PumpCurve([0.0, 200.0], [400.0, -1.0])], "curves[0].flow_lph", "negative"),
        ([CURVE, CURVE], "curves[0].voltage_v", "several curves"),
        (
            [PumpCurve([0.0, 9.0], [9.0, 0.0], 12.0), PumpCurve([0.0, 9.0], [8.0, 0.0], 12.0)],
            "curves[1].voltage_v",
            "two curves",
        ),
        ([PumpCurve([0.0, 9.0], [9.0, 0.0], 0.0)], "curves[0].voltage_v", "above 0"),
    ],
)
def test_a_wrong_pump_curve(curves, field, says):
    faults = _faults([TANK, END], [LINE, Pump("p", "tank", "end", curves)])
    assert says in faults["p", field]


@pytest.mark.parametrize(
    ("curve", "field", "says"),
    [
        (LossCurve([], []), "curve", "empty"),
        (LossCurve([100.0], [2.0]), "curve", "single point"),
        (LossCurve([100.0, 200.0], [2.0]), "curve.flow_lph", "pairs"),
        (LossCurve([100.0, 200.0], [6.0, 2.0]), "curve.drop_kpa", "rise strictly"),
        (LossCurve([200.0, 100.0], [2.0, 6.0]), "curve.flow_lph", "rise strictly"),
        (LossCurve([-1.0, 100.0], [1.0, 2.0]), "curve.flow_lph", "negative"),
        (LossCurve([1.0, 100.0], [-1.0, 2.0]), "curve.drop_kpa", "negative"),
        (LossCurve([0.0, 100.0], [1.0, 2.0]), "curve.drop_kpa", "0 where the flow is 0"),
        (LossCurve([1.0, 100.0], [0.0, 2.0]), "curve.drop_kpa", "0 where the flow is 0"),
        (LossCurve([1.0, nan], [1.0, 2.0]), "curve.flow_lph", "not a finite number"),
    ],
)
def test_a_wrong_loss_curve(curve, field, says):
    faults = _faults([TANK, END], [LINE, MeasuredLoss("p", "tank", "end", curve)])
    assert says in faults["p", field]


def test_an_unknown_node():
    assert _fault_of(Pipe("p", "tank", "nowhere", 100.0, 8.0, 0.0)) == (
        ("p", "end"),
        "there is no node 'nowhere'",
    )


def test_a_link_from_a_node_to_itself():
    (element, field), message = _fault_of(Pipe("p", "end", "end", 100.0, 8.0, 0.0))
    assert (element, field) == ("p", "end")
    assert "starts and ends at 'end'" in message


def test_duplicate_ids():
    assert ("line", "id") in _faults([TANK, END], [LINE, LINE])
    assert ("end", "id") in _faults([TANK, END, END], [LINE])


def test_a_node_and_a_link_may_share_an_id():
    Network([TANK, Junction("line")], [Pipe("line", "tank", "line", 100.0, 8.0, 0.0)])


def test_a_junction_without_a_path_to_a_fixed_pressure():
    faults = _faults(
        [TANK, END, Junction("a"), Junction("b")], [LINE, Pipe("p", "a", "b", 100.0, 8.0, 0.0)]
    )
    assert faults == {
        ("a", "id"): "no path joins this junction to a fixed pressure",
        ("b", "id"): "no path joins this junction to a fixed pressure",
    }


def test_a_loop_without_any_resistance():
    """Nothing would decide how the flow divides between two perfect elements side by side."""
    perfect = [LocalLoss(name, "tank", "end", 0.0, 8.0) for name in ("x", "y")]
    faults = _faults([TANK, END], perfect)
    assert list(faults) == [("y", "k")]
    assert "loop" in faults["y", "k"]


def test_two_fixed_pressures_joined_without_any_resistance():
    faults = _faults([TANK, FixedPressure("vent", 1.0)], [LocalLoss("x", "tank", "vent", 0.0, 8.0)])
    assert list(faults) == [("x", "k")]


def test_a_perfect_element_in_a_chain_is_no_fault():
    Network(
        [TANK, Junction("a"), END],
        [LocalLoss("x", "tank", "a", 0.0, 8.0), Pipe("p", "a", "end", 100.0, 8.0, 0.0)],
    )


def test_all_faults_come_at_once():
    faults = _faults(
        [TANK, END, Junction("alone"), Junction("end", nan)],
        [
            _pipe(length_mm=0.0, diameter_mm=-1.0),
            Pump("pump", "tank", "nowhere", []),
            MeasuredLoss("filter", "tank", "end", LossCurve([2.0, 1.0], [1.0, 2.0])),
        ],
    )
    assert set(faults) == {
        ("alone", "id"),
        ("end", "id"),
        ("end", "demand_lph"),
        ("p", "length_mm"),
        ("p", "diameter_mm"),
        ("pump", "end"),
        ("pump", "curves"),
        ("filter", "curve.flow_lph"),
    }


def test_the_message_holds_a_line_for_each_fault():
    with pytest.raises(NetworkFault) as caught:
        Network([TANK, END], [_pipe(length_mm=0.0, k=-1.0)])
    assert str(caught.value).splitlines() == [
        "p.length_mm: is 0.0; it must be above 0 and finite",
        "p.k: is -1.0; it must not be negative, and finite",
    ]


def test_a_network_without_elements_is_empty_but_sound():
    assert Network([], []).missing == ()


@pytest.mark.parametrize(
    ("link", "missing"),
    [
        (_pipe(diameter_mm=None), ["diameter_mm"]),
        (_pipe(length_mm=None, roughness_mm=None), ["length_mm", "roughness_mm"]),
        (LocalLoss("p", "tank", "end", None, 8.0), ["k"]),
        (Orifice("p", "tank", "end", None, None), ["discharge_coefficient", "diameter_mm"]),
        (MeasuredLoss("p", "tank", "end", None), ["curve"]),
        (Pump("p", "tank", "end", None), ["curves"]),
        (CheckValve("p", "tank", "end", None, 8.0), ["k"]),
        (BackPressureRegulator("p", "end", "tank", 300.0, None, 5.0), ["open_k"]),
        (ReducingRegulator("p", "tank", "end", None, 1.0, 5.0), ["set_point_kpa"]),
    ],
)
def test_an_element_without_data_is_told_and_never_solved(link, missing):
    network = Network([TANK, END], [LINE, link])
    assert network.missing == tuple(Missing("p", field) for field in missing)
    solution = solve(network, Points([745.0, 750.0], 0.5))
    assert (solution.status == Status.NO_DATA).all()
    assert solution.reason(1) == "not recorded: " + ", ".join(f"{f} of 'p'" for f in missing)


def test_a_network_does_not_change():
    flows = [100.0, 200.0]
    curve = LossCurve(flows, [1.0, 2.0])
    flows[0] = -5.0
    assert curve.flow_lph == (100.0, 200.0)
    network = Network([TANK, END], [LINE])
    with pytest.raises(FrozenInstanceError):
        network.links = ()
