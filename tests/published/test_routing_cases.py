"""Questions from the trade about carts: wrong ports, lost sizes, forgotten adapters.

Each takes its id from `cases.jsonl`, where the situation and the right answer stand. Parts around
the case are sound ones of the stock beside it.
"""

import json
from pathlib import Path
from typing import Any

import pytest

from rules.cart import Cart
from rules.catalogue import catalogue
from rules.check import AssemblyFaults
from rules.parts import read_component
from rules.routing import load_templates, route
from seed_data import demo_components, demo_vehicles

HERE = Path(__file__).parent
CASES = {
    case["id"]: case
    for case in map(json.loads, (HERE / "cases.jsonl").read_text("utf-8").splitlines())
}
SHOP = catalogue(1, demo_components(), demo_vehicles())
TEMPLATES = load_templates()
PETROL: dict[str, Any] = {
    "fuel": "E10",
    "induction": "naturally-aspirated",
    "cylinders": 4,
    "base_pressure": "3 bar",
    "power": "110 kW",
    "power_at": "crank",
    "circuit": "return",
}


def cart(*lines: dict[str, Any], **more: Any) -> Cart:
    return Cart.model_validate({"application": PETROL, "lines": list(lines), **more})


def line(sku: str, quantity: int = 1, **more: Any) -> dict[str, Any]:
    return {"sku": sku, "quantity": quantity, **more}


def hard_line(ref: str, size: str, diameter_mm: float, role: str) -> dict[str, Any]:
    """A steel line of the car: its near end as given, its far end on the rest of the car."""
    end = {"system": "quick-connect", "size": size, "gender": "male"}
    return {
        "ref": ref,
        "line": role,
        "component": {
            "name": f"Steel line of the car, {size}",
            "kind": "hard-line",
            "ports": [
                {
                    "id": name,
                    "role": "either",
                    "connection": end,
                    "bead": True,
                    "diameter": f"{diameter_mm} mm",
                }
                for name in ("near", "far")
            ],
            "wetted": [{"part": "tube", "material": "stainless-steel-300"}],
            "working_pressure": "20 bar",
        },
    }


def test_fc_012_two_equal_adapters_for_unequal_lines() -> None:
    """Feed 3/8, return 5/16: of two 3/8 adapters one fits, the other is 1.6 mm too large."""
    case = CASES["FC-012"]
    found = route(
        cart(
            line("HF-RAIL-I4"),
            line("HF-REG-2"),
            line("HF-HSE-6-FF", 3, length="1 m"),
            line("HF-ADP-QC38-JIC6M", 2),
            line("HF-ADP-ORB8-JIC6M", 2),
            line("HF-ADP-ORB6-JIC6M", 2),
            line("HF-PLG-ORB4"),
            items=[
                hard_line("feed", "3/8", 9.49, "feed"),
                hard_line("back", "5/16", 7.89, "return"),
            ],
            outside=[
                {"port": "feed.far", "to": "filter of the car"},
                {"port": "back.far", "to": "tank lid of the car"},
            ],
            keeps=["tank", "strainer", "pump", "module", "filter", "injectors"],
        ),
        SHOP,
        TEMPLATES,
    )
    (left,) = found.left_over
    assert (left.sku, left.reason) == ("HF-ADP-QC38-JIC6M", "wrong-size")
    assert f"{case['number']['value']:g} mm too large" in left.message
    bought = [part.sku for each in found.completion for part in each.options[0].parts]
    assert any(sku.startswith("HF-ADP-QC516") for sku in bought)


def test_fc_088_a_number_that_lost_its_zeros_is_not_taken_for_another() -> None:
    part = SHOP.parts["HF-ADP-ORB6-JIC6M"]
    shop = catalogue(1, [part.model_copy(update={"sku": sku}) for sku in ("0017", "90.750")])
    for asked, meant in (("17", "0017"), ("90.75", "90.750")):
        with pytest.raises(AssemblyFaults) as refused:
            route(cart(line(asked)), shop, TEMPLATES)
        (fault,) = refused.value.faults
        assert fault.pointer == "/lines/0/sku"
        assert asked not in shop.parts
        assert meant in fault.expected or asked == "90.75"


@pytest.mark.parametrize("case_id", ["FC-002", "FC-016"])
def test_a_rail_whose_ports_nobody_recorded_is_asked_about(case_id: str) -> None:
    """A bore tells no port: nothing is screwed into it, and its connection is asked for."""
    assert CASES[case_id]["verdict"] == "needs-information"
    rail = read_component(
        {
            "sku": "UNKNOWN-RAIL",
            "name": "Rail, bore about half an inch",
            "kind": "rail",
            "ports": [
                {"id": "in", "role": "either", "bore": "12.7 mm"},
                {"id": "out", "role": "either", "bore": "12.7 mm"},
            ],
        }
    )
    shop = catalogue(1, [*demo_components(), rail], demo_vehicles())
    found = route(
        cart(line("HF-FLT-10G"), line("UNKNOWN-RAIL"), line("HF-REG-1"), line("HF-HSE-6-FF")),
        shop,
        TEMPLATES,
    )
    ends = {end for joint in found.joints for end in joint.ends}
    assert not any(end.startswith("unknown-rail.") for end in ends)
    asked = [missing.asks for missing in found.unfilled if missing.asks]
    assert any("the connection of unknown-rail." in each for each in asked)


def test_fc_013_the_ends_of_the_sensor_are_not_those_of_the_line() -> None:
    """The 5/16 adapter and the plugs are missing, the two 3/8 adapters are for the sensor."""
    found = route(
        cart(
            line("HF-RAIL-I4"),
            line("HF-SNS-ETH"),
            line("HF-FLT-10G"),
            line("HF-HSE-6-FF", 2, length="0.5 m"),
            line("HF-ADP-ORB8-JIC6M"),
            line("HF-ADP-QC38-JIC6M", 2),
            items=[hard_line("feed", "5/16", 7.89, "feed")],
            outside=[{"port": "feed.far", "to": "tank lid of the car"}],
            keeps=["tank", "strainer", "pump", "module", "injectors"],
            application={**PETROL, "circuit": "returnless"},
        ),
        SHOP,
        TEMPLATES,
    )
    used = [item.sku for item in found.items]
    assert used.count("HF-ADP-QC38-JIC6M") == 2
    assert "HF-SNS-ETH" in used
    bought = [part.sku for each in found.completion for part in each.options[0].parts]
    assert any(sku.startswith("HF-ADP-QC516") for sku in bought)
    assert {"HF-PLG-ORB8", "HF-PLG-ORB4"} <= set(bought)
