"""Operating points: what changes from one state of a network to the next, as arrays."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import inf
from typing import Any, NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt

from .curves import CurveBank
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
)
from .faults import Fault, NetworkFault
from .layout import Layout
from .network import Network
from .outcome import Cause, Outcome, Status

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

GRAVITY_M_S2 = 9.80665

ByElement = Mapping[str, npt.ArrayLike]


@dataclass(frozen=True)
class Points:
    """A batch of B operating points of one network.

    Every value is a number, the same at all points, or an array of B. What a mapping does not name
    keeps the value it has in the network.

    Parameters
    ----------
    density_kg_m3, viscosity_mpa_s : array_like
        Density [kg/m3] and dynamic viscosity [mPa s] of the fluid, above 0.
    demand_lph : mapping of junction id to array_like
        Flow taken out [L/h].
    fixed_pressure_kpa : mapping of fixed node id to array_like
        Gauge pressure there [kPa].
    set_point_kpa : mapping of regulator id to array_like
        Set point [kPa].
    reference_kpa : mapping of regulator id to array_like
        Gauge pressure the set point is counted from [kPa]; 0 where not named.
    pump_scale : mapping of pump id to array_like
        Factor on the flow at every pressure rise [-], not negative; 1 where not named. 0 is a
        stopped pump, which passes nothing.
    pump_voltage_v : mapping of pump id to array_like
        Voltage [V], above 0; NaN where it is not recorded. Needed where the pump's curves state
        theirs.
    loss_scale : mapping of pipe, fitting, orifice, measured loss or valve id to array_like
        Factor on the pressure loss [-], not negative; 1 where not named. 0 makes the element
        perfect, which answers what it costs without building another network.
    """

    density_kg_m3: npt.ArrayLike
    viscosity_mpa_s: npt.ArrayLike
    demand_lph: ByElement = field(default_factory=dict)
    fixed_pressure_kpa: ByElement = field(default_factory=dict)
    set_point_kpa: ByElement = field(default_factory=dict)
    reference_kpa: ByElement = field(default_factory=dict)
    pump_scale: ByElement = field(default_factory=dict)
    pump_voltage_v: ByElement = field(default_factory=dict)
    loss_scale: ByElement = field(default_factory=dict)


class Case(NamedTuple):
    """The points as the solver wants them, B rows in every array.

    Columns follow :class:`rules.hydraulics.layout.Layout`. Pressures are piezometric [kPa],
    `gravity` (B, nodes) is what elevation adds to a gauge pressure. `unread` (B, C) are the curves
    whose range does not matter: of a pump that stands, of a measured loss scaled to nothing.
    """

    demand: FloatArray
    fixed_pressure: FloatArray
    gravity: FloatArray
    friction: FloatArray
    reynolds: FloatArray
    local: FloatArray
    viscous_flow_squared: FloatArray
    first_loss: FloatArray
    valve_local: FloatArray
    valve_viscous_flow_squared: FloatArray
    coefficients: FloatArray
    first: FloatArray
    last: FloatArray
    unread: BoolArray
    set_point: FloatArray
    cracking: FloatArray


R = TypeVar("R", bound=tuple[Any, ...])


def rows_of(record: R, rows: IntArray | BoolArray) -> R:
    """A record of arrays for some of its points."""
    return type(record)(*(array[rows] for array in record))


class _Override(NamedTuple):
    of_node: bool
    kinds: tuple[type, ...]
    accepts: Callable[[FloatArray], bool]
    says: str


def _finite(values: FloatArray) -> bool:
    return bool(np.isfinite(values).all())


def _not_negative(values: FloatArray) -> bool:
    return bool(((values >= 0.0) & (values < inf)).all())


def _positive(values: FloatArray) -> bool:
    return bool(((values > 0.0) & (values < inf)).all())


def _positive_or_nan(values: FloatArray) -> bool:
    return not ((values <= 0.0) | (values == inf)).any()


_REGULATORS = (BackPressureRegulator, ReducingRegulator)
_LOSSES = (Pipe, LocalLoss, Orifice, MeasuredLoss, CheckValve, *_REGULATORS)

_OVERRIDES = {
    "demand_lph": _Override(True, (Junction,), _finite, "must be finite"),
    "fixed_pressure_kpa": _Override(True, (FixedPressure,), _finite, "must be finite"),
    "set_point_kpa": _Override(False, _REGULATORS, _finite, "must be finite"),
    "reference_kpa": _Override(False, _REGULATORS, _finite, "must be finite"),
    "pump_scale": _Override(False, (Pump,), _not_negative, "must not be negative, and finite"),
    "pump_voltage_v": _Override(
        False,
        (Pump,),
        _positive_or_nan,
        "must be above 0 and finite, or NaN where it is not recorded",
    ),
    "loss_scale": _Override(False, _LOSSES, _not_negative, "must not be negative, and finite"),
}


def resolve(network: Network, points: Points) -> tuple[Case, Outcome]:
    """Check the points against the network and work out the solver's arrays.

    Raises
    ------
    NetworkFault
        With all faults at once: an id of no such element, a value out of its range, arrays of
        different lengths.
    """
    layout = network.layout
    faults: list[Fault] = []
    density, viscosity = _fluid(points, faults)
    given = {
        name: _overrides(name, rule, getattr(points, name), layout, faults)
        for name, rule in _OVERRIDES.items()
    }
    arrays = [density, viscosity, *(a for by_place in given.values() for a in by_place.values())]
    sizes = {values.size for values in arrays} - {1}
    if len(sizes) > 1:
        says = f"arrays hold {sorted(sizes)} points; they must hold equally many, or one value"
        faults.append(Fault("points", "size", says))
    if faults:
        raise NetworkFault(faults)
    size = sizes.pop() if sizes else 1
    return _case(layout, density, viscosity, given, size)


def _fluid(points: Points, faults: list[Fault]) -> tuple[FloatArray, FloatArray]:
    found = []
    for name in ("density_kg_m3", "viscosity_mpa_s"):
        values = _array(getattr(points, name))
        if values is None or not _positive(values):
            faults.append(Fault("points", name, "must be one number or a list, above 0 and finite"))
            values = np.ones(1)
        found.append(values)
    return found[0], found[1]


def _overrides(
    name: str, rule: _Override, by_id: ByElement, layout: Layout, faults: list[Fault]
) -> dict[int, FloatArray]:
    """The values of one mapping by the element's place in the layout."""
    places = layout.node_at if rule.of_node else layout.link_at
    elements: tuple[Node | Link, ...] = layout.nodes if rule.of_node else layout.links
    found: dict[int, FloatArray] = {}
    for element, value in by_id.items():
        place = places.get(element)
        where = f"{name}[{element!r}]"
        if place is None or not isinstance(elements[place], rule.kinds):
            kinds = " or ".join(kind.__name__ for kind in rule.kinds)
            faults.append(Fault("points", where, f"there is no {kinds} {element!r}"))
            continue
        values = _array(value)
        if values is None or not rule.accepts(values):
            faults.append(Fault("points", where, rule.says))
            continue
        found[place] = values
    return found


def _array(value: npt.ArrayLike) -> FloatArray | None:
    """One dimension of numbers, or None if the value is nothing of the kind."""
    try:
        values = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        return None
    if values.ndim > 1 or values.size == 0:
        return None
    return values.reshape(-1)


def _case(
    layout: Layout,
    density: FloatArray,
    viscosity_mpa_s: FloatArray,
    given: dict[str, dict[int, FloatArray]],
    size: int,
) -> tuple[Case, Outcome]:
    losses, valves, junctions = layout.losses, layout.valves, layout.junctions
    rho, mu = np.empty((size, 1)), np.empty((size, 1))
    rho[:, 0] = density
    mu[:, 0] = viscosity_mpa_s * 1e-3
    gravity = rho * (GRAVITY_M_S2 / 1000.0) * layout.elevation

    demand = _columns(layout.demand, size, given["demand_lph"])
    fixed = _columns(layout.fixed_pressure, size, given["fixed_pressure_kpa"], -junctions)
    friction = losses.friction * (mu * mu / rho)
    local = losses.local * rho
    viscous = (losses.viscous_flow * (mu / rho)) ** 2
    formulas = layout.ordinary - layout.curves
    cracking = _repeated(valves.cracking, size)
    set_point = _columns(valves.set_point, size, given["set_point_kpa"], -layout.ordinary)
    for place, reference in given["reference_kpa"].items():
        set_point[:, place - layout.ordinary] += reference
    set_point += gravity[:, valves.controlled]

    unread = np.zeros((size, layout.curves), dtype=np.bool_)
    of_curves = [*given["pump_scale"].items(), *given["loss_scale"].items()]
    of_curves = [(place, scale) for place, scale in of_curves if place < layout.curves]
    for place, scale in of_curves:
        unread[:, place] = scale == 0.0
    outcome = Outcome(size)
    coefficients, first, last = _curves(layout, given["pump_voltage_v"], unread, outcome)
    for place, scale in of_curves:
        coefficients[:, place] *= scale[:, None, None]
    for place, scale in given["loss_scale"].items():
        if place < layout.curves:
            continue
        local[:, place - layout.curves] *= scale
        if place < layout.curves + layout.pipes:
            friction[:, place - layout.curves] *= scale
        if place >= layout.ordinary:
            cracking[:, place - layout.ordinary] *= scale
    case = Case(
        demand=demand,
        fixed_pressure=fixed + gravity[:, junctions:],
        gravity=gravity,
        friction=friction,
        reynolds=losses.reynolds * (rho / mu),
        local=local[:, :formulas],
        viscous_flow_squared=viscous[:, :formulas],
        first_loss=losses.first_loss * rho,
        valve_local=local[:, formulas:],
        valve_viscous_flow_squared=viscous[:, formulas:],
        coefficients=coefficients,
        first=first,
        last=last,
        unread=unread,
        set_point=set_point,
        cracking=cracking,
    )
    return case, outcome


def _repeated(usual: FloatArray, size: int) -> FloatArray:
    whole = np.empty((size, *usual.shape))
    whole[:] = usual
    return whole


def _columns(
    usual: FloatArray, size: int, given: dict[int, FloatArray], offset: int = 0
) -> FloatArray:
    whole = _repeated(usual, size)
    for place, values in given.items():
        whole[:, place + offset] = values
    return whole


def _curves(
    layout: Layout, voltages: dict[int, FloatArray], unread: BoolArray, outcome: Outcome
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Each curve at each point, mixed between the voltages it was measured at."""
    bank, size = layout.bank, len(unread)
    rows = bank.start[:-1]
    coefficients = _repeated(bank.coefficients[rows], size)
    first = _repeated(bank.first[rows], size)
    last = _repeated(bank.last[rows], size)
    for pump in range(layout.pumps):
        low, high = bank.start[pump], bank.start[pump + 1]
        if pump not in voltages and bank.voltage[low] is None:
            continue
        asked = np.empty(size)
        asked[:] = voltages.get(pump, np.nan)
        volts = np.array(bank.voltage[low:high], dtype=np.float64)
        _refuse_voltages(pump, volts, asked, ~unread[:, pump], outcome)
        if high - low == 1:
            continue
        lower = np.clip(np.searchsorted(volts, asked, side="right") - 1, 0, high - low - 2)
        known = np.where(np.isnan(asked), volts[0], asked)
        share = (known - volts[lower]) / (volts[lower + 1] - volts[lower])
        below, above = low + lower, low + lower + 1
        mixed = bank.coefficients[below]
        mixed += share[:, None, None] * (bank.coefficients[above] - mixed)
        coefficients[:, pump] = mixed
        first[:, pump], last[:, pump] = _common_range(bank, below, above, share)
    return coefficients, first, last


def _refuse_voltages(
    pump: int, volts: FloatArray, asked: FloatArray, running: BoolArray, outcome: Outcome
) -> None:
    """Note the points whose voltage is unknown or was not measured; NaN is not recorded."""
    unknown = np.isnan(asked)
    if np.isnan(volts[0]):
        rows = running & ~unknown
        outcome.note(rows, Status.NO_DATA, Cause.CURVE_VOLTAGE_MISSING, pump)
        return
    outcome.note(running & unknown, Status.NO_DATA, Cause.VOLTAGE_MISSING, pump)
    for beyond, limit in ((asked < volts[0], volts[0]), (asked > volts[-1], volts[-1])):
        rows = running & beyond
        outcome.note(rows, Status.OUTSIDE_DATA, Cause.VOLTAGE, pump, asked[rows], limit)


def _common_range(
    bank: CurveBank, below: IntArray, above: IntArray, share: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where both curves were measured; a curve that has no share in the mixture does not count."""
    below = np.where(share == 1.0, above, below)
    above = np.where(share == 0.0, below, above)
    return (
        np.maximum(bank.first[below], bank.first[above]),
        np.minimum(bank.last[below], bank.last[above]),
    )
