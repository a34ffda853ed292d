"""What a cart holds, piece by piece, and which pieces may stand for one another."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from rules.assembly import MOST_ITEMS, Item, Joint, Request, Run
from rules.cart import Cart, CartLine
from rules.catalogue import Catalogue
from rules.circuit import AssemblyFault, AssemblyFaults, Circuit, PlacedItem, place
from rules.faces import Face, face_of
from rules.parts import Component, Port
from rules.vocabulary import Line

Source = Literal["cart", "vehicle", "shop"]

GROUPED = frozenset(
    {
        *("injector", "seal", "clamp", "relay", "fuse", "wire"),
        *("terminal", "fastener-set", "sealant"),
    }
)
"""Kinds of which a line of several stays one item."""

CONDUITS = frozenset(
    {
        *("hose-assembly", "bulk-hose", "hard-line", "hose-end"),
        *("adapter", "tee", "bulkhead", "quick-connector"),
    }
)
"""Kinds that fill a link."""

HOSES = frozenset({"hose-assembly", "bulk-hose", "hard-line"})
"""Kinds that bridge a distance."""

FLEXIBLE = frozenset({"hose-assembly", "bulk-hose"})
"""Those of them of which one is enough: a line is not pieced together from hoses."""

APART = frozenset({"hard-line", "bulkhead"})
"""Kinds on both sides of which a hose may be."""

FLOW_ROLES = frozenset({"inlet", "outlet", "either"})


@dataclass(frozen=True, eq=False)
class Lot:
    """Pieces of one part. They may differ in length, and are otherwise as good as each other.

    Attributes:
        key: what it sorts by; the same whatever the order of the cart's lines.
        part: the component.
        items: its pieces as they will stand in the request; for `shop` the one piece to copy.
        source: cart, vehicle, or the shop's catalogue, which never runs out.
        pins: for each port with a settled joint, the name of that joint.
        taken: ports that need nothing more, for they join something outside the list.
    """

    key: tuple[str, ...]
    part: Component
    items: tuple[Item, ...]
    source: Source
    pins: Mapping[str, str]
    taken: frozenset[str]

    @property
    def count(self) -> int:
        """How many pieces there are; of the shop's as many as a circuit could want."""
        return MOST_ITEMS if self.source == "shop" else len(self.items)

    @property
    def line(self) -> Line | None:
        """The line of the circuit that the caller has put it in."""
        return self.items[0].line

    def length_of(self, item: Item) -> float | None:
        """Length of a piece, `None` where it is still to be cut or nobody recorded it."""
        recorded: float | None = getattr(self.part.spec, "length_mm", None)
        return item.length_mm or recorded

    @property
    def length_mm(self) -> float | None:
        """Length of its one piece, where it has only one or all are the same."""
        lengths = {self.length_of(item) for item in self.items}
        return lengths.pop() if len(lengths) == 1 else None

    def reaching(self, run_mm: float) -> int:
        """How many of its pieces are long enough; one that is still to be cut always is."""
        if self.source == "shop":
            return self.count
        lengths = (self.length_of(item) for item in self.items)
        return sum(length is None or length >= run_mm for length in lengths)

    @property
    def settled(self) -> bool:
        """Whether the caller has joined it already, so that it must be part of the answer."""
        return bool(self.pins or self.taken)

    @property
    def ends_there(self) -> bool:
        """Whether the caller has put it on a port, as a cap or a gauge: nothing is left to find."""
        return bool(self.pins) and self.part.kind != "strainer" and len(self.flow_ports) < 2

    @property
    def more_can_be_bought(self) -> bool:
        """Whether the shop sells more of it, each as good for any run as its pieces.

        Then one more than the cart holds is one to buy, in whichever link it ends up.
        """
        if self.source != "cart" or self.settled or self.part.lifecycle != "sold":
            return False
        plain = self.key[1] == "" and len(self.flow_ports) == 2
        walled = any(port.submerged is not None for port in self.part.ports)
        fixed = self.part.kind in HOSES and getattr(self.part.spec, "length_mm", None) is not None
        return plain and not walled and not fixed

    @cached_property
    def faces(self) -> Mapping[str, Face]:
        """The face of each port."""
        return {
            port.id: face_of(self.part, port, self.pins.get(port.id)) for port in self.part.ports
        }

    @cached_property
    def flow_ports(self) -> tuple[Port, ...]:
        """Ports through which fuel for the engine passes."""
        return tuple(port for port in self.part.ports if port.role in FLOW_ROLES)


@dataclass(frozen=True)
class Contents:
    """All that a cart and its vehicle bring.

    Attributes:
        probe: the pieces placed without the joints that are still to be found.
        lots: pieces with places in the circuit, in order of their keys.
        groups: items that stay groups: injectors, seals, clamps, what is electrical.
        joints: the joints that the caller or the vehicle has settled.
        runs: the lengths the vehicle states.
        pointers: for each ref of the cart, where in the cart it comes from.
    """

    probe: Circuit
    lots: tuple[Lot, ...]
    groups: tuple[PlacedItem, ...]
    joints: tuple[Joint, ...]
    runs: tuple[Run, ...]
    pointers: Mapping[str, str]


def read_cart(
    cart: Cart, catalogue: Catalogue, cuts: Mapping[str, float] | None = None
) -> Contents:
    """Look up everything a cart names.

    Args:
        cart: the cart.
        catalogue: what the shop sells.
        cuts: for pieces of bulk hose, by ref, the length [mm] to cut off: the rest of each is a
            piece of its own.

    Raises:
        AssemblyFaults: unknown SKUs, refs, ports, fuels or vehicles, all at once.
    """
    vehicle = catalogue.vehicles.get(cart.vehicle or "")
    taken = {item.ref for item in cart.items} | {line.ref for line in cart.lines if line.ref}
    if vehicle is not None:
        taken |= {item.ref for item in vehicle.items}
    pieces = len(cart.items) + sum(len(_quantities(line, catalogue)) for line in cart.lines)
    if pieces > MOST_ITEMS:
        raise AssemblyFaults([_too_many(pieces)])
    own = [*_cut(_line_items(cart.lines, catalogue, taken), cuts or {}, taken)]
    own += [(f"/items/{index}", item) for index, item in enumerate(cart.items)]
    own.sort(key=lambda each: each[1].ref)
    probe = _placed(cart, own, catalogue)
    joints = (*cart.joints, *(vehicle.joints if vehicle else ()))
    pins = {end: " and ".join(sorted(joint.ends)) for joint in joints for end in joint.ends}
    groups: list[PlacedItem] = []
    lots: dict[tuple[str, ...], Lot] = {}
    for item in probe.items.values():
        if item.kind in GROUPED:
            groups.append(item)
        else:
            _add(lots, item, pins, frozenset(probe.outside))
    return Contents(
        probe=probe,
        lots=tuple(sorted(lots.values(), key=lambda lot: lot.key)),
        groups=tuple(groups),
        joints=joints,
        runs=vehicle.runs if vehicle else (),
        pointers={item.ref: pointer for pointer, item in own},
    )


def _placed(cart: Cart, own: Sequence[tuple[str, Item]], catalogue: Catalogue) -> Circuit:
    request = Request(
        application=cart.application,
        vehicle=cart.vehicle,
        items=tuple(item for _, item in own),
        joints=cart.joints,
        outside=cart.outside,
    )
    try:
        return place(request, catalogue)
    except AssemblyFaults as refused:
        raise AssemblyFaults(_in_the_cart(refused, own)) from refused


def _in_the_cart(
    refused: AssemblyFaults, own: Sequence[tuple[str, Item]]
) -> Iterator[AssemblyFault]:
    """The faults at their places in the cart, those of one line once."""
    seen = set()
    for fault in refused.faults:
        found = re.fullmatch(r"/items/(\d+)(.*)", fault.pointer)
        pointer = own[int(found[1])][0] + found[2] if found else fault.pointer
        if pointer not in seen:
            seen.add(pointer)
            yield AssemblyFault(pointer, fault.found, fault.detail, fault.expected)


def _too_many(pieces: int) -> AssemblyFault:
    return AssemblyFault(
        "/lines",
        str(pieces),
        f"The lines make {pieces} pieces.",
        f"at most {MOST_ITEMS} pieces in one circuit",
    )


# From lines to pieces ---------------------------------------------------------------------------


def _line_items(
    lines: Sequence[CartLine], catalogue: Catalogue, taken: set[str]
) -> Iterator[tuple[str, Item]]:
    """Each piece of each line as an item, with the pointer of its line.

    Names are given by SKU and length, so that they do not hang on the order of the lines.
    """
    ordered = sorted(
        enumerate(lines),
        key=lambda each: (
            *(each[1].sku, each[1].length_mm or 0.0, each[1].ref or ""),
            *(each[1].quantity, each[0]),
        ),
    )
    quantities = {index: _quantities(line, catalogue) for index, line in ordered}
    unnamed = Counter[str]()
    for index, line in ordered:
        unnamed[line.sku] += len(quantities[index]) if line.ref is None else 0
    given = Counter[str]()
    for index, line in ordered:
        for number, quantity in enumerate(quantities[index], start=1):
            if line.ref is not None and len(quantities[index]) == 1:
                ref = line.ref
            elif line.ref is not None:
                ref = free_ref(f"{line.ref}-{number}", taken)
            else:
                given[line.sku] += 1
                several = unnamed[line.sku] > 1
                ref = free_ref(slug(line.sku) + (f"-{given[line.sku]}" if several else ""), taken)
            taken.add(ref)
            item = plain_item(ref, line.sku, quantity=quantity, length_mm=line.length_mm)
            yield f"/lines/{index}", item


def _cut(
    own: Iterator[tuple[str, Item]], cuts: Mapping[str, float], taken: set[str]
) -> Iterator[tuple[str, Item]]:
    """The pieces, each that is to be cut in two."""
    for pointer, whole in list(own):
        item = whole
        while item.ref in cuts and item.length_mm is not None:
            yield pointer, item.model_copy(update={"length_mm": cuts[item.ref]})
            ref = free_ref(f"{whole.ref}-rest", taken)
            taken.add(ref)
            rest_mm = item.length_mm - cuts[item.ref]
            item = plain_item(ref, item.sku or "", length_mm=rest_mm)
        yield pointer, item


def plain_item(ref: str, sku: str, *, quantity: int = 1, length_mm: float | None = None) -> Item:
    """An item of which no more is said than its part, its quantity and its cut length."""
    length = None if length_mm is None else {"value": length_mm, "unit": "mm"}
    return Item.model_validate({"ref": ref, "sku": sku, "quantity": quantity, "length": length})


def _quantities(line: CartLine, catalogue: Catalogue) -> list[int]:
    """The quantities of the items that a line becomes: a group stays one, pieces part."""
    part = catalogue.get(line.sku)
    grouped = part is not None and part.kind in GROUPED
    return [line.quantity] if grouped else [1] * line.quantity


def free_ref(wanted: str, taken: set[str]) -> str:
    """The wanted ref, or the first with a number that nothing has yet."""
    ref, number = wanted, 2
    while ref in taken:
        ref, number = f"{wanted}-{number}", number + 1
    return ref


def slug(sku: str) -> str:
    """A SKU as a ref."""
    return re.sub(r"[^a-z0-9]+", "-", sku.lower()).strip("-")[:56].strip("-") or "part"


# From pieces to lots ----------------------------------------------------------------------------


def _add(
    lots: dict[tuple[str, ...], Lot],
    placed: PlacedItem,
    pins: Mapping[str, str],
    outside: frozenset[str],
) -> None:
    """Put a piece to its equals, or begin a lot with it."""
    item = placed.item
    own_pins = {p.port.id: pins[p.name] for p in placed.ports if p.name in pins}
    taken = frozenset(p.port.id for p in placed.ports if p.name in outside)
    bare = plain_item(item.ref, item.sku, length_mm=item.length_mm) if item.sku else None
    source: Source = "vehicle" if placed.origin == "vehicle" else "cart"
    # What the caller describes or has joined is a piece of its own.
    alone = source == "vehicle" or item != bare or own_pins or taken
    key = (placed.part.sku or "", item.ref if alone else "")
    held = lots.get(key)
    items = (*(held.items if held else ()), item)
    lots[key] = Lot(key, placed.part, items, source, own_pins, taken)


def shop_lot(part: Component) -> Lot:
    """A sold part as a lot to buy from; its item is to be given a ref of its own."""
    return Lot(
        (part.sku or "", "", ""), part, (plain_item("new", part.sku or ""),), "shop", {}, _NONE
    )


_NONE: frozenset[str] = frozenset()
