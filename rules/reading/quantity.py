"""Quantities as they are written on a part, a sheet or a message: value, unit and conditions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from rules.quantities import convert
from rules.reading.measures import (
    Item,
    KnownUnit,
    Number,
    OpenUnit,
    Term,
    Unit,
    UnsettledUnit,
    items,
    numbers_meant,
)
from rules.reading.outcome import (
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
    unreadable,
)

_WHICH_UNIT: Final = "What are the number and its unit?"


@dataclass(frozen=True, slots=True)
class Measure:
    """A number or a range with its unit, each as far as it is there."""

    number: Number | None
    unit: Unit | None
    upper: Number | None = None

    @property
    def value(self) -> float | None:
        """The value, if the number has exactly one."""
        return self.number.values[0] if self.number and len(self.number.values) == 1 else None


@dataclass(slots=True)
class _Group:
    """The measures and words between two `@` signs."""

    measures: list[Measure] = field(default_factory=list)
    terms: set[str] = field(default_factory=set)


# Words that add nothing to the quantity they stand beside.
_SILENT: Final = frozenset(
    [
        "(",
        ")",
        "[",
        "]",
        ",",
        ".",
        ";",
        ":",
        "-",
        "flow",
        "rate",
        "rated",
        "rating",
        "pump",
        "injector",
        "injectors",
        "fuel",
        "pressure",
        "rail",
        "line",
        "hose",
        "length",
        "long",
        "thick",
        "wide",
        "base",
        "gauge",
        "g",
        "of",
        "the",
        "is",
        "per",
        "each",
        "draw",
        "current",
        "working",
        "max.",
        "roughly",
        "filter",
        "element",
        "mesh",
        "size",
    ]
) - {"per", "each", "roughly"}
_MOST: Final = frozenset({"up", "max", "maximum", "<", "\u2264", "under", "below", "upto"})
_LEAST: Final = frozenset({"min", "minimum", ">", "\u2265", "over", "above", "least"})
_RANGE_SIGNS: Final = frozenset({"and", "to", "-", "or", "\u2026"})
# Words that say what of, with the canonical word for it.
_OF: Final[dict[str, tuple[str, str]]] = {
    "boost": ("of", "boost"),
    "manifold": ("of", "boost"),
    "absolute": ("said", "absolute"),
    "abs": ("said", "absolute"),
    "nominal": ("said", "nominal"),
    "nom": ("said", "nominal"),
    "wheels": ("said", "wheels"),
    "wheel": ("said", "wheels"),
    "crank": ("said", "crank"),
    "flywheel": ("said", "crank"),
    "id": ("of", "bore"),
    "bore": ("of", "bore"),
    "inside": ("of", "bore"),
    "od": ("of", "outside diameter"),
    "outside": ("of", "outside diameter"),
    "\u00f8": ("of", "diameter"),
    "elbow": ("of", "elbow"),
    "bend": ("of", "elbow"),
    "flare": ("of", "seat"),
    "seat": ("of", "seat"),
    "cone": ("of", "seat"),
}


def read_quantity_text(folded: str) -> Reading:
    """Read a quantity from folded text.

    The canonical form is `{"value", "unit"}`, with `at` for test conditions, `of` for what is
    measured, `bound` for an upper or a lower bound, or `{"least", "most", "unit"}` for a range.
    """
    groups = _groups(folded)
    if groups is None or not groups[0].measures:
        return unreadable(_WHICH_UNIT)
    main, *conditions = groups
    if "=" in main.terms:
        return _equation(main)
    if len(main.measures) == 2:
        joined = _joined(main)
        if isinstance(joined, Reading):
            return joined
        main.measures = [joined]
    if len(main.measures) != 1:
        return unreadable("Several quantities stand in one field: which one is meant?")
    return _with_unknown_words(_one(main.measures[0], main.terms, conditions), groups)


def _groups(folded: str) -> list[_Group] | None:
    """The text split at its `@` signs; `None` where a number in it is none."""
    groups = [_Group()]
    found = list(items(folded))
    at = 0
    while at < len(found):
        item = found[at]
        if isinstance(item, Term) and item.text == "@":
            groups.append(_Group())
            at += 1
            continue
        if isinstance(item, Term):
            groups[-1].terms.add(item.text)
            at += 1
            continue
        measure, taken = _measure(found, at)
        if any(
            number is not None and not number.values for number in (measure.number, measure.upper)
        ):
            return None
        groups[-1].measures.append(measure)
        at += taken
    return groups


def _measure(found: Sequence[Item], at: int) -> tuple[Measure, int]:
    """The measure that begins at an item, and how many items it takes."""
    first = found[at]
    if isinstance(first, KnownUnit | UnsettledUnit):
        return Measure(None, first), 1
    assert isinstance(first, Number)
    signed = _signed(found, at)
    rest = found[at + 1 :]
    match rest:
        case [KnownUnit() | UnsettledUnit() as unit, *_]:
            return Measure(signed, unit), 2
        case [Term("-"), KnownUnit() | UnsettledUnit() as unit, *_]:
            return Measure(signed, unit), 3
        case [Term(sign), Number() as upper, KnownUnit() | UnsettledUnit() as unit, *_] if (
            sign in _RANGE_SIGNS
        ):
            return Measure(signed, unit, upper), 4
        case _:
            return Measure(signed, None), 1


def _signed(found: Sequence[Item], at: int) -> Number:
    """The number with its minus, which stands at the beginning or after another sign."""
    number = found[at]
    assert isinstance(number, Number)
    is_minus = at > 0 and found[at - 1] == Term("-")
    if is_minus and (at == 1 or isinstance(found[at - 2], Term)):
        return Number(f"-{number.text}", tuple(-value for value in number.values))
    return number


def _joined(group: _Group) -> Measure | Reading:
    """Two measures side by side: feet and inches, or one quantity in two units."""
    first, second = group.measures
    if not (isinstance(first.unit, KnownUnit) and isinstance(second.unit, KnownUnit)):
        return unreadable("Several quantities stand in one field: which one is meant?")
    if first.value is None or second.value is None:
        return unreadable(_WHICH_UNIT)
    if (first.unit.name, second.unit.name) == ("ft", "inch") and second.value < 12:
        inches = 12 * first.value + second.value
        return Measure(Number(f"{inches:g}", (inches,)), second.unit)
    if first.unit.dimension != second.unit.dimension:
        return unreadable("Several quantities stand in one field: which one is meant?")
    return _two_units(first, second, first.unit, second.unit)


_AGREEMENT: Final = 0.01  # 43.5 psi and 3 bar, or 0.110 inch and 2.80 mm, are well within it


def _two_units(
    first: Measure, second: Measure, one: KnownUnit, other: KnownUnit
) -> Measure | Reading:
    value, again = first.value, second.value
    assert value is not None and again is not None
    converted = convert(again, other.name, one.name)
    if abs(converted - value) <= _AGREEMENT * max(abs(value), abs(converted)):
        return first
    return ambiguous(
        f"{value:g} {one.name} and {again:g} {other.name} are not the same: which measures right?",
        [_option(_quantity(value, one)), _option(_quantity(again, other))],
    )


def _equation(group: _Group) -> Reading:
    """`630 cc/min = 453 g/min`: a volume and a mass of the test fluid, so its density."""
    if len(group.measures) != 2:
        return unreadable(_WHICH_UNIT)
    volume, mass = group.measures
    if not (isinstance(volume.unit, KnownUnit) and isinstance(mass.unit, KnownUnit)):
        return unreadable(_WHICH_UNIT)
    if (volume.unit.dimension, mass.unit.dimension) != ("flow", "mass flow"):
        joined = _joined(group)
        return joined if isinstance(joined, Reading) else _one(joined, set(), [])
    if not volume.value or mass.value is None:
        return unreadable(_WHICH_UNIT)
    g_per_min = convert(mass.value, mass.unit.name, "g/min")
    density = g_per_min / convert(volume.value, volume.unit.name, "cc/min")
    found = _one(volume, set(), [])
    test_fluid = {"density": {"value": round(density, 4), "unit": "g/cc"}}
    canonical = {**_mapping(found.canonical), **test_fluid}
    return replace(found, canonical=canonical, readings=(_option(canonical),))


def _mapping(canonical: object) -> dict[str, Any]:
    return dict(canonical) if isinstance(canonical, dict) else {}


def _with_unknown_words(reading: Reading, groups: Sequence[_Group]) -> Reading:
    """No text is certain while a word of it means nothing to us."""
    known = _SILENT | _MOST | _LEAST | _RANGE_SIGNS | _OF.keys() | _CONTEXT
    unknown = [t for group in groups for t in sorted(group.terms) if t not in known]
    if not unknown or reading.certainty not in ("certain", "partial"):
        return reading
    question = reading.question or f"What does `{unknown[0]}` mean here?"
    return partial(
        reading.canonical,
        question,
        (*reading.unknown, *(f"the word `{word}`" for word in unknown)),
        reading.readings,
    )


# Words that settle an open unit where it is read.
_CONTEXT: Final = frozenset({"map", "per", "each", "engine", "sensor"})


def _one(measure: Measure, terms: set[str], conditions: Sequence[_Group]) -> Reading:
    if measure.unit is None:
        return _bare(measure, conditions)
    if measure.number is None:
        return _unit_alone(measure.unit)
    if len(measure.number.values) > 1:
        return _two_values(measure.number, measure.unit)
    if measure.upper is not None:
        return _range(measure, measure.unit, terms)
    value = measure.number.values[0]
    if isinstance(measure.unit, UnsettledUnit):
        return _open_unit(value, measure.unit.open, terms, conditions)
    if "map" in terms and measure.unit.dimension == "pressure":
        return _manifold_sensor(value, measure.unit)
    return _complete(_quantity(value, measure.unit), measure.unit, terms, conditions)


def _quantity(value: float | None, unit: KnownUnit) -> dict[str, Any]:
    """The canonical form; technical atmospheres, which are open as text, become bar."""
    name = unit.name
    if name == "at":
        name = "bar"
        value = None if value is None else convert(value, "at", "bar")
    quantity: dict[str, Any] = {"value": value, "unit": name}
    if unit.said in ("wheels", "crank"):
        quantity["power_at"] = unit.said
    elif unit.said:
        quantity["reference"] = unit.said
    return quantity


def _option(canonical: dict[str, Any], label: str | None = None) -> ReadingOption:
    return ReadingOption(canonical, label or _label(canonical))


def _label(canonical: dict[str, Any]) -> str:
    """A quantity in words: `465 L/h at 40 psi and 13.5 V`."""
    if "least" in canonical:
        words = f"{canonical['least']:g} to {canonical['most']:g} {canonical['unit']}"
    elif canonical["value"] is None:
        words = f"the unit {canonical['unit']}"
    else:
        words = f"{canonical['value']:g} {canonical['unit'] or ''}".strip()
    if canonical.get("bound"):
        words = f"at {canonical['bound']} {words}"
    said = [canonical[key] for key in ("of", "power_at", "reference", "rating") if key in canonical]
    words = " ".join([words, *said])
    at = [_label(condition) for condition in canonical.get("at", {}).values()]
    return f"{words} at {' and '.join(at)}" if at else words


def _complete(
    quantity: dict[str, Any], unit: KnownUnit, terms: set[str], conditions: Sequence[_Group]
) -> Reading:
    """A settled value and unit, with its conditions, as complete as its use needs."""
    canonical = dict(quantity)
    unknown: list[str] = []
    _say(canonical, unit, terms)
    at, unclear = _conditions(conditions)
    if at:
        canonical["at"] = at
    unknown += unclear
    needed, question = _needs(canonical, unit)
    missing = [need for need in needed if need not in at]
    if not any(name.startswith("unit of") for name in unclear):
        unknown += missing
    else:
        question = f"In which unit is the {unclear[0].removeprefix('unit of ')}?"
    if unknown:
        return partial(canonical, question, unknown, _partial_options(canonical, unit))
    return certain(canonical, _label(canonical))


def _say(canonical: dict[str, Any], unit: KnownUnit, terms: set[str]) -> None:
    """Add what the words say about the quantity."""
    if terms & _MOST:
        canonical["bound"] = "most"
    elif terms & _LEAST:
        canonical["bound"] = "least"
    for term in sorted(terms & _OF.keys()):
        key, word = _OF[term]
        if key == "of":
            canonical["of"] = word
        elif unit.dimension == "power":
            canonical["power_at"] = word
        elif unit.dimension == "pressure":
            canonical["reference"] = word
        elif unit.name == "um":
            canonical["rating"] = word


def _conditions(groups: Iterable[_Group]) -> tuple[dict[str, Any], list[str]]:
    """The conditions after `@` by dimension, and what is unclear of them."""
    at: dict[str, Any] = {}
    unclear: list[str] = []
    for group in groups:
        for measure in group.measures:
            if measure.value is None:
                unclear.append("the condition")
            elif isinstance(measure.unit, KnownUnit):
                at[measure.unit.dimension] = _quantity(measure.value, measure.unit)
            else:
                unclear.append(f"unit of {measure.value:g}")
                at["condition"] = {"value": measure.value, "unit": None}
    return at, unclear


# What a rating is worth nothing without. Pumps are sold by L/h and gallons an hour, injectors by
# cc/min and lb/h, filters by micrometres, rolling-road figures in hp; L/min is measured with a can
# and a watch and stands alone. Common practice, no source.
_PUMP_UNITS: Final = frozenset({"L/h", "USgal/h", "impgal/h"})
_INJECTOR_UNITS: Final = frozenset({"cc/min", "lb/h"})
# Angles that are seats as well as elbows.
_SEAT_ANGLES: Final = frozenset({24.0, 37.0, 45.0})


def _needs(canonical: dict[str, Any], unit: KnownUnit) -> tuple[tuple[str, ...], str]:
    """What else a quantity of this unit needs, and the question for it."""
    if unit.name in _PUMP_UNITS:
        return ("pressure", "voltage"), "At what pressure and what voltage does the pump give that?"
    if unit.name in _INJECTOR_UNITS:
        return ("pressure",), "At what pressure was that flow measured?"
    if unit.name == "um" and "rating" not in canonical:
        return ("nominal or absolute",), "Is the fineness nominal or absolute?"
    if unit.name == "hp" and "power_at" not in canonical:
        return ("power_at",), "Is the power at the crank or at the wheels?"
    if unit.name == "deg" and canonical["value"] in _SEAT_ANGLES and "of" not in canonical:
        return ("elbow or seat",), "Is that the angle of an elbow, or of a flare's seat?"
    return (), ""


def _partial_options(canonical: dict[str, Any], unit: KnownUnit) -> list[ReadingOption]:
    at = canonical.get("at", {})
    if "condition" in at:
        value = at["condition"]["value"]
        return [
            _option({**canonical, "at": {"pressure": {"value": value, "unit": name}}})
            for name in ("psi", "bar", "kPa")
        ]
    if unit.name == "um" and "rating" not in canonical:
        return [_option({**canonical, "rating": rating}) for rating in ("nominal", "absolute")]
    if unit.name == "hp" and "power_at" not in canonical:
        return [_option({**canonical, "power_at": where}) for where in ("crank", "wheels")]
    if unit.name == "deg" and "of" not in canonical:
        return [_option({**canonical, "of": what}) for what in ("elbow", "seat")]
    return [_option(canonical)]


_SETTLED: Final[dict[OpenUnit, tuple[tuple[KnownUnit, ...], str]]] = {
    "hash": (
        (KnownUnit("mass flow", "lb/h"), KnownUnit("pressure", "psi")),
        "Is the # pounds an hour or pounds a square inch?",
    ),
    "pounds": (
        (
            KnownUnit("pressure", "psi"),
            KnownUnit("mass flow", "lb/h"),
            KnownUnit("mass", "lb"),
        ),
        "Are the pounds a pressure, a flow or a weight?",
    ),
    "gallons-per-hour": (
        (KnownUnit("flow", "USgal/h"), KnownUnit("flow", "impgal/h")),
        "Are they US or imperial gallons?",
    ),
    "gallons": (
        (KnownUnit("volume", "USgal"), KnownUnit("volume", "impgal")),
        "Are they US or imperial gallons?",
    ),
    "cc": (
        (KnownUnit("flow", "cc/min"), KnownUnit("volume", "cc")),
        "Is it an injector's flow in a minute, or an engine's size?",
    ),
    "at": (
        (KnownUnit("pressure", "at"), KnownUnit("pressure", "atm")),
        "Is the atmosphere the technical one, a kg/cm2, or the standard one?",
    ),
    "kilos": (
        (KnownUnit("pressure", "at"), KnownUnit("mass", "kg")),
        "Are the kilos a pressure, in kg/cm2, or a weight?",
    ),
    "millibar": (
        (KnownUnit("pressure", "bar"), KnownUnit("pressure", "mbar")),
        "Is it bar? Millibar would be next to nothing in a fuel line, and megabar cannot be.",
    ),
    "mic": (
        (KnownUnit("length", "um"), KnownUnit("length", "mm")),
        "Is it micrometres, and nominal or absolute?",
    ),
    "horsepower": ((KnownUnit("power", "hp"),), "Is the power at the crank or at the wheels?"),
}
_STANDARD_ATMOSPHERE_BAR: Final = 1.01325
# Open units whose number is certain all the same. The others could be different things entirely.
_KEEPS_VALUE: Final[dict[OpenUnit, tuple[str, ...]]] = {
    "gallons-per-hour": ("which gallon", "pressure", "voltage"),
    "gallons": ("which gallon",),
    "cc": ("flow or volume", "pressure"),
    "at": ("which atmosphere",),
    "kilos": ("pressure or weight",),
    "mic": ("nominal or absolute",),
}


def _open_unit(
    value: float, unit: OpenUnit, terms: set[str], conditions: Sequence[_Group]
) -> Reading:
    units, question = _SETTLED[unit]
    if unit == "horsepower":
        return _complete(_quantity(value, units[0]), units[0], terms, conditions)
    if unit == "cc" and (conditions or terms & {"per", "each"}):
        return _complete(_quantity(value, units[0]), units[0], terms, conditions)
    options = []
    for known in units:
        canonical = _atmosphere(value) if known.name == "atm" else _quantity(value, known)
        _say(canonical, known, terms)
        options.append(_option(canonical))
    if unknown := _KEEPS_VALUE.get(unit):
        kept: dict[str, Any] = {"value": value, "unit": "um" if unit == "mic" else None}
        _say(kept, units[0], terms)
        return partial(kept, question, unknown, options)
    return ambiguous(question, options)


def _atmosphere(value: float) -> dict[str, Any]:
    return {"value": value * _STANDARD_ATMOSPHERE_BAR, "unit": "bar"}


def _unit_alone(unit: Unit) -> Reading:
    """A unit in a column of its own: what the numbers beside it are counted in."""
    if isinstance(unit, KnownUnit):
        quantity = _quantity(None, unit)
        return certain(quantity, _label(quantity))
    units, question = _SETTLED[unit.open]
    options = [_option(_quantity(None, known)) for known in units if known.name != "atm"]
    if unit.open == "horsepower":
        return partial(
            _quantity(None, units[0]),
            question,
            ("power_at",),
            [
                _option({**_quantity(None, units[0]), "power_at": where})
                for where in ("crank", "wheels")
            ],
        )
    return ambiguous(question, options)


def _two_values(number: Number, unit: Unit) -> Reading:
    known = unit if isinstance(unit, KnownUnit) else _SETTLED[unit.open][0][0]
    options = [_option(_quantity(value, known)) for value in number.values]
    return ambiguous(f"Is {number.text} {number.values[0]:g} or {number.values[1]:g}?", options)


def _range(measure: Measure, unit: Unit, terms: set[str]) -> Reading:
    low, high = measure.number, measure.upper
    assert low is not None and high is not None
    if len(low.values) != 1 or len(high.values) != 1:
        return unreadable(_WHICH_UNIT)
    known = unit if isinstance(unit, KnownUnit) else None
    lowest, highest = sorted((low.values[0], high.values[0]))
    canonical: dict[str, Any] = {
        "least": lowest,
        "most": highest,
        "unit": known.name if known else None,
    }
    ends = [_quantity(value, known) for value in (lowest, highest)] if known else []
    unknown = ["which value"]
    if known:
        _say(canonical, known, terms)
        unknown += _needs({"value": None} | canonical, known)[0]
    return partial(
        canonical,
        f"Which value between {lowest:g} and {highest:g} is meant?",
        unknown,
        [_option(end) for end in ends],
    )


def _manifold_sensor(value: float, unit: KnownUnit) -> Reading:
    sensor = {**_quantity(value, unit), "reference": "absolute", "of": "sensor range"}
    boost = {**_quantity(value, unit), "of": "boost"}
    return ambiguous(
        "Is that the range of an absolute pressure sensor, or boost?",
        [_option(sensor), _option(boost)],
    )


def _bare(measure: Measure, conditions: Sequence[_Group]) -> Reading:
    """A number without a unit."""
    if measure.number is None or conditions:
        return unreadable(_WHICH_UNIT)
    if measure.number.values == (0.0,):
        return zero()
    options = [
        _option({"value": value, "unit": unit})
        for value in measure.number.values
        for unit in ("pieces", "m", "ft", "mm", "L/h", "psi")
    ]
    options.append(ReadingOption({"of": "name"}, "the name or number of a part"))
    return ambiguous(f"In which unit is the {measure.number.text}?", options)


def zero() -> Reading:
    """A zero, which many systems write for nothing recorded."""
    return ambiguous(
        "Is it really zero, or was nothing recorded?",
        [ReadingOption(0.0, "zero"), ReadingOption(None, "nothing is recorded")],
    )


def read_number_text(folded: str) -> Reading:
    """Read a number without a unit from folded text. The canonical form is the number."""
    values = numbers_meant(folded)
    if not values:
        return unreadable("Which number is it?")
    if len(values) > 1:
        options = [ReadingOption(value, f"{value:g}") for value in values]
        return ambiguous(f"Is {folded} {values[0]:g} or {values[1]:g}?", options)
    if values[0] == 0:
        return zero()
    return certain(values[0], f"{values[0]:g}")


_LARGEST_ANGLE: Final = 360.0


def read_angle_text(folded: str) -> Reading:
    """Read an angle from folded text. The canonical form is `{"value", "unit"}` in degrees."""
    values = numbers_meant(folded)
    if len(values) == 1 and 0 <= values[0] <= _LARGEST_ANGLE:
        angle = {"value": values[0], "unit": "deg"}
        return partial(
            angle,
            f"Is {values[0]:g} degrees, or a size?",
            ("unit",),
            [_option(angle), ReadingOption({"size": folded}, f"the size {folded}")],
        )
    found = read_quantity_text(folded)
    if isinstance(found.canonical, dict) and found.canonical.get("unit") != "deg":
        return unreadable("How many degrees is the angle?")
    return found
