"""Connections as the trade writes them: one end, the two ends of an adapter, a maker's code."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from rules.reading.bare import (
    connection,
)
from rules.reading.codes import read_code
from rules.reading.naming import write_connection
from rules.reading.one_end import read_end
from rules.reading.outcome import (
    LONGEST_TEXT,
    MISSING,
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
    unreadable,
)
from rules.reading.parsing import parse
from rules.reading.scan import halves_at_cross
from rules.reading.text import date_readings, fold, is_placeholder, spreadsheet_date
from rules.vocabulary import Gender, System


class UnclearConnection(ValueError):
    """A text that is not certainly one connection.

    Attributes:
        reading: what it could mean.
        reason: what is open, with every reading, one sentence.
        expected: the question that settles it.
    """

    def __init__(self, text: str, reading: Reading) -> None:
        shown = text if len(text) <= LONGEST_TEXT else f"{text[:40]}..."
        meanings = "; ".join(r.label for r in reading.readings)
        if reading.certainty == "certain":
            self.reason = f"`{shown}` is not one connection: {meanings}."
        elif meanings:
            self.reason = f"`{shown}` is {_STATES[reading.certainty]}: it could be {meanings}."
        else:
            self.reason = f"`{shown}` is {_STATES[reading.certainty]}."
        self.expected = reading.question or "one connection, such as `-6 JIC male`"
        self.reading = reading
        super().__init__(f"{self.reason} {self.expected}")


_STATES: Final = {
    "partial": "not complete",
    "ambiguous": "ambiguous",
    "unreadable": "not a connection known here",
}


@dataclass(frozen=True, slots=True)
class ConnectionReading:
    """The reading of a text that should be one connection.

    `system`, `size` and `gender` are set only as far as they are certain.
    """

    text: str
    reading: Reading
    system: System | None
    size: str | None
    gender: Gender | None

    @property
    def is_certain(self) -> bool:
        """Whether the text is certainly one connection; its gender may still be unstated."""
        return self.reading.certainty == "certain" and self.system is not None

    def settled(self) -> tuple[System, str, Gender | None]:
        """System, size and gender of a certain text.

        Raises:
            UnclearConnection: with all readings and the question, for any other text.
        """
        if not self.is_certain or self.system is None or self.size is None:
            raise UnclearConnection(self.text, self.reading)
        return self.system, self.size, self.gender


def read_connection(text: str) -> ConnectionReading:
    """Read one connection from text; never raises."""
    reading = read_connection_text(text)
    found = reading.canonical if isinstance(reading.canonical, dict) else {}
    return ConnectionReading(
        text, reading, found.get("system"), found.get("size"), found.get("gender")
    )


def connection_or_fault(text: str) -> tuple[System, str, Gender | None]:
    """System, size and gender of a text that is certainly one connection.

    Raises:
        UnclearConnection: with all readings and the question, for any other text.
    """
    return read_connection(text).settled()


def read_connection_text(text: str) -> Reading:
    """Read a connection, an adapter or a maker's code from text."""
    if len(text) > LONGEST_TEXT:
        return unreadable(f"Is there a name for it in under {LONGEST_TEXT} letters?")
    folded = fold(text)
    if is_placeholder(folded):
        return MISSING
    if date := spreadsheet_date(folded):
        return ambiguous(
            "What was typed before the spreadsheet made it a date?", date_readings(*date)
        )
    if code := read_code(folded):
        return code
    if ends := _ends(folded):
        return _adapter(*ends)
    if cells := _cells(folded):
        return _two_in_one_cell(*cells)
    return read_end(folded, on_adapter=False)


_TO: Final = re.compile(r" ?(?:(?<![a-z])to(?![a-z])|->|=>) ?")


def _ends(folded: str) -> tuple[str, str] | None:
    """The two halves of an adapter text."""
    halves = _TO.split(folded)
    if len(halves) == 2 and all(halves):
        return halves[0], halves[1]
    if len(halves) == 1 and (crossed := halves_at_cross(folded)):
        parsed = [parse(half) for half in crossed]
        if all(half.sizes for half in parsed) and any(half.names_something for half in parsed):
            return crossed
    return None


def _cells(folded: str) -> tuple[str, str] | None:
    """Two connections written into one cell."""
    for mark in (" / ", " | ", "; ", " or "):
        halves = folded.split(mark)
        if len(halves) == 2 and all(parse(half).sizes for half in halves):
            return halves[0], halves[1]
    return None


def _adapter(first: str, second: str) -> Reading:
    ends = [read_end(half, on_adapter=True) for half in (first, second)]
    if all(end.certainty == "certain" for end in ends):
        return _settled_adapter([end.canonical for end in ends])
    for end in ends:
        if end.certainty == "unreadable" or (end.canonical is None and not end.readings):
            return end
    open_ends = [index for index, end in enumerate(ends) if end.certainty != "certain"]
    which = ("first", "second")[open_ends[0]]
    question = f"About the {which} end: {ends[open_ends[0]].question}"
    both = tuple(
        ReadingOption({"ends": [one.canonical, other.canonical]}, f"{one.label} to {other.label}")
        for one in ends[0].readings
        for other in ends[1].readings
    )
    if len(open_ends) == 2:
        return ambiguous(question, both)
    canonical = {"ends": [end.canonical or _in_common(end.readings) for end in ends]}
    return partial(canonical, question, (f"{which} end",), both)


def _in_common(readings: Sequence[ReadingOption]) -> dict[str, Any]:
    """What all readings of an end agree on."""
    ends = [r.canonical for r in readings if isinstance(r.canonical, dict)]
    values = {key: {end.get(key) for end in ends} for key in ("system", "size", "gender")}
    return {key: found.pop() if len(found) == 1 else None for key, found in values.items()}


def _settled_adapter(ends: Sequence[Any]) -> Reading:
    label = " to ".join(write_connection(e["system"], e["size"], e["gender"]) for e in ends)
    canonical = {"ends": list(ends)}
    open_ends = [
        which for which, end in zip(("first", "second"), ends, strict=True) if end["gender"] is None
    ]
    # A text that names one gender means to name both; a text that names none leaves them aside.
    if len(open_ends) == 1:
        which = open_ends[0]
        return partial(
            canonical,
            f"Is the {which} end male or female?",
            (f"gender of the {which} end",),
            [ReadingOption(canonical, label)],
        )
    return certain(canonical, label, unknown=["gender"] if open_ends else [])


def _two_in_one_cell(first: str, second: str) -> Reading:
    halves = [read_end(half, on_adapter=False) for half in (first, second)]
    return partial(
        connection(None, None),
        "Two connections stand in one cell: which one is meant?",
        ("which of the two",),
        [r for half in halves for r in half.readings],
    )
