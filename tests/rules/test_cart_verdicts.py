"""The verdict on a cart is that on its parts as they go together, no harsher and no softer."""

from collections import Counter
from typing import Any

import pytest

from rules.assembly import Request
from rules.cart import Cart
from rules.carts import CartReport, check_cart
from rules.catalogue import catalogue
from rules.check import check, load_rules
from rules.report import Finding
from rules.routing import load_templates
from seed_data import (
    DemoAssembly,
    demo_assemblies,
    demo_carts,
    demo_components,
    demo_vehicles,
)

BOOK = load_rules()
TEMPLATES = load_templates()
SHOP = catalogue(1, demo_components(), demo_vehicles())
FITTING = [demo for demo in demo_assemblies() if demo.expect.verdict == "fits"]
FUELS = ["E0", "E10", "E20", "E85", "flex", "E100", "M100", "RACE-OX"]


def cart_of(demo: DemoAssembly, **application: Any) -> Cart:
    """The items of a demo assembly as lines, under their own names."""
    lines = [
        {key: item[key] for key in ("ref", "sku", "quantity", "length") if key in item}
        for item in demo.body["items"]
    ]
    return Cart.model_validate(
        {
            "application": {**demo.body["application"], **application},
            "vehicle": demo.body.get("vehicle"),
            "lines": lines,
            "outside": demo.body.get("outside", []),
        }
    )


def request_of(demo: DemoAssembly, **application: Any) -> Request:
    return Request.model_validate(
        {**demo.body, "application": {**demo.body["application"], **application}}
    )


def judge(cart: Cart) -> CartReport:
    return check_cart(cart, SHOP, BOOK, TEMPLATES)


def found(findings: tuple[Finding, ...]) -> Counter[tuple[str, str]]:
    return Counter((finding.rule, finding.severity) for finding in findings)


@pytest.mark.parametrize("fuel", FUELS)
@pytest.mark.parametrize("demo", FITTING, ids=lambda demo: demo.slug)
def test_a_cart_is_judged_as_the_assembly_is(demo: DemoAssembly, fuel: str) -> None:
    """The same parts, their joints given or found, on whatever fuel: the same findings."""
    told = judge(cart_of(demo, fuel=fuel))
    meant = check(request_of(demo, fuel=fuel), SHOP, BOOK)
    assert told.verdict == meant.verdict
    assert found(told.findings) == found(meant.findings)


# What is only recommended -----------------------------------------------------------------------

(HATCH,) = demo_carts()


def hatch(**application: Any) -> Cart:
    """The demo cart with the adapters that were forgotten."""
    lines = [*HATCH.body["lines"], {"sku": "HF-ADP-QC516-JIC6M", "quantity": 2}]
    told = {**HATCH.body["application"], **application}
    return Cart.model_validate({**HATCH.body, "lines": lines, "application": told})


@pytest.mark.parametrize("fuel", ["E85", "flex"])
def test_a_sensor_that_is_only_recommended_is_offered_and_does_not_decide(fuel: str) -> None:
    report = judge(hatch(fuel=fuel))
    assert report.verdict == "fits-with-cautions"
    (missing,) = report.routing.unfilled
    assert (missing.id, missing.what, missing.required) == ("ethanol-sensor", "station", False)
    assert missing.between == report.routing.completion[0].options[0].undoes[0].ends
    for option in report.routing.completion[0].options:
        skus = Counter(part.sku for part in option.parts)
        assert skus["HF-SNS-ETH"] == 1
        assert skus["HF-ADP-QC38-JIC6M"] == 2
        # What the sensor goes between is joined to it through what is bought with it.
        (undone,) = option.undoes
        assert set(undone.ends) <= {end for joint in option.joints for end in joint.ends}
    assert "ethanol-sensor-missing" not in {each.rule for each in report.completed_findings}
    assert "port-left-open" not in {each.rule for each in report.completed_findings}


def test_a_cart_made_for_a_sensor_that_it_lacks_is_laid_out_around_it() -> None:
    """Adapters and a hose for it are in the cart: it is missing between them."""
    demo = next(each for each in FITTING if each.slug == "02-turbo-six-e85")
    cart = cart_of(demo)
    lines = tuple(line for line in cart.lines if line.sku != "HF-SNS-ETH")
    report = judge(cart.model_copy(update={"lines": lines}))
    assert report.verdict == "does-not-fit"
    (missing,) = report.routing.unfilled
    assert (missing.id, missing.required) == ("ethanol-sensor", False)
    assert len(missing.between) == 2
    assert report.completed_verdict == "fits"
