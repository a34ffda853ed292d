"""Fuels as people name them at a pump or a counter."""

from __future__ import annotations

import re
from typing import Any, Final

from rules.reading.outcome import (
    Canonical,
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
    unreadable,
)
from rules.reference import reference

_WHICH_FUEL: Final = "Which fuel is it, and how much ethanol is in it?"
_BLEND: Final = re.compile(r"([em]) ?-? ?0?(\d{1,3})")
_PERCENT: Final = re.compile(r"(\d{1,3}) ?% ?(ethanol|methanol)|(ethanol|methanol) ?(\d{1,3}) ?%?")
_PETROL_WORD: Final = (
    r"(?:petrol|gasoline|gas|unleaded|super|premium|regular|pump (?:gas|fuel)|race (?:gas|fuel))"
)
_SCALE: Final = r"(?P<scale{0}>ron|roz|mon|moz|aki|\(?r ?\+ ?m\)?(?: ?/ ?2)?|octane|octanes|oct)"
_OCTANE: Final = re.compile(
    rf"(?:{_PETROL_WORD} )?(?:{_SCALE.format(1)} ?)?(?P<octane>\d{{2,3}})"
    rf"(?: ?{_SCALE.format(2)})?(?: (?:{_PETROL_WORD}|fuel))?"
)
_SCALES: Final = {"ron": "ron", "roz": "ron", "mon": "mon", "moz": "mon", "aki": "aki", "r": "aki"}
_PETROL: Final = {"ethanol_percent": {"least": 0.0, "most": 10.0}}

_CERTAIN: Final[dict[str, str]] = {
    "100ll": "AVGAS-100LL",
    "avgas 100ll": "AVGAS-100LL",
    "avgas-100ll": "AVGAS-100LL",
    "lpg": "LPG",
    "autogas": "LPG",
    "diesel": "diesel",
    "derv": "diesel",
    "b7": "diesel",
    "flex fuel": "flex",
    "flexfuel": "flex",
    "flexible fuel": "flex",
    "ffv": "flex",
    "race-ox": "RACE-OX",
    "ethanol-free": "E0",
    "ethanol free": "E0",
}


def read_fuel(folded: str) -> Reading:
    """Read a fuel. The canonical form is an id of the fuel table, or `{"ethanol_percent"}`."""
    if found := _BLEND.fullmatch(folded):
        return _blend(found[1], int(found[2]))
    if found := _PERCENT.fullmatch(folded):
        name = found[2] or found[3]
        return _blend(name[0], int(found[1] or found[4]))
    if fuel := _CERTAIN.get(folded):
        return certain(fuel, _named(fuel))
    if folded == "flex":
        return partial(
            "flex",
            "Is it any blend from petrol to E85, or a flexible hose?",
            ("fuel or hose",),
            [_fuel("flex"), ReadingOption({"of": "hose"}, "a flexible hose")],
        )
    if folded in ("avgas", "aviation fuel", "aviation gasoline"):
        return partial(
            "AVGAS-100LL",
            "Which grade of aviation petrol is it?",
            ("grade",),
            [_fuel("AVGAS-100LL"), ReadingOption(None, "another grade of aviation petrol")],
        )
    if folded in _PETROL_NAMES:
        return partial(
            _PETROL,
            "How much ethanol is in the petrol, and what octane is it?",
            ("ethanol_percent", "octane"),
            [_fuel("E0"), _fuel("E10")],
        )
    if folded in _OPEN:
        question, readings = _OPEN[folded]
        return ambiguous(question, [_meant(reading) for reading in readings])
    if (found := _OCTANE.fullmatch(folded)) and not folded.isdecimal():
        return _octane(float(found["octane"]), found["scale1"] or found["scale2"] or "")
    if folded.isascii() and folded.isdecimal() and len(folded) <= 4:
        return _bare_number(int(folded))
    return unreadable(_WHICH_FUEL)


def _fuel(fuel: str) -> ReadingOption:
    return ReadingOption(fuel, _named(fuel))


def _named(fuel: str) -> str:
    return f"{fuel}: {reference().fuels[fuel].name}"


def _blend(letter: str, percent: int) -> Reading:
    """`E71` or `M85`: percent of ethanol or of methanol by volume."""
    if percent > 100:
        return unreadable("A blend holds at most 100 % alcohol: how much is in it?")
    fuel = f"{letter.upper()}{percent}"
    if fuel in reference().fuels:
        return certain(fuel, _named(fuel))
    alcohol = "ethanol" if letter == "e" else "methanol"
    return certain({f"{alcohol}_percent": float(percent)}, f"petrol with {percent} % {alcohol}")


_PETROL_NAMES: Final = frozenset(
    {
        "pump gas", "pump fuel", "petrol", "gasoline", "gas", "benzin", "essence", "gasolina",
        "benzina", "nafta", "unleaded", "regular", "street gas", "mogas",
    }
)  # fmt: skip

_RACE: Final = (
    "What is in the race fuel: lead, oxygen, alcohol or nitromethane?",
    (
        ({"of": "leaded race petrol"}, "leaded race petrol"),
        "RACE-OX",
        "E98",
        "M100",
        ({"of": "nitromethane blend"}, "a blend with nitromethane"),
    ),
)
_OPEN: Final[dict[str, tuple[str, tuple[str | tuple[Canonical, str], ...]]]] = {
    "ethanol": ("How much ethanol: E10, E85, E98 or E100?", ("E10", "E85", "E98", "E100")),
    "methanol": ("How much methanol: M85 or M100?", ("M85", "M100")),
    "meth": ("How much methanol: M85 or M100?", ("M85", "M100")),
    "alcohol": ("Is it methanol or ethanol?", ("M100", "E85", "E98", "E100")),
    "alky": ("Is it methanol or ethanol?", ("M100", "E85", "E98", "E100")),
    "corn": ("Is it E85 from the pump or E98 from a drum?", ("E85", "E98")),
    "race fuel": _RACE,
    "race gas": _RACE,
    "racing fuel": _RACE,
    "super": (
        "Which octane and which ethanol content has that super?",
        (
            ({"ethanol_percent": {"least": 0.0, "most": 10.0}, "octane_ron": 95.0}, "95 RON"),
            ({"ethanol_percent": {"least": 0.0, "most": 10.0}, "octane_ron": 98.0}, "98 RON"),
            ({"ethanol_percent": {"least": 0.0, "most": 10.0}, "octane_aki": 93.0}, "93 AKI"),
        ),
    ),
}


def _meant(reading: str | tuple[Canonical, str]) -> ReadingOption:
    return _fuel(reading) if isinstance(reading, str) else ReadingOption(*reading)


def _octane(number: float, scale: str) -> Reading:
    """`98 RON`, `98 octane`: a petrol whose ethanol is not said, perhaps nor the octane's scale."""
    if not 70 <= number <= 130:
        return unreadable("No petrol has that octane number: which fuel is it?")
    known = _SCALES.get(scale.strip("() ").split("+")[0].strip())
    if known is not None:
        petrol = {**_PETROL, f"octane_{known}": number}
        return partial(
            petrol,
            "How much ethanol is in the petrol?",
            ("ethanol_percent",),
            [
                ReadingOption(
                    {"ethanol_percent": ethanol, f"octane_{known}": number},
                    f"petrol of {number:g} {known.upper()} with {ethanol:g} % ethanol",
                )
                for ethanol in (0.0, 5.0, 10.0)
            ],
        )
    return partial(
        _PETROL,
        f"By which scale is the {number:g}, RON or AKI, and how much ethanol is in the petrol?",
        ("octane scale", "ethanol_percent"),
        [
            ReadingOption(
                {**_PETROL, f"octane_{each}": number}, f"petrol of {number:g} {each.upper()}"
            )
            for each in ("ron", "aki")
        ],
    )


def _bare_number(number: int) -> Reading:
    """`93`: an octane number of either scale, a blend without its letter, or a year."""
    options: list[ReadingOption] = []
    if 80 <= number <= 120:
        options = [
            ReadingOption({"octane_aki": float(number)}, f"petrol of {number} AKI"),
            ReadingOption({"octane_ron": float(number)}, f"petrol of {number} RON"),
        ]
    if number <= 100:
        blends: list[Any] = [_blend(letter, number).readings[0] for letter in "em"]
        options += blends
    options.append(ReadingOption({"of": "year"}, f"the year {number}"))
    return ambiguous(f"Is {number} an octane number, and by which scale?", options)
