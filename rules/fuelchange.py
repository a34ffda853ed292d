"""What must be changed to run another fuel from now on, in one list.

The same parts are judged on both fuels. Each part that the new fuel is too much for is named with
the parts of the catalogue that could take its place, and each of those is tried: put in, and the
assembly judged again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from pydantic import Field

from rules.assembly import FuelBlend, Item, Request
from rules.catalogue import Catalogue
from rules.check import check
from rules.difference import ApplicationChanges, ChangedFigure, changed, difference
from rules.engine import Book
from rules.interchange import replacements
from rules.parts import Component, FuelId, Model, Price
from rules.report import Finding, Report, Severity, Suggestion, Verdict

Deed = Literal["renew", "add", "mend", "find-out", "mind"]

_OF_A_PART = ("part", "material", "flow-part")
_MOST_ITEMS_JUDGED = 2000
"""Trials times items: what one answer may cost."""
_TOO_MANY = "there are too many parts to try each; check it in its place"
_GRAVEST_FIRST: tuple[Severity, ...] = ("error", "unknown", "warning", "note")


class Candidate(Model):
    """A part that could take the place of another, and what came of trying it."""

    sku: str = Field(description="Its part number.")
    name: str = Field(description="What the shop calls it.")
    price: Price | None = Field(default=None, description="What one costs, where recorded.")
    settles: bool | None = Field(
        description=(
            "Whether everything found about the part is gone with it and nothing new is found; "
            "`null` where it was not tried."
        )
    )
    leaves: tuple[str, ...] = Field(
        default=(), description="What is still found about the part, or newly, with this one in."
    )
    untried: str | None = Field(default=None, description="Why it was not tried.")


class Step(Model):
    """One thing to do."""

    do: Deed = Field(
        description=(
            "`renew` the part; `add` what is named; `mend` as `text` says; `find-out` what nobody "
            "recorded; `mind` it, though nothing need be done."
        )
    )
    severity: Severity = Field(description="Of the gravest of its findings.")
    is_new: bool = Field(
        description="Whether the fuel is the cause; if not, it was found before, on other facts."
    )
    refs: tuple[str, ...] = Field(description="The items it concerns.")
    sku: str | None = Field(default=None, description="The part to renew, where it has a SKU.")
    part: str | None = Field(default=None, description="What the part to renew is called.")
    text: str = Field(description="What to do, in words.")
    findings: tuple[Finding, ...] = Field(description="Why.")
    add: tuple[Suggestion, ...] = Field(default=(), description="Parts to add.")
    replacements: tuple[Candidate, ...] = Field(
        default=(), description="Parts that could take its place, the best first."
    )


class Converted(Model):
    """The same assembly with a replacement put in for each part that one settles."""

    request: Request = Field(description="It can be checked or saved as it is.")
    replaced: tuple[str, ...] = Field(description="The items that are other parts than before.")
    verdict: Verdict = Field(description="The verdict on it, on the new fuel.")
    left: tuple[Finding, ...] = Field(description="What is still found.")


class FuelChange(Model):
    """What an assembly needs to run another fuel."""

    fuel: FuelId | FuelBlend = Field(description="The fuel that was asked about.")
    verdict_before: Verdict = Field(description="The verdict as it is.")
    verdict_after: Verdict = Field(description="The verdict on the new fuel, with nothing changed.")
    steps: tuple[Step, ...] = Field(description="What to do, the gravest first.")
    standing: tuple[Finding, ...] = Field(
        description="What is found on either fuel alike, and has to be settled all the same."
    )
    vanish: tuple[Finding, ...] = Field(description="What is no longer found on the new fuel.")
    figures: tuple[ChangedFigure, ...] = Field(
        description="Demand, power supported, injector duty and rail pressures that change."
    )
    converted: Converted | None = Field(
        description="The assembly with the best replacements in; `null` where none settles a thing."
    )
    report: Report = Field(description="The whole report on the new fuel, with nothing changed.")


def fuel_change(
    request: Request,
    fuel: FuelId | FuelBlend,
    catalogue: Catalogue,
    book: Book,
    most_candidates: int = 3,
) -> FuelChange:
    """What must be changed in an assembly to run another fuel.

    Judges the assembly once for each candidate, as far as its size allows; one that is not tried
    says so.

    Raises:
        AssemblyFaults: the request or the fuel names what does not exist.
    """
    asked = changed(request, ApplicationChanges.model_validate({"fuel": fuel}))
    before, after = check(request, catalogue, book), check(asked, catalogue, book)
    found = difference(before, after)
    concerning = [*found.appear, *(each.after for each in found.change)]
    new = frozenset(found.appear)
    trial = _Trial(asked, after, catalogue, book)
    to_renew = _by_part(concerning)
    candidates = trial.candidates(to_renew, most_candidates)
    steps = [
        *(
            trial.renewal(ref, findings, candidates.get(ref, ()), new)
            for ref, findings in to_renew.items()
        ),
        *(_other_step(each, each in new) for each in concerning if not _is_of_part(each)),
    ]
    told = frozenset(concerning)
    return FuelChange(
        fuel=fuel,
        verdict_before=before.verdict,
        verdict_after=after.verdict,
        steps=tuple(sorted(steps, key=_order)),
        standing=tuple(each for each in after.findings if each not in told),
        vanish=found.vanish,
        figures=found.figures,
        converted=trial.converted(candidates),
        report=after,
    )


def _order(step: Step) -> tuple[object, ...]:
    rules = [finding.rule for finding in step.findings]
    return _GRAVEST_FIRST.index(step.severity), not step.is_new, step.refs, rules


def _is_of_part(finding: Finding) -> bool:
    """Whether another part in the same place may be the answer to a finding."""
    return finding.subject.about in _OF_A_PART and finding.severity in ("error", "warning")


def _by_part(findings: Iterable[Finding]) -> Mapping[str, list[Finding]]:
    found: defaultdict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        if _is_of_part(finding):
            for ref in finding.subject.refs:
                found[ref].append(finding)
    return found


def _gravest(findings: Iterable[Finding]) -> Severity:
    return min((each.severity for each in findings), key=_GRAVEST_FIRST.index)


def _other_step(finding: Finding, is_new: bool) -> Step:
    deed: Deed = "mend"
    if finding.severity == "note":
        deed = "mind"
    elif finding.severity == "unknown":
        deed = "find-out"
    elif finding.remedy.add:
        deed = "add"
    return Step(
        do=deed,
        severity=finding.severity,
        is_new=is_new,
        refs=finding.subject.refs,
        text=finding.remedy.text,
        findings=(finding,),
        add=finding.remedy.add,
    )


# Replacements tried -----------------------------------------------------------------------------


@dataclass(frozen=True)
class _Trial:
    """An assembly on the new fuel, in which other parts are tried."""

    asked: Request
    after: Report
    catalogue: Catalogue
    book: Book

    def candidates(
        self, to_renew: Mapping[str, Sequence[Finding]], most: int
    ) -> Mapping[str, tuple[Candidate, ...]]:
        """For each part at most `most` others, each tried, the best first."""
        offers = {ref: self._offers(ref, found, most) for ref, found in to_renew.items()}
        left = max(1, _MOST_ITEMS_JUDGED // len(self.asked.items))
        tried: defaultdict[str, list[Candidate]] = defaultdict(list)
        for turn in range(most):
            for ref, parts in offers.items():
                if turn < len(parts):
                    hindrance = self._hindrance(ref, parts[turn]) if left else _TOO_MANY
                    left -= hindrance is None
                    found = self._candidate(parts[turn], ref, to_renew[ref], hindrance)
                    tried[ref].append(found)
        return {ref: tuple(sorted(found, key=_best_first)) for ref, found in tried.items()}

    def renewal(
        self,
        ref: str,
        findings: Sequence[Finding],
        candidates: Sequence[Candidate],
        new: frozenset[Finding],
    ) -> Step:
        """The step that renews a part."""
        part = self._part(ref)
        return Step(
            do="renew",
            severity=_gravest(findings),
            is_new=any(finding in new for finding in findings),
            refs=(ref,),
            sku=part.sku if part else None,
            part=part.name if part else None,
            text=" ".join(dict.fromkeys(finding.remedy.text for finding in findings)),
            findings=tuple(findings),
            add=tuple(dict.fromkeys(each for f in findings for each in f.remedy.add)),
            replacements=tuple(candidates),
        )

    def converted(self, candidates: Mapping[str, Sequence[Candidate]]) -> Converted | None:
        """The assembly with the best part that settles it in each place."""
        best = {ref: found[0] for ref, found in candidates.items() if found[0].settles}
        if not best:
            return None
        swaps = {ref: self.catalogue.parts[each.sku] for ref, each in best.items()}
        request = self._with(swaps)
        report = check(request, self.catalogue, self.book)
        return Converted(
            request=request,
            replaced=tuple(sorted(swaps)),
            verdict=report.verdict,
            left=report.findings,
        )

    def _part(self, ref: str) -> Component | None:
        item = self._own_item(ref) or self._item_of_vehicle(ref)
        if item is None or item.sku is None:
            return item.component if item else None
        return self.catalogue.get(item.sku)

    def _own_item(self, ref: str) -> Item | None:
        return next((item for item in self.asked.items if item.ref == ref), None)

    def _item_of_vehicle(self, ref: str) -> Item | None:
        vehicle = self.catalogue.vehicles.get(self.asked.vehicle or "")
        items = vehicle.items if vehicle else ()
        return next((item for item in items if item.ref == ref), None)

    def _offers(self, ref: str, findings: Iterable[Finding], most: int) -> list[Component]:
        """Parts that might take the place of another: what the findings suggest, then its likes."""
        suggested = [
            self.catalogue.get(each.sku)
            for finding in findings
            for each in finding.remedy.replace
            if ref in each.replaces
        ]
        part = self._part(ref)
        fuel = self.asked.application.fuel
        fuels = (fuel,) if isinstance(fuel, str) else ()
        alike = replacements(self.catalogue, part, fuels, most) if part is not None else ()
        sure = (each.sku for each in alike if each.certain)
        found = [*suggested, *map(self.catalogue.get, sure)]
        by_sku = {each.sku: each for each in found if each is not None}
        return list(by_sku.values())[:most]

    def _hindrance(self, ref: str, part: Component) -> str | None:
        """Why a part cannot be tried in the place of another, if it cannot."""
        if self._own_item(ref) is None:
            return "the vehicle brings the part that it would replace"
        missing = sorted(self._joined_ports(ref) - self._port_names(ref, part).keys())
        if missing:
            return f"it has no port like {', '.join(f'`{port}`' for port in missing)}"
        return None

    def _port_names(self, ref: str, part: Component) -> Mapping[str, str]:
        """What the ports of a part are called on another: the same, or those that are alike."""
        own = self._part(ref)
        left = list(part.ports)
        names: dict[str, str] = {}
        by_name_first = sorted(
            own.ports if own else (), key=lambda port: port.id not in {p.id for p in part.ports}
        )
        for port in by_name_first:
            same = [each for each in left if each.id == port.id]
            likes = [
                each
                for each in left
                if (each.role, each.connection) == (port.role, port.connection)
            ]
            if found := same or likes:
                left.remove(found[0])
                names[port.id] = found[0].id
        return names

    def _with(self, swaps: Mapping[str, Component]) -> Request:
        """The assembly with other parts of the catalogue in the place of some items."""
        names = {ref: self._port_names(ref, part) for ref, part in swaps.items()}

        def renamed(end: str) -> str:
            ref, _, port = end.partition(".")
            return f"{ref}.{names[ref][port]}" if ref in names else end

        items = (
            item.model_copy(update={"sku": swaps[item.ref].sku, "component": None})
            if item.ref in swaps
            else item
            for item in self.asked.items
        )
        joints = (
            joint.model_copy(update={"ends": tuple(renamed(end) for end in joint.ends)})
            for joint in self.asked.joints
        )
        outside = (
            entry.model_copy(update={"port": renamed(entry.port)}) for entry in self.asked.outside
        )
        places = {"items": tuple(items), "joints": tuple(joints), "outside": tuple(outside)}
        return self.asked.model_copy(update=places)

    def _joined_ports(self, ref: str) -> set[str]:
        ends = [end for joint in self.asked.joints for end in joint.ends]
        ends += [entry.port for entry in self.asked.outside]
        return {port for owner, _, port in (end.partition(".") for end in ends) if owner == ref}

    def _candidate(
        self, part: Component, ref: str, findings: Iterable[Finding], hindrance: str | None
    ) -> Candidate:
        left: tuple[str, ...] = ()
        if hindrance is None:
            request = self._with({ref: part})
            report = check(request, self.catalogue, self.book)
            left = tuple(self._left(ref, findings, report))
        return Candidate(
            sku=str(part.sku),
            name=part.name,
            price=part.price,
            settles=None if hindrance else not left,
            leaves=left,
            untried=hindrance,
        )

    def _left(self, ref: str, findings: Iterable[Finding], report: Report) -> Iterator[str]:
        """What a report finds about a part that was to be settled, and anything new anywhere."""
        to_settle = {finding.rule for finding in findings}
        for finding in report.findings:
            is_unsettled = finding.rule in to_settle and ref in finding.subject.refs
            if is_unsettled or not any(_covers(known, finding) for known in self.after.findings):
                yield finding.message


def _covers(known: Finding, finding: Finding) -> bool:
    """Whether a finding tells nothing that another did not tell of more parts, or more gravely."""
    return (
        known.rule == finding.rule
        and set(known.subject.refs) >= set(finding.subject.refs)
        and _GRAVEST_FIRST.index(known.severity) <= _GRAVEST_FIRST.index(finding.severity)
    )


def _best_first(candidate: Candidate) -> tuple[object, ...]:
    rank = {True: 0, None: 1, False: 2}[candidate.settles]
    price = float(candidate.price.amount) if candidate.price else float("inf")
    return rank, price, candidate.sku
