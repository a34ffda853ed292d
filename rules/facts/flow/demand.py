"""What the engine asks of its fuel system, at both ends of what the request leaves open."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from rules import fuel
from rules.assembly import Application
from rules.circuit import AssemblyFault, AssemblyFaults, Circuit, FuelRange
from rules.facts.application import contradicts_boost
from rules.facts.case import STATE, Gap
from rules.facts.flow.practice import USUAL_TEMPERATURE_C
from rules.fuel import Assumption, Blend, Consumption, Demand, OutsideDataError
from rules.vocabulary import PowerAt

APPLICATION = "the application"


@dataclass(frozen=True)
class Need:
    """The fuel of one power: the power asked for, and what turns it into flow.

    Attributes:
        power_kw, at: as asked.
        loss: share of the crank's power that is lost before `at`.
        demand: the fuel it takes, with every number used.
        consumption, blend, temperature_c: what was used.
    """

    power_kw: float
    at: PowerAt
    loss: float
    demand: Demand
    consumption: Consumption
    blend: Blend
    temperature_c: float

    @cached_property
    def density_kg_m3(self) -> float:
        """Density of the fuel as it flows."""
        return self.blend.density_kg_m3(self.temperature_c)

    def power_of(self, flow_lph: float) -> float:
        """The power, where it was asked for, that a flow of fuel carries [kW]."""
        mass_kg_s = flow_lph / 3.6e6 * self.density_kg_m3
        crank = fuel.supported_crank_power_kw(mass_kg_s, self.consumption, self.blend)
        return crank * (1.0 - self.loss)


@dataclass(frozen=True)
class Needs:
    """The least and the most that the engine may ask for; one and the same where all is stated.

    Both are `None` where something is missing that no bracket can stand for: `gaps` says what.
    With both there, `gaps` says what lies between them.
    """

    least: Need | None
    most: Need | None
    gaps: tuple[Gap, ...]


def blend_of(held: FuelRange) -> Blend:
    """The blend of a fuel that takes the most volume: that with the most alcohol."""
    return Blend(held.ethanol_most_percent, held.methanol_percent)


def temperature_of(app: Application) -> float:
    """Temperature of the fuel, the usual one where none is stated [degC]."""
    return USUAL_TEMPERATURE_C if app.fuel_temperature_c is None else app.fuel_temperature_c


def needs_of(circuit: Circuit) -> Needs:
    """What a circuit's engine asks for at full load.

    Raises:
        AssemblyFaults: a measured consumption below what the heat of the fuel allows.
    """
    app = circuit.application
    if app.power_kw is None:
        return Needs(None, None, (Gap("power", APPLICATION),))
    blend = blend_of(circuit.fuel)
    consumption = _consumption(app, blend)
    if consumption is None:
        stands = " that agrees with the boost" if contradicts_boost(app) else ""
        return Needs(None, None, (Gap(f"induction{stands}", APPLICATION, STATE),))
    try:
        if app.power_at is not None:
            stated = _need(app, app.power_at, consumption, blend)
            return Needs(stated, stated, ())
        return Needs(
            _need(app, "crank", consumption, blend),
            _need(app, "wheels", consumption, blend),
            (Gap("where the power is measured (crank or wheels)", APPLICATION),),
        )
    except OutsideDataError as outside:
        return Needs(None, None, (_beyond_the_data(outside, app, circuit.fuel.label),))


def _beyond_the_data(outside: OutsideDataError, app: Application, fuel_name: str) -> Gap:
    """What is asked for at a temperature that nobody measured the fuel at."""
    name = outside.quantity.replace("_", " ")
    at = f"{temperature_of(app):g} degC"
    if outside.known_c is None:
        return Gap(f"{name} at {at}", fuel_name)
    least, most = outside.known_c
    within = f"State a fuel temperature from {least:g} to {most:g} degC"
    return Gap(
        f"{name} at {at} (known from {least:g} to {most:g} degC)",
        fuel_name,
        f"{within}: beyond it the {name} of {{of}} is not known here.",
    )


def _consumption(app: Application, blend: Blend) -> Consumption | None:
    if app.consumption_kg_kwh is not None:
        try:
            return fuel.measured_consumption(app.consumption_kg_kwh, blend)
        except ValueError as fault:
            raise AssemblyFaults([_impossible(app.consumption_kg_kwh, str(fault))]) from fault
    # What an engine burns hangs on what fills it: not to be told where the request says both.
    if app.induction is None or contradicts_boost(app):
        return None
    return fuel.planning_consumption(app.induction)


def _impossible(stated: float, reason: str) -> AssemblyFault:
    detail = f"No engine runs on so little fuel: {reason.partition(', but ')[2] or reason}."
    expected = "the fuel burnt for each unit of work, typically 0.25 to 0.9 kg/kWh"
    return AssemblyFault("/application/consumption", f"{stated:g} kg/kWh", detail, expected)


def _need(app: Application, at: PowerAt, consumption: Consumption, blend: Blend) -> Need:
    assert app.power_kw is not None
    loss = 0.0
    stated = app.driveline_loss_percent
    if at == "wheels":
        loss = fuel.DEFAULT_DRIVELINE_LOSS if stated is None else stated / 100.0
    temperature_c = temperature_of(app)
    demand = fuel.demand(
        app.power_kw,
        at=at,
        consumption=consumption,
        blend=blend,
        temperature_c=temperature_c,
        driveline_loss=None if at == "crank" or stated is None else stated / 100.0,
    )
    return Need(app.power_kw, at, loss, demand, consumption, blend, temperature_c)


def assumptions_of(app: Application, need: Need) -> tuple[Assumption, ...]:
    """Every number behind a demand; a temperature that nobody stated is told as such."""
    return tuple(
        Assumption(a.name, a.value, a.unit, "usual value, none is stated", a.low, a.high)
        if a.name == "fuel temperature" and app.fuel_temperature_c is None
        else a
        for a in need.demand.assumptions
    )
