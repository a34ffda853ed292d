"""Figures of one end of a study that both rules and the report ask for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from math import inf, isfinite, pi

from rules import parts
from rules.circuit import Circuit
from rules.facts.flow.limits import Limit
from rules.facts.flow.pieces import TANK, Piece, home_of
from rules.facts.flow.study import End, Injectors, pump_current_a

MATTERS = 1.0005
"""Times what is carried as it is: a part that gives less when perfect sets no limit."""

_MOVING = ("pump", "spill", "built-in-spill")


def known(value: float) -> float | None:
    """A figure of a solution; `None` where there is none."""
    return float(value) if isfinite(value) else None


@dataclass(frozen=True)
class Passage:
    """A part's ways in one line."""

    ref: str
    line: str
    pieces: tuple[Piece, ...]


class Figures:
    """What one end of a study says, row by row."""

    def __init__(self, end: End, injectors: Injectors | None) -> None:
        self.end = end
        self.injectors = injectors

    # Passages ---------------------------------------------------------------------------------

    @cached_property
    def passages(self) -> tuple[Passage, ...]:
        """Every part's ways, line by line, in the order the fuel takes."""
        plan = self.end.plan
        found: dict[tuple[str, str], list[Piece]] = {}
        for piece in self._in_order():
            found.setdefault((piece.item.ref, plan.lines[piece.id]), []).append(piece)
        return tuple(Passage(ref, line, tuple(ways)) for (ref, line), ways in found.items())

    def _in_order(self) -> Iterator[Piece]:
        """Pieces by line, and in a line from where the fuel comes."""
        plan = self.end.plan
        rank = self._ranks()
        lines = ("suction", "transfer", "feed", "return")
        order = {line: at for at, line in enumerate(lines)}
        yield from sorted(
            plan.pieces.values(),
            key=lambda piece: (
                order.get(plan.lines[piece.id], len(lines)),
                -1 if piece.what == "pump" else rank.get(piece.start, len(rank)),
                piece.id,
            ),
        )

    def _ranks(self) -> dict[str, int]:
        """How many ways lie between each node and where its line begins."""
        pieces = list(self.end.plan.pieces.values())
        starts = [p.end for p in pieces if p.what in (*_MOVING, "reduce")]
        ranks = dict.fromkeys([n for p in pieces for n in (p.start, p.end) if n.startswith("#")], 0)
        ranks |= dict.fromkeys(starts, 0)
        waiting = list(ranks)
        while waiting:
            node = waiting.pop(0)
            for piece in pieces:
                ahead = piece.start == node and piece.what not in _MOVING
                if ahead and piece.end not in ranks:
                    ranks[piece.end] = ranks[node] + 1
                    waiting.append(piece.end)
        return ranks

    # One row ----------------------------------------------------------------------------------

    def solved(self, row: int) -> bool:
        """Whether an operating point has a solution."""
        return self.end.solved(row)

    def rail_kpa(self, row: int) -> float | None:
        """Lowest pressure at any injector."""
        return known(self.end.batch.rail_kpa()[row])

    def spread_kpa(self, row: int) -> float | None:
        """Between the injector with the highest and that with the lowest pressure."""
        batch = self.end.batch
        return known(batch.highest_rail_kpa()[row] - batch.rail_kpa()[row])

    def burnt_lph(self, row: int) -> float | None:
        """What the injectors pass; nothing where the rail is below the manifold."""
        burnt = known(self.end.batch.burnt_lph()[row])
        return None if burnt is None else max(burnt, 0.0)

    def flow_lph(self, link: str, row: int) -> float | None:
        """Flow through one way."""
        return known(self.end.batch.flow_lph(link)[row])

    def pressure_kpa(self, node: str, row: int) -> float | None:
        """Gauge pressure at a node."""
        return known(self.end.batch.pressure_kpa(node)[row])

    def pump_lph(self, row: int) -> float | None:
        """What the feed pumps deliver together."""
        return self._sum([piece.id for piece in self.end.plan.feed_pumps], row)

    def lift_lph(self, row: int) -> float | None:
        """What the lift pumps deliver together."""
        return self._sum([piece.id for piece in self.end.plan.lift_pumps], row)

    def spilled_lph(self, row: int) -> float | None:
        """What goes back: through regulators and through jets that the feed drives."""
        names = [
            piece.id
            for piece in self.end.plan.pieces.values()
            if piece.what in ("spill", "built-in-spill")
        ]
        return self._sum(names, row)

    def _sum(self, links: list[str], row: int) -> float | None:
        flows = [self.flow_lph(link, row) for link in links]
        return None if None in flows else sum(flow for flow in flows if flow is not None)

    def outlet_kpa(self, row: int) -> float | None:
        """Highest pressure at the outlet of a feed pump."""
        pressures = [self.pressure_kpa(piece.end, row) for piece in self.end.plan.feed_pumps]
        return max((p for p in pressures if p is not None), default=None)

    def feed_drop_kpa(self, row: int) -> float | None:
        """From the pump's outlet to the injector with the least pressure."""
        outlet, rail = self.outlet_kpa(row), self.rail_kpa(row)
        return None if outlet is None or rail is None else outlet - rail

    def return_drop_kpa(self, row: int) -> float | None:
        """From behind the regulators to the tank."""
        behind = [
            self.pressure_kpa(piece.end, row)
            for piece in self.end.plan.pieces.values()
            if piece.what == "spill"
        ]
        return max((p for p in behind if p is not None), default=None)

    def drop_kpa(self, passage: Passage, row: int) -> float | None:
        """What a part costs in a line: from its highest to its lowest pressure."""
        pressures = [
            self.pressure_kpa(node, row)
            for piece in passage.pieces
            if piece.what not in _MOVING
            for node in (piece.start, piece.end)
        ]
        found = [p for p in pressures if p is not None]
        return max(found) - min(found) if found else None

    def share(self, passage: Passage, row: int) -> float | None:
        """A part's share of the drop from pump to rail, or of that of the return."""
        drop = self.drop_kpa(passage, row)
        total = None
        if passage.line == "feed" and not self._behind_the_rail(passage, row):
            total = self.feed_drop_kpa(row)
        elif passage.line == "return":
            total = self.return_drop_kpa(row)
        return None if drop is None or not total or total <= 0.0 else min(drop / total, 1.0)

    def _behind_the_rail(self, passage: Passage, row: int) -> bool:
        rail = self.rail_kpa(row)
        entered = [self.pressure_kpa(piece.start, row) for piece in passage.pieces]
        found = [pressure for pressure in entered if pressure is not None]
        return rail is not None and max(found, default=0.0) <= rail

    def through_lph(self, passage: Passage, row: int) -> float | None:
        """The greatest flow through a part in a line."""
        flows = [self.flow_lph(piece.id, row) for piece in passage.pieces]
        found = [abs(flow) for flow in flows if flow is not None]
        return max(found, default=None)

    def bore_mm(self, passage: Passage) -> float | None:
        """The narrowest hole of a part in a line; a regulator's seat is no bore."""
        bores = [
            self.end.plan.bores_mm[piece.id]
            for piece in passage.pieces
            if piece.what not in (*_MOVING, "reduce", "nozzle")
        ]
        found = [bore for bore in bores if bore is not None]
        return min(found, default=None)

    def velocity_m_s(self, passage: Passage, row: int) -> float | None:
        """Mean velocity in the narrowest hole."""
        bore, flow = self.bore_mm(passage), self.through_lph(passage, row)
        if bore is None or flow is None:
            return None
        return flow / 3.6e6 / (pi / 4.0 * (bore / 1000.0) ** 2)

    # Pumps ------------------------------------------------------------------------------------

    def rise_kpa(self, pump: Piece, row: int) -> float | None:
        """What a pump raises."""
        low, high = self.pressure_kpa(pump.start, row), self.pressure_kpa(pump.end, row)
        return None if low is None or high is None else high - low

    def current_a(self, pump: Piece, row: int) -> float | None:
        """Current at the working point; unknown where its speed is held back."""
        rise = self.rise_kpa(pump, row)
        if rise is None or self.end.batch.rows[row].pump_scale < 1.0:
            return None
        return pump_current_a(pump, rise, self.end.states[row].voltage_v)

    def heat_w(self, pump: Piece, row: int) -> float | None:
        """All that a pump draws ends up in the fuel."""
        current, voltage = self.current_a(pump, row), self.end.states[row].voltage_v
        return None if current is None or voltage is None else current * voltage

    # Limits -----------------------------------------------------------------------------------

    def supports_kw(self, limit: Limit | None, *, with_injectors: bool = True) -> float | None:
        """The power that a limit of the lines, and the injectors, support."""
        if limit is None or limit.flow_lph is None:
            return None
        flows = [limit.flow_lph]
        if with_injectors and self.injectors is not None:
            flows.append(self.injectors.flow_limit_lph)
        least = min(flows)
        return self.end.need.power_of(least) if isfinite(least) else None

    @cached_property
    def power_kw(self) -> float | None:
        """The power that the system supports, its lines and its injectors."""
        return self.supports_kw(self.end.limit)

    @cached_property
    def without(self) -> tuple[tuple[str, float | None], ...]:
        """The power supported with each part perfect, the most first.

        `None` where nothing that is known would limit it then.
        """
        found = {ref: self.supports_kw(limit) for ref, limit in self._perfect.items()}
        lines = {ref: limit.flow_lph or 0.0 for ref, limit in self._perfect.items()}

        def order(ref: str) -> tuple[float, float, str]:
            power = found[ref]
            # Where the injectors take over the limit, what the lines would carry decides.
            return -(inf if power is None else power), -lines[ref], ref

        return tuple((ref, found[ref]) for ref in sorted(found, key=order))

    @cached_property
    def costliest(self) -> tuple[str, float | None]:
        """The part of the lines that costs most power, with what they carry if it were perfect."""
        pumps = {piece.item.ref for piece in self.end.plan.feed_pumps}
        found = {
            ref: self.supports_kw(limit, with_injectors=False) or 0.0
            for ref, limit in self._perfect.items()
            if ref not in pumps
        }
        if not found:
            return "none", None
        first = min(found, key=lambda ref: (-found[ref], ref))
        return first, found[first] or None

    @cached_property
    def first_of_the_lines(self) -> str | None:
        """The pump or part of the lines that sets what they carry, where one part does."""
        carried = self.end.limit.flow_lph
        found = {ref: limit.flow_lph or 0.0 for ref, limit in self._perfect.items()}
        if carried is None or not found:
            return None
        first = min(found, key=lambda ref: (-found[ref], ref))
        return first if found[first] > carried * MATTERS else None

    def injectors_limit_without(self, ref: str) -> bool:
        """Whether the injectors set the power once a part of the lines is perfect."""
        limit = self._perfect[ref].flow_lph
        if self.injectors is None or limit is None:
            return False
        return self.injectors.flow_limit_lph <= limit

    def lines_without(self, ref: str) -> float | None:
        """The power that lines and pumps carry if a part of them were perfect."""
        return self.supports_kw(self._perfect.get(ref), with_injectors=False)

    @property
    def _perfect(self) -> dict[str, Limit]:
        return {ref: limit for ref, limit in self.end.perfect.items() if limit.flow_lph is not None}

    @cached_property
    def without_injectors(self) -> float | None:
        """The power that the lines and pumps support by themselves."""
        return self.supports_kw(self.end.limit, with_injectors=False)

    @property
    def injectors_limit(self) -> bool:
        """Whether the injectors, and not the lines, set the power."""
        limit = self.end.limit.flow_lph
        if self.injectors is None or limit is None:
            return False
        return self.injectors.flow_limit_lph < limit


def surge_returns(circuit: Circuit, end: End) -> bool | None:
    """Whether what the regulator spills goes back into the surge tank."""
    homes = {home_of(item) for item in circuit.of_kind("surge-tank")}
    mouths = [p for p in end.plan.pieces.values() if end.plan.lines[p.id] == "return"]
    ends = {piece.end for piece in mouths if piece.end.startswith("#")}
    if not ends:
        return None
    return bool(ends & homes) and TANK not in ends


def surge_volume_l(circuit: Circuit) -> float | None:
    """Volume of all surge tanks; `None` where one is not recorded."""
    volumes = [
        item.part.spec.volume_l
        for item in circuit.of_kind("surge-tank")
        if isinstance(item.part.spec, parts.SurgeTankSpec)
    ]
    known_volumes = [volume for volume in volumes if volume is not None]
    return sum(known_volumes) if len(known_volumes) == len(volumes) else None
