"""What a rule may speak about: fact types, records of facts, and the schema read from them.

A record of facts is a frozen, slotted dataclass whose fields are annotated with a fact type, so
that the schema the rules are checked against and the code that fills it are one text:

    @dataclass(frozen=True, slots=True)
    class EndFacts(Record):
        name: Annotated[str, Text(label="port")]
        system: Annotated[Maybe[str], Word(SYSTEMS, label="connection", origin="catalogue")]
        bore_mm: Annotated[Maybe[float], Number("mm", positive=True, origin="catalogue")]

    @dataclass(frozen=True, slots=True)
    class JointFacts(Record):
        a: EndFacts
        b: EndFacts

    schema_of(JointFacts).facts["a.bore_mm"].label      # "bore"

A field may be another record; its facts are then reached by a dotted path. A record may also have
a field `origins: Mapping[str, str]`, which says for single facts where this one value came from
when that differs from the origin declared with the type.
"""

from __future__ import annotations

import difflib
import functools
import math
import operator
import types
from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import (
    Annotated,
    Any,
    ClassVar,
    Literal,
    NoReturn,
    TypeAlias,
    TypeVar,
    Union,
    final,
    get_args,
    get_origin,
    get_type_hints,
)

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

# How a unit ends the name of a field, where that is not the unit in small letters
_NAME_SUFFIXES = {
    "L/h": "lph",
    "degC": "c",
    "%": "percent",
    "deg": "degrees",
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


# Records and their schema ---------------------------------------------------------------------


class Record:
    """Base of every class of facts; see the head of this module."""

    __slots__ = ()


@dataclass(frozen=True)
class Fact:
    """One fact of a schema.

    `path` is dotted from the top record, `label` and `origin` are final, and `maybe` says whether
    the class allows it to be unknown. `read` takes the top record to the value, `owner` to the
    record that holds the fact, and `namer` to the `name` of that record or of the nearest one
    around it that has a name.
    """

    path: str
    type: FactType
    label: str
    origin: str
    maybe: bool
    read: Callable[[Any], Any] = field(repr=False, compare=False)
    owner: Callable[[Any], Any] = field(repr=False, compare=False)
    namer: Callable[[Any], Any] = field(repr=False, compare=False)

    @property
    def name(self) -> str:
        """The fact's name in its own record."""
        return self.path.rpartition(".")[2]

    def origin_in(self, record: Any) -> str:
        """Return where the value in this top record came from."""
        origins: Mapping[str, str] = getattr(self.owner(record), "origins", {})
        return origins.get(self.name, self.origin)

    def owner_name(self, record: Any) -> str:
        """Return the name of what has the fact in this top record."""
        name = self.namer(record)
        return NOT_RECORDED if name is UNKNOWN else str(name)

    def show(self, record: Any) -> str:
        """Return the value in this top record as running text with its unit."""
        value = self.read(record)
        return NOT_RECORDED if value is UNKNOWN else self.type.show(value)


@dataclass(frozen=True)
class Schema:
    """The facts of a record class by dotted path, in the order they are declared."""

    record: type[Record]
    facts: Mapping[str, Fact]

    def build(self, values: Mapping[str, object]) -> Any:
        """Make a record from plain data by dotted path; what is not named, or None, is UNKNOWN.

        Raises `ValueError` naming every path that is no fact and every value that does not suit.
        """
        faults: list[str] = []
        accepted: dict[str, object] = {}
        for path, value in values.items():
            fact = self.facts.get(path)
            if fact is None:
                faults.append(self.refusal(path))
            elif value is not None and value is not UNKNOWN:
                try:
                    accepted[path] = fact.type.accept(value)
                except ValueError as fault:
                    faults.append(f"{path}: {fault}")
        if faults:
            raise ValueError("; ".join(faults))
        return _build(self.record, "", accepted)

    def refusal(self, path: str) -> str:
        """Say that a path is no fact, and which one was probably meant."""
        inside = next((each for each in self.facts if each.startswith(f"{path}.")), None)
        if inside is not None:
            return f'"{path}" is a record; name one of its facts, such as {inside}'
        return f'there is no fact "{path}"{did_you_mean(path, self.facts)}'

    def faults_of(self, record: Record) -> list[str]:
        """Return what is wrong with the values of a record; for tests of code that fills records.

        A number that is not finite, a zero where `positive` is promised, a word outside its
        vocabulary, a value of the wrong type, UNKNOWN where the class does not allow it, an origin
        for a fact that is none.
        """
        faults = []
        for path, fact in self.facts.items():
            value = fact.read(record)
            if value is UNKNOWN:
                if not fact.maybe:
                    faults.append(f"{path}: must be known")
                continue
            try:
                fact.type.accept(value)
            except ValueError as fault:
                faults.append(f"{path}: {fault}")
        for owner, names in self._names_by_owner().items():
            strange = getattr(_at(record, owner), "origins", {}).keys() - names
            where = f"{owner}.origins" if owner else "origins"
            faults += [f'{where}: there is no fact "{name}"' for name in sorted(strange)]
        return faults

    def _names_by_owner(self) -> dict[str, set[str]]:
        names: dict[str, set[str]] = {}
        for fact in self.facts.values():
            names.setdefault(fact.path.rpartition(".")[0], set()).add(fact.name)
        return names


@functools.cache
def schema_of(record: type[Record]) -> Schema:
    """Derive the schema of a record class.

    Raises `TypeError` for a class that is no dataclass of facts: a field without a fact type, or
    one whose Python type is not what its fact type holds.
    """
    return Schema(record, {fact.path: fact for fact in _facts(record, "", _nameless)})


def _facts(record: type[Record], prefix: str, namer: Callable[[Any], Any]) -> Iterator[Fact]:
    if not is_dataclass(record):
        raise TypeError(f"{record.__name__} must be a dataclass")
    hints = get_type_hints(record, include_extras=True)
    if "name" in hints:
        namer = operator.attrgetter(f"{prefix}name")
    for each in fields(record):
        if each.name == "origins":
            continue
        hint, path = hints[each.name], f"{prefix}{each.name}"
        if isinstance(hint, type) and issubclass(hint, Record):
            yield from _facts(hint, f"{path}.", namer)
        else:
            yield _fact(record, each.name, hint, path, namer)


def _fact(
    record: type[Record], name: str, hint: Any, path: str, namer: Callable[[Any], Any]
) -> Fact:
    where = f"{record.__name__}.{name}"
    metadata = get_args(hint)[1:] if get_origin(hint) is Annotated else ()
    found = [each for each in metadata if isinstance(each, FactType)]
    if len(found) != 1:
        raise TypeError(f"{where} must be a record or Annotated with one fact type")
    fact_type = found[0]

    python_type = get_args(hint)[0]
    is_union = get_origin(python_type) in (Union, types.UnionType)
    alternatives = set(get_args(python_type)) if is_union else {python_type}
    maybe = Unknown in alternatives
    for each in alternatives - {Unknown}:
        if not _suits(each, fact_type):
            raise TypeError(f"{where} is declared {fact_type.describe()} but holds {each}")

    parent = path.rpartition(".")[0]
    return Fact(
        path=path,
        type=fact_type,
        label=fact_type.label or _label(name, fact_type),
        origin=fact_type.origin,
        maybe=maybe,
        read=operator.attrgetter(path),
        owner=lambda record: _at(record, parent),
        namer=namer,
    )


def _suits(python_type: Any, fact_type: FactType) -> bool:
    if get_origin(python_type) is Literal:
        return isinstance(fact_type, Word) and set(get_args(python_type)) <= set(
            fact_type.vocabulary
        )
    return (get_origin(python_type) or python_type) in fact_type.holds


def _label(name: str, fact_type: FactType) -> str:
    if isinstance(fact_type, Number) and fact_type.unit:
        plain = fact_type.unit.lower().replace("/", "_")
        name = name.removesuffix(f"_{_NAME_SUFFIXES.get(fact_type.unit, plain)}")
    return name.replace("_", " ")


def _at(record: Any, path: str) -> Any:
    return operator.attrgetter(path)(record) if path else record


def _nameless(_: Any) -> str:
    return ""


def _build(record: type[Record], prefix: str, values: Mapping[str, object]) -> Any:
    hints = get_type_hints(record)
    arguments: dict[str, object] = {}
    for each in fields(record):  # type: ignore[arg-type]
        hint, path = hints[each.name], f"{prefix}{each.name}"
        if each.name == "origins":
            arguments[each.name] = {}
        elif isinstance(hint, type) and issubclass(hint, Record):
            arguments[each.name] = _build(hint, f"{path}.", values)
        else:
            arguments[each.name] = values.get(path, UNKNOWN)
    return record(**arguments)
