"""Chains: the parts in a row that may fill a link, from one face to another.

All chains that could be in a best routing are found, and no others: a chain is left out where
another with the same ends uses no part of the cart that it does not use, costs no more and reaches
as far. Of such chains any routing may take the other and be no worse.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from rules.reference.mating import End
from rules.routing import costs
from rules.routing.costs import Cost, add, ordered
from rules.routing.faces import Face, Grade, grade
from rules.routing.fitness import Conditions, Fitness, Place
from rules.routing.offers import Bridge, Bridges, Passage, passages
from rules.routing.pieces import Lot

MOST_CHAINS = 4000
"""Partial chains looked at for one pair of faces; beyond that the answer is not proved."""

Use = tuple[tuple[str, ...], int]
"""One piece of a lot: the lot's key and the how-manieth piece of it this is."""


@dataclass(frozen=True, slots=True)
class Chain:
    """Parts in a row.

    Attributes:
        passages: the parts, in the direction of the flow.
        uses: the pieces of the cart among them.
        settled: those of them that the caller has joined already.
        cost: in the order of comparison it was searched by.
        has_hose: whether one of them bridges a distance.
        reach_mm: how far they reach, counted up to the run; nothing where no run is stated.
        face: the face it ends with.
    """

    passages: tuple[Passage, ...]
    uses: frozenset[Use]
    settled: frozenset[Use]
    cost: Cost
    has_hose: bool
    reach_mm: float
    face: Face

    def beats(self, other: Chain) -> bool:
        """Whether the other need not be looked at beside this one."""
        return (
            self.cost <= other.cost
            and self.reach_mm >= other.reach_mm
            and self.has_hose >= other.has_hose
            and self.uses <= other.uses
            # What is settled must be part of the answer: a chain is not better for lacking it.
            and self.settled >= other.settled
        )


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
        return chain.reach_mm >= self.run_mm

    @property
    def wants_hose(self) -> bool:
        """Whether a chain without a hose may fall short of what is asked."""
        far = self.run_mm is not None and not self.mounts
        return far or self.needs_hose or self.hose_counts

    def reach_mm(self, passages: Iterable[Passage]) -> float:
        """How far parts in a row reach, as far as it matters here."""
        if self.run_mm is None:
            return 0.0
        return min(self.run_mm, sum(map(_reach_mm, passages)))


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
        kind: costs.Kind = "fewest-parts",
        backwards: bool = False,
    ) -> None:
        self.span = span
        self.complete = True
        self._kind = kind
        self._bridges = bridges
        self._backwards = backwards
        self._conditions = conditions
        self._currency = currency
        self._ways = [
            (_reversed(way) if backwards else way, self._cost(way))
            for lot in lots
            if lot.line in (None, span.place.line)
            for way in passages(lot)
        ]
        self._joined: dict[Face, list[tuple[Passage, Cost, Grade]]] = {}
        self._grown: dict[Face, list[Chain]] = {}

    def _cost(self, way: Passage) -> Cost:
        fitness = self._conditions.fitness(way.lot.part, self.span.place)
        length_mm = way.lot.length_mm or self.span.run_mm
        return ordered(
            (
                0,
                0,
                int(fitness is not Fitness.GOOD and way.lot.source == "cart"),
                costs.price_cents(way.lot.part, self._currency, length_mm)
                if way.lot.source == "cart"
                else 0,
                costs.drop(way.lot.part, length_mm),
            ),
            self._kind,
        )

    @cached_property
    def _free(self) -> Cost:
        return ordered(costs.FREE, self._kind)

    def chains(self, start: Face, goal: Face) -> list[Chain]:
        """The chains from a face to another that nothing beats, cheapest first."""
        found = [] if self._bridges is None else self._bridged(start, goal)
        for chain in self._joined_chains(start):
            how = grade(chain.face, goal)
            if how is not None:
                found.append(replace(chain, cost=add(chain.cost, self._joint(how))))
        return _unbeaten(chain for chain in found if self.span.admits(chain))

    def chains_to_car(self, start: Face, *, by_hose: bool) -> list[Chain]:
        """The chains from a face to a part of the car that the list does not hold.

        They end where the caller says that a port joins it; else in a hose, or, where the two need
        not stand apart, at once.
        """
        found = []
        if self._bridges is not None and by_hose:
            bridge = self._bridges.between(start, None, hose=True)
            if bridge is not None:
                found.append(self._bought(bridge))
        for chain in self._joined_chains(start):
            last = chain.passages[-1] if chain.passages else None
            settled = last is not None and last.leaves in last.lot.taken
            if settled or (chain.has_hose if by_hose else last is None):
                found.append(chain)
        unbeaten = _unbeaten(found)
        return [_turned(chain) for chain in unbeaten] if self._backwards else unbeaten

    # Chains of the cart's own parts

    def _joined_chains(self, start: Face) -> list[Chain]:
        """All unbeaten chains of the given lots from a face, wherever they end."""
        found = self._grown.get(start)
        if found is None:
            found = self._grown[start] = self._grow(start, None)
        return found

    def _grow(self, start: Face, goal: Face | None) -> list[Chain]:
        """Chains from a face, each made longer by one part at a time, the cheapest first.

        With a goal bought parts may stand between the lots, as long as the whole costs less than
        buying all of it.
        """
        below = None if goal is None else self._worth(start, goal)
        first = Chain((), _NO_USE, _NO_USE, self._free, False, 0.0, start)
        held: dict[Face, list[Chain]] = {}
        queue: list[tuple[int, Cost, int, Chain]] = [(0, self._free, 0, first)]
        pushed = 0
        while queue:
            _, _, _, chain = heapq.heappop(queue)
            beside = held.setdefault(chain.face, [])
            if any(other.beats(chain) for other in beside):
                continue
            beside.append(chain)
            if pushed > MOST_CHAINS:
                self.complete = False
                break
            for longer in self._longer(chain, goal, below):
                pushed += 1
                heapq.heappush(queue, (len(longer.passages), longer.cost, pushed, longer))
        return [chain for chains in held.values() for chain in chains]

    def _longer(self, chain: Chain, goal: Face | None, below: Cost | None) -> Iterator[Chain]:
        if chain.passages and chain.passages[-1].leaves in chain.passages[-1].lot.taken:
            return  # it has reached the car
        for way, cost, how in self._following(chain.face):
            longer = self._with(chain, way, add(cost, self._joint(how)), ())
            if longer is not None and (below is None or longer.settled or longer.cost < below):
                yield longer
        if goal is None or self._bridges is None:
            return
        for way, cost in self._ways:
            bound = None if chain.settled or way.lot.settled else below
            room = None if bound is None else _left(bound, add(chain.cost, cost))
            bridge = self._bridges.between(chain.face, way.entry, hose=False, below=room)
            if bridge is None:
                continue
            longer = self._with(chain, way, add(cost, bridge.cost), bridge.passages)
            if longer is not None:
                yield longer

    def _following(self, face: Face) -> list[tuple[Passage, Cost, Grade]]:
        found = self._joined.get(face)
        if found is None:
            graded = ((way, cost, grade(face, way.entry)) for way, cost in self._ways)
            found = [(way, cost, how) for way, cost, how in graded if how is not None]
            self._joined[face] = found
        return found

    def _with(
        self, chain: Chain, way: Passage, cost: Cost, bought: tuple[Passage, ...]
    ) -> Chain | None:
        """The chain with one more piece of a lot, or nothing where the lot has no more."""
        number = 1 + sum(1 for key, _ in chain.uses if key == way.lot.key)
        if number > way.lot.count:
            return None
        use = frozenset({(way.lot.key, number)})
        row = (*chain.passages, *bought, way)
        return Chain(
            passages=row,
            uses=chain.uses | use,
            settled=chain.settled | use if way.lot.settled else chain.settled,
            cost=add(chain.cost, cost),
            has_hose=any(each.is_hose for each in row),
            reach_mm=self.span.reach_mm(row),
            face=way.exit,
        )

    def _joint(self, how: Grade) -> Cost:
        return ordered((how, 0, 0, 0, 0), self._kind)

    # Chains with bought parts

    def _bridged(self, start: Face, goal: Face) -> list[Chain]:
        """Chains with bought parts among them, or of nothing else."""
        assert self._bridges is not None
        found = [
            self._bought(bridge)
            for hose in (False, True)
            if (bridge := self._bridges.between(start, goal, hose=hose)) is not None
        ]
        below = self._worth(start, goal)
        for chain in self._grow(start, goal):
            how = grade(chain.face, goal)
            if how is not None:
                found.append(replace(chain, cost=add(chain.cost, self._joint(how))))
            if not chain.passages:
                continue
            bound = None if chain.settled else below
            room = None if bound is None else _left(bound, chain.cost)
            for hose in (False, True):
                bridge = self._bridges.between(chain.face, goal, hose=hose, below=room)
                if bridge is not None:
                    found.append(self._ended(chain, bridge))
        return found

    def _worth(self, start: Face, goal: Face) -> Cost | None:
        """What it costs to buy all of the chain: one that costs as much is not looked at."""
        assert self._bridges is not None
        bridge = self._bridges.between(start, goal, hose=self.span.wants_hose)
        return None if bridge is None else bridge.cost

    def _bought(self, bridge: Bridge) -> Chain:
        return self._ended(Chain((), _NO_USE, _NO_USE, self._free, False, 0.0, _ANY), bridge)

    def _ended(self, chain: Chain, bridge: Bridge) -> Chain:
        row = (*chain.passages, *bridge.passages)
        return replace(
            chain,
            passages=row,
            cost=add(chain.cost, bridge.cost),
            has_hose=chain.has_hose or bridge.has_hose,
            reach_mm=self.span.reach_mm(row),
            face=row[-1].exit,
        )


_NO_USE: frozenset[Use] = frozenset()
_ANY = Face(End(None))


def _left(whole: Cost, part: Cost) -> Cost:
    """What a cost leaves of another. Compared place by place, places below nothing may stand."""
    return tuple(a - b for a, b in zip(whole, part, strict=True))


def _unbeaten(chains: Iterable[Chain]) -> list[Chain]:
    """The chains that no other beats, cheapest first; of equals the first by name."""
    kept: list[Chain] = []
    for chain in sorted(chains, key=lambda each: (each.cost, len(each.passages), _names(each))):
        if not any(other.beats(chain) for other in kept):
            kept.append(chain)
    return kept


def _names(chain: Chain) -> tuple[tuple[str, ...], ...]:
    return tuple((*way.lot.key, way.enters, way.leaves) for way in chain.passages)


def _reach_mm(way: Passage) -> float:
    if not way.is_hose:
        return 0.0
    return math.inf if way.lot.length_mm is None else way.lot.length_mm


def _turned(chain: Chain) -> Chain:
    """A chain found against the flow, in the direction of the flow."""
    return replace(chain, passages=tuple(_reversed(way) for way in reversed(chain.passages)))


def _reversed(way: Passage) -> Passage:
    return Passage(way.lot, way.leaves, way.enters, way.exit, way.entry)
