"""What leads from one port to another: nothing, an adapter, or a hose with an adapter on it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from rules import parts
from rules.circuit import PlacedPort
from rules.faces import Face, face_of, grade
from rules.facts.joint import part_end
from rules.remedies.search import Meeting, Search, bears, materials_of, price_order, screwing_on
from rules.schema import Unknown

Spot: TypeAlias = tuple[parts.Component, parts.Port]
"""A port with the part it is on, placed or not."""

_FITTINGS = ("adapter", "quick-connector")


def spot_of(port: PlacedPort) -> Spot:
    """A placed port as a spot."""
    return port.item.part, port.port


@dataclass(frozen=True)
class Bridge:
    """What leads from one port to another, in order, and the ends that meet."""

    pieces: tuple[parts.Component, ...]
    meetings: tuple[Meeting, ...]

    @property
    def order(self) -> tuple[int, int, float, tuple[str, ...]]:
        """Without a hose first, then the fewest pieces, then the least to pay."""
        hoses = sum(piece.kind not in _FITTINGS for piece in self.pieces)
        price = sum(price_order(piece)[0] for piece in self.pieces)
        return hoses, len(self.pieces), price, tuple(str(piece.sku) for piece in self.pieces)


@dataclass(frozen=True)
class _Step:
    """A piece that is tight on a spot by `near` and goes on at `far`."""

    part: parts.Component
    near: parts.Port
    far: parts.Port


class Bridges:
    """Finds what is sold to lead from port to port in a circuit.

    Args:
        search: what is known of the circuit.
        pressure_kpa: what each piece must bear.
    """

    def __init__(self, search: Search, pressure_kpa: float | Unknown) -> None:
        self._search = search
        self._pressure_kpa = pressure_kpa
        self._steps: dict[Face, Mapping[Face, _Step]] = {}

    def of_one(self, one: Spot, other: Spot) -> Bridge | None:
        """The cheapest single fitting that is tight on both ports."""
        found = (b for b in self._through_one(one, other) if b.pieces[0].kind in _FITTINGS)
        return min(found, key=lambda bridge: bridge.order, default=None)

    def between(self, one: Spot, other: Spot) -> Bridge | None:
        """The best of nothing at all, one piece, and two pieces of which one may be a hose."""
        if grade(face_of(*one), face_of(*other)) == 0:
            return Bridge((), (_meeting(one, other),))
        found = [*self._through_one(one, other), *self._through_two(one, other)]
        sound = (bridge for bridge in found if bridge.order[0] <= 1)
        return min(sound, key=lambda bridge: bridge.order, default=None)

    def _through_one(self, one: Spot, other: Spot) -> Iterator[Bridge]:
        target = face_of(*other)
        for face, step in self._from(one).items():
            if grade(face, target) == 0:
                near, far = (step.part, step.near), (step.part, step.far)
                yield Bridge((step.part,), (_meeting(one, near), _meeting(far, other)))

    def _through_two(self, one: Spot, other: Spot) -> Iterator[Bridge]:
        for face, first in self._from(one).items():
            for beyond, last in self._from(other).items():
                if grade(face, beyond) == 0:
                    yield Bridge(
                        (first.part, last.part),
                        (
                            _meeting(one, (first.part, first.near)),
                            _meeting((first.part, first.far), (last.part, last.far)),
                            _meeting((last.part, last.near), other),
                        ),
                    )

    def _from(self, spot: Spot) -> Mapping[Face, _Step]:
        """For each face that one piece leads to, the cheapest piece."""
        start = face_of(*spot)
        if start not in self._steps:
            found: dict[Face, _Step] = {}
            sold = screwing_on(self._search.catalogue, spot[1])
            for part in sorted(filter(self._serves, sold), key=_fittings_first):
                for near, far in itertools.permutations(part.ports, 2):
                    if near.role == far.role == "either" and (
                        grade(start, face_of(part, near)) == 0
                    ):
                        found.setdefault(face_of(part, far), _Step(part, near, far))
            self._steps[start] = found
        return self._steps[start]

    def _serves(self, part: parts.Component) -> bool:
        hose = part.kind == "hose-assembly" and "ptfe" not in materials_of(part)
        return (
            (part.kind in _FITTINGS or hose)
            and len(part.ports) == 2
            and bears(part, self._pressure_kpa)
            and self._search.withstands(part)
        )


def _fittings_first(part: parts.Component) -> tuple[bool, float, str]:
    return part.kind not in _FITTINGS, *price_order(part)


def _meeting(one: Spot, other: Spot) -> Meeting:
    return part_end(*one), part_end(*other)
