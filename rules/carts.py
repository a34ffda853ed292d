"""The door for carts: lines in, a report out, with the joints that were found.

    report = check_cart(cart, catalogue, book, load_templates())

What a report says of an assembly it says of the parts of the cart as they go together. Beside it
stands what is missing, and what the verdict would be with that added.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping

from pydantic import Field

from rules import engine
from rules.assembly import Request
from rules.cart import Cart
from rules.catalogue import Catalogue
from rules.check import check, counted
from rules.report import (
    Finding,
    NotChecked,
    Remedy,
    Report,
    Subject,
    Verdict,
)
from rules.routing import Option, Routing, Templates, route, routed_request

MOST_ROUNDS = 3
"""How often parts that the rule book will not have are barred and others looked for."""

_RANK: tuple[Verdict, ...] = ("fits", "fits-with-cautions", "cannot-tell", "does-not-fit")
_OF_PARTS = frozenset({"part", "material", "joint", "flow-part"})
PORT_LEFT_OPEN = "port-left-open"
"""The rule about open ports; a shop may change its severity, and never its id."""

_GRAVE = frozenset({"error", "warning"})


class CartReport(Report):
    """The answer to a check of a cart.

    A cart with a place that nothing fills does not fit, whatever its parts are like. What is only
    recommended, and seals, clamps and wiring, are judged by the rules as in any assembly.

    Pointers of its findings lead into the cart (`/lines/3`), those of joints that were found into
    this report (`/routing/joints/5`).
    """

    routing: Routing = Field(description="How the parts go together, and what is missing.")
    completed_verdict: Verdict | None = Field(
        default=None,
        description=(
            "The verdict with the first option added for everything that is missing; `null` where "
            "nothing is."
        ),
    )
    completed_findings: tuple[Finding, ...] = Field(
        default=(), description="What is then still found, notes left out."
    )


def check_cart(
    cart: Cart, catalogue: Catalogue, book: engine.Book, templates: Templates
) -> CartReport:
    """Find how a cart goes together and judge it.

    Raises:
        AssemblyFaults: the cart names parts, ports, fuels, vehicles or a layout that do not exist.
    """
    routing, completed = _completed(cart, catalogue, book, templates)
    request = routed_request(cart, routing)
    report = check(request, catalogue, book)
    fields = {name: getattr(report, name) for name in type(report).model_fields}
    findings = report.findings
    waiting: tuple[NotChecked, ...] = ()
    if completed is not None:
        findings, waiting = _told_first(report, completed[1], routing)
    fields |= {
        "findings": tuple(_in_the_cart(f, request, routing) for f in findings),
        "not_checked": (*report.not_checked, *waiting),
        "counts": counted(findings),
        "fingerprint": _fingerprint(cart, catalogue, book, templates),
        "routing": routing,
    }
    if any(missing.required and missing.what != "supply" for missing in routing.unfilled):
        # What is not there is judged by no rule: a cart without its pump is not a cart that fits.
        # Seals, clamps and what makers ask for are counted by rules of their own.
        fields["verdict"] = "does-not-fit"
    if completed is not None:
        whole, what_is_left = completed
        fields |= {
            "completed_verdict": (
                "does-not-fit" if _never_filled(routing) else what_is_left.verdict
            ),
            "completed_findings": tuple(
                _in_the_cart(finding, whole, routing)
                for finding in what_is_left.findings
                if finding.severity != "note"
            ),
        }
    return CartReport.model_construct(**fields)


def _completed(
    cart: Cart, catalogue: Catalogue, book: engine.Book, templates: Templates
) -> tuple[Routing, tuple[Request, Report] | None]:
    """The routing whose completion the rule book likes best.

    Parts are offered by what the catalogue says of them; the book, which a shop may have added to,
    has the last word. Where it objects to an offered part others are looked for.
    """
    barred: frozenset[str] = frozenset()
    best: tuple[Routing, tuple[Request, Report]] | None = None
    for _ in range(MOST_ROUNDS):
        routing = route(cart, catalogue, templates, barred=barred)
        if best is None and not routing.completion:
            return routing, None
        request = routed_request(cart, routing, completed=True)
        report = check(request, catalogue, book)
        if best is None or _rank(routing, report) < _rank(best[0], best[1][1]):
            best = (routing, (request, report))
        objected = _objected(routing, report)
        if not objected:
            break
        barred |= objected
    assert best is not None
    return best if best[0].completion else (best[0], None)


def _never_filled(routing: Routing) -> int:
    """How much of what is missing nothing that is sold fills."""
    offered = {completion.missing for completion in routing.completion}
    return sum(missing.required and missing.id not in offered for missing in routing.unfilled)


def _rank(routing: Routing, report: Report) -> tuple[int, int, int, int]:
    counts = report.counts
    verdict = _RANK.index(report.verdict)
    return (_never_filled(routing), verdict, counts.error, counts.warning)


def _objected(routing: Routing, report: Report) -> frozenset[str]:
    """SKUs of offered parts that the book finds fault with, as parts or as what they join."""
    offered = {
        part.ref: part.sku
        for completion in routing.completion
        for part in completion.options[0].parts
        if part.ref not in routing.origins
    }
    return frozenset(
        offered[ref]
        for finding in report.findings
        if finding.severity in _GRAVE and finding.subject.about in _OF_PARTS
        for ref in finding.subject.refs
        if ref in offered
    )


# What is told of a cart that something is missing from ------------------------------------------


def _told_first(
    report: Report, completed: Report, routing: Routing
) -> tuple[tuple[Finding, ...], tuple[NotChecked, ...]]:
    """The findings as they stand beside what is missing.

    A port that waits for a missing part wants that part and no plug. What cannot be told for want
    of a missing part, and can be told with it, is named among what was not checked.
    """
    wanted = _wanted(routing)
    after = {_identity(finding) for finding in completed.findings}
    findings, waiting = [], []
    for finding in report.findings:
        if finding.severity == "unknown" and _identity(finding) not in after:
            what = ", ".join(finding.open_rules)
            why = f"{finding.message.removesuffix('.')}: it waits for what is missing"
            waiting.append(NotChecked(what=what, why=why[0].lower() + why[1:]))
        else:
            findings.append(_waiting_for(finding, wanted))
    return tuple(findings), tuple(waiting)


def _identity(finding: Finding) -> tuple[str, str]:
    return finding.rule, finding.message


def _wanted(routing: Routing) -> Mapping[str, Option]:
    """For each port that something missing is joined to, the first option for it."""
    required = {missing.id for missing in routing.unfilled if missing.required}
    return {
        end: completion.options[0]
        for completion in routing.completion
        if completion.missing in required
        for joint in completion.options[0].joints
        for end in joint.ends
    }


def _waiting_for(finding: Finding, wanted: Mapping[str, Option]) -> Finding:
    ports = finding.subject.ports
    if finding.rule != PORT_LEFT_OPEN or not ports or not all(port in wanted for port in ports):
        return finding
    skus = dict.fromkeys(part.sku for port in ports for part in wanted[port].parts)
    # How many of each is said once, beside what is missing: two ports may wait for one part.
    remedy = Remedy(text=f"Join it by what is missing there: {', '.join(skus)}.")
    return finding.model_copy(update={"remedy": remedy})


# Places in the cart -----------------------------------------------------------------------------


def _in_the_cart(finding: Finding, request: Request, routing: Routing) -> Finding:
    """A finding whose pointers lead into the cart and the routing."""
    subject: Subject = finding.subject
    pointers = tuple(_pointer(pointer, request, routing) for pointer in subject.pointers)
    placed = subject.model_copy(
        update={
            "pointer": _pointer(subject.pointer, request, routing),
            "pointers": tuple(dict.fromkeys(pointers)),
        }
    )
    return finding.model_copy(update={"subject": placed})


def _pointer(pointer: str, request: Request, routing: Routing) -> str:
    found = re.fullmatch(r"/(items|joints)/(\d+)(.*)", pointer)
    if found is None:
        return pointer
    place = int(found[2])
    if found[1] == "items":
        ref = request.items[place].ref
        return routing.origins.get(ref) or _offered(routing, ref)
    ends = frozenset(request.joints[place].ends)
    for number, joint in enumerate(routing.joints):
        if frozenset(joint.ends) == ends:
            return f"/routing/joints/{number}"
    return _offered_joint(routing, ends)


def _offered(routing: Routing, ref: str) -> str:
    for number, completion in enumerate(routing.completion):
        for place, part in enumerate(completion.options[0].parts):
            if part.ref == ref:
                return f"/routing/completion/{number}/options/0/parts/{place}"
    return "/routing"


def _offered_joint(routing: Routing, ends: frozenset[str]) -> str:
    for number, completion in enumerate(routing.completion):
        for place, joint in enumerate(completion.options[0].joints):
            if frozenset(joint.ends) == ends:
                return f"/routing/completion/{number}/options/0/joints/{place}"
    return "/routing"


def _fingerprint(cart: Cart, catalogue: Catalogue, book: engine.Book, templates: Templates) -> str:
    """Of cart, catalogue, book and templates; the order of the cart's lists does not matter."""
    asked = cart.model_dump(mode="json")
    for name in ("lines", "items", "joints", "outside", "keeps"):
        asked[name] = sorted(asked[name], key=lambda entry: json.dumps(entry, sort_keys=True))
    text = json.dumps([asked, book.version, catalogue.revision, templates.version], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
