"""Steady flow in pipe networks of any topology.

Describe a network once (:class:`Network`), then solve any number of operating points of it in one
call (:func:`solve`). Lengths are in mm, pressures in kPa gauge, flows in L/h, densities in kg/m3,
viscosities in mPa s, elevations in m.
"""

from .curves import LossCurve, PumpCurve
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
from .losses import (
    friction_factor,
    friction_factor_slope,
    k_from_measured_drop,
    k_on_diameter,
    sudden_contraction_k,
    sudden_expansion_k,
)
from .network import Missing, Network
from .outcome import Cause, Status, ValveState
from .points import Points
from .solution import Solution, solve

__all__ = [
    "BackPressureRegulator",
    "Cause",
    "CheckValve",
    "Fault",
    "FixedPressure",
    "Junction",
    "Link",
    "LocalLoss",
    "LossCurve",
    "MeasuredLoss",
    "Missing",
    "Network",
    "NetworkFault",
    "Node",
    "Orifice",
    "Pipe",
    "Points",
    "Pump",
    "PumpCurve",
    "ReducingRegulator",
    "Solution",
    "Status",
    "ValveState",
    "friction_factor",
    "friction_factor_slope",
    "k_from_measured_drop",
    "k_on_diameter",
    "solve",
    "sudden_contraction_k",
    "sudden_expansion_k",
]
