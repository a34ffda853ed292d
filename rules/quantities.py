"""The edge of units: text or ``{"value", "unit"}`` comes in, a canonical float goes on.

Text is read by a closed grammar (number or mixed fraction, then a unit of a closed list). pint owns
the factors, from the small definition file beside this module; request text never reaches pint's
parser, which reads ``3 1/8 in`` as 0.375 inch and evaluates powers of any size.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import as_file, files
from typing import Annotated, Any, Final

import pint
from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

LONGEST_TEXT: Final = 80
LARGEST_MAGNITUDE: Final = 1e12


class QuantityError(ValueError):
    """A text or value that is not the quantity asked for.

    Attributes:
        reason: what is wrong, one sentence.
        expected: what would be right, by example.
    """

    def __init__(self, reason: str, expected: str) -> None:
        super().__init__(f"{reason} Expected {expected}.")
        self.reason = reason
        self.expected = expected


def _load_registry() -> pint.UnitRegistry[float]:
    with as_file(files("rules") / "units.txt") as path:
        return pint.UnitRegistry(path)


_REGISTRY: Final = _load_registry()

# Spellings the trade writes, by dimension, to the unit's name in units.txt. Lower case unless the
# case tells units apart.
SPELLINGS: Final[Mapping[str, Mapping[str, str]]] = {
    "length": {
        **dict.fromkeys(("mm", "millimetre", "millimeter", "millimetres", "millimeters"), "mm"),
        **dict.fromkeys(("cm", "centimetre", "centimeter"), "cm"),
        **dict.fromkeys(("m", "metre", "meter", "metres", "meters"), "m"),
        **dict.fromkeys(("in", "inch", "inches", '"', "in."), "inch"),
        **dict.fromkeys(("ft", "foot", "feet", "'", "ft."), "ft"),
        **dict.fromkeys(("um", "micron", "microns", "mic"), "um"),
    },
    "pressure": {
        **dict.fromkeys(("kpa", "kpag", "kpa gauge"), "kPa"),
        **dict.fromkeys(("pa",), "Pa"),
        **dict.fromkeys(("mpa",), "MPa"),
        **dict.fromkeys(("bar", "barg", "bar gauge", "bar(g)"), "bar"),
        **dict.fromkeys(("psi", "psig", "psi gauge", "psi(g)", "lb/in2"), "psi"),
        **dict.fromkeys(("kg/cm2", "kgf/cm2", "at"), "at"),
    },
    "flow": {
        **dict.fromkeys(
            (
                "l/h",
                "lph",
                "l/hr",
                "ltr/hr",
                "ltr/h",
                "litres/hour",
                "liters/hour",
                "litres per hour",
                "liters per hour",
            ),
            "L/h",
        ),
        **dict.fromkeys(("l/min", "lpm"), "L/min"),
        **dict.fromkeys(("cc/min", "ccm", "cm3/min", "ml/min"), "cc/min"),
        **dict.fromkeys(("us gal/h", "usgal/h", "us gph"), "USgal/h"),
        **dict.fromkeys(("imp gal/h", "imperial gph"), "impgal/h"),
        **dict.fromkeys(("us gal/min", "usgal/min", "us gpm"), "USgal/min"),
        **dict.fromkeys(("imp gal/min", "impgal/min", "imperial gpm"), "impgal/min"),
    },
    "mass flow": {
        **dict.fromkeys(("kg/s",), "kg/s"),
        **dict.fromkeys(("kg/h", "kg/hr"), "kg/h"),
        **dict.fromkeys(("g/min",), "g/min"),
        **dict.fromkeys(("g/s",), "g/s"),
        **dict.fromkeys(("lb/h", "lb/hr", "lbs/hr", "pph"), "lb/h"),
    },
    "temperature": {
        **dict.fromkeys(("degc", "°c", "c", "celsius"), "degC"),
        **dict.fromkeys(("degf", "°f", "f", "fahrenheit"), "degF"),
        **dict.fromkeys(("k", "kelvin"), "K"),
    },
    "power": {
        **dict.fromkeys(("kw", "kilowatt", "kilowatts"), "kW"),
        **dict.fromkeys(("w", "watt", "watts"), "W"),
        **dict.fromkeys(("hp", "bhp", "horsepower"), "hp"),
        **dict.fromkeys(("ps", "cv", "metric hp"), "PS"),
    },
    "voltage": {**dict.fromkeys(("v", "volt", "volts"), "V"), "mv": "mV"},
    "current": dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), "A"),
    "volume": {
        **dict.fromkeys(("l", "ltr", "litre", "liter", "litres", "liters"), "L"),
        **dict.fromkeys(("cc", "ml", "cm3"), "cc"),
        **dict.fromkeys(("us gal", "usgal"), "USgal"),
        **dict.fromkeys(("imp gal", "impgal"), "impgal"),
    },
    "mass": {
        **dict.fromkeys(("g", "gram", "grams"), "g"),
        **dict.fromkeys(("kg", "kilogram", "kilograms"), "kg"),
        **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "lb"),
    },
    "angle": dict.fromkeys(("deg", "°", "degree", "degrees"), "deg"),
    "resistance": {
        **dict.fromkeys(("ohm", "ohms", "ω"), "ohm"),
        **dict.fromkeys(("mohm", "milliohm"), "mohm"),
    },
    "density": {
        **dict.fromkeys(("kg/m3", "kg/m^3"), "kg/m**3"),
        **dict.fromkeys(("g/cc", "kg/l", "g/cm3"), "g/cc"),
    },
    "specific consumption": {
        **dict.fromkeys(("kg/kwh",), "kg/kW/h"),
        **dict.fromkeys(("g/kwh",), "g/kW/h"),
        **dict.fromkeys(("lb/hp/h", "lb/hp.h", "lb/hp h"), "lb/hp/h"),
    },
    "torque": dict.fromkeys(("nm", "n m", "n·m"), "Nm"),
    "time": {
        **dict.fromkeys(("s", "sec", "second", "seconds"), "s"),
        **dict.fromkeys(("ms",), "ms"),
        **dict.fromkeys(("min", "minute", "minutes"), "min"),
        **dict.fromkeys(("h", "hour", "hours"), "h"),
    },
    "area": {**dict.fromkeys(("mm2",), "mm**2"), **dict.fromkeys(("cm2",), "cm**2")},
}

# Units that mean two things: the question, not a guess.
OPEN_SPELLINGS: Final[Mapping[str, Mapping[str, str]]] = {
    "flow": {
        "gph": "US or imperial gallons: write `US gal/h` or `imp gal/h`",
        "gal/h": "US or imperial gallons: write `US gal/h` or `imp gal/h`",
        "gpm": "US or imperial gallons: write `US gal/min` or `imp gal/min`",
        "gal/min": "US or imperial gallons: write `US gal/min` or `imp gal/min`",
        "cc": "a flow needs a time: write `cc/min`",
        "lb/h": "a mass flow: give it as `cc/min` or `L/h`, or with the fluid's density",
        "#": "pounds an hour or pounds a square inch: write the unit out",
    },
    "pressure": {
        "#": "pounds an hour or pounds a square inch: write the unit out",
        "bar abs": "absolute pressure: give gauge pressure, as `bar`",
        "bara": "absolute pressure: give gauge pressure, as `bar`",
        "psia": "absolute pressure: give gauge pressure, as `psi`",
        "mbar": "implausible for a fuel system: did you mean `bar`?",
        "atm": "technical or standard atmosphere: write `bar` or `kPa`",
    },
    "power": {
        "whp": "power at the wheels: write `hp` and set `power_at` to `wheels`",
        "rwhp": "power at the wheels: write `hp` and set `power_at` to `wheels`",
    },
    "volume": {"gal": "US or imperial gallon: write `US gal` or `imp gal`"},
}

_EXAMPLES: Final[Mapping[str, str]] = {
    "length": '`"1.4 m"`, `"3 1/8 in"` or `{"value": 7.9, "unit": "mm"}`',
    "pressure": '`"3 bar"`, `"43.5 psi"` or `{"value": 300, "unit": "kPa"}`',
    "flow": '`"340 L/h"`, `"1000 cc/min"` or `{"value": 255, "unit": "L/h"}`',
    "mass flow": '`"60 lb/h"` or `{"value": 27.2, "unit": "kg/h"}`',
    "temperature": '`"20 degC"` or `{"value": 68, "unit": "degF"}`',
    "power": '`"420 kW"`, `"600 hp"` or `{"value": 420, "unit": "kW"}`',
    "voltage": '`"13.5 V"` or `{"value": 13.5, "unit": "V"}`',
    "current": '`"14.1 A"` or `{"value": 14.1, "unit": "A"}`',
    "volume": '`"2.5 L"` or `{"value": 500, "unit": "cc"}`',
    "mass": '`"250 g"` or `{"value": 0.25, "unit": "kg"}`',
    "angle": '`"45 deg"` or `{"value": 90, "unit": "deg"}`',
    "resistance": '`"12 ohm"` or `{"value": 12, "unit": "ohm"}`',
    "density": '`"745 kg/m3"` or `{"value": 0.745, "unit": "kg/L"}`',
    "specific consumption": '`"0.5 lb/hp/h"` or `{"value": 0.304, "unit": "kg/kWh"}`',
    "torque": '`"25 Nm"`',
    "time": '`"0.8 ms"` or `{"value": 0.8, "unit": "ms"}`',
    "area": '`"2.5 mm2"`',
}

_DASHES: Final = dict.fromkeys(
    map(ord, "\u2010\u2011\u2012\u2013\u2014\u2212\ufe58\ufe63\uff0d"), "-"
)
_PRIMES: Final = {
    ord("\u2032"): "'",
    ord("\u2019"): "'",
    ord("\u2018"): "'",
    ord("\u2033"): '"',
    ord("\u201d"): '"',
    ord("\u201c"): '"',
}
_LETTER_SIGNS: Final = {
    ord("\u00b5"): "u",
    ord("\u03bc"): "u",
    ord("\u2126"): "ω",
    ord("\u2044"): "/",
}


# The top of a fraction set small right after its whole number: 1¹⁄₁₆ is not 11/16.
_RAISED_TOP: Final = re.compile(r"(?<=\d)([¹²³⁰⁴-⁹]{1,6})(?=[⁄/])")


def plain_text(text: str) -> str:
    """Fold the typography of a trade text: dashes, primes, vulgar fractions, micro signs, blanks.

    ``"3⅜″"`` becomes ``"3 3/8\\""``. Superscripts become digits, several blanks one.
    """
    text = _RAISED_TOP.sub(r" \1", text)
    spaced = "".join(
        f" {unicodedata.normalize('NFKC', c)}"
        if unicodedata.name(c, "").startswith("VULGAR")
        else c
        for c in text
    )
    folded = spaced.translate(_DASHES | _PRIMES | _LETTER_SIGNS)
    # NFKC turns a prime into itself but a fraction into digits around U+2044.
    folded = unicodedata.normalize("NFKC", folded).translate(_DASHES | _PRIMES | _LETTER_SIGNS)
    return re.sub(r"\s+", " ", folded.replace("''", '"')).strip()


_MIXED = re.compile(
    r"(?P<sign>[-+]?)(?:(?P<whole>\d{1,9})(?: |-))?(?P<top>\d{1,6})/(?P<bottom>\d{1,6})"
)
_DECIMAL = re.compile(r"[-+]?\d{1,12}(?:[.,]\d{1,12})?|[-+]?[.,]\d{1,12}")
_GROUPED = re.compile(r"(?P<groups>\d{1,3}(?:(?P<mark>[.,])\d{3})+)(?P<rest>[.,]\d{1,12})?")
_SPACED = re.compile(r"[-+]?\d{1,3}(?P<groups>(?: \d{3})+)(?:[.,]\d{1,12})?")
_NUMBER = re.compile(
    rf"{_SPACED.pattern.replace('?P<groups>', '?:')}(?![\d/.,])|"
    r"[-+]?(?:\d{1,9}(?: |-))?\d{1,6}/\d{1,6}|[-+]?\d[\d.,]*|[-+]?[.,]\d+",
)


def read_number(text: str) -> float:
    """Read a number as the trade writes it.

    Decimals with point or comma, fractions and mixed fractions are taken, and digits in threes with
    blanks between, as the SI Brochure groups them; ``1,000`` is refused, being one or a thousand.

    Raises:
        QuantityError: not a number, or a number with two readings.
    """
    plain = plain_text(text)
    if mixed := _MIXED.fullmatch(plain):
        bottom = int(mixed["bottom"])
        if bottom == 0:
            raise QuantityError(f"`{text}` divides by zero.", "a number such as `3 1/8`")
        value = float(int(mixed["whole"] or 0) + Fraction(int(mixed["top"]), bottom))
        return -value if mixed["sign"] == "-" else value
    if spaced := _SPACED.fullmatch(plain):
        return _spaced_number(plain, spaced["groups"])
    grouped = _GROUPED.fullmatch(plain.lstrip("+-"))
    if grouped and grouped["rest"] and grouped["rest"][0] != grouped["mark"]:
        sign = -1.0 if plain.startswith("-") else 1.0
        whole = re.sub(r"[.,]", "", grouped["groups"])
        return sign * float(f"{whole}.{grouped['rest'][1:]}")
    if grouped and grouped["mark"] == "," and "." not in plain and not plain.startswith("0,"):
        raise QuantityError(
            f"`{text}` is one number with a decimal comma or a larger one with a grouping comma.",
            f"`{plain.replace(',', '.')}` or `{plain.replace(',', '')}`",
        )
    if _DECIMAL.fullmatch(plain):
        return float(plain.replace(",", "."))
    raise QuantityError(f"`{text}` is not a number.", "a number such as `12.5` or `3 1/8`")


def _spaced_number(plain: str, groups: str) -> float:
    """`1 000` as the SI Brochure groups digits; `2 340` may be two pieces of 340."""
    whole = plain.replace(" ", "").replace(",", ".")
    if " 0" not in groups and groups.count(" ") == 1:
        raise QuantityError(
            f"`{plain}` is one number with a blank between its digits, or two numbers.",
            f"`{whole}` where it is one number",
        )
    return float(whole)


_SCALES: Final = frozenset({"degC", "degF", "K"})


@cache
def factor(unit: str, canonical: str) -> float:
    """How many `canonical` one `unit` is; both in pint's spelling, neither a temperature."""
    return float(_REGISTRY.Quantity(1.0, unit).to(canonical).magnitude)


def convert(value: float, unit: str, canonical: str) -> float:
    """`value` in `unit` expressed in `canonical`; temperatures are points on their scale.

    Rounded to 12 digits, so that 3/8 inch is 9.525 mm and not 9.524999999999999.
    """
    if unit == canonical:
        return value
    if unit in _SCALES:
        exact = float(_REGISTRY.Quantity(value, unit).to(canonical).magnitude)
    else:
        exact = value * factor(unit, canonical)
    return float(f"{exact:.12g}")


def _spelt(dimension: str, unit: str) -> str:
    """The unit's name for pint.

    Raises:
        QuantityError: not a unit of this dimension.
    """
    folded = plain_text(unit)
    known = SPELLINGS[dimension]
    name = known.get(folded) or known.get(folded.lower()) or known.get(folded.lower().rstrip("."))
    if name is not None:
        return name
    expected = _EXAMPLES[dimension]
    if reading := OPEN_SPELLINGS.get(dimension, {}).get(folded.lower()):
        raise QuantityError(f"`{unit}` is open: {reading}.", expected)
    for other, spellings in SPELLINGS.items():
        if folded.lower() in spellings:
            raise QuantityError(f"`{unit}` is a unit of {other}, not of {dimension}.", expected)
    raise QuantityError(f"`{unit}` is not a unit of {dimension} known here.", expected)


_FEET_AND_INCHES = re.compile(
    r"(?P<feet>\d{1,4})\s?(?:'|ft\.?)\s?(?P<inches>[\d ./-]{1,12}?)\s?(?:\"|in\.?)"
)


def read_quantity(text: str, dimension: str, canonical: str) -> float:
    """Read a quantity from text, in the canonical unit.

    Args:
        text: number and unit, e.g. ``"3 1/8 in"``, ``"43,5 psi"``, ``"3' 6\\""``.
        dimension: a key of `SPELLINGS`.
        canonical: the unit of the result in pint's spelling.

    Raises:
        QuantityError: no number, no unit, a unit of another dimension, or an open text.
    """
    expected = _EXAMPLES[dimension]
    if len(text) > LONGEST_TEXT:
        raise QuantityError(f"A text of {len(text)} characters is no quantity.", expected)
    plain = plain_text(text)
    if dimension == "length" and (both := _FEET_AND_INCHES.fullmatch(plain)):
        inches = 12 * int(both["feet"]) + read_number(both["inches"])
        return convert(inches, "inch", canonical)
    found = _NUMBER.match(plain)
    if found is None:
        raise QuantityError(f"`{text}` does not begin with a number.", expected)
    value = read_number(found.group())
    unit = plain[found.end() :].strip().removeprefix("-").strip()
    if not unit:
        raise QuantityError(f"`{text}` has no unit.", expected)
    return convert(value, _spelt(dimension, unit), canonical)


@dataclass(frozen=True, slots=True)
class Unit:
    """Marks a float field of a model as a quantity of one dimension in one canonical unit.

    The field takes text or ``{"value", "unit"}`` and is written as ``{"value", "unit"}`` in
    `unit`. A bare number, another dimension, a value out of bounds, NaN and infinity are refused.
    """

    dimension: str
    unit: str
    least: float | None = None
    above: float | None = None
    most: float | None = None

    def read(self, given: object) -> float:
        """The canonical value of what a caller gave.

        Raises:
            QuantityError: with the reason and what would be right.
        """
        expected = _EXAMPLES[self.dimension]
        if isinstance(given, str):
            value = read_quantity(given, self.dimension, self.unit)
        elif isinstance(given, Mapping):
            value = self._read_pair(given)
        elif isinstance(given, (int, float)) and not isinstance(given, bool):
            raise QuantityError("A bare number has no unit.", expected)
        else:
            raise QuantityError(f"This is not a {self.dimension}.", expected)
        return self._bounded(value)

    def _read_pair(self, given: Mapping[Any, Any]) -> float:
        expected = _EXAMPLES[self.dimension]
        if set(given) != {"value", "unit"}:
            raise QuantityError("A quantity has exactly `value` and `unit`.", expected)
        value, unit = given["value"], given["unit"]
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise QuantityError("`value` must be a number.", expected)
        if not isinstance(unit, str) or len(unit) > LONGEST_TEXT:
            raise QuantityError("`unit` must be the text of a unit.", expected)
        if abs(value) > LARGEST_MAGNITUDE or not math.isfinite(value):
            raise QuantityError("`value` must be a finite number of sensible size.", expected)
        name = _spelt(self.dimension, unit) if unit != self.unit else unit
        return convert(float(value), name, self.unit)

    def _bounded(self, value: float) -> float:
        expected = _EXAMPLES[self.dimension]
        if not math.isfinite(value):
            raise QuantityError("The value is not finite.", expected)
        if self.above is not None and not value > self.above:
            raise QuantityError(f"The value must be above {self.above:g} {self.unit}.", expected)
        if self.least is not None and not value >= self.least:
            raise QuantityError(f"The value must be at least {self.least:g} {self.unit}.", expected)
        if self.most is not None and not value <= self.most:
            raise QuantityError(f"The value must be at most {self.most:g} {self.unit}.", expected)
        return value

    def _validate(self, given: object) -> float:
        try:
            return self.read(given)
        except QuantityError as fault:
            raise PydanticCustomError(
                "quantity", "{reason}", {"reason": fault.reason, "expected": fault.expected}
            ) from fault

    def _write(self, value: float) -> dict[str, float | str]:
        return {"value": value, "unit": self.unit}

    def __get_pydantic_core_schema__(
        self, _source: object, _handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self._validate,
            serialization=core_schema.plain_serializer_function_ser_schema(self._write),
        )

    def __get_pydantic_json_schema__(
        self, _schema: CoreSchema, _handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {
            "description": f"A {self.dimension}: text with a unit, or value and unit.",
            "anyOf": [
                {"type": "string", "maxLength": LONGEST_TEXT},
                {
                    "type": "object",
                    "properties": {"value": {"type": "number"}, "unit": {"type": "string"}},
                    "required": ["value", "unit"],
                    "additionalProperties": False,
                },
            ],
            "examples": [{"value": 10.0, "unit": self.unit}],
        }


# The greatest values are far beyond any car's fuel system; they catch slipped units and typing.
LengthMm = Annotated[float, Unit("length", "mm", above=0.0, most=1e6)]
BoreMm = Annotated[float, Unit("length", "mm", above=0.0, most=500.0)]
FinenessUm = Annotated[float, Unit("length", "um", above=0.0, most=5000.0)]
PressureKpa = Annotated[float, Unit("pressure", "kPa", least=0.0, most=1e6)]
BoostKpa = Annotated[float, Unit("pressure", "kPa", least=0.0, most=2000.0)]
FlowLph = Annotated[float, Unit("flow", "L/h", above=0.0, most=1e5)]
FlowOrNoneLph = Annotated[float, Unit("flow", "L/h", least=0.0, most=1e5)]
FlowCcMin = Annotated[float, Unit("flow", "cc/min", above=0.0, most=1e5)]
TemperatureC = Annotated[float, Unit("temperature", "degC", least=-80.0, most=400.0)]
PowerKw = Annotated[float, Unit("power", "kW", above=0.0, most=1e4)]
VoltageV = Annotated[float, Unit("voltage", "V", above=0.0, most=60.0)]
CurrentA = Annotated[float, Unit("current", "A", above=0.0, most=1000.0)]
VolumeL = Annotated[float, Unit("volume", "L", above=0.0, most=1e4)]
MassG = Annotated[float, Unit("mass", "g", above=0.0, most=1e6)]
AngleDeg = Annotated[float, Unit("angle", "deg", least=0.0, most=360.0)]
ResistanceOhm = Annotated[float, Unit("resistance", "ohm", above=0.0, most=1e6)]
DensityKgM3 = Annotated[float, Unit("density", "kg/m**3", above=0.0, most=2000.0)]
ConsumptionKgKwh = Annotated[float, Unit("specific consumption", "kg/kW/h", above=0.0, most=5.0)]
AreaMm2 = Annotated[float, Unit("area", "mm**2", above=0.0, most=1e7)]
TimeMs = Annotated[float, Unit("time", "ms", least=0.0, most=1e4)]
