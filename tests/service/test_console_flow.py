"""The flow of a report as a terminal, a narrow one and a pipe show it."""

from __future__ import annotations

import copy
import io
import re
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest

from rules.assembly import Request
from rules.catalogue import Catalogue, catalogue
from rules.check import check, load_rules
from rules.engine import Book
from rules.report import Flow, Report
from seed_data import demo_components, demo_vehicles
from service.console import console_for, print_report
from tests.service.fixtures_demo import ROOT, assembly
from tests.service.test_cli import DRAWN, ESCAPE

SURGE_TANK = "06-six-surge-tank"
TURBO_SIX = "02-turbo-six-e85"
BOOST_FORGOTTEN = "26-reference-hose-forgotten"
FILTER_UNKNOWN = "17-zinc-filter-in-e85"

Change = Callable[[dict[str, Any]], None]


class Terminal(io.StringIO):
    """A stream that says somebody watches."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


@cache
def shop() -> tuple[Catalogue, Book]:
    return catalogue(1, demo_components(), demo_vehicles()), load_rules()


def checked(slug: str, change: Change | None = None) -> tuple[Request, Report]:
    body = copy.deepcopy(assembly(slug).body)
    if change is not None:
        change(body)
    request = Request.model_validate(body)
    return request, check(request, *shop())


def printed(request: Request, report: Report, stream: io.StringIO | None = None) -> str:
    stream = stream or io.StringIO()
    print_report(console_for(stream), "cart.json", request, report)
    return stream.getvalue()


def flow_part(text: str) -> list[str]:
    """The lines of the flow, without those of the rest of the report."""
    lines = text.splitlines()
    start = lines.index("Flow")
    return lines[start : lines.index("Not checked")]


def shown(slug: str, change: Change | None = None) -> tuple[Flow, list[str]]:
    request, report = checked(slug, change)
    assert report.flow is not None
    return report.flow, flow_part(printed(request, report))


def row(lines: list[str], name: str) -> str:
    (found,) = [line for line in lines if re.match(rf"  {re.escape(name)}  ", line)]
    return found.strip()


def application(**fields: Any) -> Change:
    """Change fields of the application; `None` leaves one out."""

    def change(body: dict[str, Any]) -> None:
        body["application"].update(fields)
        for name in [name for name, value in fields.items() if value is None]:
            del body["application"][name]

    return change


class TestSummary:
    def test_demand_and_what_it_was_reckoned_with(self) -> None:
        flow, lines = shown(SURGE_TANK)
        demand = row(lines, "demand")
        assert f"{flow.demand.volume.value:g} L/h" in demand
        assert "for 300 kW at the crank" in demand
        text = " ".join(line.strip() for line in lines)
        named = {each.name: each for each in flow.assumptions}
        consumption = named["specific consumption"]
        assert consumption.least
        assert consumption.most
        assert (
            f"specific consumption {consumption.value.value:g} kg/kWh "
            f"({consumption.least.value:g} to {consumption.most.value:g}), {consumption.origin}"
        ) in text

    def test_every_assumption_is_there_but_what_the_request_gave(self) -> None:
        flow, lines = shown(SURGE_TANK)
        text = " ".join(line.strip() for line in lines)
        for each in flow.assumptions:
            assert (f"{each.name} " in text) == (each.origin != "given"), each.name

    def test_power_and_what_limits_it(self) -> None:
        flow, lines = shown(SURGE_TANK)
        assert flow.supports_power
        more = flow.supports_power.value - 300.0
        assert row(lines, "supports").endswith(
            f"{flow.supports_power.value:g} kW at the crank, {more:.1f} kW more than asked for"
        )
        for name, limit in zip(("bottleneck", "next"), flow.limited_by, strict=False):
            assert limit.supports_power_without_it
            with_perfect = limit.supports_power_without_it.value
            assert row(lines, name).partition("   ")[2].strip() == (
                f"{limit.ref}; with a perfect one {with_perfect:g} kW, "
                f"{with_perfect - flow.supports_power.value:.1f} kW more"
            )

    def test_too_little(self) -> None:
        flow, lines = shown(BOOST_FORGOTTEN)
        assert flow.supports_power
        less = 200.0 - flow.supports_power.value
        assert less > 0
        assert row(lines, "supports").endswith(f"{less:.1f} kW less than asked for")

    def test_power_at_the_wheels_names_both(self) -> None:
        flow, lines = shown(SURGE_TANK, application(power_at="wheels"))
        assert flow.demand.crank_power.value > 300
        assert row(lines, "demand").endswith(
            f"for 300 kW at the wheels, {flow.demand.crank_power.value:g} kW at the crank"
        )
        assert "kW at the wheels," in row(lines, "supports")
        assert any("driveline loss" in line for line in lines)

    def test_both_ends_of_what_nobody_said(self) -> None:
        flow, lines = shown(SURGE_TANK, application(power_at=None))
        assert flow.supports_power
        assert flow.supports_power_at_best
        told = row(lines, "supports")
        assert f"{flow.supports_power.value:g} kW," in told
        best = flow.supports_power_at_best.value
        assert f"; {best:g} kW at best" in told

    def test_no_limit_that_is_known(self) -> None:
        request, report = checked(SURGE_TANK)
        assert report.flow
        first = report.flow.limited_by[0].model_copy(update={"supports_power_without_it": None})
        for limits, told in (
            ((first,), "pump; with a perfect one nothing that is known limits the power"),
            ((), "none: no single part, were it perfect, would give more"),
        ):
            flow = report.flow.model_copy(update={"limited_by": limits})
            lines = flow_part(printed(request, report.model_copy(update={"flow": flow})))
            assert row(lines, "bottleneck").endswith(told)
            assert not any(line.startswith("  next ") for line in lines)

    def test_duty_of_the_injectors(self) -> None:
        flow, lines = shown(BOOST_FORGOTTEN)
        assert flow.injectors
        told = row(lines, "injectors")
        assert f"4 x {flow.injectors.static_flow.value:g} cc/min at 2 bar across" in told
        assert f"duty {flow.injectors.duty * 100:.1f} %, right up to 85 %" in told

    def test_pump_at_its_working_point(self) -> None:
        flow, lines = shown(SURGE_TANK)
        (pump,) = flow.points[0].pumps
        assert pump.current
        assert flow.pump_heat
        assert row(lines, "pump").endswith(
            f"{pump.flow.value:g} L/h at {pump.outlet_pressure.value:g} bar, "
            f"{pump.current.value:g} A at full load"
        )
        assert f"{flow.pump_heat.value:g} W" in row(lines, "pump heat")


class TestPoints:
    def test_a_row_for_each_in_their_order(self) -> None:
        flow, lines = shown(SURGE_TANK)
        at = [
            next(n for n, line in enumerate(lines) if f"  {p.name}  " in line) for p in flow.points
        ]
        assert at == sorted(at)
        for point, number in zip(flow.points, at, strict=True):
            assert point.rail_pressure
            assert point.pump_flow
            cells = re.split(r"\s{2,}", lines[number].strip())
            assert cells[3] == f"{point.target.value:.3f}"
            assert cells[4] == f"{point.rail_pressure.value:.3f}"
            assert cells[5] == f"{point.pump_flow.value:.1f}"
            assert cells[8] == "yes"

    def test_pressure_that_is_not_held(self) -> None:
        flow, lines = shown(TURBO_SIX, application(power="420 kW"))
        (low,) = [point for point in flow.points if point.name == "low voltage"]
        assert low.held is False
        cells = re.split(r"\s{2,}", row(lines, "low voltage"))
        assert cells[-1] == "NO"
        assert cells[-2] == "0.0", "a residue of the solver is no flow"

    def test_point_that_cannot_be_told_says_why(self) -> None:
        named = [{"name": "weak battery", "supply_voltage": "10 V"}]
        flow, lines = shown(TURBO_SIX, application(operating_points=named))
        weak = flow.points[-1]
        assert weak.held is None
        assert weak.why
        text = "\n".join(lines)
        reason = text[text.index("weak battery") : text.index("What each part")]
        # Other cells of the row stand between the first words and the rest, which wraps.
        told = " ".join(re.sub(r".*\?\s", "", reason, count=1).split())
        assert told == weak.why


class TestDrops:
    def test_nothing_is_lost_of_what_is_lost(self) -> None:
        flow, lines = shown(SURGE_TANK)
        start = next(n for n, line in enumerate(lines) if "What each part costs" in line)
        printed_drops = [
            float(v) for line in lines[start:] for v in re.findall(r"(\d\.\d{3}) bar", line)
        ]
        everything = sum(drop.drop.value for drop in flow.points[0].drops)
        assert sum(printed_drops) == pytest.approx(everything, abs=0.0005 * len(printed_drops))
        assert len(printed_drops) < len(flow.points[0].drops)

    def test_share_and_bar(self) -> None:
        flow, lines = shown(SURGE_TANK)
        costliest = max(flow.points[0].drops, key=lambda drop: drop.drop.value)
        assert costliest.share
        (line,) = [x for x in lines if re.search(rf" {costliest.ref}  .*%", x)]
        assert f"{costliest.drop.value:.3f} bar" in line
        assert f"{costliest.share * 100:.1f} %" in line
        assert line.count("-", line.index("%")) == round(24 * costliest.share)


class TestWhatIsNotKnown:
    def test_part_without_its_data(self) -> None:
        flow, lines = shown(FILTER_UNKNOWN)
        assert flow.points == ()
        assert row(lines, "supports").endswith("cannot be told")
        assert row(lines, "not recorded").endswith("pressure drop of filter")
        assert not any("bottleneck" in line for line in lines)
        assert not any("What each part costs" in line for line in lines)
        assert "duty" in row(lines, "injectors")

    def test_no_power_no_flow(self) -> None:
        request, report = checked(SURGE_TANK, application(power=None, power_at=None))
        assert report.flow is None
        text = printed(request, report)
        assert "Flow" not in text.splitlines()
        assert "flow and pressure drop: the request names no power" in text


class TestLooks:
    @pytest.mark.parametrize("slug", [SURGE_TANK, TURBO_SIX, BOOST_FORGOTTEN, FILTER_UNKNOWN])
    def test_a_pipe_gets_plain_lines(self, slug: str) -> None:
        text = printed(*checked(slug))
        assert ESCAPE not in text
        assert not DRAWN.search(text)
        assert text.isascii()
        lines = flow_part(text)
        assert [line for line in lines if line != line.rstrip()] == []
        assert max(map(len, lines)) <= 100
        assert "\u2026" not in text

    def test_a_terminal_gets_colour_and_drawn_bars(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("TERM", "xterm-256color")
        monkeypatch.delenv("NO_COLOR", raising=False)
        text = printed(*checked(SURGE_TANK), Terminal())
        assert ESCAPE in text
        assert re.search("46.2 %.*\u2550{8}", text)

    def test_a_narrow_terminal_loses_no_figure(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("TERM", "dumb")
        monkeypatch.setenv("COLUMNS", "80")
        request, report = checked(SURGE_TANK)
        assert report.flow
        text = printed(request, report, Terminal())
        assert "\u2026" not in text
        assert max(len(line.rstrip()) for line in text.splitlines()) <= 80
        for point in report.flow.points:
            assert point.pump_flow
            assert f"{point.pump_flow.value:.1f}" in text


def test_readme_shows_what_is_printed() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    _, _, behind = text.partition(f"lineworthy check --demo {SURGE_TANK}\n")
    shown_there = behind.split("```")[1].strip("\n").splitlines()
    _, lines = shown(SURGE_TANK)
    assert len(shown_there) == 5
    assert set(shown_there) <= set(lines)
