"""Thread and hose dimensions against the figures of the published standards.

Figures are typed from the standards' tables as handbooks print them (from memory unless a comment
says that a page was read) and are independent of the tables under test.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from rules.reference import reference
from rules.vocabulary import System

TABLES = reference()
INCH = 25.4


def test_size_six_of_the_37_degree_flare() -> None:
    """SAE J514: 9/16-18. Some tables on the web give 5/8-18, which is the 45 degree size 6."""
    thread = TABLES.thread("flare-37", "-6")
    assert thread is not None
    assert thread.designation == "9/16-18"
    assert thread.major_mm == pytest.approx(14.288, abs=0.0005)
    assert thread.pitch_mm == pytest.approx(1.411, abs=0.0005)
    assert thread.seat_deg == 37


# SAE J514 (ISO 8434-2) and SAE J1926-1 (ISO 11926-1) share one list of threads.
FLARE_37_AND_BOSS = {
    "-2": "5/16-24",
    "-3": "3/8-24",
    "-4": "7/16-20",
    "-5": "1/2-20",
    "-6": "9/16-18",
    "-8": "3/4-16",
    "-10": "7/8-14",
    "-12": "1 1/16-12",
    "-14": "1 3/16-12",
    "-16": "1 5/16-12",
    "-20": "1 5/8-12",
}

# SAE J512, from memory.
FLARE_45 = {
    "-2": "5/16-24",
    "-3": "3/8-24",
    "-4": "7/16-20",
    "-5": "1/2-20",
    "-6": "5/8-18",
    "-7": "11/16-16",
    "-8": "3/4-16",
    "-10": "7/8-14",
    "-12": "1 1/16-14",
    "-14": "1 1/4-12",
    "-16": "1 3/8-12",
}


@pytest.mark.parametrize(
    ("system", "published"),
    [("flare-37", FLARE_37_AND_BOSS), ("orb", FLARE_37_AND_BOSS), ("flare-45", FLARE_45)],
)
def test_threads_of_dash_sizes(system: System, published: dict[str, str]) -> None:
    found = {size: TABLES.thread(system, size) for size in TABLES.sizes(system)}
    assert {size: thread and thread.designation for size, thread in found.items()} == published


def test_sizes_in_which_both_flares_share_a_thread() -> None:
    """SAE J512 and J514: the same thread at six sizes, never the same seat."""
    shared = {
        size
        for size in FLARE_37_AND_BOSS
        if TABLES.same_thread(("flare-37", size), ("flare-45", size))
    }
    assert shared == {"-2", "-3", "-4", "-5", "-8", "-10"}


@pytest.mark.parametrize("size", FLARE_37_AND_BOSS)
def test_o_ring_of_a_boss(size: str) -> None:
    """SAE J1926-1 and AS568: the O-ring of dash n is AS568-9nn."""
    thread = TABLES.thread("orb", size)
    assert thread is not None
    assert thread.seal_part == f"AS568-9{int(size[1:]):02}"


INCH_THREADS = sorted(
    {
        (thread.designation, thread.major_mm, thread.pitch_mm)
        for system in ("flare-37", "flare-45", "inverted-flare", "orb", "orfs", "banjo")
        for thread in TABLES.threads_of(system)
        if thread.tpi is not None
    }
)


@pytest.mark.parametrize(("designation", "major_mm", "pitch_mm"), INCH_THREADS)
def test_inch_threads_are_their_designation(
    designation: str, major_mm: float, pitch_mm: float
) -> None:
    """ASME B1.1: the designation states the basic major diameter and the threads an inch."""
    diameter, tpi = designation.rsplit("-", 1)
    inches = float(sum(Fraction(part) for part in diameter.split()))
    assert major_mm == pytest.approx(inches * INCH, abs=0.001)
    assert pitch_mm == pytest.approx(INCH / int(tpi), abs=0.0001)


# ASME B1.20.1, table of basic dimensions (page read): outside diameter of pipe, threads an inch.
NPT = {
    "1/16": (0.3125, 27),
    "1/8": (0.405, 27),
    "1/4": (0.540, 18),
    "3/8": (0.675, 18),
    "1/2": (0.840, 14),
    "3/4": (1.050, 14),
    "1": (1.315, 11.5),
}


@pytest.mark.parametrize("system", ["npt", "nptf"])
@pytest.mark.parametrize(("size", "published"), NPT.items())
def test_american_taper_pipe(system: System, size: str, published: tuple[float, float]) -> None:
    thread = TABLES.thread(system, size)
    assert thread is not None
    inches, tpi = published
    assert thread.major_mm == pytest.approx(inches * INCH, abs=0.001)
    assert thread.pitch_mm == pytest.approx(INCH / tpi, abs=0.0001)
    assert (thread.flank_deg, thread.taper) == (60, True)


# ISO 228-1 and ISO 7-1 (page read): major diameter at the gauge plane in mm, threads an inch.
BSP = {
    "1/16": (7.723, 28),
    "1/8": (9.728, 28),
    "1/4": (13.157, 19),
    "3/8": (16.662, 19),
    "1/2": (20.955, 14),
    "5/8": (22.911, 14),
    "3/4": (26.441, 14),
    "1": (33.249, 11),
}


@pytest.mark.parametrize("system", ["bspp", "bspt"])
def test_british_pipe(system: System) -> None:
    for thread in TABLES.threads_of(system):
        major_mm, tpi = BSP[thread.size]
        assert thread.major_mm == major_mm
        assert thread.pitch_mm == pytest.approx(INCH / tpi, abs=0.0006)
        assert (thread.flank_deg, thread.taper) == (55, system == "bspt")
    # ISO 7-1 has no size 5/8; ISO 228-1 has.
    assert set(TABLES.sizes(system)) == set(BSP) - ({"5/8"} if system == "bspt" else set())


@pytest.mark.parametrize("system", ["iso-6149", "metric-flat", "bubble-flare", "banjo"])
def test_metric_threads_are_their_designation(system: System) -> None:
    """ISO 261: the designation states diameter and pitch."""
    metric = [thread for thread in TABLES.threads_of(system) if thread.size.startswith("M")]
    assert metric
    for thread in metric:
        diameter, pitch = thread.size[1:].split("x")
        assert (thread.major_mm, thread.pitch_mm) == (float(diameter), float(pitch))


def test_one_thread_of_four_standards() -> None:
    """9/16-18 is flare and boss -6, a banjo bolt and the O-ring face seal -4 (SAE J1453)."""
    found = {(thread.system, thread.size) for thread in TABLES.threads_designated("9/16-18")}
    assert found == {("flare-37", "-6"), ("orb", "-6"), ("banjo", "9/16-18"), ("orfs", "-4")}


def test_look_alike_of_m14_and_nine_sixteenths() -> None:
    """Arithmetic on ISO 261 and ASME B1.1: 0.29 mm and 6 % of pitch apart."""
    pair = TABLES.lookalike("9/16-18", "M14x1.5")
    assert pair is not None
    assert pair.smaller == "M14x1.5"
    assert pair.major_step_mm == pytest.approx(9 / 16 * INCH - 14, abs=0.001)
    assert pair.when_smaller_enters == "starts-then-jams"


# FAA AC 43.13-1B, table 9-3, MIL-H-8794 (page read): bore in, working psi, bend radius in.
MIL_H_8794 = {
    "-3": (1 / 8, 3000, 3.0),
    "-4": (3 / 16, 3000, 3.0),
    "-5": (1 / 4, 3000, 3.38),
    "-6": (5 / 16, 2000, 4.0),
    "-8": (13 / 32, 2000, 4.63),
    "-10": (1 / 2, 1750, 5.5),
    "-12": (5 / 8, 1750, 6.5),
    "-16": (7 / 8, 800, 7.38),
    "-20": (9 / 8, 600, 9.0),
}
PSI_KPA = 6.894757


@pytest.mark.parametrize(("dash", "published"), MIL_H_8794.items())
def test_aircraft_hose(dash: str, published: tuple[float, float, float]) -> None:
    hoses = TABLES.hose_bore("rubber-wire-braid", dash)
    (hose,) = (row for row in hoses if row.standard == "MIL-H-8794")
    bore_in, pressure_psi, bend_in = published
    assert hose.bore_mm == pytest.approx(bore_in * INCH, abs=0.006)
    assert hose.max_working_kpa == pytest.approx(pressure_psi * PSI_KPA, abs=1)
    assert hose.min_bend_mm == pytest.approx(bend_in * INCH, abs=0.6)
    assert hose.bore_confidence == "confirmed-by-page"


@pytest.mark.parametrize(
    ("construction", "standard"),
    [("rubber-wire-braid", "SAE J517 100R5"), ("ptfe-smooth-bore", "SAE J517 100R14")],
)
def test_dash_is_not_the_bore(construction: str, standard: str) -> None:
    """SAE J517: size 6 of 100R5 and 100R14 is 5/16 in, a sixth under the tube it replaces."""
    hoses = TABLES.hose_bore(construction, "-6")  # type: ignore[arg-type]
    (hose,) = (row for row in hoses if row.standard == standard)
    assert hose.bore_mm == pytest.approx(5 / 16 * INCH, abs=0.006)


def test_known_bores_of_one_dash_differ() -> None:
    """From 5/16 in (100R14) to 10 mm (a range sized by bore): ask the part."""
    assert TABLES.bore_bracket_mm("-6") == (7.94, 10.0)
    assert TABLES.bore_bracket_mm("-6", "rubber-wire-braid") == (7.94, 8.73)
    assert TABLES.bore_bracket_mm("-40") is None


@pytest.mark.parametrize("tube", TABLES.tube_bores, ids=lambda t: f"{t.tube_od_in}x{t.wall_mm:g}")
def test_tube_bore_is_outside_less_two_walls(tube: object) -> None:
    od_mm, wall_mm, bore_mm = (getattr(tube, name) for name in ("od_mm", "wall_mm", "bore_mm"))
    assert bore_mm == pytest.approx(od_mm - 2 * wall_mm, abs=0.011)


# US Army TM 55-1520-240-23-1, paragraph 1-13 (page read), inch-pounds on 37 degree nuts.
FLARE_TORQUE = [
    ("-6", "aluminium-tube", 100, 125),
    ("-6", "steel-tube", 270, 300),
    ("-6", "hose", 210, 250),
    ("-8", "aluminium-tube", 210, 250),
    ("-8", "hose", 340, 420),
]
INCH_POUND_NM = 0.1129848


@pytest.mark.parametrize(("size", "case", "low", "high"), FLARE_TORQUE)
def test_torque_of_flare_nuts(size: str, case: str, low: float, high: float) -> None:
    (torque,) = TABLES.torque("flare-37-nut", size, case)  # type: ignore[arg-type]
    assert torque.low_nm == pytest.approx(low * INCH_POUND_NM, abs=0.06)
    assert torque.high_nm == pytest.approx(high * INCH_POUND_NM, abs=0.06)
