"""Newton's method on all operating points at once.

Unknown are the pressures of the junctions and the flows of the links. Each link without a valve has
a law, a strictly monotone curve between its flow and the difference of pressure it stands in; each
junction a mass balance; each valve one of three equations by its state. The flows of the links
without a valve are eliminated from Newton's equations link by link, which leaves a system in the
pressures and the flows through the valves.

References
----------
"A gradient algorithm for the analysis of pipe networks", in "Computer Applications in Water
Supply", vol. 1, 1988, 1-20 (the elimination). "The primal-dual active set strategy as a semismooth
Newton method", SIAM Journal on Optimization 13 (2002) 865-888 (the states of the valves). Both
cited from memory.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from .curves import cubic
from .layout import ACTIVE, CLOSED, OPEN, Layout
from .losses import poiseuille_number
from .points import Case, rows_of
from .reach import stranded

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

TOLERANCE = 1e-5
"""Largest residual in a solution: of a link's law [kPa or L/h], of a mass balance [L/h]."""

_PRODUCT_SIZE = 200_000
"""Multiplications in one matrix product, and so the number of points iterated together. Below about
this size the usual BLAS works in the calling thread. Threads that wait for a busy processor take
many times longer than the product."""

_LEAST_CHUNK = 32

_QUICK_ITERATIONS = 25
_CAREFUL_ITERATIONS = 400

_SOFTEST = (1e-2, 1.0)
"""Softness [L/h/kPa for a leak, kPa/(L/h) for a droop] the careful iteration starts from, and that
it starts from again where the first try fails."""

_HARDEST = 1e-7
"""Softness that the next step replaces by none; with none, the softness of Newton's matrix."""

_HALVINGS = 10
_LEAPS = 10

_ABSURD_KPA = 1e6
"""A pressure that only the leak of a closed valve can need to feed a demand."""

_LEAST_LOSS_SLOPE = 1e-7
"""kPa/(L/h); in Newton's matrix only, where an element without loss would conduct without limit."""

_LEAST_PUMP_SLOPE = 1e-6
"""L/h/kPa; in Newton's matrix only. A pump that stands has none."""

_LEAST_LOCAL = 1e-12
"""kPa/(L/h)^2; stands in for a valve without loss where its flow is guessed."""

_TRICKLE_LPH = 1e-6

_VALVE_WEIGHT = 0.1
"""L/h/kPa; how a pressure weighs against a flow where a valve is judged to be closed. The solution
does not depend on it, the number of steps does: a large one closes a valve that passes a fair flow
for a small passing pressure, a small one keeps it open long."""


class Iterate(NamedTuple):
    """Where the iteration stands.

    `pressure` (B, nodes) [kPa]; `difference` (B, links) of it, start less end [kPa]; `flow`
    (B, links) [L/h]; `rise` (B, pumps) the pressure rise at which the pumps' curves are taken
    [kPa].
    """

    pressure: FloatArray
    difference: FloatArray
    flow: FloatArray
    rise: FloatArray


class Laws(NamedTuple):
    """How far an iterate is from meeting the laws, and their slopes.

    `gap` (B, links) is what is left of each law [kPa; L/h for a pump and a closed valve],
    `imbalance` (B, N) what is left of each mass balance [L/h]. `through` (B, E) is the slope of
    each law without a valve, flow by pressure difference [L/h/kPa]; `pending` (B, E) is the change
    of flow that closes the gap at this pressure difference [L/h]. `closed` and `active` (B, V) are
    the valves in these states, the others are open; `slope` (B, V) is that of a valve's loss if it
    is open, pressure by flow [kPa/(L/h)].
    """

    gap: FloatArray
    imbalance: FloatArray
    through: FloatArray
    pending: FloatArray
    closed: BoolArray
    active: BoolArray
    slope: FloatArray


class Result(NamedTuple):
    """Where the iteration ended, for all points."""

    pressure: FloatArray
    flow: FloatArray
    state: IntArray
    gap: FloatArray
    imbalance: FloatArray
    iterations: IntArray
    converged: BoolArray


def run(layout: Layout, case: Case) -> Result:
    """Solve all points: quickly, and what that leaves unsolved with care."""
    size = len(case.demand)
    links = len(layout.links)
    result = Result(
        pressure=np.empty((size, len(layout.nodes))),
        flow=np.empty((size, links)),
        state=np.empty((size, links - layout.ordinary), dtype=np.int64),
        gap=np.empty((size, links)),
        imbalance=np.empty((size, layout.junctions)),
        iterations=np.zeros(size, dtype=np.int64),
        converged=np.zeros(size, dtype=np.bool_),
    )
    chunk = max(_PRODUCT_SIZE // max(layout.pattern.weights.size, 1), _LEAST_CHUNK)
    for begin in range(0, size, chunk):
        rows = np.arange(begin, min(begin + chunk, size))
        _quick(layout, case if len(rows) == size else rows_of(case, rows), rows, result)
    left = np.flatnonzero(~result.converged)
    if left.size:
        lost = stranded(layout, case.unread[left, : layout.pumps], case.demand[left]).any(axis=1)
        left = left[~lost]
    for softest in _SOFTEST:
        if left.size:
            leaking = _careful(layout, rows_of(case, left), left, result, softest)
            left = left[~(result.converged[left] | leaking)]
    return result


def _quick(layout: Layout, case: Case, rows: IntArray, result: Result) -> None:
    """Full Newton steps; only the matrix is softened, less and less, never the laws."""
    at = _start(layout, case)
    laws = _first_laws(layout, case, at)
    for iteration in range(1, _QUICK_ITERATIONS + 1):
        softness = 10.0 ** max(-1.0 - 2.0 * iteration, -9.0)
        at = _moved(layout, at, laws, _newton_step(layout, laws, softness))
        laws = _laws(layout, case, at)
        done = _misfit(laws) <= TOLERANCE
        found = np.count_nonzero(done)
        if found == len(rows) or iteration == _QUICK_ITERATIONS:
            _record(result, rows, at, laws, iteration, done)
            return
        if 4 * found > len(rows):
            _record(result, rows, at, laws, iteration, done)
            left = np.flatnonzero(~done)
            rows, case = rows[left], rows_of(case, left)
            at, laws = rows_of(at, left), rows_of(laws, left)


def _careful(
    layout: Layout, case: Case, points: IntArray, result: Result, softest: float
) -> BoolArray:
    """Damped Newton steps through a series of softened networks to the given one.

    In a softened network a closed valve leaks and an active regulator droops in proportion to its
    flow, so that every valve has a strictly monotone law. Each solution starts the next network,
    ten times harder, until nothing is left of the softness.

    Returns which points came to pressures that say that only a leak feeds some demand.
    """
    leaking = np.zeros(len(points), dtype=np.bool_)
    rows = np.arange(len(points))
    soft = np.full((len(points), 1), softest)
    leaps = np.full(len(points), _LEAPS)
    before = result.iterations[points]
    at = _start(layout, case)
    laws = _laws(layout, case, at, soft)
    for iteration in range(1, _CAREFUL_ITERATIONS + 1):
        step = _newton_step(layout, laws, np.maximum(soft, _HARDEST))
        at, laws, leapt = _line_search(layout, case, at, laws, step, soft)
        leaps = leaps - leapt
        met = _misfit(laws) <= TOLERANCE
        done = met & (soft[:, 0] == 0.0)
        leaking[rows] = met & (np.abs(at.pressure).max(axis=1) > _ABSURD_KPA)
        ended = done | leaking[rows] | (leaps < 0)
        _record(result, points[rows], at, laws, before[rows] + iteration, done)
        if ended.all():
            break
        left = np.flatnonzero(~ended)
        rows, case, at = rows[left], rows_of(case, left), rows_of(at, left)
        soft, leaps = soft[left], leaps[left]
        harder = np.where(soft > _HARDEST, 0.1 * soft, 0.0)
        soft = np.where(met[left, None], harder, soft)
        laws = _laws(layout, case, at, soft)
    return leaking


def _line_search(
    layout: Layout, case: Case, at: Iterate, laws: Laws, step: FloatArray, soft: FloatArray
) -> tuple[Iterate, Laws, BoolArray]:
    """Halve the step of each point until it does some good; leap by the whole step if none does.

    The residual has kinks where a valve changes its state, and there may be no way down from one.
    Returns the iterate, its laws, and which points leapt.
    """
    share = np.ones((len(step), 1))
    before = _merit(laws)
    worse = np.ones(len(step), dtype=np.bool_)
    for _ in range(_HALVINGS):
        trial = _moved(layout, at, laws, step, share)
        trial_laws = _laws(layout, case, trial, soft)
        worse = _merit(trial_laws) > (1.0 - 1e-4 * share[:, 0]) * before
        worse &= _misfit(trial_laws) > TOLERANCE
        if not worse.any():
            return trial, trial_laws, worse
        share = np.where(worse[:, None], 0.5 * share, share)
    trial = _moved(layout, at, laws, step, np.where(worse[:, None], 1.0, share))
    return trial, _laws(layout, case, trial, soft), worse


def _start(layout: Layout, case: Case) -> Iterate:
    """Flows as guessed, pumps and measured losses in the middle of their data."""
    size = len(case.demand)
    pressure = np.zeros((size, len(layout.nodes)))
    pressure[:, layout.junctions :] = case.fixed_pressure
    flow = np.empty((size, len(layout.links)))
    flow[:, : layout.curves] = 0.5 * case.last
    flow[:, layout.curves :] = layout.losses.flow_guess
    rise = 0.5 * (case.first + case.last)[:, : layout.pumps]
    return Iterate(pressure, pressure @ layout.difference, flow, rise)


def _first_laws(layout: Layout, case: Case, at: Iterate) -> Laws:
    """The laws where the iteration starts: losses as guessed, the valves' states as assumed."""
    slope = 2.0 * case.first_loss / at.flow[:, layout.curves : layout.ordinary]
    states = _first_states(layout, case)
    return _gathered(layout, case, at, case.first_loss, slope, 0.0, states)


def _laws(layout: Layout, case: Case, at: Iterate, soft: float | FloatArray = 0.0) -> Laws:
    """The laws of all links and the mass balances at an iterate."""
    loss, slope = _losses(layout, case, at.flow[:, layout.curves : layout.ordinary])
    return _gathered(layout, case, at, loss, slope, soft, None)


def _gathered(
    layout: Layout,
    case: Case,
    at: Iterate,
    loss: FloatArray,
    slope: FloatArray,
    soft: float | FloatArray,
    states: tuple[BoolArray, BoolArray] | None,
) -> Laws:
    """All laws, from the losses that follow a formula and the states of the valves if given."""
    pumps, curves, ordinary = layout.pumps, layout.curves, layout.ordinary
    gap = np.empty_like(at.flow)
    gap[:, curves:ordinary] = at.difference[:, curves:ordinary] - loss
    through = np.empty((len(gap), ordinary))
    through[:, curves:] = slope
    if curves:
        x = np.concatenate((at.rise, at.flow[:, pumps:curves]), axis=1)
        value, through[:, :curves] = curve_values(layout, case, x)
        gap[:, pumps:curves] = at.difference[:, pumps:curves] - value[:, pumps:]
    through[:, pumps:] = 1.0 / np.maximum(through[:, pumps:], _LEAST_LOSS_SLOPE)
    if pumps:
        gap[:, :pumps] = value[:, :pumps] - at.flow[:, :pumps]
        through[:, :pumps] = np.maximum(-through[:, :pumps], _LEAST_PUMP_SLOPE)
    pending = through * gap[:, :ordinary]
    if pumps:
        astray = at.difference[:, :pumps] + at.rise
        pending[:, :pumps] = gap[:, :pumps] + through[:, :pumps] * astray
    gap[:, ordinary:], closed, active, valve_slope = _valve_laws(layout, case, at, soft, states)
    imbalance = at.flow @ layout.incidence + case.demand
    return Laws(gap, imbalance, through, pending, closed, active, valve_slope)


def _valve_laws(
    layout: Layout,
    case: Case,
    at: Iterate,
    soft: float | FloatArray,
    states: tuple[BoolArray, BoolArray] | None,
) -> tuple[FloatArray, BoolArray, BoolArray, FloatArray]:
    """What is left of the valves' laws; which are closed and active; the slopes of their losses.

    `soft` > 0 softens them: a closed valve leaks by its pressure difference, an active one droops
    by its flow. `states` are (closed, active) where they are given.
    """
    first = layout.ordinary
    flow = at.flow[:, first:]
    if first == at.flow.shape[1]:
        none = np.empty(flow.shape, dtype=np.bool_)
        return flow, none, none, flow
    valves = layout.valves
    over = at.difference[:, first:] - case.cracking
    past = valves.sense * (at.pressure[:, valves.controlled] - case.set_point) - soft * flow
    spare, slope = _spare_pressure(case.valve_local, case.valve_viscous_flow_squared, flow, over)
    backward = flow - soft * over
    closed, active = states or _states(layout, backward, past, spare, slope)
    gap = np.where(closed, -backward, np.where(active, past, spare))
    return gap, closed, active, slope


def _first_states(layout: Layout, case: Case) -> tuple[BoolArray, BoolArray]:
    """All valves pass, but of the back-pressure regulators only those with the lowest set point.

    Two that both held their pressures from the start, a relief valve and the regulator it guards,
    would drive an enormous flow between them.
    """
    valves = layout.valves
    spills = valves.holds & (valves.sense > 0.0)
    lowest = np.where(spills, case.set_point, np.inf).min(axis=1, keepdims=True, initial=np.inf)
    waits = spills & (case.set_point > lowest + 1.0)
    return waits, valves.holds & ~waits


def _states(
    layout: Layout, flow: FloatArray, past: FloatArray, spare: FloatArray, slope: FloatArray
) -> tuple[BoolArray, BoolArray]:
    """Which valves are closed and which active by what their iterate says; the others are open.

    A valve passes nothing backwards, and two things limit what it passes: its own loss when open,
    and (a regulator) its set point. With Q the flow, x how far the pressure it holds is past the
    set point and y the pressure difference that its loss at Q leaves over,

        Q >= 0,  min(x, y) <= 0,  Q min(x, y) = 0,  that is  min(Q, -w min(x, y)) = 0

    for any w > 0. The term that is picked is the state: Q closed, x active, y open. A regulator
    that has nothing to hold, its node being of given pressure, is open or closed by that pressure.
    """
    holds = layout.valves.holds
    weight = np.minimum(_VALVE_WEIGHT, 1.0 / slope)
    closed = flow <= -weight * np.minimum(past, spare)
    closed |= (past <= 0.0) & ~holds
    return closed, (past <= spare) & holds & ~closed


def _spare_pressure(
    local: FloatArray, viscous_flow_squared: FloatArray, flow: FloatArray, over: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Pressure difference that the open valve's loss leaves over, and the slope of that loss.

    A valve that passes next to nothing is taken at half the flow it would have if open: at rest its
    loss has hardly any slope, and a step from there would go far too far.
    """
    near = flow
    trickles = flow <= _TRICKLE_LPH
    if trickles.any():
        share = np.maximum(over, 0.0) / np.maximum(local, _LEAST_LOCAL)
        half = 0.5 * viscous_flow_squared
        when_open = np.sqrt(np.sqrt(half * half + share * share) - half)
        near = np.where(trickles, 0.5 * when_open, flow)
    loss, slope = _local_loss(local, viscous_flow_squared, near)
    slope = np.maximum(slope, _LEAST_LOSS_SLOPE)
    return over - loss - slope * (flow - near), slope


def curve_values(layout: Layout, case: Case, x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Values and slopes of all curves at x (B, C): a pump's flow, a measured loss's drop."""
    bank = layout.bank
    piece = (x[:, :, None] >= bank.knots).sum(axis=2)
    column = np.arange(layout.curves)
    coefficients = case.coefficients[np.arange(len(x))[:, None], column, piece]
    return cubic(coefficients, x - bank.base[column, piece])


def curve_arguments(layout: Layout, pressure: FloatArray, flow: FloatArray) -> FloatArray:
    """(B, C) where each curve is read: a pump's pressure rise, a measured loss's flow."""
    pumps = layout.pumps
    rise = pressure @ -layout.difference[:, :pumps]
    return np.concatenate((rise, flow[:, pumps : layout.curves]), axis=1)


def _losses(layout: Layout, case: Case, flow: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Losses that follow a formula and their slopes: pipes, then others."""
    loss, slope = _local_loss(case.local, case.viscous_flow_squared, flow)
    pipes = layout.pipes
    if pipes:
        reynolds = flow[:, :pipes] * case.reynolds
        size = np.abs(reynolds)
        number, number_slope = poiseuille_number(size, layout.losses.wall)
        loss[:, :pipes] += case.friction * reynolds * number
        slope[:, :pipes] += case.friction * case.reynolds * (number + size * number_slope)
    return loss, slope


def _local_loss(
    local: FloatArray, viscous_flow_squared: FloatArray, flow: FloatArray
) -> tuple[FloatArray, FloatArray]:
    squared = flow * flow
    smooth = np.sqrt(squared + viscous_flow_squared)
    return local * flow * smooth, local * (squared / smooth + smooth)


def _newton_step(layout: Layout, laws: Laws, softness: float | FloatArray) -> FloatArray:
    """Changes of the junctions' pressures and of the valves' flows, (B, N + V).

    `softness` lets closed valves leak and active regulators droop in the matrix. Without it, a part
    of the network that is shut off, or two regulators that hold one node, would make it singular.
    """
    pattern, junctions, ordinary = layout.pattern, layout.junctions, layout.ordinary
    points, size = len(laws.gap), pattern.size
    slopes = np.empty((points, len(pattern.weights)))
    slopes[:, :ordinary] = laws.through
    if len(pattern.weights) > ordinary:
        valves, closed, active = layout.valves, laws.closed, laws.active
        is_open = ~(closed | active)
        passing = is_open + closed * softness
        slopes[:, ordinary::3] = passing + active * valves.holds_start
        slopes[:, ordinary + 1 :: 3] = active * valves.holds_end - passing
        slopes[:, ordinary + 2 :: 3] = -(closed + is_open * laws.slope + active * softness)
    matrix = np.zeros((points, size * size))
    matrix[:, pattern.cells] = slopes @ pattern.weights + pattern.constant
    right = np.empty((points, size, 1))
    right[:, :junctions, 0] = laws.pending @ layout.incidence[:ordinary] + laws.imbalance
    right[:, junctions:, 0] = laws.gap[:, ordinary:]
    return solved(matrix.reshape(points, size, size), -right)[:, :, 0]


def solved(matrix: FloatArray, right: FloatArray) -> FloatArray:
    """Solutions of a batch of linear systems; the smallest one where a matrix is singular.

    Rounding can make a matrix singular that no network has; one such point must not take the
    others of its batch with it.
    """
    try:
        return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.pinv(matrix) @ right, dtype=np.float64)


def _moved(
    layout: Layout,
    at: Iterate,
    laws: Laws,
    step: FloatArray,
    share: float | FloatArray = 1.0,
) -> Iterate:
    """The iterate after a share of the step; `share` is a number or (B, 1)."""
    junctions, ordinary, pumps = layout.junctions, layout.ordinary, layout.pumps
    pressure = at.pressure.copy()
    pressure[:, :junctions] += share * step[:, :junctions]
    difference = pressure @ layout.difference
    flow = at.flow.copy()
    change = (difference - at.difference)[:, :ordinary]
    flow[:, :ordinary] += share * laws.pending + laws.through * change
    flow[:, ordinary:] += share * step[:, junctions:]
    return Iterate(pressure, difference, flow, -difference[:, :pumps])


def _misfit(laws: Laws) -> FloatArray:
    """The largest residual of each point."""
    link: FloatArray = np.abs(laws.gap).max(axis=1, initial=0.0)
    mass: FloatArray = np.abs(laws.imbalance).max(axis=1, initial=0.0)
    return np.maximum(link, mass)


def _merit(laws: Laws) -> FloatArray:
    """Sum of squares of all residuals of each point, in kPa and L/h."""
    merit: FloatArray = (laws.gap**2).sum(axis=1) + (laws.imbalance**2).sum(axis=1)
    return merit


def _record(
    result: Result,
    rows: IntArray,
    at: Iterate,
    laws: Laws,
    iteration: int | IntArray,
    done: BoolArray,
) -> None:
    result.pressure[rows] = at.pressure
    result.flow[rows] = at.flow
    result.state[rows] = np.where(laws.closed, CLOSED, np.where(laws.active, ACTIVE, OPEN))
    result.gap[rows] = laws.gap
    result.imbalance[rows] = laws.imbalance
    result.iterations[rows] = iteration
    result.converged[rows] = done
