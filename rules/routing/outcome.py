"""What routing a cart comes to: the joints it found, what is missing, what would complete it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rules.assembly import Item, Joint, Outside
from rules.parts import Identifier, Model, Price
from rules.quantities import LengthMm
from rules.vocabulary import Line

BestAt = Literal["fewest-parts", "cheapest", "least-restrictive"]
What = Literal["link", "station", "port", "supply"]
Reason = Literal[
    "duplicate",
    "wrong-sex",
    "wrong-size",
    "wrong-seal",
    "wrong-form",
    "too-coarse",
    "too-fine",
    "too-short",
    "reaches-one-end-only",
    "not-recorded",
    "for-another-circuit",
    "more-than-needed",
    "not-needed",
]


class BoughtPart(Model):
    """A part to add, with its place in the assembly."""

    ref: Identifier
    sku: str
    name: str
    quantity: int = 1
    length_mm: LengthMm | None = Field(
        default=None, description="Cut length, from the vehicle's runs."
    )
    line: Line | None = Field(
        default=None, description="Which line it is in, where no joint shows it."
    )
    price: Price | None = Field(default=None, description="For all of the quantity and length.")


class Option(Model):
    """One way to fill what is missing."""

    best_at: tuple[BestAt, ...] = Field(description="In what it is the best of those offered.")
    parts: tuple[BoughtPart, ...]
    joints: tuple[Joint, ...] = Field(default=(), description="Joints that it makes.")
    undoes: tuple[Joint, ...] = Field(
        default=(), description="Joints found without it that make room for it."
    )
    in_place_of: tuple[Identifier, ...] = Field(
        default=(), description="Refs of the cart's parts that it takes the place of."
    )
    price: Price | None = Field(
        default=None, description="Of all its parts; `null` where one has no price."
    )
    notes: tuple[str, ...] = ()


class Missing(Model):
    """Something that the circuit needs and the cart does not hold."""

    id: str = Field(description="Unique in this answer; names the link, station, port or supply.")
    what: What
    required: bool = Field(
        default=True,
        description=(
            "Whether the circuit cannot do without it. What is only recommended leaves the "
            "verdict to the rules."
        ),
    )
    line: Line | None = None
    between: tuple[str, ...] = Field(
        default=(), description="The ports or parts it belongs between, or the one it belongs to."
    )
    message: str
    asks: str | None = Field(
        default=None, description="What must be stated before a part can be named."
    )


class Completion(Model):
    """How something missing could be filled from what the shop sells."""

    missing: str = Field(description="Id of what is missing.")
    options: tuple[Option, ...] = Field(description="Up to three, the first the one reckoned with.")


class LeftOver(Model):
    """Parts of the cart without a place in the circuit."""

    sku: str | None
    name: str
    refs: tuple[str, ...]
    quantity: int = Field(
        description="Pieces without a place; 0 where only the rest of a piece is left."
    )
    length_mm: LengthMm | None = Field(
        default=None,
        description="Of what is sold by length: how long each piece is, or the rest of one.",
    )
    reason: Reason
    beside: str | None = Field(default=None, description="The port or part it comes nearest to.")
    message: str


class Compromise(Model):
    """A joint that seals only under a condition, taken because nothing else joins the two."""

    ends: tuple[str, str]
    why: str


class Rest(Model):
    """What is left of a piece that is sold by length and longer than its place."""

    of: str = Field(description="Ref of the piece; of each, where it is several of one length.")
    sku: str
    used_mm: LengthMm = Field(description="What its place takes, by the vehicle's run.")
    rest_mm: LengthMm


class Ask(Model):
    """Something that only the caller can say."""

    of: str = Field(description="Ref of the part.")
    what: str


class Objective(Model):
    """What the routing comes to in each of the aims, in their order."""

    unfilled: int = Field(description="Links, ports and stations that nothing fills; strays.")
    compromises: int = Field(description="Joints that seal only under a condition, and the like.")
    bought: int = Field(description="Parts to buy, with the seals they lack.")
    left_over: int = Field(description="Hoses, adapters and caps of the cart without a place.")
    misplaced: int = Field(description="Parts in a line that they do not suit.")
    price_cents: int = Field(description="Of all parts in links and stations.")
    drop: int = Field(description="By its proxy.")


class Routing(Model):
    """How the parts of a cart go together."""

    layout: str = Field(description="Id of the circuit template.")
    layout_name: str
    items: tuple[Item, ...] = Field(description="Parts of the cart that have a place.")
    origins: dict[str, str] = Field(
        description="For each ref of the cart, the JSON pointer to where in the cart it comes from."
    )
    joints: tuple[Joint, ...]
    outside: tuple[Outside, ...] = Field(
        description="Ports that join the car: as the cart says, and as is assumed."
    )
    assumed: tuple[Outside, ...] = Field(
        default=(), description="Those of them that nobody has said."
    )
    unfilled: tuple[Missing, ...]
    completion: tuple[Completion, ...]
    left_over: tuple[LeftOver, ...]
    rests: tuple[Rest, ...] = Field(
        default=(),
        description=(
            "What is left of bulk hose and wire. A piece that is long enough for several places "
            "is cut, and its parts are items of their own."
        ),
    )
    compromises: tuple[Compromise, ...] = ()
    asks: tuple[Ask, ...] = ()
    objective: Objective
    proved_best: bool = Field(
        description=(
            "Whether the solver has proved that no other routing is better: fewest places "
            "unfilled, then fewest parts to buy, fewest of the cart left over, lowest price, least "
            "drop. Rows of parts that only use up the cart, where fewer do, are no others."
        )
    )
