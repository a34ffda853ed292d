"""The demo cart changed by hand, as people change carts: what a specialist would say to it.

The cart is the tank side of a hatchback with both adapters in it, so that it fits; the car's own
rail is described beside its lines.
"""

import copy
from collections import Counter
from typing import Any

import pytest

from rules.cart import Cart
from rules.carts import CartReport, check_cart
from rules.catalogue import catalogue
from rules.check import load_rules
from rules.routing import load_templates
from seed_data import demo_carts, demo_components, demo_vehicles

BOOK = load_rules()
TEMPLATES = load_templates()
SHOP = catalogue(1, demo_components(), demo_vehicles())
(HATCH,) = demo_carts()
ADAPTER = "HF-ADP-QC516-JIC6M"
HOSE = "HF-HSE-6-FF"


def body(**changes: Any) -> dict[str, Any]:
    whole = copy.deepcopy(HATCH.body)
    whole["lines"].append({"sku": ADAPTER, "quantity": 2})
    return {**whole, **changes}


def without(*skus: str) -> dict[str, Any]:
    found = body()
    found["lines"] = [line for line in found["lines"] if line["sku"] not in skus]
    return found


def swapped(sku: str, other: str) -> dict[str, Any]:
    found = body()
    for line in found["lines"]:
        line["sku"] = other if line["sku"] == sku else line["sku"]
    return found


def with_more(*lines: dict[str, Any]) -> dict[str, Any]:
    found = body()
    found["lines"] += lines
    return found


def judge(asked: dict[str, Any]) -> CartReport:
    return check_cart(Cart.model_validate(asked), SHOP, BOOK, TEMPLATES)


def offered(report: CartReport) -> Counter[str]:
    found: Counter[str] = Counter()
    for completion in report.routing.completion:
        for part in completion.options[0].parts:
            found[part.sku] += part.quantity
    return found


def left(report: CartReport) -> list[tuple[str | None, int, str]]:
    return [(each.sku, each.quantity, each.reason) for each in report.routing.left_over]


# What waits for a missing part ------------------------------------------------------------------


@pytest.mark.parametrize("sku", [line["sku"] for line in body()["lines"]])
def test_a_port_that_waits_for_a_missing_part_gets_no_plug(sku: str) -> None:
    report = judge(without(sku))
    bought = set(offered(report))
    for finding in report.findings:
        if finding.rule == "port-left-open":
            assert finding.remedy.add == ()
            assert any(each in finding.remedy.text for each in bought)


@pytest.mark.parametrize("sku", [line["sku"] for line in body()["lines"]])
def test_what_waits_for_a_missing_part_is_not_said_to_be_unrecorded(sku: str) -> None:
    """The data of all parts are recorded: what stays open hangs on the part that lacks."""
    report = judge(without(sku))
    assert report.counts.unknown == 0
    assert report.counts.error == sum(each.severity == "error" for each in report.findings)


def test_what_hangs_on_a_missing_part_is_named_among_what_was_not_checked() -> None:
    told = judge(without(HOSE)).not_checked
    waiting = [each for each in told if each.why.endswith("it waits for what is missing")]
    assert {"pump-dead-headed", "pump-short-at-pressure"} <= {
        rule for each in waiting for rule in each.what.split(", ")
    }


# What the car keeps -----------------------------------------------------------------------------


@pytest.mark.parametrize("adapters", [0, 1])
def test_adapters_missing_before_a_rail_that_is_kept(adapters: int) -> None:
    """The hoses stay in their places; what is offered is the adapters of the filter."""
    asked = swapped("HF-FLT-10G", "HF-FLT-10G8")
    asked |= {"items": [], "outside": [], "keeps": ["rail", "injectors"]}
    asked["lines"][-1]["quantity"] = 1
    asked["lines"] += [{"sku": "HF-ADP-ORB8-JIC6M"}] * adapters
    report = judge(asked)
    assert offered(report) == {"HF-ADP-ORB8-JIC6M": 2 - adapters}
    assert report.routing.left_over == ()
    assert report.completed_verdict == "fits"
    hoses = {item.ref for item in report.routing.items if item.sku == HOSE}
    assert len(hoses) == 2
    (assumed,) = (each for each in report.routing.assumed if each.to == "rail of the car")
    assert assumed.port.partition(".")[0] in hoses


def test_an_adapter_missing_behind_a_tank_module_that_is_kept() -> None:
    asked = swapped("HF-FLT-10G", "HF-FLT-10G8")
    asked["keeps"] = ["injectors", "tank", "strainer", "pump", "module"]
    keep = {HOSE, "HF-FLT-10G8", ADAPTER}
    asked["lines"] = [line for line in asked["lines"] if line["sku"] in keep]
    asked["lines"][-1]["quantity"] = 1
    report = judge(asked)
    assert offered(report) == {"HF-ADP-ORB8-JIC6M": 2}
    assert report.routing.left_over == ()
    assert report.completed_verdict == "fits"


@pytest.mark.parametrize("keeps", [["module"], ["module", "pump"], ["pump"], ["filter"]])
def test_the_direction_of_the_filter_is_known_beside_what_the_car_keeps(keeps: list[str]) -> None:
    report = judge(body(keeps=["injectors", *keeps]))
    assert "flow-direction-reversed" not in {
        rule for finding in report.findings for rule in (finding.rule, *finding.open_rules)
    }


def test_a_filter_turned_round_is_told_beside_what_the_car_keeps() -> None:
    asked = body(keeps=["injectors", "module"])
    for line in asked["lines"]:
        if line["sku"] == "HF-FLT-10G":
            line["ref"] = "filter"
    asked["items"][0]["ref"] = "rail"
    asked["outside"][0]["port"] = "rail.injectors"
    asked["lines"] = [line for line in asked["lines"] if line["sku"] != HOSE]
    asked["lines"] += [
        {"sku": HOSE, "length": "2.6 m", "ref": "long"},
        {"sku": HOSE, "length": "0.5 m", "ref": "short"},
    ]
    asked["outside"].append(
        {"port": "long.a", "to": "module of the car", "line": "feed", "flow": "in"}
    )
    asked["joints"] = [["long.b", "filter.outlet"], ["short.a", "filter.inlet"]]
    report = judge(asked)
    assert ("flow-direction-reversed", "error") in {
        (finding.rule, finding.severity) for finding in report.findings
    }
