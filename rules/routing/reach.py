"""What a link must still cost at least, from where a row of parts has come to.

The bounds are those of a search in which every piece of the cart is there as often as one likes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from rules.faces import Face, grade
from rules.routing import costs
from rules.routing.costs import Packed, packed, unpacked
from rules.routing.offers import NEVER, Bridges, Codes, Passage

_PRICE_BITS, _HOSE_BITS, _BOUGHT_BITS = 36, 6, 12
_HOSE = 1 << _PRICE_BITS
_BOUGHT = _HOSE << _HOSE_BITS
_COMPROMISE = _BOUGHT << _BOUGHT_BITS
_MOST_CENTS = 2**24
"""A price is cut off there: then even a row of all pieces of a cart does not run over."""

_KIND: costs.Kind = "fewest-parts"

Least: TypeAlias = dict[tuple[Face, bool], Packed | None]
"""What it costs at least by a face, for each of two cases; `None` where it cannot be done."""


class Reach:
    """Least costs from the faces where pieces of a cart are left to any goal.

    Args:
        ways: the pieces, with what each costs.
        bridges: what may be bought between them, if anything.
        parts: of how many bought parts in a row the costs are wanted exactly.
    """

    def __init__(
        self,
        ways: Sequence[tuple[Passage, Packed]],
        bridges: Bridges | None,
        *,
        parts: int,
    ) -> None:
        self._bridges = bridges
        self._parts = parts
        self._exits = list(dict.fromkeys(way.exit for way, _ in ways))
        self._entries = list(dict.fromkeys(way.entry for way, _ in ways))
        exit_of = {face: place for place, face in enumerate(self._exits)}
        entry_of = {face: place for place, face in enumerate(self._entries)}
        plain, hosed = self._steps(self._entries)
        count = len(self._exits)
        self._plain: Codes = np.full((count, count), NEVER, dtype=np.int64)
        self._hosed: Codes = np.full((count, count), NEVER, dtype=np.int64)
        for way, cost in ways:
            if way.leaves in way.lot.taken:
                continue  # it ends at the car
            at, to, own = entry_of[way.entry], exit_of[way.exit], _bound(cost)
            direct = self._hosed if way.is_hose else self._plain
            np.minimum(direct[:, to], plain[:, at] + own, out=direct[:, to])
            np.minimum(self._hosed[:, to], hosed[:, at] + own, out=self._hosed[:, to])
        self._either = np.minimum(self._plain, self._hosed)
        self._known: dict[tuple[Face | None, bool], Least] = {}
        self._bridged: dict[Face, Least] = {}

    def to(self, goal: Face | None, *, must_hose: bool) -> Least:
        """Least costs to a goal, for each face and whether there is a hose before it already.

        Args:
            goal: where it is to lead; `None` is the part of the car that a hose ends at.
            must_hose: whether a row without a hose does not do.
        """
        found = self._known.get((goal, must_hose))
        if found is None:
            found = self._known[goal, must_hose] = self._to(goal, must_hose)
        return found

    def bridges_from(self, face: Face) -> Least:
        """Least costs of bought parts from a face to each entry, and whether with a hose."""
        found = self._bridged.get(face)
        if found is None:
            found = self._bridged[face] = {
                (entry, hose): _cost(int(bound))
                for hose in (False, True)
                for entry, bound in zip(
                    self._entries,
                    self._bridges_to([face], self._entries, hose=hose)[0],
                    strict=True,
                )
            }
        return found

    def _to(self, goal: Face | None, must_hose: bool) -> Least:
        plain, hosed = (column[:, 0] for column in self._steps([goal]))
        if goal is None:
            plain = np.zeros_like(plain)
        with_hose = _settled(np.minimum(plain, hosed), self._either)
        by_hose = np.minimum(hosed, _moved(self._hosed, with_hose))
        lacking = by_hose if must_hose or goal is None else np.minimum(plain, by_hose)
        without = _settled(lacking, self._plain)
        found: Least = {}
        for place, face in enumerate(self._exits):
            found[face, True] = _cost(int(with_hose[place]))
            found[face, False] = _cost(int(without[place]))
        return found

    def _steps(self, goals: Sequence[Face | None]) -> tuple[Codes, Codes]:
        """From each exit to each goal: by a joint or by fittings, and by a bridge with a hose."""
        plain, hosed = (self._bridges_to(self._exits, goals, hose=hose) for hose in (False, True))
        for number, goal in enumerate(goals):
            for place, face in enumerate(self._exits):
                how = None if goal is None else grade(face, goal)
                if how is not None:
                    joint = how * _COMPROMISE
                    plain[place, number] = min(int(plain[place, number]), joint)
        return plain, hosed

    def _bridges_to(
        self, starts: Sequence[Face], goals: Sequence[Face | None], *, hose: bool
    ) -> Codes:
        if self._bridges is None:
            return np.full((len(starts), len(goals)), NEVER, dtype=np.int64)
        return _in_bounds(self._bridges.least(starts, goals, hose=hose, parts=self._parts), hose)


def _settled(ends: Codes, moves: Codes) -> Codes:
    """Least costs where one may end at once or move on first, as often as it is worth it."""
    least = ends
    while True:
        better = np.minimum(least, _moved(moves, least))
        if (better == least).all():
            return least
        least = better


def _moved(moves: Codes, least: Codes) -> Codes:
    if not len(least):
        return least
    total: Codes = (moves + least).min(axis=1)
    return np.minimum(total, NEVER)


def _bound(cost: Packed) -> int:
    compromises, bought, _, cents, _ = unpacked(cost)
    return compromises * _COMPROMISE + bought * _BOUGHT + min(cents, _MOST_CENTS)


def _in_bounds(coded: Codes, hose: bool) -> Codes:
    """Codes of bridges as bounds: the drop left out, the other places wide enough for sums."""
    compromises, bought, cents = costs.places(coded, _KIND)
    found: Codes = compromises * _COMPROMISE + bought * _BOUGHT + hose * _HOSE + cents
    return np.where(coded < NEVER, found, NEVER)


def _cost(bound: int) -> Packed | None:
    if bound >= NEVER:
        return None
    compromises, others = divmod(bound, _COMPROMISE)
    bought, others = divmod(others, _BOUGHT)
    hoses, cents = divmod(others, _HOSE)
    return packed((compromises, bought, 0, cents, 0), hoses)
