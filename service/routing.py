"""How a cart goes together in a few lines: what is missing and what would fill it, what is left.

Missing

  Between rail.outlet (...) and feed.a (...) there is nothing in the cart; it takes: ...
    add 1 x AB-1234  Adapter, ...
        8.90 EUR, between rail.outlet and feed.a
  With the first of each added it fits. 8.90 EUR for all of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Final

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from rules.carts import CartReport
from rules.parts import Price
from rules.report import Finding, Verdict
from rules.routing import BoughtPart, LeftOver, Missing, Option, Routing

_VERDICTS: Final[dict[Verdict, str]] = {
    "fits": "it fits",
    "fits-with-cautions": "it fits, with cautions",
    "does-not-fit": "it still does not fit",
    "cannot-tell": "it still cannot be told",
}
_BEST_AT: Final = {
    "fewest-parts": "fewest parts",
    "cheapest": "cheapest",
    "least-restrictive": "least restrictive",
}


def gaps(routing: Routing) -> tuple[tuple[str, str], ...]:
    """Pairs of ports that something is missing between."""
    return tuple(
        (each.between[0], each.between[1])
        for each in routing.unfilled
        if each.what == "link" and len(each.between) == 2
    )


def is_told_as_missing(finding: Finding, routing: Routing) -> bool:
    """Whether a finding is about nothing but ports that what is missing belongs to."""
    told = {end for each in routing.unfilled for end in each.between}
    return bool(finding.subject.ports) and told.issuperset(finding.subject.ports)


def routing_lines(report: CartReport) -> Iterator[Padding | Text]:
    """What a report says about how a cart goes together, in the order in which one asks."""
    routing = report.routing
    proof = "" if routing.proved_best else "; a better one has not been ruled out"
    yield Text(f"Laid out as: {routing.layout_name}{proof}", style="dim")
    for joined in routing.assumed:
        yield Text(f"Taken for granted: {joined.port} joins {joined.to}", style="dim")
    yield Text()
    yield from _section("Missing", "bold red", _missing(report))
    yield from _section("Only under a condition", "yellow", _compromises(routing))
    yield from _section("Left over", "yellow", _left_over(routing.left_over))
    yield from _section("To be said", "magenta", _asks(routing))


def _section(
    heading: str, style: str, lines: Iterator[Table | Text | Padding]
) -> Iterator[Padding | Text]:
    found = list(lines)
    if found:
        yield Text(heading, style=style)
        yield Text()
        for line in found:
            yield Padding(line, (0, 2))
        yield Text()


def _missing(report: CartReport) -> Iterator[Text | Padding]:
    routing = report.routing
    options = {each.missing: each.options for each in routing.completion}
    for each in routing.unfilled:
        yield Text(each.message)
        yield from (Padding(line, (0, 2)) for line in _filled(each, options.get(each.id, ())))
    if report.completed_verdict is not None:
        first = [each.options[0] for each in routing.completion if each.options]
        price = _sum([option.price for option in first])
        told = f" {_money(price)} for all of it." if price else ""
        yield Text(
            f"With the first of each added {_VERDICTS[report.completed_verdict]}.{told}",
            style="bold",
        )
    for finding in report.completed_findings:
        yield Padding(Text(f"{finding.severity}: {finding.message}"), (0, 2))


def _filled(missing: Missing, options: Sequence[Option]) -> Iterator[Text | Padding]:
    if missing.asks:
        yield Text(missing.asks, style="magenta")
    if not options:
        return
    first, *others = options
    for part in first.parts:
        yield from _bought(part, _place(part, first))
    for note in first.notes:
        yield Text(note, style="yellow")
    for option in others:
        yield _other_option(option)


def _bought(part: BoughtPart, place: str | None) -> Iterator[Text | Padding]:
    cut = f", {part.length_mm / 1000:g} m" if part.length_mm is not None else ""
    price = _money(part.price) if part.price else "no price"
    yield Text.assemble("add ", (f"{part.quantity} x {part.sku}", "bold"), f"  {part.name}{cut}")
    yield Padding(Text(f"{price}, {place}" if place else price, style="green"), (0, 4))


def _place(part: BoughtPart, option: Option) -> str | None:
    """The ports that a part goes between, or the one that it goes on."""
    beyond = [
        end
        for joint in option.joints
        if part.ref in {each.partition(".")[0] for each in joint.ends}
        for end in joint.ends
        if end.partition(".")[0] != part.ref
    ]
    if len(beyond) == 1:
        return f"on {beyond[0]}"
    return f"between {' and '.join(beyond)}" if beyond else None


def _other_option(option: Option) -> Text:
    parts = ", ".join(f"{part.quantity} x {part.sku}" for part in option.parts)
    best = ", ".join(_BEST_AT[each] for each in option.best_at)
    price = f", {_money(option.price)}" if option.price else ""
    return Text(f"or {parts} ({best}{price})", style="dim")


def _compromises(routing: Routing) -> Iterator[Text]:
    for each in routing.compromises:
        yield Text(f"{' to '.join(each.ends)}: {each.why}")


def _left_over(parts: Sequence[LeftOver]) -> Iterator[Text | Padding]:
    for each in parts:
        known = each.sku or ", ".join(each.refs)
        yield Text.assemble((f"{each.quantity} x {known}", "bold"), f"  {each.name}")
        yield Padding(Text(each.message), (0, 2))


def _asks(routing: Routing) -> Iterator[Text]:
    for each in routing.asks:
        yield Text(f"{each.of}: {each.what}")


def _sum(prices: Sequence[Price | None]) -> Price | None:
    """The sum of prices; none where one is not known or they are in several currencies."""
    known = [price for price in prices if price is not None]
    currencies = {price.currency for price in known}
    if len(known) < len(prices) or len(currencies) != 1:
        return None
    total = sum((Decimal(price.amount) for price in known), Decimal())
    return Price(amount=f"{total:.2f}", currency=currencies.pop())


def _money(price: Price) -> str:
    return f"{price.amount} {price.currency}"
