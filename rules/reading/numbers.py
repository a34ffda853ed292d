"""Numbers without a unit."""

from __future__ import annotations

from collections.abc import Sequence

from rules.reading.outcome import Reading, ReadingOption, ambiguous, certain, unreadable
from rules.reading.units import Number, numbers_meant


def bare_quantity(number: Number) -> Reading:
    """A number in the place of a quantity: a count, a length, a rating or a name."""
    if number.values == (0.0,):
        return zero()
    options = [
        ReadingOption({"value": value, "unit": unit}, f"{value:g} {unit}")
        for value in number.values
        for unit in ("pieces", "m", "ft", "mm", "L/h", "psi")
    ]
    options.append(ReadingOption({"of": "name"}, "the name or number of a part"))
    return ambiguous(f"In which unit is the {number.text}?", options)


def zero() -> Reading:
    """A zero, which many systems write for nothing recorded."""
    return ambiguous(
        "Is it really zero, or was nothing recorded?",
        [ReadingOption(0.0, "zero"), ReadingOption(None, "nothing is recorded")],
    )


def read_number_text(folded: str) -> Reading:
    """Read a number without a unit from folded text. The canonical form is the number."""
    values = numbers_meant(folded)
    if not values:
        return unreadable("Which number is it?")
    if len(values) > 1:
        options = [ReadingOption(value, f"{value:g}") for value in values]
        return ambiguous(which_number(folded, values), options)
    if values[0] == 0:
        return zero()
    return certain(values[0], f"{values[0]:g}")


def which_number(text: str, values: Sequence[float]) -> str:
    """The question for a number as written that can mean two."""
    one, other = values
    if " " in text:
        count = text.split()[0]
        return f"Is {text} the number {one:g}, or {count} times {other:g}?"
    return f"Is {text} {one:g} or {other:g}?"
