"""The tokens of a connection text: sizes, threads, angles, standards, and the words between."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from rules.reading.text import inch_size, millimetre_size


@dataclass(frozen=True, slots=True)
class Dash:
    """A size marked as a dash number: `-6`, `#6`, `dash 6`."""

    number: int


@dataclass(frozen=True, slots=True)
class Whole:
    """A bare whole number."""

    number: int


@dataclass(frozen=True, slots=True)
class Inches:
    """A fraction, or a decimal marked as inches."""

    value: Fraction

    @property
    def size(self) -> str:
        """`3/8`, `1 1/16`."""
        return inch_size(self.value)


@dataclass(frozen=True, slots=True)
class Millimetres:
    """A length in millimetres."""

    value: float

    @property
    def size(self) -> str:
        """`8 mm`."""
        return millimetre_size(self.value)


@dataclass(frozen=True, slots=True)
class Decimal:
    """A number with decimals and no unit."""

    value: float


@dataclass(frozen=True, slots=True)
class InchThread:
    """A diameter in inches and threads per inch."""

    diameter: Fraction
    per_inch: str

    @property
    def designation(self) -> str:
        """`9/16-18`, `1 1/16-12`."""
        return f"{inch_size(self.diameter)}-{self.per_inch}"


@dataclass(frozen=True, slots=True)
class MetricThread:
    """A metric thread; the pitch is `None` where it is missing, `marked` where an M says so."""

    diameter: str
    pitch: str | None
    marked: bool = True
    length: int | None = None

    @property
    def designation(self) -> str:
        """`M14x1.5`, or `M14` without a pitch."""
        return f"M{self.diameter}x{self.pitch}" if self.pitch else f"M{self.diameter}"


@dataclass(frozen=True, slots=True)
class ConeSize:
    """Tube diameter and series of a 24 degree cone fitting: `16S`."""

    size: str


@dataclass(frozen=True, slots=True)
class Angle:
    """A number marked as degrees."""

    degrees: int


@dataclass(frozen=True, slots=True)
class Standard:
    """A published standard, blanks and dashes removed: `j514`, `iso6149`."""

    name: str


@dataclass(frozen=True, slots=True)
class Dotted:
    """A dot where another sign was meant: `1.1/16` for a mixed number, `5.16 inches` for 5/16."""

    text: str
    meant: str
    as_inches: float | None


@dataclass(frozen=True, slots=True)
class Word:
    """A run of letters."""

    text: str


@dataclass(frozen=True, slots=True)
class Mark:
    """Any other single sign."""

    text: str


Token = (
    Dash
    | Whole
    | Inches
    | Millimetres
    | Decimal
    | InchThread
    | MetricThread
    | ConeSize
    | Angle
    | Standard
    | Dotted
    | Word
    | Mark
)

_INCH_MARK = r"(?:\"|inches|inch|in(?![a-z])\.?|zoll|pollici|pulgadas?|polegadas?|pouces?|tum)"
_FRACTION = r"(?:[1-3][ -])?\d{1,2}/\d{1,2}"
# Threads per inch of ASME B1.1, B1.20.1 and ISO 228 up to an inch and a half.
_PER_INCH = r"(?:11\.5|11-1/2|8|9|10|11|12|13|14|16|18|19|20|24|27|28|32)(?!\d|[/.,]\d)"

_TOKEN: Final = re.compile(
    rf"""
      (?P<blank>\s+)
    | (?P<standard>(?<![a-z])(?:j[ -]?\d{{3,4}}(?:-\d)?|iso[ -]?\d{{1,5}}(?:-\d)?
                   |din[ -]?\d{{3,5}}|as[ -]?\d{{4,5}}|ms[ -]?\d{{5}})(?![\d/]))
    | (?P<metric>(?<![a-z])m\ ?(?P<m_diameter>\d{{1,2}})
        (?:\ ?[x*]\ ?(?P<m_pitch>\d(?:[.,]\d{{1,2}})?))?
        (?:\ ?[x*]\ ?(?P<m_length>\d{{1,3}}))?(?!\d|[/.]\d))
    | (?P<bare_metric>(?P<b_diameter>\d{{1,2}})\ ?[x*]\ ?(?P<b_pitch>\d[.,]\d{{1,2}})
        (?!\d|\ ?mm))
    | (?P<inch_thread>(?P<diameter>{_FRACTION}|[01]?\.\d{{2,4}}|1)\ ?{_INCH_MARK}?
        (?:-|\ -\ |\ ?[x*]\ ?)(?P<per_inch>{_PER_INCH}))
    | (?P<dotted>[1-3]\.\d{{1,2}}/\d{{1,2}}(?!\d))
    | (?P<inches>(?P<fraction>{_FRACTION})(?!\d)(?:ths?|nds?|rds?)?\ ?{_INCH_MARK}?
        |(?P<decimal_inches>\d{{0,2}}[.,]?\d{{1,4}})\ ?{_INCH_MARK})
    | (?P<millimetres>\d{{1,3}}(?:[.,]\d{{1,3}})?)\ ?(?:mm|millimet(?:er|re)s?)(?![a-z])
    | (?P<angle>\d{{1,3}})\ ?(?:degrees?|degs?(?![a-z])\.?|°)
    | (?P<cone>\d{{1,2}}[ls])(?![a-z0-9])
    | (?P<dash>(?:-\ ?|\#\ ?|(?<![a-z])dash[ -]?|(?<![a-z])size[ -]?)0?(?P<dash_number>\d{{1,2}}))
        (?!\d|[/.,]\d|\ ?mm)
    | (?P<decimal>\d{{0,3}}[.,]\d{{1,4}}(?!\d))
    | (?P<whole>\d{{1,5}}(?!\d))
    | (?P<word>[^\W\d_]+)
    | (?P<mark>.)
    """,
    re.VERBOSE | re.DOTALL,
)


def tokens(folded: str) -> Iterator[Token]:
    """The tokens of a folded text, every sign of it accounted for."""
    for found in _TOKEN.finditer(folded):
        if found.lastgroup != "blank":
            yield _token(found)


def halves_at_cross(folded: str) -> tuple[str, str] | None:
    """The text before and after an `x` that stands between two things and is part of neither."""
    crosses = [found for found in _TOKEN.finditer(folded) if found["word"] == "x"]
    if len(crosses) != 1:
        return None
    return folded[: crosses[0].start()].strip(), folded[crosses[0].end() :].strip()


def _token(found: re.Match[str]) -> Token:
    match_text = found.group()
    if found["standard"]:
        return Standard(re.sub(r"[ -]", "", found["standard"].rstrip()))
    if found["metric"]:
        length = found["m_length"]
        return MetricThread(
            found["m_diameter"],
            _pitch(found["m_pitch"]),
            length=int(length) if length else None,
        )
    if found["bare_metric"]:
        return MetricThread(found["b_diameter"], _pitch(found["b_pitch"]), marked=False)
    if found["inch_thread"]:
        diameter = _inches(found["diameter"])
        per_inch = found["per_inch"].replace("11-1/2", "11.5")
        return InchThread(diameter, per_inch) if diameter else Mark(match_text)
    if found["dotted"]:
        return Dotted(found["dotted"], found["dotted"].replace(".", " "), None)
    if found["inches"]:
        decimal = found["decimal_inches"]
        inches = _inches(found["fraction"] or decimal)
        if inches and decimal and (fraction := _dot_for_a_slash(decimal)):
            return Dotted(decimal, fraction, float(inches))
        return Inches(inches) if inches else Mark(match_text)
    if found["millimetres"]:
        return Millimetres(float(found["millimetres"].replace(",", ".")))
    if found["angle"]:
        return Angle(int(found["angle"]))
    if found["cone"]:
        return ConeSize(found["cone"].upper())
    if found["dash"]:
        return Dash(int(found["dash_number"]))
    if found["decimal"]:
        return Decimal(float(found["decimal"].replace(",", ".")))
    if found["whole"]:
        return Whole(int(found["whole"]))
    return Word(found["word"]) if found["word"] else Mark(match_text)


def _pitch(text: str | None) -> str | None:
    return f"{float(text.replace(',', '.')):g}" if text else None


_DOTTED_FRACTION: Final = re.compile(r"(\d{1,2})\.(2|4|8|16|32|64)")


def _dot_for_a_slash(text: str) -> str | None:
    """`5/16` for `5.16`: a decimal no rule is divided into that is a fraction with its dot."""
    found = _DOTTED_FRACTION.fullmatch(text)
    if not found or not 0 < int(found[1]) < int(found[2]) or int(found[1]) % 2 == 0:
        return None
    return f"{found[1]}/{found[2]}"


_BINARY: Final = frozenset({2, 4, 8, 16, 32, 64})


def _inches(text: str) -> Fraction | None:
    """A diameter in inches; `None` for what no rule of the trade is divided into."""
    whole, _, fraction = text.replace("-", " ").rpartition(" ")
    if "/" not in fraction:
        value = Fraction(fraction.replace(",", "."))
        return value if value > 0 else None
    top, bottom = (int(part) for part in fraction.split("/"))
    if bottom not in _BINARY or not 0 < top < bottom:
        return None
    return int(whole or 0) + Fraction(top, bottom)
