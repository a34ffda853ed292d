"""`/v1/materials`: wetted materials and how they stand each test fuel."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal, get_args

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict, Field

from rules.reference import Reference, reference
from rules.reference.rows import FuelColumn, MaterialRow, Resistant
from rules.vocabulary import Material, MaterialFamily
from service.problems import problem_responses
from service.references.shared import Shown, Sourced

router = APIRouter(prefix="/v1/materials", tags=["materials"])


class MaterialFilters(BaseModel):
    """Which materials to list."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    family: MaterialFamily | None = Field(default=None, description="Only this family.")


class MaterialSummary(Sourced):
    """A wetted material."""

    material: Material = Field(description="Its id, as components name it.")
    name: str = Field(description="Its name in the trade.")
    family: MaterialFamily = Field(description="What it is.")
    aliases: tuple[str, ...] = Field(description="What else it is called.")


class MaterialList(Shown):
    """Wetted materials."""

    items: tuple[MaterialSummary, ...] = Field(description="Those that match the filters.")


class Resistance(Sourced):
    """How a material stands one test fuel."""

    fuel: FuelColumn = Field(description="The test fuel.", examples=["E85"])
    rating: Resistant = Field(description="How it stands it.")
    reason: str = Field(description="Why, one clause.")
    condition: str | None = Field(description="On which the rating holds.")
    conflict: str | None = Field(description="Both sides, where sources disagree.")


class GalvanicPartner(Sourced):
    """A metal that corrodes together with this one where conductive fuel wets both."""

    material: Material = Field(description="The other metal.")
    loses: Material = Field(description="Which of the two is eaten.")
    pace: Literal["corrodes", "slow"] = Field(description="How fast.")
    why: str = Field(description="One clause.")


class ListEntry(Sourced):
    """What a published list for ethanol dispensing equipment says of a material."""

    entry: str = Field(description="The entry, as it is listed.")
    listed: Literal["compatible", "not-allowed"] = Field(description="As what.")
    above_ethanol_percent: float = Field(description="For fuels with more ethanol than this.")
    note: str | None = Field(description="What else the list says.")


class MaterialDetails(MaterialSummary):
    """A wetted material with all that the tables hold about it."""

    resistance: tuple[Resistance, ...] = Field(description="Its rating in every test fuel.")
    galvanic: tuple[GalvanicPartner, ...] = Field(description="Metals it should not touch wet.")
    dispensing_list: tuple[ListEntry, ...] = Field(
        description="Entries of the published list for stationary equipment."
    )


@router.get(
    "",
    operation_id="list_materials",
    summary="List the wetted materials",
    responses=problem_responses("invalid-request"),
)
async def list_materials(wanted: Annotated[MaterialFilters, Query()]) -> MaterialList:
    """Every material that a component may name, with what else the trade calls it."""
    return known_materials(wanted.family)


@router.get(
    "/{material}",
    operation_id="read_material",
    summary="Read a wetted material",
    responses=problem_responses("invalid-request"),
)
async def read_material(
    material: Annotated[Material, Path(description="Its id.", examples=["nbr"])],
) -> MaterialDetails:
    """How a material stands each test fuel, on which condition, and where sources disagree."""
    return material_details(material)


def known_materials(family: MaterialFamily | None = None) -> MaterialList:
    """The wetted materials of a family, or all."""
    tables = reference()
    return MaterialList(
        items=tuple(
            _summary(tables, row)
            for row in tables.materials.values()
            if family in (None, row.family)
        )
    )


def material_details(material: Material) -> MaterialDetails:
    """All that the tables hold about a material."""
    tables = reference()
    return MaterialDetails(
        **dict(_summary(tables, tables.material(material))),
        resistance=tuple(_resistance(tables, material)),
        galvanic=tuple(_galvanic(tables, material)),
        dispensing_list=tuple(_listed(tables, material)),
    )


def _summary(tables: Reference, row: MaterialRow) -> MaterialSummary:
    return MaterialSummary(
        material=row.material,
        name=row.name,
        family=row.family,
        aliases=row.aliases,
        sources=tables.cite(row.source),
        confidence=row.confidence,
    )


def _resistance(tables: Reference, material: Material) -> Iterator[Resistance]:
    for column in get_args(FuelColumn):
        row = tables.resistance(material, column)
        yield Resistance(
            fuel=row.column,
            rating=row.rating,
            reason=row.reason,
            condition=row.condition,
            conflict=row.conflict,
            sources=tables.cite(row.source),
            confidence=row.confidence,
        )


def _galvanic(tables: Reference, material: Material) -> Iterator[GalvanicPartner]:
    for pair in tables.galvanic_pairs:
        if material in (pair.a, pair.b):
            yield GalvanicPartner(
                material=pair.b if pair.a == material else pair.a,
                loses=pair.loses,
                pace=pair.pace,
                why=pair.why,
                sources=tables.cite(pair.source),
                confidence=pair.confidence,
            )


def _listed(tables: Reference, material: Material) -> Iterator[ListEntry]:
    for entry in tables.dispensing_list:
        if material in entry.materials:
            yield ListEntry(
                entry=entry.entry,
                listed=entry.listed,
                above_ethanol_percent=entry.above_ethanol_percent,
                note=entry.note,
                sources=tables.cite(entry.source),
                confidence=entry.confidence,
            )
