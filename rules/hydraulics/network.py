"""A network, checked as a whole."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf, isfinite
from typing import NamedTuple

from .elements import (
    BackPressureRegulator,
    CheckValve,
    FixedPressure,
    Junction,
    Link,
    LocalLoss,
    MeasuredLoss,
    Node,
    Orifice,
    Pipe,
    Pump,
    ReducingRegulator,
)
from .faults import Fault, NetworkFault
from .layout import Layout, lay_out
from .losses import LARGEST_RELATIVE_ROUGHNESS


class Missing(NamedTuple):
    """A datum nobody recorded: the element's id and the field."""

    element: str
    field: str


@dataclass(frozen=True, init=False)
class Network:
    """A pipe network, checked whole and then unchangeable.

    Parameters
    ----------
    nodes : iterable of Junction or FixedPressure
    links : iterable of Pipe, LocalLoss, Orifice, MeasuredLoss, Pump, CheckValve, \
BackPressureRegulator or ReducingRegulator
        In any order and any topology.

    Attributes
    ----------
    node_index, link_index : dict of str to int
        Where each id stands in `nodes` and `links`.
    missing : tuple of Missing
        Data recorded nowhere. The network stands, but no operating point of it can be solved.

    Raises
    ------
    NetworkFault
        With all faults at once: unknown node, duplicate id, a length or diameter that is not above
        zero, a number that is not finite, an empty or non-monotone curve, a junction that no path
        joins to a fixed pressure, a loop of elements without any resistance (nothing would decide
        how the flow divides).

    Notes
    -----
    A loop without a pump is no fault: it is solved, and without a difference of pressure around it
    its flow is zero.

    Examples
    --------
    >>> line = Pipe("line", "tank", "outlet", length_mm=1000, diameter_mm=8, roughness_mm=0.0015)
    >>> network = Network([FixedPressure("tank", 300), Junction("outlet", 100)], [line])
    >>> network.missing
    ()
    >>> Network([Junction("outlet")], [line])
    Traceback (most recent call last):
    ...
    rules.hydraulics.faults.NetworkFault: line.start: there is no node 'tank'
    outlet.id: no path joins this junction to a fixed pressure
    """

    nodes: tuple[Node, ...]
    links: tuple[Link, ...]
    node_index: dict[str, int] = field(init=False, repr=False, compare=False)
    link_index: dict[str, int] = field(init=False, repr=False, compare=False)
    missing: tuple[Missing, ...] = field(init=False, compare=False)
    layout: Layout = field(init=False, repr=False, compare=False)

    def __init__(self, nodes: Iterable[Node], links: Iterable[Link]) -> None:
        put = object.__setattr__
        put(self, "nodes", tuple(nodes))
        put(self, "links", tuple(links))
        faults, missing = _inspect(self.nodes, self.links)
        if faults:
            raise NetworkFault(faults)
        put(self, "node_index", {node.id: at for at, node in enumerate(self.nodes)})
        put(self, "link_index", {link.id: at for at, link in enumerate(self.links)})
        put(self, "missing", tuple(missing))
        put(self, "layout", lay_out(self.nodes, self.links))


# ---------------------------------------------------------------- what can be wrong


class _Range(NamedTuple):
    low: float
    low_belongs: bool
    high: float
    says: str


_ANY = _Range(-inf, False, inf, "must be a finite number")
_POSITIVE = _Range(0.0, False, inf, "must be above 0 and finite")
_NOT_NEGATIVE = _Range(0.0, True, inf, "must not be negative, and finite")
_COEFFICIENT = _Range(0.0, False, 1.0, "must be above 0 and not above 1")

_NUMBERS: dict[type, tuple[tuple[str, _Range], ...]] = {
    Junction: (("demand_lph", _ANY), ("elevation_m", _ANY)),
    FixedPressure: (("pressure_kpa", _ANY), ("elevation_m", _ANY)),
    Pipe: (
        ("length_mm", _POSITIVE),
        ("diameter_mm", _POSITIVE),
        ("roughness_mm", _NOT_NEGATIVE),
        ("k", _NOT_NEGATIVE),
    ),
    LocalLoss: (("k", _NOT_NEGATIVE), ("diameter_mm", _POSITIVE)),
    Orifice: (("discharge_coefficient", _COEFFICIENT), ("diameter_mm", _POSITIVE)),
    MeasuredLoss: (),
    Pump: (),
    CheckValve: (
        ("k", _NOT_NEGATIVE),
        ("diameter_mm", _POSITIVE),
        ("cracking_pressure_kpa", _NOT_NEGATIVE),
    ),
    BackPressureRegulator: (
        ("set_point_kpa", _ANY),
        ("open_k", _NOT_NEGATIVE),
        ("diameter_mm", _POSITIVE),
    ),
    ReducingRegulator: (
        ("set_point_kpa", _ANY),
        ("open_k", _NOT_NEGATIVE),
        ("diameter_mm", _POSITIVE),
    ),
}


def _inspect(nodes: Sequence[Node], links: Sequence[Link]) -> tuple[list[Fault], list[Missing]]:
    faults: list[Fault] = []
    missing: list[Missing] = []
    known: set[str] = set()
    for node in nodes:
        if node.id in known:
            faults.append(Fault(node.id, "id", "two nodes have this id; ids must differ"))
        known.add(node.id)
        _check_numbers(node, faults, missing)
    named: set[str] = set()
    for link in links:
        if link.id in named:
            faults.append(Fault(link.id, "id", "two links have this id; ids must differ"))
        named.add(link.id)
        _check_ends(link, known, faults)
        _check_numbers(link, faults, missing)
        if isinstance(link, Pipe):
            _check_roughness(link, faults)
        elif isinstance(link, Pump):
            _check_pump(link, faults, missing)
        elif isinstance(link, MeasuredLoss):
            _check_measured_loss(link, faults, missing)
    _check_paths(nodes, links, faults)
    return faults, missing


def _check_ends(link: Link, known: set[str], faults: list[Fault]) -> None:
    for end in ("start", "end"):
        name = getattr(link, end)
        if name not in known:
            faults.append(Fault(link.id, end, f"there is no node {name!r}"))
    if link.start == link.end:
        faults.append(Fault(link.id, "end", f"starts and ends at {link.start!r}"))


def _check_numbers(element: Node | Link, faults: list[Fault], missing: list[Missing]) -> None:
    for name, bounds in _NUMBERS[type(element)]:
        value = getattr(element, name)
        if value is None:
            missing.append(Missing(element.id, name))
        elif not _in_range(value, bounds):
            faults.append(Fault(element.id, name, f"is {value!r}; it {bounds.says}"))


def _in_range(value: float, bounds: _Range) -> bool:
    low, low_belongs, high, _ = bounds
    try:
        return (low < value <= high or (low_belongs and value == low)) and isfinite(value)
    except TypeError:
        return False


def _all_finite(values: Sequence[float]) -> bool:
    try:
        return all(map(isfinite, values))
    except TypeError:
        return False


def _check_roughness(pipe: Pipe, faults: list[Fault]) -> None:
    rough, bore = pipe.roughness_mm, pipe.diameter_mm
    if rough is None or bore is None:
        return
    if not (_in_range(rough, _NOT_NEGATIVE) and _in_range(bore, _POSITIVE)):
        return
    if rough > LARGEST_RELATIVE_ROUGHNESS * bore:
        says = (
            f"is {rough!r}; it must not be above {LARGEST_RELATIVE_ROUGHNESS:.0%} of the diameter "
            f"of {bore!r} mm, where the friction law ends"
        )
        faults.append(Fault(pipe.id, "roughness_mm", says))


def _check_pump(pump: Pump, faults: list[Fault], missing: list[Missing]) -> None:
    if pump.curves is None:
        missing.append(Missing(pump.id, "curves"))
        return
    if not pump.curves:
        faults.append(Fault(pump.id, "curves", "is empty; give one curve at least, or None"))
        return
    for number, curve in enumerate(pump.curves):
        rise = _Column("pressure_rise_kpa", curve.pressure_rise_kpa)
        flow = _Column("flow_lph", curve.flow_lph, positive=True)
        _check_curve(pump.id, f"curves[{number}]", rise, flow, falls=True, faults=faults)
    voltages = [curve.voltage_v for curve in pump.curves]
    for number, volts in enumerate(voltages):
        where = f"curves[{number}].voltage_v"
        if volts is None and len(voltages) > 1:
            says = "is not given; a pump with several curves needs it on each"
            faults.append(Fault(pump.id, where, says))
        elif volts is not None and not _in_range(volts, _POSITIVE):
            faults.append(Fault(pump.id, where, f"is {volts!r}; it {_POSITIVE.says}"))
        elif volts is not None and volts in voltages[:number]:
            faults.append(Fault(pump.id, where, f"two curves are for {volts!r} V"))


def _check_measured_loss(link: MeasuredLoss, faults: list[Fault], missing: list[Missing]) -> None:
    if link.curve is None:
        missing.append(Missing(link.id, "curve"))
        return
    flow = _Column("flow_lph", link.curve.flow_lph, positive=True)
    drop = _Column("drop_kpa", link.curve.drop_kpa, positive=True)
    if not _check_curve(link.id, "curve", flow, drop, falls=False, faults=faults):
        return
    if (flow.values[0] == 0.0) != (drop.values[0] == 0.0):
        says = "must be 0 where the flow is 0, and nowhere else"
        faults.append(Fault(link.id, "curve.drop_kpa", says))


class _Column(NamedTuple):
    """One column of a measured curve; `positive` if its values must not be negative."""

    name: str
    values: Sequence[float]
    positive: bool = False


def _check_curve(
    element: str, where: str, x: _Column, y: _Column, *, falls: bool, faults: list[Fault]
) -> bool:
    """Note what is wrong with a curve; True if its columns hold pairs of numbers."""
    if len(x.values) != len(y.values):
        says = f"has {len(x.values)} values, {y.name} has {len(y.values)}; they must be pairs"
        faults.append(Fault(element, f"{where}.{x.name}", says))
        return False
    if len(x.values) < 2:
        says = "has a single point" if x.values else "is empty"
        faults.append(Fault(element, where, f"{says}; it needs two points at least"))
        return False
    for column in (x, y):
        if not _all_finite(column.values):
            says = "holds what is not a finite number"
            faults.append(Fault(element, f"{where}.{column.name}", says))
            return False
    for column, must_fall in ((x, False), (y, falls)):
        if column.positive and min(column.values) < 0.0:
            faults.append(Fault(element, f"{where}.{column.name}", "must not be negative"))
        for a, b in pairwise(column.values):
            if a <= b if must_fall else a >= b:
                way = "fall" if must_fall else "rise"
                says = f"must {way} strictly, but {b!r} follows {a!r}"
                faults.append(Fault(element, f"{where}.{column.name}", says))
                break
    return True


def _check_paths(nodes: Sequence[Node], links: Sequence[Link], faults: list[Fault]) -> None:
    """Every junction must reach a fixed pressure, and no loop may be free of resistance."""
    whole, free = _Groups(), _Groups()
    for node in nodes:
        if isinstance(node, FixedPressure):
            whole.join(node.id, _GIVEN)
            free.join(node.id, _GIVEN)
    for link in links:
        whole.join(link.start, link.end)
        if _without_resistance(link) and not free.join(link.start, link.end):
            says = (
                "closes a loop (or joins two fixed pressures) without any resistance: nothing "
                "decides how the flow divides; leave it out or give it its loss"
            )
            faults.append(Fault(link.id, "k", says))
    for node in nodes:
        if whole.of(node.id) != whole.of(_GIVEN):
            says = "no path joins this junction to a fixed pressure"
            faults.append(Fault(node.id, "id", says))


def _without_resistance(link: Link) -> bool:
    if isinstance(link, LocalLoss | CheckValve):
        return link.k == 0.0
    if isinstance(link, BackPressureRegulator | ReducingRegulator):
        return link.open_k == 0.0
    return False


_GIVEN = "\0given"


class _Groups:
    """Which names are joined (disjoint sets)."""

    def __init__(self) -> None:
        self._parent: dict[str, str] = {}

    def of(self, name: str) -> str:
        parent = self._parent
        while (up := parent.setdefault(name, name)) != name:
            parent[name] = name = parent[up]
        return name

    def join(self, a: str, b: str) -> bool:
        """Join two groups; False if they already were one."""
        first, second = self.of(a), self.of(b)
        self._parent[first] = second
        return first != second
