"""Whether each operating point has a solution, and if not, why."""

from enum import IntEnum

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


class Status(IntEnum):
    """Whether an operating point has a solution, and if not, why."""

    SOLVED = 0
    NO_DATA = 1
    """An element lacks a datum."""
    OUTSIDE_DATA = 2
    """The solution would lie beyond what an element was measured for."""
    PUMP_CANNOT_REACH = 3
    """A pump would have to raise more pressure, or deliver more flow, than it can."""
    CUT_OFF = 4
    """A demand lies behind valves that are closed."""
    NOT_CONVERGED = 5
    """The iteration found no state that meets every law."""


class ValveState(IntEnum):
    """State of a valve at a solution."""

    UNKNOWN = -2
    """The point has no solution."""
    NOT_A_VALVE = -1
    CLOSED = 0
    ACTIVE = 1
    """A regulator that holds its set point."""
    OPEN = 2


class Cause(IntEnum):
    """What stands in the way of a solution."""

    NONE = 0
    PRESSURE_RISE = 1
    """Of a pump [kPa]."""
    PUMP_FLOW = 2
    """Of a pump, beyond all it gives [L/h]."""
    FLOW = 3
    """Through a measured loss [L/h]."""
    VOLTAGE = 4
    """Of a pump [V]."""
    VOLTAGE_MISSING = 5
    CURVE_VOLTAGE_MISSING = 6
    DATUM_MISSING = 7
    """See `Network.missing`."""
    DEMAND = 8
    """At a junction that is cut off [L/h]."""


_SAYS = {
    Cause.PRESSURE_RISE: (
        "pump {id!r} would have to raise {value:.4g} kPa; {end} {limit:.4g} kPa "
        "({excess:.3g} kPa beyond)"
    ),
    Cause.PUMP_FLOW: (
        "pump {id!r} would have to deliver {value:.4g} L/h; the most it was measured to deliver "
        "is {limit:.4g} L/h ({excess:.3g} L/h beyond)"
    ),
    Cause.FLOW: (
        "{id!r} would pass {value:.4g} L/h; it was measured up to {limit:.4g} L/h "
        "({excess:.3g} L/h beyond)"
    ),
    Cause.VOLTAGE: (
        "pump {id!r} is at {value:.4g} V; it was measured to {limit:.4g} V ({excess:.3g} V beyond)"
    ),
    Cause.VOLTAGE_MISSING: "the voltage of pump {id!r} is not recorded; its curves need it",
    Cause.CURVE_VOLTAGE_MISSING: (
        "pump {id!r} has a voltage here, but the voltage its curve was measured at is not recorded"
    ),
    Cause.DEMAND: "the demand of {value:.4g} L/h at {id!r} lies behind closed valves",
}


class Outcome:
    """Status and cause of B points.

    Attributes
    ----------
    status : (B,) int8
        :class:`Status`.
    cause : (B,) int8
        :class:`Cause`.
    element : (B,) int
        Place of the link in the layout, of the node for `Cause.DEMAND`; -1 without one.
    value, limit : (B,) float
        What the solution would need, and where the data end.
    """

    __slots__ = ("cause", "element", "limit", "status", "value")

    def __init__(self, size: int) -> None:
        self.status = np.zeros(size, dtype=np.int8)
        self.cause = np.zeros(size, dtype=np.int8)
        self.element = np.full(size, -1)
        self.value = np.full(size, np.nan)
        self.limit = np.full(size, np.nan)

    def note(
        self,
        rows: BoolArray | IntArray,
        status: Status | IntArray,
        cause: Cause | IntArray = Cause.NONE,
        element: int | IntArray = -1,
        value: float | FloatArray = np.nan,
        limit: float | FloatArray = np.nan,
    ) -> None:
        """Set the outcome of the rows; arrays hold one value for each of them."""
        self.status[rows] = status
        self.cause[rows] = cause
        self.element[rows] = element
        self.value[rows] = value
        self.limit[rows] = limit

    def reason(self, row: int, element_id: str | None) -> str:
        """One sentence on why the point has no solution; empty if it has one."""
        status, cause = Status(self.status[row]), Cause(self.cause[row])
        if status == Status.SOLVED:
            return ""
        if cause == Cause.NONE:
            return "the iteration found no state that meets every law"
        value, limit = float(self.value[row]), float(self.limit[row])
        reach = status == Status.PUMP_CANNOT_REACH
        return _SAYS[cause].format(
            id=element_id,
            value=value,
            limit=limit,
            excess=abs(value - limit),
            end="it delivers nothing above" if reach else "its data end at",
        )
