"""The states of the engine that a fuel system is looked at in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rules.assembly import Application
from rules.facts.flow import practice
from rules.facts.flow.demand import Need, temperature_of

Kind = Literal[
    "full-load",
    "peak-torque",
    "part-load",
    "idle",
    "cranking",
    "low-voltage",
    "hot-fuel",
    "cold-fuel",
    "named",
]


@dataclass(frozen=True, slots=True)
class State:
    """One operating point.

    Attributes:
        name, kind: for people, and for rules.
        share: fuel burnt, as a share of that of the power asked for.
        manifold_kpa: manifold pressure, gauge; negative is vacuum.
        voltage_v: at the pump, `None` where the request states none.
        temperature_c: of the fuel.
        asked: whether the caller's own question hangs on it; the others are left out where the
            pump was not measured for them.
    """

    name: str
    kind: Kind
    share: float
    manifold_kpa: float
    voltage_v: float | None
    temperature_c: float
    asked: bool = False


def states_of(app: Application, boost_kpa: float) -> tuple[State, ...]:
    """The usual operating points of an application, then those that its caller named."""
    temperature, voltage = temperature_of(app), app.supply_voltage_v
    stated_vacuum = app.idle_vacuum_kpa
    vacuum = practice.IDLE_VACUUM_KPA if stated_vacuum is None else stated_vacuum

    def state(
        name: str,
        kind: Kind,
        share: float,
        manifold_kpa: float,
        voltage_v: float | None = voltage,
        temperature_c: float = temperature,
        asked: bool = False,
    ) -> State:
        return State(name, kind, share, manifold_kpa, voltage_v, temperature_c, asked)

    found = [
        state("full load", "full-load", 1.0, boost_kpa, asked=True),
        state("peak torque", "peak-torque", practice.PEAK_TORQUE_SHARE, boost_kpa),
        state("part load", "part-load", practice.PART_LOAD_SHARE, 0.0),
        state("idle", "idle", practice.IDLE_SHARE, -vacuum, asked=True),
        state("cranking", "cranking", practice.CRANKING_SHARE, 0.0, practice.CRANKING_VOLTAGE_V),
    ]
    if voltage is not None and voltage > practice.LOW_VOLTAGE_V:
        found.append(state("low voltage", "low-voltage", 1.0, boost_kpa, practice.LOW_VOLTAGE_V))
    if temperature < practice.HOT_FUEL_C:
        hot = practice.HOT_FUEL_C
        found.append(state("hot fuel", "hot-fuel", 1.0, boost_kpa, temperature_c=hot))
    if temperature > practice.COLD_FUEL_C:
        cold = practice.COLD_FUEL_C
        idle = practice.IDLE_SHARE
        found.append(state("cold fuel", "cold-fuel", idle, -vacuum, temperature_c=cold))
    for named in app.operating_points:
        power = named.power_kw
        whole = app.power_kw
        found.append(
            state(
                named.name,
                "named",
                1.0 if power is None or whole is None else power / whole,
                boost_kpa if named.boost_kpa is None else named.boost_kpa,
                voltage if named.supply_voltage_v is None else named.supply_voltage_v,
                temperature if named.fuel_temperature_c is None else named.fuel_temperature_c,
                asked=True,
            )
        )
    return tuple(found)


def flow_lph(state: State, need: Need) -> float:
    """Fuel burnt at an operating point, by volume at its temperature [L/h]."""
    density = need.blend.density_kg_m3(state.temperature_c)
    return state.share * need.demand.mass_flow_kg_s * 3.6e6 / density


def pump_share(state: State) -> float:
    """What is left of a pump's flow in hot fuel."""
    hotter = max(0.0, state.temperature_c - practice.USUAL_TEMPERATURE_C)
    return max(0.1, 1.0 - practice.HOT_LOSS_PER_K * hotter)
