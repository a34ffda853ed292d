"""A cart: what a storefront has, part numbers and quantities, before anybody says how it joins."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from rules.assembly import MOST_ITEMS, MOST_JOINTS, Application, Item, Joint, Outside
from rules.connections import fault
from rules.parts import AskedSku, AtLeastOne, Count, Identifier, Model, second_of_a_name
from rules.quantities import LengthMm


class CartLine(Model):
    """One line of a cart. A line of quantity n is n pieces, each used once."""

    sku: AskedSku
    quantity: Count = 1
    length_mm: LengthMm | None = Field(
        default=None, description="Cut length of each piece, where it is cut."
    )
    ref: Identifier | None = Field(
        default=None,
        description=(
            "The caller's name for it, needed only where `joints` or `outside` speak of it. The "
            "pieces of a line of several are called `ref-1`, `ref-2` and so on; what is fitted as "
            "a group (injectors, seals, clamps, terminals) keeps the name as it is."
        ),
        examples=["feed"],
    )


class Cart(Model):
    """An assembly whose joints are still to be found: lines in place of items and joints."""

    application: Application
    vehicle: Identifier | None = Field(
        default=None, description="A vehicle's id; it brings its own fixed parts and its runs."
    )
    lines: Annotated[tuple[CartLine, ...], AtLeastOne, Field(max_length=MOST_ITEMS)]
    items: tuple[Item, ...] = Field(
        default=(),
        max_length=MOST_ITEMS,
        description="Parts that are described in full, beside the lines.",
    )
    joints: tuple[Joint, ...] = Field(
        default=(), max_length=MOST_JOINTS, description="Joints that are settled already."
    )
    outside: tuple[Outside, ...] = Field(default=(), max_length=MOST_ITEMS)
    keeps: tuple[Identifier, ...] = Field(
        default=(),
        max_length=40,
        description=(
            "Stations of the circuit that the car keeps as they are and that are not in the "
            "lines, by their names in the circuit template."
        ),
        examples=[["pump", "module"]],
    )
    layout: Identifier | None = Field(
        default=None,
        description="The circuit template to lay the parts out by; by default the one that fits.",
    )

    @model_validator(mode="after")
    def _refs_are_unique(self) -> Self:
        named: list[tuple[str, tuple[str | int, ...]]] = [
            (line.ref, ("lines", index, "ref"))
            for index, line in enumerate(self.lines)
            if line.ref is not None
        ]
        named += [(item.ref, ("items", index, "ref")) for index, item in enumerate(self.items)]
        if (again := second_of_a_name([ref for ref, _ in named])) is not None:
            ref, at = named[again]
            raise fault(f"Two entries are called `{ref}`.", "a different `ref` for each", at)
        return self
