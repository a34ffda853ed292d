"""Quantities as they are written on a part, a sheet or a message: value, unit and conditions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from rules.quantities import convert
from rules.reading.clauses import RANGE_SIGNS, Clause, Measure, clauses
from rules.reading.numbers import bare_quantity, which_number
from rules.reading.outcome import (
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
    unreadable,
)
from rules.reading.units import (
    SETTLED,
    KnownUnit,
    Number,
    OpenUnit,
    Unit,
    UnsettledUnit,
    numbers_meant,
)

_WHICH_UNIT: Final = "What are the number and its unit?"
_WHICH_ONE: Final = "Several quantities stand in one field: which one is meant?"

# Words that add nothing to the quantity they stand beside.
_SILENT: Final = frozenset(
    [
        *"()[],.;:/-",
        *("flow", "rate", "rated", "rating", "pump", "injector", "injectors", "fuel", "pressure"),
        *("rail", "line", "hose", "length", "long", "thick", "wide", "base", "gauge", "g", "of"),
        *("the", "is", "draw", "current", "working", "filter", "element", "mesh", "size"),
    ]
)
_MOST: Final = frozenset({"up", "upto", "most", "max", "maximum", "<", "\u2264", "under", "below"})
_LEAST: Final = frozenset({"min", "minimum", ">", "\u2265", "over", "above", "least"})
# Words that say what is measured, or where or how: by dimension, the key and our own word for it.
_SAYING: Final[Mapping[str, Mapping[str, tuple[str, str]]]] = {
    "pressure": {
        "boost": ("of", "boost"),
        "manifold": ("of", "boost"),
        "absolute": ("reference", "absolute"),
        "abs": ("reference", "absolute"),
    },
    "power": {
        "wheel": ("power_at", "wheels"),
        "wheels": ("power_at", "wheels"),
        "crank": ("power_at", "crank"),
        "flywheel": ("power_at", "crank"),
    },
    "length": {
        "id": ("of", "bore"),
        "bore": ("of", "bore"),
        "inside": ("of", "bore"),
        "od": ("of", "outside diameter"),
        "outside": ("of", "outside diameter"),
        "\u00f8": ("of", "diameter"),
    },
    "fineness": {
        "absolute": ("rating", "absolute"),
        "abs": ("rating", "absolute"),
        "nominal": ("rating", "nominal"),
        "nom": ("rating", "nominal"),
    },
    "angle": {
        "elbow": ("of", "elbow"),
        "bend": ("of", "elbow"),
        "flare": ("of", "seat"),
        "seat": ("of", "seat"),
        "cone": ("of", "seat"),
    },
}
# Words that decide between the meanings of an open unit, by one of these meanings.
_DECIDING: Final = {"bar": {"map", "sensor"}, "psi": {"map", "sensor"}, "cc/min": {"per", "each"}}


def _sayings(unit: KnownUnit) -> Mapping[str, tuple[str, str]]:
    return _SAYING.get("fineness" if unit.name == "um" else unit.dimension, {})


def read_quantity_text(folded: str) -> Reading:
    """Read a quantity from folded text.

    The canonical form is `{"value", "unit"}`, with `at` for test conditions, `of` for what is
    measured, `bound` for an upper or a lower bound, `pieces` for cut lengths; a range is
    `{"least", "most", "unit"}`.
    """
    main, *conditions = clauses(folded)
    if not main.measures or not _all_numbers([main, *conditions]):
        return unreadable(_WHICH_UNIT)
    return _with_unknown_words(_quantity_of(main, conditions), [main, *conditions])


def _all_numbers(found: Iterable[Clause]) -> bool:
    return all(
        number is None or number.values
        for clause in found
        for measure in clause.measures
        for number in (measure.number, measure.upper)
    )


def _quantity_of(main: Clause, conditions: Sequence[Clause]) -> Reading:
    if len(main.measures) == 1:
        return _unknown_unit(main) or _one(main.measures[0], main.terms, conditions)
    if len(main.measures) > 2:
        return unreadable(_WHICH_ONE)
    first, second = main.measures
    if "=" in main.terms and (density := _density(first, second)):
        return _with_density(_one(first, main.terms, conditions), density)
    if "x" in main.terms and first.unit is None:
        main.terms.discard("x")
        return _pieces(first, second)
    if feet := _feet_and_inches(first, second):
        return _one(feet, main.terms, conditions)
    return _in_two_units(first, second, main.terms, conditions)


def _unknown_unit(clause: Clause) -> Reading | None:
    """The question for a number with a word that may be its unit and means nothing to us."""
    (measure,) = clause.measures
    strange = sorted(term for term in clause.terms - _words_beside(clause, joined=False))
    if measure.unit is not None or measure.number is None or not strange:
        return None
    return unreadable(
        f"`{' '.join(strange)}` is no unit known here: in which is the {measure.number.text}?"
    )


def _with_unknown_words(reading: Reading, found: Sequence[Clause]) -> Reading:
    """No text is certain while a word of it means nothing to us."""
    main, *conditions = found
    unknown = sorted(main.terms - _words_beside(main, joined=bool(conditions)))
    unknown += sorted({t for clause in conditions for t in clause.terms} - _SILENT - RANGE_SIGNS)
    if not unknown or reading.certainty not in ("certain", "partial"):
        return reading
    return partial(
        reading.canonical,
        reading.question or f"What does `{unknown[0]}` mean here?",
        (*reading.unknown, *(f"the word `{word}`" for word in unknown)),
        reading.readings,
    )


def _words_beside(clause: Clause, *, joined: bool) -> set[str]:
    """The words that mean something beside the measures of a clause."""
    words = {*_SILENT, *_MOST, *_LEAST}
    for unit in (unit for measure in clause.measures for unit in _meanings(measure.unit)):
        words |= _sayings(unit).keys() | _DECIDING.get(unit.name, set())
    if joined or clause.terms & _MOST or any(measure.upper for measure in clause.measures):
        words |= RANGE_SIGNS
    if len(clause.measures) > 1:
        words.add("=")
    return words


def _density(volume: Measure, mass: Measure) -> float | None:
    """The density in g/cc that `630 cc/min = 453 g/min` states of the test fluid."""
    if not (isinstance(volume.unit, KnownUnit) and isinstance(mass.unit, KnownUnit)):
        return None
    if (volume.unit.dimension, mass.unit.dimension) != ("flow", "mass flow"):
        return None
    if not volume.value or mass.value is None:
        return None
    g_per_min = convert(mass.value, mass.unit.name, "g/min")
    return g_per_min / convert(volume.value, volume.unit.name, "cc/min")


def _with_density(reading: Reading, density: float) -> Reading:
    if not isinstance(reading.canonical, dict):
        return reading
    stated = {"density": {"value": round(density, 4), "unit": "g/cc"}}
    canonical = {**reading.canonical, **stated}
    return replace(reading, canonical=canonical, readings=(_option(canonical),))


def _pieces(count: Measure, length: Measure) -> Reading:
    """`2 x 1.25 m`: cut pieces, which are not one length of 2.5 m."""
    unit = length.unit
    if not isinstance(unit, KnownUnit) or unit.dimension != "length":
        return unreadable(_WHICH_ONE)
    if not count.value or not length.value or not count.value.is_integer():
        return unreadable(_WHICH_UNIT)
    canonical = {"pieces": int(count.value), **_quantity(length.value, unit)}
    return certain(canonical, f"{count.value:g} pieces of {length.value:g} {unit.name}")


def _feet_and_inches(feet: Measure, inches: Measure) -> Measure | None:
    if not (isinstance(feet.unit, KnownUnit) and isinstance(inches.unit, KnownUnit)):
        return None
    if (feet.unit.name, inches.unit.name) != ("ft", "inch"):
        return None
    if feet.value is None or inches.value is None or not 0 <= inches.value < 12:
        return None
    together = 12 * feet.value + inches.value
    return Measure(Number(f"{together:g}", (together,)), inches.unit)


_AGREEMENT: Final = 0.01  # 0.110 inch and 2.80 mm are 0.2 % apart, 3/8 inch and 10 mm 5 %


def _in_two_units(
    first: Measure, second: Measure, terms: set[str], conditions: Sequence[Clause]
) -> Reading:
    """One quantity written in two units: taken if they agree, refused with both if not."""
    if first.value is None or second.value is None or not isinstance(first.unit, KnownUnit):
        return unreadable(_WHICH_ONE)
    again = [unit for unit in _meanings(second.unit) if unit.dimension == first.unit.dimension]
    if not again:
        return unreadable(_WHICH_ONE)
    if any(_agree(first.value, first.unit, second.value, unit) for unit in again):
        return _one(first, terms, conditions)
    options = [_option(_quantity(first.value, first.unit))]
    options += [_option(_quantity(second.value, unit)) for unit in again]
    return ambiguous(
        f"{options[0].label} and {options[1].label} are not the same: which measures right?",
        options,
    )


def _agree(value: float, unit: KnownUnit, again: float, other: KnownUnit) -> bool:
    converted = convert(again, other.name, unit.name)
    return abs(converted - value) <= _AGREEMENT * max(abs(value), abs(converted))


def _meanings(unit: Unit | None) -> tuple[KnownUnit, ...]:
    """The units that a unit can mean."""
    if unit is None:
        return ()
    return (unit,) if isinstance(unit, KnownUnit) else SETTLED[unit.open].units


def _one(measure: Measure, terms: set[str], conditions: Sequence[Clause]) -> Reading:
    if measure.number is None:
        return unreadable(_WHICH_UNIT) if conditions else _unit_alone(measure.unit, terms)
    if measure.unit is None:
        return unreadable(_WHICH_UNIT) if conditions else bare_quantity(measure.number)
    if len(measure.number.values) > 1:
        return _two_values(measure.number, measure.unit)
    if measure.upper is not None:
        return _range(measure.number, measure.upper, measure.unit, terms)
    value = measure.number.values[0]
    if isinstance(measure.unit, UnsettledUnit):
        return _open(value, measure.unit.open, terms, conditions)
    if "map" in terms and measure.unit.dimension == "pressure":
        return _manifold_sensor(value, measure.unit)
    return _settled(value, measure.unit, terms, conditions)


def _quantity(value: float | None, unit: KnownUnit) -> dict[str, Any]:
    """The canonical form. Atmospheres become bar: their own name is an open text."""
    if unit.name not in _ATMOSPHERES:
        return {"value": value, "unit": unit.name, **unit.said}
    bar = None if value is None else convert(value, unit.name, "bar")
    return {"value": bar, "unit": "bar", **unit.said}


_ATMOSPHERES: Final = frozenset({"at", "atm"})


def _option(canonical: dict[str, Any]) -> ReadingOption:
    return ReadingOption(canonical, _label(canonical))


def _label(canonical: dict[str, Any]) -> str:
    """A quantity in words: `465 L/h at 40 psi and 13.5 V`."""
    unit = _SPOKEN_UNITS.get(canonical["unit"], canonical["unit"] or "of an unknown unit")
    if "least" in canonical:
        words = f"{canonical['least']:g} to {canonical['most']:g} {unit}"
    elif canonical["value"] is None:
        words = f"the unit {unit}"
    else:
        words = f"{canonical['value']:g} {unit}"
    bound = f"at {canonical['bound']}" if "bound" in canonical else ""
    said = [canonical[key] for key in ("of", "reference", "rating") if key in canonical]
    where = f"at the {canonical['power_at']}" if "power_at" in canonical else ""
    at = " and ".join(_label(condition) for condition in canonical.get("at", {}).values())
    return " ".join(filter(None, [bound, words, *said, where, f"at {at}" if at else ""]))


_SPOKEN_UNITS: Final = {
    "um": "micrometres",
    "inch": "inches",
    "mm**2": "mm2",
    "cm**2": "cm2",
    "kg/m**3": "kg/m3",
    "deg": "degrees",
    "USgal/h": "US gallons an hour",
    "impgal/h": "imperial gallons an hour",
    "USgal/min": "US gallons a minute",
    "impgal/min": "imperial gallons a minute",
    "USgal": "US gallons",
    "impgal": "imperial gallons",
}


def _settled(
    value: float, unit: KnownUnit, terms: set[str], conditions: Sequence[Clause]
) -> Reading:
    """A settled value and unit: certain if nothing is missing that its use needs."""
    if value < 0 and unit.dimension not in _SIGNED:
        return unreadable(f"No {unit.dimension} is below zero: what was meant?")
    canonical = _quantity(value, unit)
    _say(canonical, unit, terms)
    measures = [measure for clause in conditions for measure in clause.measures]
    at = _conditions(measures)
    if at:
        canonical["at"] = at
    if not all(_is_said_by(measure, at) for measure in measures):
        return _unclear_condition(canonical, at, measures)
    needs = _needs(canonical, unit)
    missing = [need for need in needs.needed if need not in at]
    if missing:
        options = [_option({**canonical, **settled}) for settled in needs.settlings or ({},)]
        return partial(canonical, needs.question, missing, options)
    return certain(canonical, _label(canonical))


_SIGNED: Final = frozenset({"temperature", "pressure"})


def _say(canonical: dict[str, Any], unit: KnownUnit, terms: set[str]) -> None:
    """Add what the words say about the quantity."""
    if terms & _MOST:
        canonical["bound"] = "most"
    elif terms & _LEAST:
        canonical["bound"] = "least"
    for term in sorted(terms & _sayings(unit).keys()):
        key, word = _sayings(unit)[term]
        canonical[key] = word


def _conditions(measures: Iterable[Measure]) -> dict[str, Any]:
    """The conditions that are one value with a unit, by their dimension."""
    return {
        measure.unit.dimension: _quantity(measure.value, measure.unit)
        for measure in measures
        if isinstance(measure.unit, KnownUnit) and measure.value is not None and not measure.upper
    }


def _is_said_by(measure: Measure, at: Mapping[str, Any]) -> bool:
    """Whether the conditions hold a measure; one given in two units may differ by rounding."""
    if not isinstance(measure.unit, KnownUnit) or measure.value is None or measure.upper:
        return False
    said = at[measure.unit.dimension]
    again = _quantity(measure.value, measure.unit)
    return said.keys() == again.keys() and _agree(
        said["value"],
        replace(measure.unit, name=said["unit"]),
        again["value"],
        replace(measure.unit, name=again["unit"]),
    )


def _unclear_condition(
    canonical: dict[str, Any], at: dict[str, Any], measures: Sequence[Measure]
) -> Reading:
    """A condition without a unit, of two values, or given twice."""
    numbers = [m.value for m in measures if m.unit is None and m.value is not None]
    options = [
        _option({**canonical, "at": {**at, "pressure": {"value": number, "unit": unit}}})
        for number in numbers[:1]
        for unit in ("psi", "bar", "kPa")
    ]
    question = (
        f"In which unit is the {numbers[0]:g}?" if numbers else "At what condition exactly is that?"
    )
    return partial(canonical, question, ("condition",), options or [_option(canonical)])


@dataclass(frozen=True, slots=True)
class _Needs:
    """What a quantity is worth nothing without, and the ways to settle it where they are few."""

    needed: tuple[str, ...] = ()
    question: str = ""
    settlings: tuple[Mapping[str, str], ...] = ()


# Pumps are sold by L/h and gallons an hour, injectors by cc/min and lb/h, filters by micrometres,
# rolling-road figures in hp; L/min is measured with a can and a watch and stands alone. Common
# practice, no source.
_PUMP: Final = _Needs(
    ("pressure", "voltage"), "At what pressure and what voltage does the pump give that?"
)
_INJECTOR: Final = _Needs(("pressure",), "At what pressure was that flow measured?")
_RATINGS: Final = {
    "L/h": _PUMP,
    "USgal/h": _PUMP,
    "impgal/h": _PUMP,
    "cc/min": _INJECTOR,
    "lb/h": _INJECTOR,
}
_FINENESS: Final = _Needs(
    ("rating",),
    "Is the fineness nominal or absolute?",
    ({"rating": "nominal"}, {"rating": "absolute"}),
)
_HORSEPOWER: Final = _Needs(
    ("power_at",),
    "Is the power at the crank or at the wheels?",
    ({"power_at": "crank"}, {"power_at": "wheels"}),
)
_ANGLE: Final = _Needs(
    ("of",),
    "Is that the angle of an elbow, or of a flare's seat?",
    ({"of": "elbow"}, {"of": "seat"}),
)
# Angles that are seats as well as elbows.
_SEAT_ANGLES: Final = frozenset({24.0, 37.0, 45.0})


def _needs(canonical: Mapping[str, Any], unit: KnownUnit) -> _Needs:
    """What else a quantity of this unit needs to be of use."""
    if unit.name in _RATINGS:
        return _RATINGS[unit.name]
    if unit.name == "um" and "rating" not in canonical:
        return _FINENESS
    if unit.name == "hp" and "power_at" not in canonical:
        return _HORSEPOWER
    if unit.name == "deg" and canonical.get("value") in _SEAT_ANGLES and "of" not in canonical:
        return _ANGLE
    return _Needs()


def _open(value: float, unit: OpenUnit, terms: set[str], conditions: Sequence[Clause]) -> Reading:
    """A unit that means several, unless the words or a condition decide."""
    meanings = SETTLED[unit]
    one_injector = unit == "cc" and (conditions or terms & {"per", "each"})
    if len(meanings.units) == 1 or one_injector:
        return _settled(value, meanings.units[0], terms, conditions)
    options = []
    for known in meanings.units:
        canonical = _quantity(value, known)
        _say(canonical, known, terms)
        options.append(_option(canonical))
    if not meanings.keeps:
        return ambiguous(meanings.question, options)
    kept: dict[str, Any] = {"value": value, "unit": meanings.likely}
    _say(kept, meanings.units[0], terms)
    return partial(kept, meanings.question, meanings.keeps, options)


def _unit_alone(unit: Unit | None, terms: set[str]) -> Reading:
    """A unit in a column of its own: what the numbers beside it are counted in."""
    units = _meanings(unit)
    if isinstance(unit, UnsettledUnit) and len(units) > 1:
        options = [_option(_quantity(None, known)) for known in units]
        return ambiguous(SETTLED[unit.open].question, options)
    if not units or terms - _SILENT - _sayings(units[0]).keys():
        return unreadable(_WHICH_UNIT)
    quantity = _quantity(None, units[0])
    _say(quantity, units[0], terms)
    if units[0].name == "hp" and "power_at" not in quantity:
        options = [_option({**quantity, **settled}) for settled in _HORSEPOWER.settlings]
        return partial(quantity, _HORSEPOWER.question, _HORSEPOWER.needed, options)
    return certain(quantity, _label(quantity))


def _two_values(number: Number, unit: Unit) -> Reading:
    known = _meanings(unit)[0]
    options = [_option(_quantity(value, known)) for value in number.values]
    return ambiguous(which_number(number.text, number.values), options)


def _range(low: Number, high: Number, unit: Unit, terms: set[str]) -> Reading:
    if len(low.values) != 1 or len(high.values) != 1 or len(_meanings(unit)) != 1:
        return unreadable(_WHICH_ONE)
    known = _meanings(unit)[0]
    least, most = sorted((low.values[0], high.values[0]))
    canonical: dict[str, Any] = {"least": least, "most": most, "unit": known.name}
    _say(canonical, known, terms)
    return partial(
        canonical,
        f"Which value between {least:g} and {most:g} is meant?",
        ("which value", *_needs(canonical, known).needed),
        [_option(_quantity(value, known)) for value in (least, most)],
    )


def _manifold_sensor(value: float, unit: KnownUnit) -> Reading:
    sensor = {**_quantity(value, unit), "reference": "absolute", "of": "sensor range"}
    boost = {**_quantity(value, unit), "of": "boost"}
    return ambiguous(
        "Is that the range of an absolute pressure sensor, or boost?",
        [_option(sensor), _option(boost)],
    )


_LARGEST_ANGLE: Final = 360.0


def read_angle_text(folded: str) -> Reading:
    """Read an angle from folded text. The canonical form is `{"value", "unit"}` in degrees."""
    values = numbers_meant(folded)
    if len(values) == 1 and 0 <= values[0] <= _LARGEST_ANGLE:
        angle = {"value": values[0], "unit": "deg"}
        return partial(
            angle,
            f"Is it {values[0]:g} degrees, or a size?",
            ("unit",),
            [_option(angle), ReadingOption({"size": folded}, f"the size {folded}")],
        )
    found = read_quantity_text(folded)
    if not isinstance(found.canonical, dict) or found.canonical["unit"] != "deg":
        return unreadable("How many degrees is the angle?")
    return found
