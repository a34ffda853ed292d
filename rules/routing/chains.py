"""Chains: the parts in a row that may fill a link, from one face to another.

Found are all chains that could be in a best routing. Left out are chains that another beats: one
that uses no piece of the cart that they do not use, costs no more and reaches as far. So a line is
not made longer to use up what is there, nor of other bought parts that cost as much; for the rest,
whatever routing they are in, it is no worse with the other.

One hose is enough between two stations, hard lines or walls: lines are not pieced together.

A part of the cart of which the shop sells more is one lot: a chain may use more of it than there
is, and the plan counts what has to be bought. A chain that buys such a part apart from its lot only
shows which others are not worth it.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import NamedTuple, TypeAlias

from rules.faces import Face, Grade, grade
from rules.routing import costs
from rules.routing.costs import Packed, packed, unpacked
from rules.routing.fitness import Conditions, Fitness, Place
from rules.routing.offers import MOST_BOUGHT, Bridge, Bridges, Passage, passages
from rules.routing.pieces import APART, FLEXIBLE, Lot
from rules.routing.reach import Reach, Step

MOST_CHAINS = 2000
"""Partial chains looked at for one pair of faces; beyond that the answer is not proved."""

SHOP = ("", ":shop")
"""Stands for any bought hose where it is asked what bridges a run."""

_MOST_IN_A_CHAIN = 2
"""Of one part in a chain without parts it could do without: one in each direction."""

Pieces: TypeAlias = int
"""A set of pieces of lots, a bit for each."""


@dataclass(slots=True, eq=False)
class Chain:
    """Parts in a row.

    Attributes:
        passages: the parts, in the direction of the flow.
        uses: the pieces of the cart among them.
        buys: whether there are bought pieces among them.
        apart: whether it buys a part of which the cart has a lot, apart from that lot.
        settled: those of the cart's pieces that the caller has joined already.
        cost: what it costs, packed.
        has_hose: whether one of them bridges a distance.
        over: what bridges the stated run: the first hose that is long enough, by its lot's key.
        face: the face it ends with.
        far: whether a hose is asked for at all.
        hosed: whether another hose behind it would be one too many.
    """

    passages: tuple[Passage, ...]
    uses: Pieces
    buys: bool
    apart: bool
    settled: Pieces
    cost: Packed
    has_hose: bool
    over: tuple[str, ...] | None
    face: Face
    far: bool
    hosed: bool

    def beats(self, other: Chain) -> bool:
        """Whether the other need not be looked at beside this one."""
        return (
            self.cost <= other.cost
            and not self.uses & ~other.uses
            and (not self.far or self._bridges_as_well(other))
            # What is settled must be part of the answer: a chain is not better for lacking it.
            and not other.settled & ~self.settled
            and self.hosed <= other.hosed
        )

    def forestalls(self, other: Chain, least: Packed) -> bool:
        """Whether it has come to the goal for no more than the other can come to at least."""
        return (
            self.cost <= least
            and not self.uses & ~other.uses
            and (not self.far or (self.has_hose and self._bridges_as_well(other)))
        )

    def _bridges_as_well(self, other: Chain) -> bool:
        # What is bought is long enough; of the cart's hoses each run wants one of its own.
        return self.has_hose >= other.has_hose and self.over in (SHOP, other.over)


@dataclass(frozen=True, slots=True)
class Span:
    """What a chain has to bridge.

    Attributes:
        place: line of the circuit, and whether it lies in the fuel.
        run_mm: distance between the two ends, where the vehicle states it.
        mounts: whether the two ends may be screwed together although there is a run.
        needs_hose: whether a hose must be in the chain even where no run is stated.
        hose_counts: whether a hose may be wanted in it for the sake of the whole link.
    """

    place: Place
    run_mm: float | None = None
    mounts: bool = False
    needs_hose: bool = False
    hose_counts: bool = False

    def admits(self, chain: Chain) -> bool:
        """Whether a chain reaches, as far as that is known."""
        if self.needs_hose and not chain.has_hose:
            return False
        if self.run_mm is None or (self.mounts and not chain.has_hose):
            return True
        return chain.over is not None

    @property
    def wants_hose(self) -> bool:
        """Whether a chain without a hose may fall short of what is asked."""
        return self.must_hose or self.hose_counts

    @property
    def must_hose(self) -> bool:
        """Whether a chain without a hose does not reach."""
        return self.needs_hose or (self.run_mm is not None and not self.mounts)


class Goal(NamedTuple):
    """Where chains are to lead: to a face, or to a hose whose end joins the car.

    `must_hose` says whether a chain without a hose does not do.
    """

    face: Face | None
    must_hose: bool


Longer: TypeAlias = Iterator[tuple[Packed, Packed, Callable[[], Chain | None]]]
"""Longer chains still to be made, in the order of what they come to at least: that, what all behind
them costs at least, and what makes them."""


class _Later(NamedTuple):
    """A longer chain that is still to be made, and others after it."""

    behind: Packed
    make: Callable[[], Chain | None]
    others: Longer


class ChainFinder:
    """Finds chains of some lots in one span, with bought parts between them where allowed."""

    def __init__(
        self,
        lots: Sequence[Lot],
        span: Span,
        conditions: Conditions,
        currency: str | None,
        *,
        bridges: Bridges | None = None,
        most_bought: int | None = None,
        backwards: bool = False,
    ) -> None:
        self.span = span
        self.complete = True
        self._bridges = bridges
        self._most_bought = most_bought
        self._backwards = backwards
        self._conditions = conditions
        self._currency = currency
        self._ways = [
            (way, self._cost(way))
            for lot in lots
            if lot.line in (None, span.place.line)
            for way in _passages(lot, backwards)
        ]
        growing = bridges is not None
        self._settles = any(way.lot.settled for way, _ in self._ways)
        self._pieces: dict[tuple[str, ...], range] = {}
        bit = 0
        for lot in lots:
            more = growing and lot.more_can_be_bought
            most = max(lot.count, _MOST_IN_A_CHAIN) if more else lot.count
            self._pieces[lot.key] = range(bit, bit + most)
            bit += most
        self._not_apart = frozenset(
            lot.part.sku for lot in lots if growing and lot.more_can_be_bought
        )
        self._joined: dict[Face, list[tuple[Passage, Packed]]] = {}
        self._reaches: dict[int, Reach] = {}
        self._steps: dict[tuple[Face, Goal, bool, Packed | None], list[Step]] = {}
        self._found: dict[tuple[Face, Face], list[Chain]] = {}
        self._grown: dict[Face, list[Chain]] = {}

    def _cost(self, way: Passage) -> Packed:
        own = way.lot.source == "cart"
        fitness = self._conditions.fitness(way.lot.part, self.span.place)
        length_mm = self.span.run_mm or way.lot.length_mm
        price = costs.price_cents(way.lot.part, self._currency, length_mm) if own else 0
        drop = _resists(way.lot, length_mm if way.is_hose else None)
        misplaced = int(own and fitness is not Fitness.GOOD)
        return packed((0, 0, misplaced, price, drop))

    def chains(self, start: Face, goal: Face) -> list[Chain]:
        """The chains from a face to another that nothing beats, cheapest first."""
        found = self._found.get((start, goal))
        if found is None:
            every = self._all_chains(start, Goal(goal, self.span.must_hose))
            found = _unbeaten(chain for chain in every if self.span.admits(chain))
            self._found[start, goal] = found
        return found

    def _all_chains(self, start: Face, goal: Goal) -> list[Chain]:
        """The chains from a face to another, whether or not they reach."""
        whole = {
            hose: bridge
            for hose in (False, True)
            if self._bridges is not None
            and (bridge := self._bridges.between(start, goal.face, hose=hose)) is not None
        }
        worth = self._worth(
            bridge for hose, bridge in whole.items() if hose or not self.span.wants_hose
        )
        first = self._first(start)
        return [
            *(self._ended(first, bridge) for bridge in whole.values()),
            *self._leading(start, goal, worth),
        ]

    def chains_to_car(self, start: Face, *, by_hose: bool) -> list[Chain]:
        """The chains from a face to a part of the car that the list does not hold.

        They end where the caller says that a port joins it; else in a hose, or, where the two need
        not stand apart, at once.
        """
        found = []
        if self._bridges is not None and by_hose:
            bridge = self._bridges.between(start, None, hose=True)
            if bridge is not None:
                found.append(self._ended(self._first(start), bridge))
            # Bought fittings may lead to a hose that is in the cart.
            worth = self._worth([] if bridge is None else [bridge])
            found += [
                chain for chain in self._leading(start, Goal(None, True), worth) if chain.buys
            ]
        for chain in self._joined_chains(start):
            last = chain.passages[-1] if chain.passages else None
            settled = last is not None and last.leaves in last.lot.taken
            if settled or (chain.has_hose if by_hose else last is None):
                found.append(chain)
        if self._bridges is not None:
            found += self._bridged_to_car(start)
        unbeaten = _unbeaten(found)
        return [_turned(chain) for chain in unbeaten] if self._backwards else unbeaten

    def _bridged_to_car(self, start: Face) -> Iterator[Chain]:
        """Chains that end where the caller says that a port joins the car, bought parts before."""
        for way, cost in self._ways:
            if way.leaves in way.lot.taken:
                for chain in self._all_chains(start, Goal(way.entry, False)):
                    longer = self._with(chain, way, cost, None) if chain.buys else None
                    if longer is not None:
                        yield longer

    # Growing chains

    def _first(self, start: Face) -> Chain:
        return Chain(
            passages=(),
            uses=0,
            buys=False,
            apart=False,
            settled=0,
            cost=0,
            has_hose=False,
            over=None,
            face=start,
            far=self.span.wants_hose,
            hosed=False,
        )

    def _joined_chains(self, start: Face) -> list[Chain]:
        """All unbeaten chains of the given lots from a face, wherever they end."""
        found = self._grown.get(start)
        if found is None:
            queue = _Queue(self._first(start))
            for chain in queue.chains():
                if _has_arrived(chain):
                    continue
                for way, cost in self._following(chain):
                    queue.push(self._with(chain, way, cost, None), 0)
            self.complete = self.complete and queue.complete
            found = self._grown[start] = list(queue.taken)
        return found

    def _leading(self, start: Face, goal: Goal, worth: Packed | None) -> list[Chain]:
        """The chains of given lots from a face to a goal, with bought parts where allowed.

        Args:
            start: where they begin.
            goal: where they lead.
            worth: what it costs to buy all of it; a chain that cannot but come to as much is not
                looked at.
        """
        least = self._reach(worth).to(goal.face, must_hose=goal.must_hose)
        found: list[Chain] = []
        queue = _Queue(self._first(start), () if self._settles else found)
        for chain in queue.chains():
            if _has_arrived(chain):
                continue
            found += self._finished(chain, goal, worth)
            for way, cost in self._following(chain):
                behind = least.get((way.exit, chain.has_hose or way.is_hose))
                if behind is not None and (
                    worth is None
                    or chain.cost + cost + behind < worth
                    or chain.settled
                    or way.lot.settled
                ):
                    queue.push(self._with(chain, way, cost, None), behind)
            if self._bridges is not None:
                queue.push_later(chain, self._led(self._bridges, chain, goal, worth))
        self.complete = self.complete and queue.complete
        return found

    def _finished(self, chain: Chain, goal: Goal, worth: Packed | None) -> Iterator[Chain]:
        """A chain that has come to the goal, and what becomes of it with bought parts behind."""
        if goal.face is None:
            if chain.passages and chain.passages[-1].is_hose:
                yield chain
            return
        how = grade(chain.face, goal.face)
        if how is not None:
            yield self._joined_to(chain, how)
        if not chain.passages or self._bridges is None:
            return
        room = None if worth is None or chain.settled else worth - chain.cost
        for hose in (False,) if chain.hosed else (False, True):
            bridge = self._bridges.between(chain.face, goal.face, hose=hose, below=room)
            if bridge is not None:
                yield self._ended(chain, bridge)

    def _following(self, chain: Chain) -> Iterator[tuple[Passage, Packed]]:
        """The pieces that may follow a chain at once, with what they and the joint cost."""
        face = chain.face
        found = self._joined.get(face)
        if found is None:
            found = self._joined[face] = [
                (way, cost + _joint(how))
                for way, cost in self._ways
                if (how := grade(face, way.entry)) is not None
            ]
        for way, cost in found:
            if not (chain.hosed and _is_flexible(way)):
                yield way, cost

    def _reach(self, worth: Packed | None) -> Reach:
        """Bounds that are exact for as many bought parts as are worth it."""
        parts = MOST_BOUGHT
        if worth is not None:
            compromises, bought, *_ = unpacked(worth)
            parts = parts if compromises else min(parts, bought)
        found = self._reaches.get(parts)
        if found is None:
            found = self._reaches[parts] = Reach(self._ways, self._bridges, parts=parts)
        return found

    def _led(self, bridges: Bridges, chain: Chain, goal: Goal, worth: Packed | None) -> Longer:
        """A chain with bought parts and a piece more, those first that may cost least up to goal.

        Each is made only where it is wanted.
        """
        key = (chain.face, goal, chain.has_hose, worth)
        found = self._steps.get(key)
        if found is None:
            # A chain of settled pieces may come to more than it is worth.
            found = self._steps[key] = self._reach(worth).steps(
                chain.face,
                goal.face,
                must_hose=goal.must_hose,
                hosed=chain.has_hose,
                worth=None if self._settles else worth,
            )
        for step in found:
            room: Packed | None = None
            if worth is not None and not chain.settled and not step.way.lot.settled:
                room = worth - chain.cost
                if step.least >= room and not self._settles:
                    return
            flexible = _is_flexible(step.way)
            if (chain.hosed and (step.hose or flexible)) or (step.hose and flexible):
                continue
            yield (
                chain.cost + step.least,
                step.behind,
                partial(self._bridged, bridges, chain, step, room),
            )

    def _bridged(
        self, bridges: Bridges, chain: Chain, step: Step, room: Packed | None
    ) -> Chain | None:
        """A chain with bought parts and a piece more, where it stays below what is left."""
        below = None if room is None else room - step.cost - step.behind
        bridge = bridges.between(chain.face, step.way.entry, hose=step.hose, below=below)
        if bridge is None:
            return None
        return self._with(chain, step.way, step.cost + bridge.packed, bridge)

    def _is_apart(self, bridge: Bridge) -> bool:
        """Whether a bridge buys a part apart from its lot."""
        return any(way.lot.part.sku in self._not_apart for way in bridge.passages)

    def _with(
        self, chain: Chain, way: Passage, cost: Packed, bridge: Bridge | None
    ) -> Chain | None:
        """The chain with one more piece of a lot, or nothing where the lot has no more."""
        piece = next(
            (1 << bit for bit in self._pieces[way.lot.key] if not chain.uses >> bit & 1), 0
        )
        if not piece:
            return None
        more = (way,) if bridge is None else (*bridge.passages, way)
        return Chain(
            passages=chain.passages + more,
            uses=chain.uses | piece,
            buys=chain.buys or bridge is not None,
            apart=chain.apart or (bridge is not None and self._is_apart(bridge)),
            settled=chain.settled | piece if way.lot.settled else chain.settled,
            cost=chain.cost + cost,
            has_hose=chain.has_hose or way.is_hose or (bridge is not None and bridge.has_hose),
            over=chain.over or self._over(more),
            face=way.exit,
            far=chain.far,
            hosed=_hosed(more, chain.hosed),
        )

    def _over(self, row: Iterable[Passage]) -> tuple[str, ...] | None:
        """What bridges the run: the first hose that is long enough, by its lot's key."""
        if self.span.run_mm is None:
            return None
        for way in row:
            more = way.lot.part.sku in self._not_apart
            if way.is_hose and (more or way.lot.reaching(self.span.run_mm)):
                return SHOP if way.lot.source == "shop" else way.lot.key
        return None

    def _worth(self, bridges: Iterable[Bridge]) -> Packed | None:
        """What chains must stay below to be of interest beside bridges all the way."""
        bounds = [bridge.packed for bridge in bridges]
        if self._settles:
            # A chain of settled pieces is not beaten by its price.
            heads = [unpacked(bound)[:2] for bound in bounds]
            bounds = [packed((compromises, bought + 1, 0, 0, 0)) for compromises, bought in heads]
        if self._most_bought is not None:
            bounds.append(packed((0, self._most_bought + 1, 0, 0, 0)))
        return min(bounds, default=None)

    def _joined_to(self, chain: Chain, how: Grade) -> Chain:
        return replace(chain, cost=chain.cost + _joint(how)) if how else chain

    def _ended(self, chain: Chain, bridge: Bridge) -> Chain:
        row = (*chain.passages, *bridge.passages)
        return replace(
            chain,
            passages=row,
            buys=True,
            apart=chain.apart or self._is_apart(bridge),
            cost=chain.cost + bridge.packed,
            has_hose=chain.has_hose or bridge.has_hose,
            over=chain.over or self._over(bridge.passages),
            face=row[-1].exit,
            hosed=chain.hosed or bridge.has_hose,
        )


@lru_cache(maxsize=1024)
def _passages(lot: Lot, backwards: bool) -> tuple[Passage, ...]:
    """The ways through a lot, which is asked again for every run of a cart."""
    return tuple(passages(lot, backwards=backwards))


@lru_cache(maxsize=4096)
def _resists(lot: Lot, length_mm: float | None) -> int:
    return costs.drop(lot.part, length_mm)


def _joint(how: Grade) -> Packed:
    """What a joint costs."""
    return packed((how, 0, 0, 0, 0))


def _is_beaten(chain: Chain, others: Iterable[Chain]) -> bool:
    return any(other.beats(chain) for other in others)


def _has_arrived(chain: Chain) -> bool:
    """Whether it ends with a port that joins the car."""
    return bool(chain.passages) and chain.passages[-1].leaves in chain.passages[-1].lot.taken


class _Queue:
    """Chains to look at, the cheapest and shortest first.

    Args:
        first: the chain to begin with.
        found: chains that have come to the goal; what cannot become better is not looked at.
    """

    def __init__(self, first: Chain, found: Sequence[Chain] = ()) -> None:
        self.complete = True
        self._found = found
        self._waiting: list[tuple[Packed, int, int, Chain, _Later | None]] = [
            (0, 0, 0, first, None)
        ]
        self._pushed = 0
        self._held: dict[Face, list[Chain]] = {}

    @property
    def taken(self) -> Iterator[Chain]:
        """The chains that were looked at."""
        for chains in self._held.values():
            yield from chains

    def chains(self) -> Iterator[Chain]:
        """Each unbeaten chain."""
        looked_at = 0
        while self._waiting:
            least, _, _, chain, later = heapq.heappop(self._waiting)
            if any(other.forestalls(chain, least) for other in self._found):
                continue
            if later is not None:
                self.push(later.make(), later.behind)
                self.push_later(chain, later.others)
                continue
            beside = self._held.setdefault(chain.face, [])
            if _is_beaten(chain, beside):
                continue
            beside.append(chain)
            looked_at += 1
            if looked_at > MOST_CHAINS:
                self.complete = False
                return
            yield chain

    def push(self, chain: Chain | None, behind: Packed) -> None:
        """Look at a chain later; `behind` is what all behind it costs at least."""
        if chain is not None and not _is_beaten(chain, self._held.get(chain.face, ())):
            self._push(chain.cost + behind, chain, None)

    def push_later(self, chain: Chain, longer: Longer) -> None:
        """Make longer chains later, one after the other, when they are the cheapest."""
        following = next(longer, None)
        if following is not None:
            least, behind, make = following
            self._push(least, chain, _Later(behind, make, longer))

    def _push(self, least: Packed, chain: Chain, later: _Later | None) -> None:
        self._pushed += 1
        entry = (least, len(chain.passages), self._pushed, chain, later)
        heapq.heappush(self._waiting, entry)


def _unbeaten(chains: Iterable[Chain]) -> list[Chain]:
    """The chains that no other beats, cheapest first; of equals the first by name."""
    kept: list[Chain] = []
    inorder = sorted(chains, key=lambda each: (each.uses.bit_count(), each.cost, _names(each)))
    for chain in inorder:
        if not any(other.beats(chain) for other in kept):
            kept.append(chain)
    real = [chain for chain in kept if not chain.apart]
    return sorted(real, key=lambda each: (each.cost, _names(each)))


def _names(chain: Chain) -> tuple[tuple[str, ...], ...]:
    return tuple((*way.lot.key, way.enters, way.leaves) for way in chain.passages)


def _is_flexible(way: Passage) -> bool:
    """Whether it is a hose that must not follow another; what is settled may."""
    return way.lot.part.kind in FLEXIBLE and not way.lot.settled


def _hosed(row: Iterable[Passage], before: bool) -> bool:
    """Whether there is a hose behind the last hard line or wall."""
    for way in row:
        kind = way.lot.part.kind
        before = kind in FLEXIBLE or (before and kind not in APART)
    return before


def _turned(chain: Chain) -> Chain:
    """A chain found against the flow, in the direction of the flow."""
    return replace(chain, passages=tuple(_reversed(way) for way in reversed(chain.passages)))


def _reversed(way: Passage) -> Passage:
    return Passage(way.lot, way.leaves, way.enters, way.exit, way.entry)
