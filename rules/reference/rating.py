"""How a wetted material stands a fuel, or every blend of a range of fuels.

A blend is rated by the test fuels its band of `fuel_bands.csv` names, the worst of them; a range of
blends by its worst band, since mid blends swell some rubbers more than either end of the range.
Rated *unknown* counts worse than *limited* and better than *unsuitable*: a known refusal stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

from rules.reference.lookup import Reference, reference
from rules.reference.rows import (
    DispensingEntry,
    FuelBand,
    FuelColumn,
    FuelRow,
    ResistanceRow,
    Resistant,
)
from rules.vocabulary import Confidence, Material

_BEST_FIRST: tuple[Resistant, ...] = get_args(Resistant)


@dataclass(frozen=True, slots=True)
class Rating:
    """How a material stands a fuel, at the blend where it stands it worst.

    Attributes:
        material: the material.
        rating: the worst over all blends asked for.
        column: the test fuel whose rating it is.
        blend: the blends it holds for, as text (`10 % ethanol`, `51 to 85 % ethanol`).
        ethanol_percent: the same as numbers, lowest and highest.
        reason: why, one clause.
        condition: on which it holds.
        conflict: both sides, where sources disagree.
        note: what else is known of these blends.
        listed: what the published list of dispensing equipment says of the material.
        sources: titles.
        confidence: how well the rating is known.
    """

    material: Material
    rating: Resistant
    column: FuelColumn
    blend: str
    ethanol_percent: tuple[float, float]
    reason: str
    condition: str | None
    conflict: str | None
    note: str | None
    listed: str | None
    sources: tuple[str, ...]
    confidence: Confidence


def rate(
    material: Material,
    ethanol_low_percent: float,
    ethanol_high_percent: float,
    methanol_percent: float = 0.0,
    tables: Reference | None = None,
) -> Rating:
    """How a material stands every blend from the one ethanol share to the other, by volume.

    Raises:
        ValueError: for shares that are not percents, fall, or exceed 100 together.
    """
    low, high, methanol = ethanol_low_percent, ethanol_high_percent, methanol_percent
    if not 0 <= low <= high <= 100:
        raise ValueError(f"Ethanol from {low:g} to {high:g} % is not a range within 0 to 100.")
    if not 0 <= methanol <= 100 - high:
        raise ValueError(f"Methanol of {methanol:g} % does not fit beside {high:g} % ethanol.")
    tables = tables or reference()
    # Of equally bad blends, those rated in a test fuel of their own come before those between two,
    # and the strongest first.
    bands = sorted(
        tables.fuel_bands, key=lambda band: (len(band.columns), -band.ethanol_to_percent)
    )
    rated = [
        _rated(tables, material, column, band, low, high, methanol)
        for band in bands
        if _touches(band, low, high, methanol)
        for column in band.columns
    ]
    return max(rated, key=_badness)


def rate_fuel(material: Material, fuel: FuelRow, tables: Reference | None = None) -> Rating:
    """How a material stands a fuel of the tables, over its whole range of blends.

    Raises:
        ValueError: for a fuel that is recognised but not judged.
    """
    low, high = fuel.ethanol_low_percent, fuel.ethanol_high_percent
    if not fuel.judged or low is None or high is None or fuel.methanol_percent is None:
        raise ValueError(f"{fuel.fuel} ({fuel.name}) is outside what is judged.")
    tables = tables or reference()
    if not fuel.columns:
        return rate(material, low, high, fuel.methanol_percent, tables)
    rows = [tables.resistance(material, column) for column in fuel.columns]
    worst = max(rows, key=lambda row: _BEST_FIRST.index(row.rating))
    return _rating(tables, worst, fuel.name, (low, high), note=None)


def _touches(band: FuelBand, low: float, high: float, methanol: float) -> bool:
    return _meets(
        band.methanol_above_percent, band.methanol_to_percent, methanol, methanol
    ) and _meets(band.ethanol_above_percent, band.ethanol_to_percent, low, high)


def _meets(above: float, to: float, low: float, high: float) -> bool:
    """Whether some value from low to high is above the one bound and up to the other."""
    return low <= to and (high > above or low == above == 0)


def _rated(
    tables: Reference,
    material: Material,
    column: FuelColumn,
    band: FuelBand,
    low: float,
    high: float,
    methanol: float,
) -> Rating:
    row = tables.resistance(material, column)
    span = max(low, band.ethanol_above_percent), min(high, band.ethanol_to_percent)
    noted = row.rating != "suitable" and tables.material(material).family in band.note_for
    peak = band.peak_ethanol_percent
    if noted and peak is not None and span[0] <= peak <= span[1]:
        span = peak, peak
    note = band.note if noted else None
    return _rating(tables, row, blend_text(span, methanol), span, note)


def _badness(rating: Rating) -> tuple[int, bool]:
    """The order of ratings; of equal ones the one with something to say of its blend."""
    return _BEST_FIRST.index(rating.rating), rating.note is not None


def _rating(
    tables: Reference,
    row: ResistanceRow,
    blend: str,
    span: tuple[float, float],
    note: str | None,
) -> Rating:
    entry = _entry(tables, row.material, span[1])
    disagrees = entry is not None and (
        (entry.listed == "not-allowed" and row.rating == "suitable")
        or (entry.listed == "compatible" and row.rating == "unsuitable")
    )
    listed = _says(tables, entry) if entry else None
    sides = [text for text in (row.conflict, listed if disagrees else None) if text]
    sources = row.source + (entry.source if entry else ())
    return Rating(
        material=row.material,
        rating=row.rating,
        column=row.column,
        blend=blend,
        ethanol_percent=span,
        reason=row.reason,
        condition=row.condition,
        conflict=" ".join(sides) or None,
        note=note,
        listed=listed,
        sources=tables.cite(tuple(dict.fromkeys(sources))),
        confidence=row.confidence,
    )


def _entry(tables: Reference, material: Material, ethanol_percent: float) -> DispensingEntry | None:
    return next(
        (
            entry
            for entry in tables.dispensing_list
            if material in entry.materials and ethanol_percent > entry.above_ethanol_percent
        ),
        None,
    )


def _says(tables: Reference, entry: DispensingEntry) -> str:
    title = tables.cite(entry.source)[0]
    verb = "does not allow" if entry.listed == "not-allowed" else "calls generally compatible"
    return (
        f"{title}, on stationary equipment above {entry.above_ethanol_percent:g} % ethanol, "
        f"{verb}: {entry.entry}."
    )


def blend_text(ethanol_percent: tuple[float, float], methanol_percent: float) -> str:
    """A blend, or a range of them, in words."""
    low, high = ethanol_percent
    parts = []
    if methanol_percent:
        parts.append(f"{methanol_percent:g} % methanol")
    if high:
        ethanol = f"{low:g}" if low == high else f"{low:g} to {high:g}"
        parts.append(f"{ethanol} % ethanol")
    return " and ".join(parts) or "petrol without alcohol"
