"""What each way through a part costs: the network element that stands for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

from rules import hydraulics, parts
from rules.circuit import PlacedItem, PlacedPort
from rules.facts.flow import practice
from rules.facts.flow.ledger import Ledger
from rules.facts.flow.pieces import Piece
from rules.hydraulics import (
    BackPressureRegulator,
    CheckValve,
    Link,
    LocalLoss,
    LossCurve,
    MeasuredLoss,
    Orifice,
    Pipe,
    Pump,
    PumpCurve,
    ReducingRegulator,
)

_TEST_DENSITY_KG_M3 = 745.0
"""Of petrol, with which the drops of check valves are taken to be measured."""

_ELBOW = {45: "elbow-45", 90: "elbow-90", 180: "return-180"}


@dataclass(frozen=True)
class Around:
    """What lies before and behind a piece.

    Attributes:
        before, behind: bores of the ports it is joined to [mm]; `None` where there is no one such
            bore.
        line: the line the piece is in.
        seats: injectors of the rail it belongs to.
        set_kpa: what a regulator is set to.
    """

    before: float | None
    behind: float | None
    line: str | None
    seats: int
    set_kpa: float


def element_of(piece: Piece, around: Around, ledger: Ledger) -> tuple[Link, float | None]:
    """The network element of a piece, and its narrowest bore [mm] where it has one."""
    return _BUILDERS[piece.what](piece, around, ledger)


Built = tuple[Link, float | None]


def _free(piece: Piece) -> Built:
    """Stands for a piece of which nothing is known: at best it costs next to nothing."""
    return LocalLoss(piece.id, piece.start, piece.end, 1e-3, 10.0), None


# Ducts ------------------------------------------------------------------------------------------


def _duct(piece: Piece, around: Around, ledger: Ledger) -> Built:
    item, line = piece.item, around.line
    ends = [ledger.port_bore(port, line) for port in piece.ports]
    if item.kind in ("hose-assembly", "bulk-hose", "hard-line"):
        return _pipe(piece, around, ledger, ends)
    if None in ends:
        return _free(piece)
    bores = [bore for bore in ends if bore is not None]
    narrow = min(bores)
    k = practice.FITTING_K + _steps(bores, around, narrow) + _bends(piece, ledger, narrow)
    return LocalLoss(piece.id, piece.start, piece.end, k, narrow), narrow


def _pipe(piece: Piece, around: Around, ledger: Ledger, ends: Sequence[float | None]) -> Built:
    item, line = piece.item, around.line
    body = ledger.body_bore(item, line)
    length = ledger.length(item, line)
    if body is None or length is None or None in ends:
        return _free(piece)
    start, end = (bore for bore in ends if bore is not None)
    k = _steps((start, body, end), around, body) + _bends(piece, ledger, body)
    rough = ledger.roughness(item, body, line)
    narrow = min(start, body, end)
    return Pipe(piece.id, piece.start, piece.end, length, body, rough, k), narrow


def _tee_leg(piece: Piece, around: Around, ledger: Ledger) -> Built:
    """Half of the loss of a tee whose whole flow turns: which way the fuel goes is not recorded."""
    bore = ledger.port_bore(piece.ports[0], around.line)
    if bore is None:
        return _free(piece)
    k = _loss(ledger, "tee-branch") / 2.0 + _steps((bore,), around, bore)
    return LocalLoss(piece.id, piece.start, piece.end, k, bore), bore


def _lid(piece: Piece, around: Around, ledger: Ledger) -> Built:
    """The tube through the lid of a tank module: its narrowest hole decides."""
    bores = [ledger.port_bore(port, around.line) for port in piece.ports]
    if None in bores:
        return _free(piece)
    narrow = min(bore for bore in bores if bore is not None)
    return Orifice(piece.id, piece.start, piece.end, practice.DRILLED_DISCHARGE, narrow), narrow


def _tank_mouth(piece: Piece, around: Around, ledger: Ledger) -> Built:
    bore = ledger.port_bore(piece.ports[0], around.line)
    if bore is None:
        return _free(piece)
    k = _loss(ledger, "exit" if piece.end.startswith("#") else "entrance-sharp")
    return LocalLoss(piece.id, piece.start, piece.end, k, bore), bore


def _rail_end(piece: Piece, around: Around, ledger: Ledger) -> Built:
    """From a port of a rail to its nearest injector."""
    rail, line = piece.item, around.line
    port = ledger.port_bore(piece.ports[0], line)
    body = ledger.body_bore(rail, line)
    if port is None or body is None:
        return _free(piece)
    inward = piece.start_port is not None
    bores = (port, body) if inward else (body, port)
    k = practice.FITTING_K + _steps(bores, around, body)
    lead = _lead_mm(rail, around.seats, ledger, line)
    rough = ledger.roughness(rail, body, line)
    return Pipe(piece.id, piece.start, piece.end, lead, body, rough, k), min(port, body)


def _lead_mm(rail: PlacedItem, seats: int, ledger: Ledger, line: str | None) -> float:
    """From the end of a rail to its first injector; half a pitch where its length is unknown."""
    spec: Any = rail.part.spec
    pitch = ledger.pitch(rail, max(1, seats), line)
    if spec.length_mm is None:
        return pitch / 2.0
    rest = float(spec.length_mm) - (max(1, seats) - 1) * pitch
    return max(rest / 2.0, 1.0)


def _rail_step(piece: Piece, around: Around, ledger: Ledger) -> Built:
    rail, line = piece.item, around.line
    body = ledger.body_bore(rail, line)
    if body is None:
        return _free(piece)
    pitch = ledger.pitch(rail, max(1, around.seats), line)
    rough = ledger.roughness(rail, body, line)
    return Pipe(piece.id, piece.start, piece.end, pitch, body, rough), body


# Losses of steps and bends ----------------------------------------------------------------------


def _steps(bores: Sequence[float], around: Around, on_mm: float) -> float:
    """Loss coefficient of all changes of bore in a piece, on the velocity in `on_mm`.

    Where two parts meet, the narrower one answers for the step between them.
    """
    steps = list(pairwise(bores))
    if around.before is not None and around.before > bores[0]:
        steps.insert(0, (around.before, bores[0]))
    if around.behind is not None and around.behind > bores[-1]:
        steps.append((bores[-1], around.behind))
    return sum(_step(one, other, on_mm) for one, other in steps)


@lru_cache(maxsize=4096)
def _step(one: float, other: float, on_mm: float) -> float:
    if one == other:
        return 0.0
    if other < one:
        k = hydraulics.sudden_contraction_k(one, other)
        return float(hydraulics.k_on_diameter(k, other, on_mm))
    k = hydraulics.sudden_expansion_k(one, other)
    return float(hydraulics.k_on_diameter(k, one, on_mm))


def _bends(piece: Piece, ledger: Ledger, on_mm: float) -> float:
    """Loss coefficient of the bends of a piece's ends, on the velocity in `on_mm`."""
    whole = 0.0
    for port in piece.ports:
        bore = ledger.port_bore(port, None) or on_mm
        k = _bend(port, ledger)
        whole += float(hydraulics.k_on_diameter(k, bore, on_mm)) if k else 0.0
    if whole == 0.0 and getattr(piece.item.part.spec, "form", None) in ("elbow", "swivel-elbow"):
        return _loss(ledger, "elbow-90-forged")
    return whole


def _bend(port: PlacedPort, ledger: Ledger) -> float:
    connection = port.port.connection
    if connection is not None and connection.system == "banjo" and connection.gender == "bolt":
        return _loss(ledger, "elbow-90-forged")
    angle = port.port.angle_deg or 0.0
    nearest = min((0, *_ELBOW), key=lambda each: abs(each - angle))
    if nearest == 0:
        return 0.0
    drilled = port.item.kind in ("adapter", "bulkhead", "tee") and nearest < 180
    return _loss(ledger, f"{_ELBOW[nearest]}-{'forged' if drilled else 'moulded'}")


def _loss(ledger: Ledger, loss: str) -> float:
    k = ledger.table.loss(loss).k
    assert k is not None
    return k


# What is measured -------------------------------------------------------------------------------


def _measured(piece: Piece, around: Around, ledger: Ledger) -> Built:
    bores = [port.port.bore_mm for port in piece.ports if port.port.bore_mm is not None]
    narrow = min(bores, default=None)
    curve = _loss_curve(piece.item, around.line, ledger)
    if curve is None:
        return _free(piece)[0], narrow
    return MeasuredLoss(piece.id, piece.start, piece.end, curve), narrow


def _loss_curve(item: PlacedItem, line: str | None, ledger: Ledger) -> LossCurve | None:
    points = getattr(item.part.spec, "drop", None)
    if not points:
        ledger.lacks("pressure drop", item.ref, line)
        return None
    flows = [point.flow_lph for point in points]
    drops = [point.drop_kpa for point in points]
    begins_well = flows[0] > 0.0 < drops[0] or (flows[0] == drops[0] == 0.0 and len(flows) > 1)
    if not (begins_well and _rises(flows) and _rises(drops)):
        ledger.lacks("pressure drop that rises with the flow", item.ref, line)
        return None
    return LossCurve(flows, drops)


def _rises(values: Sequence[float]) -> bool:
    return all(one < other for one, other in pairwise(values))


def _check_valve(piece: Piece, around: Around, ledger: Ledger) -> Built:
    spec = piece.item.part.spec
    assert isinstance(spec, parts.CheckValveSpec)
    bores = [port.port.bore_mm for port in piece.ports if port.port.bore_mm is not None]
    curve = _loss_curve(piece.item, around.line, ledger)
    if curve is None or not bores:
        return _free(piece)
    narrow, flow, drop = min(bores), curve.flow_lph[-1], curve.drop_kpa[-1]
    k = hydraulics.k_from_measured_drop(drop, flow, _TEST_DENSITY_KG_M3, narrow)
    opens = spec.opening_pressure_kpa or 0.0
    return CheckValve(piece.id, piece.start, piece.end, k, narrow, opens), narrow


def _pump(piece: Piece, around: Around, ledger: Ledger) -> Built:
    curves = pump_curves(piece.item, around.line, ledger)
    if curves is None:
        # Stands in so that the rest can be laid out; nothing is solved while a curve is missing.
        curves = (PumpCurve((0.0, 1.0), (1.0, 0.0)),)
    return Pump(piece.id, piece.start, piece.end, curves), None


def pump_curves(item: PlacedItem, line: str | None, ledger: Ledger) -> tuple[PumpCurve, ...] | None:
    """The measured curves of a pump, by voltage; `None` where they don't make one."""
    spec = item.part.spec
    assert isinstance(spec, parts.PumpSpec)
    if not spec.curves:
        ledger.lacks("flow curve", item.ref, line)
        return None
    voltages = [curve.voltage_v for curve in spec.curves]
    if None in voltages:
        ledger.lacks("test voltage of the flow curve", item.ref, line)
        return None
    if len(set(voltages)) < len(voltages):
        ledger.lacks("one flow curve for each voltage", item.ref, line)
        return None
    found = []
    for curve in spec.curves:
        points = _until_it_stops(curve.points)
        rises = [point.pressure_kpa for point in points]
        flows = [point.flow_lph * item.item.quantity for point in points]
        if len(points) < 2:
            ledger.lacks("flow at a second pressure", item.ref, line)
            return None
        if not _rises([-flow for flow in flows]):
            ledger.lacks("flow curve that falls with the pressure", item.ref, line)
            return None
        found.append(PumpCurve(rises, flows, curve.voltage_v))
    return tuple(found)


def _until_it_stops(points: Sequence[parts.CurvePoint]) -> Sequence[parts.CurvePoint]:
    """The points up to the first at which nothing comes any more."""
    for index, point in enumerate(points):
        if point.flow_lph == 0.0:
            return points[: index + 1]
    return points


# Regulators and jets ----------------------------------------------------------------------------


def _spill(piece: Piece, around: Around, ledger: Ledger) -> Built:
    k, seat = _seat(piece.item, around, ledger)
    link = BackPressureRegulator(piece.id, piece.start, piece.end, around.set_kpa, k, seat)
    return link, seat


def _built_in_spill(piece: Piece, around: Around, _: Ledger) -> Built:
    """The regulator of a tank module, next to its pump: its maker answers for its seat."""
    link = BackPressureRegulator(piece.id, piece.start, piece.end, around.set_kpa, 1e-3, 10.0)
    return link, None


def _reduce(piece: Piece, around: Around, ledger: Ledger) -> Built:
    k, seat = _seat(piece.item, around, ledger)
    return ReducingRegulator(piece.id, piece.start, piece.end, around.set_kpa, k, seat), seat


def _seat(item: PlacedItem, around: Around, ledger: Ledger) -> tuple[float, float]:
    """Loss of a regulator wide open, on its equivalent orifice.

    Where the orifice is not recorded but the flow that it regulates is, the maker answers for it.
    """
    spec = item.part.spec
    assert isinstance(spec, parts.RegulatorSpec)
    if spec.seat_bore_mm is not None:
        return practice.SEAT_DISCHARGE**-2, spec.seat_bore_mm
    if spec.maximum_flow_lph is None:
        line = around.line if spec.action == "reducing" else "return"
        ledger.lacks("seat bore or highest flow", item.ref, line)
    return 1e-3, 10.0


def _nozzle(piece: Piece, around: Around, ledger: Ledger) -> Built:
    spec = piece.item.part.spec
    assert isinstance(spec, parts.SiphonJetSpec)
    if spec.nozzle_bore_mm is None:
        ledger.lacks("nozzle bore", piece.item.ref, around.line)
        return _free(piece)
    bore = spec.nozzle_bore_mm
    return Orifice(piece.id, piece.start, piece.end, practice.NOZZLE_DISCHARGE, bore), bore


_BUILDERS: Mapping[str, Callable[[Piece, Around, Ledger], Built]] = {
    "duct": _duct,
    "tee-leg": _tee_leg,
    "lid": _lid,
    "tank-mouth": _tank_mouth,
    "measured": _measured,
    "check-valve": _check_valve,
    "rail-end": _rail_end,
    "rail-step": _rail_step,
    "pump": _pump,
    "spill": _spill,
    "built-in-spill": _built_in_spill,
    "reduce": _reduce,
    "nozzle": _nozzle,
}
