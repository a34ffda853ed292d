import copy
import math
import operator
import pickle
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.facttypes import number_text, significant
from rules.schema import (
    UNKNOWN,
    Flag,
    Maybe,
    NotRecorded,
    Number,
    Record,
    Text,
    Vocabulary,
    Word,
    Words,
    schema_of,
)
from tests.rules.small_language import JOINT, PART, EndFacts, JointFacts

NO_WORDS: frozenset[str] = frozenset()

QUESTIONS: list[Callable[[Any], Any]] = [
    lambda unknown: unknown == 1,
    lambda unknown: unknown == unknown,
    lambda unknown: unknown == 1.0,
    lambda unknown: unknown != "orb",
    lambda unknown: operator.eq("orb", unknown),
    lambda unknown: operator.ne(1, unknown),
    lambda unknown: unknown < 1,
    lambda unknown: unknown <= 1,
    lambda unknown: unknown > 1,
    lambda unknown: unknown >= 1,
    lambda unknown: operator.lt(1.5, unknown),
    lambda unknown: operator.ge(1, unknown),
    lambda unknown: bool(unknown),
    lambda unknown: not unknown,
    lambda unknown: unknown in ("orb", "npt"),
    lambda unknown: unknown in {"orb", "npt"},
    lambda unknown: unknown in NO_WORDS,
    lambda unknown: "orb" in unknown,
    lambda unknown: hash(unknown),
    lambda unknown: {unknown: 1},
    lambda unknown: unknown + 1,
    lambda unknown: 1 - unknown,
    lambda unknown: unknown * 2.0,
    lambda unknown: 2.0 / unknown,
    lambda unknown: -unknown,
    lambda unknown: abs(unknown),
    lambda unknown: float(unknown),
    lambda unknown: round(unknown),
    lambda unknown: math.sqrt(unknown),
    lambda unknown: len(unknown),
    lambda unknown: list(unknown),
    lambda unknown: unknown[0],
]


@pytest.mark.parametrize("question", QUESTIONS)
def test_unknown_answers_no_question(question):
    with pytest.raises(NotRecorded):
        question(UNKNOWN)


def test_unknown_stays_the_same_object():
    assert copy.deepcopy([UNKNOWN])[0] is UNKNOWN
    assert pickle.loads(pickle.dumps(UNKNOWN)) is UNKNOWN
    assert repr(UNKNOWN) == "UNKNOWN"


class TestSchema:
    def test_facts_come_by_dotted_path_in_the_order_of_the_class(self):
        assert list(JOINT.facts) == [
            "name",
            *("a.name", "a.system", "a.bore_mm", "a.swivel", "a.material"),
            *("b.name", "b.system", "b.bore_mm", "b.swivel", "b.material"),
            "mating",
            "pressure_kpa",
        ]

    def test_a_label_is_the_name_of_the_field_without_its_unit(self):
        assert JOINT.facts["a.bore_mm"].label == "bore"
        assert JOINT.facts["a.system"].label == "connection"
        assert PART.facts["working_pressure_kpa"].label == "working pressure"
        assert PART.facts["ethanol_fraction"].label == "ethanol fraction"

    def test_unit_suffixes_that_are_not_the_unit_in_small_letters(self):
        @dataclass(frozen=True, slots=True)
        class Flows(Record):
            pump_flow_lph: Annotated[float, Number("L/h")]
            velocity_m_s: Annotated[float, Number("m/s")]
            fuel_temperature_c: Annotated[float, Number("degC")]
            ethanol_percent: Annotated[float, Number("%")]

        labels = [fact.label for fact in schema_of(Flows).facts.values()]
        assert labels == ["pump flow", "velocity", "fuel temperature", "ethanol"]

    def test_a_literal_type_may_stand_for_words_of_the_vocabulary(self):
        vocabulary = Vocabulary("use", ("road", "track", "competition"))

        @dataclass(frozen=True, slots=True)
        class Uses(Record):
            use: Annotated[Maybe[Literal["road", "track"]], Word(vocabulary)]
            uses: Annotated[frozenset[Literal["road", "track"]], Words(vocabulary)]

        assert schema_of(Uses).facts["use"].maybe
        assert not schema_of(Uses).facts["uses"].maybe

    @pytest.mark.parametrize(
        ("annotation", "message"),
        [
            (float, "must be a record or Annotated with one fact type"),
            (Annotated[float, "mm"], "must be a record or Annotated with one fact type"),
            (Annotated[float, Number(), Text()], "must be a record or Annotated"),
            (Annotated[str, Number("mm")], "is declared a number in mm but holds <class 'str'>"),
            (Annotated[Maybe[int], Flag()], "is declared a yes or no but holds <class 'int'>"),
            (Annotated[float | None, Number()], "is declared a number but holds"),
            (
                Annotated[Literal["road", "sea"], Word(Vocabulary("use", ("road",)))],
                r"is declared a word \(use\) but holds",
            ),
        ],
    )
    def test_a_field_must_hold_what_its_fact_type_says(self, annotation, message):
        wrong = dataclass(frozen=True, slots=True)(
            type("Wrong", (Record,), {"__annotations__": {"bore": annotation}})
        )
        with pytest.raises(TypeError, match=rf"Wrong\.bore {message}"):
            schema_of(wrong)

    def test_a_record_must_be_a_dataclass(self):
        class Plain(Record):
            pass

        with pytest.raises(TypeError, match="Plain must be a dataclass"):
            schema_of(Plain)

    def test_what_has_a_fact_is_named_by_the_record_that_holds_it(self):
        facts = JOINT.build({"name": "tube to rail", "a.name": "tube.b"})
        assert JOINT.facts["a.bore_mm"].owner_name(facts) == "tube.b"
        assert JOINT.facts["b.bore_mm"].owner_name(facts) == "not recorded"
        assert JOINT.facts["mating"].owner_name(facts) == "tube to rail"

    def test_a_record_without_a_name_takes_that_of_the_record_around_it(self):
        @dataclass(frozen=True, slots=True)
        class Seal(Record):
            form: Annotated[str, Text()]

        @dataclass(frozen=True, slots=True)
        class Port(Record):
            name: Annotated[str, Text()]
            seal: Seal

        @dataclass(frozen=True, slots=True)
        class Nameless(Record):
            seal: Seal

        fact = schema_of(Port).facts["seal.form"]
        assert fact.owner_name(Port("inlet", Seal("o-ring"))) == "inlet"
        fact = schema_of(Nameless).facts["seal.form"]
        assert fact.owner_name(Nameless(Seal("o-ring"))) == ""

    def test_origins_of_a_record_count_before_those_of_the_type(self):
        end = EndFacts("tube.b", "orb", 8.0, True, "brass", origins={"bore_mm": "request"})
        facts = JointFacts("joint", end, end, "never", 300.0)
        assert JOINT.facts["a.bore_mm"].origin_in(facts) == "request"
        assert JOINT.facts["a.system"].origin_in(facts) == "catalogue"
        assert JOINT.facts["mating"].origin_in(facts) == "reference table, SAE J514"


class TestBuild:
    def test_what_is_not_named_is_unknown(self):
        facts = JOINT.build({"a.system": "orb", "b.bore_mm": 8, "a.swivel": None})
        assert facts.a.system == "orb"
        assert facts.b.bore_mm == 8
        assert facts.a.swivel is UNKNOWN
        assert facts.a.name is UNKNOWN
        assert facts.mating is UNKNOWN
        assert facts.a.origins == {}

    def test_a_list_becomes_a_set_of_words(self):
        facts = PART.build({"markings": ["SAE J30 R9"]})
        assert facts.markings == frozenset({"SAE J30 R9"})

    def test_every_fault_is_named_at_once(self):
        with pytest.raises(ValueError, match="there is no fact") as caught:
            JOINT.build({"a.sytem": "orb", "a": "orb", "b.bore_mm": 0, "b.system": "orbb"})
        assert str(caught.value).split("; ") == [
            'there is no fact "a.sytem"',
            'did you mean "a.system"?',
            '"a" is a record',
            "name one of its facts, such as a.name",
            "b.bore_mm: must be more than zero, not 0",
            'b.system: "orbb" is no connection system',
            'did you mean "orb"?',
        ]


class TestFactTypes:
    @pytest.mark.parametrize(
        ("fact_type", "value", "message"),
        [
            (Number("mm"), "8", 'must be a number in mm, not "8"'),
            (Number(), True, "must be a number, not true"),
            (Number(), [1], "must be a number, not a list"),
            (Number(), {}, "must be a number, not a dict"),
            (Number(), math.nan, "must be a finite number, not nan"),
            (Number(), math.inf, "must be a finite number, not inf"),
            (Number(positive=True), 0, "must be more than zero, not 0"),
            (Number(positive=True), -1.5, "must be more than zero, not -1.5"),
            (Flag(), 1, "must be true or false, not 1"),
            (Flag(), "yes", 'must be true or false, not "yes"'),
            (Text(), 6, "must be text, not 6"),
            (Word(Vocabulary("use", ("road",))), False, "must be a word (use), not false"),
            (Word(Vocabulary("use", ("road",))), "rod", '"rod" is no use; did you mean "road"?'),
            (Word(Vocabulary("use", ("road",))), "sea", '"sea" is no use; it may be road'),
            (
                Words(Vocabulary("use", ("road",))),
                "road",
                'must be a list of use words, not "road"',
            ),
            (Words(Vocabulary("use", ("road",))), ["sea"], '"sea" is no use; it may be road'),
        ],
    )
    def test_a_value_that_does_not_suit_is_refused(self, fact_type, value, message):
        with pytest.raises(ValueError, match=r"must be|is no") as caught:
            fact_type.accept(value)
        assert str(caught.value) == message

    @pytest.mark.parametrize(
        ("fact_type", "value", "text"),
        [
            (Number("mm"), 14.2875, "14.29 mm"),
            (Number("kPa", shown="bar"), 300.0, "3 bar"),
            (Number("kPa", shown="bar"), 433.33, "4.333 bar"),
            (Number("kPa"), 12345.6, "12346 kPa"),
            (Number("L/h"), 999.96, "1000 L/h"),
            (Number("kg/s"), 0.0412, "0.0412 kg/s"),
            (Number(shown="%"), 0.855, "85.5 %"),
            (Number(), 6, "6"),
            (Number(), -0.0, "0"),
            (Flag(), True, "yes"),
            (Flag(), False, "no"),
            (Text(), "tube.b", "tube.b"),
            (Word(Vocabulary("x", ("orb", "npt"), {"orb": "O-ring boss"})), "orb", "O-ring boss"),
            (Word(Vocabulary("x", ("orb", "npt"), {"orb": "O-ring boss"})), "npt", "npt"),
            (Words(Vocabulary("x", ("c", "b", "a"))), frozenset("abc"), "c, b, a"),
            (Words(Vocabulary("x", ("c", "b", "a"))), frozenset(), "none"),
        ],
    )
    def test_a_value_is_shown_as_people_read_it(self, fact_type, value, text):
        assert fact_type.show(value) == text

    def test_a_unit_is_only_shown_as_one_it_can_be_turned_into(self):
        with pytest.raises(ValueError, match="no factor is known to show kPa as mm"):
            Number("kPa", shown="mm")

    @given(st.floats(min_value=1e-3, max_value=1e6))
    def test_a_number_keeps_four_digits(self, value):
        assert significant(value) == pytest.approx(value, rel=5.1e-4)
        assert float(number_text(value)) == significant(value)
        digits = number_text(value).replace(".", "").lstrip("0")
        assert len(digits) <= (4 if value < 999.5 else 7)


class TestVocabulary:
    @pytest.mark.parametrize("words", [(), ("orb", "orb")])
    def test_must_hold_words_and_none_twice(self, words):
        with pytest.raises(ValueError, match="'system' is empty or holds a word twice"):
            Vocabulary("system", words)

    def test_shows_only_words_it_holds(self):
        with pytest.raises(ValueError, match="'system' has no word 'orbb'"):
            Vocabulary("system", ("orb",), {"orbb": "O-ring boss"})


class TestFaultsOfARecord:
    END = EndFacts("tube.b", "orb", 8.0, True, "brass")

    def test_a_sound_record_has_none(self):
        assert JOINT.faults_of(JointFacts("joint", self.END, self.END, UNKNOWN, 0.0)) == []

    def test_every_value_that_breaks_its_type_is_named(self):
        end = EndFacts(UNKNOWN, "orbb", 0.0, 1, "brass", origins={"bore": "request"})  # type: ignore[arg-type]
        assert JOINT.faults_of(JointFacts("joint", self.END, end, "never", math.nan)) == [
            "b.name: must be known",
            'b.system: "orbb" is no connection system; did you mean "orb"?',
            "b.bore_mm: must be more than zero, not 0.0",
            "b.swivel: must be true or false, not 1",
            "pressure_kpa: must be a finite number, not nan",
            'b.origins: there is no fact "bore"',
        ]


def test_an_origins_field_is_no_fact():
    @dataclass(frozen=True, slots=True)
    class Facts(Record):
        bore_mm: Annotated[float, Number("mm")]
        origins: Mapping[str, str] = field(default_factory=dict)

    assert list(schema_of(Facts).facts) == ["bore_mm"]
    assert schema_of(Facts).build({}).origins == {}
