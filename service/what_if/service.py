"""Questions about the same parts in another application."""

from __future__ import annotations

from dataclasses import replace

from rules.assembly import Request as Proposal
from rules.catalogue import Catalogue
from rules.difference import ApplicationChanges, changed, difference
from rules.engine import Book
from rules.report import Report
from service.checks.judging import judged
from service.problems import Fault, Problem, invalid
from service.settings import Settings
from service.what_if.schemas import WhatIf


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


def _as_change(fault: Fault) -> Fault:
    """A fault of the changed application where the caller wrote the change."""
    return replace(fault, pointer=fault.pointer.replace("/application", "/changes", 1))
