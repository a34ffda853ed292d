"""What must go in with a suggested part: its maker's needs, and the seals of its joints."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from rules import parts
from rules.circuit import Circuit
from rules.facts.material import DRY_KINDS
from rules.facts.part import in_words, lacking_needs, missing_needs
from rules.facts.supplies import covers
from rules.quantities import QuantityError, read_quantity
from rules.reference.mating import Need, mate
from rules.remedies.search import BEARABLE, Found, Meeting, Search, price_order

_INJECTION_CLAMPS = ("smooth-band", "ear", "constant-torque")


def needs_of_the_maker(search: Search) -> Iterator[Found]:
    """What the list lacks of an item's needs: the part named, or the cheapest that serves."""
    lacking = missing_needs(search.circuit)
    for item in search.items:
        for need in lacking[item]:
            part = _serving(search, need, item.part)
            if part is not None:
                yield Found(part, need.quantity)


def also_needed(search: Search, found: Found, joints: Iterable[Meeting] = ()) -> Iterator[Found]:
    """A suggestion with all that it asks for and the list does not hold, each by itself."""
    with_it = [*_of_the_maker(search, found), *_of_joints(search, joints, found.pieces)]
    parts_too = [each for each in with_it if isinstance(each, Found)]
    words = (each if isinstance(each, str) else _named(each) for each in with_it)
    yield replace(found, needs=(*found.needs, *words))
    yield from parts_too


def _named(found: Found) -> str:
    return f"{found.pieces} x {found.part.sku}" if found.pieces > 1 else str(found.part.sku)


def _of_the_maker(search: Search, found: Found) -> Iterator[Found | str]:
    listed = [
        (item.part, item.item.quantity)
        for item in search.circuit.items.values()
        if item.ref != found.replaces
    ]
    *_, lacking = lacking_needs([*listed, (found.part, found.pieces)], search.catalogue)
    for need in lacking:
        part = _serving(search, need, found.part)
        yield in_words(need) if part is None else Found(part, need.quantity)


def _of_joints(search: Search, joints: Iterable[Meeting], pieces: int) -> Iterator[Found | str]:
    for one, other in joints:
        sizes = {one.size, other.size}
        for need in mate(one, other).needs:
            if need.provided:
                continue
            part = seal_for(search, need, sizes)
            count = need.count * pieces
            if part is not None:
                yield Found(part, count)
            else:
                what = " or ".join(each.replace("-", " ") for each in need.parts)
                yield f"{count} x {what}" if count > 1 else what


def seal_for(search: Search, need: Need, sizes: Iterable[str | None]) -> parts.Component | None:
    """The cheapest new seal of a form and size that the fuel does no harm."""
    wanted = {*sizes, need.size} - {None}
    fitting = (
        part
        for part in search.catalogue.offered("seal")
        if isinstance(part.spec, parts.SealSpec)
        and part.spec.form in need.parts
        and part.spec.size in wanted
        and not part.spec.reused
        and search.withstands(part)
    )
    return min(fitting, key=price_order, default=None)


def clamp_for(search: Search, outside_mm: Iterable[float | None]) -> parts.Component | None:
    """The cheapest clamp for injection pressure that is known to suit hoses of these diameters."""
    diameters = list(outside_mm)
    listed = {
        item.part.spec.style
        for item in search.circuit.of_kind("clamp")
        if isinstance(item.part.spec, parts.ClampSpec)
    }
    fitting = [
        (part.spec.style not in listed, *price_order(part), part)
        for part in search.catalogue.offered("clamp")
        if isinstance(part.spec, parts.ClampSpec)
        and part.spec.style in _INJECTION_CLAMPS
        and diameters
        and all(covers(part.spec, each) for each in diameters)
    ]
    return min(fitting, key=lambda each: each[:3])[3] if fitting else None


def _serving(search: Search, need: parts.Need, of: parts.Component) -> parts.Component | None:
    if need.sku is not None:
        named = search.catalogue.get(need.sku)
        bearable = named is not None and (
            named.kind in DRY_KINDS or search.withstands(named, BEARABLE)
        )
        return named if bearable and named is not None and named.lifecycle == "sold" else None
    circuit = search.circuit
    serving = (p for p in search.catalogue.offered(need.kind) if _serves(p, need, of, circuit))
    return min(serving, key=price_order, default=None)


def _serves(part: parts.Component, need: parts.Need, of: parts.Component, circuit: Circuit) -> bool:
    """Whether a fuse, wire or relay is known to be of the size asked for; others have no sizes."""
    spec = part.spec
    if isinstance(spec, parts.FuseSpec):
        return need.size is not None and spec.rating_a == _size(need.size, "current", "A")
    if isinstance(spec, parts.WireSpec):
        asked = _size(need.size, "area", "mm**2") if need.size else None
        return asked is not None and spec.area_mm2 is not None and spec.area_mm2 >= asked
    if isinstance(spec, parts.RelaySpec) and isinstance(of.spec, parts.PumpSpec):
        current, rating = of.spec.maximum_current_a, spec.rating_a
        strong = current is not None and rating is not None and rating >= current
        modulated = circuit.application.pump_control == "speed-controlled"
        return strong and spec.solid_state is modulated
    return False


def _size(text: str, dimension: str, unit: str) -> float | None:
    try:
        return read_quantity(text, dimension, unit)
    except QuantityError:
        return None
