"""Text as the trade writes it, read into our own words or refused with the one question.

`read(kind, text)` reads any kind; `read_connection` and `connection_or_fault` serve the edge of the
model, and `write_connection` writes a connection in plain words. No reading is guessed, and none
raises.
"""

from rules.reading.edge import (
    ConnectionReading,
    UnclearConnection,
    connection_or_fault,
    read_connection,
)
from rules.reading.naming import write_connection
from rules.reading.outcome import LONGEST_TEXT, Certainty, Reading, ReadingOption
from rules.reading.read import KINDS, ReadingKind, read
from rules.reading.words import sku_key

__all__ = [
    "KINDS",
    "LONGEST_TEXT",
    "Certainty",
    "ConnectionReading",
    "Reading",
    "ReadingKind",
    "ReadingOption",
    "UnclearConnection",
    "connection_or_fault",
    "read",
    "read_connection",
    "sku_key",
    "write_connection",
]
