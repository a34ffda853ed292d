"""The values a fact may have: numbers with a unit, words of a closed list, flags, texts, unknown.

A fact type says what plain data it accepts, and shows a value as people read it.
"""

from __future__ import annotations

import difflib
import math
from abc import ABC, abstractmethod
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar, NoReturn, TypeAlias, TypeVar, final

NOT_RECORDED = "not recorded"
FEW_WORDS = 8  # that a message may list


# The unknown ----------------------------------------------------------------------------------


class NotRecorded(Exception):
    """Something was asked of a fact that nobody recorded."""


@final
class Unknown:
    """The type of `UNKNOWN`, the value of a fact that nobody recorded.

    It answers no question: every comparison, truth test, membership test, hash and arithmetic
    raises `NotRecorded`. Tell it apart with `value is UNKNOWN` or `isinstance(value, Unknown)`.
    The refusals are attached below rather than written as methods, so that a type checker still
    objects to `bore_mm < 3` where the bore may be unknown.
    """

    __slots__ = ()

    def __repr__(self) -> str:
        return "UNKNOWN"

    def __reduce__(self) -> str:
        return "UNKNOWN"


def _refuse(*_: object) -> NoReturn:
    raise NotRecorded("a fact that is not recorded was asked for its value")


for _question in (
    *("eq", "ne", "lt", "le", "gt", "ge", "bool", "hash", "contains", "iter", "len", "getitem"),
    *("add", "radd", "sub", "rsub", "mul", "rmul", "truediv", "rtruediv", "floordiv", "rfloordiv"),
    *("mod", "rmod", "pow", "rpow", "neg", "pos", "abs", "float", "int", "index", "round"),
):
    setattr(Unknown, f"__{_question}__", _refuse)

UNKNOWN = Unknown()

_T = TypeVar("_T")
Maybe: TypeAlias = _T | Unknown


# Words ----------------------------------------------------------------------------------------


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return `; did you mean "..."?` for the nearest known word, or nothing when none is near."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f'; did you mean "{near[0]}"?' if near else ""


@dataclass(frozen=True)
class Vocabulary:
    """A closed set of words.

    `name` is a singular noun used in messages ("material"); `shown` gives the human form of words
    that read badly as they are ("flare-37": "37 degree flare").
    """

    name: str
    words: Collection[str]
    shown: Mapping[str, str] = field(default_factory=dict, compare=False)

    def __post_init__(self) -> None:
        words = tuple(self.words)
        if not words or len(set(words)) != len(words):
            raise ValueError(f"vocabulary {self.name!r} is empty or holds a word twice")
        if strange := set(self.shown) - set(words):
            raise ValueError(f"vocabulary {self.name!r} has no word {sorted(strange)[0]!r}")
        object.__setattr__(self, "words", words)

    def __contains__(self, word: object) -> bool:
        return word in self.words

    def __iter__(self) -> Iterator[str]:
        return iter(self.words)

    def refusal(self, word: str) -> str:
        """Say that a word is not one of these, and which one was probably meant."""
        hint = did_you_mean(word, self.words)
        if not hint and len(self.words) <= FEW_WORDS:
            *others, last = self.words
            hint = f"; it may be {', '.join(others)}{' or ' if others else ''}{last}"
        return f'"{word}" is no {self.name}{hint}'


# Fact types -----------------------------------------------------------------------------------

# (unit, unit shown): what to multiply by
_SHOWN_FACTORS: dict[tuple[str | None, str | None], float] = {
    ("kPa", "bar"): 0.01,
    ("kPa", "MPa"): 0.001,
    ("mm", "m"): 0.001,
    ("mm", "cm"): 0.1,
    ("W", "kW"): 0.001,
    ("kg/s", "g/s"): 1000.0,
    ("L/h", "L/min"): 1 / 60,
    ("A", "mA"): 1000.0,
    ("V", "mV"): 1000.0,
    (None, "%"): 100.0,
}


def significant(value: float) -> float:
    """Round to four significant digits, or to a whole number from a thousand up."""
    if value == 0:
        return 0.0  # never minus zero
    if not math.isfinite(value):
        return value
    return round(value, max(0, 3 - math.floor(math.log10(abs(value)))))


def number_text(value: float) -> str:
    """Write a number for people: at most four significant digits, no trailing zeros."""
    rounded = significant(value)
    return f"{rounded:.0f}" if abs(rounded) >= 1000 else f"{rounded:.4g}"


@dataclass(frozen=True)
class FactType(ABC):
    """What kind of value a fact has.

    `label` is its name for people (default: made from the field's name); `origin` says where its
    value comes from, as a report prints it ("catalogue", "reference table, SAE J514", "computed",
    "request").
    """

    label: str = field(default="", kw_only=True)
    origin: str = field(default="", kw_only=True)

    holds: ClassVar[tuple[type, ...]]

    @abstractmethod
    def accept(self, value: object) -> Any:
        """Return plain data as a value of this type; raise `ValueError` saying what is wrong."""

    @abstractmethod
    def describe(self) -> str:
        """Name the type in a message: "a number in mm"."""

    def display(self, value: Any) -> str | float:
        """Return a known value as evidence shows it, without its unit."""
        return str(value)

    def show(self, value: Any) -> str:
        """Return a known value as running text, with its unit."""
        return str(self.display(value))

    @property
    def display_unit(self) -> str | None:
        """The unit that belongs to `display`."""
        return None


@dataclass(frozen=True)
class Number(FactType):
    """A number in `unit`; None for a pure number or a count.

    `positive` promises that it is never zero or less, so that rules may divide by it. `shown` is
    the unit people read it in.
    """

    unit: str | None = None
    positive: bool = field(default=False, kw_only=True)
    shown: str | None = field(default=None, kw_only=True)

    holds = (float, int)

    def __post_init__(self) -> None:
        if self.shown not in (None, self.unit) and (self.unit, self.shown) not in _SHOWN_FACTORS:
            raise ValueError(f"no factor is known to show {self.unit} as {self.shown}")

    def accept(self, value: object) -> float:
        """Take a finite number; true and false are none."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"must be {self.describe()}, not {said(value)}")
        if not math.isfinite(value):
            raise ValueError(f"must be a finite number, not {value}")
        if self.positive and value <= 0:
            raise ValueError(f"must be more than zero, not {value}")
        return value

    def describe(self) -> str:
        """Name the type with its unit."""
        return f"a number in {self.unit}" if self.unit else "a number"

    def display(self, value: float) -> float:
        """Return the value in the unit people read, to four significant digits."""
        return significant(value * _SHOWN_FACTORS.get((self.unit, self.shown), 1.0))

    def show(self, value: float) -> str:
        """Return the value in the unit people read, with that unit."""
        text = number_text(self.display(value))
        return f"{text} {self.display_unit}" if self.display_unit else text

    @property
    def display_unit(self) -> str | None:
        """The unit people read it in."""
        return self.shown or self.unit


@dataclass(frozen=True)
class Word(FactType):
    """One word of a closed vocabulary."""

    vocabulary: Vocabulary

    holds = (str,)

    def accept(self, value: object) -> str:
        """Take a word of the vocabulary."""
        if not isinstance(value, str):
            raise ValueError(f"must be {self.describe()}, not {said(value)}")
        if value not in self.vocabulary:
            raise ValueError(self.vocabulary.refusal(value))
        return value

    def describe(self) -> str:
        """Name the type with its vocabulary."""
        return f"a word ({self.vocabulary.name})"

    def display(self, value: str) -> str:
        """Return the word in its human form."""
        return self.vocabulary.shown.get(value, value)


@dataclass(frozen=True)
class Words(FactType):
    """A set, possibly empty, of words of a closed vocabulary."""

    vocabulary: Vocabulary

    holds = (frozenset,)

    def accept(self, value: object) -> frozenset[str]:
        """Take a list or set of words of the vocabulary."""
        if not isinstance(value, list | tuple | set | frozenset):
            raise ValueError(f"must be a list of {self.vocabulary.name} words, not {said(value)}")
        word = Word(self.vocabulary)
        return frozenset(word.accept(each) for each in value)

    def describe(self) -> str:
        """Name the type with its vocabulary."""
        return f"a set of words ({self.vocabulary.name})"

    def display(self, value: frozenset[str]) -> str:
        """Return the words in their human form and the order of the vocabulary."""
        shown = [self.vocabulary.shown.get(word, word) for word in self.vocabulary if word in value]
        return ", ".join(shown) or "none"


@dataclass(frozen=True)
class Flag(FactType):
    """Yes or no."""

    holds = (bool,)

    def accept(self, value: object) -> bool:
        """Take true or false, nothing that merely looks like it."""
        if not isinstance(value, bool):
            raise ValueError(f"must be true or false, not {said(value)}")
        return value

    def describe(self) -> str:
        """Name the type."""
        return "a yes or no"

    def display(self, value: bool) -> str:
        """Return yes or no."""
        return "yes" if value else "no"


@dataclass(frozen=True)
class Text(FactType):
    """Free text, such as a name; rules may print it and compare it for equality."""

    holds = (str,)

    def accept(self, value: object) -> str:
        """Take any text."""
        if not isinstance(value, str):
            raise ValueError(f"must be text, not {said(value)}")
        return value

    def describe(self) -> str:
        """Name the type."""
        return "a text"


def said(value: object) -> str:
    """Return a value of plain data as a message quotes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, int | float):
        return str(value)
    return "a list" if isinstance(value, list | tuple) else f"a {type(value).__name__}"
