"""The measures of a quantity text, in the clauses that its `@` signs part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from rules.reading.units import Item, KnownUnit, Number, Term, Unit, UnsettledUnit, items

RANGE_SIGNS: Final = frozenset({"and", "to", "-", "or", "\u2026"})


@dataclass(frozen=True, slots=True)
class Measure:
    """A number with its unit, each as far as it is there; `upper` is the end of a range."""

    number: Number | None
    unit: Unit | None
    upper: Number | None = None

    @property
    def value(self) -> float | None:
        """The value, if the number has exactly one."""
        return self.number.values[0] if self.number and len(self.number.values) == 1 else None


@dataclass(slots=True)
class Clause:
    """The measures and the words of a part of the text."""

    measures: list[Measure] = field(default_factory=list)
    terms: set[str] = field(default_factory=set)


def clauses(folded: str) -> list[Clause]:
    """The clauses of a folded text, the first of which is the quantity, the rest its conditions.

    A clause of words alone (`at the wheels`, `at most`) is no condition: its words go to the
    quantity.
    """
    found = list(items(folded))
    all_clauses = [Clause()]
    at = 0
    while at < len(found):
        item = found[at]
        if item == Term("@"):
            all_clauses.append(Clause())
            at += 1
        elif isinstance(item, Term):
            all_clauses[-1].terms.add(item.text)
            at += 1
        else:
            measure, taken = _measure(found, at)
            all_clauses[-1].measures.append(measure)
            at += taken
    measured = [clause for clause in all_clauses if clause.measures] or all_clauses[:1]
    for clause in all_clauses:
        if not clause.measures:
            measured[0].terms |= clause.terms
    if all_clauses[-1] == Clause() and len(all_clauses) > 1:
        measured[0].terms.add("@")  # the text breaks off
    return measured


def _measure(found: Sequence[Item], at: int) -> tuple[Measure, int]:
    """The measure that begins at an item, and how many items it takes."""
    first = found[at]
    if isinstance(first, KnownUnit | UnsettledUnit):
        return Measure(None, first), 1
    assert isinstance(first, Number)
    signed = _signed(first, found[:at])
    match found[at + 1 : at + 4]:
        case [KnownUnit() | UnsettledUnit() as unit, *_]:
            return Measure(signed, unit), 2
        case [Term("-"), KnownUnit() | UnsettledUnit() as unit, *_]:
            return Measure(signed, unit), 3
        case [Term(sign), Number() as upper, KnownUnit() | UnsettledUnit() as unit] if (
            sign in RANGE_SIGNS
        ):
            return Measure(signed, unit, upper), 4
        case _:
            return Measure(signed, None), 1


def _signed(number: Number, before: Sequence[Item]) -> Number:
    """The number with its minus, which stands at the beginning or after another sign."""
    minus = bool(before) and before[-1] == Term("-")
    if minus and (len(before) == 1 or isinstance(before[-2], Term)):
        return Number(f"-{number.text}", tuple(-value for value in number.values))
    return number
