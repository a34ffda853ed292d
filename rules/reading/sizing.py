"""Which sizes of a system a token of a text can mean."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from rules.reading.parsing import Size
from rules.reading.scan import (
    ConeSize,
    Dash,
    Inches,
    InchThread,
    MetricThread,
    Millimetres,
    Whole,
)
from rules.reading.text import inch_size, millimetre_size
from rules.reference import reference
from rules.vocabulary import System

DASH_SYSTEMS: Final[frozenset[System]] = frozenset({"flare-37", "flare-45", "orb", "orfs"})
PIPES: Final[tuple[System, ...]] = ("npt", "nptf", "nps", "bspp", "bspt")
PIPE_SYSTEMS: Final[frozenset[System]] = frozenset(PIPES)
METRIC_SYSTEMS: Final[frozenset[System]] = frozenset({"iso-6149", "metric-flat"})
THREADED_SYSTEMS: Final[tuple[System, ...]] = (
    "flare-37",
    "orb",
    "flare-45",
    "inverted-flare",
    "banjo",
    "orfs",
    *PIPES,
    "iso-6149",
    "metric-flat",
    "bubble-flare",
    "din-24-cone",
)
# Systems whose dash number is the tube's outside diameter in sixteenths of an inch.
_TUBE_DASH: Final[frozenset[System]] = frozenset(
    {"inverted-flare", "beaded-tube", "plain-tube", "compression"}
)
_NAMED_BY_DASH: Final[frozenset[System]] = DASH_SYSTEMS | {"hose-end", "dry-break"}
# Where the tables hold every size there is, a size outside them is a fault of the text.
_CLOSED: Final[frozenset[System]] = DASH_SYSTEMS | PIPE_SYSTEMS | {"inverted-flare"}


def is_closed(system: System) -> bool:
    """Whether the tables hold every size of a system."""
    return system in _CLOSED or system == "quick-connect"


def sizes_of(system: System, tokens: Sequence[Size]) -> tuple[str, ...]:
    """The sizes of a system that all tokens together can mean."""
    possible: list[str] | None = None
    for token in tokens:
        sizes = sizes_meant(system, token)
        possible = sizes if possible is None else [s for s in possible if s in sizes]
    return tuple(possible or ())


def sizes_meant(system: System, token: Size) -> list[str]:
    """The sizes of a system that one token can mean; none where it cannot be a size of it."""
    match token:
        case Dash(number) | Whole(number):
            sizes = _of_number(system, number, marked=isinstance(token, Dash))
        case Inches(value):
            sizes = _of_inches(system, value)
        case Millimetres(value):
            sizes = _of_millimetres(system, value)
        case InchThread():
            sizes = _of_inch_thread(system, token)
        case MetricThread():
            sizes = _of_metric_thread(system, token)
        case ConeSize(size):
            sizes = [size] if system == "din-24-cone" else []
        case _:
            sizes = []
    if system in _CLOSED:
        known = reference().sizes(system)
        return [size for size in sizes if size in known]
    return sizes


def _of_number(system: System, number: int, *, marked: bool) -> list[str]:
    if system in _NAMED_BY_DASH:
        return [f"-{number}"]
    if system in _TUBE_DASH and marked and number:
        return [inch_size(Fraction(number, 16))]
    if system in PIPE_SYSTEMS and number == 1 and not marked:
        return ["1"]
    return []


def _of_inches(system: System, value: Fraction) -> list[str]:
    size = inch_size(value)
    if system == "quick-connect":
        form = reference().quick_connect_form(size)
        return [form.names[0]] if form else []
    if system in DASH_SYSTEMS:
        return _dashes_of_inches(system, value)
    if system == "bubble-flare":
        return [size]
    if system in METRIC_SYSTEMS | {"banjo", "din-24-cone"}:
        return []
    return [size]


def _dashes_of_inches(system: System, value: Fraction) -> list[str]:
    """By the tube's diameter, and but for the 45 degree flare also by the thread's."""
    sixteenths = value * 16
    sizes = [f"-{sixteenths}"] if sixteenths.denominator == 1 else []
    if system != "flare-45":
        begins = f"{inch_size(value)}-"
        for size in reference().sizes(system):
            thread = reference().thread(system, size)
            if thread and thread.designation.startswith(begins):
                sizes.append(size)
    return sizes


def _of_millimetres(system: System, value: float) -> list[str]:
    if system == "quick-connect":
        form = reference().quick_connect_form(millimetre_size(value))
        return [form_size(form.diameter_mm, form.names)] if form else []
    if system in DASH_SYSTEMS | PIPE_SYSTEMS | METRIC_SYSTEMS | {"inverted-flare", "banjo"}:
        return []
    if system == "din-24-cone":
        return []
    return [millimetre_size(value)]


def form_size(diameter_mm: float, names: Sequence[str]) -> str:
    """How the size of a quick-connect end form is written: by its inch name if it has one."""
    return names[0] if names else millimetre_size(diameter_mm)


def _of_inch_thread(system: System, token: InchThread) -> list[str]:
    if system in PIPE_SYSTEMS:
        size = inch_size(token.diameter)
        thread = reference().thread(system, size)
        return [size] if thread and thread.tpi == float(token.per_inch) else []
    if system == "banjo":
        return [token.designation]
    return _with_designation(system, token.designation)


def _of_metric_thread(system: System, token: MetricThread) -> list[str]:
    if system in METRIC_SYSTEMS | {"banjo", "bubble-flare"}:
        return [token.designation] if token.pitch else []
    if system == "din-24-cone":
        return _with_designation(system, token.designation)
    return []


def _with_designation(system: System, designation: str) -> list[str]:
    return [
        size
        for size in reference().sizes(system)
        if (thread := reference().thread(system, size)) and thread.designation == designation
    ]


def sizes_of_diameter(system: System, diameter: str) -> tuple[str, ...]:
    """The sizes of a system whose thread has this diameter (`M12`, `3/8`), whatever the pitch."""
    begins = (f"{diameter}x", f"{diameter}-")
    return tuple(size for size in reference().sizes(system) if size.startswith(begins))
