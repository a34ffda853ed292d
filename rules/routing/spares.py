"""Why a clamp, a seal or a fuse is left over: what asked for its like, and what serves that."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from rules import parts
from rules.circuit import PlacedItem
from rules.routing.outcome import LeftOver, Reason
from rules.routing.supplies import Supplied, Wish, is_of_size, packs_used

_DONE = "Every joint that takes one has one."


@dataclass(frozen=True, slots=True)
class Why:
    """Why something is left over, and the port or part that it comes nearest to."""

    reason: Reason
    message: str
    beside: str | None = None


def spares(
    groups: Sequence[PlacedItem], supplied: Supplied, keeps: Collection[str]
) -> Iterator[LeftOver]:
    """The pieces of groups that nothing takes; injectors are seated elsewhere."""
    for group in groups:
        left = group.item.quantity - packs_used(group, supplied)
        if group.kind != "injector" and group.origin != "vehicle" and left > 0:
            length_mm = group.item.length_mm
            yield left_over(group.part, (group.ref,), left, _why(group, supplied, keeps), length_mm)


def left_over(
    part: parts.Component,
    refs: Sequence[str],
    quantity: int,
    why: Why,
    length_mm: float | None = None,
) -> LeftOver:
    """An entry of what is left over."""
    return LeftOver.model_validate(
        {
            "sku": part.sku,
            "name": part.name,
            "refs": tuple(refs),
            "quantity": quantity,
            "length": None if length_mm is None else {"value": length_mm, "unit": "mm"},
            "reason": why.reason,
            "beside": why.beside,
            "message": why.message,
        }
    )


def _why(group: PlacedItem, supplied: Supplied, keeps: Collection[str]) -> Why:
    if supplied.used[group.ref]:
        return _more_than_needed(group, supplied)
    spec = group.part.spec
    if isinstance(spec, parts.ClampSpec):
        return _clamp(spec, supplied.wishes)
    wishes = [wish for wish in supplied.wishes if wish.kind == group.kind]
    for wish in wishes:
        if wish.sku is not None and wish.sku == group.part.sku:
            return _served("duplicate", wish)
    if isinstance(spec, parts.SealSpec):
        near = _seal(spec, wishes)
        if near is not None:
            return near
    if isinstance(spec, parts.SealantSpec):
        if any(wish.got for wish in wishes):
            return Why("duplicate", "One of it is enough.")
        return Why("not-needed", "No joint of this circuit takes sealant.")
    if isinstance(spec, parts.SealSpec):
        return Why("not-needed", "No joint or part of this circuit takes it.")
    for wish in wishes:
        if wish.sku is not None:
            message = f"{wish.of} asks for {wish.sku}, which this does not replace."
            return Why("not-needed", message, wish.of)
        alike = is_of_size(spec, wish.size)
        return _served("duplicate" if alike else "wrong-size", wish)
    kept = " What the car keeps has its own." if keeps else ""
    return Why("not-needed", f"Nothing in this circuit asks for it.{kept}")


def _more_than_needed(group: PlacedItem, supplied: Supplied) -> Why:
    used = packs_used(group, supplied)
    reason: Reason = "more-than-needed" if group.kind in ("clamp", "seal") else "duplicate"
    if used == 1:
        reason = "duplicate"
    return Why(reason, f"The circuit takes {used} of it, the cart holds {group.item.quantity}.")


def _served(reason: Reason, wish: Wish) -> Why:
    """What asks for its like has what it asks for."""
    what = wish.what if wish.sku else f"a {wish.what}"
    by = f", and has {wish.got[0]}" if wish.got else ""
    return Why(reason, f"{wish.of} asks for {what}{by}.", wish.of)


def _clamp(spec: parts.ClampSpec, wishes: Sequence[Wish]) -> Why:
    joints = [wish for wish in wishes if wish.kind == "clamp"]
    if not joints:
        return Why("not-needed", "No joint of this circuit takes a clamp.")
    least, most = spec.least_diameter_mm, spec.most_diameter_mm
    known = [wish for wish in joints if wish.outside_mm is not None]
    if least is None or most is None or not known:
        return Why("more-than-needed", _DONE)
    fits = [wish for wish in known if least <= (wish.outside_mm or 0.0) <= most]
    if not fits:
        near = min(known, key=lambda wish: _apart(wish.outside_mm or 0.0, least, most))
        message = (
            f"It clamps {least:g} to {most:g} mm, and the hose at {near.of} is "
            f"{near.outside_mm:g} mm outside."
        )
        return Why("wrong-size", message, near.of)
    open_ = [wish for wish in fits if not wish.got]
    if open_ and spec.style is not None:
        style = spec.style.replace("-", " ")
        message = f"It would go round, but a {style} clamp does not serve at {open_[0].of}."
        return Why("wrong-form", message, open_[0].of)
    return Why("more-than-needed", _DONE)


def _apart(outside_mm: float, least: float, most: float) -> float:
    return max(least - outside_mm, outside_mm - most, 0.0)


def _seal(spec: parts.SealSpec, wishes: Sequence[Wish]) -> Why | None:
    """A seal of the form that a joint asks for, in another size, or more of the right one."""
    alike = [wish for wish in wishes if spec.form in wish.forms]
    if not alike:
        return None
    lacking = [wish for wish in alike if not wish.got]
    if lacking and spec.size is not None and spec.size not in lacking[0].sizes:
        sizes = " or ".join(sorted(lacking[0].sizes))
        message = f"It is for {spec.size}; {lacking[0].of} takes {sizes}."
        return Why("wrong-size", message, lacking[0].of)
    return Why("more-than-needed", _DONE)
