"""Facts of the application: the fuel, and the pressures it asks for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

from rules.assembly import Application
from rules.circuit import Circuit
from rules.facts.case import recorded
from rules.facts.words import CIRCUITS, INDUCTIONS, PUMP_CONTROLS, REFERENCES, USES
from rules.schema import UNKNOWN, Flag, Maybe, Number, Record, Text, Unknown, Word


@dataclass(frozen=True, slots=True)
class AppFacts(Record):
    """What the system is for."""

    name: Annotated[str, Text(label="name", origin="request")]
    fuel: Annotated[str, Text(label="fuel", origin="request")]
    ethanol_least_percent: Annotated[
        float, Number("%", label="least ethanol", origin="reference table of fuels")
    ]
    ethanol_most_percent: Annotated[
        float, Number("%", label="most ethanol", origin="reference table of fuels")
    ]
    methanol_percent: Annotated[
        float, Number("%", label="methanol", origin="reference table of fuels")
    ]
    fuel_is_range: Annotated[bool, Flag(label="fuel varies between fills", origin="request")]
    induction: Annotated[Maybe[str], Word(INDUCTIONS, label="induction", origin="request")]
    boost_contradicted: Annotated[
        bool, Flag(label="boost stated of an engine without a blower", origin="request")
    ]
    boosted: Annotated[Maybe[bool], Flag(label="boosted", origin="request")]
    boost_kpa: Annotated[Maybe[float], Number("kPa", shown="bar", label="boost", origin="request")]
    base_pressure_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", label="base pressure", origin="request")
    ]
    peak_pressure_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="peak fuel pressure", origin="computed: base plus boost"),
    ]
    reference: Annotated[
        Maybe[str], Word(REFERENCES, label="regulator reference", origin="catalogue")
    ]
    fuel_temperature_c: Annotated[
        Maybe[float], Number("degC", label="fuel temperature", origin="request")
    ]
    temperature_stated: Annotated[bool, Flag(label="fuel temperature stated", origin="request")]
    returns_to_tank: Annotated[bool, Flag(label="return circuit", origin="request")]
    ignition_switched: Annotated[bool, Flag(label="pump on the ignition", origin="request")]
    use: Annotated[Maybe[str], Word(USES, label="use", origin="request")]
    circuit: Annotated[Maybe[str], Word(CIRCUITS, label="circuit", origin="request")]
    pump_control: Annotated[Maybe[str], Word(PUMP_CONTROLS, label="pump control", origin="request")]
    cylinders: Annotated[Maybe[int], Number(label="cylinders", origin="request")]
    origins: Mapping[str, str] = field(default_factory=dict)


def application_facts(circuit: Circuit) -> AppFacts:
    """The facts of a circuit's application."""
    app = circuit.application
    boosted = _boosted(app)
    boost = _boost(app.boost_kpa, boosted)
    base, base_origin = _base_pressure(circuit)
    reference = _reference(circuit)
    return AppFacts(
        name="the application",
        fuel=circuit.fuel.label,
        ethanol_least_percent=circuit.fuel.ethanol_least_percent,
        ethanol_most_percent=circuit.fuel.ethanol_most_percent,
        methanol_percent=circuit.fuel.methanol_percent,
        fuel_is_range=circuit.fuel.is_range,
        induction=recorded(app.induction),
        boost_contradicted=contradicts_boost(app),
        boosted=boosted,
        boost_kpa=boost,
        base_pressure_kpa=base,
        peak_pressure_kpa=_peak_pressure(base, boost, reference),
        reference=reference,
        fuel_temperature_c=recorded(app.fuel_temperature_c),
        temperature_stated=app.fuel_temperature_c is not None,
        returns_to_tank=app.circuit == "return",
        ignition_switched=app.pump_control == "ignition-switched",
        use=recorded(app.use),
        circuit=UNKNOWN if app.circuit in (None, "unstated") else app.circuit,
        pump_control=recorded(app.pump_control),
        cylinders=recorded(app.cylinders),
        origins={"base_pressure_kpa": base_origin},
    )


def contradicts_boost(app: Application) -> bool:
    """Whether an application states boost and says that nothing makes it."""
    return app.induction == "naturally-aspirated" and bool(app.boost_kpa)


def _boosted(app: Application) -> Maybe[bool]:
    """Boost that is stated decides: the fuel system must bear it, whatever makes it."""
    if app.boost_kpa:
        return True
    if app.induction is None:
        return UNKNOWN if app.boost_kpa is None else False
    return app.induction != "naturally-aspirated"


def _boost(stated: float | None, boosted: Maybe[bool]) -> Maybe[float]:
    if boosted is not UNKNOWN and not boosted:
        return 0.0
    return recorded(stated)


def _base_pressure(circuit: Circuit) -> tuple[Maybe[float], str]:
    if circuit.application.base_pressure_kpa is not None:
        return circuit.application.base_pressure_kpa, "request"
    set_to = {
        item.item.set_pressure_kpa or getattr(item.part.spec, "set_pressure_kpa", None)
        for item in circuit.of_kind("regulator")
    }
    if len(set_to) == 1 and None not in set_to:
        return next(float(p) for p in set_to if p is not None), "setting of the regulator"
    return UNKNOWN, "request"


def _reference(circuit: Circuit) -> Maybe[str]:
    found = {getattr(item.part.spec, "reference", None) for item in circuit.of_kind("regulator")}
    return recorded(found.pop()) if len(found) == 1 else UNKNOWN


def _peak_pressure(base: Maybe[float], boost: Maybe[float], reference: Maybe[str]) -> Maybe[float]:
    """Highest gauge pressure the rail is meant to hold.

    Base pressure stands above the manifold, so boost adds to it unless the regulator is known to
    be referenced to the open air. With the reference unknown the higher figure counts: the engine
    needs it at full load.
    """
    if isinstance(base, Unknown):
        return UNKNOWN
    if not isinstance(reference, Unknown) and reference == "atmosphere":
        return base
    return UNKNOWN if isinstance(boost, Unknown) else base + boost
