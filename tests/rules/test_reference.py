"""The reference tables: what the loader refuses, and what the questions answer."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from dataclasses import FrozenInstanceError, fields, replace
from importlib.resources import files
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.reference import End, ReferenceFaults, load, mate, rate, rate_fuel, reference
from rules.reference.checks import ROW_TYPES
from rules.reference.rows import FuelColumn, Resistant, Verdict
from rules.vocabulary import (
    BarbStyle,
    Construction,
    Gender,
    Material,
    PortForm,
    System,
    words,
)

PACKAGE = Path(str(files("rules.reference")))
TABLES = reference()

# Loading: faults.

Cells = list[str]


class Tables:
    """A copy of the tables to spoil."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory

    def edit(self, file: str, change: Callable[[list[Cells]], None]) -> None:
        path = self.directory / file
        with path.open(newline="", encoding="utf-8") as source:
            rows = list(csv.reader(source))
        change(rows)
        with path.open("w", newline="", encoding="utf-8") as target:
            csv.writer(target, lineterminator="\n").writerows(rows)

    def set(self, file: str, key: str, column: str, value: str) -> int:
        """Change one cell of the row that begins with `key`; returns its line."""
        found = 0

        def change(rows: list[Cells]) -> None:
            nonlocal found
            wanted = key.split("|")
            found = next(
                number for number, row in enumerate(rows, 1) if row[: len(wanted)] == wanted
            )
            rows[found - 1][rows[0].index(column)] = value

        self.edit(file, change)
        return found

    def faults(self) -> list[str]:
        with pytest.raises(ReferenceFaults) as raised:
            load(self.directory)
        return [str(fault) for fault in raised.value.faults]


@pytest.fixture
def tables(tmp_path: Path) -> Tables:
    for path in PACKAGE.glob("*.csv"):
        shutil.copy(path, tmp_path)
    return Tables(tmp_path)


def test_untouched_copy_loads(tables: Tables) -> None:
    assert load(tables.directory).thread("orb", "-6") == TABLES.thread("orb", "-6")


CELLS = [
    # file, row, column, value, what is said of it
    ("threads.csv", "flare-37|-6", "source", "", "source: is blank"),
    ("threads.csv", "flare-37|-6", "source", "hearsay", "source: 'hearsay' is not in sources.csv"),
    ("threads.csv", "flare-37|-6", "standard", "", "standard: is blank"),
    ("threads.csv", "flare-37|-6", "standard", "SAE J514 ", "begins or ends with a blank"),
    ("threads.csv", "flare-37|-6", "confidence", "sure", "confidence: 'sure' is not one of"),
    ("threads.csv", "flare-37|-6", "system", "flare-38", "system: 'flare-38' is not one of"),
    ("threads.csv", "flare-37|-6", "seat_deg", "inf", "seat_deg: 'inf' is not finite"),
    ("threads.csv", "flare-37|-6", "seat_deg", "nan", "seat_deg: 'nan' is not finite"),
    ("threads.csv", "flare-37|-6", "seat_deg", "-37", "seat_deg: -37 is negative"),
    ("threads.csv", "flare-37|-6", "seat_deg", "37 deg", "seat_deg: '37 deg' is not a number"),
    ("threads.csv", "flare-37|-6", "thread", "9/16-17", "thread: '9/16-17' is not in same_threads"),
    ("threads.csv", "flare-37|-6", "thread", "5/8-18", "does not list 'flare-37 -6' among"),
    ("threads.csv", "flare-37|-6", "system", "barb", "system: 'barb' does not join by thread"),
    (
        "same_threads.csv",
        "9/16-18",
        "members",
        "flare-37 -6; orb -7",
        "members: 'orb -7' is not in",
    ),
    ("same_threads.csv", "9/16-18", "taper", "maybe", "taper: 'maybe' is neither yes nor no"),
    ("same_threads.csv", "9/16-18", "tpi", "19", "19 threads an inch are not a pitch of 1.4111 mm"),
    ("lookalikes.csv", "M14x1.5", "major_step_mm", "0.5", "major_step_mm: 0.5 should be 0.288"),
    ("lookalikes.csv", "M14x1.5", "larger", "M15x1", "thread 'M15x1' is not in same_threads.csv"),
    ("lookalikes.csv", "M14x1.5", "smaller", "5/8-18", "5/8-18 is larger than 9/16-18"),
    ("lookalikes.csv", "M14x1.5", "flank_overlap", "1.2", "flank_overlap: 1.2 is above 1"),
    ("mates.csv", "M07", "needs", "o-rings", "needs: 'o-rings' is not one of"),
    ("mates.csv", "M07", "needs", "o-ring x two", "should be like 'crush-washer x2'"),
    ("mates.csv", "M07", "needs", "", "verdict 'seals-with' does not go with needs"),
    ("mates.csv", "M07", "verdict", "fits", "verdict: 'fits' is not one of"),
    ("mates.csv", "M07", "reason", "luck", "reason: 'luck' is not one of"),
    ("mates.csv", "M07", "enters", "orb flare", "enters: 'flare' is not one of"),
    ("mates.csv", "M07", "enters_gender", "", "enters_gender: is blank"),
    ("mates.csv", "M09", "given", "receives.colour=red", "given: 'colour' is not one of"),
    ("mates.csv", "M09", "given", "receives.port_form=round", "given: 'round' is not one of"),
    ("mates.csv", "M09", "given", "port_form=plain-tapped", "should be like 'receives.port_form"),
    ("mates.csv", "M09", "if_unrecorded", "", "if_unrecorded: must be ask or skip"),
    ("mates.csv", "M06", "receives", "orb", "M07 and M06 of line"),
    ("mates.csv", "M115", "fit", "other-form", "no row for any system covers the fit 'same-half'"),
    ("barb_limits.csv", "9.525", "barb_from_mm", "9.6", "must be where the band before ends"),
    ("barb_limits.csv", "0", "barb_from_mm", "1", "the first band must begin at 0"),
    ("barb_limits.csv", "25.4", "barb_below_mm", "60", "the last band must be open"),
    ("barb_limits.csv", "0", "close_mm", "2", "close_mm 2 is above loose_mm 0.508"),
    ("quick_connect_forms.csv", "9.49", "names", "5/16", "name '5/16' is already on line"),
    ("fit_limits.csv", "tube-diameter", "limit", "tube", "limit: 'tube' is not one of"),
    ("hose_bores.csv", "rubber-push-on", "bore_confidence", "", "must both be given or both be"),
    ("tube_bores.csv", "1/8", "bore_mm", "4", "bore_mm 4 is above od_mm 3.17"),
    ("fitting_bores.csv", "flare-37|-6", "size", "-7", "size: flare-37 -7 is not in threads.csv"),
    ("hose_markings.csv", "SAE J30 R9", "injection", "perhaps", "injection: 'perhaps' is not one"),
    (
        "marking_pressures.csv",
        "SAE J30 R7|9.53",
        "bore_over_mm",
        "10",
        "where the band before ends",
    ),
    ("materials.csv", "nbr", "aliases", "nitrile; neoprene", "aliases: 'neoprene' is already on"),
    ("materials.csv", "nbr", "material", "nbrr", "material: 'nbrr' is not one of"),
    ("resistance.csv", "nbr|E85", "rating", "fine", "rating: 'fine' is not one of"),
    ("resistance.csv", "nbr|E85", "column", "E86", "column: 'E86' is not one of"),
    ("ethanol_dispensing_list.csv", "cork", "materials", "korc", "materials: 'korc' is not one of"),
    ("fuels.csv", "E10", "ethanol_low_percent", "20", "20 is above ethanol_nominal_percent 10"),
    ("fuels.csv", "E85", "methanol_percent", "20", "ethanol and methanol together are 105 %"),
    ("fuels.csv", "E85", "methanol_percent", "", "a judged fuel needs its ethanol and methanol"),
    (
        "fuel_bands.csv",
        "low-blend",
        "ethanol_to_percent",
        "14",
        "leave a gap or overlap between 14",
    ),
    ("fuel_bands.csv", "low-blend", "columns", "", "columns: is blank"),
    ("galvanic.csv", "aluminium|copper", "loses", "brass", "loses: 'brass' is not of the pair"),
    ("galvanic.csv", "aluminium|copper", "b", "aluminium", "aluminium is paired with itself"),
    ("galvanic.csv", "aluminium|copper", "b", "ptfe", "ptfe is not a metal"),
    ("torques.csv", "flare-37-nut|flare-37|-6", "low_nm", "99", "low_nm 99 is above high_nm 14.1"),
    ("torques.csv", "flare-37-nut|flare-37|-6", "low_nm", "", "gives only its own two figures"),
    ("torques.csv", "flare-37-nut|flare-37|-6", "size", "-7", "size: flare-37 -7 is not in"),
    ("losses.csv", "exit", "k", "", "give k, or the formula it follows from"),
    ("losses.csv", "elbow-90-forged", "k_low", "2", "k_low 2 is above k 1.5"),
    ("quick_connect_limits.csv", "sae-j2044", "max_temperature_c", "hot", "'hot' is not a number"),
    ("sources.csv", "sae-j514", "how_read", "twice", "how_read: 'twice' is not one of"),
    ("systems.csv", "orb", "joins_by", "glue", "joins_by: 'glue' is not one of"),
]


@pytest.mark.parametrize(
    ("file", "row", "column", "value", "said"),
    CELLS,
    ids=[f"{file[:-4]}-{column}-{value}" for file, _, column, value, _ in CELLS],
)
def test_a_faulty_cell(
    tables: Tables, file: str, row: str, column: str, value: str, said: str
) -> None:
    tables.set(file, row, column, value)
    faults = tables.faults()
    assert any(fault.startswith(file) and said in fault for fault in faults), faults


def test_duplicate_key(tables: Tables) -> None:
    tables.edit("threads.csv", lambda rows: rows.append(rows[1]))
    (fault,) = tables.faults()
    assert fault.startswith("threads.csv:")
    assert fault.endswith("flare-37, -2 is already on line 2")


def test_row_of_another_length(tables: Tables) -> None:
    tables.edit("losses.csv", lambda rows: rows[4].append("more"))
    (fault,) = tables.faults()
    assert fault == "losses.csv:5: the row has 17 cells, the header 16"


def test_other_columns(tables: Tables) -> None:
    tables.edit("fit_limits.csv", lambda rows: rows[0].reverse())
    (fault,) = tables.faults()
    assert fault.startswith("fit_limits.csv:1: the columns must be limit, value_mm, why")


def test_look_alikes_the_other_way_round_are_a_duplicate(tables: Tables) -> None:
    def mirror(rows: list[Cells]) -> None:
        pair = next(row for row in rows if row[:2] == ["M10x1", "M10x1.25"])
        rows.append([pair[1], pair[0], *pair[2:]])

    tables.edit("lookalikes.csv", mirror)
    assert any("M10x1.25 and M10x1 are already on line" in fault for fault in tables.faults())


def test_galvanic_pair_the_other_way_round_is_a_duplicate(tables: Tables) -> None:
    tables.edit("galvanic.csv", lambda rows: rows.append([rows[1][1], rows[1][0], *rows[1][2:]]))
    (fault,) = tables.faults()
    assert fault.endswith("copper and aluminium are already on line 2")


def test_thread_listed_by_no_member_row(tables: Tables) -> None:
    """Both directions between sizes and threads must agree."""

    def drop(rows: list[Cells]) -> None:
        rows.remove(next(row for row in rows if row[:2] == ["orb", "-6"]))

    tables.edit("threads.csv", drop)
    assert any("members: 'orb -6' is not in threads.csv" in fault for fault in tables.faults())


@pytest.mark.parametrize(
    ("file", "word", "said"),
    [
        ("resistance.csv", "nbr", "resistance.csv:1: nbr has no row for E85"),
        ("materials.csv", "nbr", "materials.csv:1: material 'nbr' has no row"),
        ("systems.csv", "orb", "systems.csv:1: system 'orb' has no row"),
        ("hose_markings.csv", "SAE J30 R9", "hose_markings.csv:1: marking 'SAE J30 R9' has no row"),
        ("fit_limits.csv", "tube-diameter", "fit_limits.csv:1: limit 'tube-diameter' has no row"),
    ],
)
def test_word_of_the_vocabulary_without_a_row(
    tables: Tables, file: str, word: str, said: str
) -> None:
    def drop(rows: list[Cells]) -> None:
        rows[:] = [row for row in rows if row[0] != word]

    tables.edit(file, drop)
    assert said in tables.faults()


def test_missing_table(tables: Tables) -> None:
    (tables.directory / "losses.csv").unlink()
    (fault,) = tables.faults()
    assert fault.startswith("losses.csv:1: cannot be read")


def test_table_that_is_not_utf8(tables: Tables) -> None:
    (tables.directory / "losses.csv").write_bytes(b"\xff\xfe")
    (fault,) = tables.faults()
    assert fault.startswith("losses.csv:1: cannot be read")


def test_all_faults_at_once_with_file_and_line(tables: Tables) -> None:
    lines = {
        tables.set("threads.csv", "orb|-8", "confidence", "sure"),
        tables.set("threads.csv", "npt|1/8", "source", ""),
    }
    band = tables.set("barb_limits.csv", "0", "close_mm", "2")
    tables.edit("losses.csv", lambda rows: rows[2].remove(rows[2][-1]))
    with pytest.raises(ReferenceFaults) as raised:
        load(tables.directory)
    found = {(fault.file, fault.line) for fault in raised.value.faults}
    expected = {("threads.csv", line) for line in lines}
    assert expected | {("barb_limits.csv", band), ("losses.csv", 3)} <= found
    assert list(raised.value.faults) == sorted(raised.value.faults)
    for fault in raised.value.faults:
        assert str(fault) in str(raised.value)


# What every row has.


@pytest.mark.parametrize("row_type", ROW_TYPES, ids=lambda row_type: row_type.FILE)
def test_every_table_is_frozen_and_sourced(row_type: type[Any]) -> None:
    rows = TABLES.rows(row_type)
    assert rows
    with pytest.raises(FrozenInstanceError):
        setattr(rows[0], row_type.KEY[0], "changed")
    names = {field.name for field in fields(row_type)}
    assert {"source", "confidence"} <= names or row_type.FILE == "sources.csv"


def test_what_is_from_memory_does_not_claim_a_page() -> None:
    for row_type in ROW_TYPES:
        for row in TABLES.rows(row_type):
            if getattr(row, "source", None) in (("from-memory",), ("common-practice",)):
                assert row.confidence in ("standard-from-memory", "common-practice"), row


def test_loaded_once() -> None:
    assert reference() is reference()


# Questions.


def test_sizes_of_a_system() -> None:
    assert TABLES.sizes("inverted-flare") == ("3/16", "1/4", "5/16", "3/8", "1/2")
    assert TABLES.sizes("barb") == ()


def test_thread_that_is_not_in_the_tables() -> None:
    assert TABLES.thread("flare-37", "-7") is None
    assert TABLES.same_thread(("flare-37", "-7"), ("orb", "-6")) is None
    assert TABLES.threads_designated("9/16-19") == ()


@pytest.mark.parametrize(
    ("asked", "diameter_mm"),
    [
        ("5/16", 7.89),
        ("7.89 mm", 7.89),
        (7.9, 7.89),
        (7.94, 7.89),
        ("8 mm", None),
        ("10 mm", None),
        (9.69, None),
        ("three", None),
    ],
)
def test_quick_connect_form(asked: str | float, diameter_mm: float | None) -> None:
    form = TABLES.quick_connect_form(asked)
    assert (form and form.diameter_mm) == diameter_mm


def test_fitting_and_tube_bores() -> None:
    fitting = TABLES.fitting_bore("flare-37", "-6")
    tube = TABLES.tube_bore("3/8", 0.889)
    assert fitting is not None
    assert fitting.bore_mm == 7.54
    assert tube is not None
    assert tube.bore_mm == 7.75
    assert TABLES.fitting_bore("orb", "-6") is None
    assert TABLES.tube_bore("3/8", 2.0) is None


def test_galvanic_pair_in_either_order() -> None:
    pair = TABLES.galvanic("copper", "aluminium")
    assert pair is not None
    assert pair.loses == "aluminium"
    assert pair == TABLES.galvanic("aluminium", "copper")
    assert TABLES.galvanic("brass", "copper") is None


def test_torque_of_all_cases() -> None:
    cases = {row.case for row in TABLES.torque("flare-37-nut", "-6")}
    assert cases == {"aluminium-tube", "steel-tube", "hose"}
    assert TABLES.torque("flare-37-nut", "-7") == ()


def test_working_pressure_of_an_unknown_bore() -> None:
    assert TABLES.marking("SAE J30 R7").working_pressure(None) is None
    assert TABLES.marking("SAE J30 R9").working_pressure(None) is not None
    assert TABLES.marking("MIL-H-8794").working_pressure(60) is None


def test_losses() -> None:
    assert TABLES.loss("elbow-90-forged").k == 1.5
    with pytest.raises(KeyError):
        TABLES.loss("elbow-91")


@pytest.mark.parametrize(
    ("low", "high", "methanol"),
    [(-1, 0, 0), (10, 5, 0), (0, 101, 0), (0, 60, 50), (0, 0, -1), (float("nan"), 10, 0)],
)
def test_blend_that_cannot_be(low: float, high: float, methanol: float) -> None:
    with pytest.raises(ValueError, match=r"(?i)ethanol"):
        rate("nbr", low, high, methanol)


def test_race_petrol_is_rated_in_its_own_column() -> None:
    fuel = TABLES.fuel("RACE-OX")
    assert fuel is not None
    assert rate_fuel("nbr", fuel).column == "RACE-OX"
    assert TABLES.fuel("E86") is None


RANKS: tuple[Resistant, ...] = get_args(Resistant)
percents = st.floats(0, 100)


@given(
    material=st.sampled_from(words(Material)),
    shares=st.tuples(percents, percents, percents).map(sorted),
)
def test_a_wider_range_is_never_better(material: Material, shares: list[float]) -> None:
    low, middle, high = shares
    whole = RANKS.index(rate(material, low, high).rating)
    assert whole == max(
        RANKS.index(rate(material, low, middle).rating),
        RANKS.index(rate(material, middle, high).rating),
    )


@given(material=st.sampled_from(words(Material)), ethanol=percents, methanol=percents)
def test_every_blend_has_a_rating(material: Material, ethanol: float, methanol: float) -> None:
    methanol = min(methanol, 100 - ethanol)
    rating = rate(material, ethanol, ethanol, methanol)
    assert rating.column in get_args(FuelColumn)
    assert rating.reason
    assert rating.sources


# Mating.

SIZES = {
    "quick-connect": ("5/16", "3/8", "8 mm", "7.89 mm"),
    "barb": ("5/16", "3/8", "8.5 mm", "-6"),
    "hose-end": ("-6", "-8", "8 mm", "3/8"),
    "beaded-tube": ("5/16", "8 mm"),
    "plain-tube": ("5/16", "8 mm"),
    "compression": ("5/16", "8 mm"),
    "injector-seat": ("11 mm", "14 mm"),
}


@st.composite
def whole_ends(draw: st.DrawFn) -> End:
    """An end with everything recorded."""
    system: System = draw(st.sampled_from(words(System)))
    sizes = TABLES.sizes(system) or SIZES.get(system, ("small", "large"))
    genders = words(Gender) if system == "banjo" else ("male", "female")
    return End(
        system=system,
        size=draw(st.sampled_from(sizes)),
        gender=draw(st.sampled_from(genders)),
        diameter_mm=draw(st.sampled_from([7.89, 7.94, 8.0, 9.49, 9.53, 12.0, 14.0])),
        bead=draw(st.booleans()),
        port_form=draw(st.sampled_from(words(PortForm))),
        seal_included=draw(st.booleans()),
        barb_style=draw(st.sampled_from(words(BarbStyle))),
        construction=draw(st.sampled_from(words(Construction))),
        bore_mm=draw(st.sampled_from([7.5, 7.94, 8.0, 8.4, 9.5, 10.0])),
        boss_material=draw(st.sampled_from(["aluminium", "carbon-steel"])),
        tube_flare_deg=draw(st.sampled_from([37.0, 45.0])),
    )


# What an end may lack so that the answer hangs on it; the other attributes count only where they
# are recorded, or follow from the system.
HANGS_ON = [
    ("gender",),
    ("size", "diameter_mm"),
    ("barb_style",),
    ("construction",),
    ("bore_mm",),
]


@st.composite
def part_recorded(draw: st.DrawFn) -> tuple[End, End]:
    """A whole end and the same end with some of it not recorded."""
    whole = draw(whole_ends())
    blanks = draw(st.lists(st.sampled_from(HANGS_ON), max_size=3))
    names = {name: None for blank in blanks for name in blank}
    if "bore_mm" in names:
        # The size of a clamped hose states its bore, so that both go or both stay.
        names |= {"size": None, "diameter_mm": None}
    return whole, replace(whole, **names)


@settings(max_examples=400)
@given(a=part_recorded(), b=part_recorded())
def test_a_joint_has_no_order(a: tuple[End, End], b: tuple[End, End]) -> None:
    swap = {"a": "b", "b": "a"}
    there, back = mate(a[1], b[1]), mate(b[1], a[1])
    assert (there.verdict, there.rule_id, there.reason) == (back.verdict, back.rule_id, back.reason)
    assert there.possible == back.possible
    assert there.gap_mm == back.gap_mm
    assert there.needs == back.needs
    assert (there.a_thread, there.b_thread) == (back.b_thread, back.a_thread)
    assert {swap[name[0]] + name[1:] for name in there.missing} == set(back.missing)
    if a[1] != b[1]:
        assert there.enters == (back.enters and swap[back.enters])


@settings(max_examples=400)
@given(a=part_recorded(), b=part_recorded())
def test_what_is_recorded_later_stays_within_what_was_possible(
    a: tuple[End, End], b: tuple[End, End]
) -> None:
    known, unknown = mate(a[0], b[0]), mate(a[1], b[1])
    assert known.verdict != "unknown" or known.missing
    assert set(known.possible) <= set(unknown.possible)


@settings(max_examples=200)
@given(a=whole_ends(), b=whole_ends())
def test_a_known_verdict_names_its_row(a: End, b: End) -> None:
    found = mate(a, b)
    if found.verdict == "unknown":
        assert found.rule_id is None
        assert found.missing
        assert len(found.possible) > 1
        return
    assert found.rule_id is not None
    row = TABLES.mates[found.rule_id]
    assert (found.verdict, found.reason, found.why) == (row.verdict, row.reason, row.why)
    assert found.sources
    assert (found.verdict == "seals-with") <= bool(found.needs)


# One whole end for every way an end of a system may differ.
STYLES: dict[str, list[dict[str, Any]]] = {
    "barb": [{"barb_style": style} for style in words(BarbStyle)],
    "hose-end": [
        *({"construction": construction, "bore_mm": 8.0} for construction in words(Construction)),
        *(
            {"construction": construction, "bore_mm": bore_mm}
            for construction in ("rubber-clamped", "rubber-push-on")
            for bore_mm in (5.0, 7.3, 7.7, 8.3, 12.0)
        ),
    ],
    "beaded-tube": [{}, {"tube_flare_deg": 37.0}],
    "plain-tube": [{}, {"tube_flare_deg": 45.0}],
}


def every_end(system: System) -> list[End]:
    genders = words(Gender) if system == "banjo" else ("male", "female")
    sizes = (TABLES.sizes(system) or SIZES.get(system, ("small", "large")))[:2]
    return [
        End(system, size, gender, diameter_mm=diameter_mm, **style)  # type: ignore[arg-type]
        for size in sizes
        for gender in genders
        for diameter_mm in ((None,) if TABLES.sizes(system) else (7.94, 9.53))
        for style in STYLES.get(system, [{}])
    ]


@pytest.mark.parametrize("system", words(System))
def test_every_pair_of_recorded_ends_is_decided(system: System) -> None:
    others = words(System)[words(System).index(system) :]
    for a in every_end(system):
        for other in others:
            for b in every_end(other):  # type: ignore[arg-type]
                assert mate(a, b).verdict != "unknown", (a, b)


def test_ends_of_one_half() -> None:
    found = mate(End("flare-37", "-6", "female"), End("flare-37", "-6", "female"))
    assert (found.verdict, found.reason, found.enters) == ("no-fit", "gender", None)


def test_ends_of_one_half_that_never_join_anyway() -> None:
    found = mate(End("flare-37", "-6", "male"), End("barb", "3/8", "male"))
    assert (found.verdict, found.reason) == ("no-fit", "form")


def test_unrecorded_size_that_cannot_help() -> None:
    found = mate(End("flare-37", None, "male"), End("orb", "-6", "female"))
    assert found.verdict == "unknown"
    assert found.missing == ("a.size",)
    assert not found.could_seal


def test_size_outside_the_tables_is_not_taken_on_trust() -> None:
    found = mate(End("flare-37", "-7", "male"), End("flare-37", "-7", "female"))
    assert (found.verdict, found.missing) == ("unknown", ("a.size", "b.size"))


def test_unrecorded_system() -> None:
    found = mate(End(None, "-6", "male"), End("orb", "-6", "female"))
    assert (found.verdict, found.missing) == ("unknown", ("a.system",))
    assert found.could_seal


def test_bolted_flanges_have_no_halves() -> None:
    found = mate(End("flange", "six bolts", "female"), End("flange", "six bolts", "female"))
    other = mate(End("flange", "six bolts", "female"), End("flange", "five bolts", "male"))
    assert (found.verdict, found.enters) == ("seals-with", None)
    assert (other.verdict, other.reason) == ("no-fit", "size")


def test_port_form_overrides_what_the_system_implies() -> None:
    stud = End("orb", "-6", "male")
    tapped = mate(stud, End("orb", "-6", "female", port_form="plain-tapped"))
    assert mate(stud, End("orb", "-6", "female")).verdict == "seals-with"
    assert (tapped.verdict, tapped.reason) == ("threads-no-seal", "form")


def test_banjo_ring_on_its_bolt() -> None:
    bolt = End("banjo", "M12x1.5", "bolt")
    assert mate(bolt, End("banjo", "M12x1.25", "ring")).verdict == "seals-with"
    assert mate(bolt, End("banjo", None, "ring", diameter_mm=12.1)).verdict == "seals-with"
    loose = mate(bolt, End("banjo", "M14x1.5", "ring"))
    assert (loose.verdict, loose.reason, loose.gap_mm) == ("no-fit", "diameter", 2.0)


@pytest.mark.parametrize(
    ("male", "female", "provided"),
    [(True, None, True), (None, True, True), (False, None, False), (None, False, None)],
)
def test_seal_that_comes_with_an_end(
    male: bool | None, female: bool | None, provided: bool | None
) -> None:
    (need,) = mate(
        End("orb", "-6", "male", seal_included=male),
        End("orb", "-6", "female", seal_included=female),
    ).needs
    assert need.provided is provided


def test_push_on_barb_is_sized_by_its_hose() -> None:
    barb = End("barb", "-6", "male", barb_style="push-on")
    hose = End("hose-end", "-6", "female", construction="rubber-push-on", bore_mm=9.53)
    assert mate(barb, hose).verdict == "seals"
    assert mate(barb, replace(hose, construction="rubber-clamped")).reason == "construction"
    assert mate(replace(barb, barb_style="multi"), hose).verdict == "conditional"


def test_verdicts_are_ordered_from_good_to_bad() -> None:
    found = mate(End("barb", "5/16", "male"), End("hose-end", None, "female", bore_mm=8.0))
    order: tuple[Verdict, ...] = get_args(Verdict)
    assert list(found.possible) == sorted(found.possible, key=order.index)
    assert found.missing == ("a.barb_style", "b.construction")
