"""The numbers, units and words of a quantity text, and the units that mean several."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from rules.quantities import SPELLINGS, QuantityError, read_number

OpenUnit = Literal[
    "hash", "pounds", "gallons-per-hour", "gallons-per-minute", "gallons", "cc", "at", "kilos",
    "millibar", "mic", "horsepower",
]  # fmt: skip
"""A unit that the trade uses for more than one."""


@dataclass(frozen=True, slots=True)
class KnownUnit:
    """A unit of a dimension of `SPELLINGS`, in pint's spelling; `said` is what else it says."""

    dimension: str
    name: str
    said: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class UnsettledUnit:
    """A unit that means several."""

    open: OpenUnit


@dataclass(frozen=True, slots=True)
class Number:
    """A number as written, with all it can mean: `1,000` is one or a thousand.

    `2 340` is one number, or two pieces of 340.
    """

    text: str
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Term:
    """A word or a sign."""

    text: str


Unit = KnownUnit | UnsettledUnit
Item = Number | KnownUnit | UnsettledUnit | Term

_MORE_SPELLINGS: Final[Mapping[str, tuple[str, str]]] = {
    **dict.fromkeys(("l/hour", "l per hour", "l an hour", "litre/hour"), ("flow", "L/h")),
    "liter/hour": ("flow", "L/h"),
    "litres/hr": ("flow", "L/h"),
    "liters/hr": ("flow", "L/h"),
    "litres an hour": ("flow", "L/h"),
    **dict.fromkeys(
        ("l/minute", "litres per minute", "liters per minute", "litres/min", "liters/min"),
        ("flow", "L/min"),
    ),
    "cc per minute": ("flow", "cc/min"),
    "cc/minute": ("flow", "cc/min"),
    "cc's/min": ("flow", "cc/min"),
    "us gal/hr": ("flow", "USgal/h"),
    "us gallons per hour": ("flow", "USgal/h"),
    "imp gph": ("flow", "impgal/h"),
    "us gallons per minute": ("flow", "USgal/min"),
    **dict.fromkeys(("imp gpm", "imperial gallons per minute"), ("flow", "impgal/min")),
    "pounder": ("mass flow", "lb/h"),
    "pounders": ("mass flow", "lb/h"),
    "pounds per hour": ("mass flow", "lb/h"),
    "lb/hour": ("mass flow", "lb/h"),
    "lbs/h": ("mass flow", "lb/h"),
    "#/hr": ("mass flow", "lb/h"),
    "#/h": ("mass flow", "lb/h"),
    "bar g": ("pressure", "bar"),
    "psi g": ("pressure", "psi"),
    "kpa g": ("pressure", "kPa"),
    "kg/cm^2": ("pressure", "at"),
    "kg/cm": ("pressure", "at"),
    "volts dc": ("voltage", "V"),
    "vdc": ("voltage", "V"),
    "u": ("length", "um"),
    "\u00f8c": ("temperature", "degC"),
}
_SAID: Final[Mapping[str, tuple[str, str, str]]] = {
    "bara": ("pressure", "bar", "absolute"),
    "bar abs": ("pressure", "bar", "absolute"),
    "bar(a)": ("pressure", "bar", "absolute"),
    "psia": ("pressure", "psi", "absolute"),
    "psi abs": ("pressure", "psi", "absolute"),
    "kpa abs": ("pressure", "kPa", "absolute"),
    "kpaa": ("pressure", "kPa", "absolute"),
    "whp": ("power", "hp", "wheels"),
    "rwhp": ("power", "hp", "wheels"),
    "fwhp": ("power", "hp", "wheels"),
    "wheel hp": ("power", "hp", "wheels"),
    "wheel horsepower": ("power", "hp", "wheels"),
    "crank hp": ("power", "hp", "crank"),
    "flywheel hp": ("power", "hp", "crank"),
    "wkw": ("power", "kW", "wheels"),
}
_SAID_OF: Final = {"pressure": "reference", "power": "power_at"}
_OPEN: Final[Mapping[str, OpenUnit]] = {
    "#": "hash",
    "lb": "pounds",
    "lbs": "pounds",
    "pound": "pounds",
    "pounds": "pounds",
    "gph": "gallons-per-hour",
    "gal/h": "gallons-per-hour",
    "gal/hr": "gallons-per-hour",
    "gallons per hour": "gallons-per-hour",
    "gallons/hour": "gallons-per-hour",
    **dict.fromkeys(
        ("gpm", "gal/min", "gallons per minute", "gallons/minute", "gallons/min"),
        "gallons-per-minute",
    ),
    "gal": "gallons",
    "gals": "gallons",
    "gallon": "gallons",
    "gallons": "gallons",
    "cc": "cc",
    "ccs": "cc",
    "at": "at",
    "atm": "at",
    "kilos": "kilos",
    "kilo": "kilos",
    "mbar": "millibar",
    "mic": "mic",
    "hp": "horsepower",
    "bhp": "horsepower",
    "horsepower": "horsepower",
}


def _units() -> dict[str, Unit]:
    table: dict[str, Unit] = {}
    for dimension, spellings in SPELLINGS.items():
        for spelling, name in spellings.items():
            table.setdefault(spelling, KnownUnit(dimension, name))
    for spelling, (dimension, name) in _MORE_SPELLINGS.items():
        table[spelling] = KnownUnit(dimension, name)
    for spelling, (dimension, name, said) in _SAID.items():
        table[spelling] = KnownUnit(dimension, name, {_SAID_OF[dimension]: said})
    for spelling, unsettled in _OPEN.items():
        table[spelling] = UnsettledUnit(unsettled)
    return table


_UNITS: Final = _units()


def _pattern(spelling: str) -> str:
    return re.escape(spelling) + ("(?![a-z0-9])" if spelling[-1].isalnum() else "")


_UNIT: Final = "|".join(map(_pattern, sorted(_UNITS, key=len, reverse=True)))
_SPACED: Final = re.compile(r"\d{1,3}(?: \d{3})+(?:[.,]\d{1,12})?(?![\d/.,])")
_ITEM: Final = re.compile(
    r"(?P<blank>\s+)"
    rf"|(?P<number>{_SPACED.pattern}"
    r"|(?:\d{1,4}[ -])?\d{1,4}/\d{1,4}(?![\d/])|\d(?:[\d.,]*\d)?|[.,]\d+)"
    rf"|(?<![a-z])(?P<unit>{_UNIT})"
    r"|(?P<word>[^\W\d_]+)"
    r"|(?P<sign>.)",
    re.DOTALL,
)


def items(folded: str) -> Iterator[Item]:
    """The items of a folded text, every sign of it accounted for."""
    before: Item | None = None
    for found in _ITEM.finditer(folded):
        if found["blank"]:
            continue
        before = _item(found, before, folded)
        yield before


def _item(found: re.Match[str], before: Item | None, folded: str) -> Item:
    text = found.group()
    if found["number"]:
        return Number(text, numbers_meant(text))
    if text == "at" and _is_preposition(before, folded[found.end() :]):
        return Term("@")
    return _UNITS[text] if found["unit"] else Term(text)


def _is_preposition(before: Item | None, rest: str) -> bool:
    """`13 A at 13.5 V` speaks of a condition, `3 at` of atmospheres."""
    return not isinstance(before, Number) or bool(_NUMBER_NEXT.match(rest))


_NUMBER_NEXT: Final = re.compile(r"\s*[.,]?\d")


def numbers_meant(text: str) -> tuple[float, ...]:
    """Every value that a number as written can have; none where it is no number."""
    if (fraction := _FRACTION.search(text)) and not _is_proper(fraction):
        return ()
    try:
        return (read_number(text),)
    except QuantityError:
        pass
    if _SPACED.fullmatch(text):
        return read_number(text.replace(" ", "")), read_number(text.split()[-1])
    if "," not in text or "." in text:
        return ()
    try:
        return tuple(read_number(text.replace(",", mark)) for mark in (".", ""))
    except QuantityError:
        return ()


_FRACTION: Final = re.compile(r"(\d+)/(\d+)")
_DENOMINATORS: Final = frozenset({"2", "4", "8", "16", "32", "64"})


def _is_proper(fraction: re.Match[str]) -> bool:
    """Whether it is a fraction of a rule, and not two numbers with a stroke between."""
    return fraction[2] in _DENOMINATORS and 0 < int(fraction[1]) < int(fraction[2])


@dataclass(frozen=True, slots=True)
class Meanings:
    """What an open unit can mean.

    Attributes:
        units: the units, the likeliest first.
        question: what settles it.
        keeps: what is left open where the number is certain all the same; empty where the
            meanings have nothing in common.
        likely: the unit that all meanings but a slip of typing share, if there is one.
    """

    units: tuple[KnownUnit, ...]
    question: str
    keeps: tuple[str, ...] = ()
    likely: str | None = None


SETTLED: Final[Mapping[OpenUnit, Meanings]] = {
    "hash": Meanings(
        (KnownUnit("mass flow", "lb/h"), KnownUnit("pressure", "psi")),
        "Is the # pounds an hour or pounds a square inch?",
    ),
    "pounds": Meanings(
        (KnownUnit("pressure", "psi"), KnownUnit("mass flow", "lb/h"), KnownUnit("mass", "lb")),
        "Are the pounds a pressure, a flow or a weight?",
    ),
    "gallons-per-hour": Meanings(
        (KnownUnit("flow", "USgal/h"), KnownUnit("flow", "impgal/h")),
        "Are they US or imperial gallons?",
        ("which gallon", "pressure", "voltage"),
    ),
    "gallons-per-minute": Meanings(
        (KnownUnit("flow", "USgal/min"), KnownUnit("flow", "impgal/min")),
        "Are they US or imperial gallons?",
        ("which gallon",),
    ),
    "gallons": Meanings(
        (KnownUnit("volume", "USgal"), KnownUnit("volume", "impgal")),
        "Are they US or imperial gallons?",
        ("which gallon",),
    ),
    "cc": Meanings(
        (KnownUnit("flow", "cc/min"), KnownUnit("volume", "cc")),
        "Is it an injector's flow in a minute, or an engine's size?",
        ("flow or volume", "pressure"),
    ),
    "at": Meanings(
        (KnownUnit("pressure", "at"), KnownUnit("pressure", "atm")),
        "Is the atmosphere the technical one, a kg/cm2, or the standard one?",
        ("which atmosphere",),
    ),
    "kilos": Meanings(
        (KnownUnit("pressure", "at"), KnownUnit("mass", "kg")),
        "Are the kilos a pressure, in kg/cm2, or a weight?",
        ("pressure or weight",),
    ),
    "millibar": Meanings(
        (KnownUnit("pressure", "bar"), KnownUnit("pressure", "mbar")),
        "Is it bar? Millibar would be next to nothing in a fuel line, and megabar cannot be.",
    ),
    "mic": Meanings(
        (KnownUnit("length", "um"), KnownUnit("length", "mm")),
        "Is it micrometres, and nominal or absolute?",
        ("rating",),
        likely="um",
    ),
    "horsepower": Meanings(
        (KnownUnit("power", "hp"),), "Is the power at the crank or at the wheels?"
    ),
}
