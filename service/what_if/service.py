"""Questions about the same parts in another application."""

from __future__ import annotations

from dataclasses import replace

from rules.assembly import Request as Proposal
from rules.catalogue import Catalogue
from rules.check import AssemblyFaults
from rules.difference import ApplicationChanges, changed, difference
from rules.engine import Book
from rules.fuelchange import FuelChange, fuel_change
from rules.report import Report
from service.checks.judging import judged
from service.problems import Fault, Problem, invalid, rendering
from service.settings import Settings
from service.what_if.schemas import FuelAsked, WhatIf


def asked_inside(
    place: str, proposal: Proposal, catalogue: Catalogue, book: Book, settings: Settings
) -> Report:
    """The report on a proposal that is a part of a body.

    Args:
        place: pointer to the proposal.

    Raises:
        Problem: as of a check, its pointers leading to the place.
    """
    try:
        return judged(proposal, catalogue, book, settings)
    except Problem as refused:
        raise invalid(
            [replace(fault, pointer=place + fault.pointer) for fault in refused.errors]
        ) from refused


def answer(
    proposal: Proposal,
    before: Report,
    changes: ApplicationChanges,
    catalogue: Catalogue,
    book: Book,
    settings: Settings,
) -> WhatIf:
    """What becomes of a proposal whose report is `before`.

    Raises:
        Problem: the changes name a fuel that does not exist.
    """
    asked = changed(proposal, changes)
    try:
        after = judged(asked, catalogue, book, settings)
    except Problem as refused:
        raise invalid([_as_change(fault) for fault in refused.errors]) from refused
    return WhatIf(application=asked.application, difference=difference(before, after), report=after)


def for_fuel(proposal: Proposal, asked: FuelAsked, catalogue: Catalogue, book: Book) -> FuelChange:
    """What a proposal that can be judged as it is needs to run another fuel.

    Raises:
        Problem: there is no such fuel.
    """
    try:
        return fuel_change(proposal, asked.fuel, catalogue, book, asked.candidates)
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


def _as_change(fault: Fault) -> Fault:
    """A fault of the changed application where the caller wrote the change."""
    return replace(fault, pointer=fault.pointer.replace("/application", "/changes", 1))
