"""A check as the service answers it, whoever asks: refused with every fault, or reported."""

from __future__ import annotations

from rules.assembly import Request as Proposal
from rules.catalogue import Catalogue
from rules.check import AssemblyFaults, check
from rules.engine import Book
from rules.report import Report
from service.problems import Fault, invalid, rendering
from service.settings import Settings


def judged(proposal: Proposal, catalogue: Catalogue, book: Book, settings: Settings) -> Report:
    """The report on a proposal.

    Raises:
        Problem: it is larger than the settings allow, or names a part, port, fuel or vehicle that
            does not exist; every such name is listed.
    """
    _require_limits(proposal, settings)
    try:
        return check(proposal, catalogue, book)
    except AssemblyFaults as refused:
        raise invalid(
            [
                Fault(
                    each.pointer, rendering(each.found), each.detail, each.expected, "unknown-name"
                )
                for each in refused.faults
            ]
        ) from refused


def _require_limits(proposal: Proposal, settings: Settings) -> None:
    counted = (
        ("items", len(proposal.items), settings.item_limit),
        ("joints", len(proposal.joints), settings.joint_limit),
    )
    faults = [
        Fault(
            f"/{name}",
            found,
            f"An assembly of {found} {name} is larger than this service takes.",
            f"at most {most} {name}",
            "limit",
        )
        for name, found, most in counted
        if found > most
    ]
    if faults:
        raise invalid(faults)
