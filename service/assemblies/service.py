"""What may be done to saved assemblies."""

from __future__ import annotations

import json
import re
import secrets
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final

from sqlalchemy import Connection

from rules.carts import CartReport
from rules.difference import ApplicationChanges
from rules.report import Finding, Report
from rules.signoff import SignOff, acceptance, fingerprint, may_be_accepted, speaking_of
from service.assemblies import store
from service.assemblies.schemas import (
    AssemblyCheck,
    AssemblyFuelChange,
    AssemblySummary,
    AssemblyWhatIf,
    Draft,
    NewSignOff,
    ToldFinding,
)
from service.checks.judge import Judge, Question
from service.conditional import require_match
from service.database import Write
from service.problems import Fault, Problem, invalid, problem, rendering
from service.snapshot import load
from service.what_if.schemas import FuelAsked
from service.what_if.service import answer, for_fuel

MOST_SIGN_OFFS: Final = 400
_MOST_NAMED: Final = 12


def _at(judge: Judge, write: Write) -> Judge:
    """The same with the catalogue as the transaction finds it.

    This process may not have heard yet of what another one wrote; what a write refers to must be
    there when it is committed.
    """
    if judge.catalogue.revision == write.found:
        return judge
    return replace(judge, catalogue=load(write.connection, judge.catalogue))


def new_id(moment: datetime) -> str:
    """A UUID of version 7 (RFC 9562): ids sort by the millisecond they were made in."""
    milliseconds = int(moment.timestamp() * 1000)
    low = secrets.randbits(74)
    version, variant = 7, 0b10
    bits = milliseconds << 80 | version << 76 | (low >> 62) << 64
    return str(uuid.UUID(int=bits | variant << 62 | low & (1 << 62) - 1))


# Assemblies -----------------------------------------------------------------------------------


def find(connection: Connection, assembly_id: str, version: int | None = None) -> store.Stored:
    """A version of an assembly; the current one, where none is named.

    Raises:
        Problem: 404.
    """
    found = store.find(connection, assembly_id, version)
    if found is None:
        of_version = "" if version is None else f" version {version} of an"
        raise problem("not-found", f"There is no{of_version} assembly `{rendering(assembly_id)}`.")
    return found


def create(write: Write, draft: Draft, judge: Judge, moment: datetime) -> store.Stored:
    """Check an assembly and store it.

    Raises:
        Problem: 422, it names what does not exist.
    """
    report = _at(judge, write).report_on(draft.request, "/request")
    assembly_id = new_id(moment)
    store.create(write, assembly_id, draft, report, moment)
    return find(write.connection, assembly_id)


def put(
    write: Write,
    assembly_id: str,
    draft: Draft,
    if_match: str | None,
    judge: Judge,
    moment: datetime,
) -> store.Stored:
    """Check an assembly and store it as the next version of another.

    Raises:
        Problem: 404, 412 or 428; 422, it names what does not exist.
    """
    stored = find(write.connection, assembly_id)
    require_match(if_match, stored.current, f"`{assembly_id}`")
    report = _at(judge, write).report_on(draft.request, "/request")
    store.replace(write, assembly_id, stored.current + 1, draft, report, moment)
    return find(write.connection, assembly_id)


def delete(write: Write, assembly_id: str, if_match: str | None) -> None:
    """Delete an assembly with all its versions and sign-offs.

    Raises:
        Problem: 404, 412 or 428.
    """
    stored = find(write.connection, assembly_id)
    require_match(if_match, stored.current, f"`{assembly_id}`")
    store.remove(write, assembly_id)


def summary(stored: store.Stored) -> AssemblySummary:
    """A stored version without what it is made of."""
    return AssemblySummary(
        id=stored.id,
        version=stored.version,
        name=stored.name,
        owner=stored.owner,
        checked=stored.checked(),
        created_at=stored.created_at,
        saved_at=stored.saved_at,
    )


def full_document(stored: store.Stored) -> str:
    """The JSON of an `Assembly`, with what was saved exactly as it was saved."""
    told = summary(stored).model_dump(mode="json", exclude_none=True)
    return json.dumps({**told, **json.loads(stored.document)}, ensure_ascii=False)


def version_of_cursor(last: str | None) -> int | None:
    """The version after which a page begins.

    Raises:
        Problem: 422, the cursor is not one of a list of versions.
    """
    if last is None:
        return None
    if not re.fullmatch(r"[1-9][0-9]{0,8}", last):
        raise invalid(
            [
                Fault(
                    "/cursor",
                    rendering(last),
                    "The cursor is not one that this service gave.",
                    "the `next_cursor` of the page before, with its other parameters",
                    "cursor",
                    "query",
                )
            ]
        )
    return int(last)


# Checks ---------------------------------------------------------------------------------------


def report_on(stored: store.Stored, asked: Question, judge: Judge) -> Report | CartReport:
    """The report on a stored version as it stands now.

    Raises:
        Problem: 409, the catalogue no longer holds what the version names.
    """
    try:
        return judge.report_on(asked, "/request")
    except Problem as refused:
        raise problem(
            "conflict",
            f"Version {stored.version} of `{stored.id}` cannot be checked any more: "
            f"{refused.errors[0].detail}",
            refused.errors,
        ) from refused


def check(stored: store.Stored, sign_offs: Sequence[SignOff], judge: Judge) -> AssemblyCheck:
    """A stored version checked now, beside what was found when it was saved.

    Raises:
        Problem: 409, the catalogue no longer holds what the version names.
    """
    report = report_on(stored, stored.draft().request, judge)
    then, now = stored.told(), store.told_of(report)
    return AssemblyCheck(
        assembly=stored.id,
        version=stored.version,
        checked=stored.checked(),
        stale=report.fingerprint != stored.fingerprint,
        appeared=_new_in(now, then),
        vanished=_new_in(then, now),
        report=report,
        sign_offs=acceptance(report, sign_offs),
    )


def _new_in(some: Iterable[ToldFinding], others: Iterable[ToldFinding]) -> tuple[ToldFinding, ...]:
    known = {each.finding for each in others}
    return tuple(each for each in some if each.finding not in known)


def what_if(
    stored: store.Stored,
    sign_offs: Sequence[SignOff],
    changes: ApplicationChanges,
    judge: Judge,
) -> AssemblyWhatIf:
    """A stored version in another application.

    Raises:
        Problem: 409, the catalogue no longer holds what the version names; 422, the changes name a
            fuel that does not exist.
    """
    asked = stored.draft().request
    before = report_on(stored, asked, judge)
    found = answer(asked, before, changes, judge)
    return AssemblyWhatIf(
        **dict(found),
        assembly=stored.id,
        version=stored.version,
        sign_offs_before=acceptance(before, sign_offs),
        sign_offs_after=acceptance(found.report, sign_offs),
    )


def fuel_change(
    stored: store.Stored, sign_offs: Sequence[SignOff], asked: FuelAsked, judge: Judge
) -> AssemblyFuelChange:
    """What a stored version needs to run another fuel.

    Raises:
        Problem: 409, the catalogue no longer holds what the version names; 422, there is no such
            fuel.
    """
    saved = stored.draft().request
    before = report_on(stored, saved, judge)
    found = for_fuel(saved, before, asked, judge)
    return AssemblyFuelChange(
        **dict(found),
        assembly=stored.id,
        version=stored.version,
        sign_offs_before=acceptance(before, sign_offs),
        sign_offs_after=acceptance(found.report, sign_offs),
    )


# Sign-offs ------------------------------------------------------------------------------------


def sign_off(
    write: Write, assembly_id: str, given: NewSignOff, judge: Judge, moment: datetime
) -> SignOff:
    """Accept a finding of the current version.

    Raises:
        Problem: 404; 409, it is an error or a note, or is accepted already; 422, there is no such
            finding or there are several.
    """
    stored = find(write.connection, assembly_id)
    report = report_on(stored, stored.draft().request, _at(judge, write))
    finding = _meant(report, given)
    before = store.sign_offs_of(write.connection, assembly_id)
    made = _signed(finding, given, before, moment)
    store.add_sign_off(write, assembly_id, made)
    return made


def _meant(report: Report, given: NewSignOff) -> Finding:
    if given.finding is not None:
        found = [each for each in report.findings if fingerprint(each) == given.finding]
    else:
        assert given.rule is not None
        found = list(speaking_of(report.findings, given.rule, given.refs))
    acceptable = [each for each in found if may_be_accepted(each.severity)]
    if len(acceptable) > 1:
        raise invalid([_several(given, acceptable)])
    if not found:
        raise invalid([_none_such(report, given)])
    return (acceptable or found)[0]


def _signed(
    finding: Finding, given: NewSignOff, before: Sequence[SignOff], moment: datetime
) -> SignOff:
    severity = finding.severity
    if not may_be_accepted(severity):
        raise problem("conflict", _REFUSALS[severity].format(message=finding.message))
    own = fingerprint(finding)
    if accepted := [each.name for each in before if each.finding == own]:
        raise problem("conflict", f"{accepted[0]} has accepted this already: {finding.message}")
    if len(before) >= MOST_SIGN_OFFS:
        raise problem(
            "conflict", f"The assembly has {MOST_SIGN_OFFS} sign-offs; remove unused ones."
        )
    return SignOff(
        id=new_id(moment),
        finding=own,
        rule=finding.rule,
        refs=finding.subject.refs,
        severity=severity,
        message=finding.message,
        name=given.name,
        reason=given.reason,
        signed_at=moment,
    )


_REFUSALS: Final = {
    "error": "An error cannot be signed off, it has to be mended: {message}",
    "note": "A note needs no sign-off: {message}",
}


def _several(given: NewSignOff, found: Sequence[Finding]) -> Fault:
    listed = ", ".join(f"`{fingerprint(each)}` ({each.message})" for each in found[:_MOST_NAMED])
    return Fault(
        "/rule",
        given.rule,
        f"{len(found)} findings of this rule are about these items.",
        f"one of them as `finding`: {listed}",
        "several-findings",
    )


def _none_such(report: Report, given: NewSignOff) -> Fault:
    acceptable = [each for each in report.findings if may_be_accepted(each.severity)]
    listed = ", ".join(
        f"`{each.rule}` of {', '.join(each.subject.refs) or 'the assembly'}"
        for each in acceptable[:_MOST_NAMED]
    )
    named, place = (given.finding, "/finding") if given.finding else (given.rule, "/rule")
    return Fault(
        place,
        named,
        "The current version has no such finding.",
        f"one of {listed}" if listed else "nothing: there is no warning and no unknown to accept",
        "no-finding",
    )


def find_sign_off(connection: Connection, assembly_id: str, sign_off_id: str) -> SignOff:
    """A sign-off of an assembly.

    Raises:
        Problem: 404.
    """
    find(connection, assembly_id)
    for each in store.sign_offs_of(connection, assembly_id):
        if each.id == sign_off_id:
            return each
    raise _no_sign_off(assembly_id, sign_off_id)


def remove_sign_off(write: Write, assembly_id: str, sign_off_id: str) -> None:
    """Take a sign-off away; what it accepted counts again.

    Raises:
        Problem: 404.
    """
    find(write.connection, assembly_id)
    if not store.remove_sign_off(write, assembly_id, sign_off_id):
        raise _no_sign_off(assembly_id, sign_off_id)


def _no_sign_off(assembly_id: str, sign_off_id: str) -> Problem:
    return problem(
        "not-found",
        f"Assembly `{rendering(assembly_id)}` has no sign-off `{rendering(sign_off_id)}`.",
    )
