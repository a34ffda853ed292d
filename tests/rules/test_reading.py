"""The reading of trade text: what is certain, what is refused, and that nothing is guessed."""

import csv
import json
import time
from itertools import pairwise
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.quantities import QuantityError, read_quantity
from rules.reading import (
    KINDS,
    LONGEST_TEXT,
    UnclearConnection,
    connection_or_fault,
    read,
    read_connection,
    sku_key,
    write_connection,
)
from rules.reading.naming import ALWAYS_MALE
from rules.reference import reference
from rules.vocabulary import Gender, Material, System, words

with (Path(__file__).parent.parent / "published" / "spellings.csv").open(
    newline="", encoding="utf-8"
) as file:
    SPELLINGS = [(row["read_as"], row["raw"]) for row in csv.DictReader(file)]

TRADE_WORDS = [
    *("6", "-6", "3/8", "9/16-18", "M14x1.5", "8mm", "255", "13.5V", "1,000", "E85", "R9"),
    *("AN", "ORB", "JIC", "SAE", "NPT", "male", "female", "flare", "37", "45", "deg", "banjo"),
    *("quick", "connect", "hose", "tube", "OD", "LH", "nylon", "to", "x", "/", "(", ")", "=", "@"),
    *("bar", "psi", "L/h", "at", "most", "-", "3", "atm", "gph", "kilos", "cc", "#", "micron"),
    *("degC", "F", "g/min", "hp", "wheels", "ft", "up"),
]


def systems_of(reading):
    return {option.canonical.get("system") for option in reading.readings}


class TestAnyText:
    @given(
        kind=st.sampled_from(KINDS),
        text=st.text(st.characters(exclude_categories=())) | st.text("0123456789/-.,x \"'mMaAnN#@"),
    )
    @settings(max_examples=600, deadline=None)
    def test_is_read_without_a_fault(self, kind, text):
        reading = read(kind, text)

        json.dumps(reading.as_json(), allow_nan=False)
        assert (reading.question is None) == (reading.certainty == "certain")
        if reading.certainty in ("ambiguous", "unreadable"):
            assert reading.canonical is None
        if reading.certainty == "ambiguous":
            assert reading.readings
        if reading.certainty == "partial":
            assert reading.unknown

    @given(
        kind=st.sampled_from(KINDS),
        words=st.lists(
            st.sampled_from(TRADE_WORDS),
            max_size=8,
        ),
    )
    @settings(max_examples=600, deadline=None)
    def test_of_the_trade_in_any_order_is_read_without_a_fault(self, kind, words):
        reading = read(kind, " ".join(words))

        assert (reading.question is None) == (reading.certainty == "certain")

    @pytest.mark.parametrize("kind", KINDS)
    def test_that_is_too_long_is_unreadable(self, kind):
        assert read(kind, "6" * (LONGEST_TEXT + 1)).certainty == "unreadable"
        assert read(kind, "\ufdfa" * LONGEST_TEXT).certainty == "unreadable"

    @pytest.mark.parametrize("kind", KINDS)
    @pytest.mark.parametrize(
        "piece",
        [
            "1",
            "1/",
            "1-",
            "1 ",
            "a",
            "a-",
            "o ",
            "-",
            "1,",
            "1.1",
            "m1x",
            "quic",
            "@1",
            "1 to ",
            "(1/4=4,",
            "sae ",
        ],
    )
    def test_of_the_longest_kind_is_read_at_once(self, kind, piece):
        text = (piece * LONGEST_TEXT)[:LONGEST_TEXT]
        started = time.perf_counter()

        read(kind, text)

        assert time.perf_counter() - started < 0.5


class TestTypography:
    @pytest.mark.parametrize(("kind", "raw"), [s for s in SPELLINGS if s[0] != "sku"])
    @pytest.mark.parametrize(
        "changed",
        [
            lambda text: f"  {text}\t",
            lambda text: text.replace(" ", "\u00a0 "),
            str.upper,
            str.lower,
            lambda text: text.replace("-", "\u2212"),
            lambda text: text.replace("-", "\u2010"),
            lambda text: text.replace('"', "\u2033").replace("'", "\u2032"),
        ],
        ids=["blanks", "no-break", "upper", "lower", "minus", "hyphen", "primes"],
    )
    def test_does_not_change_a_reading(self, kind, raw, changed):
        assert read(kind, changed(raw)) == read(kind, raw)

    @pytest.mark.parametrize(
        ("written", "plain"),
        [
            ("⅜ NPT", "3/8 NPT"),
            ("1¹⁄₁₆-12", "1 1/16-12"),
            ("M14×1,5 banjo", "M14x1.5 banjo"),
            ("ＡＮ－６ male", "AN-6 male"),
            ("JIC 37º -6", "JIC 37 deg -6"),
            ("⌀8 mm tube", "Ø8 mm tube"),
            ("ORB‑08 ➔ AN‑06", "ORB-08 to AN-06"),
        ],
    )
    def test_of_signs_is_folded(self, written, plain):
        assert read("connection", written).canonical == read("connection", plain).canonical
        assert read("connection", written).certainty == read("connection", plain).certainty


class TestCanonicalForms:
    @pytest.mark.parametrize("system", get_args(System))
    @pytest.mark.parametrize("gender", [None, "male", "female"])
    def test_a_written_connection_reads_back(self, system, gender):
        if system == "banjo":
            gender = {"male": "bolt", "female": "ring", None: None}[gender]
        for size in sizes_to_write(system):
            text = write_connection(system, size, gender)
            expected = gender or ("male" if system in ALWAYS_MALE else None)

            assert connection_or_fault(text) == (system, size, expected), text

    def test_of_certain_connections_read_back(self):
        for kind, raw in SPELLINGS:
            found = read(kind, raw)
            if (
                kind == "connection"
                and found.certainty == "certain"
                and "system" in found.canonical
            ):
                text = write_connection(*(found.canonical[k] for k in ("system", "size", "gender")))
                again = read("connection", text).canonical
                assert {k: found.canonical[k] for k in again} == again

    @pytest.mark.parametrize("material", words(Material))
    def test_a_material_reads_back(self, material):
        found = read("material", material)

        if material == "polyamide":  # what nobody graded has no certain reading
            assert found.certainty == "ambiguous"
        else:
            assert found.canonical == material
            assert found.certainty in ("certain", "partial")

    def test_a_fuel_reads_back(self):
        for fuel in reference().fuels:
            assert read("fuel", fuel).canonical == fuel

    @pytest.mark.parametrize(
        "text",
        ["1.2 m", "3 1/8 in", "43.5 psi", "3 kg/cm2", "4 lpm", "600 whp", "13.5 V", "90 deg"],
    )
    def test_a_quantity_reads_back(self, text):
        found = read("quantity", text)
        value, unit = found.canonical["value"], found.canonical["unit"]
        again = read("quantity", f"{value!r} {unit} {found.canonical.get('power_at', '')}")

        assert found.certainty == "certain"
        assert again.canonical == found.canonical


def sizes_to_write(system):
    known = reference().sizes(system)
    if system == "quick-connect":
        return ("1/4", "5/16", "3/8", "1/2", "5/8", "9.89 mm", "11.8 mm")
    if system == "flange":
        return ("120 mm, 12 x M5", "2 x M6")
    return known or {
        "dry-break": ("-6", "-8", "3/8"),
        "hose-end": ("-6", "5/16", "8 mm"),
    }.get(system, ("3/8", "1 1/8", "8 mm", "8.5 mm"))


class TestConnection:
    @pytest.mark.parametrize(
        "text", ["6", "-6", "06", "#6", "size 6", "3/8", '3/8"', "0.375", "8 mm", "14", "M14"]
    )
    @pytest.mark.parametrize("kind", ["connection", "size"])
    def test_a_bare_size_is_never_guessed(self, kind, text):
        found = read(kind, text)

        assert found.certainty == "ambiguous"
        assert len(found.readings) >= 2

    @pytest.mark.parametrize(
        ("text", "expected"),
        [
            ("-6 AN male", ("flare-37", "-6", "male")),
            ("M14x1.5 banjo", ("banjo", "M14x1.5", None)),
            ("M14x1.5 banjo bolt", ("banjo", "M14x1.5", "bolt")),
            ("3/8 NPT female", ("npt", "3/8", "female")),
            ("5/16 quick connect", ("quick-connect", "5/16", None)),
            ("37 degree flare -6 male", ("flare-37", "-6", "male")),
            ("SAE 45 degree flare 3/8", ("flare-45", "-6", None)),
            ("O-ring boss -8", ("orb", "-8", None)),
            ("-6 AN 90 degree swivel hose end", ("flare-37", "-6", None)),
            ("9.49 mm quick connect male", ("quick-connect", "3/8", "male")),
            ("5/16 (8 mm) barb", ("barb", "5/16", "male")),
            ("-6 JIC (9/16-18) female", ("flare-37", "-6", "female")),
            ("G1/4 AG", ("bspp", "1/4", "male")),
            ("ISO 6149 M14x1.5", ("iso-6149", "M14x1.5", None)),
            ("3/8 hose barb", ("barb", "3/8", "male")),
            ("1 1/16-12 JIC", ("flare-37", "-12", None)),
            ("Rc 1/4", ("bspt", "1/4", "female")),
        ],
    )
    def test_a_certain_text_is_taken(self, text, expected):
        assert connection_or_fault(text) == expected

    @pytest.mark.parametrize(
        ("text", "in_message"),
        [
            ("-6 AN", ["37 degree flare -6", "O-ring boss -6", "cone"]),
            ("3/8 SAE", ["45 degree flare -6", "3/8 quick connect", "O-ring boss -6"]),
            ("1/8 BSP", ["1/8 BSPP", "1/8 BSPT", "parallel or tapered"]),
            ("-7 JIC male", ["-6", "-8", "no such size"]),
            ("-8 ORB to -6 AN", ["O-ring boss -8 to 37 degree flare -6"]),
            ("6-Dec", ["6/12", "spreadsheet"]),
            ("n/a", ["nothing is recorded"]),
            ("", ["nothing is recorded"]),
            ("a nice red one", ["What standard"]),
            ("M16x1.5 LH metric O-ring port", ["left-handed"]),
        ],
    )
    def test_any_other_text_is_refused_with_its_readings_and_the_question(self, text, in_message):
        with pytest.raises(UnclearConnection) as refused:
            connection_or_fault(text)

        for part in in_message:
            assert part in str(refused.value)
        assert refused.value.reading == read("connection", text)

    def test_a_partial_reading_keeps_what_is_certain(self):
        found = read_connection("-6 AN female")

        assert not found.is_certain
        assert (found.system, found.size, found.gender) == (None, "-6", "female")
        assert found.reading.canonical["thread"] == "9/16-18"
        assert found.reading.unknown == ("seal",)

    def test_an_adapter_end_by_dash_size_is_the_flare(self):
        assert read("connection", "-6 AN female to 3/8 NPT male").canonical == {
            "ends": [
                {"system": "flare-37", "size": "-6", "gender": "female"},
                {"system": "npt", "size": "3/8", "gender": "male"},
            ]
        }

    @pytest.mark.parametrize(
        "left", ["LH", "left-hand", "linksgewinde", "gauche", "sinistra", "izquierda", "esquerda",
                 "stânga", "lewy", "levý", "vänster", "левая", "左ねじ", "左ネジ"],
    )  # fmt: skip
    def test_a_left_hand_thread_never_becomes_right_hand(self, left):
        assert read("thread", f"M16x1.5 {left}").canonical["hand"] == "left"
        assert read("connection", f"M16x1.5 {left}").canonical["hand"] == "left"
        assert read("connection", f"3/8 NPT male {left}").certainty != "certain"

    def test_a_word_of_no_known_language_leaves_the_hand_open(self):
        found = read("thread", "M16x1.5 vlevo-xyz")

        assert found.certainty == "partial"
        assert found.canonical["hand"] is None

    @pytest.mark.parametrize("word", ["galvanised", "???", "%", "chrome", "spare"])
    def test_no_text_is_certain_while_a_word_of_it_is_unknown(self, word):
        found = read("connection", f"-6 JIC male {word}")

        assert found.certainty == "partial"
        assert (found.canonical["system"], found.canonical["size"]) == ("flare-37", "-6")

    @pytest.mark.parametrize(
        ("text", "meant"),
        [
            ("5/16 quik connect", "quick-connect"),
            ("3/8 NPT femle", "npt"),
            ("-6 flaer 37", "flare-37"),
        ],
    )
    def test_a_slip_of_typing_is_offered_and_not_made(self, text, meant):
        found = read("connection", text)

        assert found.certainty == "ambiguous"
        assert meant in systems_of(found)

    @pytest.mark.parametrize(
        "text", ["-6 JIC 3/8-24", "-6 ORB -8", "1/4-19 NPT", "3/4-14 BSPP 1/2", "6 ORB 6 NPT"]
    )
    def test_sizes_that_disagree_are_never_certain(self, text):
        assert read("connection", text).certainty in ("ambiguous", "unreadable")

    @pytest.mark.parametrize(
        ("text", "sizes"), [("3/8 ORB", {"-6", "-3"}), ("JIC 1/2", {"-5", "-8"})]
    )
    def test_a_fraction_that_is_tube_or_thread_is_refused_with_both(self, text, sizes):
        found = read("connection", text)

        assert found.certainty == "ambiguous"
        assert {option.canonical["size"] for option in found.readings} == sizes

    @pytest.mark.parametrize(
        "text",
        [
            "1/4 BSP NPT",
            "-6 JIC bolt",
            "M14x1.5 banjo female",
            "3/8 banjo",
            "-6 AN banjo",
            "1/4 flare NPT",
            "8 ORB metric",
            "1/2 quick connect 37 degree",
            "-6 ORB face seal J1926",
            "3/8 NPT for 3/8 hose",
            "8 mm 10 mm tube",
        ],
    )
    def test_words_that_do_not_go_together_are_never_certain(self, text):
        assert read("connection", text).certainty in ("partial", "ambiguous", "unreadable")

    def test_every_thread_of_the_tables_is_read_with_all_its_connections(self):
        for system in ("flare-37", "orb", "flare-45", "inverted-flare", "iso-6149"):
            for size in reference().sizes(system):
                thread = reference().thread(system, size)
                found = read("connection", thread.designation)
                same = {
                    (t.system, t.size) for t in reference().threads_designated(thread.designation)
                }
                offered = {
                    (o.canonical.get("system"), o.canonical.get("size")) for o in found.readings
                }

                assert found.certainty == "partial"
                assert same <= offered


class TestThread:
    @pytest.mark.parametrize(
        ("text", "series", "size"),
        [
            ("9/16-18 UNF", "un", "9/16-18"),
            ("M14 x 1,5", "metric", "M14x1.5"),
            ("-6 JIC", "un", "9/16-18"),
            ("O-ring boss -12", "un", "1 1/16-12"),
            ("3/8 MNPT", "npt", "3/8"),
        ],
    )
    def test_that_names_its_series_or_standard_is_certain(self, text, series, size):
        found = read("thread", text)

        assert found.certainty == "certain"
        assert (found.canonical["series"], found.canonical["size"]) == (series, size)

    @pytest.mark.parametrize("text", ["M14x1.5 9/16-18", "1/4 NPT BSPP", "M14x1.5 -6 JIC"])
    def test_of_two_designations_is_never_certain(self, text):
        assert read("thread", text).certainty in ("ambiguous", "unreadable")

    @pytest.mark.parametrize(
        ("text", "known"), [("M14x1.7", "M14x1.5"), ("M12x2", "M12x1.5"), ("9/16-19", "9/16-18")]
    )
    @pytest.mark.parametrize("kind", ["thread", "connection"])
    def test_of_a_pitch_that_the_diameter_has_not_is_refused_with_those_it_has(
        self, kind, text, known
    ):
        found = read(kind, text)

        assert found.certainty == "ambiguous"
        assert known in [option.canonical["thread"] for option in found.readings]
        assert read("connection", f"{text} banjo").certainty == "ambiguous"

    def test_that_is_not_of_the_series_it_names_is_refused_with_both(self):
        found = read("thread", "9/16-18 UNC")

        assert found.certainty == "ambiguous"
        assert [o.canonical["size"] for o in found.readings] == ["9/16-18", "9/16-12"]


class TestShopData:
    def test_part_numbers_are_texts(self):
        assert sku_key(" FTG-6-90 ") == sku_key("FTG\u20116\u201190") == "FTG-6-90"
        assert sku_key("0017") != sku_key("17")
        assert sku_key("90.750") != sku_key("90.75")
        assert read("sku", "3/8").canonical == "3/8"
        assert read("sku", "6-Dec").canonical == "6-Dec"

    def test_a_decimal_comma_is_taken_and_a_grouping_one_is_asked_for(self):
        assert read("quantity", "1,2 m").canonical == {"value": 1.2, "unit": "m"}
        assert read("number", "1.234,5").canonical == 1234.5
        found = read("number", "1,000")
        assert [option.canonical for option in found.readings] == [1.0, 1000.0]

    def test_cut_pieces_are_not_one_length(self):
        assert read("quantity", "2 x 1.25 m").canonical == {"pieces": 2, "value": 1.25, "unit": "m"}
        assert read("quantity", "2").certainty == "ambiguous"

    def test_a_bare_diameter_is_metric_or_sixteenths(self):
        found = read("thread", "14")

        assert found.certainty == "ambiguous"
        assert {"flare-37", "orb"} <= systems_of(found)
        assert any("M14" in option.label for option in found.readings)

    def test_two_units_that_agree_are_one_length(self):
        assert read("quantity", '0.110" (2.80mm)').canonical == {"value": 0.11, "unit": "inch"}
        assert read("quantity", "43.5 psi / 3 bar").canonical == {"value": 43.5, "unit": "psi"}

    @pytest.mark.parametrize("kind", ["quantity", "connection", "size"])
    def test_two_units_that_disagree_are_refused_with_both(self, kind):
        found = read(kind, "10 mm (3/8 in)")

        assert found.certainty == "ambiguous"
        assert len(found.readings) == 2

    @pytest.mark.parametrize("text", ["-", "n/a", "NA", "TBD", "none", "?", "", "  ", "–"])
    @pytest.mark.parametrize("kind", KINDS)
    def test_a_placeholder_means_nothing_recorded(self, kind, text):
        found = read(kind, text)

        assert (found.certainty, found.canonical) == ("certain", None)

    def test_an_8_mm_quick_connect_is_end_form_or_tube(self):
        found = read("connection", "8 mm quick connect")

        assert found.certainty == "ambiguous"
        assert found.readings[0].canonical == {
            "system": "quick-connect",
            "size": "5/16",
            "gender": None,
        }
        assert found.readings[1].canonical["of"] == "tube behind the connector"

    def test_a_dash_number_called_an_is_a_size_unless_a_word_is_unknown(self):
        assert read("size", "6AN").canonical == {"size": "-6"}
        assert read("size", "6AN thingy").certainty == "partial"

    def test_the_signs_that_carry_a_meaning_are_kept(self):
        assert read("quantity", "3'").canonical != read("quantity", "3").canonical
        assert read("size", "-6 JIC").canonical == {"system": "flare-37", "size": "-6"}
        assert read("thread", "M14x1.5").canonical != read("thread", "M14").canonical


class TestQuantity:
    @pytest.mark.parametrize(
        ("text", "canonical"),
        [
            ("340 l/h at 3 bar and 13.5 V", {
                "value": 340.0,
                "unit": "L/h",
                "at": {
                    "pressure": {"value": 3.0, "unit": "bar"},
                    "voltage": {"value": 13.5, "unit": "V"},
                },
            }),
            ("-40 degC", {"value": -40.0, "unit": "degC"}),
            ("1.2 bar abs", {"value": 1.2, "unit": "bar", "reference": "absolute"}),
            ("58 psi g", {"value": 58.0, "unit": "psi"}),
            ("600 hp at the wheels", {"value": 600.0, "unit": "hp", "power_at": "wheels"}),
            ("10 micron absolute", {"value": 10.0, "unit": "um", "rating": "absolute"}),
            ("at most 5 bar", {"value": 5.0, "unit": "bar", "bound": "most"}),
            ("max 5 bar", {"value": 5.0, "unit": "bar", "bound": "most"}),
        ],
    )  # fmt: skip
    def test_is_read_with_its_conditions(self, text, canonical):
        found = read("quantity", text)

        assert found.certainty == "certain"
        assert found.canonical == canonical

    @pytest.mark.parametrize(
        ("text", "unknown"),
        [
            ("600 hp", "power_at"),
            ("255 lph", "voltage"),
            ("340 L/h @ 3-4 bar @ 13.5 V", "condition"),
            ("340 L/h @ 3 bar @ 4 bar @ 13.5 V", "condition"),
            ("340 L/h @ 43.5 psi (3 bar)", "voltage"),
            ("about 5 bar", "the word `about`"),
            ("13.5 V boost", "the word `boost`"),
            ("3 bar @", "the word `@`"),
            ("~5 bar", "the word `~`"),
        ],
    )
    def test_says_what_it_lacks(self, text, unknown):
        found = read("quantity", text)

        assert found.certainty == "partial"
        assert unknown in found.unknown

    @pytest.mark.parametrize(
        "text",
        ["-6 mm", "340 bar psi", "max psi", "9**9**7 mm", "1e5 psi", "5 5 bar", "10/20 mm"],
    )
    def test_what_is_no_quantity_is_unreadable(self, text):
        assert read("quantity", text).certainty == "unreadable"


class TestSmallFields:
    @pytest.mark.parametrize(
        ("kind", "text", "canonical"),
        [
            ("wire", "2,5 mm²", {"value": 2.5, "unit": "mm**2"}),
            ("wire", "AWG 10", {"awg": 10}),
            ("relay", "4-pin 30A relay", {"contacts": "spst", "rating_a": 30.0}),
            ("gender", "f", "female"),
            ("gender", "Hembra", "female"),
            ("gender", "mâle", "male"),
            ("marking", "SAE 100R14", "SAE J517 100R14"),
            ("marking", "SAE J2260", "SAE J2260"),
            ("fuel", "E71", {"ethanol_percent": 71.0}),
            ("fuel", "85% ethanol", "E85"),
            ("material", "Type III anodized", "aluminium-hard-anodised"),
        ],
    )
    def test_a_certain_text(self, kind, text, canonical):
        found = read(kind, text)

        assert found.certainty == "certain"
        assert found.canonical == canonical

    @pytest.mark.parametrize(
        ("kind", "text"),
        [("fuel", "E101"), ("fuel", "water"), ("marking", "SAE J30 R99"), ("material", "cheese"),
         ("wire", "thick"), ("relay", "7 pin"), ("gender", "blue"), ("hose", "long")],
    )  # fmt: skip
    def test_what_is_not_known_is_unreadable(self, kind, text):
        assert read(kind, text).certainty == "unreadable"

    def test_a_hose_class_of_two_standards_is_asked_for(self):
        found = read("marking", "R14")

        assert found.certainty == "partial"
        assert [o.canonical for o in found.readings][:2] == ["SAE J30 R14", "SAE J517 100R14"]

    def test_the_bore_of_a_dash_size_is_not_guessed(self):
        found = read("hose", "-6 AN")

        assert found.certainty == "partial"
        assert found.unknown == ("bore",)


def test_every_gender_has_a_word():
    for gender in get_args(Gender):
        assert read("gender", gender).canonical == gender


def test_kinds_are_listed_once():
    assert all(a != b for a, b in pairwise(sorted(KINDS)))


class TestUnknownUnits:
    @pytest.mark.parametrize(("text", "word"), [("5 foo", "foo"), ("2 500 rpm", "rpm")])
    def test_a_word_in_the_place_of_the_unit_is_named(self, text: str, word: str) -> None:
        found = read("quantity", text)
        assert found.certainty == "unreadable"
        assert f"`{word}`" in str(found.question)


class TestDigitsInThrees:
    """A caller's own quantities take the SI Brochure's blanks too, and guess no more than texts."""

    @pytest.mark.parametrize("text", ["1 000 kPa", "1\u2009000 kPa", "1\u202f000 kPa"])
    def test_a_group_that_begins_with_a_zero_is_part_of_a_number(self, text: str) -> None:
        assert read_quantity(text, "pressure", "kPa") == 1000.0

    def test_more_than_two_groups_are_one_number(self) -> None:
        assert read_quantity("1 234 567 Pa", "pressure", "Pa") == 1234567.0

    @pytest.mark.parametrize("text", ["2 340 mm", "2\u00a0340 mm"])
    def test_two_numbers_side_by_side_are_asked_about(self, text: str) -> None:
        with pytest.raises(QuantityError, match="or two numbers"):
            read_quantity(text, "length", "mm")
