"""Rows of operating points, solved on a plan in one batch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import pi

import numpy as np
import numpy.typing as npt

from rules.facts.case import Gap
from rules.facts.flow import practice
from rules.facts.flow.demand import APPLICATION, Need
from rules.facts.flow.pieces import MANIFOLD
from rules.facts.flow.plumbing import INJECTOR_BORE_MM, Plan, Regulator, opening_id
from rules.facts.flow.points import State, flow_lph, pump_share
from rules.hydraulics import (
    BackPressureRegulator,
    Cause,
    Network,
    Points,
    Pump,
    ReducingRegulator,
    Solution,
    solve,
)

FloatArray = npt.NDArray[np.float64]

ALL_PARTS = "*"
"""In place of a ref: every passive part at once."""


@dataclass(frozen=True)
class Row:
    """One thing to solve: an operating point, with what is changed for the sake of a question.

    Attributes:
        state: the operating point.
        flow_lph: what the injectors would pass with the rail at its target.
        perfect: ref of a part without any loss, `ALL_PARTS`, or `None`.
        pump_scale: share of a pump's speed that its control leaves it.
    """

    state: State
    flow_lph: float
    perfect: str | None = None
    pump_scale: float = 1.0


@dataclass(frozen=True)
class Targets:
    """What the rail is meant to hold.

    Attributes:
        base_kpa: above the reference.
        follows: whether the reference is the manifold.
    """

    base_kpa: float
    follows: bool

    def rail_kpa(self, state: State) -> float:
        """Rail pressure wanted at an operating point, gauge."""
        return self.base_kpa + (state.manifold_kpa if self.follows else 0.0)

    def difference_kpa(self, state: State) -> float:
        """Pressure across the injectors with the rail at its target."""
        return self.rail_kpa(state) - state.manifold_kpa

    @property
    def tolerance_kpa(self) -> float:
        """By how much the rail may miss its target."""
        return practice.RAIL_TOLERANCE * self.base_kpa


class Bench:
    """Solves rows of one plan."""

    def __init__(self, plan: Plan, need: Need, targets: Targets) -> None:
        self.plan = plan
        self.targets = targets
        self._need = need
        self._fluid: dict[float, tuple[float, float]] = {}
        self._scalable = frozenset(
            link.id
            for link in plan.network.links
            if not isinstance(link, Pump | BackPressureRegulator)
        )

    def flow_of(self, state: State) -> float:
        """Fuel wanted at an operating point [L/h]."""
        return flow_lph(state, self._need)

    def fluid(self, temperature_c: float) -> tuple[float, float]:
        """Density [kg/m3] and dynamic viscosity [mPa s].

        Raises:
            OutsideDataError: temperature outside the data.
        """
        found = self._fluid.get(temperature_c)
        if found is None:
            blend = self._need.blend
            found = (
                blend.density_kg_m3(temperature_c),
                blend.dynamic_viscosity_mpas(temperature_c),
            )
            self._fluid[temperature_c] = found
        return found

    def solve(self, rows: Sequence[Row], network: Network | None = None) -> Batch:
        """Solve rows on the plan's network, or on another with the same ids."""
        used = network or self.plan.network
        fluids = np.array([self.fluid(row.state.temperature_c) for row in rows])
        density, viscosity = fluids[:, 0], fluids[:, 1]
        points = Points(
            density_kg_m3=density,
            viscosity_mpa_s=viscosity,
            fixed_pressure_kpa={MANIFOLD: [row.state.manifold_kpa for row in rows]},
            set_point_kpa=self._set_points(rows, used),
            pump_voltage_v=self._of_pumps(
                used,
                [np.nan if row.state.voltage_v is None else row.state.voltage_v for row in rows],
            ),
            pump_scale=self._pump_scales(rows, used),
            loss_scale=self._openings(rows, density) | self._perfect(rows, used),
        )
        return Batch(self, tuple(rows), solve(used, points))

    def _of_pumps(self, network: Network, values: Sequence[float]) -> Mapping[str, FloatArray]:
        array = np.array(values)
        return {link.id: array for link in network.links if isinstance(link, Pump)}

    def _pump_scales(self, rows: Sequence[Row], network: Network) -> Mapping[str, FloatArray]:
        hot = np.array([pump_share(row.state) for row in rows])
        control = np.array([row.pump_scale for row in rows])
        feeding = {piece.id for piece in self.plan.feed_pumps}
        return {
            link.id: hot * control if link.id in feeding else hot
            for link in network.links
            if isinstance(link, Pump)
        }

    def _set_points(self, rows: Sequence[Row], network: Network) -> Mapping[str, FloatArray]:
        here = {
            link.id
            for link in network.links
            if isinstance(link, ReducingRegulator | BackPressureRegulator)
        }
        return {
            regulator.piece.id: np.array([set_point_kpa(regulator, row.state) for row in rows])
            for regulator in self.plan.regulators
            if regulator.piece.id in here
        }

    def _openings(self, rows: Sequence[Row], density: FloatArray) -> dict[str, FloatArray]:
        """Openings that pass the wanted flow at the wanted pressure, seat by seat."""
        area_m2 = pi / 4.0 * (INJECTOR_BORE_MM / 1000.0) ** 2
        flow = np.array([row.flow_lph for row in rows])
        difference = np.array([self.targets.difference_kpa(row.state) for row in rows])
        velocity = flow / 3.6e6 / area_m2
        whole = 2000.0 * difference / (density * velocity**2)
        return {opening_id(seat): whole / share**2 for seat, share in self.plan.seats}

    def _perfect(self, rows: Sequence[Row], network: Network) -> dict[str, FloatArray]:
        asked = {row.perfect for row in rows} - {None}
        if not asked:
            return {}
        scales: dict[str, FloatArray] = {}
        for name, piece in self.plan.pieces.items():
            if name not in self._scalable or name not in network.link_index:
                continue
            perfect = [row.perfect in (piece.item.ref, ALL_PARTS) for row in rows]
            if any(perfect):
                scales[name] = np.where(perfect, 0.0, 1.0)
        return scales


def set_point_kpa(regulator: Regulator, state: State) -> float:
    """What a regulator holds at an operating point, gauge."""
    follows = regulator.follows is not False
    return regulator.set_kpa + (state.manifold_kpa if follows else 0.0)


@dataclass(frozen=True, eq=False)
class Batch:
    """Solved rows."""

    bench: Bench
    rows: tuple[Row, ...]
    solution: Solution

    def rail_kpa(self) -> FloatArray:
        """Lowest pressure at any seat, for each row; NaN where there is no solution."""
        nodes = self.solution.network.node_index
        places = [nodes[seat.node] for seat, _ in self.bench.plan.seats]
        lowest: FloatArray = self.solution.pressures_kpa[:, places].min(axis=1)
        return lowest

    def highest_rail_kpa(self) -> FloatArray:
        """Highest pressure at any seat, for each row."""
        nodes = self.solution.network.node_index
        places = [nodes[seat.node] for seat, _ in self.bench.plan.seats]
        highest: FloatArray = self.solution.pressures_kpa[:, places].max(axis=1)
        return highest

    def burnt_lph(self) -> FloatArray:
        """What the injectors pass, for each row."""
        links = self.solution.network.link_index
        places = [links[opening_id(seat)] for seat, _ in self.bench.plan.seats]
        whole: FloatArray = self.solution.flows_lph[:, places].sum(axis=1)
        return whole

    def flow_lph(self, link: str) -> FloatArray:
        """Flow through a link, for each row."""
        return self.solution.flow_lph(link)

    def pressure_kpa(self, node: str) -> FloatArray:
        """Pressure at a node, for each row; a tank is at that of the air."""
        return self.solution.pressure_kpa(node)

    def drop_of(self, ref: str, row: int) -> float:
        """What a part costs on its way with the flow, all lines it is in [kPa]."""
        drops = [
            float(self.solution.drop_kpa(piece.id)[row])
            for piece in self.bench.plan.pieces_of(ref)
            if piece.what not in ("pump", "spill", "built-in-spill")
        ]
        return sum(drops)

    def why_not(self, row: int) -> tuple[str, Gap | None]:
        """Why a row has no solution, as a sentence and as what is not recorded."""
        outcome = self.solution.outcome
        cause = Cause(outcome.cause[row])
        reason = self.solution.reason(row)
        if cause not in _LACKING:
            return reason, None
        link = self.solution.network.layout.links[int(outcome.element[row])].id
        piece = self.bench.plan.pieces.get(link)
        of = piece.item.ref if piece else link
        if cause == Cause.VOLTAGE_MISSING:
            return reason, Gap("supply voltage", APPLICATION)
        value = float(outcome.value[row])
        amount = value / 100.0 if cause == Cause.PRESSURE_RISE else value
        return reason, Gap(_LACKING[cause].format(amount), of)


_LACKING = {
    Cause.PRESSURE_RISE: "flow at {:.2f} bar",
    Cause.PUMP_FLOW: "pressure at {:.0f} L/h",
    Cause.FLOW: "pressure drop at {:.0f} L/h",
    Cause.VOLTAGE: "flow at {:g} V",
    Cause.VOLTAGE_MISSING: "",
}
