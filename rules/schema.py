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

import functools
import operator
import types
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from rules.facttypes import (
    NOT_RECORDED,
    UNKNOWN,
    FactType,
    Flag,
    Maybe,
    NotRecorded,
    Number,
    Text,
    Unknown,
    Vocabulary,
    Word,
    Words,
    did_you_mean,
)

# With these, all that a module of facts needs comes from here.
__all__ = [
    "UNKNOWN",
    "Fact",
    "FactType",
    "Flag",
    "Maybe",
    "NotRecorded",
    "Number",
    "Record",
    "Schema",
    "Text",
    "Unknown",
    "Vocabulary",
    "Word",
    "Words",
    "schema_of",
]


# How a unit ends the name of a field, where that is not the unit in small letters
_NAME_SUFFIXES = {
    "L/h": "lph",
    "degC": "c",
    "%": "percent",
    "deg": "degrees",
}


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
            strange = getattr(_reader(owner)(record), "origins", {}).keys() - names
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
    hints = _hints(record)
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
        read=_reader(path),
        owner=_reader(parent),
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


def _reader(path: str) -> Callable[[Any], Any]:
    return operator.attrgetter(path) if path else lambda record: record


@functools.cache
def _hints(record: Any) -> Mapping[str, Any]:
    return get_type_hints(record, include_extras=True)


def _nameless(_: Any) -> str:
    return ""


def _build(record: Any, prefix: str, values: Mapping[str, object]) -> Any:
    hints = _hints(record)
    arguments: dict[str, object] = {}
    for each in fields(record):
        hint, path = hints[each.name], f"{prefix}{each.name}"
        if each.name == "origins":
            arguments[each.name] = {}
        elif isinstance(hint, type) and issubclass(hint, Record):
            arguments[each.name] = _build(hint, f"{path}.", values)
        else:
            arguments[each.name] = values.get(path, UNKNOWN)
    return record(**arguments)
