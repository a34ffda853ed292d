"""What a pipe network is made of.

Plain values: nothing is checked here, the network checks all of its elements together. Flow is
positive from `start` to `end`. A datum that may be missing takes None for "not recorded": the
network is then still built, and solving it says which element lacks data.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from .curves import LossCurve, PumpCurve


@dataclass(frozen=True, slots=True)
class Junction:
    """A point where elements meet; its pressure is sought.

    Parameters
    ----------
    id : str
        Unique among the nodes.
    demand_lph : float
        Flow taken out here [L/h]; negative feeds in.
    elevation_m : float
        Height above the common datum [m].
    """

    id: str
    demand_lph: float = 0.0
    elevation_m: float = 0.0


@dataclass(frozen=True, slots=True)
class FixedPressure:
    """A tank, a vent or a supply: its pressure is given and it takes or gives any flow.

    Parameters
    ----------
    id : str
        Unique among the nodes.
    pressure_kpa : float
        Gauge pressure [kPa].
    elevation_m : float
        Height of the surface or outlet above the common datum [m].
    """

    id: str
    pressure_kpa: float = 0.0
    elevation_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Pipe:
    """A straight or gently curved pipe or hose: Darcy-Weisbach, dp = (f L / D + K) rho V^2 / 2.

    Parameters
    ----------
    length_mm, diameter_mm : float or None
        Length and inner diameter [mm], above 0.
    roughness_mm : float or None
        Height of the wall's roughness [mm], 0 up to 5 % of the diameter.
    k : float
        Loss coefficient of what is in the pipe beside its length (bends), on its diameter [-].
    """

    id: str
    start: str
    end: str
    length_mm: float | None
    diameter_mm: float | None
    roughness_mm: float | None
    k: float = 0.0


@dataclass(frozen=True, slots=True)
class LocalLoss:
    """A fitting, a bend or a step in bore: dp = K rho V |V| / 2.

    Parameters
    ----------
    k : float or None
        Loss coefficient [-], not negative; the same in both directions.
    diameter_mm : float or None
        Diameter the coefficient refers to [mm], above 0.
    """

    id: str
    start: str
    end: str
    k: float | None
    diameter_mm: float | None


@dataclass(frozen=True, slots=True)
class Orifice:
    """An orifice or the drive nozzle of a jet pump: Q = Cd A sqrt(2 dp / rho).

    Parameters
    ----------
    discharge_coefficient : float or None
        Cd [-], above 0 and not above 1.
    diameter_mm : float or None
        Diameter of the hole [mm], above 0.
    """

    id: str
    start: str
    end: str
    discharge_coefficient: float | None
    diameter_mm: float | None


@dataclass(frozen=True, slots=True)
class MeasuredLoss:
    """An element known by its measured pressure drop, such as a filter.

    Parameters
    ----------
    curve : LossCurve or None
        The measurement. A flow beyond it is reported, never extrapolated.
    """

    id: str
    start: str
    end: str
    curve: LossCurve | None


@dataclass(frozen=True, slots=True)
class Pump:
    """A pump known by its measured curves, drawing from `start`, delivering to `end`.

    Parameters
    ----------
    curves : sequence of PumpCurve or None
        One curve, or one for each of several voltages. Between two voltages the flows at equal
        pressure rise are mixed in proportion, which can't overshoot. A working point beyond the
        data is reported, never extrapolated; so data that are to answer for a pump held off by a
        stronger one must reach down to no flow.
    """

    id: str
    start: str
    end: str
    curves: Sequence[PumpCurve] | None


@dataclass(frozen=True, slots=True)
class CheckValve:
    """Passes flow from `start` to `end` only: dp = cracking pressure + K rho V^2 / 2.

    Parameters
    ----------
    k : float or None
        Loss coefficient when open [-], not negative.
    diameter_mm : float or None
        Diameter the coefficient refers to [mm], above 0.
    cracking_pressure_kpa : float
        Pressure difference of the spring [kPa], not negative.
    """

    id: str
    start: str
    end: str
    k: float | None
    diameter_mm: float | None
    cracking_pressure_kpa: float = 0.0


@dataclass(frozen=True, slots=True)
class BackPressureRegulator:
    """Holds the pressure at `start` by spilling to `end`; a relief valve is one too.

    Three states. *Active*: the start is at its set point. *Open*: fully open, and its own loss plus
    what lies beyond keeps the start above the set point. *Closed*: the start is below the set point
    and nothing passes. Nothing ever passes backwards.

    Parameters
    ----------
    set_point_kpa : float or None
        Pressure held at the start [kPa], above the reference pressure of the operating point
        (0 gauge unless stated there).
    open_k : float or None
        Loss coefficient when fully open [-], not negative.
    diameter_mm : float or None
        Diameter the coefficient refers to [mm], above 0.
    """

    id: str
    start: str
    end: str
    set_point_kpa: float | None
    open_k: float | None
    diameter_mm: float | None


@dataclass(frozen=True, slots=True)
class ReducingRegulator:
    """Holds the pressure at `end` by throttling what comes from `start`.

    Three states. *Active*: the end is at its set point. *Open*: fully open, and the supply is too
    weak to bring the end to the set point. *Closed*: the end is above the set point. Nothing ever
    passes backwards.

    Parameters
    ----------
    set_point_kpa : float or None
        Pressure held at the end [kPa], above the reference pressure of the operating point
        (0 gauge unless stated there).
    open_k : float or None
        Loss coefficient when fully open [-], not negative.
    diameter_mm : float or None
        Diameter the coefficient refers to [mm], above 0.
    """

    id: str
    start: str
    end: str
    set_point_kpa: float | None
    open_k: float | None
    diameter_mm: float | None


Node = Junction | FixedPressure
Regulator = BackPressureRegulator | ReducingRegulator
Valve = CheckValve | BackPressureRegulator | ReducingRegulator
Link = (
    Pipe
    | LocalLoss
    | Orifice
    | MeasuredLoss
    | Pump
    | CheckValve
    | BackPressureRegulator
    | ReducingRegulator
)
