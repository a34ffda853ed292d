"""The flow of a report in a few lines: what is asked for, what is supported, and what limits it.

Flow

  demand       290.6 L/h for 420 kW at the crank
  supports     434.2 kW, 14.2 kW more than asked for
  bottleneck   injectors: 435.7 kW if they alone were perfect, 1.5 kW more
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from rules.assembly import Application
from rules.facts.flow.practice import PRACTICE
from rules.report import Figure, Flow, FlowAssumption, FlowDrop, FlowLimit, FlowPoint
from service.line import Signs

_PLACES: Final = {"bar": 3, "L/h": 1, "V": 1}
"""Decimal places of units that stand below each other; others are written as they are short."""

_LEAST_SHOWN: Final = 0.01
"""Of all that is lost from the pump on: what costs less is shown together with its like."""

_GIVEN: Final = "given"
"""Origin of a number that the request states."""

_BAR_WIDTH: Final = 24

_HELD: Final = {True: ("yes", "green"), False: ("NO", "bold red"), None: ("?", "magenta")}


def flow_lines(flow: Flow, asked: Application, signs: Signs) -> Iterator[Table | Padding | Text]:
    """What a report says about the flow, in the order in which one asks.

    Args:
        flow: the report's part on flow.
        asked: the application of the request.
        signs: what bars are drawn with.
    """
    yield Text("Flow", style="bold")
    yield Text()
    yield _set_in(_summary(flow, asked))
    if flow.points:
        yield Text()
        yield _set_in(_points(flow.points))
        yield from _drops(flow.points[0], signs)
    yield Text()
    for line in (*_taken(flow), *(Text(remark, style="dim") for remark in flow.remarks)):
        yield _set_in(line)
    yield Text()


def _set_in(part: Table | Text) -> Padding:
    return Padding(part, (0, 2))


def _number(figure: Figure) -> str:
    if figure.unit == "fraction":
        return f"{figure.value * 100:g}"
    return f"{figure.value:g}"


def _unit(unit: str) -> str:
    return {"fraction": "%", "-": ""}.get(unit, unit)


def _amount(figure: Figure | None) -> str:
    """A figure with its unit."""
    return "?" if figure is None else f"{_number(figure)} {_unit(figure.unit)}".rstrip()


def _range(least: Figure | None, most: Figure | None) -> str:
    if least is None or most is None:
        return _amount(least or most)
    return f"{_number(least)} to {_amount(most)}"


def _lined_up(figure: Figure | None, unit: str) -> str:
    """A figure that stands below others, whose unit the column names."""
    if figure is None:
        return ""
    if figure.unit != unit:
        return _amount(figure)
    places = _PLACES.get(unit)
    # Adding zero makes a negative zero a plain one.
    return _number(figure) if places is None else f"{round(figure.value, places) + 0.0:.{places}f}"


def _percent(share: float) -> str:
    return f"{share * 100:.1f} %"


# Summary ----------------------------------------------------------------------------------------


def _summary(flow: Flow, asked: Application) -> Table:
    table = _grid()
    for name, text in (
        ("demand", _demand(flow, asked)),
        *_reckoned(flow),
        ("supports", _supports(flow, asked)),
        *_limits(flow),
        *_injectors(flow),
        *_pumps(flow),
        *_unrecorded(flow),
    ):
        table.add_row(Text(name, style="dim"), text)
    return table


def _demand(flow: Flow, asked: Application) -> Text:
    power, at = _amount(flow.demand.crank_power), "at the crank"
    if asked.power_at == "wheels" and asked.power_kw is not None:
        power, at = f"{asked.power_kw:g} kW", f"at the wheels, {power} at the crank"
    burnt = f"{_amount(flow.demand.volume)} ({_amount(flow.demand.mass)})"
    return Text.assemble((burnt, "bold"), f" for {power} {at}")


def _supports(flow: Flow, asked: Application) -> Text:
    power = flow.supports_power
    if power is None:
        return Text("cannot be told", style="magenta")
    enough = asked.power_kw is not None and power.value >= asked.power_kw
    told = Text.assemble(
        (_amount(power), "bold green" if enough else "bold red"),
        f" at the {asked.power_at}" if asked.power_at else "",
    )
    if asked.power_kw is not None:
        told.append(f", {_difference(power.value - asked.power_kw, power.unit)} than asked for")
    if flow.supports_power_at_best is not None:
        best = _amount(flow.supports_power_at_best)
        told.append(f"; {best} at best")
    return told


def _difference(more: float, unit: str) -> str:
    return f"{abs(more):.1f} {unit} {'more' if more >= 0 else 'less'}"


def _limits(flow: Flow) -> Iterator[tuple[str, Text]]:
    """The bottleneck, and the part that comes next."""
    if flow.supports_power is None:
        return
    if not flow.limited_by:
        yield "bottleneck", Text("none: no single part, were it perfect, would give more")
    for name, limit in zip(("bottleneck", "next"), flow.limited_by, strict=False):
        yield name, _limit(limit, flow.supports_power)


def _limit(limit: FlowLimit, now: Figure) -> Text:
    without = limit.supports_power_without_it
    if without is None:
        buys = "nothing that is known limits the power"
    else:
        buys = f"{_amount(without)}, {_difference(without.value - now.value, now.unit)}"
    return Text.assemble((limit.ref, "bold"), f"; with a perfect one {buys}")


def _injectors(flow: Flow) -> Iterator[tuple[str, Text]]:
    found = flow.injectors
    if found is None:
        return
    yield (
        "injectors",
        Text.assemble(
            f"{found.pieces} x {_amount(found.static_flow)} at {_amount(found.pressure_across)} "
            "across: duty ",
            (_percent(found.duty), "bold" if found.duty <= found.duty_limit else "bold red"),
            f", right up to {found.duty_limit * 100:g} % or {_amount(found.supports_power)}",
        ),
    )


def _pumps(flow: Flow) -> Iterator[tuple[str, Text]]:
    pumps = flow.points[0].pumps if flow.points else ()
    for pump in pumps:
        current = f", {_amount(pump.current)}" if pump.current else ""
        yield (
            pump.ref,
            Text(f"{_amount(pump.flow)} at {_amount(pump.outlet_pressure)}{current} at full load"),
        )
    if flow.pump_heat is not None:
        yield "pump heat", Text(f"{_amount(flow.pump_heat)} into the fuel at idle")


def _unrecorded(flow: Flow) -> Iterator[tuple[str, Text]]:
    for each in flow.uncertain:
        taken = f", taken as {_range(each.least, each.most)}" if each.least or each.most else ""
        yield "not recorded", Text(f"{each.what} of {each.of}{taken}", style="magenta")


# Operating points -------------------------------------------------------------------------------


def _grid() -> Table:
    return Table.grid(padding=(0, 3, 0, 0))


def _points(points: Sequence[FlowPoint]) -> Table:
    columns: Sequence[tuple[str, list[Figure | None]]] = (
        ("", [point.voltage for point in points]),
        ("", [point.fuel_temperature for point in points]),
        ("wanted", [point.target for point in points]),
        ("rail", [point.rail_pressure for point in points]),
        ("pump", [point.pump_flow for point in points]),
        ("burnt", [point.burnt for point in points]),
        ("back", [point.goes_back for point in points]),
    )
    table = _grid()
    table.show_header = True
    table.add_column(_head("at\n"))
    units = [next((each.unit for each in column if each), "") for _, column in columns]
    for (name, _), unit in zip(columns, units, strict=True):
        table.add_column(_head(f"{name}\n{unit}"), justify="right", no_wrap=True)
    table.add_column(_head("held\n"))
    why = any(point.why is not None for point in points)
    if why:
        table.add_column(_head("why not\n"))
    for row, point in enumerate(points):
        cells = [
            Text(_lined_up(column[row], unit))
            for (_, column), unit in zip(columns, units, strict=True)
        ]
        held, style = _HELD[point.held]
        reason = [Text(point.why or "", style="magenta")] if why else []
        table.add_row(Text(point.name), *cells, Text(held, style=style), *reason)
    return table


def _head(name: str) -> Text:
    return Text(name, style="dim")


# Drops ------------------------------------------------------------------------------------------


def _drops(point: FlowPoint, signs: Signs) -> Iterator[Text | Padding]:
    """What each part costs, line by line in the order of the fuel."""
    if not point.drops:
        return
    yield Text()
    yield _set_in(Text(f"What each part costs at {point.name}", style="dim"))
    least = _LEAST_SHOWN * sum(drop.drop.value for drop in point.drops)
    table = _grid()
    for line, drops in groupby(point.drops, key=lambda drop: drop.line):
        for cells in _line(line, list(drops), least, signs):
            table.add_row(*cells)
    yield _set_in(table)


def _line(
    line: str, drops: Sequence[FlowDrop], least: float, signs: Signs
) -> Iterator[tuple[Text, ...]]:
    shown = [drop for drop in drops if drop.drop.value >= least]
    small = [drop for drop in drops if drop.drop.value < least]
    named = line
    for drop in shown:
        share = drop.share
        yield (
            Text(named, style="dim"),
            Text(drop.ref),
            _lost(drop.drop),
            Text("" if share is None else _percent(share), justify="right"),
            Text(signs.pipe * round((share or 0.0) * _BAR_WIDTH), style="cyan"),
        )
        named = ""
    if small:
        together = Figure(value=sum(drop.drop.value for drop in small), unit=small[0].drop.unit)
        others = "others" if shown else "parts"
        yield (
            Text(named, style="dim"),
            Text(f"{len(small)} {others}" if len(small) > 1 else small[0].ref),
            _lost(together),
            Text(),
            Text(),
        )


def _lost(drop: Figure) -> Text:
    return Text(f"{_lined_up(drop, drop.unit)} {drop.unit}", justify="right")


# What it rests on -------------------------------------------------------------------------------


def _reckoned(flow: Flow) -> Iterator[tuple[str, Text]]:
    """What the demand was reckoned with, and who says so; not what the request gave."""
    name = "reckoned with"
    for each in flow.assumptions:
        if each.origin not in (_GIVEN, PRACTICE):
            yield name, Text.assemble(_assumption(each), (f", {each.origin}", "dim"))
            name = ""


def _taken(flow: Flow) -> Iterator[Text]:
    taken = [_assumption(each) for each in flow.assumptions if each.origin == PRACTICE]
    if taken:
        yield Text(f"By {PRACTICE}: {'; '.join(taken)}.", style="dim")


def _assumption(each: FlowAssumption) -> str:
    ranged = ""
    if each.least is not None and each.most is not None:
        ranged = f" ({_number(each.least)} to {_number(each.most)})"
    return f"{each.name} {_amount(each.value)}{ranged}"
