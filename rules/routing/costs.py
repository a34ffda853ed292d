"""What a part in a link costs, in the order in which routings are compared.

A cost is a tuple of whole numbers and two costs are compared place by place, so that no rounding
decides between two routings. The price of everything and the drop of everything come last.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

from rules import parts

Cost: TypeAlias = tuple[int, ...]
Kind = Literal["fewest-parts", "cheapest", "least-restrictive"]

COMPROMISES, BOUGHT, USED, MISPLACED, PRICE, DROP = range(6)
"""Joints that seal only under a condition and bought parts with a caution; parts to buy; parts of
the cart that are used, below nothing, for each used is one less left over; parts of the cart in a
line that they do not suit; cents; the drop by its proxy."""

ORDERS: dict[Kind, tuple[int, ...]] = {
    "fewest-parts": (COMPROMISES, BOUGHT, USED, MISPLACED, PRICE, DROP),
    "cheapest": (COMPROMISES, PRICE, BOUGHT, USED, MISPLACED, DROP),
    "least-restrictive": (COMPROMISES, DROP, BOUGHT, USED, MISPLACED, PRICE),
}
"""What is compared first, second and so on."""

FREE: Cost = (0, 0, 0, 0, 0, 0)

UNPRICED_CENTS = 10_000_000
"""A part without a price in the shop's currency: nobody has said that it is cheap."""

USUAL_LENGTH_MM = 1000.0
"""Length of a hose that is still to be cut, where no run of the vehicle tells it."""

_FITTING_DIAMETERS = 50.0
_NARROW_MM = 3.0
_DROP_SCALE = 1000.0


def add(one: Cost, other: Cost) -> Cost:
    """The sum of two costs in the same order."""
    a, b, c, d, e, f = one
    u, v, w, x, y, z = other
    return (a + u, b + v, c + w, d + x, e + y, f + z)


def ordered(cost: Cost, kind: Kind) -> Cost:
    """A cost with its places in another order of comparison."""
    return tuple(cost[place] for place in ORDERS[kind])


def plain(cost: Cost, kind: Kind) -> Cost:
    """A cost in another order of comparison, put back into the usual one."""
    back = dict(zip(ORDERS[kind], cost, strict=True))
    return tuple(back[place] for place in range(len(cost)))


def price_cents(part: parts.Component, currency: str | None, length_mm: float | None = None) -> int:
    """Price of a piece in cents; hose by the metre costs what its length does."""
    if part.price is None or part.price.currency != currency:
        return UNPRICED_CENTS
    cents = float(part.price.amount) * 100.0
    if isinstance(part.spec, parts.BulkHoseSpec):
        cents *= (length_mm or USUAL_LENGTH_MM) / 1000.0
    return round(cents)


def drop(part: parts.Component, length_mm: float | None) -> int:
    """How much a part resists the flow, as a proxy until the network is solved.

    By Darcy-Weisbach with one friction factor the drop at a flow goes with length over the fifth
    power of the bore; a fitting counts as a pipe of 50 bores (common practice). A bore that nobody
    recorded counts as 3 mm.
    """
    bores = [port.bore_mm for port in part.ports if port.bore_mm is not None]
    own = getattr(part.spec, "bore_mm", None)
    bore_mm = min([*bores, own] if own is not None else bores, default=_NARROW_MM)
    pipe = isinstance(part.spec, parts.HoseMarks | parts.HardLineSpec)
    straight_mm = (length_mm or USUAL_LENGTH_MM) if pipe else 0.0
    return round(_DROP_SCALE * (straight_mm + _FITTING_DIAMETERS * bore_mm) / bore_mm**5)
