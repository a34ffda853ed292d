"""The difference of two reports: what appears, vanishes and changes between them.

asked = changed(request, ApplicationChanges(fuel="E85"))
found = difference(check(request, catalogue, book), check(asked, catalogue, book))
"""

from __future__ import annotations

import copy
import re
from collections import Counter, defaultdict, deque
from collections.abc import Hashable, Iterable, Iterator
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar, cast

from pydantic import Field, create_model

from rules.assembly import Application, Request
from rules.cart import Cart
from rules.parts import Model
from rules.report import Figure, Finding, Flow, NotChecked, Report, Verdict

T = TypeVar("T", bound=Hashable)
Asked = TypeVar("Asked", bound=Request | Cart)


def _none_required(model: type[Model]) -> dict[str, Any]:
    """The fields of a model, each of which may be left out."""
    fields: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        optional = copy.copy(field)
        optional.default = None
        optional.json_schema_extra = _without_default
        fields[name] = (field.annotation, optional)
    return fields


def _without_default(schema: dict[str, Any]) -> None:
    """Not to be taken for `null`, which is a change of its own."""
    del schema["default"]


class Changes(Model):
    """What changes in an application: what is left out stays, `null` makes a fact unknown."""


if TYPE_CHECKING:
    ApplicationChanges: TypeAlias = Changes
else:
    # Made from `Application`, so that a field which is added there can be changed at once.
    ApplicationChanges = create_model(
        "ApplicationChanges",
        __base__=Changes,
        __doc__=Changes.__doc__,
        **_none_required(Application),
    )


def changed(asked: Asked, changes: ApplicationChanges) -> Asked:
    """The same parts in another application.

    Args:
        asked: an assembly or a cart.
        changes: of its fields, only those that were given count.
    """
    given = {name: getattr(changes, name) for name in changes.model_fields_set}
    application = asked.application.model_copy(update=given)
    return cast(Asked, asked.model_copy(update={"application": application}))


class ChangedFinding(Model):
    """A finding of both reports about the same thing, which rests on other facts now."""

    before: Finding = Field(description="As it was.")
    after: Finding = Field(description="As it becomes.")


class ChangedFigure(Model):
    """A computed number that is not the same in both reports."""

    name: str = Field(description="What it measures.", examples=["power supported"])
    before: Figure | None = Field(description="`null` where the first report does not tell it.")
    after: Figure | None = Field(description="`null` where the second report does not tell it.")


class ReportDifference(Model):
    """What only one of two reports tells, and what both tell differently."""

    verdict_before: Verdict = Field(description="The verdict of the first report.")
    verdict_after: Verdict = Field(description="The verdict of the second report.")
    appear: tuple[Finding, ...] = Field(
        description="Findings of the second report alone, the gravest first."
    )
    vanish: tuple[Finding, ...] = Field(
        description="Findings of the first report alone, the gravest first."
    )
    change: tuple[ChangedFinding, ...] = Field(
        description="Findings of both that rest on other facts or are of another severity."
    )
    figures: tuple[ChangedFigure, ...] = Field(
        description="Demand, power supported, injector duty and rail pressures that change."
    )
    now_checked: tuple[NotChecked, ...] = Field(
        description="What only the first report left unchecked."
    )
    no_longer_checked: tuple[NotChecked, ...] = Field(
        description="What only the second report leaves unchecked."
    )

    @property
    def is_empty(self) -> bool:
        """Whether both reports tell the same."""
        findings = self.appear or self.vanish or self.change
        return not (findings or self.figures or self.now_checked or self.no_longer_checked)


def difference(before: Report, after: Report) -> ReportDifference:
    """What changes from one report to another.

    Two findings are one that changed where the same rule speaks of the same parts and ports and
    rests on facts of the same owners. A cause that comes to hold for more or fewer parts is another
    finding: one vanishes and one appears.
    """
    left = _without(before.findings, after.findings)
    come = _without(after.findings, before.findings)
    waiting: defaultdict[Hashable, deque[Finding]] = defaultdict(deque)
    for finding in left:
        waiting[_topic(finding)].append(finding)
    appear, change = [], []
    for finding in come:
        if alike := waiting[_topic(finding)]:
            change.append(ChangedFinding(before=alike.popleft(), after=finding))
        else:
            appear.append(finding)
    return ReportDifference(
        verdict_before=before.verdict,
        verdict_after=after.verdict,
        appear=tuple(appear),
        vanish=_without(left, [each.before for each in change]),
        change=tuple(change),
        figures=tuple(_changed_figures(before.flow, after.flow)),
        now_checked=_without(before.not_checked, after.not_checked),
        no_longer_checked=_without(after.not_checked, before.not_checked),
    )


def _changed_figures(before: Flow | None, after: Flow | None) -> Iterator[ChangedFigure]:
    left, come = dict(_figures(before)), dict(_figures(after))
    for name in dict.fromkeys([*left, *come]):
        if left.get(name) != come.get(name):
            yield ChangedFigure(name=name, before=left.get(name), after=come.get(name))


def _figures(flow: Flow | None) -> Iterator[tuple[str, Figure | None]]:
    if flow is None:
        return
    yield "fuel asked for", flow.demand.volume
    yield "power supported", flow.supports_power
    if flow.injectors is not None:
        yield "injector duty", Figure(value=round(100 * flow.injectors.duty, 1), unit="%")
    for point in flow.points:
        yield f"rail pressure at {point.name}", point.rail_pressure


def _without(some: Iterable[T], others: Iterable[T]) -> tuple[T, ...]:
    """The entries in their order, each of `others` taken away once."""
    taken = Counter(others)
    kept = []
    for each in some:
        if taken[each]:
            taken[each] -= 1
        else:
            kept.append(each)
    return tuple(kept)


_BETWEEN_NAMES = re.compile(r", | and ")


def _topic(finding: Finding) -> Hashable:
    """What a finding is about, whatever it finds."""
    subject = finding.subject
    owners = frozenset(
        name for evidence in finding.because for name in _BETWEEN_NAMES.split(evidence.of)
    )
    return finding.rule, subject.about, subject.refs, subject.ports, owners
