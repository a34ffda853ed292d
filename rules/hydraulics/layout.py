"""A network as arrays: what the solver needs of it, worked out once.

Inside the solver pressures are in kPa and flows in L/h, so that both are of the order of 1 to 1000.
Pressures are piezometric (p + rho g z): elevation then matters only at the fixed nodes, at the
regulators and in the result.
"""

from collections.abc import Sequence
from math import pi
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from . import curves
from .curves import CurveBank, LossCurve, PumpCurve, Table
from .elements import (
    BackPressureRegulator,
    CheckValve,
    FixedPressure,
    Junction,
    Link,
    LocalLoss,
    MeasuredLoss,
    Node,
    Orifice,
    Pipe,
    Pump,
    ReducingRegulator,
    Valve,
)
from .losses import Wall, wall

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

M3_S_PER_LPH = 1.0 / 3.6e6

CLOSED, ACTIVE, OPEN = 0, 1, 2

VISCOUS_REYNOLDS = 10.0
"""Below about this Reynolds number a local loss is linear in the flow.

K is a property of turbulent flow; in creeping flow every loss goes with the first power of the
flow. K Q |Q| is therefore taken as K Q sqrt(Q^2 + Q10^2) with Q10 the flow at Re = 10: 0.5 % more
at Re = 100, 6e-6 at Re = 3000, and never without slope at rest, where Newton's method would fail.
"""

RIDGE = 1e-9
"""Slope [L/h/kPa] added to each mass balance in Newton's matrix only, never in the laws: a part of
the network that valves have shut off must not make the matrix singular."""

_USUAL_FRICTION = 0.03
_USUAL_M_S = 1.0
_ORIFICE_M_S = 15.0
"""Friction factor and velocities the iteration starts from. A velocity n times too high costs about
log2 n steps, one n times too low makes the first step overshoot n-fold."""

_STAND_IN = 1.0
"""Fills a missing datum in the arrays; with one missing, no point is ever solved."""


class Pattern(NamedTuple):
    """Where in Newton's matrix the slopes of the links go.

    The matrix has a row for the mass balance of each of the N junctions and one for each of the V
    valves. With s the slopes of the E links without a valve [L/h/kPa] followed by the three
    coefficients of each valve's row (on the pressures at its start and end, and on its flow), the
    entries at the flat indices `cells` (Z,) are s @ `weights` + `constant`; all others are 0.
    """

    size: int
    cells: IntArray
    weights: FloatArray
    constant: FloatArray


class LossArrays(NamedTuple):
    """Constants of the losses that follow a formula: pipes, then other losses, then valves (R).

    With Q in L/h the losses in kPa are `friction` (mu^2 / rho) Re (f Re) for the pipes, with
    Re = `reynolds` (rho / mu) Q, plus `local` rho Q^2 for all; `viscous_flow` (mu / rho) is the
    flow at Re = 10. The iteration starts at `flow_guess`, where the loss of all but the valves is
    taken as `first_loss` rho.
    """

    friction: FloatArray
    reynolds: FloatArray
    wall: Wall
    local: FloatArray
    viscous_flow: FloatArray
    flow_guess: FloatArray
    first_loss: FloatArray


class ValveArrays(NamedTuple):
    """Constants of the V valves.

    `controlled` is the node whose pressure a regulator holds, `sense` is +1 if a higher pressure
    there opens it and -1 if a lower one does. A check valve is a regulator that holds nothing: it
    is always past its set point. `holds` is whether there is something
    to hold: not for a check valve, nor at a node of given pressure. `holds_start` and `holds_end`
    are the coefficients, in Newton's matrix, of the pressures at the ends of an active regulator.
    """

    start: IntArray
    end: IntArray
    controlled: IntArray
    sense: FloatArray
    set_point: FloatArray
    cracking: FloatArray
    holds: BoolArray
    holds_start: FloatArray
    holds_end: FloatArray


class Layout(NamedTuple):
    """The whole network: N junctions, F fixed nodes, E links without valves, V valves.

    Nodes stand in the order junctions, fixed; links in the order pumps, measured losses, pipes,
    other losses, valves: `nodes` and `links`. `node_place` and `link_place` say where each element
    of the network's own tuples stands in that order, `node_at` and `link_at` where each id does.
    """

    nodes: tuple[Node, ...]
    links: tuple[Link, ...]
    node_at: dict[str, int]
    link_at: dict[str, int]
    node_place: IntArray
    link_place: IntArray
    junctions: int
    pumps: int
    curves: int
    pipes: int
    ordinary: int
    start: IntArray
    end: IntArray
    demand: FloatArray
    fixed_pressure: FloatArray
    elevation: FloatArray
    difference: FloatArray
    incidence: FloatArray
    pattern: Pattern
    bank: CurveBank
    losses: LossArrays
    valves: ValveArrays


_RANK: dict[type, int] = {
    Pump: 0,
    MeasuredLoss: 1,
    Pipe: 2,
    LocalLoss: 3,
    Orifice: 3,
    CheckValve: 4,
    BackPressureRegulator: 4,
    ReducingRegulator: 4,
}


def lay_out(nodes: Sequence[Node], links: Sequence[Link]) -> Layout:
    """Arrays of a network that has been found free of faults."""
    ordered = sorted(nodes, key=lambda node: isinstance(node, FixedPressure))
    ranked = sorted(links, key=lambda link: _RANK[type(link)])
    node_at = {node.id: place for place, node in enumerate(ordered)}
    link_at = {link.id: place for place, link in enumerate(ranked)}
    start = [node_at[link.start] for link in ranked]
    end = [node_at[link.end] for link in ranked]

    junctions = [node for node in nodes if isinstance(node, Junction)]
    pumps = [link for link in ranked if isinstance(link, Pump)]
    measured = [link for link in ranked if isinstance(link, MeasuredLoss)]
    pipes = [link for link in ranked if isinstance(link, Pipe)]
    others = [link for link in ranked if isinstance(link, LocalLoss | Orifice)]
    valves = [
        link
        for link in ranked
        if isinstance(link, CheckValve | BackPressureRegulator | ReducingRegulator)
    ]
    ordinary = len(ranked) - len(valves)

    difference = np.zeros((len(nodes), len(ranked)))
    columns = np.arange(len(ranked))
    difference[start, columns] = 1.0
    difference[end, columns] = -1.0
    return Layout(
        nodes=tuple(ordered),
        links=tuple(ranked),
        node_at=node_at,
        link_at=link_at,
        node_place=np.array([node_at[node.id] for node in nodes], dtype=np.int64),
        link_place=np.array([link_at[link.id] for link in links], dtype=np.int64),
        junctions=len(junctions),
        pumps=len(pumps),
        curves=len(pumps) + len(measured),
        pipes=len(pipes),
        ordinary=ordinary,
        start=np.array(start, dtype=np.int64),
        end=np.array(end, dtype=np.int64),
        demand=np.array([node.demand_lph for node in junctions]),
        fixed_pressure=np.array(
            [node.pressure_kpa for node in nodes if isinstance(node, FixedPressure)]
        ),
        elevation=np.array([node.elevation_m for node in ordered]),
        difference=difference,
        incidence=np.ascontiguousarray(difference[: len(junctions)].T),
        pattern=_pattern(start, end, len(junctions), ordinary),
        bank=curves.bank([*map(_pump_tables, pumps), *map(_measured_tables, measured)]),
        losses=_loss_arrays(pipes, others, valves),
        valves=_valve_arrays(valves, start[ordinary:], end[ordinary:], len(junctions)),
    )


def _pattern(start: list[int], end: list[int], junctions: int, ordinary: int) -> Pattern:
    valves = len(start) - ordinary
    size = junctions + valves
    cell: dict[tuple[int, int], int] = {}
    entries: list[tuple[int, int, float]] = []
    constants: list[tuple[int, float]] = []

    def at(row: int, column: int) -> int:
        return cell.setdefault((row, column), len(cell))

    for node in range(junctions):
        constants.append((at(node, node), RIDGE))
    for link in range(ordinary):
        a, b = start[link], end[link]
        if a < junctions:
            entries.append((link, at(a, a), 1.0))
        if b < junctions:
            entries.append((link, at(b, b), 1.0))
        if a < junctions and b < junctions:
            entries.append((link, at(a, b), -1.0))
            entries.append((link, at(b, a), -1.0))
    for valve in range(valves):
        row, a, b = junctions + valve, start[ordinary + valve], end[ordinary + valve]
        source = ordinary + 3 * valve
        if a < junctions:
            entries.append((source, at(row, a), 1.0))
            constants.append((at(a, row), 1.0))
        if b < junctions:
            entries.append((source + 1, at(row, b), 1.0))
            constants.append((at(b, row), -1.0))
        entries.append((source + 2, at(row, row), 1.0))

    weights = np.zeros((ordinary + 3 * valves, len(cell)))
    for source, target, weight in entries:
        weights[source, target] = weight
    constant = np.zeros(len(cell))
    for target, value in constants:
        constant[target] = value
    cells = np.array([row * size + column for row, column in cell], dtype=np.int64)
    return Pattern(size, cells, weights, constant)


def _pump_tables(pump: Pump) -> list[tuple[float | None, Table]]:
    if pump.curves is None:
        return [(None, curves.pump_table(PumpCurve((0.0, 1.0), (1.0, 0.0))))]
    by_voltage = sorted(pump.curves, key=lambda curve: curve.voltage_v or 0.0)
    return [(curve.voltage_v, curves.pump_table(curve)) for curve in by_voltage]


def _measured_tables(link: MeasuredLoss) -> list[tuple[float | None, Table]]:
    if link.curve is None:
        return [(None, curves.loss_table(LossCurve((0.0, 1.0), (0.0, 1.0))))]
    return [(None, curves.loss_table(link.curve))]


def _known(value: float | None) -> float:
    return _STAND_IN if value is None else value


def _loss_arrays(
    pipes: Sequence[Pipe], others: Sequence[LocalLoss | Orifice], valves: Sequence[Valve]
) -> LossArrays:
    elements = (*pipes, *others, *valves)
    formulas = len(pipes) + len(others)
    diameter = np.array([_known(e.diameter_mm) for e in elements]) * 1e-3
    speed = np.array([_ORIFICE_M_S if isinstance(e, Orifice) else _USUAL_M_S for e in elements])
    k = np.array(
        [
            *(pipe.k for pipe in pipes),
            *(_other_k(element) for element in others),
            *(_known(v.k if isinstance(v, CheckValve) else v.open_k) for v in valves),
        ]
    )
    bore = diameter[: len(pipes)]
    length = np.array([_known(pipe.length_mm) for pipe in pipes]) * 1e-3
    roughness = np.array([pipe.roughness_mm or 0.0 for pipe in pipes]) * 1e-3
    area = pi / 4.0 * diameter * diameter
    first_k = k[:formulas].copy()
    first_k[: len(pipes)] += _USUAL_FRICTION * length / bore
    return LossArrays(
        friction=length / (2000.0 * bore**3),
        reynolds=4.0 * M3_S_PER_LPH / (pi * bore),
        wall=wall(roughness / bore),
        local=k * (M3_S_PER_LPH / area) ** 2 / 2000.0,
        viscous_flow=VISCOUS_REYNOLDS * area / diameter / M3_S_PER_LPH,
        flow_guess=speed * area / M3_S_PER_LPH,
        first_loss=first_k * speed[:formulas] ** 2 / 2000.0,
    )


def _other_k(element: LocalLoss | Orifice) -> float:
    """K of a fitting, or of an orifice: Q = Cd A sqrt(2 dp / rho) is dp = Cd^-2 rho V^2 / 2."""
    if isinstance(element, LocalLoss):
        return _known(element.k)
    return _known(element.discharge_coefficient) ** -2


_PAST_ANY_SET_POINT = -1e12


def _valve_arrays(
    valves: Sequence[Valve], start: list[int], end: list[int], junctions: int
) -> ValveArrays:
    sense = [-1.0 if isinstance(valve, ReducingRegulator) else 1.0 for valve in valves]
    controlled = [b if side < 0.0 else a for a, b, side in zip(start, end, sense, strict=True)]
    return ValveArrays(
        start=np.array(start, dtype=np.int64),
        end=np.array(end, dtype=np.int64),
        controlled=np.array(controlled, dtype=np.int64),
        sense=np.array(sense),
        set_point=np.array(
            [
                _PAST_ANY_SET_POINT if isinstance(v, CheckValve) else _known(v.set_point_kpa)
                for v in valves
            ]
        ),
        cracking=np.array(
            [v.cracking_pressure_kpa if isinstance(v, CheckValve) else 0.0 for v in valves]
        ),
        holds=np.array(
            [
                not isinstance(valve, CheckValve) and node < junctions
                for valve, node in zip(valves, controlled, strict=True)
            ],
            dtype=np.bool_,
        ),
        holds_start=np.array([max(side, 0.0) for side in sense]),
        holds_end=np.array([min(side, 0.0) for side in sense]),
    )
