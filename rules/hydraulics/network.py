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


@dataclass(frozen=True)
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
    for name, (low, low_belongs, high, says) in _NUMBERS[type(element)]:
        value = getattr(element, name)
        if value is None:
            missing.append(Missing(element.id, name))
        elif not (low < value <= high or (low_belongs and value == low)) or not isfinite(value):
            faults.append(Fault(element.id, name, f"is {value!r}; it {says}"))


def _check_roughness(pipe: Pipe, faults: list[Fault]) -> None:
    if pipe.roughness_mm is None or pipe.diameter_mm is None or not pipe.diameter_mm > 0.0:
        return
    if pipe.roughness_mm > LARGEST_RELATIVE_ROUGHNESS * pipe.diameter_mm:
        says = (
            f"is {pipe.roughness_mm!r}; it must not be above {LARGEST_RELATIVE_ROUGHNESS:.0%} of "
            f"the diameter of {pipe.diameter_mm!r} mm, where the friction law ends"
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
        where = f"curves[{number}]"
        _check_curve(
            pump.id, where, curve.pressure_rise_kpa, curve.flow_lph,
            ("pressure_rise_kpa", "flow_lph"), falls=True, faults=faults,
        )  # fmt: skip
        if curve.flow_lph and min(curve.flow_lph) < 0.0:
            faults.append(Fault(pump.id, f"{where}.flow_lph", "must not be negative"))
    voltages = [curve.voltage_v for curve in pump.curves]
    for number, volts in enumerate(voltages):
        where = f"curves[{number}].voltage_v"
        if volts is None and len(voltages) > 1:
            says = "is not given; a pump with several curves needs it on each"
            faults.append(Fault(pump.id, where, says))
        elif volts is not None and not 0.0 < volts < inf:
            faults.append(Fault(pump.id, where, f"is {volts!r}; it {_POSITIVE.says}"))
        elif volts is not None and volts in voltages[:number]:
            faults.append(Fault(pump.id, where, f"two curves are for {volts!r} V"))


def _check_measured_loss(link: MeasuredLoss, faults: list[Fault], missing: list[Missing]) -> None:
    curve = link.curve
    if curve is None:
        missing.append(Missing(link.id, "curve"))
        return
    _check_curve(
        link.id, "curve", curve.flow_lph, curve.drop_kpa,
        ("flow_lph", "drop_kpa"), falls=False, faults=faults,
    )  # fmt: skip
    for name, values in (("flow_lph", curve.flow_lph), ("drop_kpa", curve.drop_kpa)):
        if values and values[0] < 0.0:
            faults.append(Fault(link.id, f"curve.{name}", "must not be negative"))
    if curve.flow_lph and curve.drop_kpa and (curve.flow_lph[0] == 0.0) != (curve.drop_kpa[0] == 0):
        says = "must be 0 where the flow is 0, and nowhere else"
        faults.append(Fault(link.id, "curve.drop_kpa", says))


def _check_curve(
    element: str, where: str, x: Sequence[float], y: Sequence[float],
    names: tuple[str, str], *, falls: bool, faults: list[Fault],
) -> None:  # fmt: skip
    if len(x) != len(y):
        says = f"has {len(x)} values, {names[1]} has {len(y)}; they must be pairs"
        faults.append(Fault(element, f"{where}.{names[0]}", says))
        return
    if len(x) < 2:
        says = "is empty" if not x else "has a single point"
        faults.append(Fault(element, where, f"{says}; it needs two points at least"))
        return
    for name, values in zip(names, (x, y), strict=True):
        if not all(map(isfinite, values)):
            faults.append(Fault(element, f"{where}.{name}", "holds a value that is not finite"))
            return
    for a, b in pairwise(x):
        if not a < b:
            says = f"must rise strictly, but {b!r} follows {a!r}"
            faults.append(Fault(element, f"{where}.{names[0]}", says))
            break
    for a, b in pairwise(y):
        if a <= b if falls else a >= b:
            says = f"must {'fall' if falls else 'rise'} strictly, but {b!r} follows {a!r}"
            faults.append(Fault(element, f"{where}.{names[1]}", says))
            break


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
