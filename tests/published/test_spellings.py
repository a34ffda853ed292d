"""Every spelling of the trade in `spellings.csv`, read and held against what its row means.

The first seven columns are facts gathered from shop data (`stored text`) and from people of the
trade; `read_as`, `means`, `covers` and `open` say by hand what each row asks of our reader:
`means` is the row's meaning in our own words, `covers` the readings it must offer, `open` what a
partial reading must name as unknown.

A slip of typing (`typo`) must be ambiguous with the correction among its readings: a likely
correction is worth offering and never worth making in silence.
"""

import csv
import json
import math
from pathlib import Path

import pytest

from rules.quantities import SPELLINGS, convert
from rules.reading import read

with (Path(__file__).parent / "spellings.csv").open(newline="", encoding="utf-8") as file:
    ROWS = list(csv.DictReader(file))

CERTAINTY = {"no": "certain", "partial": "partial", "yes": "ambiguous", "typo": "ambiguous"}

# Rows whose class we do not share, with ours and the reason.
DISPUTED = {
    "340lph @ 3 bar": (
        "partial",
        "the row beside it, 340 LPH @ 40 PSI, is partial for want of the voltage; so is this",
    ),
    "630 cc/min = 453 g/min": (
        "partial",
        "the density is stated, but the pressure is missing as in 60 lb/hr, which is partial",
    ),
    "3bar": (
        "certain",
        "a pressure is gauge unless its name says absolute, as in 300 kPa and 43psi, both certain",
    ),
    "double flare 3/8": (
        "partial",
        "as its own note says, the nut decides between the 45 degree and the inverted flare",
    ),
}

DIMENSIONS = {name: d for d, spellings in SPELLINGS.items() for name in spellings.values()}


def says(found, wanted) -> bool:
    """Whether a canonical form says at least what is wanted; quantities compare across units."""
    if isinstance(wanted, list):
        return (
            isinstance(found, list)
            and len(found) == len(wanted)
            and all(says(f, w) for f, w in zip(found, wanted, strict=True))
        )
    if not isinstance(wanted, dict):
        return _equal(found, wanted)
    if not isinstance(found, dict):
        return False
    quantity = wanted.get("value") is not None and wanted.get("unit") in DIMENSIONS
    if quantity and not _same_quantity(found, wanted):
        return False
    rest = wanted.keys() - {"value", "unit"} if quantity else wanted.keys()
    return all(key in found and says(found[key], wanted[key]) for key in rest)


def _same_quantity(found: dict, wanted: dict) -> bool:
    unit = found.get("unit")
    if found.get("value") is None or DIMENSIONS.get(unit) != DIMENSIONS[wanted["unit"]]:
        return False
    return math.isclose(
        convert(found["value"], unit, wanted["unit"]), wanted["value"], rel_tol=1e-3
    )


def _equal(found, wanted) -> bool:
    if isinstance(wanted, int | float) and isinstance(found, int | float):
        return math.isclose(found, wanted, rel_tol=1e-3)
    return found == wanted


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['kind']}: {row['raw']}" for row in ROWS])
def test_a_spelling_means_what_its_row_says(row):
    found = read(row["read_as"], row["raw"])

    certainty = DISPUTED[row["raw"]][0] if row["raw"] in DISPUTED else CERTAINTY[row["ambiguous"]]
    assert found.certainty == certainty, found
    if row["means"]:
        assert says(found.canonical, json.loads(row["means"])), found
    if row["canonical"] == "MISSING" or certainty == "ambiguous":
        assert found.canonical is None
    for wanted in json.loads(row["covers"] or "[]"):
        assert any(says(option.canonical, wanted) for option in found.readings), (wanted, found)
    for name in filter(None, row["open"].split(" | ")):
        assert name in found.unknown
    assert (found.question is None) == (certainty == "certain")


def test_every_row_says_what_it_asks_for():
    for row in ROWS:
        asked = row["means"] or row["covers"] or row["canonical"] == "MISSING"
        assert asked, row["raw"]
        if row["ambiguous"] == "partial" and row["raw"] not in DISPUTED:
            assert row["open"], row["raw"]


@pytest.mark.parametrize(
    "row",
    [row for row in ROWS if row["kind"] == "thread" and row["ambiguous"] == "no"],
    ids=lambda row: row["raw"],
)
def test_a_certain_thread_without_a_seal_is_no_certain_connection(row):
    found = read("connection", row["raw"])

    if json.loads(row["means"])["series"] in ("metric", "un"):
        assert found.certainty == "partial"
        assert found.canonical["system"] is None
    else:
        assert found.certainty == "certain"
