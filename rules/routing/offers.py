"""What the shop sells to fill a link: an index of conduits by their ends, and ways through it."""

from __future__ import annotations

import threading
from collections import Counter, OrderedDict, defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from rules.catalogue import Catalogue
from rules.faces import Face, FaceReader, Grade, grade
from rules.parts import Component
from rules.routing import costs
from rules.routing.costs import Cost, Packed, add, ordered, packed
from rules.routing.fitness import Conditions, Fitness, Place, service_of
from rules.routing.pieces import CONDUITS, FLOW_ROLES, HOSES, Lot, shop_lot

MOST_BOUGHT = 5
"""Parts bought for one link at most: an adapter, a hose with its two ends, an adapter."""

NEVER = 2**62 - 1
"""Stands in a table of codes for what cannot be had; twice as much is still a number there."""

_REMEMBERED_PLACES = 128
_REMEMBERED_FACES = 4096
_REMEMBERED_STARTS = 1024

Codes: TypeAlias = npt.NDArray[np.int64]
"""Costs as whole numbers that compare as the costs do (`costs.code`)."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Passage:
    """A part passed from one of its ports to another."""

    lot: Lot
    enters: str
    leaves: str
    entry: Face
    exit: Face

    @property
    def is_hose(self) -> bool:
        """Whether it bridges a distance."""
        return self.lot.part.kind in HOSES


def passages(lot: Lot, *, backwards: bool = False) -> Iterator[Passage]:
    """The ways through a part, those between equal ends once; backwards those against the flow."""
    never_entered, never_left = ("inlet", "outlet") if backwards else ("outlet", "inlet")
    seen = set()
    for entry in lot.flow_ports:
        for leave in lot.flow_ports:
            if entry.id == leave.id or entry.role == never_entered or leave.role == never_left:
                continue
            faces = lot.faces[entry.id], lot.faces[leave.id]
            # An end that joins the car is left by, never entered.
            ends = (*faces, leave.id in lot.taken)
            if entry.id not in lot.taken and ends not in seen:
                seen.add(ends)
                yield Passage(lot, entry.id, leave.id, *faces)


@dataclass(frozen=True)
class Bridge:
    """Sold parts in a row that lead from one face to another."""

    cost: Cost
    passages: tuple[Passage, ...]
    has_hose: bool

    @cached_property
    def packed(self) -> Packed:
        """Its cost as one number."""
        return packed(self.cost, int(self.has_hose))


@dataclass(frozen=True, slots=True)
class _Offer:
    """A sold part passed from one port to another; made a passage where it is looked at.

    Attributes:
        part: the part.
        enters: the port it is entered by.
        leaves: the port it is left by.
        cents: its price; of hose by the metre, for the usual length.
        drop: its drop by the proxy, likewise.
        seals: how many seals it needs beside it.
        seals_cents: what they cost.
        service: number of those that serve alike; nothing for hoses, which are judged one by one.
    """

    part: Component
    enters: str
    leaves: str
    cents: int
    drop: int
    seals: int
    seals_cents: int
    service: int | None


@dataclass(slots=True)
class _Offered:
    """The sold parts that are entered at one face and left at another, cheapest first."""

    fittings: list[_Offer] = field(default_factory=list)
    hoses: list[_Offer] = field(default_factory=list)
    _by_drop: list[_Offer] | None = None

    @property
    def by_drop(self) -> list[_Offer]:
        """The fittings, the least restrictive first, of equals the cheapest."""
        if self._by_drop is None:
            # What is sorted stays in the order of price where it is equal.
            self._by_drop = sorted(self.fittings, key=lambda each: each.drop)
        return self._by_drop


class _Sold:
    """The sold conduits and caps of a catalogue by their faces.

    It knows nothing of the catalogue it was made of, nor of what is found with it: so it goes with
    the last that asks it, and waits for no collector.
    """

    def __init__(self, catalogue: Catalogue) -> None:
        self.currency = _currency(catalogue)
        self._seals = {part.sku: part for part in catalogue if part.kind == "seal"}
        self._entries: dict[Face, int] = {}
        self._exits: dict[Face, int] = {}
        self._ways: defaultdict[tuple[int, int], _Offered] = defaultdict(_Offered)
        self._entered: dict[Face, tuple[tuple[int, Grade], ...]] = {}
        self._left: dict[Face, tuple[tuple[int, Grade], ...]] = {}
        self._caps: defaultdict[Face, list[Component]] = defaultdict(list)
        self._lots: dict[str, Lot] = {}
        self._services: dict[Hashable, int] = {}
        read = FaceReader()
        for kind in sorted(CONDUITS - {"tee"}):
            for part in self._by_price(catalogue.offered(kind)):
                self._add(part, read)
        for part in self._by_price(catalogue.offered("cap")):
            for face in dict.fromkeys(read(part, port) for port in part.ports):
                self._caps[face].append(part)
        for face in self._exits:
            self.entered_from(face)

    def _by_price(self, offered: tuple[Component, ...]) -> list[Component]:
        return sorted(offered, key=lambda p: (costs.price_cents(p, self.currency), p.sku or ""))

    def _add(self, part: Component, read: FaceReader) -> None:
        ends = [port for port in part.ports if port.role in FLOW_ROLES]
        if len(ends) != 2 or any(port.submerged is not None for port in part.ports):
            return  # a branch, or made to pass the wall of a tank
        one, other = ends
        faces = read(part, one), read(part, other)
        service = None
        if part.kind not in HOSES:
            service = self._services.setdefault(service_of(part), len(self._services))
        known = (
            *(costs.price_cents(part, self.currency), costs.drop(part, None)),
            *self.seals_of(part),
            service,
        )
        if one.role != "outlet" and other.role != "inlet":
            self._way(faces[0], faces[1], _Offer(part, one.id, other.id, *known))
        if other.role != "outlet" and one.role != "inlet" and faces[0] is not faces[1]:
            self._way(faces[1], faces[0], _Offer(part, other.id, one.id, *known))

    def _way(self, entry: Face, leave: Face, offer: _Offer) -> None:
        place = (
            self._entries.setdefault(entry, len(self._entries)),
            self._exits.setdefault(leave, len(self._exits)),
        )
        offered = self._ways[place]
        (offered.hoses if offer.part.kind in HOSES else offered.fittings).append(offer)

    @property
    def shape(self) -> tuple[int, int]:
        """How many faces sold conduits are entered at, and how many they are left at."""
        return len(self._entries), len(self._exits)

    @property
    def exits(self) -> Iterable[Face]:
        """The faces that sold conduits are left at, in the order of the tables."""
        return self._exits

    def ways(self) -> Iterable[tuple[tuple[int, int], _Offered]]:
        """What leads from each entry to each exit, by their places in the tables."""
        return self._ways.items()

    def hose_ways(self) -> Iterable[tuple[tuple[int, int], _Offered]]:
        """Those of them that hoses are among."""
        return ((place, offered) for place, offered in self.ways() if offered.hoses)

    def passage(self, offer: _Offer) -> Passage:
        """The passage of an offer."""
        sku = offer.part.sku or ""
        lot = self._lots.get(sku)
        if lot is None:
            lot = self._lots[sku] = shop_lot(offer.part)
        entry, leave = lot.faces[offer.enters], lot.faces[offer.leaves]
        return Passage(lot, offer.enters, offer.leaves, entry, leave)

    def seals_of(self, part: Component) -> tuple[int, int]:
        """How many seals a part needs that do not come with it, and what they cost in cents."""
        count = cents = 0
        for need in part.needs:
            seal = self._seals.get(need.sku) if need.kind == "seal" and need.sku else None
            if seal is not None:
                count += need.quantity
                cents += need.quantity * costs.price_cents(seal, self.currency)
        return count, cents

    def entered_from(self, face: Face) -> tuple[tuple[int, Grade], ...]:
        """The entries of sold conduits that join a face, by their places in the tables."""
        return _joining(face, self._entries, self._entered)

    def left_at(self, face: Face) -> tuple[tuple[int, Grade], ...]:
        """The exits of sold conduits that join a face, by their places in the tables."""
        return _joining(face, self._exits, self._left)

    def cap(self, face: Face, conditions: Conditions, place: Place) -> Lot | None:
        """The cheapest sold cap or plug that closes a face and serves in its place."""
        closing = (
            next((p for p in offered if conditions.fitness(p, place) is Fitness.GOOD), None)
            for cap_face, offered in self._caps.items()
            if grade(cap_face, face) == 0
        )
        best = min(
            (part for part in closing if part is not None),
            key=lambda part: (costs.price_cents(part, self.currency), part.sku or ""),
            default=None,
        )
        return None if best is None else shop_lot(best)


class Offers:
    """What a shop offers for links and ports."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._sold = _Sold(catalogue)
        self._fittings: OrderedDict[Hashable, Fittings] = OrderedDict()
        self._bridges: OrderedDict[Hashable, Bridges] = OrderedDict()
        self._lock = threading.Lock()

    @property
    def currency(self) -> str | None:
        """The currency that prices are compared in."""
        return self._sold.currency

    def seals_of(self, part: Component) -> tuple[int, int]:
        """How many seals a part needs that do not come with it, and what they cost in cents."""
        return self._sold.seals_of(part)

    def cap(self, face: Face, conditions: Conditions, place: Place) -> Lot | None:
        """The cheapest sold cap or plug that closes a face and serves in its place."""
        return self._sold.cap(face, conditions, place)

    def bridges(
        self, conditions: Conditions, place: Place, run_mm: float | None, kind: costs.Kind
    ) -> Bridges:
        """Ways through what is sold, under these conditions; kept for the next cart."""
        key = (conditions.key, place, kind)
        costing = _Costing(self._sold, conditions, place, kind)
        with self._lock:
            fittings = _kept(self._fittings, key, lambda: Fittings(costing))
            return _kept(self._bridges, (*key, run_mm), lambda: Bridges(fittings, run_mm))


def _kept(held: OrderedDict[Hashable, T], key: Hashable, make: Callable[[], T]) -> T:
    """What is held under a key, or is made now; what was not asked for longest is let go."""
    found = held.get(key)
    if found is None:
        found = held[key] = make()
    held.move_to_end(key)
    while len(held) > _REMEMBERED_PLACES:
        held.popitem(last=False)
    return found


def _joining(
    face: Face,
    others: dict[Face, int],
    known: dict[Face, tuple[tuple[int, Grade], ...]],
) -> tuple[tuple[int, Grade], ...]:
    found = known.get(face)
    if found is None:
        graded = ((place, grade(face, other)) for other, place in others.items())
        found = tuple((place, how) for place, how in graded if how is not None)
        if len(known) >= _REMEMBERED_FACES:
            known.clear()
        known[face] = found
    return found


def _currency(catalogue: Catalogue) -> str | None:
    """The currency most parts are priced in; the first by name where two are equal."""
    counted = Counter(part.price.currency for part in catalogue if part.price)
    return min(counted, key=lambda name: (-counted[name], name), default=None)


# Ways through what is sold ----------------------------------------------------------------------


class _Costing:
    """What sold parts cost in one place of the circuit."""

    def __init__(self, sold: _Sold, conditions: Conditions, place: Place, kind: costs.Kind) -> None:
        self.sold = sold
        self.kind: costs.Kind = kind
        self._conditions = conditions
        self._place = place
        self._serving: dict[int, Fitness] = {}

    def best_fitting(self, offered: _Offered) -> tuple[Cost, _Offer] | None:
        """The best of some fittings, looked at only as long as one could be better."""
        by_drop = self.kind == "least-restrictive"
        best: tuple[Cost, _Offer] | None = None
        for offer in offered.by_drop if by_drop else offered.fittings:
            # It costs at least this; those after it come to more in what is compared first.
            least = ordered((0, 1, 0, offer.cents, offer.drop), self.kind)
            if best is not None and best[0] <= least:
                break
            fitness = self._fitness(offer)
            if fitness is Fitness.UNFIT:
                continue
            cents = offer.cents + offer.seals_cents
            caution = int(fitness is Fitness.CAUTION)
            cost = ordered((caution, 1 + offer.seals, 0, cents, offer.drop), self.kind)
            if best is None or cost < best[0]:
                best = (cost, offer)
        return best

    def best_hose(self, offered: _Offered, run_mm: float | None) -> tuple[Cost, _Offer] | None:
        """The best of some hoses over a run."""
        best: tuple[Cost, _Offer] | None = None
        for offer in offered.hoses:
            fixed_mm: float | None = getattr(offer.part.spec, "length_mm", None)
            if fixed_mm is not None and (run_mm or 0.0) > fixed_mm:
                continue
            cents = costs.price_cents(offer.part, self.sold.currency, fixed_mm or run_mm)
            # Most are seen to be no better without being judged.
            if best is not None and best[0] <= ordered((0, 1, 0, cents, 0), self.kind):
                continue
            fitness = self._fitness(offer)
            if fitness is Fitness.UNFIT:
                continue
            # Of a hose that cannot be cut nobody knows whether it reaches where no run is stated.
            unsure = fixed_mm is not None and run_mm is None
            resistance = costs.drop(offer.part, fixed_mm or run_mm)
            caution = int(fitness is Fitness.CAUTION or unsure)
            seals, seals_cents = offer.seals, offer.seals_cents
            cost = ordered((caution, 1 + seals, 0, cents + seals_cents, resistance), self.kind)
            if best is None or cost < best[0]:
                best = (cost, offer)
        return best

    def _fitness(self, offer: _Offer) -> Fitness:
        if offer.part.sku in self._conditions.barred:
            return Fitness.UNFIT
        if offer.service is None:
            return self._conditions.fitness(offer.part, self._place)
        known = self._serving.get(offer.service)
        if known is None:
            known = self._conditions.fitness(offer.part, self._place)
            self._serving[offer.service] = known
        return known


class _Table:
    """The best part for each entry and exit, and what it costs to go from each exit to the next."""

    def __init__(
        self,
        sold: _Sold,
        kind: costs.Kind,
        ways: Iterable[tuple[tuple[int, int], _Offered]],
        choose: Callable[[_Offered], tuple[Cost, _Offer] | None],
    ) -> None:
        entries, exits = sold.shape
        self._sold = sold
        self._kind: costs.Kind = kind
        self._best: dict[tuple[int, int], tuple[Cost, _Offer]] = {}
        self._entered: Codes = np.full((entries, exits), NEVER, dtype=np.int64)
        for place, offered in ways:
            best = choose(offered)
            if best is not None:
                self._best[place] = best
                self._entered[place] = costs.code(best[0], kind)
        self.onward: Codes = np.full((exits, exits), NEVER, dtype=np.int64)
        for number, face in enumerate(sold.exits):
            self.onward[number] = self.first(face)

    def first(self, face: Face) -> Codes:
        """What one part from a face to each exit costs, with the joint before it."""
        found: Codes = np.full(self._entered.shape[1], NEVER, dtype=np.int64)
        for entry, how in self._sold.entered_from(face):
            joint = costs.code(costs.compromise(how, self._kind), self._kind)
            np.minimum(found, self._entered[entry] + joint, out=found)
        return found

    def step(self, face: Face, leave: int) -> tuple[Cost, Passage]:
        """The best part from a face to an exit."""
        cost, _, offer = min(
            (add(self._best[entry, leave][0], costs.compromise(how, self._kind)), entry, offer)
            for entry, how in self._sold.entered_from(face)
            if (entry, leave) in self._best
            for offer in (self._best[entry, leave][1],)
        )
        return cost, self._sold.passage(offer)


class Fittings:
    """The best rows of sold fittings, without a hose, in one place of the circuit."""

    def __init__(self, costing: _Costing) -> None:
        self.costing = costing
        self.kind: costs.Kind = costing.kind
        self.faces = list(costing.sold.exits)
        ways = costing.sold.ways()
        self.table = _Table(costing.sold, costing.kind, ways, costing.best_fitting)
        self._rows: dict[Face, list[Codes]] = {}

    def rows(self, start: Face, parts: int) -> list[Codes]:
        """What the best row of 1, 2 and so on parts costs from a face to each exit."""
        rows = self._rows.get(start, [])
        if not rows or len(rows) < parts:
            rows = list(rows) or [self.table.first(start)]
            while len(rows) < parts:
                rows.append(_onward(rows[-1], self.table.onward))
            if len(self._rows) >= _REMEMBERED_STARTS:
                self._rows.clear()
            self._rows[start] = rows
        return rows


class _Ends(NamedTuple):
    """The exits that bridges to some goals may end with, one goal after the other.

    Attributes:
        columns: places of the goals that may be reached at all.
        exits: exits for the first of them, then for the second and so on.
        joints: what the joint there costs.
        begins: where the exits of each begin.
    """

    columns: npt.NDArray[np.intp]
    exits: npt.NDArray[np.intp]
    joints: Codes
    begins: npt.NDArray[np.intp]


_NO_EXITS: npt.NDArray[np.intp] = np.zeros(0, dtype=np.intp)
_NO_CODES: Codes = np.zeros(0, dtype=np.int64)


class Bridges:
    """The best ways through what is sold, from any face to any other, in one place of the circuit.

    A table for each number of parts (Bellman and Ford's recursion) is made as far as the questions
    need it: with the parts that were bought before, each part more is one to buy.
    """

    def __init__(self, fittings: Fittings, run_mm: float | None) -> None:
        self._fittings = fittings
        self._sold = fittings.costing.sold
        self._kind: costs.Kind = fittings.kind
        self._hoses = _Table(
            self._sold,
            fittings.kind,
            self._sold.hose_ways(),
            lambda offered: fittings.costing.best_hose(offered, run_mm),
        )
        self._rows: dict[Face, list[Codes]] = {}
        self._found: dict[tuple[Face, Face | None, bool], Bridge] = {}
        self._all_ends_at: dict[tuple[Face | None, ...], _Ends] = {}
        self._ends_at: dict[Face | None, tuple[npt.NDArray[np.intp], Codes]] = {}

    def between(
        self, start: Face, goal: Face | None, *, hose: bool, below: Packed | None = None
    ) -> Bridge | None:
        """The best bridge from a face to another; to no goal, the best that ends in a hose.

        Args:
            start: where it begins.
            goal: where it ends.
            hose: whether a hose is to be among its parts: one, or none at all.
            below: only what costs less is of interest, as a packed cost.
        """
        found = self._found.get((start, goal, hose))
        if found is None:
            best = self._best(start, goal, hose, below)
            if best is None:
                return None
            if len(self._found) >= _REMEMBERED_FACES:
                self._found.clear()
            found = self._found[start, goal, hose] = self._bridge(start, goal, hose, *best)
        return found if below is None or found.packed < below else None

    def least(
        self, starts: Sequence[Face], goals: Sequence[Face | None], *, hose: bool, parts: int
    ) -> Codes:
        """What bridges cost at least, those of more than so many parts as if they were free."""
        parts = min(parts, MOST_BOUGHT)
        beyond = NEVER
        if parts < MOST_BOUGHT:
            beyond = costs.code(ordered((0, parts + 1, 0, 0, 0), self._kind), self._kind)
        found: Codes = np.full((len(starts), len(goals)), beyond, dtype=np.int64)
        if not starts or not goals:
            return found
        best = np.stack([np.minimum.reduce(self._rows_of(s, hose, parts)) for s in starts])
        ends = self._all_ends(tuple(goals))
        if len(ends.columns):
            totals = best[:, ends.exits] + ends.joints
            least = np.minimum.reduceat(totals, ends.begins, axis=1)
            found[:, ends.columns] = np.minimum(found[:, ends.columns], least)
        return found

    def _all_ends(self, goals: tuple[Face | None, ...]) -> _Ends:
        """The ends of several goals in one row."""
        found = self._all_ends_at.get(goals)
        if found is None:
            each = [(column, *self._ends(goal)) for column, goal in enumerate(goals)]
            each = [(column, exits, joints) for column, exits, joints in each if len(exits)]
            lengths = [len(exits) for _, exits, _ in each]
            found = _Ends(
                columns=np.array([column for column, _, _ in each], dtype=np.intp),
                exits=np.concatenate([_NO_EXITS, *(exits for _, exits, _ in each)]),
                joints=np.concatenate([_NO_CODES, *(joints for _, _, joints in each)]),
                begins=np.cumsum([0, *lengths[:-1]], dtype=np.intp),
            )
            if len(self._all_ends_at) >= _REMEMBERED_STARTS:
                self._all_ends_at.clear()
            self._all_ends_at[goals] = found
        return found

    def _best(
        self, start: Face, goal: Face | None, hose: bool, below: Packed | None
    ) -> tuple[int, int] | None:
        """How many parts the best bridge has, and the exit it ends with."""
        exits, joints = self._ends(goal)
        if not len(exits):
            return None
        best, found = NEVER, None
        for parts in range(1, MOST_BOUGHT + 1):
            least = ordered((0, parts, 0, 0, 0), self._kind)
            if costs.code(least, self._kind) > best:
                break
            if below is not None and packed(least, int(hose)) >= below:
                break
            total = self._rows_of(start, hose, parts)[parts - 1][exits] + joints
            place = int(total.argmin())
            if total[place] < best:
                best = int(total[place])
                found = (parts, int(exits[place]))
        return found

    def _ends(self, goal: Face | None) -> tuple[npt.NDArray[np.intp], Codes]:
        """The exits a bridge to a goal may end with, and what the joint there costs."""
        found = self._ends_at.get(goal)
        if found is None:
            every = ((place, 0) for place in range(self._sold.shape[1]))
            left = tuple(every) if goal is None else self._sold.left_at(goal)
            joints = [costs.code(costs.compromise(how, self._kind), self._kind) for _, how in left]
            found = (
                np.array([place for place, _ in left], dtype=np.intp),
                np.array(joints, dtype=np.int64),
            )
            if len(self._ends_at) >= _REMEMBERED_STARTS:
                self._ends_at.clear()
            self._ends_at[goal] = found
        return found

    def _rows_of(self, start: Face, hose: bool, parts: int) -> list[Codes]:
        """What the best row of 1, 2 and so on parts costs from a face to each exit."""
        if not hose:
            return self._fittings.rows(start, parts)[:parts]
        rows = self._rows.get(start, [])
        if not rows or len(rows) < parts:
            rows = list(rows) or [self._hoses.first(start)]
            fittings = self._fittings.rows(start, parts - 1)
            while len(rows) < parts:
                before = _onward(rows[-1], self._fittings.table.onward)
                last = _onward(fittings[len(rows) - 1], self._hoses.onward)
                rows.append(np.minimum(before, last))
            if len(self._rows) >= _REMEMBERED_STARTS:
                self._rows.clear()
            self._rows[start] = rows
        return rows[:parts]

    def _bridge(self, start: Face, goal: Face | None, hose: bool, parts: int, last: int) -> Bridge:
        """The row of parts behind an entry of the tables, found from its end."""
        faces, fittings = self._fittings.faces, self._fittings.table
        found: list[tuple[Cost, Passage]] = []
        at, has_hose = last, hose
        for number in range(parts, 1, -1):
            choices = [(self._rows_of(start, has_hose, number - 1)[-1], fittings, has_hose)]
            if has_hose:
                choices.append((self._rows_of(start, False, number - 1)[-1], self._hoses, False))
            totals = [rows + table.onward[:, at] for rows, table, _ in choices]
            _, choice = min((int(total.min()), place) for place, total in enumerate(totals))
            before = int(totals[choice].argmin())
            found.append(choices[choice][1].step(faces[before], at))
            at, has_hose = before, choices[choice][2]
        found.append((self._hoses if has_hose else fittings).step(start, at))
        cost = ordered(costs.FREE, self._kind)
        for part_cost, _ in found:
            cost = add(cost, part_cost)
        if goal is not None:
            how = grade(faces[last], goal)
            assert how is not None
            cost = add(cost, costs.compromise(how, self._kind))
        return Bridge(cost, tuple(passage for _, passage in reversed(found)), hose)


def _onward(row: Codes, table: Codes) -> Codes:
    """The best of a row with one part more."""
    known = np.flatnonzero(row < NEVER)
    if not len(known):
        return np.full_like(row, NEVER)
    total: Codes = (row[known, None] + table[known]).min(axis=0)
    return np.minimum(total, NEVER)
