"""What a check answers: findings with their evidence, and one verdict.

The same request, book and catalogue give the same report, byte for byte: nothing here depends on
time, chance or the order of a set.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.parts import Model

Severity = Literal["error", "warning", "note", "unknown"]
Verdict = Literal["fits", "fits-with-cautions", "does-not-fit", "cannot-tell"]


class Evidence(Model):
    """One fact that a finding rests on, with its value, unit and where it came from."""

    fact: str
    value: str | int | float | bool | tuple[str, ...] | None = Field(
        description="`null` where the fact is not recorded."
    )
    unit: str | None = None
    of: str = Field(description="The part, port or application it belongs to.")
    origin: str = Field(alias="from", description="Catalogue, request, reference table, computed.")


class Subject(Model):
    """What a finding is about."""

    about: Literal["part", "material", "port", "joint", "run", "assembly"]
    refs: tuple[str, ...]
    ports: tuple[str, ...] = ()
    pointer: str = Field(description="RFC 6901 pointer to the first place in the request.")
    pointers: tuple[str, ...] = Field(description="Pointers to every place the finding holds.")


class Suggestion(Model):
    """A part to add or to put in place of another."""

    sku: str
    quantity: int
    name: str
    replaces: tuple[str, ...] = Field(default=(), description="Refs it takes the place of.")


class Remedy(Model):
    """What to change, with parts of the catalogue where one is stocked."""

    text: str
    add: tuple[Suggestion, ...] = ()
    replace: tuple[Suggestion, ...] = ()


class Finding(Model):
    """One cause, with everything it affects."""

    rule: str
    severity: Severity
    could_be: Literal["error", "warning", "note"] | None = Field(
        default=None, description="For an unknown: the severity if the worst turned out true."
    )
    open_rules: tuple[str, ...] = Field(
        default=(), description="For an unknown: the rules that stay open without it."
    )
    subject: Subject
    message: str = Field(description="Short enough to read aloud.")
    because: tuple[Evidence, ...]
    explanation: str = Field(description="Long enough to print.")
    remedy: Remedy
    sources: tuple[str, ...]
    cautions: tuple[str, ...] = ()


class NotChecked(Model):
    """Something the report does not speak about, and why."""

    what: str
    why: str


class SwitchedOff(Model):
    """A built-in rule that the shop's own book has switched off."""

    rule: str
    reason: str


class ChangedSeverity(Model):
    """A built-in rule whose severity the shop's own book has changed."""

    rule: str
    was: str
    now: str
    reason: str


class BookStamp(Model):
    """Which book judged."""

    version: str
    switched_off: tuple[SwitchedOff, ...] = ()
    changed: tuple[ChangedSeverity, ...] = ()


class Counts(Model):
    """Findings by severity."""

    error: int = 0
    warning: int = 0
    note: int = 0
    unknown: int = 0


class Report(Model):
    """The answer to a check."""

    verdict: Verdict
    counts: Counts
    findings: tuple[Finding, ...]
    not_checked: tuple[NotChecked, ...]
    cautions: tuple[str, ...] = Field(
        description="What anyone working on a fuel system must know, whatever the verdict."
    )
    book: BookStamp
    catalogue_revision: int
    fingerprint: Annotated[
        str, Field(description="Of the request, the book's version and the catalogue revision.")
    ]


def verdict(findings: tuple[Finding, ...]) -> Verdict:
    """The verdict that findings add up to.

    An error stands whatever else is unknown. An unknown that could be an error leaves the answer
    open; one that could at most be a warning is a caution itself.
    """
    if any(f.severity == "error" for f in findings):
        return "does-not-fit"
    if any(f.severity == "unknown" and f.could_be == "error" for f in findings):
        return "cannot-tell"
    if any(f.severity in ("warning", "unknown") for f in findings):
        return "fits-with-cautions"
    return "fits"
