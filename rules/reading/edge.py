"""The edge of the model: text taken as one connection, or refused with what it could mean."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.reading.outcome import LONGEST_TEXT, Reading
from rules.reading.read import read
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
    reading = read("connection", text)
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
