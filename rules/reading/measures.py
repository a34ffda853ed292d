"""The numbers, units and words of a quantity text."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from rules.quantities import SPELLINGS, QuantityError, read_number

OpenUnit = Literal[
    "hash", "pounds", "gallons-per-hour", "gallons", "cc", "at", "kilos", "millibar", "mic",
    "horsepower",
]  # fmt: skip
"""A unit that the trade uses for more than one."""


@dataclass(frozen=True, slots=True)
class KnownUnit:
    """A unit of a dimension of `SPELLINGS`, in pint's spelling; `said` is what else it says."""

    dimension: str
    name: str
    said: str | None = None


@dataclass(frozen=True, slots=True)
class UnsettledUnit:
    """A unit that means several."""

    open: OpenUnit


@dataclass(frozen=True, slots=True)
class Number:
    """A number as written, with all it can mean: `1,000` is one or a thousand."""

    text: str
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Term:
    """A word or a sign."""

    text: str


Unit = KnownUnit | UnsettledUnit
Item = Number | KnownUnit | UnsettledUnit | Term

_MORE_SPELLINGS: Final[Mapping[str, tuple[str, str]]] = {
    "litre/hour": ("flow", "L/h"),
    "liter/hour": ("flow", "L/h"),
    "litres/hr": ("flow", "L/h"),
    "liters/hr": ("flow", "L/h"),
    "litres an hour": ("flow", "L/h"),
    "litres per minute": ("flow", "L/min"),
    "liters per minute": ("flow", "L/min"),
    "cc per minute": ("flow", "cc/min"),
    "cc/minute": ("flow", "cc/min"),
    "cc's/min": ("flow", "cc/min"),
    "us gal/hr": ("flow", "USgal/h"),
    "us gallons per hour": ("flow", "USgal/h"),
    "imp gph": ("flow", "impgal/h"),
    "pounder": ("mass flow", "lb/h"),
    "pounders": ("mass flow", "lb/h"),
    "pounds per hour": ("mass flow", "lb/h"),
    "lb/hour": ("mass flow", "lb/h"),
    "lbs/h": ("mass flow", "lb/h"),
    "#/hr": ("mass flow", "lb/h"),
    "#/h": ("mass flow", "lb/h"),
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
        table[spelling] = KnownUnit(dimension, name, said)
    for spelling, unsettled in _OPEN.items():
        table[spelling] = UnsettledUnit(unsettled)
    return table


_UNITS: Final = _units()


def _spelling_pattern(spelling: str) -> str:
    ends_in_letter = spelling[-1].isalnum()
    return re.escape(spelling) + ("(?![a-z0-9])" if ends_in_letter else "")


_ITEM: Final = re.compile(
    r"(?P<blank>\s+)"
    r"|(?P<number>(?:\d{1,4}(?: |-))?\d{1,4}/\d{1,4}(?![\d/])|\d(?:[\d.,]*\d)?|[.,]\d+)"
    rf"|(?<![a-z])(?P<unit>{'|'.join(map(_spelling_pattern, sorted(_UNITS, key=len, reverse=True)))})"
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
    if found["unit"]:
        # `13 A at 13.5 V`: a preposition, not an atmosphere.
        if text == "at" and (
            not isinstance(before, Number) or _NUMBER_NEXT.match(folded, found.end())
        ):
            return Term("@")
        return _UNITS[text]
    return Term(text)


_NUMBER_NEXT: Final = re.compile(r"\s*[.,]?\d")


def numbers_meant(text: str) -> tuple[float, ...]:
    """Every value that a number as written can have; none where it is no number."""
    try:
        return (read_number(text),)
    except QuantityError:
        pass
    if "," in text and "." not in text:
        try:
            return tuple(read_number(text.replace(",", mark)) for mark in (".", ""))
        except QuantityError:
            return ()
    return ()
