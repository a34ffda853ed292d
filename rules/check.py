"""The main door: a request, a catalogue and a rule book in, a report out.

book = load_rules()
report = check(request, catalogue, book)
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from rules import engine
from rules.assembly import Request
from rules.catalogue import Catalogue
from rules.circuit import AssemblyFault, AssemblyFaults, Circuit, place
from rules.facts.application import application_facts
from rules.facts.case import RECORD, STATE, Case, Gap
from rules.facts.flow import Study, flow_block, study
from rules.facts.subjects import SUBJECTS, cases
from rules.facts.whole import regulator_count
from rules.language import Language, Outcome
from rules.remedies import FINDERS, Found, Search
from rules.report import (
    BookStamp,
    ChangedSeverity,
    Counts,
    Evidence,
    Finding,
    NotChecked,
    Remedy,
    Report,
    Subject,
    Suggestion,
    SwitchedOff,
    verdict,
)
from rules.schema import Unknown

__all__ = ["LANGUAGE", "AssemblyFault", "AssemblyFaults", "check", "load_rules"]

LANGUAGE = Language(subjects=SUBJECTS, predicates=(), finders=frozenset(FINDERS))
"""All that a rule may speak about."""

_GENERAL_CAUTIONS = (
    "Fuel burns people: work on a cold engine, relieve the pressure and disconnect the battery.",
    "Ventilate, keep every source of ignition away and a class B extinguisher at hand.",
    "Renew every seal that was disturbed, and leak-check with the pump on before the first start.",
    "Tighten each joint to its table, mark it with paint, and look again warm at idle and after "
    "the first drive and heat cycle.",
    "This is advice, not approval: local codes, emissions law and a licensed fitter decide.",
)

_SEVERITY_ORDER = ("error", "unknown", "warning", "note")


def load_rules(shop_directory: Path | None = None) -> engine.Book:
    """The built-in rule book, with a shop's own directory on top of it.

    Raises:
        engine.BookFaults: with every fault of every file.
    """
    with as_file(files("rules") / "book") as built_in:
        directories = [built_in, shop_directory] if shop_directory else [built_in]
        return engine.load_book(LANGUAGE, directories)


def is_built_in(directory: Path) -> bool:
    """Whether a directory is the one of the built-in rule book."""
    with as_file(files("rules") / "book") as built_in:
        return directory.resolve() == built_in.resolve()


def check(request: Request, catalogue: Catalogue, book: engine.Book) -> Report:
    """Judge an assembly.

    Raises:
        AssemblyFaults: the request names parts, ports, fuels or vehicles that do not exist.
    """
    circuit = place(request, catalogue)
    app = application_facts(circuit)
    flow = study(circuit, app)
    rulings = list(_rulings(cases(circuit, app, flow), book))
    fired = [r for r in rulings if r.ruling.outcome.decision == "fires"]
    open_ = [r for r in rulings if r.ruling.outcome.decision == "cannot-tell"]
    open_findings, open_notes = _unknowns(open_)
    findings = tuple(sorted([*_fired_findings(fired, circuit), *open_findings], key=_order))
    return Report(
        verdict=verdict(findings),
        counts=counted(findings),
        findings=findings,
        flow=flow_block(flow),
        not_checked=(*_flow_not_checked(flow), *_not_checked(circuit), *open_notes),
        cautions=_GENERAL_CAUTIONS,
        book=_stamp(book),
        catalogue_revision=catalogue.revision,
        fingerprint=_fingerprint(request, catalogue, book),
    )


@dataclass(frozen=True)
class _Ruled:
    """A ruling of the book with the case it is about.

    `divided` says that the rule fires on some of the values that the facts may have and passes on
    others.
    """

    ruling: engine.Ruling
    case: Case
    divided: bool = False

    @property
    def rule(self) -> engine.Rule:
        return self.ruling.rule


def _rulings(found: Iterable[Case], book: engine.Book) -> Iterator[_Ruled]:
    of_subject = {
        engine.Subject(case.about, case.kind, facts): case
        for case in found
        for facts in (case.facts, *case.alternatives)
    }
    of_several: defaultdict[tuple[Case, engine.Rule], list[engine.Ruling]] = defaultdict(list)
    for ruling in book.judge(of_subject):
        case = of_subject[ruling.subject]
        if case.alternatives:
            of_several[case, ruling.rule].append(ruling)
        elif ruling.outcome.decision == "fires" or _stays_open(ruling, case):
            yield _Ruled(ruling, case)
    for (case, _), rulings in of_several.items():
        yield _agreed(case, rulings)


def _agreed(case: Case, rulings: Sequence[engine.Ruling]) -> _Ruled:
    """What a rule says of a case whose facts have alternatives: that on which all of them agree."""
    first, outcomes = rulings[0], [ruling.outcome for ruling in rulings]
    asked = 1 + len(case.alternatives)
    if sum(outcome.decision == "fires" for outcome in outcomes) == asked:
        return _Ruled(first, case)
    unrecorded = tuple(dict.fromkeys(path for o in outcomes for path in o.unrecorded))
    open_ = engine.Ruling(first.rule, first.subject, Outcome("cannot-tell", unrecorded))
    return _Ruled(open_, case, divided=not unrecorded)


def _stays_open(ruling: engine.Ruling, case: Case) -> bool:
    """Whether an answer is missed, and any value that it may have keeps the rule from passing."""
    if case.settled.issuperset(ruling.outcome.unrecorded):
        return False
    facts: Any = case.facts
    return not case.outcomes or any(
        ruling.rule.condition.decide(replace(facts, **outcome)).decision != "passes"
        for outcome in case.outcomes
    )


# Findings of rules that fire -------------------------------------------------------------------


def _fired_findings(fired: Iterable[_Ruled], circuit: Circuit) -> Iterator[Finding]:
    """One finding for each rule and cause, with all it affects.

    Cases have one cause where the rule rests on the same values in each of them.
    """
    causes: defaultdict[tuple[object, ...], list[_Ruled]] = defaultdict(list)
    for ruled in fired:
        evidence = ruled.rule.evidence(ruled.case.facts)
        causes[ruled.rule.id, *((e.fact, e.value, e.unit) for e in evidence)].append(ruled)
    for group in causes.values():
        yield _finding(group, circuit)


def _finding(group: Sequence[_Ruled], circuit: Circuit) -> Finding:
    first = group[0]
    rule, facts = first.rule, first.case.facts
    return Finding(
        rule=rule.id,
        severity=rule.severity,
        subject=_subject([ruled.case for ruled in group]),
        message=rule.render_message(facts) + _elsewhere(group),
        because=_merged_evidence(group),
        explanation=rule.render_explanation(facts),
        remedy=_remedy(group, circuit),
        sources=tuple(dict.fromkeys([*rule.sources, *(s for r in group for s in r.case.sources)])),
        cautions=tuple(
            dict.fromkeys(c for r in group for c in r.rule.render_cautions(r.case.facts))
        ),
    )


def _elsewhere(group: Sequence[_Ruled]) -> str:
    if len(group) == 1:
        return ""
    names = ", ".join(str(getattr(ruled.case.facts, "name", "")) for ruled in group[1:])
    return f" The same holds for {names}."


def _subject(cases_of_cause: Sequence[Case]) -> Subject:
    pointers = tuple(dict.fromkeys(case.pointer for case in cases_of_cause))
    return Subject(
        about=cases_of_cause[0].about,
        refs=tuple(dict.fromkeys(ref for case in cases_of_cause for ref in case.refs)),
        ports=tuple(dict.fromkeys(port for case in cases_of_cause for port in case.ports)),
        pointer=pointers[0],
        pointers=pointers,
    )


def _merged_evidence(group: Sequence[_Ruled]) -> tuple[Evidence, ...]:
    """Each fact once, with everything that has it: both ends of a joint, all cases of a cause."""
    owners: defaultdict[tuple[object, ...], dict[str, None]] = defaultdict(dict)
    for ruled in group:
        for e in ruled.rule.evidence(ruled.case.facts):
            owners[e.fact, e.value, e.unit, e.origin][e.of] = None
    return tuple(
        Evidence.model_validate(
            {"fact": fact, "value": value, "unit": unit, "of": _listed(of), "from": origin}
        )
        for (fact, value, unit, origin), of in owners.items()
    )


def _listed(names: Iterable[str]) -> str:
    """Names in one phrase: `a`, `a and b`, `a, b and c`."""
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def _remedy(group: Sequence[_Ruled], circuit: Circuit) -> Remedy:
    first = group[0]
    text = first.rule.render_remedy(first.case.facts)
    finder = FINDERS.get(first.rule.remedy.find or "")
    if finder is None:
        return Remedy(text=text)
    found = [f for r in group for f in finder(Search(r.case, circuit))]
    return Remedy(
        text=text,
        add=_suggestions(f for f in found if f.replaces is None),
        replace=_suggestions(f for f in found if f.replaces is not None),
    )


def _suggestions(found: Iterable[Found]) -> tuple[Suggestion, ...]:
    """Suggestions by SKU, pieces added up."""
    by_sku: defaultdict[str, list[Found]] = defaultdict(list)
    replaced: set[str] = set()
    for one in found:
        # One item may have several faults of one cause; it is replaced once.
        if one.replaces not in replaced:
            by_sku[str(one.part.sku)].append(one)
        if one.replaces is not None:
            replaced.add(one.replaces)
    return tuple(_suggestion(sku, ones) for sku, ones in sorted(by_sku.items()))


def _suggestion(sku: str, ones: Sequence[Found]) -> Suggestion:
    part = ones[0].part
    pieces = sum(one.pieces for one in ones)
    pack = 1 if ones[0].replaces else getattr(part.spec, "pieces", None) or 1
    return Suggestion(
        sku=sku,
        quantity=-(-pieces // pack),
        name=part.name,
        replaces=tuple(one.replaces for one in ones if one.replaces),
        between=tuple(dict.fromkeys(one.between for one in ones if one.between)),
        needs=tuple(dict.fromkeys(need for one in ones for need in one.needs)),
    )


# What cannot be told ---------------------------------------------------------------------------


def _unknowns(open_: Iterable[_Ruled]) -> tuple[list[Finding], list[NotChecked]]:
    """One finding for each attribute that nobody recorded and that leaves a rule open.

    A note that stays open changes nothing; it is named among what was not checked.
    """
    by_attribute: defaultdict[str, list[tuple[Gap, _Ruled]]] = defaultdict(list)
    for ruled in open_:
        for gap in _gaps(ruled):
            by_attribute[gap.what].append((gap, ruled))
    findings, notes = [], []
    for what, gaps in by_attribute.items():
        if all(ruled.rule.severity == "note" for _, ruled in gaps):
            owners = ", ".join(sorted({gap.of for gap, _ in gaps}))
            rules = ", ".join(sorted({ruled.rule.id for _, ruled in gaps}))
            notes.append(NotChecked(what=rules, why=f"not recorded: {what} of {owners}"))
        else:
            findings.append(_unknown_finding(what, gaps))
    return findings, sorted(notes, key=lambda note: (note.what, note.why))


def _gaps(ruled: _Ruled) -> Iterator[Gap]:
    case = ruled.case
    if ruled.divided:
        yield from case.between
        return
    schema = SUBJECTS[case.about].schema
    missing = case.missing()
    for path in ruled.ruling.outcome.unrecorded:
        if path in missing:
            yield from missing[path]
        else:
            fact = schema.facts[path]
            remedy = STATE if path.startswith("app.") else RECORD
            yield Gap(fact.label, fact.owner_name(case.facts), remedy)


def _unknown_finding(what: str, gaps: Sequence[tuple[Gap, _Ruled]]) -> Finding:
    severities = {ruled.rule.severity for _, ruled in gaps}
    worst = "error" if "error" in severities else "warning"
    deciding = [ruled for _, ruled in gaps if ruled.rule.severity == worst]
    owners = tuple(dict.fromkeys(sorted(gap.of for gap, _ in gaps)))
    rules = tuple(dict.fromkeys(sorted(ruled.rule.id for _, ruled in gaps)))
    listed = ", ".join(owners)
    return Finding(
        rule=deciding[0].rule.id,
        severity="unknown",
        could_be=worst,
        open_rules=rules,
        subject=_subject(list({id(r.case): r.case for _, r in gaps}.values())),
        message=f"Not recorded: {what} of {listed}.",
        because=tuple(
            Evidence.model_validate(
                {"fact": what, "value": None, "of": owner, "from": "not recorded"}
            )
            for owner in owners
        ),
        explanation=(
            f"Without the {what} of {listed} it stays open whether one of these rules speaks: "
            f"{_some(rules)}."
        ),
        remedy=Remedy(text=gaps[0][0].remedy.format(what=what, of=listed)),
        sources=tuple(dict.fromkeys(s for ruled in deciding for s in ruled.rule.sources)),
    )


_MOST_NAMED = 5


def _some(rules: Sequence[str]) -> str:
    """The first of many; `open_rules` holds them all."""
    more = len(rules) - _MOST_NAMED
    named = ", ".join(rules[:_MOST_NAMED])
    return f"{named} and {more} more" if more > 0 else named


# The rest of the report ------------------------------------------------------------------------


def _order(finding: Finding) -> tuple[object, ...]:
    """Most severe first, then by rule and by what it is about; never by place in the request."""
    severity = _SEVERITY_ORDER.index(finding.severity)
    return severity, finding.rule, finding.subject.refs, finding.subject.ports, finding.message


def counted(findings: Sequence[Finding]) -> Counts:
    """How many findings there are of each severity."""
    found = [finding.severity for finding in findings]
    return Counts(
        error=found.count("error"),
        warning=found.count("warning"),
        note=found.count("note"),
        unknown=found.count("unknown"),
    )


def _flow_not_checked(flow: Study) -> Iterator[NotChecked]:
    """What of the flow could not be told, and why."""
    if flow.why_not:
        yield NotChecked(what="flow and pressure drop", why=flow.why_not)
    for name, why in flow.left_out:
        yield NotChecked(what=f"flow: {name}", why=why)


def _not_checked(circuit: Circuit) -> Iterator[NotChecked]:
    """What this check leaves out, and what the request left unsaid."""
    app = circuit.application
    yield NotChecked(what="wiring, fuse and relay sizes", why="only their presence is judged")
    if circuit.of_kind("hose-assembly", "bulk-hose") and not any(
        item.item.bend_radius_mm for item in circuit.items.values()
    ):
        yield NotChecked(what="bend radius of hoses", why="the request states no bends")
    if app.fuel_temperature_c is None:
        yield NotChecked(
            what="temperature range of parts", why="the request states no fuel temperature"
        )
    if app.circuit in (None, "unstated"):
        yield NotChecked(
            what="completeness of the circuit",
            why="the request does not say whether fuel returns to the tank",
        )
    if app.circuit == "return":
        yield from _regulator_elsewhere(circuit)
    if app.pump_control is None:
        yield NotChecked(what="pump cut-off", why="the request states no pump control")
    if not circuit.of_kind("pump"):
        yield NotChecked(what="filters, direction of flow", why="there is no pump in the list")


def _regulator_elsewhere(circuit: Circuit) -> Iterator[NotChecked]:
    count = regulator_count(circuit)
    listed = isinstance(count, Unknown) or count > 0
    if not listed and circuit.goes_on_outside & {"feed", "return", None}:
        yield NotChecked(
            what="regulator of the return circuit",
            why="none is listed, and the fuel goes on outside the list",
        )


def _stamp(book: engine.Book) -> BookStamp:
    return BookStamp(
        version=book.version,
        switched_off=tuple(SwitchedOff(rule=s.rule, reason=s.reason) for s in book.switched_off),
        changed=tuple(
            ChangedSeverity(rule=c.rule, was=c.was, now=c.severity, reason=c.reason)
            for c in book.changed
        ),
    )


def _fingerprint(request: Request, catalogue: Catalogue, book: engine.Book) -> str:
    """The same for the same question, however its lists are ordered."""
    asked = request.model_dump(mode="json")
    for name in ("items", "joints", "outside"):
        asked[name] = sorted(asked[name], key=lambda entry: json.dumps(entry, sort_keys=True))
    text = json.dumps([asked, book.version, catalogue.revision], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
