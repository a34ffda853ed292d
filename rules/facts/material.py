"""Facts of a material: what fuel touches, rated over every blend the tank may hold."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Annotated

from rules.circuit import Circuit, FuelRange, PlacedItem
from rules.facts.application import AppFacts
from rules.facts.case import Case, Gap, recorded
from rules.facts.part import maker_approves
from rules.facts.words import CONSTRUCTIONS, FAMILIES, KINDS, LINES, MATERIALS, RATINGS
from rules.reference import Rating
from rules.schema import UNKNOWN, Flag, Maybe, Record, Text, Word
from rules.vocabulary import Material

_TABLE = "reference table of materials against fuels"

# Kinds that fuel does not touch; in a reference line there is air.
DRY_KINDS = frozenset({"clamp", "relay", "fuse", "wire", "terminal", "fastener-set", "sealant"})
"""Kinds of part that no fuel touches."""


@dataclass(frozen=True, slots=True)
class MaterialFacts(Record):
    """One wetted place of a part."""

    name: Annotated[str, Text(label="place", origin="catalogue")]
    part: Annotated[str, Text(label="part", origin="request")]
    place: Annotated[str, Text(label="place", origin="catalogue")]
    kind: Annotated[str, Word(KINDS, label="kind of part", origin="catalogue")]
    app: AppFacts
    material: Annotated[Maybe[str], Word(MATERIALS, label="material", origin="catalogue")]
    family: Annotated[Maybe[str], Word(FAMILIES, label="kind of material", origin=_TABLE)]
    rating: Annotated[Maybe[str], Word(RATINGS, label="rating", origin=_TABLE)]
    worst_at: Annotated[Maybe[str], Text(label="worst at", origin=_TABLE)]
    worst_inside_range: Annotated[
        Maybe[bool], Flag(label="worst between the ends of the range", origin=_TABLE)
    ]
    reason: Annotated[str, Text(label="reason", origin=_TABLE)]
    condition: Annotated[str, Text(label="condition", origin=_TABLE)]
    dispute: Annotated[str, Text(label="sources that disagree", origin=_TABLE)]
    approval_stated: Annotated[bool, Flag(label="approved by its maker", origin="catalogue")]
    construction: Annotated[
        Maybe[str], Word(CONSTRUCTIONS, label="hose construction", origin="catalogue")
    ]
    line: Annotated[Maybe[str], Word(LINES, label="line", origin="computed from the joints")]
    in_tank: Annotated[Maybe[bool], Flag(label="inside the tank", origin="computed")]
    origins: Mapping[str, str] = field(default_factory=dict)


def material_cases(circuit: Circuit, app: AppFacts) -> Iterator[Case]:
    """A case for each wetted place and each port seal of each part."""
    for item in circuit.items.values():
        if item.kind in DRY_KINDS or circuit.line_of(item) == "reference":
            continue
        for place, material in _wetted_places(item):
            yield _case(item, place, material, circuit, app)


def _wetted_places(item: PlacedItem) -> Iterator[tuple[str, Material | None]]:
    if item.part.wetted is None:
        yield "wetted parts", None
    else:
        yield from ((wetted.part, wetted.material) for wetted in item.part.wetted)
    for port in item.part.ports:
        seal = port.seal
        # A seal that is not included is another part's material, or missing.
        if seal is not None and seal.included is not False and seal.form in _RUBBER_FORMS:
            yield f"seal of {port.id}", seal.material


_RUBBER_FORMS = frozenset({"o-ring", "bonded-washer", "flat-gasket"})


def _case(
    item: PlacedItem, place: str, material: Material | None, circuit: Circuit, app: AppFacts
) -> Case:
    rating = circuit.fuel.rate(material) if material else None
    known = rating is not None and rating.rating != "unknown"
    where = "catalogue" if item.origin == "catalogue" else item.origin
    name = f"{place} of {item.ref}"
    facts = MaterialFacts(
        name=name,
        part=item.ref,
        place=place,
        kind=item.kind,
        app=app,
        material=recorded(material),
        family=recorded(circuit.reference.material(material).family if material else None),
        rating=rating.rating if rating and known else UNKNOWN,
        worst_at=recorded(rating.blend if rating else None),
        worst_inside_range=UNKNOWN if rating is None else _inside(rating, circuit.fuel),
        reason=_sentence(rating.reason) if rating else "",
        condition=_sentence(rating.condition) if rating else "",
        dispute=f"Sources differ: {_sentence(rating.conflict)}"
        if rating and rating.conflict
        else "",
        approval_stated=maker_approves(item, circuit) is True,
        construction=recorded(getattr(item.part.spec, "construction", None)),
        line=recorded(circuit.line_of(item)),
        in_tank=recorded(circuit.lies_in_tank[item]),
        origins={"material": where},
    )
    return Case(
        about="material",
        kind=item.kind,
        facts=facts,
        refs=(item.ref,),
        ports=(),
        pointer=item.pointer,
        missing=partial(_missing, name, material),
        sources=rating.sources if rating else (),
    )


def _missing(name: str, material: Material | None) -> Mapping[str, tuple[Gap, ...]]:
    what = "material"
    if material is not None:
        named = MATERIALS.shown.get(material, material)
        what = f"grade of {named.removesuffix(' of unstated grade')}"
    return dict.fromkeys(
        ("material", "rating", "family", "worst_at", "worst_inside_range"), (Gap(what, name),)
    )


def _inside(rating: Rating, fuel: FuelRange) -> bool:
    """Whether the worst blend lies between the ends of the range and not at one of them."""
    low, high = rating.ethanol_percent
    return fuel.ethanol_least_percent < low and high < fuel.ethanol_most_percent


_FIRST_LETTER = re.compile(r"(?:^|(?<=\. ))[a-z]")


def _sentence(clause: str | None) -> str:
    """A clause of the tables, or several, as sentences."""
    text = _FIRST_LETTER.sub(lambda found: found[0].upper(), clause or "")
    return f"{text.rstrip('.')}." if text else ""
