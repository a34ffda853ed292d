"""What a link must still cost at least, from where a row of parts has come to.

The bounds are those of a search in which every piece of the cart is there as often as one likes.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple, TypeAlias

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


class Step(NamedTuple):
    """A piece behind bought parts.

    Attributes:
        least: what the bought parts, the piece and all behind it cost at least.
        way: the piece.
        cost: what it costs.
        behind: what all behind it costs at least.
        hose: whether there is a hose among the bought parts.
    """

    least: Packed
    way: Passage
    cost: Packed
    behind: Packed
    hose: bool


class _To(NamedTuple):
    """Least costs to a goal from each exit, without and with a hose before it."""

    without: Codes
    with_hose: Codes
    least: Least


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
        # What ends at the car leads nowhere.
        self._ways = [(way, cost) for way, cost in ways if way.leaves not in way.lot.taken]
        self._exits = list(dict.fromkeys(way.exit for way, _ in self._ways))
        self._entries = list(dict.fromkeys(way.entry for way, _ in self._ways))
        exit_of = {face: place for place, face in enumerate(self._exits)}
        entry_of = {face: place for place, face in enumerate(self._entries)}
        self._enters = np.array([entry_of[way.entry] for way, _ in self._ways], dtype=np.intp)
        self._leaves = np.array([exit_of[way.exit] for way, _ in self._ways], dtype=np.intp)
        self._own: Codes = np.array([_bound(cost) for _, cost in self._ways], dtype=np.int64)
        self._is_hose = np.array([way.is_hose for way, _ in self._ways], dtype=np.bool_)
        plain, hosed = self._steps(self._entries)
        count = len(self._exits)
        self._plain: Codes = np.full((count, count), NEVER, dtype=np.int64)
        self._hosed: Codes = np.full((count, count), NEVER, dtype=np.int64)
        for at, to, own, is_hose in zip(
            self._enters, self._leaves, self._own, self._is_hose, strict=True
        ):
            direct = self._hosed if is_hose else self._plain
            np.minimum(direct[:, to], plain[:, at] + own, out=direct[:, to])
            np.minimum(self._hosed[:, to], hosed[:, at] + own, out=self._hosed[:, to])
        self._either = np.minimum(self._plain, self._hosed)
        self._known: dict[tuple[Face | None, bool], _To] = {}
        self._bridged: dict[tuple[Face, bool], Codes] = {}

    def to(self, goal: Face | None, *, must_hose: bool) -> Least:
        """Least costs to a goal, for each face and whether there is a hose before it already.

        Args:
            goal: where it is to lead; `None` is the part of the car that a hose ends at.
            must_hose: whether a row without a hose does not do.
        """
        return self._to(goal, must_hose).least

    def steps(
        self, face: Face, goal: Face | None, *, must_hose: bool, hosed: bool, worth: Packed | None
    ) -> list[Step]:
        """The pieces that bought parts lead to from a face, those first that may cost least.

        Args:
            face: where the bought parts begin.
            goal: where all of it is to lead.
            must_hose: whether a row without a hose does not do.
            hosed: whether there is a hose before the face.
            worth: what comes to more is left out.
        """
        to = self._to(goal, must_hose)
        most = NEVER - 1 if worth is None else _bound(worth, _HOSE - 1)
        found = []
        for hose in (False, True):
            bridge = self._bridges_from(face, hose)[self._enters]
            with_hose = self._is_hose | hose | hosed
            behind = np.where(with_hose, to.with_hose[self._leaves], to.without[self._leaves])
            total = bridge + self._own
            # Three of what never is would be too much for a number.
            total = np.where(total < NEVER, total + behind, NEVER)
            for number in np.flatnonzero(total <= most).tolist():
                way, cost = self._ways[number]
                least, after = _packed(int(total[number])), _packed(int(behind[number]))
                found.append(Step(least, way, cost, after, hose))
        found.sort(key=lambda step: step.least)
        return found

    def _bridges_from(self, face: Face, hose: bool) -> Codes:
        found = self._bridged.get((face, hose))
        if found is None:
            found = self._bridges_to([face], self._entries, hose=hose)[0]
            self._bridged[face, hose] = found
        return found

    def _to(self, goal: Face | None, must_hose: bool) -> _To:
        found = self._known.get((goal, must_hose))
        if found is None:
            found = self._known[goal, must_hose] = self._worked_out(goal, must_hose)
        return found

    def _worked_out(self, goal: Face | None, must_hose: bool) -> _To:
        plain, hosed = (column[:, 0] for column in self._steps([goal]))
        if goal is None:
            plain = np.zeros_like(plain)
        with_hose = _settled(np.minimum(plain, hosed), self._either)
        by_hose = np.minimum(hosed, _moved(self._hosed, with_hose))
        lacking = by_hose if must_hose or goal is None else np.minimum(plain, by_hose)
        without = _settled(lacking, self._plain)
        least: Least = {}
        for place, face in enumerate(self._exits):
            least[face, True] = _cost(int(with_hose[place]))
            least[face, False] = _cost(int(without[place]))
        return _To(without, with_hose, least)

    def _steps(self, goals: Sequence[Face | None]) -> tuple[Codes, Codes]:
        """From each exit to each goal: by a joint or by fittings, and by a bridge with a hose."""
        plain, hosed = (self._bridges_to(self._exits, goals, hose=hose) for hose in (False, True))
        np.minimum(plain, _joints(tuple(self._exits), tuple(goals)), out=plain)
        return plain, hosed

    def _bridges_to(
        self, starts: Sequence[Face], goals: Sequence[Face | None], *, hose: bool
    ) -> Codes:
        if self._bridges is None:
            return np.full((len(starts), len(goals)), NEVER, dtype=np.int64)
        return _in_bounds(self._bridges.least(starts, goals, hose=hose, parts=self._parts), hose)


@lru_cache(maxsize=512)
def _joints(exits: tuple[Face, ...], goals: tuple[Face | None, ...]) -> Codes:
    """What it costs to join each exit to each goal; asked again for every run of a cart."""
    found: Codes = np.full((len(exits), len(goals)), NEVER, dtype=np.int64)
    for place, face in enumerate(exits):
        for number, goal in enumerate(goals):
            how = None if goal is None else grade(face, goal)
            if how is not None:
                found[place, number] = how * _COMPROMISE
    return found


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


def _bound(cost: Packed, most_cents: int = _MOST_CENTS) -> int:
    compromises, bought, _, cents, _ = unpacked(cost)
    hoses = costs.hoses(cost)
    return compromises * _COMPROMISE + bought * _BOUGHT + hoses * _HOSE + min(cents, most_cents)


def _in_bounds(coded: Codes, hose: bool) -> Codes:
    """Codes of bridges as bounds: the drop left out, the other places wide enough for sums."""
    compromises, bought, cents = costs.places(coded, _KIND)
    found: Codes = compromises * _COMPROMISE + bought * _BOUGHT + hose * _HOSE + cents
    return np.where(coded < NEVER, found, NEVER)


def _cost(bound: int) -> Packed | None:
    return None if bound >= NEVER else _packed(bound)


def _packed(bound: int) -> Packed:
    compromises, others = divmod(bound, _COMPROMISE)
    bought, others = divmod(others, _BOUGHT)
    hoses, cents = divmod(others, _HOSE)
    return packed((compromises, bought, 0, cents, 0), hoses)
