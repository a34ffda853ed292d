"""Reads one CSV table into typed rows, and tells every fault it finds with file and line.

The columns of a table are the fields of its row type, in that order. A field's type says what its
cells may hold:

- `str`: text, never blank; `str | None`: text, blank for none;
- `float`, `int`: a finite number, not negative, blank only with `| None`; `Signed`: either sign;
- `bool`: `yes` or `no`;
- a `Literal`: one of its words;
- `tuple[str, ...]`: texts separated by semicolons;
- `tuple[Literal, ...]`: words separated by blanks.
"""

from __future__ import annotations

import csv
import dataclasses
import math
import types
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, ClassVar, Literal, NewType, Protocol, TypeVar, Union, get_args, get_origin
from typing import get_type_hints as hints_of


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing wrong in a table. `line` counts from 1, the header is line 1."""

    file: str
    line: int
    message: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.message}"


class ReferenceFaults(ValueError):
    """The reference tables cannot be used. `faults` holds all that is wrong, by file and line."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(sorted(faults))
        listed = "\n".join(f"  {fault}" for fault in self.faults)
        super().__init__(f"The reference tables have {len(self.faults)} faults:\n{listed}")


Signed = NewType("Signed", float)
"""A number that may be negative."""


class Row(Protocol):
    """What every row type offers: its file, and the columns that together name a row."""

    FILE: ClassVar[str]
    KEY: ClassVar[tuple[str, ...]]
    __dataclass_fields__: ClassVar[dict[str, dataclasses.Field[Any]]]


R = TypeVar("R", bound=Row)


class _CellFault(Exception):
    """What is wrong with one cell."""


def read_table(
    directory: Path, row_type: type[R], faults: list[Fault]
) -> tuple[tuple[int, R], ...]:
    """Read the table of `row_type`; faults are added to `faults`, faulty rows are left out.

    Returns:
        Pairs of line number and row, in the order of the file.
    """
    try:
        lines = list(_lines(directory / row_type.FILE))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        faults.append(Fault(row_type.FILE, 1, f"cannot be read: {error}"))
        return ()
    columns = [field.name for field in dataclasses.fields(row_type)]
    if not lines or lines[0][1] != columns:
        found = ", ".join(lines[0][1]) if lines else "nothing"
        wanted = ", ".join(columns)
        faults.append(
            Fault(row_type.FILE, 1, f"the columns must be {wanted}; the header has {found}")
        )
        return ()
    read = [
        (number, row)
        for number, cells in lines[1:]
        if (row := _row(row_type, number, cells, faults)) is not None
    ]
    _refuse_duplicates(row_type, read, faults)
    return tuple(read)


def _lines(path: Path) -> Iterator[tuple[int, list[str]]]:
    with path.open(newline="", encoding="utf-8") as file:
        reader = csv.reader(file, strict=True)
        for cells in reader:
            yield reader.line_num, cells


def _row(row_type: type[R], line: int, cells: list[str], faults: list[Fault]) -> R | None:
    readers = _readers(row_type)
    if len(cells) != len(readers):
        message = f"the row has {len(cells)} cells, the header {len(readers)}"
        faults.append(Fault(row_type.FILE, line, message))
        return None
    values: dict[str, Any] = {}
    sound = True
    for (column, read), cell in zip(readers.items(), cells, strict=True):
        try:
            values[column] = read(cell)
        except _CellFault as fault:
            faults.append(Fault(row_type.FILE, line, f"{column}: {fault}"))
            sound = False
    return row_type(**values) if sound else None


def _refuse_duplicates(row_type: type[R], rows: list[tuple[int, R]], faults: list[Fault]) -> None:
    first: dict[tuple[Any, ...], int] = {}
    for line, row in rows:
        key = tuple(getattr(row, column) for column in row_type.KEY)
        if key in first:
            shown = ", ".join(str(part) for part in key)
            faults.append(Fault(row_type.FILE, line, f"{shown} is already on line {first[key]}"))
        first.setdefault(key, line)


@cache
def _readers(row_type: type[Any]) -> dict[str, Callable[[str], Any]]:
    hints = hints_of(row_type)
    return {field.name: _reader(hints[field.name]) for field in dataclasses.fields(row_type)}


def _reader(hint: Any) -> Callable[[str], Any]:
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        return _union_reader(get_args(hint))
    if origin is Literal:
        return _word_reader(get_args(hint))
    if origin is tuple:
        inner = get_args(hint)[0]
        return _texts if inner is str else _words_reader(_words_of((inner,)))
    return {
        str: _text,
        float: _number,
        Signed: _signed_number,
        int: _whole,
        bool: _yes_or_no,
    }[hint]


def _union_reader(members: tuple[Any, ...]) -> Callable[[str], Any]:
    some = tuple(member for member in members if member is not types.NoneType)
    read = _reader(some[0]) if len(some) == 1 else _word_reader(_words_of(some))
    if len(some) == len(members):
        return read
    return lambda cell: None if cell == "" else read(cell)


def _words_of(literals: tuple[Any, ...]) -> tuple[str, ...]:
    """The words of a `Literal`, or of all the members of a union of them."""
    found: list[str] = []
    for literal in literals:
        found += (
            get_args(literal) if get_origin(literal) is Literal else _words_of(get_args(literal))
        )
    return tuple(found)


def _text(cell: str) -> str:
    if not cell:
        raise _CellFault("is blank")
    if cell != cell.strip():
        raise _CellFault(f"{cell!r} begins or ends with a blank")
    return cell


def _texts(cell: str) -> tuple[str, ...]:
    return tuple(_text(part.strip()) for part in cell.split(";")) if cell else ()


def _signed_number(cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        raise _CellFault(f"{cell!r} is not a number") from None
    if not math.isfinite(value):
        raise _CellFault(f"{cell!r} is not finite")
    return value


def _number(cell: str) -> float:
    value = _signed_number(cell)
    if value < 0:
        raise _CellFault(f"{cell} is negative")
    return value


def _whole(cell: str) -> int:
    value = _number(cell)
    if value != int(value):
        raise _CellFault(f"{cell} is not a whole number")
    return int(value)


def _yes_or_no(cell: str) -> bool:
    if cell not in ("yes", "no"):
        raise _CellFault(f"{cell!r} is neither yes nor no")
    return cell == "yes"


def _word_reader(words: tuple[Any, ...]) -> Callable[[str], Any]:
    known = set(words)

    def read(cell: str) -> Any:
        if cell not in known:
            raise _CellFault(f"{cell!r} is not one of {', '.join(map(str, words))}")
        return cell

    return read


def _words_reader(words: tuple[str, ...]) -> Callable[[str], tuple[Any, ...]]:
    read = _word_reader(words)
    return lambda cell: tuple(read(word) for word in cell.split())


class Tables:
    """The rows of several tables, by row type."""

    def __init__(
        self, directory: Path, row_types: tuple[type[Any], ...], faults: list[Fault]
    ) -> None:
        self._read: dict[type[Any], tuple[tuple[int, Any], ...]] = {
            row_type: read_table(directory, row_type, faults) for row_type in row_types
        }

    def numbered(self, row_type: type[R]) -> tuple[tuple[int, R], ...]:
        """The rows of a table with their line numbers."""
        return self._read[row_type]

    def of(self, row_type: type[R]) -> tuple[R, ...]:
        """The rows of a table."""
        return tuple(row for _, row in self._read[row_type])
