"""Facts of a material: what fuel touches, rated over every blend the tank may hold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Annotated

from rules.circuit import Circuit, PlacedItem
from rules.facts.application import AppFacts
from rules.facts.case import Case, Gap, recorded
from rules.facts.part import lies_in_tank, maker_approves
from rules.facts.words import FAMILIES, KINDS, LINES, MATERIALS, RATINGS
from rules.schema import UNKNOWN, Flag, Maybe, Record, Text, Word

_TABLE = "reference table of materials against fuels"

# Kinds that fuel does not touch.
_DRY_KINDS = frozenset({"clamp", "relay", "fuse", "wire", "terminal", "fastener-set", "sealant"})


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
    line: Annotated[Maybe[str], Word(LINES, label="line", origin="computed from the joints")]
    in_tank: Annotated[Maybe[bool], Flag(label="inside the tank", origin="computed")]
    origins: Mapping[str, str] = field(default_factory=dict)


def material_cases(circuit: Circuit, app: AppFacts) -> Iterator[Case]:
    """A case for each wetted place and each port seal of each part."""
    for item in circuit.items.values():
        if item.kind in _DRY_KINDS:
            continue
        for place, material in _wetted_places(item):
            yield _case(item, place, material, circuit, app)


def _wetted_places(item: PlacedItem) -> Iterator[tuple[str, str | None]]:
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
    item: PlacedItem, place: str, material: str | None, circuit: Circuit, app: AppFacts
) -> Case:
    fuel = circuit.fuel
    rating = material and circuit.reference.rate(
        material,
        fuel.ethanol_least_percent,
        fuel.ethanol_most_percent,
        fuel.methanol_percent,
    )
    known = bool(rating) and rating.rating != "unknown"
    where = "catalogue" if item.origin == "catalogue" else item.origin
    name = f"{place} of {item.ref}"
    facts = MaterialFacts(
        name=name,
        part=item.ref,
        place=place,
        kind=item.kind,
        app=app,
        material=recorded(material),
        family=recorded(circuit.reference.family(material) if material else None),
        rating=rating.rating if rating and known else UNKNOWN,
        worst_at=recorded(rating.worst_at if rating else None),
        worst_inside_range=(rating.inside_range if rating else UNKNOWN),
        reason=rating.reason if rating else "",
        condition=(rating.condition or "") if rating else "",
        dispute=(rating.conflict or "") if rating else "",
        approval_stated=maker_approves(item, circuit) is True,
        line=recorded(circuit.line_of(item)),
        in_tank=lies_in_tank(item, circuit),
        origins={"material": where},
    )
    asked = (
        (Gap("material", name),)
        if material is None
        else (Gap(f"grade of {MATERIALS.shown.get(material, material)}", name),)
    )
    return Case(
        about="material",
        kind=item.kind,
        facts=facts,
        refs=(item.ref,),
        ports=(),
        pointer=item.pointer,
        missing={"material": asked, "rating": asked, "family": asked, "worst_inside_range": asked},
    )
