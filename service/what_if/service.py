"""Questions about the same parts in another application."""

from __future__ import annotations

from dataclasses import replace

from rules.cart import Cart
from rules.carts import CartReport
from rules.check import AssemblyFaults
from rules.difference import ApplicationChanges, changed, difference
from rules.fuelchange import fuel_change
from rules.report import Report
from rules.routing import routed_request
from service.checks.judge import Judge, Question
from service.problems import Fault, Problem, invalid, rendering
from service.what_if.schemas import FuelAnswer, FuelAsked, WhatIf


def answer(asked: Question, before: Report, changes: ApplicationChanges, judge: Judge) -> WhatIf:
    """What becomes of an assembly or a cart whose report is `before`.

    Raises:
        Problem: the changes name a fuel that does not exist.
    """
    other = changed(asked, changes)
    try:
        after = judge.report_on(other)
    except Problem as refused:
        raise invalid([_as_change(fault) for fault in refused.errors]) from refused
    return WhatIf(application=other.application, difference=difference(before, after), report=after)


def for_fuel(asked: Question, before: Report, wanted: FuelAsked, judge: Judge) -> FuelAnswer:
    """What an assembly or a cart whose report is `before` needs to run another fuel.

    Raises:
        Problem: there is no such fuel.
    """
    if isinstance(asked, Cart):
        assert isinstance(before, CartReport)
        request = routed_request(asked, before.routing)
    else:
        request = asked
    try:
        found = fuel_change(request, wanted.fuel, judge.catalogue, judge.book, wanted.candidates)
    except AssemblyFaults as refused:
        raise invalid(
            [
                Fault(
                    each.pointer.replace("/application", "", 1),
                    rendering(each.found),
                    each.detail,
                    each.expected,
                    "unknown-name",
                )
                for each in refused.faults
            ]
        ) from refused
    return FuelAnswer(**dict(found), request=request)


def _as_change(fault: Fault) -> Fault:
    """A fault of the changed application where the caller wrote the change."""
    return replace(fault, pointer=fault.pointer.replace("/application", "/changes", 1))
