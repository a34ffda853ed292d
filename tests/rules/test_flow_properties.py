"""What must hold of the flow of any system: more power, wider pipes, other orders, missing data."""

import json
import random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.facts.flow import Figures
from tests.rules.flow_systems import (
    curve,
    figures_of,
    flow_of,
    fuel_filter,
    hat,
    hose,
    injectors,
    pump,
    rail,
    regulator,
    report_of,
    return_system,
    returnless_system,
    study_of,
    with_parts,
)

quick = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
ANSWERS_BEST_FIRST = ("fits", "fits-with-cautions", "cannot-tell", "does-not-fit")

bores = st.floats(5.0, 14.0).map(lambda mm: round(mm, 2))
lengths = st.floats(0.3, 6.0).map(lambda m: round(m, 2))
powers = st.integers(60, 900)


@st.composite
def pumps(draw: st.DrawFn) -> dict[str, Any]:
    """A pump whose flow falls more or less straight, at two voltages."""
    most = draw(st.integers(200, 900))
    fall = draw(st.floats(0.02, 0.08))
    points = [(kpa, round(most * (1 - fall * kpa / 100.0), 1)) for kpa in (0, 200, 400, 600, 900)]
    weaker = [(kpa, round(0.85 * lph, 1)) for kpa, lph in points]
    return pump([curve(weaker, "12 V"), curve(points)])


@st.composite
def systems(draw: st.DrawFn) -> dict[str, Any]:
    """A system with a return, of any size."""
    return return_system(
        {
            "pump": draw(pumps()),
            "hat": hat(f"{draw(bores)} mm"),
            "feed-1": hose(f"{draw(bores)} mm", f"{draw(lengths)} m"),
            "feed-2": hose(f"{draw(bores)} mm", f"{draw(lengths)} m"),
            "filter": fuel_filter([(100, 1), (1200, draw(st.integers(5, 60)))]),
            "rail": rail(bore=f"{draw(st.floats(7, 16)):.1f} mm"),
            "reg": regulator(seat_bore=f"{draw(st.floats(4, 10)):.1f} mm"),
            "back": hose(f"{draw(bores)} mm", f"{draw(lengths)} m"),
        },
        fuel=draw(st.sampled_from(("E0", "E10", "E85"))),
        power=f"{draw(powers)} kW",
    )


def limit_of(body: dict[str, Any]) -> float | None:
    found = study_of(body).best
    return None if found is None else found.limit.flow_lph


@given(body=systems(), more=st.integers(1, 300))
@quick
def test_more_power_never_raises_the_rail(body: dict[str, Any], more: int) -> None:
    harder = json.loads(json.dumps(body))
    kw = float(body["application"]["power"].removesuffix(" kW"))
    harder["application"]["power"] = f"{kw + more} kW"
    before, after = figures_of(body), figures_of(harder)
    row = before.end.full_load
    easy, hard = before.rail_kpa(row), after.rail_kpa(row)
    if easy is not None and hard is not None:
        assert hard <= easy + 0.2


@given(body=systems(), short=st.integers(1, 300))
@quick
def test_where_the_rail_sags_the_injectors_feed_the_engine_or_stand_wide_open(
    body: dict[str, Any], short: int
) -> None:
    """An opening that stops short of either would show a rail higher than that of less power."""
    kw = float(body["application"]["power"].removesuffix(" kW"))
    body["application"]["power"] = f"{kw + short} kW"
    figures = figures_of(body)
    assert figures.injectors is not None
    for row, state in enumerate(figures.end.states):
        wanted, burnt = figures.end.bench.flow_of(state), figures.burnt_lph(row)
        if not figures.solved(row) or burnt is None or burnt >= wanted * (1 - 3e-3):
            continue
        opened = figures.end.batch.rows[row].flow_lph
        widest = max(wanted, min(figures.injectors.static_lph, 3 * wanted))
        assert opened == pytest.approx(widest)


@given(base=st.integers(200, 330), more=st.sampled_from((0.1, 0.5, 2.0, 10.0)))
@quick
def test_a_little_more_power_lowers_a_sagging_rail_a_little(base: int, more: float) -> None:
    points = [(kpa, round(300 * (1 - 0.02 * kpa / 100.0), 1)) for kpa in (0, 200, 400, 600, 900)]
    weaker = [(kpa, round(0.85 * lph, 1)) for kpa, lph in points]
    flat = pump([curve(weaker, "12 V"), curve(points)])
    large = (6, injectors("3000 cc/min"))

    def rail_at(kw: float) -> float:
        body = return_system({"pump": flat}, power=f"{kw} kW", fuel="E85")
        figures = figures_of(with_parts(body, injectors=large))
        found = figures.rail_kpa(figures.end.full_load)
        return -1.0 if found is None else found

    assert rail_at(base + more) <= rail_at(base) + 0.02


@given(body=systems(), ref=st.sampled_from(("feed-1", "feed-2")), wider=st.floats(1.05, 2.0))
@quick
def test_a_wider_pipe_never_lowers_what_is_supported(
    body: dict[str, Any], ref: str, wider: float
) -> None:
    (item,) = [each for each in body["items"] if each["ref"] == ref]
    bore = float(item["component"]["spec"]["bore"].removesuffix(" mm"))
    length = item["component"]["spec"]["length"]
    widened = with_parts(body, **{ref.replace("-", "_"): hose(f"{bore * wider:.3f} mm", length)})
    before, after = limit_of(body), limit_of(widened)
    if before is not None and after is not None:
        # Where pipes meet, a wider one makes a step of its own; it costs far less than it saves.
        assert after >= before * (1 - 2e-3)


@given(body=systems())
@quick
def test_mass_balances_at_every_joint_and_in_the_whole(body: dict[str, Any]) -> None:
    figures = figures_of(body)
    solution = figures.end.batch.solution
    for row in range(len(figures.end.states)):
        if figures.solved(row):
            assert abs(solution.mass_residuals_lph[row]).max() < 1e-4
            pumped, burnt = figures.pump_lph(row), figures.burnt_lph(row)
            back = figures.spilled_lph(row)
            assert pumped == pytest.approx(burnt + back, abs=0.01)  # type: ignore[operator]


@given(body=systems())
@quick
def test_pressure_never_rises_along_a_line(body: dict[str, Any]) -> None:
    figures = figures_of(body)
    plan = figures.end.plan
    for row in range(len(figures.end.states)):
        if not figures.solved(row):
            continue
        for piece in plan.pieces.values():
            flow = figures.flow_lph(piece.id, row)
            if piece.what != "pump" and flow is not None and flow > 1e-6:
                start = figures.pressure_kpa(piece.start, row)
                end = figures.pressure_kpa(piece.end, row)
                assert start >= end - 1e-4  # type: ignore[operator]


@given(body=systems())
@quick
def test_no_perfect_part_lowers_what_is_supported(body: dict[str, Any]) -> None:
    end = study_of(body).best
    if end is None or end.limit.flow_lph is None:
        return
    for limit in end.perfect.values():
        assert limit.flow_lph is None or limit.flow_lph >= end.limit.flow_lph - 0.05


@given(body=systems())
@quick
def test_held_and_limit_say_the_same_of_full_load(body: dict[str, Any]) -> None:
    figures = figures_of(body)
    end, row = figures.end, figures.end.full_load
    rail, limit = figures.rail_kpa(row), end.limit.flow_lph
    wanted = end.need.demand.volume_flow_lph
    # Within half a percent of the limit the search and the state may round to either side.
    if rail is None or limit is None or abs(limit / wanted - 1) < 5e-3:
        return
    target = end.bench.targets.rail_kpa(end.states[row])
    assert (target - rail <= end.bench.targets.tolerance_kpa) == (limit >= wanted)


@given(body=systems(), seed=st.integers(0, 2**32))
@quick
def test_the_order_of_parts_does_not_matter(body: dict[str, Any], seed: int) -> None:
    shuffled = json.loads(json.dumps(body))
    chance = random.Random(seed)
    chance.shuffle(shuffled["items"])
    chance.shuffle(shuffled["joints"])
    assert flow_of(shuffled).model_dump_json() == flow_of(body).model_dump_json()


@given(body=systems(), ref=st.sampled_from(("feed-1", "feed-2", "back", "hat", "rail", "reg")))
@quick
def test_forgetting_a_bore_never_turns_a_refusal_into_a_pass(
    body: dict[str, Any], ref: str
) -> None:
    forgotten = json.loads(json.dumps(body))
    (item,) = [each for each in forgotten["items"] if each["ref"] == ref]
    for each in item["component"]["ports"]:
        each.pop("bore", None)
    item["component"]["spec"].pop("bore", None)
    item["component"]["spec"].pop("seat_bore", None)
    before, after = report_of(body), report_of(forgotten)
    order = ANSWERS_BEST_FIRST
    if before.verdict == "does-not-fit":
        assert after.verdict in ("does-not-fit", "cannot-tell")
    else:
        assert order.index(after.verdict) >= order.index(before.verdict)


@given(
    pump_part=pumps(),
    bore=st.floats(5.0, 10.0),
    length=lengths,
    power=st.integers(40, 500),
)
@quick
def test_without_a_return_the_rail_is_below_the_module_by_the_drop_of_the_line(
    pump_part: dict[str, Any], bore: float, length: float, power: int
) -> None:
    body = returnless_system(
        {"pump": pump_part, "feed": hose(f"{bore:.2f} mm", f"{length} m")}, power=f"{power} kW"
    )
    found = study_of(body)
    assert found.best is not None
    figures = Figures(found.best, found.best_injectors)
    row = figures.end.full_load
    rail_kpa, spilled = figures.rail_kpa(row), figures.spilled_lph(row)
    if rail_kpa is not None and spilled is not None and spilled > 0.1:
        drops = [figures.end.batch.drop_of(ref, row) for ref in ("feed", "rail")]
        assert rail_kpa == pytest.approx(400 - sum(drops), abs=1.5)


@given(body=systems(), power_at=st.sampled_from(("crank", "wheels")))
@quick
def test_not_saying_where_power_is_measured_never_answers_what_one_of_both_denies(
    body: dict[str, Any], power_at: str
) -> None:
    silent, stated = json.loads(json.dumps(body)), json.loads(json.dumps(body))
    silent["application"].pop("power_at")
    stated["application"]["power_at"] = power_at
    fired = {f.rule for f in report_of(silent).findings if f.severity in ("error", "warning")}
    of_one = {f.rule for f in report_of(stated).findings if f.severity in ("error", "warning")}
    assert fired <= of_one
