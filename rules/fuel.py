"""Fuel: what a blend is, how much of it an engine burns, and what an injector passes.

A blend is petrol with ethanol and methanol by volume. Its properties follow from the pure
components by the mixing rules named at each property, and every property can say how uncertain it
is. Outside the data there is an error, never an extrapolated number.

Pressures are gauge unless the name says absolute. Numbers and their sources are in
``reference/fuel_components.csv``.
"""

from __future__ import annotations

import csv
import math
from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from importlib.resources import files
from types import MappingProxyType
from typing import Final, Literal, get_args

from rules.vocabulary import Induction, PowerAt

Quantity = Literal[
    "density",
    "dynamic_viscosity",
    "lower_heating_value",
    "stoichiometric_ratio",
    "latent_heat",
    "vapour_pressure",
]
"""The properties of a blend that state an uncertainty."""

REFERENCE_TEMPERATURE_C: Final = 15.0
"""Volume fractions are meant at this temperature, as petrol is sold."""

MJ_PER_KWH: Final = 3.6
KG_PER_LB: Final = 0.45359237
_KELVIN: Final = 273.15
_AIR_PER_OXYGEN_KG_PER_KMOL: Final = 4.773 * 28.96


class OutsideDataError(ValueError):
    """A property was asked for where the data do not reach; no number is made up.

    Attributes:
        quantity: the property asked for.
        known_c: lowest and highest temperature it is known at, where that is what it hangs on.
    """

    def __init__(
        self, quantity: str, reason: str, known_c: tuple[float, float] | None = None
    ) -> None:
        super().__init__(reason)
        self.quantity = quantity
        self.known_c = known_c


# --- the reference table -----------------------------------------------------------------------

_COLUMNS: Final = (
    "subject",
    "quantity",
    "ethanol_percent",
    "temperature_c",
    "low",
    "value",
    "high",
    "unit",
    "source",
    "confidence",
    "note",
)
_CONFIDENCES: Final = frozenset(
    {"confirmed-by-page", "standard-from-memory", "common-practice", "computed"}
)
_UNITS: Final[Mapping[str, str]] = {
    "density": "kg/m3",
    "kinematic_viscosity": "mm2/s",
    "lower_heating_value": "MJ/kg",
    "hydrogen_per_carbon": "mol/mol",
    "oxygen_per_carbon": "mol/mol",
    "latent_heat": "kJ/kg",
    "vapour_pressure": "kPa",
    "specific_consumption": "kg/kWh",
    "driveline_loss": "fraction",
    "duty_limit": "fraction",
}
_MIXING_RULE: Final = "mixing-rule"


@dataclass(frozen=True, slots=True)
class ComponentRow:
    """One value of the reference table, with its published range and where it comes from.

    ``low`` and ``high`` equal ``value`` where no range is recorded.
    """

    subject: str
    quantity: str
    ethanol_percent: float | None
    temperature_c: float | None
    low: float
    value: float
    high: float
    unit: str
    source: str
    confidence: str
    note: str

    @property
    def has_range(self) -> bool:
        """Whether the source gives a range around the value."""
        return self.low < self.high


def read_component_rows(lines: Iterable[str]) -> tuple[ComponentRow, ...]:
    """Read and check the reference table whole.

    Raises:
        ValueError: naming every faulty line: wrong columns, a number that is none, a value outside
            its own range, a wrong unit, a blank source, an unknown confidence, a repeated key.
    """
    reader = csv.DictReader(lines)
    if tuple(reader.fieldnames or ()) != _COLUMNS:
        raise ValueError(
            f"fuel components: columns are {reader.fieldnames}, expected {list(_COLUMNS)}"
        )
    rows: list[ComponentRow] = []
    seen: set[tuple[str, str, float | None, float | None]] = set()
    faults: list[str] = []
    for fields in reader:
        try:
            row = _component_row(fields)
            key = (row.subject, row.quantity, row.ethanol_percent, row.temperature_c)
            if key in seen:
                raise ValueError(f"{row.quantity} of {row.subject} is given twice")
        except ValueError as error:
            faults.append(f"line {reader.line_num}: {error}")
            continue
        seen.add(key)
        rows.append(row)
    if faults:
        raise ValueError("fuel components: " + "; ".join(faults))
    return tuple(rows)


def _component_row(fields: Mapping[str, str]) -> ComponentRow:
    if None in fields or None in fields.values():
        raise ValueError(f"expected {len(_COLUMNS)} cells")
    value = _cell(fields, "value")
    if value is None:
        raise ValueError("value is blank")
    low, high = _cell(fields, "low"), _cell(fields, "high")
    row = ComponentRow(
        subject=fields["subject"],
        quantity=fields["quantity"],
        ethanol_percent=_cell(fields, "ethanol_percent"),
        temperature_c=_cell(fields, "temperature_c"),
        low=value if low is None else low,
        value=value,
        high=value if high is None else high,
        unit=fields["unit"],
        source=fields["source"],
        confidence=fields["confidence"],
        note=fields["note"],
    )
    if not row.low <= row.value <= row.high:
        raise ValueError(f"value {row.value:g} is outside its range {row.low:g} to {row.high:g}")
    unit = "fraction" if row.subject == _MIXING_RULE else _UNITS.get(row.quantity)
    if unit is None:
        raise ValueError(f"unknown quantity {row.quantity!r}, expected one of {sorted(_UNITS)}")
    if row.unit != unit:
        raise ValueError(f"{row.quantity} is in {row.unit!r}, expected {unit!r}")
    if not row.source.strip():
        raise ValueError("source is blank")
    if row.confidence not in _CONFIDENCES:
        raise ValueError(
            f"confidence is {row.confidence!r}, expected one of {sorted(_CONFIDENCES)}"
        )
    return row


def _cell(fields: Mapping[str, str], column: str) -> float | None:
    text = fields[column].strip()
    if not text:
        return None
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise ValueError(f"{column} is {text!r}, expected a finite number")
    return number


def _read_table() -> tuple[ComponentRow, ...]:
    table = files("rules") / "reference" / "fuel_components.csv"
    return read_component_rows(table.read_text(encoding="utf-8").splitlines())


COMPONENT_ROWS: Final = _read_table()
"""The reference table, for callers that show where a number comes from."""


def _rows(subject: str, quantity: str) -> tuple[ComponentRow, ...]:
    rows = tuple(
        row for row in COMPONENT_ROWS if (row.subject, row.quantity) == (subject, quantity)
    )
    if not rows:
        raise ValueError(f"fuel components: no {quantity} of {subject}")
    return rows


def _row(subject: str, quantity: str) -> ComponentRow:
    (row,) = _rows(subject, quantity)
    return row


# --- checks of input and interpolation -----------------------------------------------------------


def _number(name: str, value: float) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise ValueError(f"{name} is {value!r}, expected a finite number")
    return float(value)


def _positive(name: str, value: float) -> float:
    number = _number(name, value)
    if number <= 0:
        raise ValueError(f"{name} is {value!r}, expected a number above 0")
    return number


def _between(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    """Straight line between the two neighbours of ``x``; ``xs`` rises and holds ``x`` between."""
    right = min(max(bisect_right(xs, x), 1), len(xs) - 1)
    left = right - 1
    share = (x - xs[left]) / (xs[right] - xs[left])
    return ys[left] * (1 - share) + ys[right] * share


@dataclass(frozen=True, slots=True)
class _Curve:
    """A property over temperature, known at some temperatures and only between them."""

    quantity: str
    temperatures_c: tuple[float, ...]
    values: tuple[float, ...]

    @classmethod
    def of(cls, rows: Iterable[ComponentRow]) -> _Curve:
        points = sorted(
            (row.temperature_c, row.value, row.quantity)
            for row in rows
            if row.temperature_c is not None
        )
        temperatures, values, quantities = zip(*points, strict=True)
        return cls(quantities[0], temperatures, values)

    def linear(self, temperature_c: float) -> float:
        return _between(self.temperatures_c, self.values, self._inside(temperature_c))

    def exponential(self, temperature_c: float) -> float:
        """Logarithm straight in reciprocal absolute temperature.

        The law of Andrade for a viscosity, of Clausius and Clapeyron for a vapour pressure.
        """
        steps = [-1 / (known + _KELVIN) for known in self.temperatures_c]
        logs = [math.log(value) for value in self.values]
        at = -1 / (self._inside(temperature_c) + _KELVIN)
        return math.exp(_between(steps, logs, at))

    def _inside(self, temperature_c: float) -> float:
        temperature = _number("temperature_c", temperature_c)
        lowest, highest = self.temperatures_c[0], self.temperatures_c[-1]
        if not lowest <= temperature <= highest:
            name = self.quantity.replace("_", " ")
            raise OutsideDataError(
                self.quantity,
                f"temperature_c is {temperature:g}, but the {name} of fuel is known only from "
                f"{lowest:g} to {highest:g} degC",
                (lowest, highest),
            )
        return temperature


# --- uncertainty ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """How far the true value may lie from the stated one.

    Attributes:
        below, above: fractions of the value.
        basis: what the figure rests on, to be shown with it.
    """

    below: float
    above: float
    basis: str

    def bounds(self, value: float) -> tuple[float, float]:
        """The lowest and the highest value in the unit of ``value``."""
        return value * (1 - self.below), value * (1 + self.above)


@dataclass(frozen=True, slots=True)
class _Margin:
    """Fractions below and above a value."""

    below: float
    above: float


def _margin(low: float, value: float, high: float) -> _Margin:
    return _Margin(1 - low / value, high / value - 1)


def _widest_margin(rows: Iterable[ComponentRow]) -> _Margin:
    margins = [_margin(row.low, row.value, row.high) for row in rows]
    return _Margin(max(m.below for m in margins), max(m.above for m in margins))


# --- components ----------------------------------------------------------------------------------


def stoichiometric_ratio(hydrogen_per_carbon: float, oxygen_per_carbon: float) -> float:
    """Mass of air to mass of fuel CHyOz for complete combustion.

    (1 + y/4 - z/2) x 4.773 x 28.96 / (12.011 + 1.008 y + 15.999 z), air as in Heywood, Internal
    Combustion Engine Fundamentals, chapter 3 (from memory).
    """
    oxygen_needed = 1 + hydrogen_per_carbon / 4 - oxygen_per_carbon / 2
    fuel_kg_per_kmol = 12.011 + 1.008 * hydrogen_per_carbon + 15.999 * oxygen_per_carbon
    return oxygen_needed * _AIR_PER_OXYGEN_KG_PER_KMOL / fuel_kg_per_kmol


@dataclass(frozen=True, slots=True)
class _Component:
    name: str
    density: _Curve
    kinematic_viscosity: _Curve
    lower_heating_value_mj_kg: float
    stoichiometric_ratio: float
    latent_heat_kj_kg: float
    margins: Mapping[Quantity, _Margin]

    @classmethod
    def of(cls, name: str) -> _Component:
        hydrogen = _row(name, "hydrogen_per_carbon")
        oxygen = _row(name, "oxygen_per_carbon").value
        ratio = stoichiometric_ratio(hydrogen.value, oxygen)
        return cls(
            name=name,
            density=_Curve.of(_rows(name, "density")),
            kinematic_viscosity=_Curve.of(_rows(name, "kinematic_viscosity")),
            lower_heating_value_mj_kg=_row(name, "lower_heating_value").value,
            stoichiometric_ratio=ratio,
            latent_heat_kj_kg=_row(name, "latent_heat").value,
            margins={
                "density": _widest_margin(_rows(name, "density")),
                "dynamic_viscosity": _widest_margin(_rows(name, "kinematic_viscosity")),
                "lower_heating_value": _widest_margin(_rows(name, "lower_heating_value")),
                "latent_heat": _widest_margin(_rows(name, "latent_heat")),
                "stoichiometric_ratio": _margin(
                    stoichiometric_ratio(hydrogen.low, oxygen),
                    ratio,
                    stoichiometric_ratio(hydrogen.high, oxygen),
                ),
            },
        )

    def density_kg_m3(self, temperature_c: float) -> float:
        return self.density.linear(temperature_c)

    def dynamic_viscosity_mpas(self, temperature_c: float) -> float:
        nu_mm2_s = self.kinematic_viscosity.exponential(temperature_c)
        return nu_mm2_s * self.density_kg_m3(temperature_c) / 1000


_PETROL: Final = _Component.of("petrol")
_ETHANOL: Final = _Component.of("ethanol")
_METHANOL: Final = _Component.of("methanol")


def _known_at(temperature_c: float, rows: Iterable[ComponentRow]) -> float:
    values = [row.value for row in rows if row.temperature_c == temperature_c]
    if len(values) != 1:
        raise ValueError(f"fuel components: a blend has no value at {temperature_c:g} degC")
    return values[0]


class _PetrolEthanolVapourPressure:
    """Bubble-point pressure of petrol with ethanol.

    One curve over the blend at 37.8 degC holds the shape (steep to E5, flat to E20, under the base
    above 50 to 60 %). Some blends are known over temperature; the ratio of each to its own value
    at 37.8 degC changes slowly with the blend and is interpolated between them.
    """

    SHAPE_TEMPERATURE_C: Final = 37.8

    def __init__(self, rows: Sequence[ComponentRow]) -> None:
        by_blend: dict[float, list[ComponentRow]] = {}
        for row in rows:
            if row.ethanol_percent is None:
                raise ValueError("fuel components: vapour pressure without ethanol_percent")
            by_blend.setdefault(row.ethanol_percent, []).append(row)
        curves = {blend: _Curve.of(by_blend[blend]) for blend in sorted(by_blend)}
        self._shape_kpa = {
            blend: _known_at(self.SHAPE_TEMPERATURE_C, by_blend[blend]) for blend in curves
        }
        self._over_temperature = {
            blend: curve for blend, curve in curves.items() if len(curve.values) > 1
        }
        self._margins = {
            blend: _widest_margin(by_blend[blend])
            for blend in curves
            if any(row.has_range for row in by_blend[blend])
        }

    def kpa_absolute(self, ethanol_percent: float, temperature_c: float) -> float:
        log_ratios = [
            math.log(curve.exponential(temperature_c) / self._shape_kpa[blend])
            for blend, curve in self._over_temperature.items()
        ]
        shape_kpa = _between(
            tuple(self._shape_kpa), tuple(self._shape_kpa.values()), ethanol_percent
        )
        log_ratio = _between(tuple(self._over_temperature), log_ratios, ethanol_percent)
        return shape_kpa * math.exp(log_ratio)

    def margin(self, ethanol_percent: float) -> _Margin:
        blends, margins = tuple(self._margins), self._margins.values()
        return _Margin(
            below=_between(blends, [m.below for m in margins], ethanol_percent),
            above=_between(blends, [m.above for m in margins], ethanol_percent),
        )


_PETROL_ETHANOL_VAPOUR: Final = _PetrolEthanolVapourPressure(
    _rows("petrol-ethanol", "vapour_pressure")
)
_METHANOL_VAPOUR: Final = _Curve.of(_rows("methanol", "vapour_pressure"))
_METHANOL_VAPOUR_MARGIN: Final = _widest_margin(_rows("methanol", "vapour_pressure"))


# --- blends --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Blend:
    """Petrol with ethanol and methanol, by volume at 15 degC; petrol is the rest.

    Attributes:
        ethanol_percent: 0 to 100.
        methanol_percent: 0 to 100; both together at most 100.

    Raises:
        ValueError: naming the field that is no finite number or out of range.
    """

    ethanol_percent: float
    methanol_percent: float = 0.0

    def __post_init__(self) -> None:
        for name in ("ethanol_percent", "methanol_percent"):
            value = _number(name, getattr(self, name))
            if not 0 <= value <= 100:
                raise ValueError(f"{name} is {value:g}, expected 0 to 100")
        if self.ethanol_percent + self.methanol_percent > 100 * (1 + 1e-12):
            raise ValueError(
                f"ethanol_percent {self.ethanol_percent:g} and methanol_percent "
                f"{self.methanol_percent:g} add up to more than 100"
            )

    @property
    def volume_fractions(self) -> Mapping[str, float]:
        """Shares by volume at 15 degC of petrol, ethanol and methanol, adding up to 1."""
        return MappingProxyType({component.name: share for component, share in self._parts})

    @property
    def mass_fractions(self) -> Mapping[str, float]:
        """Shares by mass of petrol, ethanol and methanol, adding up to 1."""
        return MappingProxyType({component.name: share for component, share in self._mass_parts})

    def density_kg_m3(self, temperature_c: float) -> float:
        """Density of the liquid, kg/m3: the volumes of the components add up.

        Each component expands by itself: petrol as the gasoline group of API MPMS 11.1 / ASTM
        D1250 (from memory), the alcohols by the equations of CoolProp 8.0.

        Raises:
            OutsideDataError: temperature outside the data.
        """
        volume = sum(
            share / component.density_kg_m3(temperature_c) for component, share in self._mass_parts
        )
        return 1 / volume

    def dynamic_viscosity_mpas(self, temperature_c: float) -> float:
        """Dynamic viscosity, mPa s: logarithms weighted by volume fraction.

        Raises:
            OutsideDataError: temperature outside the data.
        """
        return math.exp(
            sum(
                share * math.log(component.dynamic_viscosity_mpas(temperature_c))
                for component, share in self._parts
            )
        )

    def kinematic_viscosity_mm2_s(self, temperature_c: float) -> float:
        """Kinematic viscosity, mm2/s (cSt): dynamic viscosity by density.

        Raises:
            OutsideDataError: temperature outside the data.
        """
        mu_mpas = self.dynamic_viscosity_mpas(temperature_c)
        return mu_mpas / self.density_kg_m3(temperature_c) * 1000

    @property
    def lower_heating_value_mj_kg(self) -> float:
        """Lower heating value, MJ/kg: weighted by mass, which is exact."""
        return self._by_mass(lambda component: component.lower_heating_value_mj_kg)

    @property
    def stoichiometric_ratio(self) -> float:
        """Mass of air to mass of fuel at lambda 1: weighted by mass, which is exact."""
        return self._by_mass(lambda component: component.stoichiometric_ratio)

    @property
    def latent_heat_kj_kg(self) -> float:
        """Heat of vaporisation at 25 degC, kJ/kg: weighted by mass."""
        return self._by_mass(lambda component: component.latent_heat_kj_kg)

    def vapour_pressure_kpa_absolute(self, temperature_c: float) -> float:
        """True vapour pressure (bubble point), kPa absolute, of a summer-grade fuel.

        Interpolated between blends computed by modified UNIFAC on a petrol surrogate; never linear
        in ethanol. Winter grades lie far above it: see ``uncertainty("vapour_pressure")``.

        Raises:
            OutsideDataError: temperature outside the data, or methanol mixed with anything else,
                for which no curve is recorded.
        """
        return self._vapour[0](temperature_c)

    def uncertainty(self, quantity: Quantity) -> Uncertainty:
        """How far a property of this blend may lie from the stated value.

        The published ranges of the components, weighted by what each contributes, and the error of
        the mixing rule are combined as independent (root of the sum of squares, GUM).

        Raises:
            OutsideDataError: vapour pressure of methanol mixed with anything else.
            ValueError: unknown quantity.
        """
        if quantity not in get_args(Quantity):
            raise ValueError(f"quantity is {quantity!r}, expected one of {get_args(Quantity)}")
        contributions = self._contributions(quantity)
        rule = _row(_MIXING_RULE, quantity)
        rule_error = rule.value if len(self._parts) > 1 else 0.0
        return Uncertainty(
            below=math.hypot(rule_error, *(m.below * share for m, share in contributions)),
            above=math.hypot(rule_error, *(m.above * share for m, share in contributions)),
            basis=f"{rule.note} ({rule.source}); published ranges of the components",
        )

    def _contributions(self, quantity: Quantity) -> Sequence[tuple[_Margin, float]]:
        """Margins with the share of the value each of them moves."""
        if quantity == "vapour_pressure":
            return [(self._vapour[1], 1.0)]
        if quantity == "dynamic_viscosity":
            return [(c.margins[quantity], share) for c, share in self._parts]
        if quantity == "density":
            return [(c.margins[quantity], share) for c, share in self._mass_parts]
        values: Mapping[str, Callable[[_Component], float]] = {
            "lower_heating_value": lambda c: c.lower_heating_value_mj_kg,
            "stoichiometric_ratio": lambda c: c.stoichiometric_ratio,
            "latent_heat": lambda c: c.latent_heat_kj_kg,
        }
        value = values[quantity]
        whole = self._by_mass(value)
        return [(c.margins[quantity], share * value(c) / whole) for c, share in self._mass_parts]

    @property
    def _vapour(self) -> tuple[Callable[[float], float], _Margin]:
        """Vapour pressure over temperature, with the margin of the published range."""
        if self.methanol_percent == 0:
            return (
                partial(_PETROL_ETHANOL_VAPOUR.kpa_absolute, self.ethanol_percent),
                _PETROL_ETHANOL_VAPOUR.margin(self.ethanol_percent),
            )
        if self.methanol_percent == 100:
            return _METHANOL_VAPOUR.exponential, _METHANOL_VAPOUR_MARGIN
        raise OutsideDataError(
            "vapour_pressure",
            f"methanol_percent is {self.methanol_percent:g}, but the vapour pressure of methanol "
            "is known only neat; blends with petrol or ethanol are not recorded",
        )

    def _by_mass(self, value: Callable[[_Component], float]) -> float:
        return sum(share * value(component) for component, share in self._mass_parts)

    @property
    def _parts(self) -> Sequence[tuple[_Component, float]]:
        """Components present, with their volume fractions at 15 degC."""
        petrol_percent = max(0.0, 100 - self.ethanol_percent - self.methanol_percent)
        percents = (
            (_PETROL, petrol_percent),
            (_ETHANOL, self.ethanol_percent),
            (_METHANOL, self.methanol_percent),
        )
        return [(component, percent / 100) for component, percent in percents if percent > 0]

    @property
    def _mass_parts(self) -> Sequence[tuple[_Component, float]]:
        masses = [
            (component, share * component.density_kg_m3(REFERENCE_TEMPERATURE_C))
            for component, share in self._parts
        ]
        whole = sum(mass for _, mass in masses)
        return [(component, mass / whole) for component, mass in masses]


# --- consumption ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Consumption:
    """Brake specific fuel consumption on one blend.

    Attributes:
        kg_per_kwh: mass of fuel for each unit of work at the crank.
        blend: the fuel it holds for.
        origin: who says so, to be shown with the number.
        low_kg_per_kwh, high_kg_per_kwh: range of planning values; equal to ``kg_per_kwh`` for a
            measured one.

    Raises:
        ValueError: consumption that is not positive, or below what the heat of the fuel allows.
    """

    kg_per_kwh: float
    blend: Blend
    origin: str
    low_kg_per_kwh: float
    high_kg_per_kwh: float

    def __post_init__(self) -> None:
        _positive("kg_per_kwh", self.kg_per_kwh)
        _positive("low_kg_per_kwh", self.low_kg_per_kwh)
        _positive("high_kg_per_kwh", self.high_kg_per_kwh)
        if not self.low_kg_per_kwh <= self.kg_per_kwh <= self.high_kg_per_kwh:
            raise ValueError(
                f"kg_per_kwh is {self.kg_per_kwh:g}, outside its range "
                f"{self.low_kg_per_kwh:g} to {self.high_kg_per_kwh:g}"
            )
        if self.brake_thermal_efficiency >= 1:
            least = MJ_PER_KWH / self.blend.lower_heating_value_mj_kg
            raise ValueError(
                f"kg_per_kwh is {self.kg_per_kwh:g}, but an engine without any loss would "
                f"burn {least:.3g} kg/kWh of this fuel; expected more, typically 0.25 to 0.9"
            )

    @property
    def brake_thermal_efficiency(self) -> float:
        """Work at the crank by lower heating value burnt."""
        return MJ_PER_KWH / (self.kg_per_kwh * self.blend.lower_heating_value_mj_kg)

    def on(self, blend: Blend) -> Consumption:
        """The same engine on another blend, at equal thermal efficiency.

        Engines on ethanol often need less than this (less enrichment, more spark advance; common
        practice, no source): equal efficiency is the side on which no engine starves.
        """
        if blend == self.blend:
            return self
        factor = self.blend.lower_heating_value_mj_kg / blend.lower_heating_value_mj_kg
        return Consumption(
            kg_per_kwh=self.kg_per_kwh * factor,
            blend=blend,
            origin=f"{self.origin}; converted by lower heating value at equal thermal efficiency",
            low_kg_per_kwh=self.low_kg_per_kwh * factor,
            high_kg_per_kwh=self.high_kg_per_kwh * factor,
        )


def planning_consumption(induction: Induction) -> Consumption:
    """Planning value at full load on petrol, with its range (common practice, no source).

    Raises:
        ValueError: induction that is not one of the vocabulary.
    """
    if induction not in get_args(Induction):
        raise ValueError(f"induction is {induction!r}, expected one of {get_args(Induction)}")
    row = _row(induction, "specific_consumption")
    return Consumption(
        kg_per_kwh=row.value,
        blend=Blend(0),
        origin=f"planning value, {induction}, petrol ({row.source})",
        low_kg_per_kwh=row.low,
        high_kg_per_kwh=row.high,
    )


def measured_consumption(kg_per_kwh: float, blend: Blend) -> Consumption:
    """What the caller measured on ``blend``, at the crank.

    Raises:
        ValueError: no positive finite number, or less than the heat of the fuel allows.
    """
    return Consumption(kg_per_kwh, blend, "measured by the caller", kg_per_kwh, kg_per_kwh)


# --- demand --------------------------------------------------------------------------------------

_DRIVELINE_LOSS: Final = _row("two-wheel-drive", "driveline_loss")
DEFAULT_DRIVELINE_LOSS: Final = _DRIVELINE_LOSS.value
"""Share of crank power that does not reach the wheels, where the caller gives none."""


@dataclass(frozen=True, slots=True)
class Assumption:
    """One number a result rests on.

    Attributes:
        name: what it is.
        value, unit: the number used.
        origin: "given", "computed", or the source of a default.
        low, high: the range of a planning value or the bounds of a property; else ``value``.
    """

    name: str
    value: float
    unit: str
    origin: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Demand:
    """Fuel an engine burns at one power.

    Attributes:
        crank_power_kw: power at the crank.
        mass_flow_kg_s: fuel mass flow.
        volume_flow_lph: the same by the density at ``temperature_c`` of the demand.
        assumptions: every number used, in the order of the calculation.
    """

    crank_power_kw: float
    mass_flow_kg_s: float
    volume_flow_lph: float
    assumptions: tuple[Assumption, ...]


def demand(
    power_kw: float,
    *,
    at: PowerAt,
    consumption: Consumption,
    blend: Blend,
    temperature_c: float,
    driveline_loss: float | None = None,
) -> Demand:
    """Fuel flow for a power at the crank or at the wheels.

    Crank power = wheel power / (1 - loss); mass flow = crank power x consumption; volume flow =
    mass flow / density. A consumption known on another blend is converted by equal efficiency.

    Args:
        power_kw: above 0.
        at: where the power is measured. There is no default: the answers differ by more than any
            usual margin.
        consumption: planning value or measured.
        blend: the fuel burnt.
        temperature_c: of the fuel where volume is counted.
        driveline_loss: fraction of crank power, only with ``at="wheels"``; 0.15 if not given.

    Raises:
        ValueError: naming the argument that is wrong.
        OutsideDataError: temperature outside the density data.
    """
    _positive("power_kw", power_kw)
    loss = _loss_between_crank_and(at, driveline_loss)
    crank_power_kw = power_kw / (1 - loss.value)
    used = consumption.on(blend)
    density = blend.density_kg_m3(temperature_c)
    low_density, high_density = blend.uncertainty("density").bounds(density)
    mass_flow_kg_s = crank_power_kw * used.kg_per_kwh / 3600
    return Demand(
        crank_power_kw=crank_power_kw,
        mass_flow_kg_s=mass_flow_kg_s,
        volume_flow_lph=mass_flow_kg_s * 3600 / density * 1000,
        assumptions=(
            _stated(f"power at the {at}", power_kw, "kW", "given"),
            loss,
            Assumption(
                "specific consumption",
                used.kg_per_kwh,
                "kg/kWh",
                used.origin,
                used.low_kg_per_kwh,
                used.high_kg_per_kwh,
            ),
            _stated("ethanol in the fuel", blend.ethanol_percent, "% by volume", "given"),
            _stated("methanol in the fuel", blend.methanol_percent, "% by volume", "given"),
            _stated("fuel temperature", temperature_c, "degC", "given"),
            Assumption("fuel density", density, "kg/m3", "computed", low_density, high_density),
        ),
    )


def _loss_between_crank_and(at: PowerAt, driveline_loss: float | None) -> Assumption:
    if at == "crank":
        if driveline_loss is not None:
            raise ValueError(
                f"driveline_loss is {driveline_loss!r}, but the power is at the crank; give it "
                "only with power at the wheels"
            )
        return _stated("driveline loss", 0.0, "fraction", "none: power is at the crank")
    if at != "wheels":
        raise ValueError(f"at is {at!r}, expected 'crank' or 'wheels'")
    if driveline_loss is None:
        return Assumption(
            "driveline loss",
            _DRIVELINE_LOSS.value,
            "fraction",
            f"default, none was given ({_DRIVELINE_LOSS.source})",
            _DRIVELINE_LOSS.low,
            _DRIVELINE_LOSS.high,
        )
    if not 0 <= _number("driveline_loss", driveline_loss) < 1:
        raise ValueError(f"driveline_loss is {driveline_loss:g}, expected a fraction from 0 to 1")
    return _stated("driveline loss", driveline_loss, "fraction", "given")


def _stated(name: str, value: float, unit: str, origin: str) -> Assumption:
    return Assumption(name, value, unit, origin, value, value)


def supported_crank_power_kw(
    mass_flow_kg_s: float, consumption: Consumption, blend: Blend
) -> float:
    """Power at the crank that a fuel mass flow carries: the inverse of ``demand``.

    Raises:
        ValueError: negative or non-finite flow.
    """
    if _number("mass_flow_kg_s", mass_flow_kg_s) < 0:
        raise ValueError(f"mass_flow_kg_s is {mass_flow_kg_s:g}, expected 0 or more")
    return mass_flow_kg_s * 3600 / consumption.on(blend).kg_per_kwh


# --- injectors -----------------------------------------------------------------------------------

DEFAULT_DUTY_LIMIT: Final = _row("port-injector", "duty_limit").value
"""Share of the cycle an injector may stay open when planning (common practice, no source)."""

N_HEPTANE_DENSITY_KG_M3: Final = _row("n-heptane", "density").value
"""Density at 20 degC of the usual injector test fluid."""

DEAD_TIME_REMARK: Final = (
    "Duty counts flow only. An injector also needs about 0.6 to 1.5 ms to open, longer at low "
    "voltage, and pulses under about 1.5 to 2 ms are not linear (common practice, no source)."
)
"""To be shown beside every duty: what the flow arithmetic leaves out."""


def rail_pressure_kpa(
    base_pressure_kpa: float, manifold_pressure_kpa: float, *, reference_ratio: float
) -> float:
    """Rail pressure, kPa gauge, that a regulator holds: base + ratio x manifold pressure.

    Args:
        base_pressure_kpa: set with the reference open to the air.
        manifold_pressure_kpa: gauge; boost is positive, vacuum negative.
        reference_ratio: 0 not referenced, 1 referenced 1:1, above 1 a true rising-rate regulator.

    Raises:
        ValueError: base pressure not positive, negative ratio, or a rising-rate regulator under
            vacuum, which makers build in different ways.
    """
    _positive("base_pressure_kpa", base_pressure_kpa)
    _number("manifold_pressure_kpa", manifold_pressure_kpa)
    if _number("reference_ratio", reference_ratio) < 0:
        raise ValueError(f"reference_ratio is {reference_ratio:g}, expected 0 or more")
    if reference_ratio > 1 and manifold_pressure_kpa < 0:
        raise ValueError(
            f"reference_ratio is {reference_ratio:g} under a vacuum of "
            f"{-manifold_pressure_kpa:g} kPa; how a rising-rate regulator follows vacuum is not "
            "known, expected a manifold pressure of 0 or more"
        )
    return base_pressure_kpa + reference_ratio * manifold_pressure_kpa


def injector_pressure_difference_kpa(
    rail_pressure_kpa: float, manifold_pressure_kpa: float
) -> float:
    """Pressure across a port injector: rail minus manifold, both gauge.

    Raises:
        ValueError: rail pressure at or below manifold pressure, where nothing is injected.
    """
    _number("rail_pressure_kpa", rail_pressure_kpa)
    _number("manifold_pressure_kpa", manifold_pressure_kpa)
    if rail_pressure_kpa <= manifold_pressure_kpa:
        raise ValueError(
            f"rail_pressure_kpa is {rail_pressure_kpa:g}, expected more than the manifold's "
            f"{manifold_pressure_kpa:g}"
        )
    return rail_pressure_kpa - manifold_pressure_kpa


def static_flow_at_pressure_cc_min(
    flow_cc_min: float, from_pressure_kpa: float, to_pressure_kpa: float
) -> float:
    """Static flow at another pressure across the injector: with the square root of pressure.

    Orifice equation at a constant discharge coefficient.

    Raises:
        ValueError: an argument that is not positive and finite.
    """
    _positive("flow_cc_min", flow_cc_min)
    _positive("from_pressure_kpa", from_pressure_kpa)
    _positive("to_pressure_kpa", to_pressure_kpa)
    return flow_cc_min * math.sqrt(to_pressure_kpa / from_pressure_kpa)


def static_flow_on_fluid_cc_min(
    flow_cc_min: float, from_density_kg_m3: float, to_density_kg_m3: float
) -> float:
    """Static volume flow of another fluid: with the inverse square root of density.

    Orifice equation at a constant discharge coefficient; real injectors differ by a few percent
    with viscosity. Mass flow goes with the square root of density.

    Raises:
        ValueError: an argument that is not positive and finite.
    """
    _positive("flow_cc_min", flow_cc_min)
    _positive("from_density_kg_m3", from_density_kg_m3)
    _positive("to_density_kg_m3", to_density_kg_m3)
    return flow_cc_min * math.sqrt(from_density_kg_m3 / to_density_kg_m3)


def injector_duty(fuel_flow_lph: float, injectors: int, static_flow_cc_min: float) -> float:
    """Share of the time each injector is open; above 1 the injectors can't deliver the flow.

    Show ``DEAD_TIME_REMARK`` with it.

    Raises:
        ValueError: naming the argument that is wrong.
    """
    _positive("static_flow_cc_min", static_flow_cc_min)
    return _flow_per_injector_cc_min(fuel_flow_lph, injectors) / static_flow_cc_min


def static_flow_needed_cc_min(
    fuel_flow_lph: float, injectors: int, duty_limit: float = DEFAULT_DUTY_LIMIT
) -> float:
    """Static flow each injector needs, on this fuel and at the pressure across it.

    Raises:
        ValueError: naming the argument that is wrong.
    """
    return _flow_per_injector_cc_min(fuel_flow_lph, injectors) / _duty_limit(duty_limit)


def injector_flow_limit_lph(
    static_flow_cc_min: float, injectors: int, duty_limit: float = DEFAULT_DUTY_LIMIT
) -> float:
    """Fuel flow that a set of injectors passes at the duty limit.

    Raises:
        ValueError: naming the argument that is wrong.
    """
    _positive("static_flow_cc_min", static_flow_cc_min)
    return static_flow_cc_min * _count(injectors) * _duty_limit(duty_limit) * 60 / 1000


def cc_min_from_lb_h(flow_lb_h: float, density_kg_m3: float) -> float:
    """Volume flow of a mass flow rating; it takes the density of the fluid it was rated with.

    Raises:
        ValueError: an argument that is not positive and finite.
    """
    _positive("flow_lb_h", flow_lb_h)
    _positive("density_kg_m3", density_kg_m3)
    return flow_lb_h * KG_PER_LB / 60 / density_kg_m3 * 1e6


def lb_h_from_cc_min(flow_cc_min: float, density_kg_m3: float) -> float:
    """Mass flow of a volume flow rating; it takes the density of the fluid it was rated with.

    Raises:
        ValueError: an argument that is not positive and finite.
    """
    _positive("flow_cc_min", flow_cc_min)
    _positive("density_kg_m3", density_kg_m3)
    return flow_cc_min * density_kg_m3 / 1e6 * 60 / KG_PER_LB


def _flow_per_injector_cc_min(fuel_flow_lph: float, injectors: int) -> float:
    return _positive("fuel_flow_lph", fuel_flow_lph) / _count(injectors) * 1000 / 60


def _count(injectors: int) -> int:
    if isinstance(injectors, bool) or not isinstance(injectors, int) or injectors < 1:
        raise ValueError(f"injectors is {injectors!r}, expected a whole number of at least 1")
    return injectors


def _duty_limit(duty_limit: float) -> float:
    if not 0 < _number("duty_limit", duty_limit) <= 1:
        raise ValueError(f"duty_limit is {duty_limit:g}, expected above 0 and up to 1")
    return duty_limit
