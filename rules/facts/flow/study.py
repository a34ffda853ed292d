"""The flow of an assembly: its operating points, its limits, and what each part costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import log
from typing import Any

import numpy as np

from rules import fuel, parts
from rules.assembly import Application
from rules.circuit import Circuit, PlacedItem
from rules.facts.application import AppFacts
from rules.facts.case import Gap
from rules.facts.flow.demand import APPLICATION, Need, needs_of
from rules.facts.flow.ledger import Shortfall
from rules.facts.flow.limits import Limit, Limits
from rules.facts.flow.pieces import Piece
from rules.facts.flow.plumbing import CannotLayOut, Plan, follows_manifold, lay_out
from rules.facts.flow.points import State, states_of
from rules.facts.flow.solving import ALL_PARTS, Batch, Bench, FloatArray, Row, Targets
from rules.fuel import OutsideDataError
from rules.schema import Unknown

_LEAST_DIFFERENCE_KPA = 1.0
_OPENING_STEPS = 12
_OPENING_POWER = 1.5
_WIDEST = 3.0
_SAGS = 3e-3
_FED = 1e-5
_CONTROL_STEPS = 12
_CONTROL_POWER = 0.8
_CONTROLLED = 1e-4


@dataclass(frozen=True)
class Injectors:
    """What the injectors pass, at one end of what is known.

    Attributes:
        pieces: how many there are.
        static_lph: what all of them pass held open, on this fuel and at the pressure across them.
        difference_kpa: that pressure, at full load with the rail at its target.
        duty: share of the cycle they stay open for the power asked for.
        limit: the highest share that counts as right.
    """

    pieces: int
    static_lph: float
    difference_kpa: float
    duty: float
    limit: float

    @property
    def flow_limit_lph(self) -> float:
        """What they pass at the highest right duty."""
        return self.static_lph * self.limit


@dataclass(frozen=True, eq=False)
class End:
    """All answers at one end of what is known.

    Attributes:
        need: what the engine asks for.
        plan, bench: the network, and what solves it.
        states: the operating points, one for each row of `batch`.
        batch: their solutions.
        limit, pump_limit: the most fuel with the rail held: as it is, and with every line perfect.
        perfect: the same with each one part perfect; pumps under their own refs.
    """

    need: Need
    plan: Plan
    bench: Bench
    states: tuple[State, ...]
    batch: Batch
    limit: Limit
    pump_limit: Limit
    perfect: Mapping[str, Limit]

    def row(self, kind: str) -> int | None:
        """The row of the first operating point of a kind."""
        return next((at for at, state in enumerate(self.states) if state.kind == kind), None)

    @cached_property
    def full_load(self) -> int:
        """The row of full load."""
        found = self.row("full-load")
        assert found is not None
        return found

    def solved(self, row: int) -> bool:
        """Whether an operating point has a solution."""
        return bool(self.batch.solution.solved[row])


@dataclass(frozen=True, eq=False)
class Study:
    """What is known of an assembly's flow.

    Attributes:
        asked: whether the request names a power.
        why_not: why there are no answers about the network; empty where there are some.
        gaps: what is not recorded and keeps the answers from being told, or lies between `best`
            and `worst`.
        shortfalls: the same with what stands for them.
        best, worst: the answers at both ends; one and the same where everything is recorded.
        best_injectors, worst_injectors: the injectors alone, which need no network.
        targets: what the rail is meant to hold.
        difference_kpa: pressure across the injectors at full load with the rail at its target.
        left_out: usual operating points that the data don't reach, with why.
        regulated: whether anything lets the pump's surplus go; `None` where that can't be told.
        refused: whether something in the list is wrong, so that there is nothing to ask of the
            network before it is put right.
    """

    circuit: Circuit
    asked: bool
    why_not: str
    gaps: tuple[Gap, ...] = ()
    shortfalls: tuple[Shortfall, ...] = ()
    need: Need | None = None
    best: End | None = None
    worst: End | None = None
    best_injectors: Injectors | None = None
    worst_injectors: Injectors | None = None
    injector_gaps: tuple[Gap, ...] = ()
    targets: Targets | None = None
    difference_kpa: float | None = None
    left_out: tuple[tuple[str, str], ...] = ()
    regulated: bool | None = None
    refused: bool = False

    @property
    def certain(self) -> bool:
        """Whether nothing lies between the best and the worst."""
        return self.best is self.worst


def study(circuit: Circuit, app: AppFacts) -> Study:
    """Work out the flow of a circuit whose application names a power.

    Raises:
        AssemblyFaults: a measured consumption below what the heat of the fuel allows.
    """
    if circuit.application.power_kw is None:
        return Study(circuit, False, "the request names no power")
    if not _has_a_circuit(circuit):
        why = "the list holds no fuel system: it takes a rail or injectors, and a pump"
        return Study(circuit, False, why)
    return _Studying(circuit, app).study()


def _has_a_circuit(circuit: Circuit) -> bool:
    """Whether the list is about a fuel system: fuel is used there, and pumped or regulated."""
    used = circuit.of_kind("rail", "injector")
    return bool(used and circuit.of_kind("pump", "regulator"))


class _Studying:
    def __init__(self, circuit: Circuit, app: AppFacts) -> None:
        self._circuit = circuit
        self._app = circuit.application
        self._needs = needs_of(circuit)
        self._base_kpa = _base_pressure(circuit, app)
        self._boost_kpa = None if isinstance(app.boost_kpa, Unknown) else app.boost_kpa

    def study(self) -> Study:
        needs, base, boost = self._needs, self._base_kpa, self._boost_kpa
        gaps = list(needs.gaps)
        if base is None:
            gaps.append(Gap("base pressure", APPLICATION))
        if boost is None:
            gaps.append(Gap("boost", APPLICATION))
        if needs.least is None or needs.most is None or base is None or boost is None:
            why = "; ".join(f"{gap.what} of {gap.of} is not recorded" for gap in gaps)
            return Study(self._circuit, True, why, tuple(gaps), need=needs.least)
        targets = Targets(base, _rail_follows(self._circuit))
        states = states_of(self._app, boost)
        told = self._injectors(states[0], targets)
        if targets.difference_kpa(states[0]) < _LEAST_DIFFERENCE_KPA:
            gap = Gap("regulator that follows boost", "the list")
            why = "boost is as high as the pressure of the rail: nothing would be injected"
            return replace(told, why_not=why, gaps=(gap,))
        if not self._circuit.of_kind("pump"):
            gap = Gap("pump and its curve", "the car")
            return replace(told, why_not="the list holds no pump", gaps=(gap,))
        try:
            return self._solved(told, states, targets)
        except CannotLayOut as fault:
            lacking = () if fault.gap is None else (fault.gap,)
            return replace(told, why_not=str(fault), gaps=lacking, refused=fault.gap is None)

    def _injectors(self, state: State, targets: Targets) -> Study:
        """The answers that need no network."""
        least, most = self._needs.least, self._needs.most
        assert least is not None
        assert most is not None
        best, gaps = injectors_of(self._circuit, least, state, targets, worst=False)
        worst, _ = injectors_of(self._circuit, most, state, targets, worst=True)
        return Study(
            self._circuit,
            True,
            "",
            need=most,
            best_injectors=best,
            worst_injectors=worst,
            injector_gaps=(*gaps, *self._needs.gaps),
            targets=targets,
            difference_kpa=targets.difference_kpa(state),
        )

    def _solved(self, told: Study, states: Sequence[State], targets: Targets) -> Study:
        least, most = self._needs.least, self._needs.most
        assert least is not None
        assert most is not None
        plan = lay_out(self._circuit, targets.base_kpa, worst=False)
        told = replace(told, regulated=bool(plan.regulators), shortfalls=plan.shortfalls)
        hindering = [
            s for s in plan.shortfalls if not s.bounded and s.line not in ("return", "suction")
        ]
        if hindering:
            why = "; ".join(f"{s.gap.what} of {s.gap.of} is not recorded" for s in hindering)
            gaps = tuple(s.gap for s in hindering)
            return replace(told, why_not=why, gaps=gaps)
        if self._app.supply_voltage_v is None:
            gap = Gap("supply voltage", APPLICATION)
            why = "the request states no supply voltage, which decides what a pump delivers"
            return replace(told, why_not=why, gaps=(gap,))
        states, left_out = self._within_data(states, targets)
        best = _answers(plan, least, states, targets, told.best_injectors, self._app)
        worst = best
        if most is not least or any(s.bounded for s in plan.shortfalls):
            worst_plan = lay_out(self._circuit, targets.base_kpa, worst=True)
            worst = _answers(worst_plan, most, states, targets, told.worst_injectors, self._app)
        gaps = (*self._needs.gaps, *(s.gap for s in plan.shortfalls if s.bounded))
        return replace(
            told,
            gaps=gaps,
            best=best,
            worst=worst,
            left_out=tuple(left_out),
        )

    def _within_data(
        self, states: Sequence[State], targets: Targets
    ) -> tuple[Sequence[State], list[tuple[str, str]]]:
        """States that the pumps and the fuel are known for; those asked for stay in any case."""
        kept, left_out = [], []
        for state in states:
            why = self._beyond_pumps(state) if not state.asked else None
            if not _fuel_is_known(self._needs.most, state.temperature_c):
                why = f"the fuel is not known at {state.temperature_c:g} degC"
            elif targets.difference_kpa(state) < _LEAST_DIFFERENCE_KPA:
                why = "boost is as high as the pressure of the rail: nothing would be injected"
            if why is None:
                kept.append(state)
            else:
                left_out.append((state.name, why))
        return kept, left_out

    def _beyond_pumps(self, state: State) -> str | None:
        for item in self._circuit.of_kind("pump"):
            spec = item.part.spec
            assert isinstance(spec, parts.PumpSpec)
            volts = [c.voltage_v for c in spec.curves or () if c.voltage_v is not None]
            if state.voltage_v is None or not volts:
                continue
            if not min(volts) <= state.voltage_v <= max(volts):
                measured = " and ".join(f"{v:g}" for v in sorted(volts))
                return f"`{item.ref}` was measured at {measured} V, not at {state.voltage_v:g} V"
        return None


def _fuel_is_known(need: Need | None, temperature_c: float) -> bool:
    assert need is not None
    try:
        need.blend.density_kg_m3(temperature_c)
        need.blend.dynamic_viscosity_mpas(temperature_c)
    except OutsideDataError:
        return False
    return True


def _base_pressure(circuit: Circuit, app: AppFacts) -> float | None:
    if not isinstance(app.base_pressure_kpa, Unknown):
        return app.base_pressure_kpa or None
    set_to = {
        item.part.spec.built_in_set_pressure_kpa
        for item in circuit.of_kind("tank-module")
        if isinstance(item.part.spec, parts.TankModuleSpec) and item.part.spec.built_in_regulator
    }
    return set_to.pop() if len(set_to) == 1 else None


def _rail_follows(circuit: Circuit) -> bool:
    """Whether the rail's pressure rises with the manifold's.

    Where nobody recorded the reference it is taken to: the harder case for the pump. A pump whose
    speed the engine controls holds what the engine asks for.
    """
    regulators = circuit.of_kind("regulator")
    if regulators:
        return all(follows_manifold(item, circuit) is not False for item in regulators)
    return not _built_in(circuit) and circuit.application.pump_control == "speed-controlled"


def _built_in(circuit: Circuit) -> bool:
    return any(
        isinstance(item.part.spec, parts.TankModuleSpec) and item.part.spec.built_in_regulator
        for item in circuit.of_kind("tank-module")
    )


# The network ------------------------------------------------------------------------------------


def _answers(
    plan: Plan,
    need: Need,
    states: Sequence[State],
    targets: Targets,
    injectors: Injectors | None,
    app: Application,
) -> End:
    bench = Bench(plan, need, targets)
    controlled = _is_controlled(plan, app)
    batch = _solved_states(bench, states, injectors, controlled=controlled)
    pumps = {piece.item.ref for piece in (*plan.feed_pumps, *plan.lift_pumps)}
    regulating = {r.piece.item.ref for r in plan.regulators if r.piece.what != "reduce"}
    passive = [ref for ref in plan.refs if ref not in pumps and ref not in regulating]
    search = Limits(bench, batch, 0, targets.tolerance_kpa)
    found = search.of([None, ALL_PARTS, *passive])
    if found[None].flow_lph is None:
        # The data may begin at the target: then the rail is held where it is met.
        search = Limits(bench, batch, 0, 0.0)
        at_target = search.of([None, ALL_PARTS, *passive])
        found = at_target if at_target[None].flow_lph is not None else found
    perfect = {ref: found[ref] for ref in passive}
    feeding = {piece.item.ref for piece in plan.feed_pumps}
    if len(feeding) == 1:
        perfect |= dict.fromkeys(feeding, search.with_perfect_pumps())
    return End(
        need=need,
        plan=plan,
        bench=bench,
        states=tuple(states),
        batch=batch,
        limit=found[None],
        pump_limit=found[ALL_PARTS],
        perfect=perfect,
    )


def _is_controlled(plan: Plan, app: Application) -> bool:
    return app.pump_control == "speed-controlled" and not plan.regulators


def _solved_states(
    bench: Bench, states: Sequence[State], injectors: Injectors | None, *, controlled: bool
) -> Batch:
    rows = [Row(state, bench.flow_of(state)) for state in states]
    if controlled:
        return _at_controlled_speed(bench, rows)
    return _fed(bench, rows, None if injectors is None else injectors.static_lph)


def _fed(bench: Bench, rows: Sequence[Row], static_lph: float | None) -> Batch:
    """Open the injectors further where the rail sags, as the engine's control does.

    As far as they go, that is: until they stay open, or, where their flow is not recorded, as far
    as the usual limit of their duty leaves them.
    """
    wanted = np.array([row.flow_lph for row in rows])
    widest = wanted / fuel.DEFAULT_DUTY_LIMIT if static_lph is None else static_lph
    widest = np.maximum(wanted, np.minimum(widest, _WIDEST * wanted))
    nominal = batch = bench.solve(rows)
    fed = batch.burnt_lph() >= wanted * (1.0 - _SAGS)
    if (fed | ~batch.solution.solved).all():
        return batch
    opened, power = wanted.copy(), np.full(len(rows), _OPENING_POWER)
    too_little, enough = wanted.copy(), widest.copy()
    solved_with = wanted.copy()
    before = np.full((2, len(rows)), np.nan)
    for _ in range(_OPENING_STEPS):
        # Where the rail is below the manifold the openings pass nothing that could be burnt.
        burnt = np.maximum(batch.burnt_lph(), 1e-3 * wanted)
        short, over = burnt < wanted * (1.0 - _FED), burnt > wanted * (1.0 + _FED)
        unsettled = (short & (opened < widest)) | (over & (opened > wanted))
        if not unsettled.any():
            break
        too_little = np.where(short, opened, too_little)
        enough = np.where(over, opened, enough)
        with np.errstate(invalid="ignore", divide="ignore"):
            secant = np.log(opened / before[0]) / np.log(burnt / before[1])
        power = np.where(np.isfinite(secant), np.clip(secant, 1.0, 20.0), power)
        before = np.stack((opened, burnt))
        further = opened * (wanted / np.where(unsettled, burnt, wanted)) ** power
        # A step beyond what is known to be too much goes to the middle instead.
        outside = (further <= too_little) | ((further >= enough) & (enough < widest))
        further = np.where(outside, np.sqrt(too_little * enough), np.minimum(further, widest))
        opened = np.where(unsettled, further, opened)
        batch = bench.solve(_opened(rows, opened))
        solved_with = np.where(batch.solution.solved, opened, solved_with)
    lost = ~batch.solution.solved & nominal.solution.solved
    return bench.solve(_opened(rows, np.where(lost, solved_with, opened))) if lost.any() else batch


def _opened(rows: Sequence[Row], flows_lph: FloatArray) -> list[Row]:
    return [replace(row, flow_lph=float(f)) for row, f in zip(rows, flows_lph, strict=True)]


def _at_controlled_speed(bench: Bench, rows: Sequence[Row]) -> Batch:
    """Slow the pumps until the rail is at its target, or leave them at full speed below it.

    Secant steps in the logarithms of speed and of the pressure across the injectors, which what
    they draw follows with a power between the half and the whole.
    """
    wanted = np.log([bench.targets.difference_kpa(row.state) for row in rows])
    manifold = np.array([row.state.manifold_kpa for row in rows])
    power = np.full(len(rows), _CONTROL_POWER)
    speed, before = np.full(len(rows), log(0.5)), np.full((2, len(rows)), np.nan)
    for _ in range(_CONTROL_STEPS):
        scales = np.exp(speed)
        batch = bench.solve(
            [replace(r, pump_scale=float(s)) for r, s in zip(rows, scales, strict=True)]
        )
        there = np.log(np.maximum(batch.rail_kpa() - manifold, _LEAST_DIFFERENCE_KPA))
        slow_enough = (speed >= 0.0) & (there <= wanted)
        if (slow_enough | (np.abs(there - wanted) < _CONTROLLED)).all():
            break
        with np.errstate(invalid="ignore", divide="ignore"):
            secant = (speed - before[0]) / (there - before[1])
        power = np.where(np.isfinite(secant), np.clip(secant, 0.2, 2.0), power)
        before = np.stack((speed, there))
        # A pump that its own speed shuts in has no solution: it must run far slower.
        step = np.where(np.isfinite(there), power * (wanted - there), -1.2)
        speed = np.clip(speed + step, log(1e-5), 0.0)
    return batch


# The injectors ----------------------------------------------------------------------------------


def injectors_of(
    circuit: Circuit, need: Need, state: State, targets: Targets, *, worst: bool
) -> tuple[Injectors | None, tuple[Gap, ...]]:
    """What the injectors of a circuit pass, and what is not recorded of them.

    A test fluid that nobody recorded lies between the fuel itself and the usual n-heptane.
    """
    items = circuit.of_kind("injector")
    gaps = [gap for item in items for gap in _lacking(item)]
    difference = targets.difference_kpa(state)
    if not items or gaps or difference <= 0.0:
        return None, tuple(gaps)
    between = [
        Gap("test fluid density", item.ref)
        for item in items
        if _spec(item).test_fluid_density_kg_m3 is None
    ]
    static = sum(
        item.item.quantity * _static_cc_min(item, need, difference, worst=worst) for item in items
    )
    pieces = sum(item.item.quantity for item in items)
    stated = circuit.application.duty_limit_percent
    limit = fuel.DEFAULT_DUTY_LIMIT if stated is None else stated / 100.0
    wanted = need.demand.volume_flow_lph
    duty = fuel.injector_duty(wanted, pieces, static / pieces)
    return Injectors(pieces, static * 0.06, difference, duty, limit), tuple(between)


def _spec(item: PlacedItem) -> parts.InjectorSpec:
    assert isinstance(item.part, parts.InjectorPart)
    return item.part.spec


def _lacking(item: PlacedItem) -> list[Gap]:
    spec = _spec(item)
    gaps = []
    if spec.flow_cc_min is None:
        gaps.append(Gap("flow", item.ref))
    if spec.flow_pressure_kpa is None or spec.flow_pressure_kpa <= 0.0:
        gaps.append(Gap("pressure the flow was measured at", item.ref))
    return gaps


def _static_cc_min(item: PlacedItem, need: Need, difference_kpa: float, *, worst: bool) -> float:
    spec = _spec(item)
    assert spec.flow_cc_min is not None
    assert spec.flow_pressure_kpa is not None
    flow = fuel.static_flow_at_pressure_cc_min(
        spec.flow_cc_min, spec.flow_pressure_kpa, difference_kpa
    )
    usual = fuel.N_HEPTANE_DENSITY_KG_M3 if worst else need.density_kg_m3
    tested = spec.test_fluid_density_kg_m3 or usual
    return fuel.static_flow_on_fluid_cc_min(flow, tested, need.density_kg_m3)


# Pumps ------------------------------------------------------------------------------------------


def pump_current_a(piece: Piece, rise_kpa: float, voltage_v: float | None) -> float | None:
    """Current of a pump at a pressure rise and a voltage; `None` outside its data [A]."""
    spec: Any = piece.item.part.spec
    curves = [c for c in spec.curves or () if c.voltage_v is not None]
    if voltage_v is None or not curves:
        return None
    known = sorted((c.voltage_v, _current_at(c, rise_kpa)) for c in curves)
    volts = [v for v, _ in known]
    if not volts[0] <= voltage_v <= volts[-1]:
        return None
    above = next(at for at, v in enumerate(volts) if v >= voltage_v)
    one, other = known[max(above - 1, 0)], known[above]
    if volts[above] == voltage_v:
        one = other
    if one[1] is None or other[1] is None:
        return None
    share = 0.0 if one[0] == other[0] else (voltage_v - one[0]) / (other[0] - one[0])
    return float(one[1] + share * (other[1] - one[1])) * piece.item.item.quantity


def _current_at(curve: parts.PumpCurve, rise_kpa: float) -> float | None:
    points = [(p.pressure_kpa, p.current_a) for p in curve.points if p.current_a is not None]
    if not points or not points[0][0] <= rise_kpa <= points[-1][0]:
        return None
    return float(np.interp(rise_kpa, [p for p, _ in points], [c for _, c in points]))
