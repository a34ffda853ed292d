"""How a rule of the book is written over HTTP."""

from __future__ import annotations

from collections.abc import Set

from pydantic import BaseModel, ConfigDict, Field, JsonValue

from rules.engine import Book, Rule, Severity
from rules.language import Decision


class Shown(BaseModel):
    """What all answers about the book share."""

    model_config = ConfigDict(frozen=True)


class RuleSummary(Shown):
    """A rule in short."""

    id: str = Field(description="Says the fault; never used again for another.")
    family: str = Field(description="The file of the book it is written in.", examples=["joints"])
    about: str = Field(description="What it is asked of.", examples=["joint"])
    kinds: tuple[str, ...] = Field(
        description="The only kinds of part it is asked of; empty for all."
    )
    severity: Severity = Field(description="How a finding of it is ranked.")
    message: str = Field(description="What it says; names in braces are facts.")


class RuleFact(Shown):
    """A fact that a rule rests on."""

    name: str = Field(description="Dotted name, as conditions write it.")
    label: str = Field(description="Its name for people.")
    origin: str = Field(description="Where its value comes from.")


class RuleRemedy(Shown):
    """What to do about a finding."""

    text: str = Field(description="The advice; names in braces are facts.")
    find: str | None = Field(description="How parts are looked for in the catalogue, if they are.")


class RuleExample(Shown):
    """Facts on which a rule must decide as expected; facts not named are unknown."""

    expected: Decision = Field(description="What the rule has to decide.")
    facts: dict[str, JsonValue] = Field(description="Facts by dotted name.")


class RuleDetails(RuleSummary):
    """A rule in full, as the book writes it."""

    when: str = Field(description="The condition under which it fires.")
    explanation: str = Field(description="Why it is so; names in braces are facts.")
    because: tuple[RuleFact, ...] = Field(description="The facts shown as evidence.")
    remedy: RuleRemedy = Field(description="What to do about it.")
    sources: tuple[str, ...] = Field(description="Where it is written, or common practice.")
    cautions: tuple[str, ...] = Field(description="Dangers that a finding of it warns of.")
    examples: tuple[RuleExample, ...] = Field(
        description="Facts that must trip it, must not, or leave it open; run whenever it loads."
    )


class RuleSwitchedOff(Shown):
    """A built-in rule that the shop has switched off."""

    rule: str = Field(description="Its id.")
    reason: str = Field(description="Why.")


class RuleChanged(Shown):
    """A built-in rule whose severity the shop has changed."""

    rule: str = Field(description="Its id.")
    was: Severity = Field(description="The severity of the built-in book.")
    now: Severity = Field(description="The shop's severity.")
    reason: str = Field(description="Why.")


class BookListing(Shown):
    """The rules in force, in the order of the book."""

    version: str = Field(
        description="Names the built-in book and, after a plus, the shop's own.",
        examples=["2026.11"],
    )
    rules: tuple[RuleSummary, ...] = Field(description="Rules that match the filters.")
    switched_off: tuple[RuleSwitchedOff, ...] = Field(description="Rules that are never asked.")
    changed: tuple[RuleChanged, ...] = Field(description="Rules with the shop's severity.")


class RuleFilters(BaseModel):
    """Which rules to list."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    about: str | None = Field(
        default=None, max_length=40, description="Only rules asked of this subject."
    )
    family: str | None = Field(
        default=None, max_length=80, description="Only rules of this family."
    )
    severity: Severity | None = Field(default=None, description="Only rules of this severity.")


def summary(rule: Rule) -> RuleSummary:
    """A rule in short."""
    return RuleSummary(
        id=rule.id,
        family=rule.family,
        about=rule.about,
        kinds=tuple(sorted(rule.kinds)),
        severity=rule.severity,
        message=rule.message.source,
    )


def full(rule: Rule) -> RuleDetails:
    """A rule in full."""
    return RuleDetails(
        **summary(rule).model_dump(),
        when=rule.condition.source,
        explanation=rule.explanation.source,
        because=tuple(
            RuleFact(name=fact.path, label=fact.label, origin=fact.origin) for fact in rule.because
        ),
        remedy=RuleRemedy(text=rule.remedy.text.source, find=rule.remedy.find),
        sources=rule.sources,
        cautions=tuple(caution.source for caution in rule.cautions),
        examples=tuple(
            RuleExample(
                expected=each.expected,
                facts={name: _plain(value) for name, value in each.values.items()},
            )
            for each in rule.examples
        ),
    )


def _plain(value: object) -> JsonValue:
    """A fact of an example as JSON: a set of words is a list in their order."""
    if isinstance(value, Set):
        return sorted(value)
    if isinstance(value, str | float | int | None):
        return value
    raise TypeError(f"{value!r} is no value of a fact")


def listing(book: Book, rules: tuple[Rule, ...]) -> BookListing:
    """A choice of a book's rules, with what the shop has changed about the book."""
    return BookListing(
        version=book.version,
        rules=tuple(map(summary, rules)),
        switched_off=tuple(
            RuleSwitchedOff(rule=each.rule, reason=each.reason) for each in book.switched_off
        ),
        changed=tuple(
            RuleChanged(rule=each.rule, was=each.was, now=each.severity, reason=each.reason)
            for each in book.changed
        ),
    )
