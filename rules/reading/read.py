"""The door: a kind and a text in, a reading out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, Literal, get_args

from rules.reading.connection import read_connection_folded
from rules.reading.fuel import read_fuel
from rules.reading.hose import read_hose_bore, read_marking
from rules.reading.material import read_material
from rules.reading.numbers import read_number_text
from rules.reading.outcome import LONGEST_TEXT, MISSING, Reading, ambiguous, unreadable
from rules.reading.quantity import read_angle_text, read_quantity_text
from rules.reading.size import read_size
from rules.reading.text import date_readings, fold, is_placeholder, spreadsheet_date
from rules.reading.thread import read_thread
from rules.reading.words import read_gender, read_relay, read_sku, read_wire

ReadingKind = Literal[
    "connection",
    "size",
    "material",
    "fuel",
    "quantity",
    "thread",
    "hose",
    "marking",
    "angle",
    "number",
    "gender",
    "sku",
    "wire",
    "relay",
]
"""What a text is about.

`connection` also takes the two ends of an adapter, tube ends and hose-shop codes; `thread` is a
thread whatever it seals with; `hose` is a hose's bore and `marking` what is printed on it;
`quantity` is any number with a unit, `number` one that needs none.
"""

KINDS: Final[tuple[ReadingKind, ...]] = get_args(ReadingKind)

_READERS: Final[Mapping[ReadingKind, Callable[[str], Reading]]] = {
    "connection": read_connection_folded,
    "size": read_size,
    "material": read_material,
    "fuel": read_fuel,
    "quantity": read_quantity_text,
    "thread": read_thread,
    "hose": read_hose_bore,
    "marking": read_marking,
    "angle": read_angle_text,
    "number": read_number_text,
    "gender": read_gender,
    "wire": read_wire,
    "relay": read_relay,
}
# Kinds whose texts a spreadsheet makes dates of.
_SIZED: Final = frozenset({"connection", "size", "thread", "hose", "quantity", "number"})


def read(kind: ReadingKind, text: str) -> Reading:
    """Read a text of the trade; never raises.

    Blanks around it, case and the typography of dashes, primes and fractions do not change a
    reading. A text longer than `LONGEST_TEXT` characters is unreadable. A likely slip of typing,
    and a date that a spreadsheet made of a size, are `ambiguous`, with the correction among the
    readings; they are never corrected in silence.

    Args:
        kind: what the text is about.
        text: the text as it was written.
    """
    if len(text) > LONGEST_TEXT or len(folded := fold(text)) > 2 * LONGEST_TEXT:
        return unreadable(f"Is there a way to say it in at most {LONGEST_TEXT} letters?")
    if any(0xD800 <= ord(letter) <= 0xDFFF for letter in text):
        return unreadable("The text is damaged: what did it say?")
    if is_placeholder(folded):
        return MISSING
    if kind == "sku":
        return read_sku(text)
    if kind in _SIZED and (date := spreadsheet_date(folded)):
        question = "What was typed before a spreadsheet made it a date?"
        return ambiguous(question, date_readings(folded, *date))
    return _READERS[kind](folded)
