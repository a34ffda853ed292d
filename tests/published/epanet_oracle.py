"""Build one operating point of a network in EPANET and solve it there.

EPANET works in heads of the fluid, so pressures are turned to heads and back with rho and the
gravity EPANET has built in, 32.2 ft/s2: the velocity heads it computes are then the same pressures
as here. Its specific gravity only serves its own printing of pressures and stays 1. Viscosity is
given relative to 1.1e-5 ft2/s, that of water at 20 degC.

What EPANET has no element for is put as the nearest: a fitting or orifice is a throttle valve with
the same K, a check valve a pipe of 1 mm with its K, a measured loss a general-purpose valve and a
pump a pump, each with its curve sampled so finely that EPANET's straight lines do not matter.
"""

import os
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from epanet import toolkit as en

from rules.hydraulics import (
    BackPressureRegulator,
    CheckValve,
    FixedPressure,
    Junction,
    LocalLoss,
    MeasuredLoss,
    Network,
    Orifice,
    Pipe,
    Pump,
    ReducingRegulator,
)
from rules.hydraulics.curves import evaluate, odd_table, table

GRAVITY_M_S2 = 32.2 * 0.3048
WATER_VISCOSITY_M2_S = 1.1e-5 * 0.3048**2
CURVE_POINTS = 400
SMOOTH_MM = 1e-6


@dataclass(frozen=True)
class Heads:
    """Turns pressures to heads of the fluid and back."""

    density_kg_m3: float

    def of(self, pressure_kpa: float) -> float:
        return pressure_kpa * 1000.0 / (self.density_kg_m3 * GRAVITY_M_S2)

    def pressure_kpa(self, head_m: float) -> float:
        return head_m * self.density_kg_m3 * GRAVITY_M_S2 / 1000.0


@dataclass(frozen=True)
class EpanetResult:
    pressure_kpa: dict[str, float]
    flow_lph: dict[str, float]


def solve_with_epanet(
    network: Network,
    density_kg_m3: float,
    viscosity_mpa_s: float,
    demand_lph: dict[str, float] | None = None,
    curve_points: int = CURVE_POINTS,
) -> EpanetResult:
    """Build, solve, read and delete; `curve_points` 0 takes the measured points as they are."""
    project = build(network, density_kg_m3, viscosity_mpa_s, demand_lph or {}, curve_points)
    try:
        run(project)
        return read(project, network, Heads(density_kg_m3))
    finally:
        en.deleteproject(project)


def build(
    network: Network,
    density_kg_m3: float,
    viscosity_mpa_s: float,
    demand_lph: dict[str, float],
    curve_points: int,
):
    project = en.createproject()
    en.init(project, os.devnull, "", en.LPS, en.DW)
    en.setoption(project, en.ACCURACY, 1e-5)
    en.setoption(project, en.TRIALS, 500)
    en.setoption(project, en.HEADERROR, 1e-6)
    en.setoption(project, en.FLOWCHANGE, 1e-7)
    kinematic = viscosity_mpa_s * 1e-3 / density_kg_m3
    en.setoption(project, en.SP_VISCOS, kinematic / WATER_VISCOSITY_M2_S)
    heads = Heads(density_kg_m3)
    for node in network.nodes:
        _add_node(project, node, heads, demand_lph.get(node.id))
    for link in network.links:
        _ADD[type(link)](project, link, heads, curve_points)
    return project


def run(project) -> None:
    en.openH(project)
    en.initH(project, en.NOSAVE)
    en.runH(project)
    en.closeH(project)


def _add_node(project, node, heads: Heads, demand: float | None) -> None:
    if isinstance(node, FixedPressure):
        index = en.addnode(project, node.id, en.RESERVOIR)
        en.setnodevalue(
            project, index, en.ELEVATION, heads.of(node.pressure_kpa) + node.elevation_m
        )
        return
    assert isinstance(node, Junction)
    index = en.addnode(project, node.id, en.JUNCTION)
    flow = node.demand_lph if demand is None else demand
    en.setjuncdata(project, index, node.elevation_m, flow / 3600.0, "")


def _add_pipe(project, pipe: Pipe, heads: Heads, points: int) -> None:
    index = en.addlink(project, pipe.id, en.PIPE, pipe.start, pipe.end)
    en.setpipedata(
        project, index, pipe.length_mm / 1000.0, pipe.diameter_mm, pipe.roughness_mm, pipe.k
    )


def _add_check_valve(project, valve: CheckValve, heads: Heads, points: int) -> None:
    assert valve.cracking_pressure_kpa == 0.0
    index = en.addlink(project, valve.id, en.CVPIPE, valve.start, valve.end)
    en.setpipedata(project, index, 0.001, valve.diameter_mm, SMOOTH_MM, valve.k)


def _add_throttle(project, link: LocalLoss | Orifice, heads: Heads, points: int) -> None:
    k = link.k if isinstance(link, LocalLoss) else link.discharge_coefficient**-2
    _add_valve(project, link, en.TCV, k, 0.0)


def _add_valve(project, link, kind: int, setting: float, minor_loss: float) -> None:
    index = en.addlink(project, link.id, kind, link.start, link.end)
    en.setlinkvalue(project, index, en.DIAMETER, link.diameter_mm)
    en.setlinkvalue(project, index, en.INITSETTING, setting)
    en.setlinkvalue(project, index, en.MINORLOSS, minor_loss)


def _add_regulator(kind: int) -> Callable[..., None]:
    def add(project, valve, heads: Heads, points: int) -> None:
        _add_valve(project, valve, kind, heads.of(valve.set_point_kpa), valve.open_k)

    return add


def _add_measured_loss(project, link: MeasuredLoss, heads: Heads, points: int) -> None:
    flow, drop = link.curve.flow_lph, link.curve.drop_kpa
    if points:
        curve = odd_table(flow, drop)
        flow = np.linspace(0.0, curve.last, points)
        drop = evaluate(curve, flow)[0]
    _add_curve(project, link.id, flow, [heads.of(p) for p in drop])
    index = en.addlink(project, link.id, en.GPV, link.start, link.end)
    en.setlinkvalue(project, index, en.DIAMETER, 8.0)
    en.setlinkvalue(project, index, en.GPV_CURVE, en.getcurveindex(project, link.id))


def _add_pump(project, pump: Pump, heads: Heads, points: int) -> None:
    (measured,) = pump.curves
    rise, flow = measured.pressure_rise_kpa[::-1], measured.flow_lph[::-1]
    if points:
        curve = table(measured.pressure_rise_kpa, measured.flow_lph)
        rise = np.linspace(curve.last, curve.first, points)
        flow = evaluate(curve, rise)[0]
    _add_curve(project, pump.id, flow, [heads.of(p) for p in rise])
    index = en.addlink(project, pump.id, en.PUMP, pump.start, pump.end)
    en.setheadcurveindex(project, index, en.getcurveindex(project, pump.id))


def _add_curve(project, name: str, flow_lph, head_m) -> None:
    en.addcurve(project, name)
    index = en.getcurveindex(project, name)
    flows = _doubles([q / 3600.0 for q in flow_lph])
    heads = _doubles(head_m)
    en.setcurve(project, index, flows.cast(), heads.cast(), len(head_m))


def _doubles(values) -> en.doubleArray:
    array = en.doubleArray(len(values))
    for index, value in enumerate(values):
        array[index] = float(value)
    return array


_ADD: dict[type, Callable[..., None]] = {
    Pipe: _add_pipe,
    CheckValve: _add_check_valve,
    LocalLoss: _add_throttle,
    Orifice: _add_throttle,
    BackPressureRegulator: _add_regulator(en.PSV),
    ReducingRegulator: _add_regulator(en.PRV),
    MeasuredLoss: _add_measured_loss,
    Pump: _add_pump,
}


def read(project, network: Network, heads: Heads) -> EpanetResult:
    pressure, flow = {}, {}
    for node in network.nodes:
        head = en.getnodevalue(project, en.getnodeindex(project, node.id), en.HEAD)
        pressure[node.id] = heads.pressure_kpa(head - node.elevation_m)
    for link in network.links:
        index = en.getlinkindex(project, link.id)
        flow[link.id] = en.getlinkvalue(project, index, en.FLOW) * 3600.0
    return EpanetResult(pressure, flow)
