"""Which wetted materials stand a fuel, for the search by fuel."""

from __future__ import annotations

from rules.parts import near_fuels
from rules.reference import rate_fuel, reference
from service.problems import Fault, Problem, invalid


def suited_materials(fuel_id: str) -> frozenset[str]:
    """The materials that are rated for a fuel of the reference tables, none as unsuitable.

    Raises:
        Problem: 422, the tables do not hold the fuel, or do not judge it.
    """
    tables = reference()
    fuel = tables.fuel(fuel_id)
    if fuel is None:
        near = near_fuels(fuel_id, tables.fuels)
        listed = ", ".join(f"`{each}`" for each in near or tables.fuels)
        raise _refused(fuel_id, f"There is no fuel `{fuel_id}`.", f"a fuel's id, such as {listed}")
    if not fuel.judged:
        judged = ", ".join(f"`{each.fuel}`" for each in tables.fuels.values() if each.judged)
        raise _refused(fuel_id, f"{fuel.name.capitalize()} is not judged here.", judged)
    rated = {material: rate_fuel(material, fuel, tables).rating for material in tables.materials}
    return frozenset(material for material, how in rated.items() if how in ("suitable", "limited"))


def _refused(fuel_id: str, detail: str, expected: str) -> Problem:
    return invalid([Fault("/fuel", fuel_id, detail, expected, "fuel", "query")])
