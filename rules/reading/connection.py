"""Connections as the trade writes them: one end, the two ends of an adapter, a maker's code."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, Final

from rules.reading.bare import connection
from rules.reading.codes import read_code, read_flange
from rules.reading.naming import write_connection
from rules.reading.one_end import read_end
from rules.reading.outcome import (
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
)
from rules.reading.parsing import parse
from rules.reading.scan import halves_at_cross


def read_connection_folded(folded: str) -> Reading:
    """Read a connection, an adapter or a hose shop's code from folded text.

    The canonical form is `{"system", "size", "gender"}`, or `{"ends": [...]}` with two of them.
    """
    if found := read_code(folded) or read_flange(folded):
        return found
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
