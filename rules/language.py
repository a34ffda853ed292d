"""The language of conditions: a checked subset of Python's expression syntax.

    a.system == "flare-37" and b.system in ("orb", "iso-6149") and not seals(a.form, b.form)

It has comparisons, `and`/`or`/`not`, `in` over a written list or a set-valued fact, `+ - * /`,
numbers, words, `True`/`False`, facts by dotted name and calls of declared predicates; nothing
else. A text is checked against a schema before anything is evaluated, and everything wrong with it
is reported at once: a misspelt fact, a number against a word, a word outside its vocabulary, kPa
against bar, a division by what may be zero.

A checked condition has three outcomes: it fires, it passes, or one cannot tell because the answer
hangs on facts that nobody recorded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from rules.checker import Checker
from rules.expression import Open, Predicate, Unanswered, compiled, facts_of, weighing
from rules.facttypes import NotRecorded, Vocabulary
from rules.schema import Fact, Schema
from rules.sourcetext import ConditionFaults, Fault, TextFaults, parsed

__all__ = [
    "FIRES",
    "PASSES",
    "Condition",
    "ConditionFaults",
    "Decision",
    "Fault",
    "Language",
    "Outcome",
    "Predicate",
    "SubjectType",
    "TextFaults",
    "Unanswered",
    "compile_condition",
]


@dataclass(frozen=True)
class SubjectType:
    """Something rules are about: its facts and, where it comes in kinds, their vocabulary."""

    schema: Schema
    kinds: Vocabulary | None = None


@dataclass(frozen=True)
class Language:
    """All that a rule book may speak about.

    `subjects` by the word after `about:`; `finders` are the names that may stand after a remedy's
    `find:`.
    """

    subjects: Mapping[str, SubjectType]
    predicates: Sequence[Predicate] = ()
    finders: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        names = [each.name for each in self.predicates]
        if len(set(names)) != len(names):
            raise ValueError("two predicates have the same name")


# Outcomes -------------------------------------------------------------------------------------

Decision: TypeAlias = Literal["fires", "passes", "cannot-tell"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a condition says of a record.

    When it cannot tell, `unrecorded` holds the dotted paths of the unrecorded facts the answer
    hangs on and `unanswered` the predicates that were asked and had no answer. Facts that could not
    change the answer are not among them.
    """

    decision: Decision
    unrecorded: tuple[str, ...] = ()
    unanswered: tuple[Unanswered, ...] = ()


FIRES = Outcome("fires")
PASSES = Outcome("passes")


@dataclass(frozen=True, slots=True)
class Condition:
    """A checked and compiled condition.

    `facts` are those it asks, from left to right. `holds` is the compiled text: True or False when
    every fact it came to is recorded; else it raises `NotRecorded` or returns something else, and
    `weigh` has to decide. `decide` does both.
    """

    source: str
    facts: tuple[Fact, ...] = field(repr=False)
    holds: Callable[[Any], Any] = field(repr=False, compare=False)
    _weighing: Callable[[Any], Any] = field(repr=False, compare=False)

    def decide(self, facts: Any) -> Outcome:
        """Decide the condition for a record."""
        try:
            answer = self.holds(facts)
        except NotRecorded:
            return self.weigh(facts)
        if answer is True:
            return FIRES
        return PASSES if answer is False else self.weigh(facts)

    def weigh(self, facts: Any) -> Outcome:
        """Decide the condition for a record in three-valued logic."""
        answer = self._weighing(facts)
        if isinstance(answer, Open):
            return Outcome("cannot-tell", answer.unrecorded, answer.unanswered)
        return FIRES if answer else PASSES


def compile_condition(source: str, schema: Schema, predicates: Iterable[Predicate]) -> Condition:
    """Check the text of a condition against a schema and compile it.

    Raises `ConditionFaults` holding all its faults.
    """
    expression, text = parsed(source)
    checker = Checker(text, schema, {each.name: each for each in predicates})
    condition = checker.condition(expression)
    if checker.faults:
        raise ConditionFaults(source, checker.faults)
    return Condition(source, tuple(facts_of(condition)), compiled(condition), weighing(condition))
