"""What solving gives back, and the door to it."""

from dataclasses import dataclass, field
from math import pi
from typing import Any

import numpy as np
import numpy.typing as npt

from . import reach, solver
from .elements import MeasuredLoss, Pump
from .layout import M3_S_PER_LPH, Layout
from .network import Network
from .outcome import Cause, Outcome, Status, ValveState
from .points import Case, Points, resolve, rows_of

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

_RANGE_MARGIN = 1e-6
"""Share of a curve's range by which rounding may carry a working point beyond its end."""

_NO_FLOW_LPH = 1e-6


@dataclass(frozen=True)
class Solution:
    """The state of a network at B operating points.

    Every figure of a point that has no solution is NaN. So are the pressure of a junction that
    closed valves shut off from every given pressure (whatever was trapped there stays) and the
    pressure lost along links that end there.

    Attributes
    ----------
    network : Network
    status : (B,) int8
        :class:`Status` of each point.
    pressures_kpa : (B, nodes) float
        Gauge pressure, in the order of `network.nodes`.
    flows_lph : (B, links) float
        Flow from start to end, in the order of `network.links`.
    drops_kpa : (B, links) float
        Pressure lost from start to end, elevation taken out; negative for a pump.
    states : (B, links) int8
        :class:`ValveState` of the valves; of all other links it is `NOT_A_VALVE`.
    mass_residuals_lph : (B, nodes) float
        Demand plus what leaves by the links; 0 in a perfect solution, and at fixed pressures.
    energy_residuals_kpa : (B, links) float
        What is left of each link's law [kPa]; of a pump, what its curve gives here less its flow
        [L/h], and of a closed valve the flow it passes backwards [L/h].
    iterations : (B,) int
        Newton steps taken.
    """

    network: Network
    status: npt.NDArray[np.int8]
    pressures_kpa: FloatArray
    flows_lph: FloatArray
    drops_kpa: FloatArray
    states: npt.NDArray[np.int8]
    mass_residuals_lph: FloatArray
    energy_residuals_kpa: FloatArray
    iterations: IntArray
    outcome: Outcome = field(repr=False)

    @property
    def solved(self) -> BoolArray:
        """(B,) whether the point has a solution."""
        return np.equal(self.status, Status.SOLVED)

    def pressure_kpa(self, node: str) -> FloatArray:
        """(B,) gauge pressure of a node [kPa]. Raises KeyError for an unknown id."""
        return self.pressures_kpa[:, self.network.node_index[node]]

    def flow_lph(self, link: str) -> FloatArray:
        """(B,) flow through a link from start to end [L/h]. Raises KeyError for an unknown id."""
        return self.flows_lph[:, self.network.link_index[link]]

    def drop_kpa(self, link: str) -> FloatArray:
        """(B,) pressure lost from start to end [kPa]. Raises KeyError for an unknown id."""
        return self.drops_kpa[:, self.network.link_index[link]]

    def state(self, link: str) -> npt.NDArray[np.int8]:
        """(B,) :class:`ValveState` of a valve. Raises KeyError for an unknown id."""
        return self.states[:, self.network.link_index[link]]

    def velocity_m_s(self, link: str) -> FloatArray:
        """(B,) mean velocity in a link that has a diameter [m/s].

        Raises
        ------
        KeyError
            For an unknown id.
        ValueError
            For a pump or a measured loss, which have no diameter.
        """
        index = self.network.link_index[link]
        element = self.network.links[index]
        if isinstance(element, Pump | MeasuredLoss) or element.diameter_mm is None:
            raise ValueError(f"{link!r} has no diameter")
        area_m2 = pi / 4.0 * (element.diameter_mm / 1000.0) ** 2
        return self.flows_lph[:, index] * (M3_S_PER_LPH / area_m2)

    @property
    def cause(self) -> npt.NDArray[np.int8]:
        """(B,) :class:`Cause` that stands in the way of a solution."""
        return self.outcome.cause

    @property
    def needed(self) -> FloatArray:
        """(B,) what the solution would need of the culprit, in the unit of the cause; else NaN."""
        return self.outcome.value

    @property
    def limit(self) -> FloatArray:
        """(B,) where the culprit's data end, in the unit of the cause; else NaN."""
        return self.outcome.limit

    def culprit(self, point: int) -> str | None:
        """Id of the link (for a demand that is cut off, of the node) in the way of a solution."""
        place = int(self.outcome.element[point])
        if place < 0:
            return None
        layout = self.network.layout
        is_node = self.outcome.cause[point] == Cause.DEMAND
        return layout.nodes[place].id if is_node else layout.links[place].id

    def reason(self, point: int) -> str:
        """One sentence on why a point has no solution; empty if it has one."""
        if self.outcome.cause[point] == Cause.DATUM_MISSING:
            lacks = ", ".join(f"{m.field} of {m.element!r}" for m in self.network.missing)
            return f"not recorded: {lacks}"
        return self.outcome.reason(point, self.culprit(point))


def solve(network: Network, points: Points) -> Solution:
    """Pressures and flows of a network at a batch of operating points.

    Solved are, for all points at once: at each junction, what flows in less what flows out is the
    demand; along each link, the pressure falls (in a pump: rises) by the element's own law; and
    each valve is in one of its states and meets the conditions of that state.

    Parameters
    ----------
    network : Network
    points : Points
        B operating points.

    Returns
    -------
    Solution
        Points without a solution are in it, marked and with a reason.

    Raises
    ------
    NetworkFault
        If the points name no such element or hold a value out of range; all faults at once.

    Notes
    -----
    Pressure means total pressure: the velocity head is not taken off, as in other pipe-network
    programs.

    All laws are monotone, which makes the solution unique where there is one, except for what
    nothing decides: the pressure in a part that closed valves shut off (NaN), and the share of each
    of several regulators that hold the same node at the same set point.

    A loop without a pump and without a difference of pressure is solved, with no flow in it.

    Nothing here knows of boiling: a gauge pressure that no liquid can stand is for the caller to
    judge.

    Examples
    --------
    >>> from rules.hydraulics import FixedPressure, Junction, Pipe
    >>> line = Pipe("line", "tank", "outlet", length_mm=4000, diameter_mm=7.9375,
    ...             roughness_mm=0.0015)
    >>> network = Network([FixedPressure("tank", 300.0), Junction("outlet")], [line])
    >>> points = Points(density_kg_m3=745.0, viscosity_mpa_s=0.5,
    ...                 demand_lph={"outlet": [0.0, 250.0]})
    >>> [round(float(p), 2) for p in solve(network, points).pressure_kpa("outlet")]
    [300.0, 289.84]
    """
    case, outcome = resolve(network, points)
    size = len(case.demand)
    if network.missing:
        every = np.ones(size, dtype=np.bool_)
        outcome.note(every, Status.NO_DATA, Cause.DATUM_MISSING)
    solvable = np.flatnonzero(outcome.status == Status.SOLVED)
    if len(solvable) < size:
        case = rows_of(case, solvable)
    layout = network.layout
    result = solver.run(layout, case)
    shut_off = reach.shut_off(layout, case.unread[:, : layout.pumps], result.state)
    _note_unsolved(layout, case, result, shut_off, solvable, outcome)
    _note_outside_data(layout, case, result, solvable, outcome)
    return _assemble(network, case, result, shut_off, solvable, outcome)


def _note_unsolved(
    layout: Layout,
    case: Case,
    result: solver.Result,
    shut_off: BoolArray,
    points: IntArray,
    outcome: Outcome,
) -> None:
    failed = np.flatnonzero(~result.converged)
    if not failed.size:
        return
    outcome.note(points[failed], Status.NOT_CONVERGED)
    if not layout.junctions:
        return
    demand = case.demand[failed]
    cut_off = reach.stranded(layout, case.unread[failed, : layout.pumps], demand)
    cut_off |= shut_off[failed, : layout.junctions]
    lost = np.where(cut_off, demand, 0.0)
    node = np.abs(lost).argmax(axis=1)
    demand = lost[np.arange(len(failed)), node]
    cut = demand != 0.0
    outcome.note(points[failed[cut]], Status.CUT_OFF, Cause.DEMAND, node[cut], demand[cut])


def _note_outside_data(
    layout: Layout, case: Case, result: solver.Result, points: IntArray, outcome: Outcome
) -> None:
    """Of each point, the curve that is left the furthest, as a share of its range."""
    if not layout.curves:
        return
    x = solver.curve_arguments(layout, result.pressure, result.flow)
    beyond = np.maximum(x - case.last, case.first - x) / (case.last - case.first)
    beyond[case.unread] = 0.0
    beyond[~result.converged] = 0.0
    rows = np.flatnonzero(beyond.max(axis=1) > _RANGE_MARGIN)
    if not rows.size:
        return
    case, x, curve = rows_of(case, rows), x[rows], beyond[rows].argmax(axis=1)
    ends = np.where(x > case.last, case.last, case.first)
    at_ends, _ = solver.curve_values(layout, case, ends)
    pick = np.arange(len(rows)), curve
    value, limit, at_limit, lowest = x[pick], ends[pick], at_ends[pick], case.first[pick]
    pumps = curve < layout.pumps
    spent = pumps & (value < lowest) & (lowest <= 0.0)
    dead_headed = pumps & (value > lowest) & (at_limit <= _NO_FLOW_LPH)
    cause = np.where(pumps, Cause.PRESSURE_RISE, Cause.FLOW)
    cause[spent] = Cause.PUMP_FLOW
    value = np.where(pumps, value, np.abs(value))
    limit = np.where(pumps, limit, np.abs(limit))
    outcome.note(
        points[rows],
        np.where(spent | dead_headed, Status.PUMP_CANNOT_REACH, Status.OUTSIDE_DATA),
        cause,
        curve,
        np.where(spent, result.flow[rows, curve], value),
        np.where(spent, at_limit, limit),
    )


def _assemble(
    network: Network,
    case: Case,
    result: solver.Result,
    shut_off: BoolArray,
    points: IntArray,
    outcome: Outcome,
) -> Solution:
    """Put the figures of the solved points in the network's own order."""
    layout = network.layout
    good = outcome.status[points] == Status.SOLVED
    pressure = result.pressure - case.gravity
    drop = result.pressure @ layout.difference
    if shut_off.any():
        pressure[shut_off] = np.nan
        drop[shut_off[:, layout.start] | shut_off[:, layout.end]] = np.nan
    state = np.full(result.flow.shape, ValveState.NOT_A_VALVE, dtype=np.int8)
    state[:, layout.ordinary :] = result.state
    imbalance = np.zeros(pressure.shape)
    imbalance[:, : layout.junctions] = result.imbalance
    if not good.all():
        for array in (pressure, drop, result.flow, imbalance, result.gap):
            array[~good] = np.nan
        state[~good] = ValveState.UNKNOWN

    def spread(array: npt.NDArray[Any], order: IntArray, missing: float) -> npt.NDArray[Any]:
        ordered = array[:, order]
        if len(points) == len(outcome.status):
            return ordered
        whole = np.full((len(outcome.status), array.shape[1]), missing, dtype=array.dtype)
        whole[points] = ordered
        return whole

    iterations = np.zeros(len(outcome.status), dtype=np.int64)
    iterations[points] = result.iterations
    return Solution(
        network=network,
        status=outcome.status,
        pressures_kpa=spread(pressure, layout.node_place, np.nan),
        flows_lph=spread(result.flow, layout.link_place, np.nan),
        drops_kpa=spread(drop, layout.link_place, np.nan),
        states=spread(state, layout.link_place, ValveState.UNKNOWN),
        mass_residuals_lph=spread(imbalance, layout.node_place, np.nan),
        energy_residuals_kpa=spread(result.gap, layout.link_place, np.nan),
        iterations=iterations,
        outcome=outcome,
    )
