from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rules.expression import Unanswered
from rules.language import (
    FIRES,
    PASSES,
    Condition,
    ConditionFaults,
    Fault,
    Outcome,
    Predicate,
    compile_condition,
)
from rules.schema import UNKNOWN, Flag, Schema
from tests.rules.small_language import (
    JOINT,
    MATERIALS,
    MATINGS,
    PART,
    PREDICATES,
    SYSTEMS,
    either,
    seals,
    swelling,
)


def joint_condition(source: str) -> Condition:
    return compile_condition(source, JOINT, PREDICATES)


def decide_joint(source: str, **facts: object) -> Outcome:
    return joint_condition(source).decide(JOINT.build(with_dots(facts)))


def decide_part(source: str, **facts: object) -> Outcome:
    return compile_condition(source, PART, PREDICATES).decide(PART.build(facts))


def with_dots(facts: dict[str, object]) -> dict[str, object]:
    """Turn a__bore_mm=8 into a.bore_mm: 8."""
    return {name.replace("__", "."): value for name, value in facts.items()}


def cannot_tell(*paths: str) -> Outcome:
    return Outcome("cannot-tell", paths)


class TestWhatCanBeWritten:
    @pytest.mark.parametrize(
        ("source", "holds"),
        [
            ("a.bore_mm == 8", True),
            ("a.bore_mm != 8", False),
            ("a.bore_mm < 8.0001", True),
            ("a.bore_mm <= 7.9", False),
            ("8 > b.bore_mm", True),
            ("a.bore_mm >= b.bore_mm", True),
            ("6 <= b.bore_mm < a.bore_mm == 8", True),
            ("6 < b.bore_mm < a.bore_mm", False),
            ("a.bore_mm in (6, 8)", True),
            ("a.bore_mm not in [6, 8.5]", True),
            ("a.bore_mm + b.bore_mm == 14", True),
            ("a.bore_mm - b.bore_mm * 2 == -4", True),
            ("a.bore_mm / b.bore_mm > 1.3", True),
            ("a.bore_mm / -2 == -4", True),
            ("a.bore_mm / (1 + 1) == 4", True),
            ("a.bore_mm * b.bore_mm / a.bore_mm == b.bore_mm", True),
            ("-a.bore_mm == -8", True),
            ('a.system == "flare-37"', True),
            ('"flare-37" != a.system', False),
            ("a.system == b.system", False),
            ('b.system in ("orb", "npt")', True),
            ('b.system in ("npt",)', False),
            ('b.system not in ("npt", "barb")', True),
            ("a.swivel", True),
            ("not a.swivel", False),
            ("a.swivel == b.swivel", False),
            ("b.swivel == False", True),
            ("a.swivel and not b.swivel", True),
            ("b.swivel or a.swivel and a.bore_mm > 7", True),
            ("(b.swivel or a.swivel) and a.bore_mm > 9", False),
            ('a.name == "tube.b"', True),
            ('a.name in ("tube.a", "rail.inlet")', False),
            ("a.name != b.name", True),
            ("seals(a.system, b.system)", False),
            ('seals("orb", b.system)', True),
            ("wide(a.bore_mm - 1)", True),
            ("wide(5)  or  named(a.name)", True),
            ('swelling(a.material, 0.85) > 0.3 and a.material == "nbr"', True),
        ],
    )
    def test_known_facts_decide(self, source, holds):
        outcome = decide_joint(
            source,
            a__name="tube.b",
            a__system="flare-37",
            a__bore_mm=8.0,
            a__swivel=True,
            a__material="nbr",
            b__name="rail.inlet",
            b__system="orb",
            b__bore_mm=6.0,
            b__swivel=False,
            b__material="brass",
        )
        assert outcome == (FIRES if holds else PASSES)

    @pytest.mark.parametrize(
        ("source", "holds"),
        [
            ('"SAE J30 R9" in markings', True),
            ('"SAE J30 R10" not in markings', True),
            ("approved(markings) and submerged", True),
            ("pressure_kpa < working_pressure_kpa - 50", True),
            ("pressure_kpa / working_pressure_kpa > 0.5", False),
            ("quantity == 6", True),
            ("ethanol_fraction >= 0.85", True),
        ],
    )
    def test_sets_flags_and_units(self, source, holds):
        outcome = decide_part(
            source,
            markings=["SAE J30 R9"],
            submerged=True,
            pressure_kpa=400.0,
            working_pressure_kpa=1000.0,
            quantity=6,
            ethanol_fraction=0.85,
        )
        assert outcome == (FIRES if holds else PASSES)

    def test_a_condition_may_run_over_several_lines(self):
        source = '\n  a.system == "orb"\n    and b.system\n\t== "orb"\n'
        assert decide_joint(source, a__system="orb", b__system="orb") == FIRES

    def test_a_hash_in_a_word_is_no_comment(self):
        assert decide_joint('a.name == "#10"', a__name="#10") == FIRES

    def test_the_facts_asked_are_listed_once_from_left_to_right(self):
        condition = joint_condition("b.bore_mm > 3 and seals(a.system, b.system) or b.bore_mm < 1")
        assert [fact.path for fact in condition.facts] == ["b.bore_mm", "a.system", "b.system"]


class TestThreeValuedLogic:
    @pytest.mark.parametrize(
        ("a", "b", "both", "one"),
        [
            (True, True, FIRES, FIRES),
            (True, False, PASSES, FIRES),
            (True, None, cannot_tell("b.swivel"), FIRES),
            (False, True, PASSES, FIRES),
            (False, False, PASSES, PASSES),
            (False, None, PASSES, cannot_tell("b.swivel")),
            (None, True, cannot_tell("a.swivel"), FIRES),
            (None, False, PASSES, cannot_tell("a.swivel")),
            (None, None, *[cannot_tell("a.swivel", "b.swivel")] * 2),
        ],
    )
    def test_and_and_or(self, a, b, both, one):
        facts = {"a__swivel": a, "b__swivel": b}
        assert decide_joint("a.swivel and b.swivel", **facts) == both
        assert decide_joint("a.swivel or b.swivel", **facts) == one

    @pytest.mark.parametrize(
        ("value", "outcome"), [(True, PASSES), (False, FIRES), (None, cannot_tell("a.swivel"))]
    )
    def test_not(self, value, outcome):
        assert decide_joint("not a.swivel", a__swivel=value) == outcome

    @pytest.mark.parametrize(
        ("source", "paths"),
        [
            ("a.bore_mm == 8", ["a.bore_mm"]),
            ("a.bore_mm != a.bore_mm", ["a.bore_mm"]),
            ("3 < a.bore_mm < b.bore_mm", ["a.bore_mm", "b.bore_mm"]),
            ("a.bore_mm + b.bore_mm > 3", ["a.bore_mm", "b.bore_mm"]),
            ("-a.bore_mm * 2 > b.bore_mm", ["a.bore_mm", "b.bore_mm"]),
            ('a.system in ("orb", "npt")', ["a.system"]),
            ('a.system not in ("orb",)', ["a.system"]),
            ("a.bore_mm in (1, 2)", ["a.bore_mm"]),
            ("a.swivel", ["a.swivel"]),
            ("a.swivel == b.swivel", ["a.swivel", "b.swivel"]),
            ("seals(a.system, b.system)", ["a.system", "b.system"]),
            ('seals(a.system, "orb") == True', ["a.system"]),
            ("wide(a.bore_mm + b.bore_mm)", ["a.bore_mm", "b.bore_mm"]),
        ],
    )
    def test_an_unrecorded_fact_leaves_open_what_asks_it(self, source, paths):
        assert decide_joint(source) == cannot_tell(*paths)

    def test_membership_in_an_unrecorded_set_is_open(self):
        assert decide_part('"SAE J30 R9" in markings') == cannot_tell("markings")
        assert decide_part('"SAE J30 R9" not in markings') == cannot_tell("markings")

    @pytest.mark.parametrize(
        ("source", "outcome"),
        [
            ("a.bore_mm > 3 and b.bore_mm > 3", PASSES),
            ("b.bore_mm < 3 or a.bore_mm > 3", FIRES),
            ("a.swivel and b.bore_mm > 3 or a.bore_mm > 3", cannot_tell("a.bore_mm")),
            ("(a.swivel or b.bore_mm < 3) and a.bore_mm > 3", cannot_tell("a.bore_mm")),
            ("not (a.swivel and b.bore_mm > 3)", FIRES),
            ("not (a.bore_mm > 3 or a.swivel)", cannot_tell("a.bore_mm", "a.swivel")),
            ("a.bore_mm > 3 and a.swivel and a.bore_mm < 9", cannot_tell("a.bore_mm", "a.swivel")),
        ],
    )
    def test_only_what_the_answer_hangs_on_is_named(self, source, outcome):
        assert decide_joint(source, b__bore_mm=2) == outcome


class TestPredicates:
    def test_one_without_an_answer_leaves_the_rule_open_and_is_named(self):
        outcome = decide_joint("seals(a.system, b.system)", a__system="barb", b__system="barb")
        question = Unanswered("seals", "the mating table", ("a.system", "b.system"))
        assert outcome == Outcome("cannot-tell", (), (question,))

    @pytest.mark.parametrize(
        "source",
        [
            "not seals(a.system, b.system)",
            "seals(a.system, b.system) == True",
            "a.swivel and seals(a.system, b.system)",
            "seals(a.system, b.system) and a.swivel",
        ],
    )
    def test_no_answer_is_never_taken_for_one(self, source):
        facts = {"a__system": "barb", "b__system": "barb", "a__swivel": True}
        assert decide_joint(source, **facts).decision == "cannot-tell"

    def test_no_answer_inside_arithmetic(self):
        outcome = decide_part("swelling(material, 0.5) * 2 > 0.1", material="fkm-a")
        assert outcome.unanswered == (Unanswered("swelling", "swelling", ("material",)),)

    def test_no_answer_does_not_matter_where_another_fact_settles_it(self):
        source = "seals(a.system, b.system) or a.swivel"
        facts = {"a__system": "barb", "b__system": "barb", "a__swivel": True}
        assert decide_joint(source, **facts) == FIRES

    @pytest.mark.parametrize(
        ("a", "b", "outcome"),
        [
            (True, None, FIRES),
            (None, True, FIRES),
            (False, None, cannot_tell("b.swivel")),
            (None, None, cannot_tell("a.swivel", "b.swivel")),
            (False, False, PASSES),
        ],
    )
    def test_one_that_takes_unknowns_may_answer_all_the_same(self, a, b, outcome):
        source = "either(a.swivel, b.swivel)"
        assert decide_joint(source, a__swivel=a, b__swivel=b) == outcome

    def test_one_that_asks_an_unknown_value_has_no_answer(self):
        # A record may hold a value whose parts are unknown; touching one raises NotRecorded.
        forgetful = Predicate("forgetful", (Flag(),), Flag(), lambda _: bool(UNKNOWN))
        condition = compile_condition("forgetful(a.swivel)", JOINT, [forgetful])
        outcome = condition.decide(JOINT.build({"a.swivel": True}))
        assert outcome.unanswered == (Unanswered("forgetful", "forgetful", ("a.swivel",)),)

    def test_one_without_parameters(self):
        always = Predicate("always", (), Flag(), lambda: True)
        condition = compile_condition("always() and a.swivel", JOINT, [always])
        assert condition.decide(JOINT.build({"a.swivel": True})) == FIRES

    @pytest.mark.parametrize("name", ["and", "two words", "3rd", ""])
    def test_the_name_must_be_one_that_can_be_called(self, name):
        with pytest.raises(ValueError, match="cannot be the name of a predicate"):
            Predicate(name, (), Flag(), bool)


def faults_of(source: str, schema: Schema = JOINT) -> list[tuple[str, str]]:
    """Return the text pointed at and the message, for every fault."""
    return [
        (source[fault.offset : fault.offset + fault.length], fault.message)
        for fault in _faults(source, schema)
    ]


def told(source: str, schema: Schema = JOINT) -> str:
    """Return the source, and under it a caret line and a message for every fault."""
    lines = [source]
    for fault in _faults(source, schema):
        lines += [" " * fault.offset + "^" * fault.length, fault.message]
    return "\n".join(lines)


def _faults(source: str, schema: Schema) -> list[Fault]:
    with pytest.raises(ConditionFaults) as caught:
        compile_condition(source, schema, PREDICATES)
    return caught.value.faults


NAMES = """
a.sytem == "orb"
^^^^^^^
there is no fact "a.sytem"; did you mean "a.system"?

a.swivel and zzz
             ^^^
there is no fact "zzz"

a == b.system
^
"a" is a record; name one of its facts, such as a.name

a.__class__ == "x"
^^^^^^^^^^^
there is no fact "a.__class__"

"orb".x == a.system
^^^^^^^
only records of facts have parts reached by a dot

seals == True
^^^^^
"seals" is a predicate; call it: seals(...)
"""

CALLS = """
sealed(a.system)
^^^^^^
there is no predicate "sealed"; did you mean "seals"?

__import__("os")
^^^^^^^^^^
there is no predicate "__import__"

mating(a.system)
^^^^^^
"mating" is a fact, not a predicate

a.seals(b)
^^^^^^^
a predicate is called by its name alone: name(...)

seals(a.system)
^^^^^^^^^^^^^^^
seals takes 2 arguments in order, without names

seals(a.system, *b.name)
^^^^^^^^^^^^^^^^^^^^^^^^
seals takes 2 arguments in order, without names

wide(bore_mm=a.bore_mm)
^^^^^^^^^^^^^^^^^^^^^^^
wide takes 1 argument in order, without names

seals(a.system, "orbb")
                ^^^^^^
"orbb" is no connection system; did you mean "orb"?

seals(a.material, b.system)
      ^^^^^^^^^^
argument 1 of seals must be a word (connection system), a.material is a word (material)

named(3)
      ^
argument 1 of named must be a text, 3 is a number

either(True, a.bore_mm)
             ^^^^^^^^^
argument 2 of either must be a yes or no, a.bore_mm is a number in mm

wide(pressure_kpa)
     ^^^^^^^^^^^^
argument 1 of wide must be a number in mm, pressure_kpa is a number in kPa
"""

WORDS_AND_FLAGS = """
a.system == "orbb"
            ^^^^^^
"orbb" is no connection system; did you mean "orb"?

"orbb" != a.system
^^^^^^
"orbb" is no connection system; did you mean "orb"?

mating in ("never", "seals")
                    ^^^^^^^
"seals" is no mating; did you mean "seals-with"?

mating == "x"
          ^^^
"x" is no mating; it may be seals-with, threads-no-seal or never

a.system == a.material
^^^^^^^^^^^^^^^^^^^^^^
a.system is a word (connection system), a.material is a word (material): they do not match

a.system == a.name
^^^^^^^^^^^^^^^^^^
a.system is a word (connection system), a.name is a text: they do not match

a.system > 3
^^^^^^^^^^^^
a.system is a word (connection system), 3 is a number: they do not match

a.bore_mm == "8"
^^^^^^^^^^^^^^^^
a.bore_mm is a number in mm, "8" is a text: they do not match

a.bore_mm in (1, "x")
^^^^^^^^^^^^^^^^^^^^
a.bore_mm is a number in mm, "x" is a text: they do not match

a.swivel == 1
^^^^^^^^^^^^^
a.swivel is a yes or no, 1 is a number: they do not match

a.bore_mm == True
^^^^^^^^^^^^^^^^^
a.bore_mm is a number in mm, True is a yes or no: they do not match

a.system < "orb"
^^^^^^^^^^^^^^^^
"<" needs numbers, a.system is a word (connection system)

a.swivel >= b.swivel
^^^^^^^^^^^^^^^^^^^^
">=" needs numbers, a.swivel is a yes or no

a.system + 1 > 2
^^^^^^^^
"+" needs numbers, a.system is a word (connection system)

-a.swivel
 ^^^^^^^^
"-" needs numbers, a.swivel is a yes or no

a.bore_mm and a.swivel
^^^^^^^^^
"and" needs a yes or no, a.bore_mm is a number in mm

not a.system
    ^^^^^^^^
"not" needs a yes or no, a.system is a word (connection system)
"""

UNITS = """
a.bore_mm > pressure_kpa
^^^^^^^^^^^^^^^^^^^^^^^^
a.bore_mm is a number in mm, pressure_kpa is a number in kPa: they do not match

a.bore_mm + pressure_kpa > 3
^^^^^^^^^^^^^^^^^^^^^^^^
a.bore_mm is a number in mm, pressure_kpa is a number in kPa: they do not match

a.bore_mm * b.bore_mm > a.bore_mm
^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
a.bore_mm * b.bore_mm is a number in mm2, a.bore_mm is a number in mm: they do not match

pressure_kpa / a.bore_mm == b.bore_mm
^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
pressure_kpa / a.bore_mm is a number in kPa/mm, b.bore_mm is a number in mm: they do not match

3 / pressure_kpa > 1
    ^^^^^^^^^^^^
pressure_kpa may be zero, so nothing can be divided by it

a.bore_mm / 0 > 1
            ^
0 may be zero, so nothing can be divided by it

1 / (a.bore_mm - b.bore_mm) > 1
     ^^^^^^^^^^^^^^^^^^^^^
a.bore_mm - b.bore_mm may be zero, so nothing can be divided by it

1 / -a.bore_mm > 1
    ^^^^^^^^^^
-a.bore_mm may be zero, so nothing can be divided by it
"""

UNITS_OF_A_PART = """
pressure_kpa > pressure_bar
^^^^^^^^^^^^^^^^^^^^^^^^^^^
pressure_kpa is a number in kPa, pressure_bar is a number in bar: they do not match

wall_mm < length_m
^^^^^^^^^^^^^^^^^^
wall_mm is a number in mm, length_m is a number in m: they do not match

ethanol_fraction < wall_mm
^^^^^^^^^^^^^^^^^^^^^^^^^^
ethanol_fraction is a number, wall_mm is a number in mm: they do not match
"""

LISTS_AND_SETS = """
material in ("nbr")
             ^^^^^
"in" needs a list; one word is written ("nbr",)

material in ()
            ^^
nothing is ever "in" an empty list

material in ("nbr", "brass", "nbr")
                             ^^^^^
"nbr" is listed twice

material in (material, "nbr")
             ^^^^^^^^
a list holds only words and numbers written out

"nbr" in ("nbr", "brass")
^^^^^
this looks for a constant among constants; ask a fact

material in material
            ^^^^^^^^
"in" needs a list or a set of words, material is a word (material)

material == ("nbr", "brass")
            ^^^^^^^^^^^^^^^^
a list may only stand after "in"

markings == "SAE J30 R9"
^^^^^^^^^^^^^^^^^^^^^^^^
a set of words is asked with "in"

"SAE J30 R8" in markings
^^^^^^^^^^^^
"SAE J30 R8" is no marking; did you mean "SAE J30 R9"?

material in markings
^^^^^^^^^^^^^^^^^^^^
material is a word (material), markings is a set of words (marking): they do not match
"""

ASKING_NOTHING = """
a.bore_mm
^^^^^^^^^
a condition must be true or false, this is a number in mm

"orb"
^^^^^
a condition must be true or false, this is a text

1 < 2 and a.swivel
^^^^^
this compares two constants

True
^^^^
the condition asks no fact

wide(3)
^^^^^^^
the condition asks no fact
"""

PYTHON_ONLY = """
a.bore_mm ** 2 > 3
^^^^^^^^^^^^^^
arithmetic has + - * / only; for more, ask a predicate

a.bore_mm // 2 > 3
^^^^^^^^^^^^^^
arithmetic has + - * / only; for more, ask a predicate

a.swivel & b.swivel
^^^^^^^^^^^^^^^^^^^
arithmetic has + - * / only; for more, ask a predicate

a.swivel is True
^^^^^^^^^^^^^^^^
write "==" for "is" and "!=" for "is not"

a.bore_mm in (1, 2) == True
^^^^^^^^^^^^^^^^^^^^^^^^^^^
only == != < <= > >= can be chained

a.swivel if b.swivel else True
^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
"if ... else" is not part of the rule language

lambda: True
^^^^^^^^^^^^
"lambda" is not part of the rule language

a.name[0] == "x"
^^^^^^^^^
indexing with [ ] is not part of the rule language

[x for x in a.name]
^^^^^^^^^^^^^^^^^^^
"for" is not part of the rule language

(x := 3) > a.bore_mm
 ^^^^^^
":=" is not part of the rule language

a.name == f"{b.name}"
          ^^^^^^^^^^^
a text with placeholders is not part of the rule language

a.name == b"x"
          ^^^^
b"x" is not part of the rule language

a.bore_mm > 3j
            ^^
3j is not part of the rule language

~a.swivel
^^^^^^^^^
~a.swivel is not part of the rule language

a.system in {"orb"}
            ^^^^^^^
{ } is not part of the rule language

a.name in (*a.name, "x")
           ^^^^^^^
"*" before a list is not part of the rule language

a.bore_mm > 1e16
            ^^^^
the number is too large
"""

UNREADABLE = """
a.bore_mm = 8
          ^
the rule language writes "==" for "is equal to"

a.swivel && b.swivel
         ^^
the rule language writes "and" for "&&"

a.swivel || b.swivel
         ^^
the rule language writes "or" for "||"

!a.swivel
^
the rule language writes "not" for "!"

a.bore_mm <> 3
          ^^
the rule language writes "!=" for "<>"

a.swivel and
           ^
cannot be read as a condition: it ends too early

(a.swivel
^
cannot be read as a condition: '(' was never closed

a.swivel) or (b.swivel
        ^
cannot be read as a condition: unmatched ')'

a.swivel; b.swivel
        ^
cannot be read as a condition: invalid syntax

a.swivel # b
         ^
a condition holds no comment; put it on a YAML line of its own

a.name == "\\x41"
           ^
backslashes are not part of the rule language
"""

SEVERAL = """
a.sytem == "orb" and b.system == "orbb" or a.bore_mm > pressure_kpa and sealed(a.system)
^^^^^^^
there is no fact "a.sytem"; did you mean "a.system"?
                                 ^^^^^^
"orbb" is no connection system; did you mean "orb"?
                                           ^^^^^^^^^^^^^^^^^^^^^^^^
a.bore_mm is a number in mm, pressure_kpa is a number in kPa: they do not match
                                                                        ^^^^^^
there is no predicate "sealed"; did you mean "seals"?

not -(a.bor_mm + 1) > b.bore_mm
      ^^^^^^^^
there is no fact "a.bor_mm"; did you mean "a.bore_mm"?

a.name == "½ø" and a.sytem == "orb"
                   ^^^^^^^
there is no fact "a.sytem"; did you mean "a.system"?
"""


def each_of(*texts: str) -> list[str]:
    return [each for text in texts for each in text.strip("\n").split("\n\n")]


class TestFaults:
    @pytest.mark.parametrize(
        "expected",
        each_of(
            *(NAMES, CALLS, WORDS_AND_FLAGS, UNITS, ASKING_NOTHING, PYTHON_ONLY, UNREADABLE),
            SEVERAL,
        ),
    )
    def test_of_a_joint_are_told_at_their_place(self, expected):
        assert told(expected.partition("\n")[0]) == expected

    @pytest.mark.parametrize("expected", each_of(UNITS_OF_A_PART, LISTS_AND_SETS))
    def test_of_a_part_are_told_at_their_place(self, expected):
        assert told(expected.partition("\n")[0], PART) == expected

    def test_none_explains_why_it_is_not_needed(self):
        [(pointed, message)] = faults_of("a.bore_mm == None")
        assert pointed == "None"
        assert message.startswith('"None" is not part of the rule language: a rule that needs')

    @pytest.mark.parametrize("source", ["", " ", "\n  \n"])
    def test_a_blank_condition_is_missing(self, source):
        assert faults_of(source) == [(source[:1], "a condition is missing")]

    def test_places_count_from_the_start_of_the_source_over_all_its_lines(self):
        assert faults_of('\n  a.name == "½ø" and\n  a.sytem == "orb"') == [
            ("a.sytem", 'there is no fact "a.sytem"; did you mean "a.system"?')
        ]

    def test_a_number_of_any_length_is_refused(self):
        assert faults_of(f"a.bore_mm > {'9' * 400}") == [("9" * 400, "the number is too large")]

    def test_a_long_condition_is_refused(self):
        source = " or ".join(["a.swivel"] * 50)
        assert len(source) == 596
        assert decide_joint(source, a__swivel=True) == FIRES
        [(_, message)] = faults_of(source + " " * 5)
        assert message.startswith("a condition has at most 600 characters, this has 601")

    def test_a_deep_condition_is_refused(self):
        assert decide_joint("not " * 22 + "a.swivel", a__swivel=True) == FIRES
        [(_, message)] = faults_of("not " * 23 + "a.swivel")
        assert message.startswith("a condition nests at most 24 deep, this 25")

    @pytest.mark.parametrize("source", ["(" * 299 + "1" + ")" * 299, "-" * 599 + "1"])
    def test_the_deepest_text_of_that_length_is_refused_and_breaks_nothing(self, source):
        assert len(faults_of(source)) == 1


# Conditions of any shape ----------------------------------------------------------------------

ENDS = st.sampled_from(["a", "b"])
NUMBERS = st.recursive(
    ENDS.map("{}.bore_mm".format) | st.integers(1, 9).map(str),
    lambda inner: st.builds("({} {} {})".format, inner, st.sampled_from("+-"), inner),
    max_leaves=3,
)
COMPARISONS = st.builds(
    "{} {} {}".format,
    ENDS.map("{}.bore_mm".format),
    st.sampled_from(["==", "!=", "<", "<=", ">", ">="]),
    NUMBERS,
)
WORDS = st.builds(
    '{}.system {} "{}"'.format, ENDS, st.sampled_from(["==", "!="]), st.sampled_from(SYSTEMS.words)
) | st.builds(
    "{}.system {} {}".format,
    ENDS,
    st.sampled_from(["in", "not in"]),
    st.lists(st.sampled_from(SYSTEMS.words), min_size=1, unique=True),
)
QUESTIONS = st.sampled_from(
    [
        "seals(a.system, b.system)",
        "swelling(a.material, 0.5) > 0.1",
        "either(a.swivel, b.swivel)",
        'mating == "never"',
        "a.swivel",
        "b.swivel",
    ]
)
CONDITIONS = st.recursive(
    COMPARISONS | WORDS | QUESTIONS,
    lambda inner: (
        st.builds("({} {} {})".format, inner, st.sampled_from(["and", "or"]), inner)
        | inner.map("(not {})".format)
    ),
    max_leaves=6,
)

KNOWN: dict[str, st.SearchStrategy[Any]] = {
    f"{end}.{name}": values
    for end in "ab"
    for name, values in {
        "system": st.sampled_from(SYSTEMS.words),
        "bore_mm": st.integers(1, 9).map(float),
        "swivel": st.booleans(),
        "material": st.sampled_from(MATERIALS.words),
    }.items()
} | {"mating": st.sampled_from(MATINGS.words)}
ALL_KNOWN = st.fixed_dictionaries(KNOWN)
SOME_PATHS = st.sets(st.sampled_from(sorted(KNOWN)))


class _Namespace:
    def __init__(self, facts: dict[str, Any], prefix: str) -> None:
        for path, value in facts.items():
            if path.startswith(prefix):
                setattr(self, path.removeprefix(prefix), value)


class TestAnyCondition:
    @given(CONDITIONS, ALL_KNOWN)
    def test_means_what_python_means_by_it(self, source, facts):
        # Both predicates answer everything but these.
        assume("barb" not in (facts["a.system"], facts["b.system"]))
        assume(facts["a.material"] != "fkm-a")
        names = {
            "a": _Namespace(facts, "a."),
            "b": _Namespace(facts, "b."),
            "mating": facts["mating"],
            "seals": seals,
            "swelling": swelling,
            "either": either,
        }
        expected = eval(source, {"__builtins__": {}}, names)
        assert decide_joint_facts(source, facts) == (FIRES if expected else PASSES)

    @given(CONDITIONS, ALL_KNOWN, SOME_PATHS)
    def test_the_compiled_text_and_the_logic_agree(self, source, facts, forgotten):
        condition = joint_condition(source)
        record = JOINT.build({path: facts[path] for path in facts.keys() - forgotten})
        assert condition.decide(record) == condition.weigh(record)

    @given(CONDITIONS, ALL_KNOWN, SOME_PATHS)
    def test_forgetting_a_fact_never_turns_the_answer(self, source, facts, forgotten):
        before = decide_joint_facts(source, facts)
        less = {path: facts[path] for path in facts.keys() - forgotten}
        after = decide_joint_facts(source, less)
        assert after.decision in (before.decision, "cannot-tell")

    @given(CONDITIONS, ALL_KNOWN, SOME_PATHS)
    def test_recording_what_is_named_settles_it_and_nothing_else_does(
        self, source, facts, forgotten
    ):
        recorded = {path: facts[path] for path in facts.keys() - forgotten}
        outcome = decide_joint_facts(source, recorded)
        assume(outcome.unrecorded)
        named = {path: facts[path] for path in outcome.unrecorded}
        others = {path: facts[path] for path in forgotten - set(outcome.unrecorded)}

        assert set(outcome.unrecorded) <= forgotten
        assert not decide_joint_facts(source, recorded | named).unrecorded
        assert decide_joint_facts(source, recorded | others).unrecorded == outcome.unrecorded

    @given(st.text(max_size=40) | st.text("ab.swivel ()[]{}<>=!&|+-*/'\"#,01", max_size=40))
    def test_any_text_is_a_condition_or_has_faults_inside_it(self, source):
        faults = None
        try:
            joint_condition(source)
        except ConditionFaults as caught:
            faults = caught.faults
        assert faults is None or faults
        for fault in faults or ():
            assert fault.message
            assert 0 <= fault.offset <= len(source)
            assert fault.length >= 1


def decide_joint_facts(source: str, facts: dict[str, Any]) -> Outcome:
    return joint_condition(source).decide(JOINT.build(facts))
