"""Chains: the parts in a row that may fill a link, from one face to another.

Found are all chains that could be in a best routing. Two sorts are left out:

- chains with parts they could do without: a line is not made longer to use up what is there;
- chains that another beats: one that uses no piece of the cart that they do not use, costs no
  more and reaches as far. Whatever routing they are in, it is no worse with the other.

One hose is enough between two stations, hard lines or walls: lines are not pieced together.

A part of the cart of which the shop sells more is one lot: a chain may use more of it than there
is, and the plan counts what has to be bought. No chain buys such a part apart from its lot.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from rules.faces import Face, Grade, grade
from rules.routing import costs
from rules.routing.costs import Cost, add, ordered
from rules.routing.fitness import Conditions, Fitness, Place
from rules.routing.offers import Bridge, Bridges, Passage, passages
from rules.routing.pieces import APART, FLEXIBLE, Lot

MOST_CHAINS = 4000
"""Partial chains looked at for one pair of faces; beyond that the answer is not proved."""

SHOP = ("", ":shop")
"""Stands for any bought hose where it is asked what bridges a run."""

_MOST_IN_A_CHAIN = 2
"""Of one part in a chain without parts it could do without: one in each direction."""

Use = tuple[tuple[str, ...], int]
"""One piece of a lot: the lot's key and the how-manieth piece of it this is."""


@dataclass(frozen=True, slots=True)
class Chain:
    """Parts in a row.

    Attributes:
        passages: the parts, in the direction of the flow.
        uses: the pieces of the cart among them.
        buys: the bought pieces among them.
        settled: those of the cart's pieces that the caller has joined already.
        cost: in the order of comparison it was searched by.
        has_hose: whether one of them bridges a distance.
        over: what bridges the stated run: the first hose that is long enough, by its lot's key.
        face: the face it ends with.
        far: whether a hose is asked for at all.
        hosed: whether another hose behind it would be one too many.
    """

    passages: tuple[Passage, ...]
    uses: frozenset[Use]
    buys: frozenset[Use]
    settled: frozenset[Use]
    cost: Cost
    has_hose: bool
    over: tuple[str, ...] | None
    face: Face
    far: bool
    hosed: bool

    def beats(self, other: Chain) -> bool:
        """Whether the other need not be looked at beside this one."""
        return (
            self.uses <= other.uses
            and (not self.far or self._bridges_as_well(other))
            # What is settled must be part of the answer: a chain is not better for lacking it.
            and self.settled >= other.settled
            and self.hosed <= other.hosed
            and (self.cost <= other.cost or self._is_within(other))
        )

    def _bridges_as_well(self, other: Chain) -> bool:
        # What is bought is long enough; of the cart's hoses each run wants one of its own.
        return self.has_hose >= other.has_hose and self.over in (SHOP, other.over)

    def _is_within(self, other: Chain) -> bool:
        """Whether it is made of parts of the other, which could do without the rest."""
        return self.buys <= other.buys and self.cost[:1] <= other.cost[:1]


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
        far = self.run_mm is not None and not self.mounts
        return far or self.needs_hose or self.hose_counts


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
        # Up to here a chain cannot become cheaper by growing: every part more that it uses of the
        # cart counts in its favour only from there on.
        self._bounded = costs.ORDERS[kind].index(costs.USED)
        self._ways = [
            (way, self._cost(way))
            for lot in lots
            if lot.line in (None, span.place.line)
            for way in passages(lot, backwards=backwards)
        ]
        growing = bridges is not None
        self._limits = {
            lot.key: max(lot.count, _MOST_IN_A_CHAIN)
            if growing and lot.more_can_be_bought
            else lot.count
            for lot in lots
        }
        self._not_apart = frozenset(
            lot.part.sku for lot in lots if growing and lot.more_can_be_bought
        )
        self._joined: dict[Face, list[tuple[Passage, Cost]]] = {}
        self._reached: dict[tuple[Face, Cost | None], list[tuple[Passage, Cost, Bridge]]] = {}
        self._grown: dict[tuple[Face, Cost | None, bool], list[Chain]] = {}

    def _cost(self, way: Passage) -> Cost:
        own = way.lot.source == "cart"
        fitness = self._conditions.fitness(way.lot.part, self.span.place)
        length_mm = self.span.run_mm or way.lot.length_mm
        price = costs.price_cents(way.lot.part, self._currency, length_mm) if own else 0
        drop = costs.drop(way.lot.part, length_mm)
        misplaced = int(own and fitness is not Fitness.GOOD)
        return ordered((0, 0, -int(own), misplaced, price, drop), self._kind)

    @cached_property
    def _free(self) -> Cost:
        return ordered(costs.FREE, self._kind)

    def chains(self, start: Face, goal: Face) -> list[Chain]:
        """The chains from a face to another that nothing beats, cheapest first."""
        return _unbeaten(
            chain for chain in self._all_chains(start, goal) if self.span.admits(chain)
        )

    def _all_chains(self, start: Face, goal: Face) -> list[Chain]:
        """The chains from a face to another, whether or not they reach."""
        found = [] if self._bridges is None else self._bridged(start, goal)
        for chain in self._joined_chains(start):
            how = grade(chain.face, goal)
            if how is not None:
                found.append(self._joined_to(chain, how))
        return found

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
            worth = None if bridge is None else bridge.cost
            found += [
                chain
                for chain in self._chains_from(start, worth, buying=True)
                if chain.buys and chain.has_hose and chain.passages[-1].is_hose
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
                for chain in self._all_chains(start, way.entry):
                    longer = self._with(chain, way, cost, ()) if chain.buys else None
                    if longer is not None:
                        yield longer

    # Growing chains

    def _first(self, start: Face) -> Chain:
        return Chain(
            (),
            _NO_USE,
            _NO_USE,
            _NO_USE,
            self._free,
            False,
            None,
            start,
            self.span.wants_hose,
            False,
        )

    def _joined_chains(self, start: Face) -> list[Chain]:
        """All unbeaten chains of the given lots from a face, wherever they end."""
        return self._chains_from(start, None, buying=False)

    def _chains_from(self, start: Face, worth: Cost | None, *, buying: bool) -> list[Chain]:
        """All unbeaten chains from a face, wherever they end.

        Args:
            start: where they begin.
            worth: what it costs to buy all of it; a chain that comes to more is not looked at.
            buying: whether bought parts may stand between the pieces.
        """
        bound = None if worth is None else worth[: self._bounded]
        found = self._grown.get((start, bound, buying))
        if found is None:
            found = self._grow(start, worth, buying=buying)
            self._grown[start, bound, buying] = found
        return found

    def _grow(self, start: Face, worth: Cost | None, *, buying: bool) -> list[Chain]:
        """Make chains longer by one piece at a time, the shortest and cheapest first."""
        held: dict[Face, list[Chain]] = {}
        queue: list[tuple[int, Cost, int, Chain]] = [(0, self._free, 0, self._first(start))]
        pushed = 0
        while queue:
            chain = heapq.heappop(queue)[-1]
            beside = held.setdefault(chain.face, [])
            if any(other.beats(chain) for other in beside):
                continue
            beside.append(chain)
            if pushed > MOST_CHAINS:
                self.complete = False
                break
            for longer in self._longer(chain, worth, buying=buying):
                if not any(other.beats(longer) for other in held.get(longer.face, ())):
                    pushed += 1
                    heapq.heappush(queue, (len(longer.passages), longer.cost, pushed, longer))
        return [chain for chains in held.values() for chain in chains]

    def _longer(self, chain: Chain, worth: Cost | None, *, buying: bool) -> Iterator[Chain]:
        if chain.passages and chain.passages[-1].leaves in chain.passages[-1].lot.taken:
            return  # it has reached the car
        for way, cost in self._following(chain.face):
            if chain.hosed and _is_flexible(way):
                continue
            longer = self._with(chain, way, cost, ())
            if longer is not None and self._is_worth(longer, worth):
                yield longer
        if not buying:
            return
        for way, cost, bridge in self._over_bridges(chain.face, self._room(chain, worth)):
            if bridge.has_hose and (chain.hosed or _is_flexible(way)):
                continue
            if chain.hosed and _is_flexible(way):
                continue
            longer = self._with(chain, way, cost, bridge.passages)
            if longer is not None:
                yield longer

    def _following(self, face: Face) -> list[tuple[Passage, Cost]]:
        """The pieces that join a face, with what they and the joint cost."""
        found = self._joined.get(face)
        if found is None:
            found = self._joined[face] = [
                (way, add(cost, self._joint(how)))
                for way, cost in self._ways
                if (how := grade(face, way.entry)) is not None
            ]
        return found

    def _over_bridges(self, face: Face, room: Cost | None) -> list[tuple[Passage, Cost, Bridge]]:
        """The pieces that bought parts lead to from a face, with what all of it costs."""
        assert self._bridges is not None
        found = self._reached.get((face, room))
        if found is None:
            found = self._reached[face, room] = [
                (way, add(cost, bridge.cost), bridge)
                for way, cost in self._ways
                for hose in (False, True)
                if (bridge := self._bridges.between(face, way.entry, hose=hose, below=room))
                and not self._is_apart(bridge)
            ]
        return found

    def _is_apart(self, bridge: Bridge) -> bool:
        """Whether a bridge buys a part apart from its lot."""
        return any(way.lot.part.sku in self._not_apart for way in bridge.passages)

    def _room(self, chain: Chain, worth: Cost | None) -> Cost | None:
        """What bought parts may still cost; a bridge must cost less than this."""
        if worth is None or chain.settled:
            return None
        left = [a - b for a, b in zip(worth, chain.cost, strict=True)][: self._bounded]
        return (*left[:-1], left[-1] + 1)

    def _is_worth(self, chain: Chain, worth: Cost | None) -> bool:
        if worth is None or chain.settled:
            return True
        return chain.cost[: self._bounded] <= worth[: self._bounded]

    def _with(
        self, chain: Chain, way: Passage, cost: Cost, bought: tuple[Passage, ...]
    ) -> Chain | None:
        """The chain with one more piece of a lot, or nothing where the lot has no more."""
        number = 1
        while (way.lot.key, number) in chain.uses:
            number += 1
        if number > self._limits[way.lot.key]:
            return None
        use = frozenset({(way.lot.key, number)})
        more = (*bought, way)
        return Chain(
            passages=chain.passages + more,
            uses=chain.uses | use,
            buys=_bought(chain.passages + more) if bought else chain.buys,
            settled=chain.settled | use if way.lot.settled else chain.settled,
            cost=add(chain.cost, cost),
            has_hose=chain.has_hose or any(each.is_hose for each in more),
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

    def _joint(self, how: Grade) -> Cost:
        return ordered((how, 0, 0, 0, 0, 0), self._kind)

    # Chains with bought parts

    def _bridged(self, start: Face, goal: Face) -> list[Chain]:
        """Chains with bought parts among them, or of nothing else."""
        assert self._bridges is not None
        first = self._first(start)
        found = [
            self._ended(first, bridge)
            for hose in (False, True)
            if (bridge := self._bridges.between(start, goal, hose=hose)) is not None
            and not self._is_apart(bridge)
        ]
        whole = [
            bridge.cost
            for hose in (False, True)
            if (hose or not self.span.wants_hose)
            and (bridge := self._bridges.between(start, goal, hose=hose)) is not None
        ]
        worth = min(whole, default=None)
        for chain in self._chains_from(start, worth, buying=True):
            how = grade(chain.face, goal)
            if how is not None:
                found.append(self._joined_to(chain, how))
            if not chain.passages:
                continue
            for hose in (False,) if chain.hosed else (False, True):
                room = self._room(chain, worth)
                bridge = self._bridges.between(chain.face, goal, hose=hose, below=room)
                if bridge is not None and not self._is_apart(bridge):
                    found.append(self._ended(chain, bridge))
        return found

    def _joined_to(self, chain: Chain, how: Grade) -> Chain:
        return replace(chain, cost=add(chain.cost, self._joint(how))) if how else chain

    def _ended(self, chain: Chain, bridge: Bridge) -> Chain:
        row = (*chain.passages, *bridge.passages)
        return replace(
            chain,
            passages=row,
            buys=_bought(row),
            cost=add(chain.cost, bridge.cost),
            has_hose=any(each.is_hose for each in row),
            over=chain.over or self._over(bridge.passages),
            face=row[-1].exit,
            hosed=chain.hosed or bridge.has_hose,
        )


_NO_USE: frozenset[Use] = frozenset()


def _bought(row: Iterable[Passage]) -> frozenset[Use]:
    counted: Counter[tuple[str, ...]] = Counter()
    found = set()
    for way in row:
        if way.lot.source == "shop":
            counted[way.lot.key] += 1
            found.add((way.lot.key, counted[way.lot.key]))
    return frozenset(found)


def _unbeaten(chains: Iterable[Chain]) -> list[Chain]:
    """The chains that no other beats, cheapest first; of equals the first by name."""
    kept: list[Chain] = []
    inorder = sorted(chains, key=lambda each: (len(each.uses), each.cost, _names(each)))
    for chain in inorder:
        if not any(other.beats(chain) for other in kept):
            kept.append(chain)
    kept.sort(key=lambda each: (each.cost, _names(each)))
    return kept


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
