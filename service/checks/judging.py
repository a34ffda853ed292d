"""A check as the service answers it, whoever asks: refused with every fault, or reported."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, get_args

from rules.assembly import Request as Proposal
from rules.cart import Cart
from rules.carts import CartReport, check_cart
from rules.catalogue import Catalogue
from rules.check import AssemblyFaults, check
from rules.engine import Book
from rules.facts.case import Gap
from rules.facts.flow.demand import APPLICATION
from rules.picture import NothingToDraw, pressure_line_svg
from rules.report import Report
from rules.routing import Templates
from rules.vocabulary import Induction, PowerAt
from service.problems import Fault, Problem, invalid, pointer, rendering
from service.settings import Settings

_FIELDS: Final = {
    "power": ("power", '`"300 kW"` or `"400 hp"`'),
    "where the power is measured (crank or wheels)": (
        "power_at",
        " or ".join(f"`{each}`" for each in get_args(PowerAt)),
    ),
    "induction": ("induction", ", ".join(f"`{each}`" for each in get_args(Induction))),
    "boost": ("boost", '`"1.2 bar"` or `"17 psi"`'),
    "base pressure": ("base_pressure", '`"3 bar"` or `"43.5 psi"`'),
    "supply voltage": ("supply_voltage", '`"13.5 V"`'),
}
"""Fields of the application that the flow hangs on, by what a gap calls them."""


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
        raise _unknown_names(refused) from refused


def judged_cart(
    cart: Cart, catalogue: Catalogue, book: Book, templates: Templates, settings: Settings
) -> CartReport:
    """The report on a cart, with the joints that were found for it.

    Raises:
        Problem: as for a proposal.
    """
    _require_limits(cart, settings)
    try:
        return check_cart(cart, catalogue, book, templates)
    except AssemblyFaults as refused:
        raise _unknown_names(refused) from refused


def drawn(proposal: Proposal, catalogue: Catalogue, settings: Settings) -> str:
    """The pressure line of a proposal, an SVG document.

    Raises:
        Problem: as for the report; or there is no flow to draw: each field of the request and each
            part that lacks something is named.
    """
    _require_limits(proposal, settings)
    try:
        return pressure_line_svg(proposal, catalogue)
    except AssemblyFaults as refused:
        raise _unknown_names(refused) from refused
    except NothingToDraw as refused:
        raise invalid(list(_lacking(proposal, refused))) from refused


def _unknown_names(refused: AssemblyFaults) -> Problem:
    return invalid(
        [
            Fault(each.pointer, rendering(each.found), each.detail, each.expected, "unknown-name")
            for each in refused.faults
        ]
    )


def _lacking(proposal: Proposal, refused: NothingToDraw) -> Iterator[Fault]:
    """What the flow cannot be told without, each where the request could say it."""
    if proposal.application.power_kw is None:
        yield _missing_field("power")
        return
    if not refused.gaps:
        yield Fault("/items", None, f"There is no flow to draw: {refused}.", None, "no-flow")
    for gap in refused.gaps:
        if gap.of == APPLICATION and gap.what in _FIELDS:
            yield _missing_field(gap.what)
        else:
            yield _missing_data(proposal, gap, refused)


def _missing_field(what: str) -> Fault:
    name, expected = _FIELDS[what]
    detail = f"Without `{name}` there is no flow to draw."
    return Fault(f"/application/{name}", None, detail, expected, "missing")


def _missing_data(proposal: Proposal, gap: Gap, refused: NothingToDraw) -> Fault:
    """What nobody recorded, at the item it is of; of the fuel or the vehicle, at the whole."""
    refs = [item.ref for item in proposal.items]
    of = gap.of.partition(".")[0]
    place = pointer(("items", refs.index(of))) if of in refs else ""
    return Fault(
        place,
        None,
        f"There is no flow to draw: {refused}.",
        f"the {gap.what} of {gap.of}",
        "not-recorded",
    )


def _require_limits(asked: Proposal | Cart, settings: Settings) -> None:
    counted = [
        ("items", len(asked.items), settings.item_limit),
        ("joints", len(asked.joints), settings.joint_limit),
    ]
    if isinstance(asked, Cart):
        counted.append(("lines", len(asked.lines), settings.item_limit))
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
