"""Sign-off: a person accepts a warning or an unknown, and the report says who and why.

A sign-off accepts one finding on the facts that it rested on. When those change, it accepts nothing
any more and says so; an error is accepted by nobody.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Annotated, Literal, TypeGuard, get_args

from pydantic import AfterValidator, Field

from rules.connections import Words, writable
from rules.parts import Model
from rules.report import Evidence, Finding, Report, Severity, Verdict, verdict

Acceptable = Literal["warning", "unknown"]
"""Severities that a person may accept."""

Fingerprint = Annotated[
    str,
    Field(
        pattern=r"^[0-9a-f]{32}$",
        description="Fingerprint of a finding: its rule, severity, places and facts.",
        examples=["5f0c2f6f6b1d4f4b9f6f2b8a3c1d0e9a"],
    ),
]
Reason = Annotated[
    str,
    AfterValidator(writable),
    Field(
        min_length=1,
        max_length=1000,
        description="Why it is accepted.",
        examples=["Supplier confirmed the element in writing for ethanol up to 85 %."],
    ),
]
_BETWEEN_NAMES = re.compile(r", | and ")


class SignOff(Model):
    """What a person has accepted."""

    id: str = Field(description="Its id.", examples=["0197f3a0-6d3e-7c40-8a57-1f0d3a9b2c11"])
    finding: Fingerprint
    rule: str = Field(description="The rule of the finding.")
    refs: tuple[str, ...] = Field(description="The items that the finding concerns.")
    severity: Acceptable = Field(description="The severity of the finding.")
    message: str = Field(description="The finding as it was told to the person.")
    name: Words = Field(description="Who accepts it.", examples=["J. Marsh, workshop"])
    reason: Reason
    signed_at: datetime = Field(description="When it was accepted.")


class OpenFinding(Model):
    """A warning or an unknown that nobody has accepted."""

    finding: Fingerprint
    rule: str = Field(description="The rule of the finding.")
    refs: tuple[str, ...] = Field(description="The items that it concerns.")
    severity: Acceptable = Field(description="Its severity.")
    message: str = Field(description="What is found.")


class AcceptedFinding(OpenFinding):
    """A warning or an unknown that somebody has accepted: it stands, and no longer counts."""

    sign_offs: tuple[SignOff, ...] = Field(description="Who accepts it and why.")


class UnusedSignOff(Model):
    """A sign-off that accepts nothing in this report."""

    sign_off: SignOff = Field(description="The sign-off.")
    why: str = Field(
        description="Why it accepts nothing.",
        examples=["The finding is gone."],
    )


class Acceptance(Model):
    """What the sign-offs of an assembly make of a report."""

    verdict: Verdict = Field(description="The verdict on all findings that nobody has accepted.")
    accepted: tuple[AcceptedFinding, ...] = Field(
        description="Findings that are accepted, in the order of the report."
    )
    open: tuple[OpenFinding, ...] = Field(
        description="Findings that could be accepted, in the order of the report."
    )
    unused: tuple[UnusedSignOff, ...] = Field(
        description="Sign-offs that accept nothing any more: renew them or take them away."
    )


def fingerprint(finding: Finding) -> str:
    """32 hexadecimal digits that stand for a finding on its facts.

    Equal for equal findings whatever their wording, their sources and their places in the request.
    Numbers count to six digits, so that the last bits of a computed one make no other finding.
    """
    facts = sorted(
        [e.fact, _digits(e.value), e.unit, sorted(_BETWEEN_NAMES.split(e.of))]
        for e in finding.because
    )
    subject = finding.subject
    places = [subject.about, sorted(subject.refs), sorted(subject.ports)]
    open_rules = sorted(finding.open_rules)
    text = json.dumps(
        [finding.rule, finding.severity, finding.could_be, open_rules, places, facts],
        default=list,
    )
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _digits(value: object) -> str:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return f"{value:.6g}" if is_number else json.dumps(value, default=list)


def may_be_accepted(severity: Severity) -> TypeGuard[Acceptable]:
    """Whether a person may accept a finding of this severity."""
    return severity in get_args(Acceptable)


def speaking_of(findings: Iterable[Finding], rule: str, refs: Iterable[str]) -> tuple[Finding, ...]:
    """The findings of a rule about exactly these items."""
    wanted = set(refs)
    return tuple(f for f in findings if f.rule == rule and set(f.subject.refs) == wanted)


def acceptance(report: Report, sign_offs: Sequence[SignOff]) -> Acceptance:
    """What the sign-offs of an assembly make of a report about it.

    Every sign-off is either with a finding it accepts or among those that accept nothing.
    """
    given: defaultdict[str, list[SignOff]] = defaultdict(list)
    for sign_off in sign_offs:
        given[sign_off.finding].append(sign_off)
    accepted, still_open, counting = [], [], []
    for finding in report.findings:
        own = fingerprint(finding)
        told = _opened(finding, own)
        by = given.pop(own, []) if told is not None else []
        if told is not None and by:
            accepted.append(AcceptedFinding(**dict(told), sign_offs=tuple(by)))
            continue
        counting.append(finding)
        if told is not None:
            still_open.append(told)
    return Acceptance(
        verdict=verdict(tuple(counting)),
        accepted=tuple(accepted),
        open=tuple(still_open),
        unused=tuple(_unused(report, sign_offs, given)),
    )


def _opened(finding: Finding, own: str) -> OpenFinding | None:
    if not may_be_accepted(finding.severity):
        return None
    return OpenFinding(
        finding=own,
        rule=finding.rule,
        refs=finding.subject.refs,
        severity=finding.severity,
        message=finding.message,
    )


def _unused(
    report: Report, sign_offs: Iterable[SignOff], left: Iterable[str]
) -> Iterator[UnusedSignOff]:
    remaining = set(left)
    for sign_off in sign_offs:
        if sign_off.finding in remaining:
            yield UnusedSignOff(sign_off=sign_off, why=_why(report, sign_off))


def _why(report: Report, sign_off: SignOff) -> str:
    alike = speaking_of(report.findings, sign_off.rule, sign_off.refs)
    if any(finding.severity == "error" for finding in alike):
        return "It is an error now, and an error cannot be signed off."
    if facts := "; ".join(_told(e) for finding in alike for e in finding.because):
        return f"The finding rests on other facts now: {facts}."
    return "The finding is gone."


def _told(evidence: Evidence) -> str:
    value = evidence.value
    if value is None:
        said = "not recorded"
    elif isinstance(value, tuple):
        said = ", ".join(value)
    else:
        said = f"{value:g}" if isinstance(value, float) else str(value)
    unit = f" {evidence.unit}" if evidence.unit else ""
    return f"{evidence.fact} of {evidence.of} {said}{unit}"
