"""Pairs of ends whose outcome the thread and fitting standards settle.

`mate_cases.csv` lists 150 pairs; each row names its rule, and the standard or trade practice it
rests on. The pairs are nominal sizes: whether a look-alike starts is arithmetic, not a fit test.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import cast

import pytest

from rules.reference import End, mate, reference
from rules.vocabulary import Gender, System

CASES = list(
    csv.DictReader((Path(__file__).parent / "mate_cases.csv").open(newline="", encoding="utf-8"))
)


def ends(case: dict[str, str]) -> tuple[End, End]:
    a, b = (
        End(
            system=cast(System, case[f"{side}_system"]),
            size=case[f"{side}_size"],
            gender=cast(Gender, case[f"{side}_gender"]),
        )
        for side in "ab"
    )
    return a, b


def test_no_pair_was_dropped() -> None:
    assert [case["case_id"] for case in CASES] == [f"C{number:03}" for number in range(1, 151)]


@pytest.mark.parametrize(
    "case", CASES, ids=[f"{case['case_id']}-{case['rule_id']}-{case['verdict']}" for case in CASES]
)
def test_pair(case: dict[str, str]) -> None:
    a, b = ends(case)
    found = mate(a, b)
    assert (found.verdict, found.rule_id) == (case["verdict"], case["rule_id"]), case["source"]
    assert found.enters == "a"
    assert "; ".join(found.sources) == case["source"]


@pytest.mark.parametrize("case", CASES, ids=[case["case_id"] for case in CASES])
def test_dimensions_of_pair(case: dict[str, str]) -> None:
    a, b = (
        reference().thread(cast(System, case[f"{side}_system"]), case[f"{side}_size"])
        for side in "ab"
    )
    assert a is not None
    assert b is not None
    assert a.major_mm - b.major_mm == pytest.approx(float(case["d_major_mm"]), abs=0.0015)
    assert a.pitch_mm - b.pitch_mm == pytest.approx(float(case["d_pitch_mm"]), abs=0.0006)


@pytest.mark.parametrize(
    "case",
    [case for case in CASES if case["note"].startswith("O-ring AS568")],
    ids=lambda case: case["case_id"],
)
def test_o_ring_of_a_boss(case: dict[str, str]) -> None:
    """SAE J1926-1: the O-ring of size -n is AS568-9nn."""
    (need,) = mate(*ends(case)).needs
    assert need.parts == ("o-ring",)
    assert f"O-ring {need.size}" == case["note"]


@pytest.mark.parametrize(
    "case",
    [case for case in CASES if case["note"] == "2 washers"],
    ids=lambda case: case["case_id"],
)
def test_washers_of_a_banjo(case: dict[str, str]) -> None:
    """Trade practice: one new crush washer on each side of the ring."""
    (need,) = mate(*ends(case)).needs
    assert need.parts == ("crush-washer",)
    assert need.count == 2


# 33 CFR 183.558, table 8: the bore of the hose may exceed the spud by 0.020 in below 3/8 in (read)
# and 0.035 in from 3/8 to 1 in (from memory). The trade keeps to 0.1 mm at injection pressure and
# to about 0.5 mm of stretch (common practice, no source).
HOSE_ON_BARB = [
    ("1/4", 6.0, "seals-with"),
    ("1/4", 6.5, "conditional"),
    ("1/4", 7.94, "no-fit"),
    ("5/16", 7.5, "seals-with"),
    ("5/16", 8.0, "seals-with"),
    ("5/16", 9.53, "no-fit"),
    ("3/8", 9.0, "seals-with"),
    ("3/8", 10.0, "conditional"),
    ("3/8", 8.0, "no-fit"),
    ("1/2", 12.0, "conditional"),
    ("1/2", 13.0, "conditional"),
    ("5/8", 16.0, "conditional"),
    ("3/4", 19.0, "seals-with"),
]


@pytest.mark.parametrize(("barb", "bore_mm", "verdict"), HOSE_ON_BARB)
def test_hose_on_barb(barb: str, bore_mm: float, verdict: str) -> None:
    found = mate(
        End("barb", barb, "male", barb_style="multi"),
        End("hose-end", None, "female", construction="rubber-clamped", bore_mm=bore_mm),
    )
    assert found.verdict == verdict


# SAE J2044 end forms; the millimetre figures and the 0.05 mm are from memory.
QUICK_CONNECTS = [
    ("5/16", 7.89, "seals"),
    ("3/8", 9.49, "seals"),
    ("3/8", 9.89, "no-fit"),
    ("5/16", 9.49, "no-fit"),
    ("1/2", 11.8, "no-fit"),
    ("1/2", 12.61, "seals"),
]


@pytest.mark.parametrize(("name", "connector_mm", "verdict"), QUICK_CONNECTS)
def test_quick_connect_by_diameter(name: str, connector_mm: float, verdict: str) -> None:
    found = mate(
        End("quick-connect", name, "male"),
        End("quick-connect", None, "female", diameter_mm=connector_mm),
    )
    assert found.verdict == verdict


def test_quick_connect_millimetre_name_is_not_a_diameter() -> None:
    """`8 mm` names the 7.89 mm form and the 8 mm tube behind it (common practice, no source)."""
    found = mate(End("quick-connect", "5/16", "male"), End("quick-connect", "8 mm", "female"))
    assert found.verdict == "unknown"
    assert found.missing == ("b.diameter_mm",)
    assert found.could_seal


def test_plain_tube_in_a_quick_connect() -> None:
    """SAE J2044: without a bead the latch has nothing to hold."""
    found = mate(
        End("plain-tube", None, "male", diameter_mm=7.94),
        End("quick-connect", "5/16", "female"),
    )
    assert (found.verdict, found.reason) == ("no-fit", "bead")


# US Army TM 1-1500-204-23-2 and NAVEDTRA 14018: hose ends fit one construction.
HOSE_ENDS = [
    ("ptfe-smooth-bore", "ptfe-smooth-bore", "seals", "matched"),
    ("rubber-wire-braid", "ptfe-smooth-bore", "no-fit", "construction"),
    ("ptfe-smooth-bore", "rubber-wire-braid", "no-fit", "construction"),
    ("rubber-wire-braid", "rubber-wire-braid", "seals", "matched"),
]


@pytest.mark.parametrize(("made_for", "hose", "verdict", "reason"), HOSE_ENDS)
def test_hose_end_by_construction(made_for: str, hose: str, verdict: str, reason: str) -> None:
    found = mate(
        End("hose-end", "-6", "male", construction=made_for),  # type: ignore[arg-type]
        End("hose-end", "-6", "female", construction=hose),  # type: ignore[arg-type]
    )
    assert (found.verdict, found.reason) == (verdict, reason)


def test_ptfe_hose_on_a_barb() -> None:
    """US Army TM 1-1500-204-23-2: PTFE hose takes its own ends, whatever its bore."""
    found = mate(
        End("barb", "3/8", "male"),
        End("hose-end", "-6", "female", construction="ptfe-smooth-bore"),
    )
    assert (found.verdict, found.rule_id) == ("no-fit", "M48")


def test_flared_tube_needs_its_sleeve_and_its_angle() -> None:
    """SAE J514: a 37 degree flare under nut and sleeve; a 45 degree flare cracks on the cone."""
    fitting = End("flare-37", "-6", "male")
    right = mate(fitting, End("flare-37", "-6", "female", tube_flare_deg=37))
    wrong = mate(fitting, End("flare-37", "-6", "female", tube_flare_deg=45))
    assert [need.parts for need in right.needs] == [("flare-sleeve",)]
    assert (wrong.verdict, wrong.reason) == ("threads-no-seal", "seat")


# US Army TM 5-3895-382-24 and trade practice: a sleeve grips a plain round tube of its diameter.
@pytest.mark.parametrize(
    ("tube", "fitting", "verdict", "reason"),
    [
        (End("plain-tube", "3/8", "male"), "3/8", "seals-with", "matched"),
        (End("plain-tube", "3/8", "male"), "10 mm", "no-fit", "diameter"),
        (End("plain-tube", "3/8", "male", tube_flare_deg=45), "3/8", "no-fit", "form"),
        (End("beaded-tube", "3/8", "male"), "3/8", "no-fit", "bead"),
    ],
)
def test_compression(tube: End, fitting: str, verdict: str, reason: str) -> None:
    found = mate(tube, End("compression", fitting, "female"))
    assert (found.verdict, found.reason) == (verdict, reason)


def test_taper_in_an_aluminium_boss_seals_and_is_judged_apart() -> None:
    """Trade practice on ASME B1.20.1 threads: a wedge load on a boss that may split."""
    found = mate(End("npt", "1/8", "male"), End("npt", "1/8", "female", boss_material="aluminium"))
    assert (found.verdict, found.rule_id) == ("seals-with", "M18")
    row = reference().mates["M55"]
    assert (row.verdict, row.decides) == ("conditional", False)
