"""What the shop sells to fill a link: an index of conduits by their ends, and ways through it."""

from __future__ import annotations

import heapq
import threading
from collections import Counter, OrderedDict, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from rules.catalogue import Catalogue
from rules.faces import Face, FaceReader, Grade, grade
from rules.parts import Component
from rules.routing import costs
from rules.routing.costs import Cost, add, ordered, plain
from rules.routing.fitness import Conditions, Fitness, Place
from rules.routing.pieces import CONDUITS, FLOW_ROLES, HOSES, Lot, shop_lot

MOST_BOUGHT = 5
"""Parts bought for one link at most: an adapter, a hose with its two ends, an adapter."""

_REMEMBERED_PLACES = 64
_REMEMBERED_FACES = 4096
_REMEMBERED_SEARCHES = 128


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


@dataclass(frozen=True, slots=True)
class Bridge:
    """Sold parts in a row that lead from one face to another."""

    cost: Cost
    passages: tuple[Passage, ...]
    has_hose: bool


@dataclass(frozen=True, slots=True)
class _Offer:
    """A sold part passed from one port to another; made a passage where it is looked at."""

    part: Component
    enters: str
    leaves: str


class Offers:
    """The sold conduits and caps of a catalogue by their faces."""

    def __init__(self, catalogue: Catalogue) -> None:
        self.currency = _currency(catalogue)
        self._catalogue = catalogue
        self._ways: defaultdict[Face, defaultdict[Face, list[_Offer]]] = defaultdict(
            lambda: defaultdict(list)
        )
        self._joined: dict[Face, tuple[tuple[Face, Grade], ...]] = {}
        self._caps: defaultdict[Face, list[Component]] = defaultdict(list)
        self._bridges: OrderedDict[object, Bridges] = OrderedDict()
        self._lots: dict[str, Lot] = {}
        self._lock = threading.Lock()
        read = FaceReader()
        for kind in sorted(CONDUITS - {"tee"}):
            for part in self._by_price(catalogue.offered(kind)):
                self._add(part, read)
        for part in self._by_price(catalogue.offered("cap")):
            for face in dict.fromkeys(read(part, port) for port in part.ports):
                self._caps[face].append(part)

    def _by_price(self, offered: tuple[Component, ...]) -> list[Component]:
        return sorted(offered, key=lambda p: (costs.price_cents(p, self.currency), p.sku or ""))

    def _add(self, part: Component, read: FaceReader) -> None:
        ends = [port for port in part.ports if port.role in FLOW_ROLES]
        if len(ends) != 2 or any(port.submerged is not None for port in part.ports):
            return  # a branch, or made to pass the wall of a tank
        one, other = ends
        faces = read(part, one), read(part, other)
        if one.role != "outlet" and other.role != "inlet":
            self._ways[faces[0]][faces[1]].append(_Offer(part, one.id, other.id))
        if other.role != "outlet" and one.role != "inlet" and faces[0] is not faces[1]:
            self._ways[faces[1]][faces[0]].append(_Offer(part, other.id, one.id))

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
            seal = self._catalogue.get(need.sku) if need.kind == "seal" and need.sku else None
            if seal is not None:
                count += need.quantity
                cents += need.quantity * costs.price_cents(seal, self.currency)
        return count, cents

    def ways(self, entry: Face) -> Mapping[Face, list[_Offer]]:
        """The sold parts that are entered at a face, by the face they are left at."""
        return self._ways.get(entry, {})

    def joined_by(self, face: Face) -> tuple[tuple[Face, Grade], ...]:
        """The entries of sold conduits that join a face."""
        found = self._joined.get(face)
        if found is None:
            graded = ((entry, grade(face, entry)) for entry in list(self._ways))
            found = tuple((entry, how) for entry, how in graded if how is not None)
            if len(self._joined) >= _REMEMBERED_FACES:
                self._joined.clear()
            self._joined[face] = found
        return found

    def cap(self, face: Face, conditions: Conditions, place: Place) -> Lot | None:
        """The cheapest sold cap or plug that closes a face and serves in its place."""
        closing = (
            part
            for cap_face, offered in self._caps.items()
            if grade(cap_face, face) == 0
            for part in offered
            if conditions.fitness(part, place) is Fitness.GOOD
        )
        best = min(
            closing,
            key=lambda part: (costs.price_cents(part, self.currency), part.sku or ""),
            default=None,
        )
        return None if best is None else shop_lot(best)

    def bridges(
        self, conditions: Conditions, place: Place, run_mm: float | None, kind: costs.Kind
    ) -> Bridges:
        """Ways through what is sold, under these conditions; kept for the next cart."""
        key = (conditions.key, place, run_mm, kind)
        with self._lock:
            found = self._bridges.get(key)
            if found is None:
                found = self._bridges[key] = Bridges(self, conditions, place, run_mm, kind)
            self._bridges.move_to_end(key)
            while len(self._bridges) > _REMEMBERED_PLACES:
                self._bridges.popitem(last=False)
        return found


def _currency(catalogue: Catalogue) -> str | None:
    """The currency most parts are priced in; the first by name where two are equal."""
    counted = Counter(part.price.currency for part in catalogue if part.price)
    return min(counted, key=lambda name: (-counted[name], name), default=None)


_State: TypeAlias = tuple[Face, bool]


class Bridges:
    """The best ways through what is sold, from any face to any other, in one place of the circuit.

    The search from a face (Dijkstra) stops where it has its answer and goes on where the next
    question needs more.
    """

    def __init__(
        self,
        offers: Offers,
        conditions: Conditions,
        place: Place,
        run_mm: float | None,
        kind: costs.Kind,
    ) -> None:
        self._offers = offers
        self._conditions = conditions
        self._place = place
        self._run_mm = run_mm
        self._kind = kind
        self._free = ordered(costs.FREE, kind)
        self._best: dict[Face, tuple[tuple[Passage, Cost], ...]] = {}
        self._searches: dict[Face, _Search] = {}
        self._lock = threading.Lock()

    def between(
        self, start: Face, goal: Face | None, *, hose: bool, below: Cost | None = None
    ) -> Bridge | None:
        """The best bridge from a face to another; to no goal, the best that ends in a hose.

        Args:
            start: where it begins.
            goal: where it ends.
            hose: whether a hose is to be among its parts: one, or none at all.
            below: only what costs less is of interest.
        """
        with self._lock:
            search = self._searches.get(start)
            if search is None:
                if len(self._searches) >= _REMEMBERED_SEARCHES:
                    self._searches.clear()
                search = self._searches[start] = _Search(self, start, self._free)
            return search.to(goal, hose, below)

    def steps(self, face: Face) -> Iterator[tuple[Passage, Cost]]:
        """Each part that may follow a face, with what it and its joint cost."""
        for entry, how in self._offers.joined_by(face):
            for passage, cost in self._ways(entry):
                yield passage, add(cost, self.joint(how)) if how else cost

    def joint(self, how: Grade) -> Cost:
        """What a joint of this grade costs."""
        return ordered((how, 0, 0, 0, 0, 0), self._kind)

    def _ways(self, entry: Face) -> tuple[tuple[Passage, Cost], ...]:
        """For each exit the best hose and the best of what is no hose."""
        found = self._best.get(entry)
        if found is None:
            best: dict[_State, tuple[Cost, _Offer]] = {}
            for leave, offered in self._offers.ways(entry).items():
                for offer in offered:
                    state = (leave, offer.part.kind in HOSES)
                    held = best.get(state)
                    if held is not None and self._is_dearer(offer, held[0]):
                        continue
                    cost = self._cost(offer.part)
                    if cost is not None and (held is None or cost < held[0]):
                        best[state] = (cost, offer)
            found = tuple((self._offers.passage(o), cost) for cost, o in best.values())
            self._best[entry] = found
        return found

    def _is_dearer(self, offer: _Offer, held: Cost) -> bool:
        """Whether it is plain from its price that an offer does not beat what is held.

        Offers come in the order of their price: against one that is alone and without a caution
        only a lower price counts.
        """
        best = plain(held, self._kind)
        if self._kind == "least-restrictive" or best[costs.COMPROMISES] or best[costs.BOUGHT] > 1:
            return False
        length_mm = self._run_mm
        return costs.price_cents(offer.part, self._offers.currency, length_mm) > best[costs.PRICE]

    def _cost(self, part: Component) -> Cost | None:
        """What a part costs here; `None` where it does not serve or does not reach."""
        fitness = self._conditions.fitness(part, self._place)
        is_hose = part.kind in HOSES
        fixed_mm: float | None = getattr(part.spec, "length_mm", None)
        if fitness is Fitness.UNFIT:
            return None
        if is_hose and fixed_mm is not None and (self._run_mm or 0.0) > fixed_mm:
            return None
        # Of a hose that cannot be cut nobody knows whether it reaches where no run is stated.
        unsure = is_hose and fixed_mm is not None and self._run_mm is None
        length_mm = fixed_mm or self._run_mm
        seals, seals_cents = self._offers.seals_of(part)
        return ordered(
            (
                int(fitness is Fitness.CAUTION or unsure),
                1 + seals,
                0,
                0,
                costs.price_cents(part, self._offers.currency, length_mm) + seals_cents,
                costs.drop(part, length_mm),
            ),
            self._kind,
        )


class _Search:
    """A search from one face that goes on where it stopped."""

    def __init__(self, bridges: Bridges, start: Face, free: Cost) -> None:
        self._bridges = bridges
        self._came_by: dict[_State, tuple[_State, Passage] | None] = {(start, False): None}
        self._settled: dict[_State, tuple[Cost, int]] = {}
        self._heap: list[tuple[Cost, int, _State, int]] = [(free, 0, (start, False), 0)]
        self._reached: dict[_State, Cost] = {(start, False): free}
        self._pushed = 0
        self._answers: dict[tuple[Face | None, bool], Bridge | None] = {}

    def to(self, goal: Face | None, hose: bool, below: Cost | None) -> Bridge | None:
        known = self._answers.get((goal, hose))
        if known is not None or (goal, hose) in self._answers:
            return known if below is None or (known and known.cost < below) else None
        best = self._best_of_settled(goal, hose)
        while self._heap and (best is None or self._heap[0][0] < best[0]):
            if below is not None and self._heap[0][0] >= below:
                # Not worth an answer to keep: another question may allow more.
                return self._bridge(best) if best and best[0] < below else None
            state = self._settle()
            final = None if state is None else self._final(state, goal, hose)
            if state is not None and final is not None and (best is None or final < best[0]):
                best = (final, state)
        found = self._bridge(best) if best else None
        self._answers[goal, hose] = found
        return found if below is None or (found and found.cost < below) else None

    def _best_of_settled(self, goal: Face | None, hose: bool) -> tuple[Cost, _State] | None:
        best: tuple[Cost, _State] | None = None
        for state in self._settled:
            final = self._final(state, goal, hose)
            if final is not None and (best is None or final < best[0]):
                best = (final, state)
        return best

    def _final(self, state: _State, goal: Face | None, hose: bool) -> Cost | None:
        face, has_hose = state
        cost, bought = self._settled[state]
        if not bought or hose is not has_hose:
            return None
        if goal is None:
            return cost
        how = grade(face, goal)
        return None if how is None else add(cost, self._bridges.joint(how))

    def _settle(self) -> _State | None:
        """Settle the nearest state and push what follows it."""
        cost, _, state, bought = heapq.heappop(self._heap)
        if state in self._settled:
            return None
        self._settled[state] = (cost, bought)
        if bought < MOST_BOUGHT:
            for passage, step in self._bridges.steps(state[0]):
                if state[1] and passage.is_hose:
                    continue  # one hose is enough
                following = (passage.exit, state[1] or passage.is_hose)
                total = add(cost, step)
                held = self._reached.get(following)
                if following not in self._settled and (held is None or total < held):
                    self._reached[following] = total
                    self._came_by[following] = (state, passage)
                    self._pushed += 1
                    heapq.heappush(self._heap, (total, self._pushed, following, bought + 1))
        return state

    def _bridge(self, best: tuple[Cost, _State]) -> Bridge:
        passages, state = [], best[1]
        while (came := self._came_by[state]) is not None:
            state, passage = came
            passages.append(passage)
        return Bridge(best[0], tuple(reversed(passages)), best[1][1])
