"""What a reading is: how sure it is, what it means, and what else the text could mean."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias

Certainty = Literal["certain", "partial", "ambiguous", "unreadable"]

Canonical: TypeAlias = Mapping[str, Any] | str | float | None
"""A meaning in our own words: JSON-able, and `None` where nothing is certain."""

LONGEST_TEXT: Final = 120
"""Characters. The longest connection found in a shop's data is about half of it."""


@dataclass(frozen=True, slots=True)
class ReadingOption:
    """One thing a text can mean, and the same in plain words."""

    canonical: Canonical
    label: str


@dataclass(frozen=True, slots=True)
class Reading:
    """What a text of the trade means.

    Attributes:
        certainty: `certain`: one meaning. `partial`: part of the meaning is certain and the rest
            is open. `ambiguous`: several meanings, or a slip of typing with its likely
            correction, and none is chosen. `unreadable`: nothing could be made of it.
        canonical: the meaning in our own words; for `partial` with `None` where it is open. `None`
            for a certain reading says that the text is a placeholder for nothing recorded.
        readings: everything it can mean; the one meaning where it is certain.
        question: the one question that settles it; `None` where it is certain.
        unknown: what is left open. A certain reading may name what the text does not say and
            need not, such as the gender of a connection or the grade of a rubber.
    """

    certainty: Certainty
    canonical: Canonical
    readings: tuple[ReadingOption, ...] = ()
    question: str | None = None
    unknown: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The reading as an API answers it."""
        return {
            "certainty": self.certainty,
            "canonical": self.canonical,
            "readings": [{"canonical": r.canonical, "label": r.label} for r in self.readings],
            "question": self.question,
            "unknown": list(self.unknown),
        }


def certain(canonical: Canonical, label: str, *, unknown: Iterable[str] = ()) -> Reading:
    """One meaning."""
    return Reading("certain", canonical, (ReadingOption(canonical, label),), None, tuple(unknown))


def partial(
    canonical: Canonical,
    question: str,
    unknown: Iterable[str],
    readings: Iterable[ReadingOption] = (),
) -> Reading:
    """Part of the meaning is certain; `unknown` names the rest."""
    return Reading("partial", canonical, tuple(readings), question, tuple(unknown))


def ambiguous(question: str, readings: Iterable[ReadingOption]) -> Reading:
    """Several meanings, none of them chosen."""
    return Reading("ambiguous", None, tuple(readings), question)


def unreadable(question: str, readings: Iterable[ReadingOption] = ()) -> Reading:
    """Nothing could be made of the text."""
    return Reading("unreadable", None, tuple(readings), question)


MISSING: Final = Reading(
    "certain", None, (ReadingOption(None, "nothing is recorded"),), None, ("value",)
)
"""A placeholder such as `-`, `n/a` or `TBD`: certain that nothing is recorded."""
