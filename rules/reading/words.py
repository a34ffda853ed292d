"""Short fields: gender, part numbers, wires and relays."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from rules.quantities import plain_text
from rules.reading.outcome import (
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
    unreadable,
)
from rules.reading.parsing import parse

_GERMAN: Final = {
    "ag": ("male", "Aussengewinde, an outer thread"),
    "ig": ("female", "Innengewinde, an inner thread"),
}


def read_gender(folded: str) -> Reading:
    """Read which half of a joint is meant. The canonical form is a gender of the vocabulary."""
    if folded in _GERMAN:
        gender, meaning = _GERMAN[folded]
        return partial(
            gender,
            f"Is {folded.upper()} the German {meaning}?",
            ("language",),
            [ReadingOption(gender, f"{gender}: the German {meaning}")],
        )
    parsed = parse(folded)
    said = parsed.names_something or parsed.sizes or parsed.unknown
    if parsed.genders and not said:
        if parsed.gender:
            return certain(parsed.gender, parsed.gender)
        return partial(
            None,
            "Which end is which?",
            ("which end is which",),
            [ReadingOption(gender, f"{gender} at this end") for gender in sorted(parsed.genders)],
        )
    return unreadable("Is it male or female?")


def sku_key(text: str) -> str:
    """The key under which a part number is looked up.

    Blanks at the ends go, blanks inside become one, look-alike letters and dashes become plain.
    Zeros, points and case stay: a part number is a text, never a number.
    """
    folded = unicodedata.normalize("NFKC", text)
    dashed = "".join(plain_text(c) if unicodedata.category(c) == "Pd" else c for c in folded)
    return " ".join(dashed.replace("\u2212", "-").split())


def read_sku(text: str) -> Reading:
    """Read a part number. The canonical form is its look-up key."""
    key = sku_key(text)
    return certain(key, f"part number {key}")


_AWG: Final = re.compile(r"(?:#|no\.? ?)?(\d{1,2}) ?-?(awg|ga\.?|gauge|gage)|(awg) ?(\d{1,2})")
_SQUARE_MM: Final = re.compile(
    r"(\d{1,3}(?:[.,]\d{1,3})?) ?(?:mm2|mm\^2|sq\.? ?mm|qmm|mm sq|mm\*\*2)"
)
_BARE_WIRE: Final = re.compile(r"(\d{1,3}(?:[.,]\d{1,3})?)")
_WIRE_SIZES: Final = range(41)


def read_wire(folded: str) -> Reading:
    """Read a wire size. The canonical form is `{"awg"}`, or `{"value", "unit"}` in mm2."""
    if (found := _AWG.fullmatch(folded)) and int(found[1] or found[4]) in _WIRE_SIZES:
        number = int(found[1] or found[4])
        if "awg" in (found[2], found[3]):
            return certain({"awg": number}, f"{number} AWG")
        return partial(
            {"gauge": number, "system": None},
            f"Is it {number} AWG, or the thinner SAE gauge {number}?",
            ("which gauge",),
            [
                ReadingOption({"awg": number}, f"{number} AWG"),
                ReadingOption({"sae_gauge": number}, f"SAE gauge {number}, with less copper"),
            ],
        )
    if found := _SQUARE_MM.fullmatch(folded):
        value = float(found[1].replace(",", "."))
        return certain({"value": value, "unit": "mm**2"}, f"{value:g} mm2")
    if found := _BARE_WIRE.fullmatch(folded):
        value = float(found[1].replace(",", "."))
        options = [ReadingOption({"value": value, "unit": "mm**2"}, f"{value:g} mm2")]
        if value in _WIRE_SIZES:
            options.insert(0, ReadingOption({"awg": int(value)}, f"{value:g} AWG"))
        return ambiguous(f"Is {value:g} the AWG number or square millimetres?", options)
    return unreadable("What is the wire's size, in AWG or in square millimetres?")


_RELAY: Final = re.compile(
    r"(?:(?P<pins>[45])[ -]?pins?|(?P<contacts>spst|spdt))(?: ?(?P<amps>\d{1,3}) ?(?:a|amps?))?"
    r"(?: ?relay)?(?: ?(?P<amps_after>\d{1,3}) ?(?:a|amps?))?"
)


def read_relay(folded: str) -> Reading:
    """Read a relay. The canonical form is `{"contacts", "rating_a"}`."""
    found = _RELAY.fullmatch(folded)
    if not found:
        return unreadable("How many pins has the relay, and how many amps does it switch?")
    contacts = found["contacts"] or {"4": "spst", "5": "spdt"}[found["pins"]]
    amps = found["amps"] or found["amps_after"]
    kind = {"spst": "make contact", "spdt": "change-over contact"}[contacts]
    canonical = {"contacts": contacts, "rating_a": float(amps) if amps else None}
    if amps:
        return certain(canonical, f"relay with a {kind}, {amps} A")
    return partial(
        canonical,
        "How many amps does the relay switch?",
        ("rating",),
        [ReadingOption(canonical, f"relay with a {kind}")],
    )
