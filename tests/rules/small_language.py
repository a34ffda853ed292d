"""A small language of joints and parts for the tests of the rule language and the engine."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

from rules.language import Language, Predicate, SubjectType
from rules.schema import (
    UNKNOWN,
    Flag,
    Maybe,
    Number,
    Record,
    Schema,
    Text,
    Unknown,
    Vocabulary,
    Word,
    Words,
    schema_of,
)

SYSTEMS = Vocabulary(
    "connection system",
    ("flare-37", "flare-45", "orb", "npt", "barb"),
    {"flare-37": "37 degree flare", "orb": "O-ring boss"},
)
MATERIALS = Vocabulary("material", ("nbr", "fkm-a", "brass", "aluminium", "zinc-die-cast"))
MATINGS = Vocabulary("mating", ("seals-with", "threads-no-seal", "never"))
MARKINGS = Vocabulary("marking", ("SAE J30 R9", "SAE J30 R10"))
KINDS = Vocabulary("kind of part", ("hose-assembly", "adapter", "pump"))


@dataclass(frozen=True, slots=True)
class EndFacts(Record):
    name: Annotated[str, Text(label="port")]
    system: Annotated[Maybe[str], Word(SYSTEMS, label="connection", origin="catalogue")]
    bore_mm: Annotated[Maybe[float], Number("mm", positive=True, origin="catalogue")]
    swivel: Annotated[Maybe[bool], Flag(origin="catalogue")]
    material: Annotated[Maybe[str], Word(MATERIALS, origin="catalogue")]
    origins: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class JointFacts(Record):
    name: Annotated[str, Text(label="joint")]
    a: EndFacts
    b: EndFacts
    mating: Annotated[Maybe[str], Word(MATINGS, origin="reference table, SAE J514")]
    pressure_kpa: Annotated[Maybe[float], Number("kPa", shown="bar", origin="computed")]


@dataclass(frozen=True, slots=True)
class PartFacts(Record):
    name: Annotated[str, Text(label="part")]
    quantity: Annotated[int, Number(origin="request", positive=True)]
    material: Annotated[Maybe[str], Word(MATERIALS, origin="catalogue")]
    markings: Annotated[Maybe[frozenset[str]], Words(MARKINGS, origin="catalogue")]
    wall_mm: Annotated[Maybe[float], Number("mm", origin="catalogue")]
    length_m: Annotated[Maybe[float], Number("m", origin="request", positive=True)]
    working_pressure_kpa: Annotated[
        Maybe[float], Number("kPa", shown="bar", origin="catalogue", positive=True)
    ]
    pressure_bar: Annotated[Maybe[float], Number("bar", origin="computed")]
    pressure_kpa: Annotated[Maybe[float], Number("kPa", shown="bar", origin="computed")]
    ethanol_fraction: Annotated[Maybe[float], Number(shown="%", origin="request")]
    submerged: Annotated[Maybe[bool], Flag(origin="request")]


def seals(one: str, other: str) -> bool | Unknown:
    """Two ends of the same system seal; nobody knows about two barbs."""
    if one == other == "barb":
        return UNKNOWN
    return one == other


def swelling(material: str, ethanol_fraction: float) -> float | Unknown:
    """Only rubbers swell, and of fluorocarbon rubber nothing is recorded."""
    if material == "fkm-a":
        return UNKNOWN
    return ethanol_fraction * 0.4 if material == "nbr" else 0.0


def either(one: bool | Unknown, other: bool | Unknown) -> bool | Unknown:
    """Tell what `or` tells, from flags that may be unknown."""
    if one is True or other is True:
        return True
    return UNKNOWN if isinstance(one, Unknown) or isinstance(other, Unknown) else False


PREDICATES = (
    Predicate("seals", (Word(SYSTEMS), Word(SYSTEMS)), Flag(), seals, label="the mating table"),
    Predicate("swelling", (Word(MATERIALS), Number()), Number(), swelling),
    Predicate("either", (Flag(), Flag()), Flag(), either, takes_unknown=True),
    Predicate("wide", (Number("mm"),), Flag(), lambda bore_mm: bore_mm > 6),
    Predicate("approved", (Words(MARKINGS),), Flag(), lambda markings: "SAE J30 R9" in markings),
    Predicate("named", (Text(),), Flag(), bool),
)

JOINT: Schema = schema_of(JointFacts)
PART: Schema = schema_of(PartFacts)

LANGUAGE = Language(
    subjects={"joint": SubjectType(JOINT), "part": SubjectType(PART, KINDS)},
    predicates=PREDICATES,
    finders=frozenset({"adapter-between", "same-in-other-material"}),
)
