"""Seals, clamps and what is electrical: handed out over the whole circuit, and what is short."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

from rules import parts
from rules.assembly import Run
from rules.catalogue import Catalogue
from rules.circuit import Circuit, PlacedItem, PlacedJoint
from rules.faces import mating
from rules.facts.joint import end_of
from rules.facts.whole import banjo_threads, clamps_needed, fits_banjo, washers_needed
from rules.reference.mating import Mating, Need
from rules.routing import costs
from rules.routing.fitness import Conditions, Fitness, Place
from rules.routing.offers import Offers
from rules.vocabulary import Line

HARD_CLAMP_KPA = 207.0
"""Above this a clamp must be made for injection hose (the rules say so with their source)."""

_INJECTION_STYLES = frozenset({"smooth-band", "ear", "constant-torque"})
_TIGHT, _LATER, _OTHER_STYLE, _UNSURE, _NONE = 0, 1, 10, 20, 1000
_NOT_SEALS = frozenset({"clamp", "sealant", "banjo-bolt"})
_AT_JOINTS = frozenset({"o-ring", "crush-washer", "bonded-washer", "flare-sleeve"})
_NUMBER = re.compile(r"(\d+(?:\.\d+)?)\s*(A|mm2)")


@dataclass(frozen=True, slots=True)
class Short:
    """Something that joints or parts need and the list does not hold.

    Attributes:
        part: the sold part that serves; `None` where nothing does.
        quantity: how many packs of it.
        of: the joints or the part that need it, by name.
        what: what is needed, in words.
        length_mm: of wire, where the vehicle states the run.
    """

    part: parts.Component | None
    quantity: int
    of: tuple[str, ...]
    what: str
    length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Wish:
    """Something that a joint or a part asks for.

    Attributes:
        of: the joint or the part, by name.
        kind: kind of part that is asked for.
        what: what is asked for, in words.
        outside_mm: of a clamp, outside diameter of the hose, where it is known.
        forms: of a seal, the forms that serve.
        sizes: of a seal, the sizes that fit.
        sku: the very part, where it must be that.
        size: size that a part's maker names.
        run_mm: of wire, the length that the vehicle states for it.
        got: refs of what serves it.
    """

    of: str
    kind: str
    what: str
    outside_mm: float | None = None
    forms: frozenset[str] = frozenset()
    sizes: frozenset[str] = frozenset()
    sku: str | None = None
    size: str | None = None
    run_mm: float | None = None
    got: tuple[str, ...] = ()


@dataclass
class Supplied:
    """What each joint gets.

    Attributes:
        uses: refs put on each joint, by the joint's name.
        used: pieces used of each item that is handed out by the piece.
        short: what is missing, counted over the whole circuit.
        wishes: what joints and parts ask for, whether or not they get it.
    """

    uses: dict[str, list[str]] = field(default_factory=dict)
    used: Counter[str] = field(default_factory=Counter)
    short: list[Short] = field(default_factory=list)
    wishes: list[Wish] = field(default_factory=list)


def supply(
    circuit: Circuit,
    own: Collection[str],
    catalogue: Catalogue,
    offers: Offers,
    conditions: Conditions,
    runs: Sequence[Run] = (),
) -> Supplied:
    """Hand out what a circuit holds beside its line, and find what is short.

    Args:
        circuit: the circuit, with what completes it.
        own: refs of the parts that need not be bought; they are served first.
        catalogue: what the shop sells.
        offers: its prices.
        conditions: what the parts must bear.
        runs: the lengths that the vehicle states.
    """
    return _Supplier(circuit, own, catalogue, offers, conditions, runs).supply()


class _Supplier:
    def __init__(
        self,
        circuit: Circuit,
        own: Collection[str],
        catalogue: Catalogue,
        offers: Offers,
        conditions: Conditions,
        runs: Sequence[Run],
    ) -> None:
        self.circuit = circuit
        self.own = own
        self.catalogue = catalogue
        self.offers = offers
        self.conditions = conditions
        self.runs = runs
        self.found = Supplied()
        self.named = Counter(item for joint in circuit.joints for item in joint.uses)
        self.found.used.update(item.ref for item in self.named.elements())
        self.joints = sorted(circuit.joints, key=self.is_bought)
        self.matings: Mapping[PlacedJoint, Mating] = {
            joint: mating(end_of(joint.first), end_of(joint.second)) for joint in self.joints
        }

    def is_bought(self, joint: PlacedJoint) -> bool:
        """Whether a joint is there only once something has been bought."""
        return not all(end.item.ref in self.own for end in joint.ends)

    def supply(self) -> Supplied:
        self.clamps()
        self.seals()
        self.sealant()
        self.needs()
        self.hand_out()
        self.found.short = _added_up(self.found.short)
        return self.found

    # Clamps

    def clamps(self) -> None:
        """One to each hose on a barb: so that most get one that fits, and the right kind."""
        joints = [joint for joint in self.joints if self.wants_clamp(joint)]
        stock = [
            item for item in self.loose("clamp") for _ in range(min(self.left(item), len(joints)))
        ]
        given: dict[PlacedJoint, PlacedItem] = {}
        if joints and stock:
            grid = np.full((len(joints), len(stock) + len(joints)), _NONE)
            for row, joint in enumerate(joints):
                for column, item in enumerate(stock):
                    cost = self.clamp_cost(joint, item.part.spec)
                    later = _LATER if self.is_bought(joint) else 0
                    grid[row, column] = cost + later if cost < _NONE else _NONE
            for row, column in zip(*linear_sum_assignment(grid), strict=True):
                if grid[row, column] < _NONE:
                    given[joints[row]] = stock[column]
        for joint in joints:
            outside = _outside_mm(joint)
            size = "" if outside is None else f" for hose of {outside:g} mm outside"
            got = (given[joint].ref,) if joint in given else ()
            wish = Wish(joint.name, "clamp", f"clamp{size}", outside_mm=outside, got=got)
            self.found.wishes.append(wish)
            if joint in given:
                self.put(joint, given[joint], 1)
            else:
                self.buy_clamp(joint, wish)

    def wants_clamp(self, joint: PlacedJoint) -> bool:
        named = any(isinstance(item.part.spec, parts.ClampSpec) for item in joint.uses)
        return bool(clamps_needed(joint)) and not named

    def clamp_cost(self, joint: PlacedJoint, spec: object) -> int:
        assert isinstance(spec, parts.ClampSpec)
        outside = _outside_mm(joint)
        least, most = spec.least_diameter_mm, spec.most_diameter_mm
        style = self.style_cost(joint, spec)
        if style == _NONE or outside is None or least is None or most is None:
            return _NONE if style == _NONE else style + _UNSURE
        return style if least <= outside <= most else _NONE

    def style_cost(self, joint: PlacedJoint, spec: parts.ClampSpec) -> int:
        """A spring gives way at injection pressure, a worm drive is a makeshift there."""
        if not self.is_hard(joint):
            return _TIGHT
        if spec.style in _INJECTION_STYLES:
            return _TIGHT
        inside = any(end.item in self.circuit.inside_tank for end in joint.ends)
        return _OTHER_STYLE if spec.style == "worm-drive" and not inside else _NONE

    def is_hard(self, joint: PlacedJoint) -> bool:
        peak_kpa = self.conditions.peak_kpa
        return self.line_of(joint) == "feed" and (peak_kpa is None or peak_kpa > HARD_CLAMP_KPA)

    def line_of(self, joint: PlacedJoint) -> Line | None:
        first, second = joint.ends
        return self.circuit.lines.get(first) or self.circuit.lines.get(second)

    def buy_clamp(self, joint: PlacedJoint, wish: Wish) -> None:
        def serves(part: parts.Component) -> bool:
            fits = isinstance(part.spec, parts.ClampSpec)
            return fits and self.clamp_cost(joint, part.spec) == _TIGHT

        part = self.cheapest("clamp", serves)
        self.found.short.append(Short(part, 1, (joint.name,), wish.what))

    # Seals

    def seals(self) -> None:
        stock = Counter[PlacedItem]()
        for item in self.loose("seal"):
            stock[item] = self.left(item)
        self.banjo_washers(stock)
        for joint, how in self.matings.items():
            for need in how.needs:
                washers = "crush-washer" in need.parts and _is_banjo(joint)
                if need.provided or washers or set(need.parts) & _NOT_SEALS:
                    continue
                wanted = need.count * joint.pieces
                what = _in_words(need)
                got = self.seal(joint, stock, wanted, _fitting(need, joint), what)
                forms, sizes = frozenset(need.parts), _sizes(need, joint)
                self.found.wishes.append(
                    Wish(joint.name, "seal", what, forms=forms, sizes=sizes, got=got)
                )

    def banjo_washers(self, stock: Counter[PlacedItem]) -> None:
        """Washers are counted over all rings and bolts: two stacked rings share one between."""
        wanted = washers_needed(self.circuit)
        joint = next((joint for joint in self.circuit.joints if _is_banjo(joint)), None)
        if joint is not None and wanted:
            threads = banjo_threads(self.circuit)
            got = self.seal(joint, stock, wanted, lambda spec: fits_banjo(spec, threads), "washer")
            forms, sizes = frozenset({"crush-washer"}), frozenset(threads)
            self.found.wishes.append(
                Wish(joint.name, "seal", "washer", forms=forms, sizes=sizes, got=got)
            )

    def seal(
        self,
        joint: PlacedJoint,
        stock: Counter[PlacedItem],
        wanted: int,
        fits: Callable[[parts.SealSpec], bool],
        what: str,
    ) -> tuple[str, ...]:
        """Give a joint its seals and note what is short; refs of what it got."""
        named = tuple(item.ref for item in joint.uses if _is_seal(item.part, fits))
        if named:
            return named
        given = []
        for item in sorted(stock, key=self.seal_order):
            taken = min(stock[item], wanted)
            if taken and _is_seal(item.part, fits):
                stock[item] -= taken
                wanted -= taken
                self.put(joint, item, taken)
                given.append(item.ref)
        if not wanted:
            return tuple(given)
        place = Place(self.line_of(joint) or "feed")
        asked = self.asked_for(joint, fits)
        part = asked or self.cheapest(
            "seal",
            lambda sold: (
                _is_seal(sold, fits)
                and isinstance(sold.spec, parts.SealSpec)
                and sold.spec.size is not None
                and self.conditions.fitness(sold, place) is Fitness.GOOD
            ),
        )
        pieces = getattr(part.spec, "pieces", None) or 1 if part is not None else 1
        self.found.short.append(Short(part, -(-wanted // pieces), (joint.name,), what))
        return tuple(given)

    def seal_order(self, item: PlacedItem) -> tuple[int, str]:
        """Those that bear the fuel first."""
        return (self.conditions.fitness(item.part, Place("feed")), item.ref)

    def asked_for(
        self, joint: PlacedJoint, fits: Callable[[parts.SealSpec], bool]
    ) -> parts.Component | None:
        """The very seal that the maker of one of the two parts names."""
        for end in joint.ends:
            for need in end.item.part.needs:
                part = self.catalogue.get(need.sku) if need.sku else None
                if part is not None and part.lifecycle == "sold" and _is_seal(part, fits):
                    return part
        return None

    def sealant(self) -> None:
        wanting = [
            joint.name
            for joint, how in self.matings.items()
            if joint.sealant is None and any("sealant" in need.parts for need in how.needs)
        ]
        held = any(
            isinstance(item.part.spec, parts.SealantSpec)
            and item.part.spec.sealant in ("paste", "ptfe-tape")
            for item in self.circuit.items.values()
        )
        if wanting and not held:
            paste = self.cheapest(
                "sealant", lambda part: getattr(part.spec, "sealant", None) == "paste"
            )
            self.found.short.append(Short(paste, 1, tuple(wanting), "thread paste"))

    # What makers say that their parts need

    def needs(self) -> None:
        """The list is handed out part by part, so that one relay does not serve two pumps."""
        stock = Counter[str]()
        for item in self.circuit.items.values():
            stock[item.part.sku or item.kind] += _pieces(item)
            if item.part.sku is not None:
                stock[item.kind] += _pieces(item)
        for short in self.found.short:
            if short.part is not None:
                stock[short.part.sku or ""] += short.quantity
                stock[short.part.kind] += short.quantity
        for item in self.circuit.items.values():
            if item.origin == "vehicle":
                continue
            for need in item.part.needs:
                if not self.is_counted_at_joints(need):
                    self.need(item, need, stock)

    def need(self, item: PlacedItem, need: parts.Need, stock: Counter[str]) -> None:
        key, wanted = need.sku or need.kind, need.quantity * item.item.quantity
        lacking = max(0, wanted - max(0, stock[key]))
        stock[key] -= wanted
        if not lacking:
            return
        part = self.serving(item, need)
        packed = getattr(part.spec, "pieces", None) or 1 if part is not None else 1
        length_mm = self.wire_run(item) if need.kind == "wire" else None
        self.found.short.append(
            Short(part, -(-lacking // packed), (item.ref,), _asked(need), length_mm)
        )

    def hand_out(self) -> None:
        """Give each part what its maker says that it needs, piece by piece.

        A need of one very part is served first, then those of a size; what fits best goes first.
        """
        left = Counter(
            {
                item: _pieces(item) - self.found.used[item.ref]
                for item in self.circuit.items.values()
            }
        )
        needs = [
            (item, need)
            for item in self.circuit.items.values()
            if item.origin != "vehicle"
            for need in item.part.needs
            if not self.is_counted_at_joints(need)
        ]
        needs.sort(key=lambda each: (each[1].sku is None, each[1].size is None))
        for item, need in needs:
            got = list(self.put_on(item, need))
            wanted = need.quantity * item.item.quantity - len(got)
            for other in self.serving_items(item, need):
                taken = min(left[other], max(0, wanted))
                left[other] -= taken
                wanted -= taken
                self.found.used[other.ref] += taken
                got += [other.ref] * bool(taken)
            self.found.wishes.append(
                Wish(
                    item.ref,
                    need.kind,
                    _asked(need),
                    sku=need.sku,
                    size=need.size,
                    run_mm=self.wire_run(item) if need.kind == "wire" else None,
                    got=tuple(got),
                )
            )
        self.hand_out_plugs(left)
        self.hand_out_sealant()

    def hand_out_plugs(self, left: Counter[PlacedItem]) -> None:
        """Injectors of which nobody recorded what they need take what terminals there are."""
        for item in self.circuit.of_kind("injector"):
            wanted = 0 if item.part.needs else item.item.quantity
            for other in self.circuit.of_kind("terminal"):
                taken = min(left[other], wanted)
                left[other] -= taken
                wanted -= taken
                self.found.used[other.ref] += taken

    def put_on(self, item: PlacedItem, need: parts.Need) -> Iterator[str]:
        """What a need gets by lying on a joint of its part, as a gasket does."""
        for joint in self.joints:
            if any(end.item is item for end in joint.ends):
                refs = [other.ref for other in joint.uses]
                refs += self.found.uses.get(joint.name, ())
                held = (self.circuit.items[ref] for ref in dict.fromkeys(refs))
                yield from (other.ref for other in held if _meets(other, need))

    def serving_items(self, item: PlacedItem, need: parts.Need) -> list[PlacedItem]:
        found = [other for other in self.circuit.items.values() if _meets(other, need)]
        return sorted(
            found,
            key=lambda other: (
                not _serves_need(other.part.spec, item, need),
                other.ref not in self.own,
                other.ref,
            ),
        )

    def hand_out_sealant(self) -> None:
        """One tube of a sealant is enough: of paste where a thread wants it, of oil anywhere."""
        wanted = any("sealant" in n.parts for how in self.matings.values() for n in how.needs)
        stated = {joint.sealant for joint in self.joints}
        served: set[object] = set()
        for item in self.circuit.of_kind("sealant"):
            kind = getattr(item.part.spec, "sealant", None)
            asked = kind == "assembly-oil" or kind in stated or wanted
            if self.named[item] or (asked and kind not in served):
                self.found.used[item.ref] += 0 if self.named[item] else 1
                served.add(kind)
                self.found.wishes.append(Wish("the joints", "sealant", "one", got=(item.ref,)))

    def is_counted_at_joints(self, need: parts.Need) -> bool:
        part = self.catalogue.get(need.sku) if need.sku else None
        seal = isinstance(part, parts.SealPart) and part.spec.form in _AT_JOINTS
        return seal or need.kind == "clamp"

    def serving(self, item: PlacedItem, need: parts.Need) -> parts.Component | None:
        if need.sku is not None:
            part = self.catalogue.get(need.sku)
            return part if part is not None and part.lifecycle == "sold" else None
        return self.cheapest(need.kind, lambda part: _serves_need(part.spec, item, need))

    def wire_run(self, item: PlacedItem) -> float | None:
        """Length of the vehicle's run of wire to a part."""
        to = f" to {item.kind.replace('-', ' ')}"
        named = (
            run.length_mm
            for run in self.runs
            if run.of == "wire" and run.name.casefold().endswith(to)
        )
        return next(named, None)

    # Shared

    def loose(self, kind: str) -> list[PlacedItem]:
        """Items of a kind of which there are more pieces than joints name."""
        return [item for item in self.circuit.of_kind(kind) if self.left(item) > 0]

    def left(self, item: PlacedItem) -> int:
        """Pieces of an item that no joint names."""
        return _pieces(item) - self.named[item]

    def put(self, joint: PlacedJoint, item: PlacedItem, pieces: int) -> None:
        self.found.uses.setdefault(joint.name, []).append(item.ref)
        self.found.used[item.ref] += pieces

    def cheapest(
        self, kind: str, serves: Callable[[parts.Component], bool]
    ) -> parts.Component | None:
        serving = [part for part in self.catalogue.offered(kind) if serves(part)]
        return min(
            serving,
            key=lambda part: (costs.price_cents(part, self.offers.currency), part.sku or ""),
            default=None,
        )


def _outside_mm(joint: PlacedJoint) -> float | None:
    return next(
        (
            end.item.part.spec.outside_diameter_mm
            for end in joint.ends
            if isinstance(end.item.part.spec, parts.HoseMarks)
        ),
        None,
    )


def _is_banjo(joint: PlacedJoint) -> bool:
    connections = (end.port.connection for end in joint.ends)
    return any(c is not None and c.system == "banjo" for c in connections)


def _sizes(need: Need, joint: PlacedJoint) -> frozenset[str]:
    sizes = {end.port.connection.size for end in joint.ends if end.port.connection} | {need.size}
    return frozenset(size for size in sizes if size is not None)


def _fitting(need: Need, joint: PlacedJoint) -> Callable[[parts.SealSpec], bool]:
    sizes = _sizes(need, joint)
    return lambda spec: spec.form in need.parts and (spec.size is None or spec.size in sizes)


def _is_seal(part: parts.Component, fits: Callable[[parts.SealSpec], bool]) -> bool:
    return isinstance(part.spec, parts.SealSpec) and fits(part.spec)


def _in_words(need: Need) -> str:
    names = " or ".join(part.replace("-", " ").replace("o ring", "O-ring") for part in need.parts)
    return names + (f" {need.size}" if need.size else "")


def _pieces(item: PlacedItem) -> int:
    """Pieces of an item: of what comes by the pack, all that the packs hold."""
    return item.item.quantity * (getattr(item.part.spec, "pieces", None) or 1)


def _asked(need: parts.Need) -> str:
    """What a need asks for, in words."""
    return need.sku or " ".join(filter(None, (need.size, need.kind.replace("-", " "))))


def _meets(item: PlacedItem, need: parts.Need) -> bool:
    """Whether an item is of the part, or of the kind, that a need asks for."""
    return item.part.sku == need.sku if need.sku is not None else item.kind == need.kind


def _serves_need(spec: object, item: PlacedItem, need: parts.Need) -> bool:
    """Whether a part is of the size that a need names, or that its part draws."""
    if isinstance(spec, parts.FuseSpec | parts.WireSpec):
        return is_of_size(spec, need.size)
    if isinstance(spec, parts.RelaySpec):
        current_a = getattr(item.part.spec, "maximum_current_a", None) or 0.0
        return not spec.solid_state and spec.rating_a is not None and spec.rating_a >= current_a
    return need.size is None


def is_of_size(spec: object, size: str | None) -> bool:
    """Whether a fuse or a wire is of the size that a maker names; other parts have none."""
    number = _NUMBER.search(size or "")
    if number is None:
        return True
    if isinstance(spec, parts.FuseSpec):
        return spec.rating_a == float(number[1])
    return not isinstance(spec, parts.WireSpec) or spec.area_mm2 == float(number[1])


def _added_up(shorts: Sequence[Short]) -> list[Short]:
    """What is short, each part once; packs that one joint leaves half full serve the next."""
    by_part: dict[tuple[str, str, float | None], list[Short]] = {}
    for short in shorts:
        sku = (short.part.sku or "") if short.part else ""
        by_part.setdefault((sku, "" if sku else short.what, short.length_mm), []).append(short)
    return [_together(each) for _, each in sorted(by_part.items(), key=lambda pair: pair[0][:2])]


def _together(shorts: Sequence[Short]) -> Short:
    first = shorts[0]
    return Short(
        first.part,
        sum(short.quantity for short in shorts),
        tuple(dict.fromkeys(name for short in shorts for name in short.of)),
        first.what,
        first.length_mm,
    )


def packs_used(item: PlacedItem, supplied: Supplied) -> int:
    """How many of an item are used: of what comes by the pack, packs."""
    packed = getattr(item.part.spec, "pieces", None) or 1
    return -(-supplied.used[item.ref] // packed)
