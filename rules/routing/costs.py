"""What a part in a link costs, in the order in which routings are compared.

A cost is a tuple of whole numbers and two costs are compared place by place, so that no rounding
decides between two routings. The price of everything and the drop of everything come last.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from rules import parts

Cost: TypeAlias = tuple[int, ...]
Packed: TypeAlias = int
Kind = Literal["fewest-parts", "cheapest", "least-restrictive"]

COMPROMISES, BOUGHT, MISPLACED, PRICE, DROP = range(5)
"""Joints that seal only under a condition and bought parts with a caution; parts to buy; parts of
the cart in a line that they do not suit; cents; the drop by its proxy. None is below nothing: a row
of parts does not become cheaper by growing."""

ORDERS: dict[Kind, tuple[int, ...]] = {
    "fewest-parts": (COMPROMISES, BOUGHT, MISPLACED, PRICE, DROP),
    "cheapest": (COMPROMISES, PRICE, BOUGHT, MISPLACED, DROP),
    "least-restrictive": (COMPROMISES, DROP, BOUGHT, MISPLACED, PRICE),
}
"""What is compared first, second and so on."""

_BITS = {COMPROMISES: 4, BOUGHT: 5, PRICE: 27, DROP: 26}
_MOST = {COMPROMISES: 2, BOUGHT: 6, PRICE: 2**24, DROP: 2**23}
"""Bits of each place in a code, and what one part may have of it: five of them fit."""

_PLACE_BITS = 48
_PLACE_MASK = (1 << _PLACE_BITS) - 1

FREE: Cost = (0, 0, 0, 0, 0)

UNPRICED_CENTS = 10_000_000
"""A part without a price in the shop's currency: nobody has said that it is cheap."""

USUAL_LENGTH_MM = 1000.0
"""Length of a hose that is still to be cut, where no run of the vehicle tells it."""

_FITTING_DIAMETERS = 50.0
_NARROW_MM = 3.0
_DROP_SCALE = 1000.0


def add(one: Cost, other: Cost) -> Cost:
    """The sum of two costs in the same order."""
    a, b, c, d, e = one
    v, w, x, y, z = other
    return (a + v, b + w, c + x, d + y, e + z)


def packed(cost: Cost, hoses: int = 0) -> Packed:
    """A cost as one whole number, with how many of the bought parts are hoses.

    Such numbers add, subtract and compare as the costs do, and much faster. Of costs that are alike
    in compromises and bought parts the one with fewer bought hoses is the lower.
    """
    compromises, bought, misplaced, cents, resistance = cost
    number = 0
    for amount in (compromises, bought, hoses, misplaced, cents, resistance):
        number = (number << _PLACE_BITS) + amount
    return number


def unpacked(number: Packed) -> Cost:
    """The cost of a packed number that is not below nothing."""
    compromises, bought, _, *others = (
        (number >> place * _PLACE_BITS) & _PLACE_MASK for place in range(5, -1, -1)
    )
    return (compromises, bought, *others)


def hoses(number: Packed) -> int:
    """How many of the bought parts of a packed cost are hoses."""
    return (number >> 3 * _PLACE_BITS) & _PLACE_MASK


def compromise(count: int, kind: Kind) -> Cost:
    """What so many joints cost that seal only under a condition."""
    return ordered((count, 0, 0, 0, 0), kind)


def code(cost: Cost, kind: Kind) -> int:
    """A cost of few parts as one whole number below 2**62; numbers compare as costs do.

    Misplaced parts, which there are not among bought ones, are left out. A price beyond any part's
    and a drop beyond any bore's are cut off.
    """
    found = 0
    for place, amount in zip(ORDERS[kind], cost, strict=True):
        if place in _BITS:
            found = found << _BITS[place] | min(amount, _MOST[place])
    return found


def places(coded: npt.NDArray[np.int64], kind: Kind) -> list[npt.NDArray[np.int64]]:
    """Compromises, bought parts and cents of codes."""
    found = {}
    for place in reversed(ORDERS[kind]):
        bits = _BITS.get(place, 0)
        found[place] = coded & ((1 << bits) - 1)
        coded = coded >> bits
    return [found[place] for place in (COMPROMISES, BOUGHT, PRICE)]


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
