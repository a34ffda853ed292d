"""No text of an answer is broken: no gap where a word is missing, no name of a thing in code."""

import copy
import re
from collections.abc import Iterator
from typing import Any

import pytest

from rules.assembly import Request
from rules.cart import Cart
from rules.carts import check_cart
from rules.catalogue import catalogue
from rules.check import check, load_rules
from rules.report import Report
from rules.routing import load_templates
from seed_data import DemoAssembly, demo_assemblies, demo_carts, demo_components, demo_vehicles

BOOK = load_rules()
TEMPLATES = load_templates()
SHOP = catalogue(1, demo_components(), demo_vehicles())
DEMOS = demo_assemblies()
FITTING = [demo for demo in DEMOS if demo.expect.verdict == "fits"]
(HATCH,) = demo_carts()

# Each with a text that it is to find.
BROKEN = {
    r"  ": "limited  Sources differ",
    r" [,.;:]": "bore of , the hoses",
    r"[,;:]\.": "Not recorded:.",
    r",,|\.\.": "one,, two",
    r"\bof (of|,|\.)": "bore of of it",
    r"\b(the the|a a|in in|and and)\b": "of the the rail",
    r"\b(None|True|False|UNKNOWN|nan|inf)\b": "length None",
    r"[{}<>]": "{name} is open",
    r"\(\)|``|''": "rail ()",
    r"^\s|\s$": "unplated. ",
    r"^$": "",
    r"\b[a-z]+(_[a-z]+)+\b": "built_in_regulator",
    # What is not recorded is a thing, not a statement.
    r"[Nn]ot recorded: (?!where)[^.]*\b(has|is|are|holds|goes|fits)\b[^.]* of ": (
        "Not recorded: surplus has a way back of the fuel system"
    ),
}
_TEXTS = {"message", "explanation", "text", "why", "asks", "notes", "name", "what", "fact"}


def texts(told: Any, key: str = "") -> Iterator[str]:
    """Every text of an answer that people read."""
    if isinstance(told, str) and key in _TEXTS:
        yield told
    elif isinstance(told, dict):
        for name, value in told.items():
            yield from texts(value, name)
    elif isinstance(told, list):
        for value in told:
            yield from texts(value, key)


def broken(report: Report) -> list[tuple[str, str]]:
    return [
        (pattern, text)
        for text in dict.fromkeys(texts(report.model_dump(mode="json")))
        for pattern in BROKEN
        if re.search(pattern, text)
    ]


def judge(body: dict[str, Any]) -> Report:
    return check_cart(Cart.model_validate(body), SHOP, BOOK, TEMPLATES)


def cart_of(demo: DemoAssembly) -> dict[str, Any]:
    keys = ("ref", "sku", "quantity", "length")
    items = [item for item in demo.body["items"] if "sku" in item]
    return {
        "application": dict(demo.body["application"]),
        "vehicle": demo.body.get("vehicle"),
        "lines": [{key: item[key] for key in keys if key in item} for item in items],
    }


@pytest.mark.parametrize(("pattern", "text"), BROKEN.items())
def test_what_is_broken_is_found(pattern: str, text: str) -> None:
    assert re.search(pattern, text)


@pytest.mark.parametrize("demo", DEMOS, ids=lambda demo: demo.slug)
def test_texts_of_an_assembly_and_of_its_cart(demo: DemoAssembly) -> None:
    assert broken(check(demo.request, SHOP, BOOK)) == []
    assert broken(judge(cart_of(demo))) == []


@pytest.mark.parametrize("demo", FITTING, ids=lambda demo: demo.slug)
def test_texts_of_a_cart_without_one_line(demo: DemoAssembly) -> None:
    body = cart_of(demo)
    for place in range(len(body["lines"])):
        lines = [line for at, line in enumerate(body["lines"]) if at != place]
        assert broken(judge({**body, "lines": lines})) == []


@pytest.mark.parametrize("demo", FITTING, ids=lambda demo: demo.slug)
def test_texts_of_an_application_that_lacks_a_word(demo: DemoAssembly) -> None:
    for name in demo.body["application"]:
        if name != "fuel":
            body = copy.deepcopy(demo.body)
            del body["application"][name]
            if name == "power":
                body["application"].pop("power_at", None)
            assert broken(check(Request.model_validate(body), SHOP, BOOK)) == []
            cart = cart_of(demo)
            cart["application"] = body["application"]
            assert broken(judge(cart)) == []


LINES = [*HATCH.body["lines"], {"sku": "HF-ADP-QC516-JIC6M", "quantity": 2}]


@pytest.mark.parametrize("place", range(len(LINES)), ids=[line["sku"] for line in LINES])
def test_texts_of_a_cart_with_another_part_of_the_kind(place: int) -> None:
    """Parts of which little is recorded, of other sizes, discontinued, for other circuits."""
    kind = SHOP.parts[LINES[place]["sku"]].kind
    for part in SHOP:
        if part.kind == kind:
            lines = copy.deepcopy(LINES)
            lines[place]["sku"] = part.sku
            assert broken(judge({**HATCH.body, "lines": lines})) == [], part.sku


@pytest.mark.parametrize("kind", sorted({part.kind for part in SHOP}))
def test_texts_of_a_cart_with_a_part_too_many(kind: str) -> None:
    for part in SHOP:
        if part.kind == kind:
            lines = [*LINES, {"sku": part.sku}]
            assert broken(judge({**HATCH.body, "lines": lines})) == [], part.sku


@pytest.mark.parametrize("fuel", ["E0", "E85", "flex", "M100", "RACE-OX"])
@pytest.mark.parametrize("vehicle", [None, *SHOP.vehicles])
def test_texts_of_a_cart_on_another_fuel_and_in_another_car(fuel: str, vehicle: str | None) -> None:
    application = {**HATCH.body["application"], "fuel": fuel}
    for keeps in (["injectors"], ["injectors", "module"], ["injectors", "pump", "filter"]):
        body = {**HATCH.body, "application": application, "vehicle": vehicle, "keeps": keeps}
        assert broken(judge({**body, "lines": LINES})) == []


def test_texts_about_hoses_whose_bore_nobody_recorded() -> None:
    bare = [
        part.model_copy(
            update={
                "ports": tuple(
                    port.model_copy(update={"bore_mm": None, "diameter_mm": None})
                    for port in part.ports
                )
            }
        )
        if part.kind == "bulk-hose"
        else part
        for part in SHOP
    ]
    shop = catalogue(1, bare, demo_vehicles())
    for demo in FITTING:
        report = check_cart(Cart.model_validate(cart_of(demo)), shop, BOOK, TEMPLATES)
        assert broken(report) == []
