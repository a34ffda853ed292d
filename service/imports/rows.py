"""Rows of an import: components as they were read, and where in the file each part of them is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from service.problems import Fault, pointer

Parts = tuple[str | int, ...]
"""Keys and indexes that lead to a place in a component's edge form."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A place in a file: line and column, both from 1; a column of a table has a name."""

    line: int
    column: int | None = None
    name: str | None = None

    def __str__(self) -> str:
        if self.column is None:
            return f"line {self.line}"
        named = f" (`{self.name}`)" if self.name else ""
        return f"line {self.line}, column {self.column}{named}"


@dataclass(frozen=True, slots=True)
class Row:
    """One component of a file.

    Attributes:
        index: its place among the components, from 0.
        given: its edge form as it was read, not checked yet.
        mark_of: where in the file a part of the edge form is, or the nearest part that is there.
    """

    index: int
    given: object
    mark_of: Callable[[Parts], Mark]

    @property
    def sku(self) -> str | None:
        """The SKU that the row gives, if it gives a text."""
        sku = self.given.get("sku") if isinstance(self.given, dict) else None
        return sku if isinstance(sku, str) else None


@dataclass(frozen=True, slots=True)
class MarkedFault:
    """A fault and where in the file it is; `order` sorts the faults of a file."""

    order: tuple[int, int]
    fault: Fault

    @classmethod
    def at(cls, mark: Mark, fault: Fault) -> MarkedFault:
        """The fault, saying where it is."""
        detail = f"{str(mark).capitalize()}: {fault.detail}"
        return cls((mark.line, mark.column or 0), replace(fault, detail=detail))

    @classmethod
    def of_row(cls, row: Row, parts: Parts, fault: Fault) -> MarkedFault:
        """The fault of a part of a row, whose pointer it is given."""
        return cls.at(row.mark_of(parts), replace(fault, pointer=pointer((row.index, *parts))))


@dataclass(frozen=True, slots=True)
class Table:
    """What reading a file gave: rows, and faults of those that could not be read as rows."""

    rows: Sequence[Row]
    faults: Sequence[MarkedFault] = ()
