"""Components from a table: CSV as RFC 4180 describes it, one component a row.

Spreadsheets write semicolons or tabs where the comma is the decimal mark: whichever of the three
stands in the header separates the cells.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

from rules.vocabulary import Kind, words
from service.imports.columns import (
    CellError,
    Column,
    DecimalMark,
    form_of,
    is_keyed,
    is_known,
    key_field,
    near,
    read_cell,
)
from service.imports.rows import Mark, MarkedFault, Parts, Row, Table
from service.problems import Fault, invalid, pointer, rendering

REQUIRED: Final = ("sku", "kind", "name")
_SEPARATORS: Final = ",;\t"
_ENCODING_ADVICE: Final = "CSV in UTF-8; a spreadsheet calls it `CSV UTF-8` when it saves"


def read_table(body: bytes, decimal: DecimalMark | None) -> Table:
    """The components of a CSV file, whose first row names its columns.

    Args:
        body: the file; a byte order mark is passed over.
        decimal: its decimal mark, where the sender declared one.

    Raises:
        Problem: 422, the file is not UTF-8, not CSV, or its header cannot be understood.
    """
    lines = _Lines(_decoded(body))
    header = next(lines, None)
    if header is None:
        raise _refused(Mark(1), None, "The file is empty.", "a header and a row for each component")
    columns = _columns(header[1])
    rows: list[Row] = []
    faults: list[MarkedFault] = []
    for line, cells in lines:
        reading = _RowReading(len(rows), line, columns, decimal)
        rows.append(reading.row(cells))
        faults += reading.faults
    return Table(rows, faults)


def _decoded(body: bytes) -> str:
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = body.count(b"\n", 0, error.start) + 1
        wide = body.startswith((b"\xff\xfe", b"\xfe\xff"))
        detail = "The file is UTF-16." if wide else "The line holds a byte that is not UTF-8."
        found = rendering(body[error.start : error.start + 8].hex(" "))
        raise _refused(Mark(line), found, detail, _ENCODING_ADVICE) from error


def _refused(mark: Mark, found: Any, detail: str, expected: str) -> Exception:
    fault = Fault("", found, detail, expected, "csv")
    return invalid([MarkedFault.at(mark, fault).fault])


class _Lines:
    """The rows of a CSV text that are not empty, each with the line it begins on."""

    def __init__(self, text: str) -> None:
        first = text.partition("\n")[0]
        separator = max(_SEPARATORS, key=first.count)
        self._reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)

    def __iter__(self) -> Iterator[tuple[int, list[str]]]:
        return self

    def __next__(self) -> tuple[int, list[str]]:
        while True:
            line = self._reader.line_num + 1
            try:
                cells = [cell.strip() for cell in next(self._reader)]
            except csv.Error as error:
                raise _refused(
                    Mark(line),
                    None,
                    f"The row is not CSV: {error}.",
                    "cells that hold a separator or a quote in quotes, with inner quotes doubled",
                ) from error
            if any(cells):
                return line, cells


def _columns(names: Sequence[str]) -> list[Column]:
    columns = [Column(i, name, tuple(name.split("."))) for i, name in enumerate(names, 1)]
    faults = [*_faults_of_names(columns), *_missing(columns)]
    if faults:
        raise invalid([each.fault for each in faults])
    return columns


def _faults_of_names(columns: Iterable[Column]) -> Iterator[MarkedFault]:
    seen: set[str] = set()
    for column in columns:
        if column.name in seen:
            detail, expected = "The column is there twice.", "each column once"
        elif not all(column.steps) or not is_known(column.steps):
            meant = near(column.name)
            detail = f"No component has a `{rendering(column.name)}`."
            expected = (
                f"did you mean `{meant}`?" if meant else "a column of `/v1/imports/template.csv`"
            )
        else:
            seen.add(column.name)
            continue
        fault = Fault("", rendering(column.name), detail, expected, "column")
        yield MarkedFault.at(Mark(1, column.number), fault)


def _missing(columns: Iterable[Column]) -> Iterator[MarkedFault]:
    names = {column.name for column in columns}
    for name in REQUIRED:
        if name not in names:
            fault = Fault("", None, f"There is no column `{name}`.", f"a column `{name}`", "column")
            yield MarkedFault.at(Mark(1), fault)


class _RowReading:
    """Puts the edge form of one component together from the cells of a row."""

    def __init__(
        self, index: int, line: int, columns: Sequence[Column], decimal: DecimalMark | None
    ) -> None:
        self._index = index
        self._line = line
        self._columns = columns
        self._decimal = decimal
        self._given: dict[str, Any] = {}
        self._members: dict[str, dict[str, dict[str, Any]]] = {}
        self._filled: dict[Parts, Column] = {}
        self.faults: list[MarkedFault] = []

    def row(self, cells: Sequence[str]) -> Row:
        """The component as it was read; what could not be read is left out, as a fault."""
        if len(cells) != len(self._columns):
            self._object(
                None,
                len(cells),
                f"The row has {len(cells)} cells, the header has {len(self._columns)}.",
                "as many cells as the header; a text with a separator in it needs quotes",
            )
        read = dict(zip((column.name for column in self._columns), cells, strict=False))
        kind = read.get("kind", "")
        for column, cell in zip(self._columns, cells, strict=False):
            if cell:
                self._fill(column, cell, kind)
        for step, members in self._members.items():
            if self._given[step] is members:
                self._given[step] = list(members.values())
        return Row(self._index, self._given, self._mark_of)

    def _fill(self, column: Column, cell: str, kind: str) -> None:
        form = form_of(kind, column.steps) if kind in words(Kind) else "text"
        if form is None:
            detail = f"A component of kind `{kind}` has no `{column.name}`."
            self._object(column, cell, detail, "an empty cell")
            return
        if kind not in words(Kind) and column.name not in REQUIRED:
            # Without a kind nobody can say what the other cells should be.
            return
        try:
            value = read_cell(cell, column, form, self._decimal)
        except CellError as refused:
            self._object(column, cell, refused.reason, refused.expected)
        else:
            self._put(column, value)

    def _put(self, column: Column, value: object) -> None:
        owner = self._owner(column)
        if owner is None:
            self._object_to_both(column)
            return
        place, steps, at = owner
        for step in steps[:-1]:
            inner = place.setdefault(step, {})
            if not isinstance(inner, dict):
                self._object_to_both(column)
                return
            place = inner
        if steps[-1] in place:
            self._object_to_both(column)
            return
        place[steps[-1]] = value
        self._filled[(*at, *steps)] = column

    def _owner(self, column: Column) -> tuple[dict[str, Any], tuple[str, ...], Parts] | None:
        """The object that a column belongs to, the steps inside it and the way to it.

        `None` where the list that holds the object came whole, in another column.
        """
        if not is_keyed(column.steps):
            return self._given, column.steps, ()
        step, key, *inner = column.steps
        members = self._members.setdefault(step, {})
        if self._given.setdefault(step, members) is not members:
            return None
        name = key_field(step)
        member = members.setdefault(key, {} if name is None else {name: key})
        return member, tuple(inner), (step, list(members).index(key))

    def _object_to_both(self, column: Column) -> None:
        detail = "Another column of this row gives the same."
        self._object(column, None, detail, "one of the two cells empty")

    def _object(self, column: Column | None, found: Any, detail: str, expected: str) -> None:
        mark = Mark(self._line)
        place = pointer((self._index,))
        if column is not None:
            mark = Mark(self._line, column.number, column.name)
            place = pointer((self._index, *column.steps))
        fault = Fault(place, rendering(found), detail, expected, "cell")
        self.faults.append(MarkedFault.at(mark, fault))

    def _mark_of(self, parts: Parts) -> Mark:
        """The column that gave a part, or the first that gave something of what holds it."""
        for length in range(len(parts), 0, -1):
            for filled, column in self._filled.items():
                if filled[:length] == parts[:length]:
                    return Mark(self._line, column.number, column.name)
        return Mark(self._line)
