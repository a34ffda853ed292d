"""Text as the trade writes it, read into our own words or refused with the one question.

`read(kind, text)` reads any kind; `read_connection` and `connection_or_fault` serve the edge of the
model, and `write_connection` writes a connection in plain words. No reading is guessed, and none
raises.
"""

from rules.reading.connection import (
    ConnectionReading,
    UnclearConnection,
    connection_or_fault,
    read_connection,
)
from rules.reading.naming import write_connection
from rules.reading.outcome import LONGEST_TEXT, Certainty, Reading, ReadingOption

__all__ = [
    "LONGEST_TEXT",
    "Certainty",
    "ConnectionReading",
    "Reading",
    "ReadingOption",
    "UnclearConnection",
    "connection_or_fault",
    "read_connection",
    "write_connection",
]
