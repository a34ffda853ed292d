"""Components from a JSON array or from JSON lines."""

from __future__ import annotations

import json
import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Final

from service.imports.rows import Mark, MarkedFault, Parts, Row, Table
from service.problems import Fault, invalid, rendering
from service.strict_json import JsonFaults, read_json

_BLANK: Final = re.compile(r"[ \t\r\n]*")
_DECODER: Final = json.JSONDecoder()


def read_array(body: bytes) -> Table:
    """The components of a JSON array.

    Raises:
        Problem: 422, the body is not JSON or not an array.
    """
    try:
        given = read_json(body)
    except JsonFaults as refused:
        raise invalid(refused.faults) from refused
    if not isinstance(given, list):
        raise invalid(
            [
                Fault(
                    pointer="",
                    found=rendering(given),
                    detail="The body is not a list.",
                    expected="a list of components: `[{...}, {...}]`",
                    code="type",
                )
            ]
        )
    places = _Places(body.decode("utf-8-sig"))
    return Table([_row(places, index, each) for index, each in enumerate(given)])


def _row(places: _Places, index: int, given: object) -> Row:
    return Row(index, given, lambda parts: places.mark((index, *parts)))


def read_lines(body: bytes) -> Table:
    """The components of a text that has one JSON object on each line; empty lines are skipped."""
    rows: list[Row] = []
    faults: list[MarkedFault] = []
    for number, line in enumerate(body.removeprefix(b"\xef\xbb\xbf").split(b"\n"), 1):
        if not line.strip():
            continue
        try:
            given = read_json(line)
        except JsonFaults as refused:
            faults += [_fault_of_line(number, line, each) for each in refused.faults]
        else:
            rows.append(_line_row(len(rows), number, line, given))
    return Table(rows, faults)


def _line_row(index: int, number: int, line: bytes, given: object) -> Row:
    def mark_of(parts: Parts) -> Mark:
        return replace(_Places(line.decode()).mark(parts), line=number)

    return Row(index, given, mark_of)


def _fault_of_line(number: int, line: bytes, fault: Fault) -> MarkedFault:
    if fault.code != "json-syntax":
        return MarkedFault.at(Mark(number), fault)
    try:
        json.loads(line)
    except json.JSONDecodeError as error:
        detail = f"The line stops being JSON: {error.msg.lower()}."
        return MarkedFault.at(
            Mark(number, error.colno),
            replace(fault, detail=detail, expected="one JSON object on each line"),
        )
    return MarkedFault.at(Mark(number), fault)


class _Places:
    """Where the parts of a JSON text are. The text is known to be JSON."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._line_starts: list[int] = []
        self._members: dict[Parts, int] = {}

    def mark(self, parts: Parts) -> Mark:
        """Line and column of a part, or of what holds it where it is missing."""
        if not self._line_starts:
            self._line_starts = [0, *(found.end() for found in re.finditer("\n", self._text))]
        offset = self._offset(parts)
        line = bisect_right(self._line_starts, offset)
        return Mark(line, offset - self._line_starts[line - 1] + 1)

    def _offset(self, parts: Parts) -> int:
        at = _after_blanks(self._text, 0)
        for depth, part in enumerate(parts):
            if depth == 0 and isinstance(part, int):
                inner = self._top_level(at).get((part,))
            else:
                inner = dict(_members(self._text, at)).get(part)
            if inner is None:
                break
            at = inner
        return at

    def _top_level(self, at: int) -> dict[Parts, int]:
        """Offsets of the members of the whole text, found once: it may have thousands."""
        if not self._members:
            self._members = {(part,): offset for part, offset in _members(self._text, at)}
        return self._members


def _members(text: str, at: int) -> Iterator[tuple[str | int, int]]:
    """Names or indexes of the members of the value at `at`, each with the offset of its value."""
    if text[at] not in "[{":
        return
    is_object = text[at] == "{"
    at = _after_blanks(text, at + 1)
    index = 0
    while text[at] not in "]}":
        key: Any = index
        if is_object:
            key, at = _DECODER.raw_decode(text, at)
            at = _after_blanks(text, _after_blanks(text, at) + 1)
        yield key, at
        _, at = _DECODER.raw_decode(text, at)
        at = _after_blanks(text, at)
        if text[at] == ",":
            at = _after_blanks(text, at + 1)
        index += 1


def _after_blanks(text: str, at: int) -> int:
    found = _BLANK.match(text, at)
    assert found is not None
    return found.end()
