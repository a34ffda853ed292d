"""The columns that a table of components may have, and how a cell of each is read.

A column is named by the place of its value in a component: `name`, `spec.bore`,
`ports.<id>.connection`, `wetted.<part>.material`, `needs.<number>.sku`.
"""

from __future__ import annotations

import difflib
import re
import types
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from rules.connections import Connection
from rules.parts import Component, Need, PartBase, Port, Wetted
from rules.vocabulary import Kind, words
from service.strict_json import JsonFaults, read_json

DecimalMark = Literal["comma", "point"]
Form = Literal["text", "amount", "flag", "count", "quantity", "list", "json"]

LIST_MARK: Final = "|"
"""Between the members of a list in one cell; commas and semicolons separate cells."""

EMPTY_LIST: Final = "none"
"""A list that is known to be empty; an empty cell says that nobody recorded it."""

UNKNOWN_MATERIAL: Final = "unknown"
"""A piece that fuel touches, of a material that nobody recorded."""


class CellError(ValueError):
    """A cell that cannot be read.

    Attributes:
        reason: what is wrong.
        expected: what would be right.
    """

    def __init__(self, reason: str, expected: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self.expected = expected


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its place from 1, its name, and the steps of its name."""

    number: int
    name: str
    steps: tuple[str, ...]


# Which columns there are ----------------------------------------------------------------------


@cache
def kinds() -> Mapping[str, type[PartBase]]:
    """The model of each kind of component."""
    union = get_args(Component)[0]
    return {get_args(m.model_fields["kind"].annotation)[0]: m for m in get_args(union)}


def form_of(kind: str, steps: tuple[str, ...]) -> Form | None:
    """How cells of a column are read for components of a kind; `None`, it has no such attribute."""
    return _forms(kind).get(_pattern(steps))


def is_known(steps: tuple[str, ...]) -> bool:
    """Whether components of any kind have an attribute in this column."""
    return any(form_of(kind, steps) is not None for kind in words(Kind))


def near(name: str) -> str | None:
    """The column name that was meant, as far as it can be guessed."""
    steps = tuple(name.split("."))
    known = sorted({pattern for kind in words(Kind) for pattern in _forms(kind)})
    shown = {".".join(_filled(pattern, steps)): pattern for pattern in known}
    found = difflib.get_close_matches(name[:80], shown, n=1)
    return found[0] if found else None


_KEYED: Final[Mapping[str, tuple[str | None, type[BaseModel]]]] = {
    "ports": ("id", Port),
    "wetted": ("part", Wetted),
    "needs": (None, Need),
}
"""Lists of objects, the field that the second step of a column's name fills, and their model."""


def key_field(step: str) -> str | None:
    """The field of a member of a list that the second step of a column's name gives."""
    return _KEYED[step][0]


def is_keyed(steps: tuple[str, ...]) -> bool:
    """Whether a column belongs to a member of a list of objects."""
    return len(steps) > 2 and steps[0] in _KEYED


def _pattern(steps: tuple[str, ...]) -> tuple[str, ...]:
    return (steps[0], "*", *steps[2:]) if is_keyed(steps) else steps


def _filled(pattern: tuple[str, ...], steps: tuple[str, ...]) -> tuple[str, ...]:
    key = steps[1] if len(steps) > 1 else "*"
    return tuple(key if step == "*" else step for step in pattern)


@cache
def _forms(kind: str) -> Mapping[tuple[str, ...], Form]:
    forms = dict(_leaves(kinds()[kind], ()))
    for name, (key, model) in _KEYED.items():
        forms |= {
            (name, "*", *steps): form for steps, form in _leaves(model, ()) if steps != (key,)
        }
    forms["price", "amount"] = "amount"
    return forms


def _leaves(model: type[BaseModel], at: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Form]]:
    for name, field in model.model_fields.items():
        steps = (*at, field.alias or name)
        inner = _plain(field.annotation)
        if isinstance(inner, type) and issubclass(inner, BaseModel):
            yield from _leaves(inner, steps)
            if inner is Connection:
                yield steps, "text"
        else:
            yield steps, _form(inner)


def _plain(annotation: Any) -> Any:
    """An annotation without `None` and without metadata, where only one type remains."""
    if get_origin(annotation) is Annotated:
        return _plain(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        members = [each for each in get_args(annotation) if each is not types.NoneType]
        if len(members) == 1:
            return _plain(members[0])
    return annotation


def _form(inner: Any) -> Form:
    if inner is bool:
        return "flag"
    if inner is int:
        return "count"
    if inner is float:
        return "quantity"
    if get_origin(inner) is tuple:
        member = _plain(get_args(inner)[0])
        holds_objects = isinstance(member, type) and issubclass(member, BaseModel)
        return "json" if holds_objects else "list"
    return "text"


# How a cell is read ---------------------------------------------------------------------------


def read_cell(cell: str, column: Column, form: Form, decimal: DecimalMark | None) -> object:
    """The value of a cell that is not empty, for the model to check.

    Args:
        cell: without blanks around it.
        column: where it stands.
        form: how cells of the column are read.
        decimal: the decimal mark of the file, where its sender declared one.

    Raises:
        CellError: the cell does not have the column's form.
    """
    if column.steps[0] == "wetted" and column.steps[-1] == "material" and cell == UNKNOWN_MATERIAL:
        return None
    return _READERS[form](cell, decimal)


def _text(cell: str, _decimal: DecimalMark | None) -> object:
    return cell


def _flag(cell: str, _decimal: DecimalMark | None) -> object:
    flags = {"yes": True, "true": True, "no": False, "false": False}
    if cell.lower() not in flags:
        raise CellError("The cell is neither yes nor no.", "`yes`, `no` or an empty cell")
    return flags[cell.lower()]


def _count(cell: str, _decimal: DecimalMark | None) -> object:
    if not re.fullmatch("[0-9]{1,9}", cell):
        raise CellError("The cell is not a whole number.", "a whole number, such as `2`")
    return int(cell)


def _list(cell: str, decimal: DecimalMark | None) -> object:
    if cell == EMPTY_LIST:
        return []
    return [_with_point(each.strip(), decimal) for each in cell.split(LIST_MARK)]


def _json(cell: str, _decimal: DecimalMark | None) -> object:
    if cell == EMPTY_LIST:
        return []
    try:
        return read_json(cell.encode())
    except JsonFaults as refused:
        raise CellError(
            "The cell is not JSON.", "a list of objects in JSON, as in a component's JSON form"
        ) from refused


_LEADING_NUMBER: Final = re.compile(r"[-+]?(?P<digits>[0-9][0-9.,]*)(?![0-9.,]* ?[0-9]*/)")
_WITH_COMMA: Final = re.compile(r"(?:[0-9]{1,3}(?:\.[0-9]{3})+|[0-9]+)(?:,[0-9]+)?")
_WITH_POINT: Final = re.compile(r"(?:[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)(?:\.[0-9]+)?")


def _with_point(cell: str, decimal: DecimalMark | None) -> str:
    """The cell with the number it begins with written with a decimal point and no groups.

    Without a declared mark nothing is changed: the grammar of quantities takes a decimal comma
    and refuses what has two readings.
    """
    found = _LEADING_NUMBER.match(cell)
    if decimal is None or found is None:
        return cell
    digits, rest = found["digits"], cell[found.end() :]
    sign = cell[: found.start("digits")]
    mark, grouping, written = (
        (",", ".", _WITH_COMMA) if decimal == "comma" else (".", ",", _WITH_POINT)
    )
    if not written.fullmatch(digits):
        raise CellError(
            f"`{digits}` is not a number written with a decimal {decimal}.",
            f"a number such as `{'1,5' if decimal == 'comma' else '1.5'}`, as `decimal` declares",
        )
    return f"{sign}{digits.replace(grouping, '').replace(mark, '.')}{rest}"


def _quantity(cell: str, decimal: DecimalMark | None) -> object:
    return _with_point(cell, decimal)


def _amount(cell: str, decimal: DecimalMark | None) -> object:
    """An amount of money, which has two decimals at most and so shows which mark it uses."""
    if decimal is None and (found := re.fullmatch(r"[0-9.,]*([.,])[0-9]{1,2}", cell)):
        decimal = "comma" if found[1] == "," else "point"
    try:
        return _with_point(cell, decimal)
    except CellError:
        # The model refuses it as well, and says what an amount looks like.
        return cell


_READERS: Final[Mapping[Form, Callable[[str, DecimalMark | None], object]]] = {
    "text": _text,
    "amount": _amount,
    "flag": _flag,
    "count": _count,
    "quantity": _quantity,
    "list": _list,
    "json": _json,
}
