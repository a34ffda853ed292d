"""Measured curves: monotone interpolation without overshoot, and where the data end.

A curve is held as pieces of cubic polynomials so that many curves at many operating points are
evaluated in a few numpy calls. Beyond the data every curve goes on (see :func:`table`), only so
that the solver's iterates may pass there: a solution that ends there is never reported as one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_KEPT_TABLES = 4096


@dataclass(frozen=True, slots=True)
class PumpCurve:
    """What a pump was measured to deliver, at one voltage or speed.

    Parameters
    ----------
    pressure_rise_kpa : sequence of float
        Pressure rises [kPa], rising strictly; two at least.
    flow_lph : sequence of float
        Flow at each of them [L/h], not negative, falling strictly.
    voltage_v : float, optional
        Supply voltage of the measurement [V]. A pump with several curves needs it on each.
    """

    pressure_rise_kpa: Sequence[float]
    flow_lph: Sequence[float]
    voltage_v: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "pressure_rise_kpa", tuple(self.pressure_rise_kpa))
        object.__setattr__(self, "flow_lph", tuple(self.flow_lph))


@dataclass(frozen=True, slots=True)
class LossCurve:
    """What pressure an element was measured to cost, at a series of flows.

    Parameters
    ----------
    flow_lph : sequence of float
        Flows [L/h], not negative, rising strictly.
    drop_kpa : sequence of float
        Pressure drop at each of them [kPa], rising strictly. No flow costs no pressure: the origin
        is added if it is not in the data, and backward flow costs the same as forward flow.
    """

    flow_lph: Sequence[float]
    drop_kpa: Sequence[float]

    def __post_init__(self) -> None:
        object.__setattr__(self, "flow_lph", tuple(self.flow_lph))
        object.__setattr__(self, "drop_kpa", tuple(self.drop_kpa))


class Table(NamedTuple):
    """A curve as cubic pieces: on piece i, y = sum of coefficients[i, m] (x - base[i])**m.

    `knots` (K,) part the K + 1 pieces; the first and the last piece are straight and endless.
    """

    knots: FloatArray
    base: FloatArray
    coefficients: FloatArray
    first: float
    last: float


def monotone_slopes(x: Sequence[float], y: Sequence[float]) -> list[float]:
    """Slopes at the points of the shape-preserving piecewise cubic (PCHIP).

    Inside, the weighted harmonic mean of the neighbouring secants; at the ends, the three-point
    formula, cut so that the curve neither overshoots nor turns.

    Parameters
    ----------
    x, y : sequence of float
        Two points at least, x rising strictly.

    References
    ----------
    "A method for constructing local monotone piecewise cubic interpolants", SIAM Journal on
    Scientific and Statistical Computing 5 (1984) 300-304. Cited from memory.
    """
    width = [b - a for a, b in pairwise(x)]
    secant = [(b - a) / w for (a, b), w in zip(pairwise(y), width, strict=True)]
    if len(secant) == 1:
        return [secant[0], secant[0]]
    slopes = [_end_slope(width[0], width[1], secant[0], secant[1])]
    for i in range(1, len(secant)):
        before, after = secant[i - 1], secant[i]
        if before * after <= 0.0:
            slopes.append(0.0)
            continue
        w1 = 2.0 * width[i] + width[i - 1]
        w2 = width[i] + 2.0 * width[i - 1]
        slopes.append((w1 + w2) / (w1 / before + w2 / after))
    slopes.append(_end_slope(width[-1], width[-2], secant[-1], secant[-2]))
    return slopes


def _end_slope(width: float, next_width: float, secant: float, next_secant: float) -> float:
    slope = ((2.0 * width + next_width) * secant - width * next_secant) / (width + next_width)
    if slope * secant <= 0.0:
        return 0.0
    if secant * next_secant <= 0.0 and abs(slope) > 3.0 * abs(secant):
        return 3.0 * secant
    return slope


def table(x: Sequence[float], y: Sequence[float]) -> Table:
    """Cut a strictly monotone curve into pieces and let it go on beyond its data.

    Beyond each end the curve bends, over the width of the data, into a straight line that is as
    steep as the steeper of its end and its mean: so it stays strictly monotone and without end,
    which gives every network of such curves a solution to iterate towards.
    """
    mean = (y[-1] - y[0]) / (x[-1] - x[0])
    span = x[-1] - x[0]
    slopes = monotone_slopes(x, y)
    steep = max if mean > 0.0 else min
    head, tail = steep(mean, slopes[0]), steep(mean, slopes[-1])
    return pieces(
        np.array([x[0] - span, *x, x[-1] + span]),
        np.array([y[0] - span * head, *y, y[-1] + span * tail]),
        np.array([head, *slopes, tail]),
        x[0],
        x[-1],
    )


@lru_cache(maxsize=_KEPT_TABLES)
def pump_table(curve: PumpCurve) -> Table:
    """Flow over pressure rise; kept, as the same measured pump turns up in many networks."""
    return table(curve.pressure_rise_kpa, curve.flow_lph)


@lru_cache(maxsize=_KEPT_TABLES)
def loss_table(curve: LossCurve) -> Table:
    """Drop over flow, in both directions; kept like :func:`pump_table`."""
    return odd_table(curve.flow_lph, curve.drop_kpa)


def odd_table(x: Sequence[float], y: Sequence[float]) -> Table:
    """As :func:`table`, for a curve through the origin that is the same backwards: x from 0 up."""
    if x[0] > 0.0:
        x, y = (0.0, *x), (0.0, *y)
    mirrored_x = [-v for v in x[:0:-1]]
    mirrored_y = [-v for v in y[:0:-1]]
    return table([*mirrored_x, *x], [*mirrored_y, *y])


def pieces(x: FloatArray, y: FloatArray, slope: FloatArray, first: float, last: float) -> Table:
    """Cubic pieces through values and slopes, straight on beyond both ends."""
    width = np.diff(x)
    secant = np.diff(y) / width
    coefficients = np.zeros((len(x) + 1, 4))
    coefficients[0, :2] = y[0], slope[0]
    coefficients[1:, 0] = y
    coefficients[1:, 1] = slope
    coefficients[1:-1, 2] = (3.0 * secant - 2.0 * slope[:-1] - slope[1:]) / width
    coefficients[1:-1, 3] = (slope[:-1] + slope[1:] - 2.0 * secant) / width**2
    return Table(x, np.concatenate((x[:1], x)), coefficients, first, last)


def evaluate(curve: Table, x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Value and slope of one curve at each x."""
    piece = np.searchsorted(curve.knots, x, side="right")
    return cubic(curve.coefficients[piece], x - curve.base[piece])


def cubic(coefficients: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Value and slope at t of the cubics whose coefficients are on the last axis."""
    c0, c1 = coefficients[..., 0], coefficients[..., 1]
    c2, c3 = coefficients[..., 2], coefficients[..., 3]
    return ((c3 * t + c2) * t + c1) * t + c0, (3.0 * c3 * t + 2.0 * c2) * t + c1


def on_knots(curve: Table, knots: FloatArray) -> Table:
    """The same curve cut at more knots, which must include its own."""
    if len(knots) == len(curve.knots):
        return curve
    return pieces(knots, *evaluate(curve, knots), curve.first, curve.last)


class CurveBank(NamedTuple):
    """The curves of all pumps and measured losses of a network, padded to one size.

    `knots` (C, K) is padded with infinity, `base` (C, K + 1). Curve c owns the rows
    `start[c]` to `start[c + 1]` of `coefficients` (R, K + 1, 4), `voltage`, `first` and `last`:
    one row for each voltage it was measured at.
    """

    knots: FloatArray
    base: FloatArray
    start: list[int]
    coefficients: FloatArray
    voltage: list[float | None]
    first: FloatArray
    last: FloatArray


def bank(curves: Sequence[Sequence[tuple[float | None, Table]]]) -> CurveBank:
    """Gather curves; each is a sequence of (voltage, table) by rising voltage.

    The tables of one curve are cut at their common knots, so that mixing two voltages is mixing
    their coefficients.
    """
    joint = [
        rows[0][1].knots
        if len(rows) == 1
        else np.unique(np.concatenate([one.knots for _, one in rows]))
        for rows in curves
    ]
    longest = max((len(knots) for knots in joint), default=0)
    count = sum(len(rows) for rows in curves)
    knots = np.full((len(curves), longest), np.inf)
    base = np.zeros((len(curves), longest + 1))
    coefficients = np.zeros((count, longest + 1, 4))
    start = [0]
    voltage: list[float | None] = []
    first, last = np.empty(count), np.empty(count)
    for c, rows in enumerate(curves):
        own = joint[c]
        knots[c, : len(own)] = own
        for volts, one in rows:
            cut = on_knots(one, own)
            row = len(voltage)
            base[c, : len(own) + 1] = cut.base
            coefficients[row, : len(own) + 1] = cut.coefficients
            first[row], last[row] = cut.first, cut.last
            voltage.append(volts)
        start.append(len(voltage))
    return CurveBank(knots, base, start, coefficients, voltage, first, last)
