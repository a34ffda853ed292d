"""What the trade takes for granted of a boosted straight six, against what the flow computes.

Common practice, no source: port injectors are rated at 3 bar; with a regulator that follows the
manifold 1:1 the same injectors serve under boost; size 6 lines, rails of 12 mm bore and pump
outlets of 8 or 10 mm are usual on a boosted six; six injectors of 1,000 cc/min carry it through
mild builds, and 1,400 cc/min are the next step.
"""

from typing import Any

import pytest

from tests.rules.flow_systems import (
    figures_of,
    flow_of,
    fuel_filter,
    hat,
    hose,
    injectors,
    pump,
    rail,
    regulator,
    return_system,
    straight_curve,
)

SIZE_6_MM, SIZE_8_MM = 7.9, 10.3
FUELS = ("E0", "E85")
HP = 0.7456999


def pump_of(outlet_mm: float) -> dict[str, Any]:
    """A strong pump in the tank, 450 L/h at 3 bar, as the demo shop's largest."""
    found = pump([straight_curve(485, 215, "12 V"), straight_curve(552, 282, "13.5 V")])
    found["ports"][1]["bore"] = f"{outlet_mm} mm"
    return found


def six(
    cc_min: int,
    fuel: str,
    *,
    line_mm: float = SIZE_6_MM,
    outlet_mm: float = 8.0,
    boost: str = "1.2 bar",
    power: str = "300 kW",
) -> dict[str, Any]:
    """A boosted six as it is usually built: lengths of a saloon, hose ends a little narrower."""

    def line(length: str) -> dict[str, Any]:
        found = hose(f"{line_mm} mm", length)
        for end in found["ports"]:
            end["bore"] = f"{line_mm - 0.4:.1f} mm"
        return found

    lid = hat(f"{outlet_mm} mm")
    lid["ports"][0]["bore"] = f"{outlet_mm} mm"
    return return_system(
        {
            "pump": pump_of(outlet_mm),
            "hat": lid,
            "feed-1": line("1.4 m"),
            "filter": fuel_filter([(100, 0.8), (300, 4.0), (600, 14.0)]),
            "feed-2": line("3.1 m"),
            "rail": rail(6, "12 mm", injector_pitch="98 mm", length="600 mm"),
            "injectors": (6, injectors(f"{cc_min} cc/min")),
            "reg": regulator(seat_bore="6 mm"),
            "back": line("4.2 m"),
        },
        fuel=fuel,
        power=power,
        boost=boost,
    )


def injectors_support_kw(cc_min: int, fuel: str) -> float:
    found = flow_of(six(cc_min, fuel)).injectors
    assert found is not None
    return found.supports_power.value


def lines_support_kw(fuel: str, **build: Any) -> float:
    found = figures_of(six(1000, fuel, **build)).without_injectors
    assert found is not None
    return found


def test_injectors_of_1000_and_1400_on_petrol_and_e85() -> None:
    supported = {(cc, f): injectors_support_kw(cc, f) for cc in (1000, 1400) for f in FUELS}
    # Of the order of 800 and 550 hp: mild builds of a boosted six, more on petrol than on E85.
    assert supported[1000, "E0"] / HP == pytest.approx(800, rel=0.05)
    assert supported[1000, "E85"] / HP == pytest.approx(550, rel=0.05)
    # E85 takes about 1.4 times the volume: who changes to it at the same power takes the next step.
    assert supported[1400, "E85"] == pytest.approx(supported[1000, "E0"], rel=0.05)
    for fuel in FUELS:
        assert supported[1400, fuel] == pytest.approx(1.4 * supported[1000, fuel], rel=1e-3)


def test_the_same_injectors_serve_under_boost() -> None:
    duties = [
        flow_of(six(1000, "E0", boost=boost)).injectors
        for boost in ("0.4 bar", "1.2 bar", "1.8 bar")
    ]
    assert len({found.duty for found in duties if found is not None}) == 1
    pressures = [
        flow_of(six(1000, "E0", boost=b)).points[0].target.value
        for b in ("0.4 bar", "1.2 bar", "1.8 bar")
    ]
    assert pressures == pytest.approx([3.4, 4.2, 4.8])


@pytest.mark.parametrize("fuel", FUELS)
def test_size_6_lines_carry_what_six_injectors_of_1000_pass(fuel: str) -> None:
    mild = six(1000, fuel, power=f"{0.95 * injectors_support_kw(1000, fuel):.0f} kW")
    figures = figures_of(mild)
    row = figures.end.full_load
    drop, spread = figures.feed_drop_kpa(row), figures.spread_kpa(row)
    assert drop is not None
    assert spread is not None
    assert drop < 50
    assert spread < 0.02 * 300
    assert lines_support_kw(fuel) > injectors_support_kw(1000, fuel)


@pytest.mark.parametrize("fuel", FUELS)
def test_for_1400_the_pump_is_the_next_limit_and_the_lines_come_last(fuel: str) -> None:
    flow = flow_of(six(1400, fuel))
    assert flow.supports_power is not None
    now = flow.supports_power.value
    assert injectors_support_kw(1000, fuel) < now < injectors_support_kw(1400, fuel)
    limits = [(limit.ref, limit.supports_power_without_it) for limit in flow.limited_by]
    assert limits[0][0] == "pump"
    # No single part of the lines costs more than a few per cent of the power.
    for _, without in limits[1:]:
        assert without is not None
        assert without.value < 1.06 * now


@pytest.mark.parametrize("fuel", FUELS)
def test_a_size_8_line_and_a_10_mm_outlet_buy_little_on_one_pump(fuel: str) -> None:
    usual = lines_support_kw(fuel)
    outlet = lines_support_kw(fuel, outlet_mm=10.0)
    line = lines_support_kw(fuel, line_mm=SIZE_8_MM)
    both = lines_support_kw(fuel, line_mm=SIZE_8_MM, outlet_mm=10.0)
    assert usual <= outlet <= both
    assert usual <= line <= both
    assert both < 1.12 * usual


def test_what_each_pair_of_injectors_and_lines_supports() -> None:
    """The table of pairs in kW: what limits goes from the injectors to pump and lines."""
    pairs = {
        (cc, line, fuel): flow_of(six(cc, fuel, line_mm=line)).supports_power
        for cc in (1000, 1400)
        for line in (SIZE_6_MM, SIZE_8_MM)
        for fuel in FUELS
    }
    kw = {pair: found.value for pair, found in pairs.items() if found is not None}
    assert len(kw) == 8
    for fuel in FUELS:
        # With 1,000 the injectors decide, whatever the line; with 1,400 the line begins to count.
        assert kw[1000, SIZE_6_MM, fuel] == kw[1000, SIZE_8_MM, fuel]
        assert kw[1400, SIZE_6_MM, fuel] < kw[1400, SIZE_8_MM, fuel]
        assert kw[1000, SIZE_6_MM, fuel] < kw[1400, SIZE_6_MM, fuel]
    for cc in (1000, 1400):
        for line in (SIZE_6_MM, SIZE_8_MM):
            assert 0.6 < kw[cc, line, "E85"] / kw[cc, line, "E0"] < 0.8
