"""`/v1/fuels`: what a fuel holds, its properties, and how every material stands it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Final

from fastapi import APIRouter, Path
from pydantic import Field

from rules.fuel import Blend, OutsideDataError, Quantity
from rules.reference import Rating, Reference, rate_fuel, reference
from rules.reference.rows import FuelColumn, FuelRow, Resistant
from rules.vocabulary import Material
from service.problems import problem_responses
from service.references.shared import PropertyValue, Shown, Sourced, not_known

router = APIRouter(prefix="/v1/fuels", tags=["fuels"])

PROPERTIES_AT_C: Final = 20.0


class EthanolContent(Shown):
    """Ethanol by volume, over the whole range that the name covers."""

    least_percent: float = Field(description="The least that is sold under the name.")
    nominal_percent: float = Field(description="What the name stands for.")
    most_percent: float = Field(description="The most that is sold under the name.")


class FuelSummary(Sourced):
    """A fuel."""

    fuel: str = Field(description="Its id, as applications name it.", examples=["E85"])
    name: str = Field(description="What it is.")
    ethanol: EthanolContent | None = Field(
        description="Its ethanol; `null` for fuels that are recognised but not judged."
    )
    methanol_percent: float | None = Field(description="Methanol by volume.")
    judged: bool = Field(description="Whether the service judges assemblies for it.")
    season: str | None = Field(description="How it changes, or why it is not judged.")


class FuelList(Shown):
    """Fuels."""

    items: tuple[FuelSummary, ...] = Field(description="Every fuel that the tables know.")


class MaterialRating(Sourced):
    """How a material stands a fuel, at the blend where it stands it worst."""

    material: Material = Field(description="The material.")
    rating: Resistant = Field(description="How it stands it.")
    column: FuelColumn = Field(description="The test fuel whose rating it is.")
    blend: str = Field(description="The blends it holds for.")
    reason: str = Field(description="Why, one clause.")
    condition: str | None = Field(description="On which the rating holds.")
    conflict: str | None = Field(description="Both sides, where sources disagree.")
    note: str | None = Field(description="What else is known of these blends.")


class FuelProperties(Shown):
    """Properties at the nominal content and 20 degC; `null` where there are no data."""

    density: PropertyValue | None = Field(description="Density of the liquid.")
    dynamic_viscosity: PropertyValue | None = Field(description="Dynamic viscosity.")
    lower_heating_value: PropertyValue | None = Field(description="Lower heating value.")
    stoichiometric_ratio: PropertyValue | None = Field(
        description="Mass of air to mass of fuel at lambda 1."
    )
    latent_heat: PropertyValue | None = Field(description="Heat of vaporisation.")
    vapour_pressure: PropertyValue | None = Field(
        description="True vapour pressure, absolute, of a summer grade."
    )


class FuelDetails(FuelSummary):
    """A fuel with its properties and how every material stands it."""

    properties: FuelProperties | None = Field(
        description="`null` for fuels whose recipe is more than petrol and alcohol."
    )
    materials: tuple[MaterialRating, ...] = Field(
        description="Every material, rated over the whole range; empty if the fuel is not judged."
    )


@router.get("", operation_id="list_fuels", summary="List the fuels")
async def list_fuels() -> FuelList:
    """Every fuel by id; anything between is given as a blend by its alcohol content."""
    return known_fuels()


@router.get(
    "/{fuel}",
    operation_id="read_fuel",
    summary="Read a fuel",
    responses=problem_responses("invalid-request", "not-found"),
)
async def read_fuel(
    fuel: Annotated[str, Path(max_length=40, description="Its id.", examples=["E85"])],
) -> FuelDetails:
    """A fuel's content and properties with their uncertainty, and how every material stands it."""
    return fuel_details(fuel)


def known_fuels() -> FuelList:
    """The fuels of the tables."""
    tables = reference()
    return FuelList(items=tuple(_summary(tables, row) for row in tables.fuels.values()))


def fuel_details(fuel: str) -> FuelDetails:
    """All that is known of a fuel.

    Raises:
        Problem: the tables hold no such fuel.
    """
    tables = reference()
    row = tables.fuel(fuel)
    if row is None:
        raise not_known("fuel", fuel, tables.fuels)
    ratings = (rate_fuel(material, row, tables) for material in tables.materials)
    return FuelDetails(
        **dict(_summary(tables, row)),
        properties=_properties(row),
        materials=tuple(map(_rating, ratings)) if row.judged else (),
    )


def _summary(tables: Reference, row: FuelRow) -> FuelSummary:
    return FuelSummary(
        fuel=row.fuel,
        name=row.name,
        ethanol=_ethanol(row),
        methanol_percent=row.methanol_percent,
        judged=row.judged,
        season=row.season,
        sources=tables.cite(row.source),
        confidence=row.confidence,
    )


def _ethanol(row: FuelRow) -> EthanolContent | None:
    least, nominal = row.ethanol_low_percent, row.ethanol_nominal_percent
    most = row.ethanol_high_percent
    if least is None or nominal is None or most is None:
        return None
    return EthanolContent(least_percent=least, nominal_percent=nominal, most_percent=most)


def _rating(found: Rating) -> MaterialRating:
    return MaterialRating(
        material=found.material,
        rating=found.rating,
        column=found.column,
        blend=found.blend,
        reason=found.reason,
        condition=found.condition,
        conflict=found.conflict,
        note=found.note,
        sources=found.sources,
        confidence=found.confidence,
    )


def _properties(row: FuelRow) -> FuelProperties | None:
    if row.columns or row.ethanol_nominal_percent is None or row.methanol_percent is None:
        return None
    blend = Blend(row.ethanol_nominal_percent, row.methanol_percent)
    return FuelProperties.model_validate(dict(_property_values(blend)))


def _property_values(blend: Blend) -> Iterator[tuple[Quantity, PropertyValue | None]]:
    yield "density", _value(blend, "density", blend.density_kg_m3(PROPERTIES_AT_C), "kg/m3")
    viscosity = blend.dynamic_viscosity_mpas(PROPERTIES_AT_C)
    yield "dynamic_viscosity", _value(blend, "dynamic_viscosity", viscosity, "mPa s")
    heating = blend.lower_heating_value_mj_kg
    yield "lower_heating_value", _value(blend, "lower_heating_value", heating, "MJ/kg")
    ratio = blend.stoichiometric_ratio
    yield "stoichiometric_ratio", _value(blend, "stoichiometric_ratio", ratio, "1")
    yield "latent_heat", _value(blend, "latent_heat", blend.latent_heat_kj_kg, "kJ/kg")
    yield "vapour_pressure", _vapour_pressure(blend)


def _vapour_pressure(blend: Blend) -> PropertyValue | None:
    try:
        pressure = blend.vapour_pressure_kpa_absolute(PROPERTIES_AT_C)
    except OutsideDataError:
        return None
    return _value(blend, "vapour_pressure", pressure, "kPa")


def _value(blend: Blend, quantity: Quantity, value: float, unit: str) -> PropertyValue:
    uncertainty = blend.uncertainty(quantity)
    least, most = uncertainty.bounds(value)
    return PropertyValue(
        value=_four_digits(value),
        unit=unit,
        least=_four_digits(least),
        most=_four_digits(most),
        basis=uncertainty.basis,
    )


def _four_digits(value: float) -> float:
    return float(f"{value:.4g}")
