"""A rule of the book: a condition with all that a report says when it fires."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias, get_args

from rules.facttypes import NOT_RECORDED, UNKNOWN
from rules.language import Condition, Decision, Outcome
from rules.schema import Fact, Record
from rules.templates import Template

Severity: TypeAlias = Literal["error", "warning", "note"]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)


@dataclass(frozen=True, slots=True)
class Evidence:
    """A fact as a report shows it.

    `fact` is its label; `value` a number in `unit`, or text; `of` the name of what has the fact;
    `origin` where the value came from. A fact nobody recorded has the value "not recorded".
    """

    path: str
    fact: str
    value: str | float
    unit: str | None
    of: str
    origin: str


def evidence_of(fact: Fact, facts: Any) -> Evidence:
    """Return a fact of a top record as evidence."""
    value = fact.read(facts)
    known = value is not UNKNOWN
    return Evidence(
        path=fact.path,
        fact=fact.label,
        value=fact.type.display(value) if known else NOT_RECORDED,
        unit=fact.type.display_unit if known else None,
        of=fact.owner_name(facts),
        origin=fact.origin_in(facts),
    )


@dataclass(frozen=True, slots=True)
class Remedy:
    """What to do about it; `find` names the finder that looks for parts in the catalogue."""

    text: Template
    find: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Example:
    """Facts on which a rule has to decide as `expected`.

    `values` are those written in the book, by dotted path; `facts` the record made from them, in
    which all others are unknown. `place` is "file:line".
    """

    expected: Decision
    values: Mapping[str, object]
    facts: Record = field(repr=False)
    place: str


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One rule, equal only to itself. No `kinds` means every kind; `place` is "file:line"."""

    id: str
    family: str
    about: str
    kinds: frozenset[str]
    condition: Condition
    severity: Severity
    message: Template
    explanation: Template
    because: tuple[Fact, ...]
    remedy: Remedy
    sources: tuple[str, ...]
    cautions: tuple[Template, ...]
    examples: tuple[Example, ...]
    place: str

    def render_message(self, facts: Any) -> str:
        """Return the message for a record; short enough to be read aloud."""
        return self.message.render(facts)

    def render_explanation(self, facts: Any) -> str:
        """Return the explanation for a record."""
        return self.explanation.render(facts)

    def render_remedy(self, facts: Any) -> str:
        """Return the text of the remedy for a record."""
        return self.remedy.text.render(facts)

    def render_cautions(self, facts: Any) -> list[str]:
        """Return the cautions for a record."""
        return [caution.render(facts) for caution in self.cautions]

    def evidence(self, facts: Any) -> list[Evidence]:
        """Return the facts the rule rests on, as they are in a record."""
        return [evidence_of(fact, facts) for fact in self.because]


def example_outcomes(rule: Rule) -> Iterator[tuple[Example, Outcome]]:
    """Yield every example of a rule with what the rule decides on it."""
    for example in rule.examples:
        yield example, rule.condition.decide(example.facts)
