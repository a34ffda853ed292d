"""The letters of a trade text: folding, placeholders, and dates that a spreadsheet made."""

from __future__ import annotations

import datetime
import re
import unicodedata
from difflib import get_close_matches
from fractions import Fraction
from typing import Final

from rules.quantities import plain_text
from rules.reading.outcome import ReadingOption

_SIGNS: Final = str.maketrans(
    {
        "\u00d7": "x",
        "\u2715": "x",
        "\u2716": "x",
        "\u2a2f": "x",
        "\u00ba": "\u00b0",  # a masculine ordinal typed for a degree sign
        "\u02da": "\u00b0",
        "\u00b4": "'",
        "\u2300": "\u00f8",
        "\u2205": "\u00f8",
        "\u2192": " to ",
        "\u21d2": " to ",
        "\u2794": " to ",
        "\u279c": " to ",
        "\u2190": " to ",
        "\u2194": " to ",
    }
)


def fold(text: str) -> str:
    """The text as the grammars read it: plain typography, small letters, no accents, one blank.

    Accents go because they are often lost on the way; only closed word lists are compared with the
    result, so that two words of the world are never folded into one of ours.
    """
    plain = plain_text(text.translate(_SIGNS).lower())
    bare = "".join(c for c in unicodedata.normalize("NFKD", plain) if not unicodedata.combining(c))
    # Lower once more: compatibility forms such as a full-width or a circled letter come out late.
    latin = "".join(str(unicodedata.decimal(c)) if c.isdecimal() else c for c in bare.lower())
    return re.sub(r"\s+", " ", latin.translate(_SIGNS)).strip()


_PLACEHOLDERS: Final = frozenset(
    (
        "",
        *("-", "--", "---", ".", "..", "...", "?", "??", "???"),
        *("n/a", "na", "n.a.", "n.a", "#n/a", "n/k", "nk", "k.a.", "not available"),
        *("not applicable", "not known", "unknown", "unk", "none", "nil", "null", "nan"),
        *("tbd", "tba", "tbc", "to be confirmed", "to be determined", "missing", "blank"),
    )
)


def is_placeholder(folded: str) -> bool:
    """Whether a text stands for nothing recorded."""
    return folded in _PLACEHOLDERS


_LONGEST_SLIP: Final = 40


def near(word: str, words: tuple[str, ...]) -> tuple[str, ...]:
    """Up to two known words that a mistyped one is close to."""
    if not 4 <= len(word) <= _LONGEST_SLIP:
        return ()
    return tuple(get_close_matches(word, words, n=2, cutoff=0.8))


def inch_size(value: Fraction) -> str:
    """An inch size as the trade writes it: `3/8`, `1 1/16`, `1`."""
    whole, rest = divmod(value, 1)
    if not rest:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def millimetre_size(value: float) -> str:
    """A size in millimetres: `8 mm`, `8.5 mm`."""
    return f"{value:g} mm"


# Month names as spreadsheets of the usual languages abbreviate them, accents folded.
_MONTHS: Final = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar janvier ene enero gen gennaio janeiro janv",
            "feb february februar fev fevr fevrier febrero febbraio fevereiro",
            "mar march mrz marz mars marzo maerz marco",
            "apr april avr avril abr abril aprile",
            "may mai mayo mag maggio maio",
            "jun june juni juin junio giu giugno junho",
            "jul july juli juil juillet julio lug luglio julho",
            "aug august aou aout ago agosto",
            "sep sept september septembre septiembre set settembre setembro",
            "oct october okt oktober octobre octubre ott ottobre out outubro",
            "nov november novembre noviembre novembro",
            "dec december dez dezember decembre dic diciembre dicembre dezembro",
        ),
        start=1,
    )
    for name in names.split()
}
_ISO_DATE: Final = re.compile(
    r"(?:19|20)\d\d[-/.](\d{1,2})[-/.](\d{1,2})(?:[ t]0?0:00(?::00(?:\.0+)?)?)?"
)
_DAY_FIRST_DATE: Final = re.compile(
    r"(\d{1,2})[-/.](\d{1,2})[-/.](?:19|20)\d\d|(\d{1,2})/(\d{1,2})/\d\d"
)
_DAY_AND_NAME: Final = re.compile(r"(\d{1,2})\.?[- ]([a-z]{3,9})\.?(?:[- ]\d{2,4})?")
_NAME_AND_DAY: Final = re.compile(r"([a-z]{3,9})\.?[- ](\d{1,2})")
_SERIAL: Final = re.compile(r"\d{5}")
_SERIAL_ORIGIN: Final = datetime.date(1899, 12, 30)
# The days from 2000 to 2050 by a spreadsheet's count: when a size was typed and made a date.
_SERIALS: Final = range(36526, 55154)


def is_date_serial(folded: str) -> bool:
    """Whether a text is a number by which a spreadsheet counts a day."""
    return bool(_SERIAL.fullmatch(folded)) and int(folded) in _SERIALS


def spreadsheet_date(folded: str) -> tuple[int, int] | None:
    """The (day, month) of a text that is a date or a spreadsheet's number of one."""
    if found := _ISO_DATE.fullmatch(folded):
        month, day = int(found[1]), int(found[2])
    elif found := _DAY_FIRST_DATE.fullmatch(folded):
        day, month = int(found[1] or found[3]), int(found[2] or found[4])
        if month > 12:
            day, month = month, day
    elif (found := _DAY_AND_NAME.fullmatch(folded)) and found[2] in _MONTHS:
        day, month = int(found[1]), _MONTHS[found[2]]
    elif (found := _NAME_AND_DAY.fullmatch(folded)) and found[1] in _MONTHS:
        day, month = int(found[2]), _MONTHS[found[1]]
    elif is_date_serial(folded):
        date = _SERIAL_ORIGIN + datetime.timedelta(days=int(folded))
        day, month = date.day, date.month
    else:
        return None
    return (day, month) if 1 <= day <= 31 and 1 <= month <= 12 else None


_DASH_SIZES: Final = frozenset({2, 3, 4, 5, 6, 8, 10, 12, 14, 16, 20})


def date_readings(folded: str, day: int, month: int) -> tuple[ReadingOption, ...]:
    """What was typed before a spreadsheet made a date of it: a fraction, or two dash sizes."""
    low, high = sorted((day, month))
    options = [
        ReadingOption(
            {"size": f"{low}/{high}"}, f"{low}/{high}, which a spreadsheet made a date of"
        )
    ]
    if low != high and {low, high} <= _DASH_SIZES:
        options += [reducer_option(day, month), reducer_option(month, day)]
    if is_date_serial(folded):
        options.append(ReadingOption({"value": float(folded)}, f"the number {folded} itself"))
    return tuple(options)


def reducer_option(first: int, second: int) -> ReadingOption:
    """Two dash sizes side by side: an adapter from one to the other."""
    return ReadingOption(
        {"sizes": [f"-{first}", f"-{second}"]},
        f"{first}-{second}, a reducing adapter from size {first} to size {second}",
    )
