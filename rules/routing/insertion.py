"""What a circuit goes together without and is the better for: where it would go, and what it takes.

An ethanol sensor, on a fuel whose content varies, sits in a line that is joined already. One joint
of that line is undone, and the sensor goes between its two ports with what joins it there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import get_args

from rules.assembly import Joint
from rules.faces import Face, grade
from rules.routing import costs
from rules.routing.completion import Hole, Way, buy, distinct
from rules.routing.costs import Cost, add, ordered, plain
from rules.routing.fitness import Conditions, Place
from rules.routing.joining import Joined, Stand, faces_joined
from rules.routing.layout import is_recommended, place_in_links
from rules.routing.offers import Bridge, Bridges, Offers, Passage, passages
from rules.routing.outcome import BestAt, Missing
from rules.routing.pieces import Lot
from rules.routing.plan import Plan
from rules.routing.sizing import Sizing
from rules.routing.template import Link, Station, Template

_KINDS: tuple[BestAt, ...] = get_args(BestAt)


def absent(template: Template, lots: Sequence[Lot], conditions: Conditions) -> list[Station]:
    """Stations of links that are recommended, and that no piece of the cart or vehicle takes."""
    return [
        station
        for station in template.inline.values()
        if is_recommended(station, conditions) and not any(station.takes(lot.part) for lot in lots)
    ]


@dataclass(frozen=True, slots=True)
class _Gap:
    """A joint that may be undone, with the faces of its ends and the line it is in."""

    link: Link
    joint: Joint
    faces: tuple[Face, Face]


@dataclass(frozen=True, slots=True)
class _Fitted:
    """A station's part between the two ends of a joint, with what leads to it on both sides."""

    cost: Cost
    gap: _Gap
    row: tuple[Passage, ...]


class Inserter:
    """Finds where a recommended part would go in what is joined already."""

    def __init__(
        self, plan: Plan, joined: Joined, offers: Offers, conditions: Conditions, sizing: Sizing
    ) -> None:
        self._template = plan.layout.template
        self._joined = joined
        self._offers = offers
        self._conditions = conditions
        self._sizing = sizing

    def hole(self, station: Station) -> Hole:
        """The station as something missing, with up to three ways to put it in."""
        place = place_in_links(self._template, station)
        lots = self._sizing.choice(station, place).lots
        fitted = [
            (kind, best) for kind in _KINDS if (best := self._best(station, lots, kind)) is not None
        ]
        name = station.id.replace("-", " ")
        ways = list(distinct(self._way(kind, each) for kind, each in fitted))
        between = ways[0].undoes[0].ends if ways else ()
        where = f" It would go between {between[0]} and {between[1]}." if between else ""
        lacking = "" if ways else " Nothing in the catalogue serves."
        missing = Missing(
            id=station.id,
            what="station",
            required=False,
            line=place.line,
            between=between,
            message=f"The circuit has no {name}, which is recommended for this fuel."
            f"{where}{lacking}",
        )
        return Hole(missing, tuple(ways))

    def _best(self, station: Station, lots: Sequence[Lot], kind: costs.Kind) -> _Fitted | None:
        fitted = [
            each
            for gap in self._gaps(station)
            for lot in lots
            for each in self._fit(gap, lot, kind)
        ]
        sound = [each for each in fitted if not plain(each.cost, kind)[costs.COMPROMISES]]
        # Of equals the first on the way of the fuel.
        return min(sound, key=lambda each: each.cost, default=None)

    def _gaps(self, station: Station) -> Iterator[_Gap]:
        for filled in self._joined.filled:
            link = filled.leg.way.link
            if station.id not in link.holds or filled.leg.chain is None:
                continue
            for joint, faces in zip(filled.joints, faces_joined(filled.leg), strict=True):
                if all(face.pin is None for face in faces):
                    yield _Gap(link, joint, faces)

    def _fit(self, gap: _Gap, lot: Lot, kind: costs.Kind) -> Iterator[_Fitted]:
        place = Place(gap.link.line, gap.link.inside_tank)
        bridges = self._offers.bridges(self._conditions, place, None, kind)
        price = costs.price_cents(lot.part, self._offers.currency)
        own = ordered((0, 1, 0, price, costs.drop(lot.part, None)), kind)
        for way in passages(lot):
            before = _led(bridges, gap.faces[0], way.entry, kind)
            behind = _led(bridges, way.exit, gap.faces[1], kind)
            if before is not None and behind is not None:
                cost = add(own, add(before.cost, behind.cost))
                yield _Fitted(cost, gap, (*before.passages, way, *behind.passages))

    def _way(self, kind: BestAt, fitted: _Fitted) -> Way:
        before, end = fitted.gap.joint.ends
        stands: list[Stand] = []
        joints = []
        for way in fitted.row:
            stand = buy(way.lot.part, self._joined.refs)
            stands.append(stand)
            joints.append(Joint(ends=(before, f"{stand.item.ref}.{way.enters}")))
            before = f"{stand.item.ref}.{way.leaves}"
        joints.append(Joint(ends=(before, end)))
        return Way((kind,), tuple(stands), tuple(joints), undoes=(fitted.gap.joint,))


def _led(bridges: Bridges, start: Face, goal: Face, kind: costs.Kind) -> Bridge | None:
    """The best of what leads from a face to another: nothing at all, fittings, or a hose."""
    how = grade(start, goal)
    if how is not None:
        return Bridge(costs.compromise(how, kind), (), False)
    found = (bridges.between(start, goal, hose=hose) for hose in (False, True))
    return min(
        (bridge for bridge in found if bridge is not None),
        key=lambda bridge: bridge.cost,
        default=None,
    )
