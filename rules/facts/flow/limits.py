"""How much fuel reaches the engine with the rail held, and what each part has to do with it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from rules.facts.case import Gap
from rules.facts.flow.pieces import Piece
from rules.facts.flow.plumbing import Regulator, joined_to
from rules.facts.flow.points import State
from rules.facts.flow.solving import ALL_PARTS, Batch, Bench, Row, set_point_kpa
from rules.hydraulics import (
    BackPressureRegulator,
    FixedPressure,
    Network,
    Pump,
    ReducingRegulator,
)

_CLOSE_KPA = 0.01
_MOST_STEPS = 8
_GRID = 8
_BY_DROP = 0.54
"""Power of the drop that the flow through smooth pipes and fittings goes with, about."""


@dataclass(frozen=True)
class Limit:
    """The most fuel that reaches the engine with the rail held.

    Attributes:
        flow_lph: `None` where it cannot be told; infinite where nothing in the lines limits it.
        gap: what is not recorded, where it cannot be told.
    """

    flow_lph: float | None
    gap: Gap | None = None


Question = str | None
"""`None`: as it is; a ref: with that part perfect; `ALL_PARTS`: with every line perfect."""


class Limits:
    """Searches the limits of one plan at one operating point.

    A rail is at its limit where regulators spill nothing any more and its lowest pressure is as far
    below the target as still counts as held; or earlier, where the line behind a regulator costs
    that much.

    Args:
        bench: what solves the plan.
        batch, row: the operating point, solved with the regulators at work.
        tolerance_kpa: how far below the target still counts as held.
    """

    def __init__(self, bench: Bench, batch: Batch, row: int, tolerance_kpa: float) -> None:
        self._bench = bench
        self._state: State = batch.rows[row].state
        self._at_work = batch
        self._row = row
        targets = bench.targets
        self._floor_kpa = targets.rail_kpa(self._state) - tolerance_kpa
        at_target = targets.difference_kpa(self._state)
        self._opening = sqrt(at_target / (at_target - tolerance_kpa))
        self._unregulated = bench.plan.unregulated

    def of(self, questions: Sequence[Question]) -> Mapping[Question, Limit]:
        """The limit for each question; with pumps as they are."""
        start, slope, gap = self._start()
        if start is None:
            return dict.fromkeys(questions, Limit(None, gap))
        carried = {piece.item.ref for piece in self._carrying()}
        asked = [q for q in questions if q in (None, ALL_PARTS) or q in carried]
        found = self._behind_regulators(self._without_regulators(asked, start, slope))
        # What carries nothing when no regulator spills does not limit anything.
        return {question: found.get(question, found[None]) for question in questions}

    def _carrying(self) -> Iterator[Piece]:
        links = self._unregulated.network.link_index
        return (piece for name, piece in self._bench.plan.pieces.items() if name in links)

    def with_perfect_pumps(self) -> Limit:
        """The limit with pumps that deliver whatever is asked at any pressure.

        Infinite, except where a line behind a regulator has its own.
        """
        rail = float(self._at_work.rail_kpa()[self._row])
        holding = [
            regulator
            for regulator in self._bench.plan.regulators
            if self._held_kpa(regulator) > rail + _CLOSE_KPA
        ]
        if not holding:
            return Limit(inf)
        drop = max(self._held_kpa(regulator) for regulator in holding) - rail
        allowed = max(rail + drop - self._floor_kpa, _CLOSE_KPA)
        start = self._bench.flow_of(self._state) * sqrt(allowed / drop)
        return self._sagging({None: start}, self._held(holding))[None]

    def _held_kpa(self, regulator: Regulator) -> float:
        return float(self._at_work.pressure_kpa(regulator.held_node)[self._row])

    def _held(self, holding: Sequence[Regulator]) -> Network:
        """The network behind regulators whose pressure is given, with pumps left out."""
        given = {r.held_node: set_point_kpa(r, self._state) for r in holding}
        whole = self._bench.plan.network
        moving = (Pump, BackPressureRegulator, ReducingRegulator)
        links = [link for link in whole.links if not isinstance(link, moving)]
        fixed = {node.id for node in whole.nodes if isinstance(node, FixedPressure)} | set(given)
        kept = joined_to(fixed, links)
        return Network(
            [
                FixedPressure(node.id, given[node.id]) if node.id in given else node
                for node in whole.nodes
                if node.id in kept
            ],
            [link for link in links if link.start in kept],
        )

    def _rows(self, flows: Iterable[float], questions: Iterable[Question]) -> list[Row]:
        """Rows whose injectors pass these flows with the rail at the floor."""
        return [
            Row(self._state, float(flow) * self._opening, question)
            for flow, question in zip(flows, questions, strict=True)
        ]

    def _start(self) -> tuple[float | None, float, Gap | None]:
        """A flow near the limit, and the slope of flow by rail pressure there."""
        least, most = self._pump_range_lph()
        flows = np.linspace(max(0.8 * least, 0.05 * most), 1.02 * most, _GRID)
        rows = self._rows(flows, [None] * _GRID)
        batch = self._bench.solve(rows, self._unregulated.network)
        above = batch.rail_kpa() - self._floor_kpa
        known = np.flatnonzero(np.isfinite(above))
        if len(known) < 2:
            return None, 0.0, batch.why_not(_GRID // 2)[1]
        one, other = sorted(known[np.argsort(np.abs(above[known]))][:2])
        fall = above[one] - above[other]
        if fall <= 0.0:
            # The rail does not care what is burnt: what feeds it is not what was found to.
            return None, 0.0, batch.why_not(int(one))[1]
        slope = (flows[one] - flows[other]) / fall
        return float(flows[one] - above[one] * slope), float(slope), None

    def _pump_range_lph(self) -> tuple[float, float]:
        """The least and the most that the feed pumps were measured to deliver together."""
        network = self._bench.plan.network
        least = most = 0.0
        for piece in self._bench.plan.feed_pumps:
            link = network.links[network.link_index[piece.id]]
            assert isinstance(link, Pump)
            assert link.curves is not None
            least += min(curve.flow_lph[-1] for curve in link.curves)
            most += max(curve.flow_lph[0] for curve in link.curves)
        return least, most

    def _without_regulators(
        self, questions: Sequence[Question], start: float, slope: float
    ) -> dict[Question, _Found]:
        """Secant steps for all questions at once."""
        flows = previous = np.full(len(questions), max(start, 1.0))
        slopes = np.full(len(questions), slope)
        before = np.full(len(questions), np.nan)
        for step in range(_MOST_STEPS):
            batch = self._bench.solve(self._rows(flows, questions), self._unregulated.network)
            above = batch.rail_kpa() - self._floor_kpa
            if step == _MOST_STEPS - 1 or not (np.abs(above) > _CLOSE_KPA).any():
                break
            if step:
                change = np.where(above == before, np.nan, above - before)
                secant = (flows - previous) / change
                slopes = np.where(np.isfinite(secant) & (secant < 0.0), secant, slopes)
            previous, before = flows, above
            flows = np.maximum(flows - np.nan_to_num(above) * slopes, 1.0)
        return {
            question: _Found(batch, at, float(above[at])) for at, question in enumerate(questions)
        }

    def _behind_regulators(self, found: Mapping[Question, _Found]) -> dict[Question, Limit]:
        limits: dict[Question, Limit] = {}
        working: dict[Question, float] = {}
        for question, each in found.items():
            burnt = max(float(each.batch.burnt_lph()[each.row]), 0.0)
            if not abs(each.above_kpa) <= 1.0:
                limits[question] = Limit(None, each.batch.why_not(each.row)[1])
            elif self._would_regulate(each):
                working[question] = burnt
            else:
                limits[question] = Limit(burnt)
        if working:
            limits |= self._sagging(working, None)
        return limits

    def _would_regulate(self, found: _Found) -> bool:
        """Whether a regulator would work where the search left it idle."""
        stands_at = self._unregulated.stands_at
        for regulator in self._bench.plan.regulators:
            node = regulator.held_node
            while node in stands_at:
                node = stands_at[node]
            pressure = float(found.batch.pressure_kpa(node)[found.row])
            if pressure > set_point_kpa(regulator, self._state) + _CLOSE_KPA:
                return True
        return False

    def _sagging(
        self, starts: Mapping[Question, float], network: Network | None
    ) -> dict[Question, Limit]:
        """Limits set by the line behind a regulator, whose drop nearly goes with the square."""
        held = min(set_point_kpa(r, self._state) for r in self._bench.plan.regulators)
        allowed = held - self._floor_kpa
        if allowed <= 0.0:
            return dict.fromkeys(starts, Limit(0.0))
        questions = list(starts)
        flows = np.array([starts[question] for question in questions])
        for _ in range(_MOST_STEPS):
            batch = self._bench.solve(self._rows(flows, questions), network)
            drop = held - batch.rail_kpa()
            if not (np.abs(drop - allowed) > _CLOSE_KPA).any():
                break
            with np.errstate(invalid="ignore", divide="ignore"):
                flows = np.where(drop > 0.0, flows * (allowed / drop) ** _BY_DROP, flows)
        burnt = np.maximum(batch.burnt_lph(), 0.0)
        return {
            question: Limit(float(burnt[at]))
            if np.isfinite(burnt[at])
            else Limit(None, batch.why_not(at)[1])
            for at, question in enumerate(questions)
        }


@dataclass(frozen=True)
class _Found:
    """Where the search for one question ended."""

    batch: Batch
    row: int
    above_kpa: float
