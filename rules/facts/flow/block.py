"""The flow as a report shows it."""

from __future__ import annotations

from collections.abc import Iterator

from rules import fuel, report
from rules.facts.flow import practice
from rules.facts.flow.demand import assumptions_of
from rules.facts.flow.figures import MATTERS, Figures
from rules.facts.flow.ledger import Shortfall
from rules.facts.flow.pieces import Piece
from rules.facts.flow.study import Injectors, Study
from rules.facttypes import significant
from rules.fuel import Assumption
from rules.report import Figure

_IN_DETAIL = ("full-load", "idle", "named")
"""Operating points that are shown part by part and joint by joint."""

_REMARKS = (
    fuel.DEAD_TIME_REMARK,
    "The flow is steady and level: pulsation, heights and slosh are left out, strainers are clean.",
    "The voltage is that at the pump: what wires and relays lose comes off it.",
)


def flow_block(study: Study) -> report.Flow | None:
    """The report's part on flow; `None` where the request names no power, or too little is known
    to say even what the engine burns."""
    if not study.asked or study.need is None:
        return None
    need = study.need
    worst = Figures(study.worst, study.worst_injectors) if study.worst else None
    best = Figures(study.best, study.best_injectors) if study.best and not study.certain else None
    return report.Flow(
        demand=report.FlowDemand(
            mass=_figure(need.demand.mass_flow_kg_s, "kg/s"),
            volume=_figure(need.demand.volume_flow_lph, "L/h"),
            crank_power=_figure(need.demand.crank_power_kw, "kW"),
        ),
        points=tuple(_points(study, worst)) if worst else (),
        supports_power=_maybe(worst.power_kw if worst else None, "kW"),
        supports_power_at_best=_maybe(best.power_kw if best else None, "kW"),
        limited_by=_limited_by(study, worst) if worst else (),
        injectors=_injectors(study, study.worst_injectors),
        pump_heat=_pump_heat(worst) if worst else None,
        uncertain=tuple(_uncertain(shortfall) for shortfall in study.shortfalls),
        assumptions=tuple(_assumptions(study)),
        remarks=_REMARKS,
    )


def _figure(value: float, unit: str) -> Figure:
    return Figure(value=significant(value), unit=unit)


_NO_FLOW_LPH = 1e-3
"""Less than this is what the solver leaves where nothing flows."""


def _flow(lph: float) -> Figure:
    return _figure(0.0 if abs(lph) < _NO_FLOW_LPH else lph, "L/h")


def _bar(kpa: float) -> Figure:
    """Pressures to a millibar: drops are small beside what they are taken from."""
    return Figure(value=round(kpa / 100.0, 3) + 0.0, unit="bar")


def _maybe(value: float | None, unit: str) -> Figure | None:
    return None if value is None else _figure(value, unit)


def _maybe_flow(lph: float | None) -> Figure | None:
    return None if lph is None else _flow(lph)


def _maybe_bar(kpa: float | None) -> Figure | None:
    return None if kpa is None else _bar(kpa)


# Operating points -------------------------------------------------------------------------------


def _points(study: Study, figures: Figures) -> Iterator[report.FlowPoint]:
    assert study.targets is not None
    for row, state in enumerate(figures.end.states):
        target = study.targets.rail_kpa(state)
        rail = figures.rail_kpa(row)
        tolerance = study.targets.tolerance_kpa
        told = figures.solved(row)
        shown = told and state.kind in _IN_DETAIL
        yield report.FlowPoint(
            name=state.name,
            held=None if rail is None else abs(rail - target) <= tolerance,
            rail_pressure=_maybe_bar(rail),
            target=_bar(target),
            pump_flow=_maybe_flow(figures.pump_lph(row)),
            burnt=_maybe_flow(figures.burnt_lph(row)),
            goes_back=_maybe_flow(figures.spilled_lph(row)),
            voltage=_maybe(state.voltage_v, "V"),
            fuel_temperature=_figure(state.temperature_c, "degC"),
            drops=tuple(_drops(figures, row)) if shown else (),
            joints=tuple(_joints(figures, row)) if shown else (),
            pumps=tuple(_pumps(study, figures, row)) if told else (),
            why=None if told else figures.end.batch.why_not(row)[0],
        )


def _drops(figures: Figures, row: int) -> Iterator[report.FlowDrop]:
    for passage in figures.passages:
        drop, flow = figures.drop_kpa(passage, row), figures.through_lph(passage, row)
        if drop is None or flow is None:
            continue
        share = figures.share(passage, row)
        yield report.FlowDrop(
            ref=passage.ref,
            line=passage.line,
            drop=_bar(drop),
            share=None if share is None else round(share, 3),
            flow=_flow(flow),
            bore=_maybe(figures.bore_mm(passage), "mm"),
            velocity=_maybe(figures.velocity_m_s(passage, row), "m/s"),
        )


def _joints(figures: Figures, row: int) -> Iterator[report.FlowJoint]:
    plan = figures.end.plan
    flows: dict[str, float] = {}
    for piece in plan.pieces.values():
        flow = figures.flow_lph(piece.id, row) or 0.0
        for node in (piece.start, piece.end):
            flows[node] = flows.get(node, 0.0) + abs(flow) / 2.0
    for node in sorted(flows):
        ports, pressure = plan.ports_at.get(node, ()), figures.pressure_kpa(node, row)
        if len(ports) > 1 and pressure is not None:
            yield report.FlowJoint(ports=ports, pressure=_bar(pressure), flow=_flow(flows[node]))


def _pumps(study: Study, figures: Figures, row: int) -> Iterator[report.FlowPump]:
    ambient = study.circuit.application.ambient_pressure_kpa or practice.SEA_LEVEL_KPA
    plan = figures.end.plan
    for pump in (*plan.feed_pumps, *plan.lift_pumps):
        flow, outlet = figures.flow_lph(pump.id, row), figures.pressure_kpa(pump.end, row)
        inlet = figures.pressure_kpa(pump.start, row)
        if flow is None or outlet is None or inlet is None:
            continue
        yield report.FlowPump(
            ref=pump.item.ref,
            flow=_flow(flow),
            outlet_pressure=_bar(outlet),
            inlet_pressure=_bar(inlet + ambient),
            current=_maybe(figures.current_a(pump, row), "A"),
        )


# Limits -----------------------------------------------------------------------------------------


def _limited_by(study: Study, figures: Figures) -> tuple[report.FlowLimit, ...]:
    """Every part whose limit matters, the injectors among them."""
    now = figures.power_kw
    injectors = [item.ref for item in study.circuit.of_kind("injector")]
    found: list[tuple[str, float | None, str | None]] = []
    if figures.injectors_limit:
        alone, behind = figures.without_injectors, figures.first_of_the_lines
        found += [(ref, alone, behind) for ref in injectors]
    for ref, power in figures.without:
        if now is not None and (power is None or power > now * MATTERS):
            taken_over = figures.injectors_limit_without(ref) and injectors
            found.append((ref, power, injectors[0] if taken_over else None))
    return tuple(
        report.FlowLimit(ref=ref, supports_power_without_it=_maybe(power, "kW"), limits_next=then)
        for ref, power, then in found
    )


def _injectors(study: Study, found: Injectors | None) -> report.FlowInjectors | None:
    if found is None or study.need is None:
        return None
    return report.FlowInjectors(
        refs=tuple(item.ref for item in study.circuit.of_kind("injector")),
        pieces=found.pieces,
        pressure_across=_bar(found.difference_kpa),
        static_flow=_figure(found.static_lph / found.pieces / 0.06, "cc/min"),
        duty=round(found.duty, 3),
        duty_limit=round(found.limit, 3),
        supports_power=_figure(study.need.power_of(found.flow_limit_lph), "kW"),
    )


def _pump_heat(figures: Figures) -> Figure | None:
    idle = figures.end.row("idle")
    if idle is None:
        return None
    pumps: tuple[Piece, ...] = (*figures.end.plan.feed_pumps, *figures.end.plan.lift_pumps)
    heats = [figures.heat_w(pump, idle) for pump in pumps]
    found = [heat for heat in heats if heat is not None]
    return _figure(sum(found), "W") if len(found) == len(heats) else None


# What it rests on -------------------------------------------------------------------------------


def _uncertain(shortfall: Shortfall) -> report.FlowUncertainty:
    return report.FlowUncertainty(
        what=shortfall.gap.what,
        of=shortfall.gap.of,
        least=_maybe(shortfall.low, shortfall.unit),
        most=_maybe(shortfall.high, shortfall.unit),
    )


def _assumptions(study: Study) -> Iterator[report.FlowAssumption]:
    app = study.circuit.application
    assert study.need is not None
    for each in assumptions_of(app, study.need):
        yield _assumption(each)
    if study.worst is None:
        return
    usual = practice.PRACTICE
    yield from (
        _assumption(Assumption(name, value, unit, usual, value, value))
        for name, value, unit in (
            ("fuel at idle, of full load", practice.IDLE_SHARE, "fraction"),
            ("fuel at the torque peak, of full load", practice.PEAK_TORQUE_SHARE, "fraction"),
            ("fuel at part load, of full load", practice.PART_LOAD_SHARE, "fraction"),
            ("rail counts as held within, of base pressure", practice.RAIL_TOLERANCE, "fraction"),
            ("pump flow lost in hot fuel, for each kelvin", practice.HOT_LOSS_PER_K, "1/K"),
            ("roughness of hoses and tubes", practice.SMOOTH_MM, "mm"),
            ("discharge coefficient of a regulator's seat", practice.SEAT_DISCHARGE, "-"),
            ("discharge coefficient of a tank lid's tubes", practice.DRILLED_DISCHARGE, "-"),
            ("loss coefficient of a short straight fitting", practice.FITTING_K, "-"),
        )
    )
    if app.idle_vacuum_kpa is None:
        vacuum = practice.IDLE_VACUUM_KPA
        yield _assumption(Assumption("vacuum at idle", vacuum, "kPa", usual, vacuum, vacuum))
    if app.duty_limit_percent is None:
        limit = fuel.DEFAULT_DUTY_LIMIT
        yield _assumption(Assumption("duty limit", limit, "fraction", usual, limit, limit))


def _assumption(each: Assumption) -> report.FlowAssumption:
    ranged = each.low < each.high
    return report.FlowAssumption.model_validate(
        {
            "name": each.name,
            "value": _figure(each.value, each.unit),
            "least": _figure(each.low, each.unit) if ranged else None,
            "most": _figure(each.high, each.unit) if ranged else None,
            "from": each.origin,
        }
    )
