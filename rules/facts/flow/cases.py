"""The cases of flow that the rule book judges."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import isfinite
from typing import Any

from rules import parts
from rules.circuit import Circuit, PlacedItem
from rules.facts.application import AppFacts
from rules.facts.case import Case, Gap, recorded
from rules.facts.flow.figures import Figures, Passage, surge_returns, surge_volume_l
from rules.facts.flow.pieces import Piece
from rules.facts.flow.practice import SEA_LEVEL_KPA
from rules.facts.flow.records import FlowFacts, FlowPartFacts, FlowPointFacts
from rules.facts.flow.study import Injectors, Study
from rules.fuel import Blend, OutsideDataError
from rules.schema import UNKNOWN, Maybe, Record, Unknown

_WORST_BLENDS = (5.0, 10.0, 20.0)
"""Ethanol contents around which petrol boils most easily, in percent."""

_HOSES = ("hose-assembly", "bulk-hose", "hard-line")

Missing = Mapping[str, tuple[Gap, ...]]


def flow_cases(study: Study, app: AppFacts) -> Iterator[Case]:
    """Every case of a study: the system, its operating points, the parts in the flow."""
    if not study.asked:
        return
    ends = _Ends(study, app)
    if not study.refused:
        yield ends.system()
        yield from ends.points()
        yield from ends.parts()
    yield from ends.injectors()


class _Ends:
    """Makes each case from both ends of a study."""

    def __init__(self, study: Study, app: AppFacts) -> None:
        self._study = study
        self._app = app
        self._circuit = study.circuit
        self._sides: list[_Side] = []
        if study.best is not None and study.worst is not None:
            best = Figures(study.best, study.best_injectors)
            self._sides = [_Side(study, app, best, study.best_injectors)]
            if not study.certain or study.best_injectors != study.worst_injectors:
                worst = Figures(study.worst, study.worst_injectors)
                self._sides.append(_Side(study, app, worst, study.worst_injectors))
        else:
            self._sides = [_Side(study, app, None, study.best_injectors)]
            if study.best_injectors != study.worst_injectors:
                self._sides.append(_Side(study, app, None, study.worst_injectors))

    def _case(
        self,
        about: str,
        kind: str | None,
        records: list[Record],
        items: tuple[PlacedItem, ...],
        missing: Missing,
    ) -> Case:
        between = dict.fromkeys((*self._study.gaps, *self._study.injector_gaps))
        return Case(
            about=about,
            kind=kind,
            facts=records[0],
            refs=tuple(item.ref for item in items),
            ports=(),
            pointer=items[0].pointer if items else "",
            missing=lambda: missing,
            alternatives=tuple(records[1:]),
            between=tuple(between),
        )

    def system(self) -> Case:
        """The case of the whole system; it stands at its pumps."""
        pumps = self._circuit.of_kind("pump")
        records: list[Record] = [side.system() for side in self._sides]
        return self._case("flow", None, records, pumps, self._sides[0].missing_of_system())

    def points(self) -> Iterator[Case]:
        """A case for each operating point that the study looked at."""
        first = self._sides[0].figures
        if first is None:
            return
        pumps = self._circuit.of_kind("pump")
        for row, state in enumerate(first.end.states):
            records: list[Record] = [side.point(row) for side in self._sides]
            missing = self._sides[0].missing_of_point(row)
            yield self._case("flow-point", state.kind, records, pumps, missing)

    def parts(self) -> Iterator[Case]:
        """A case for each part in the flow and each line it is in.

        Where the flow can't be told: for pumps and what regulates, of which something is known
        without it.
        """
        first = self._sides[0]
        if first.figures is None:
            for item in self._circuit.of_kind("pump", "regulator", "tank-module"):
                records: list[Record] = [side.part_alone(item) for side in self._sides]
                missing = first.missing_of_part(None)
                yield self._case("flow-part", item.kind, records, (item,), missing)
        else:
            for at, passage in enumerate(first.figures.passages):
                records = [side.part(at) for side in self._sides]
                item = self._circuit.items[passage.ref]
                missing = first.missing_of_part(passage)
                yield self._case("flow-part", item.kind, records, (item,), missing)

    def injectors(self) -> Iterator[Case]:
        """A case for each item of injectors, which take no network to be judged."""
        for item in self._circuit.of_kind("injector"):
            records: list[Record] = [side.injectors_of(item) for side in self._sides]
            missing = self._sides[0].missing_of_injectors()
            yield self._case("flow-part", "injector", records, (item,), missing)


class _Side:
    """Facts at one end of what is known."""

    def __init__(
        self, study: Study, app: AppFacts, figures: Figures | None, injectors: Injectors | None
    ) -> None:
        self.figures = figures
        self._study = study
        self._app = app
        self._circuit: Circuit = study.circuit
        self._injectors = injectors
        self._controlled = self._circuit.application.pump_control == "speed-controlled"

    # The system -------------------------------------------------------------------------------

    def system(self) -> FlowFacts:
        circuit, study = self._circuit, self._study
        need = self.figures.end.need if self.figures else study.need
        pumps = circuit.of_kind("pump")
        return FlowFacts(
            name="the fuel system",
            app=self._app,
            pumps=sum(item.item.quantity for item in pumps),
            rails=len(circuit.of_kind("rail")),
            regulators=len(circuit.of_kind("regulator")),
            pump_names=", ".join(item.ref for item in pumps),
            power_kw=recorded(circuit.application.power_kw),
            demand_lph=UNKNOWN if need is None else need.demand.volume_flow_lph,
            base_kpa=UNKNOWN if study.targets is None else study.targets.base_kpa,
            relieved=recorded(study.regulated),
            speed_controlled=self._controlled,
            holds_for_restart=_holds_for_restart(circuit),
            surge_tank=bool(circuit.of_kind("surge-tank")),
            surge_lasts_s=self._surge_lasts_s(),
            **self._system_figures(),
        )

    def _system_figures(self) -> dict[str, Any]:
        figures = self.figures
        if figures is None:
            names = (
                *("limit_lph", "pump_limit_lph", "supports_kw", "lines_support_kw"),
                "costliest_supports_kw",
                *("target_kpa", "rail_kpa", "feed_drop_kpa"),
                *("lift_lph", "surge_loses_lph"),
            )
            return {**dict.fromkeys(names, UNKNOWN), "costliest": "none", "lift_pumps": 0}
        end, row = figures.end, figures.end.full_load
        assert self._study.targets is not None
        first = figures.costliest
        return {
            "limit_lph": _finite(end.limit.flow_lph),
            "pump_limit_lph": _finite(end.pump_limit.flow_lph),
            "supports_kw": recorded(figures.power_kw),
            "lines_support_kw": recorded(figures.without_injectors),
            "costliest": first[0],
            "costliest_supports_kw": recorded(first[1]),
            "target_kpa": self._study.targets.rail_kpa(end.states[row]),
            "rail_kpa": recorded(figures.rail_kpa(row)),
            "feed_drop_kpa": recorded(figures.feed_drop_kpa(row)),
            "lift_pumps": len(end.plan.lift_pumps),
            "lift_lph": recorded(figures.lift_lph(row)) if end.plan.lift_pumps else UNKNOWN,
            "surge_loses_lph": self._surge_loses_lph(row),
        }

    def _surge_lasts_s(self) -> Maybe[float]:
        volume = surge_volume_l(self._circuit)
        need = self.figures.end.need if self.figures else self._study.need
        if not volume or need is None:
            return UNKNOWN
        return volume * 3600.0 / need.demand.volume_flow_lph

    def _surge_loses_lph(self, row: int) -> Maybe[float]:
        """What the engine burns where the return fills the surge tank, else all the pump takes."""
        assert self.figures is not None
        back = surge_returns(self._circuit, self.figures.end)
        burnt, pumped = self.figures.burnt_lph(row), self.figures.pump_lph(row)
        return recorded(burnt if back else pumped)

    def missing_of_system(self) -> Missing:
        gaps = self._network_gaps(self.figures.end.full_load if self.figures else 0)
        network = (
            *("rail_kpa", "feed_drop_kpa", "lift_lph", "surge_loses_lph"),
            *("costliest_supports_kw", "target_kpa", "base_kpa", "demand_lph", "power_kw"),
        )
        limit = self._limit_gaps() or gaps
        return {
            **dict.fromkeys(network, gaps),
            **dict.fromkeys(("limit_lph", "pump_limit_lph"), limit),
            **dict.fromkeys(("supports_kw", "lines_support_kw"), limit),
            "surge_lasts_s": (Gap("volume", "the surge tank"),),
            "holds_for_restart": _check_valve_gaps(self._circuit),
        }

    def _limit_gaps(self) -> tuple[Gap, ...]:
        if self.figures is None:
            return ()
        found = (self.figures.end.limit.gap, self.figures.end.pump_limit.gap)
        return tuple(dict.fromkeys(gap for gap in found if gap is not None))

    def _network_gaps(self, row: int) -> tuple[Gap, ...]:
        """What is not recorded and keeps an operating point from being told."""
        if self.figures is None:
            return self._study.gaps or (Gap("flow", "the list"),)
        gap = self.figures.end.batch.why_not(row)[1]
        return (gap,) if gap is not None else (Gap("state of the flow", "the list"),)

    # Operating points -------------------------------------------------------------------------

    def point(self, row: int) -> FlowPointFacts:
        figures, study = self.figures, self._study
        assert figures is not None
        assert study.targets is not None
        state = figures.end.states[row]
        blind = self._return_is_unknown()
        return FlowPointFacts(
            name=state.name,
            kind=state.kind,
            app=self._app,
            base_kpa=study.targets.base_kpa,
            target_kpa=study.targets.rail_kpa(state),
            rail_kpa=self._rail_kpa(row),
            pump_lph=recorded(figures.pump_lph(row)),
            burnt_lph=recorded(figures.burnt_lph(row)),
            return_lph=recorded(figures.spilled_lph(row)),
            voltage_v=recorded(state.voltage_v),
            temperature_c=state.temperature_c,
            full_load_short_kpa=self._full_load_short_kpa(),
            idle_over_kpa=self._idle_over_kpa(),
            return_costs_kpa=UNKNOWN if blind else recorded(figures.return_drop_kpa(row)),
            speed_controlled=self._controlled,
        )

    def _rail_kpa(self, row: int) -> Maybe[float]:
        """Rail pressure; what a return of unknown resistance does to it shows at little load."""
        assert self.figures is not None
        kind = self.figures.end.states[row].kind
        if kind in ("idle", "cold-fuel") and self._return_is_unknown():
            return UNKNOWN
        return recorded(self.figures.rail_kpa(row))

    def _full_load_short_kpa(self) -> Maybe[float]:
        assert self.figures is not None
        assert self._study.targets is not None
        row = self.figures.end.full_load
        rail = self._rail_kpa(row)
        if isinstance(rail, Unknown):
            return UNKNOWN
        return self._study.targets.rail_kpa(self.figures.end.states[row]) - rail

    def _return_is_unknown(self) -> bool:
        return any(s.line == "return" and not s.bounded for s in self._study.shortfalls)

    def _idle_over_kpa(self) -> Maybe[float]:
        assert self.figures is not None
        assert self._study.targets is not None
        row = self.figures.end.row("idle")
        if row is None:
            return UNKNOWN
        rail = self._rail_kpa(row)
        if isinstance(rail, Unknown):
            return UNKNOWN
        return rail - self._study.targets.rail_kpa(self.figures.end.states[row])

    def missing_of_point(self, row: int) -> Missing:
        behind = tuple(s.gap for s in self._study.shortfalls if s.line == "return")
        gaps = self._network_gaps(row)
        assert self.figures is not None
        if self.figures.solved(row) and behind:
            gaps = behind
        names = (
            *("rail_kpa", "pump_lph", "burnt_lph", "return_lph", "idle_over_kpa"),
            "full_load_short_kpa",
        )
        return {**dict.fromkeys(names, gaps), "return_costs_kpa": behind or gaps}

    # Parts ------------------------------------------------------------------------------------

    def part(self, at: int) -> FlowPartFacts:
        figures = self.figures
        assert figures is not None
        passage = figures.passages[at]
        item = self._circuit.items[passage.ref]
        row = figures.end.full_load
        return self._facts(
            item,
            line=passage.line,
            flow_lph=recorded(figures.through_lph(passage, row)),
            drop_kpa=recorded(figures.drop_kpa(passage, row)),
            bore_mm=recorded(figures.bore_mm(passage)),
            line_bore_mm=recorded(self._line_bore_mm(passage)),
            velocity_m_s=recorded(figures.velocity_m_s(passage, row)),
            supports_kw=recorded(figures.lines_without(passage.ref)),
            **self._of_kind(item, passage),
        )

    def part_alone(self, item: PlacedItem) -> FlowPartFacts:
        """A part of a system whose flow could not be told."""
        if item.kind == "pump":
            return self._facts(item, line="feed", voltage_stated=_voltage_stated(item))
        return self._facts(
            item, line="feed", **_regulates(item, regulating=item.kind == "regulator")
        )

    def _facts(self, item: PlacedItem, **given: Any) -> FlowPartFacts:
        facts: dict[str, Any] = {
            **_NOTHING,
            "name": item.ref,
            "title": item.part.name,
            "kind": item.kind,
            "app": self._app,
            "in_tank": recorded(self._circuit.lies_in_tank[item]),
            "pieces": item.item.quantity,
            "base_kpa": UNKNOWN if self._study.targets is None else self._study.targets.base_kpa,
            "difference_kpa": recorded(self._study.difference_kpa),
            **given,
        }
        return FlowPartFacts(**facts)

    def _line_bore_mm(self, passage: Passage) -> float | None:
        """The narrowest hose or tube of the line, the part itself left out."""
        assert self.figures is not None
        bores = [
            _body_bore(other)
            for other in self.figures.passages
            if other.line == passage.line
            and other.ref != passage.ref
            and self._circuit.items[other.ref].kind in _HOSES
        ]
        found = [bore for bore in bores if bore is not None]
        return min(found, default=None)

    def _of_kind(self, item: PlacedItem, passage: Passage) -> dict[str, Any]:
        assert self.figures is not None
        piece = passage.pieces[0]
        if piece.what == "pump":
            return self._pump(item, piece)
        if item.kind in ("regulator", "tank-module"):
            return self._regulator(item, passage)
        if item.kind == "siphon-jet":
            return self._jet(item)
        if item.kind == "rail":
            return {"spread_kpa": recorded(self.figures.spread_kpa(self.figures.end.full_load))}
        return {}

    def _pump(self, item: PlacedItem, piece: Piece) -> dict[str, Any]:
        assert self.figures is not None
        spec = item.part.spec
        assert isinstance(spec, parts.PumpSpec)
        figures, row = self.figures, self.figures.end.full_load
        idle = figures.end.row("idle")
        heat = None if idle is None else figures.heat_w(piece, idle)
        current = figures.current_a(piece, row)
        most = spec.maximum_current_a
        return {
            "voltage_stated": _voltage_stated(item),
            "outlet_kpa": recorded(figures.pressure_kpa(piece.end, row)),
            "relief_kpa": recorded(spec.relief_pressure_kpa),
            "relief_stated": spec.relief_pressure_kpa is not None,
            "current_a": recorded(current),
            "current_stated": current is not None and most is not None,
            "maximum_current_a": UNKNOWN if most is None else most * item.item.quantity,
            "heat_w": recorded(heat if figures.end.plan.regulators else None),
            **self._suction(piece),
        }

    def _suction(self, pump: Piece) -> dict[str, Any]:
        """Pressure at the inlet and what it must stay above, in the hottest fuel looked at."""
        assert self.figures is not None
        states = self.figures.end.states
        row = max(range(len(states)), key=lambda at: (states[at].temperature_c, states[at].share))
        inlet = self.figures.pressure_kpa(pump.start, row)
        blind = any(s.line == "suction" and not s.bounded for s in self._study.shortfalls)
        ambient = self._circuit.application.ambient_pressure_kpa or SEA_LEVEL_KPA
        hot = states[row].temperature_c
        return {
            "suction_kpa": UNKNOWN if inlet is None or blind else inlet + ambient,
            "vapour_kpa": recorded(_vapour_kpa(self._circuit, hot)),
            "hot_fuel_c": hot,
        }

    def _regulator(self, item: PlacedItem, passage: Passage) -> dict[str, Any]:
        assert self.figures is not None
        ways = [p for p in passage.pieces if p.what in ("spill", "built-in-spill", "reduce")]
        idle = self.figures.end.row("idle")
        passes = None
        if ways and idle is not None:
            passes = self.figures.flow_lph(ways[0].id, idle)
        return {**_regulates(item, regulating=bool(ways)), "passes_lph": recorded(passes)}

    @staticmethod
    def _jet(item: PlacedItem) -> dict[str, Any]:
        spec = item.part.spec
        assert isinstance(spec, parts.SiphonJetSpec)
        return {
            "needed_lph": recorded(spec.drive_flow_lph),
            "drive_stated": spec.drive_flow_lph is not None,
        }

    def injectors_of(self, item: PlacedItem) -> FlowPartFacts:
        found = self._injectors
        need = self.figures.end.need if self.figures else self._study.need
        if found is None or need is None:
            return self._facts(item, line="feed")
        return self._facts(
            item,
            line="feed",
            flow_lph=need.demand.volume_flow_lph,
            static_cc_min=found.static_lph / found.pieces / 0.06,
            duty=found.duty,
            duty_limit=found.limit,
            duty_supports_kw=need.power_of(found.flow_limit_lph),
        )

    def missing_of_part(self, passage: Passage | None) -> Missing:
        row = self.figures.end.full_load if self.figures else 0
        gaps = self._network_gaps(row)
        computed = (
            *("flow_lph", "drop_kpa", "velocity_m_s", "outlet_kpa", "passes_lph", "base_kpa"),
            "spread_kpa",
        )
        if passage is None:
            names = (*computed, "bore_mm", "line_bore_mm", "suction_kpa", "vapour_kpa")
            return dict.fromkeys(names, gaps)
        suction = tuple(s.gap for s in self._study.shortfalls if s.line == "suction") or gaps
        return {
            **dict.fromkeys(computed, gaps),
            "bore_mm": (Gap("bore", passage.ref),),
            "line_bore_mm": (Gap("bore", "the hoses of the line"),),
            "suction_kpa": suction,
            "vapour_kpa": (Gap("vapour pressure", self._circuit.fuel.label),),
        }

    def missing_of_injectors(self) -> Missing:
        gaps = self._study.injector_gaps or self._study.gaps
        return dict.fromkeys(("duty", "duty_limit", "static_cc_min", "difference_kpa"), gaps)


_NOTHING: dict[str, Any] = {
    **dict.fromkeys(
        (
            *("flow_lph", "drop_kpa", "bore_mm", "line_bore_mm", "velocity_m_s", "supports_kw"),
            *("outlet_kpa", "relief_kpa", "current_a", "maximum_current_a", "heat_w"),
            *("suction_kpa", "vapour_kpa", "hot_fuel_c"),
            *("passes_lph", "maximum_lph", "set_least_kpa", "set_most_kpa", "needed_lph"),
            *("static_cc_min", "difference_kpa", "duty", "duty_limit", "duty_supports_kw"),
            *("follows_boost", "spread_kpa"),
        ),
        UNKNOWN,
    ),
    **dict.fromkeys(
        ("relief_stated", "current_stated", "maximum_stated", "set_stated", "drive_stated"), False
    ),
    "voltage_stated": True,
}


def _regulates(item: PlacedItem, *, regulating: bool) -> dict[str, Any]:
    """What the catalogue and the item say of a regulator's setting and flow."""
    spec: Any = item.part.spec
    least = getattr(spec, "set_pressure_least_kpa", None)
    most = getattr(spec, "set_pressure_most_kpa", None)
    if least is None or most is None:
        fixed = getattr(spec, "set_pressure_kpa", None)
        least = most = fixed or getattr(spec, "built_in_set_pressure_kpa", None)
    if item.item.set_pressure_kpa is not None:
        least = most = item.item.set_pressure_kpa
    maximum = getattr(spec, "maximum_flow_lph", None)
    return {
        "maximum_lph": recorded(maximum),
        "maximum_stated": maximum is not None,
        "set_least_kpa": recorded(least),
        "set_most_kpa": recorded(most),
        "set_stated": least is not None and regulating,
        "follows_boost": _follows_boost(item),
    }


def _follows_boost(item: PlacedItem) -> Maybe[bool]:
    """Whether a regulator is made to follow the manifold; a module without one stands in no way."""
    spec = item.part.spec
    if isinstance(spec, parts.TankModuleSpec):
        return not spec.built_in_regulator
    reference = getattr(spec, "reference", None)
    return UNKNOWN if reference is None else bool(reference == "manifold")


def _finite(flow_lph: float | None) -> Maybe[float]:
    return UNKNOWN if flow_lph is None or not isfinite(flow_lph) else flow_lph


def _holds_for_restart(circuit: Circuit) -> Maybe[bool]:
    """Whether a check valve in a pump or in the line keeps the rail from running empty."""
    if circuit.of_kind("check-valve"):
        return True
    found = [
        item.part.spec.check_valve
        for item in circuit.of_kind("pump")
        if isinstance(item.part.spec, parts.PumpSpec) and circuit.line_of(item) in (None, "feed")
    ]
    if True in found and False not in found and None not in found:
        return True
    return False if False in found else UNKNOWN


def _check_valve_gaps(circuit: Circuit) -> tuple[Gap, ...]:
    return tuple(
        Gap("check valve", item.ref)
        for item in circuit.of_kind("pump")
        if isinstance(item.part.spec, parts.PumpSpec) and item.part.spec.check_valve is None
    )


def _voltage_stated(item: PlacedItem) -> bool:
    spec = item.part.spec
    assert isinstance(spec, parts.PumpSpec)
    return all(curve.voltage_v is not None for curve in spec.curves or ())


def _body_bore(passage: Passage) -> float | None:
    return getattr(passage.pieces[0].item.part.spec, "bore_mm", None)


def _vapour_kpa(circuit: Circuit, temperature_c: float) -> float | None:
    """The highest vapour pressure of all that the tank may hold."""
    fuel = circuit.fuel
    least, most = fuel.ethanol_least_percent, fuel.ethanol_most_percent
    contents = {least, most, *(e for e in _WORST_BLENDS if least < e < most)}
    try:
        return max(
            Blend(content, fuel.methanol_percent).vapour_pressure_kpa_absolute(temperature_c)
            for content in sorted(contents)
        )
    except OutsideDataError:
        return None
