"""What a finding suggests settles it: put in and judged again, whatever the assembly."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from rules.assembly import Request, Vehicle
from rules.catalogue import Catalogue, catalogue
from rules.check import AssemblyFaults, check, load_rules
from rules.parts import Component, read_component
from rules.report import Finding, Report, Suggestion
from seed_data import DemoAssembly, demo_assemblies, demo_components, demo_vehicles
from tests.rules.remedied import remedied

BOOK = load_rules()
SHOP = catalogue(1, demo_components(), demo_vehicles())
CASES = Path(__file__).parents[1] / "published" / "case_assemblies"
STOCK = [read_component(part) for part in json.loads((CASES / "stock.json").read_text())]


def assemblies() -> Iterator[tuple[str, Request, Catalogue]]:
    for demo in demo_assemblies():
        yield demo.slug, demo.request, SHOP
    for path in sorted(CASES.glob("FC-*.json")):
        case = json.loads(path.read_text())
        vehicles = [Vehicle.model_validate(each) for each in case.get("vehicles", [])]
        shop = catalogue(1, STOCK, vehicles)
        for number, asked in enumerate(case.get("checks", [])):
            yield f"{path.stem}-{number}", Request.model_validate(asked["request"]), shop


ASSEMBLIES = {name: (request, shop) for name, request, shop in assemblies()}


def complaints(request: Request, shop: Catalogue) -> list[str]:
    """What is wrong with what a report on the request suggests."""
    before = check(request, shop, BOOK)
    return [
        f"{finding.rule} with {[s.sku for s in suggestions(finding)]}: {fault}"
        for finding in before.findings
        if suggestions(finding) and not is_of_the_vehicle(finding, request)
        for fault in faults_of(finding, before, request, shop)
    ]


def suggestions(finding: Finding) -> tuple[Suggestion, ...]:
    return (*finding.remedy.add, *finding.remedy.replace)


def is_of_the_vehicle(finding: Finding, request: Request) -> bool:
    own = {item.ref for item in request.items}
    return any(ref not in own for each in finding.remedy.replace for ref in each.replaces)


def faults_of(finding: Finding, before: Report, request: Request, shop: Catalogue) -> Iterator[str]:
    try:
        after = check(remedied(request, finding, shop), shop, BOOK)
    except (AssertionError, AssemblyFaults) as fault:
        yield f"cannot be put in: {fault}"
        return
    told = {suggestion.sku for suggestion in suggestions(finding)}
    asks_for_more = any(
        not told & set(need.split()) for s in suggestions(finding) for need in s.needs
    )
    for each in after.findings:
        if asks_for_more:
            continue
        if each.rule == finding.rule and is_at(each, finding):
            yield f"stays: {each.message}"
        elif each.severity == "error" and not is_covered(each, before):
            yield f"brings {each.rule}: {each.message}"


def is_at(one: Finding, place: Finding) -> bool:
    """Whether a finding is about what the suggestions of another of its rule are for."""
    named = {port for s in place.remedy.add for ports in s.between for port in ports}
    renewed = {ref for s in place.remedy.replace for ref in s.replaces}
    ports = named & set(place.subject.ports) or set(place.subject.ports)
    refs = renewed & set(place.subject.refs) or set(place.subject.refs)
    if ports and one.subject.ports:
        return bool(ports & set(one.subject.ports))
    return not refs or bool(refs & set(one.subject.refs))


def is_covered(found: Finding, by: Report) -> bool:
    return any(
        found.rule == known.rule and set(found.subject.refs) <= set(known.subject.refs)
        for known in by.findings
    )


@pytest.mark.parametrize("name", ASSEMBLIES)
def test_what_is_suggested_settles_the_finding(name: str) -> None:
    assert complaints(*ASSEMBLIES[name]) == []


def test_there_is_much_to_settle() -> None:
    told = [f.rule for a in ASSEMBLIES.values() for f in check(*a, BOOK).findings if suggestions(f)]
    assert len(set(told)) > 12


FUELS = ("E0", "E10", "E85", "M100")


def spoilt(request: Request, shop: Catalogue, chance: random.Random) -> Request:
    """The request with a few faults: parts of other SKUs, things left out, another fuel."""
    items, joints, app = list(request.items), list(request.joints), request.application
    for _ in range(chance.randint(1, 3)):
        what = chance.choice(["part", "part", "part", "joint", "uses", "fuel"])
        if what == "part":
            at = chance.randrange(len(items))
            own = shop.get(items[at].sku or "")
            alike = [p for p in shop if own is not None and p.kind == own.kind]
            if alike:
                items[at] = items[at].model_copy(update={"sku": chance.choice(alike).sku})
        elif what == "fuel":
            app = app.model_copy(update={"fuel": chance.choice(FUELS)})
        elif joints:
            at = chance.randrange(len(joints))
            joint = joints.pop(at)
            if what == "uses":
                joints.append(joint.model_copy(update={"uses": ()}))
    changed = {"items": tuple(items), "joints": tuple(joints), "application": app}
    return request.model_copy(update=changed)


@pytest.mark.parametrize("seed", range(6))
def test_and_so_in_assemblies_spoilt_by_chance(seed: int) -> None:
    chance, judged = random.Random(seed), 0
    for _ in range(60):
        request, shop = ASSEMBLIES[chance.choice(list(ASSEMBLIES))]
        other = spoilt(request, shop, chance)
        try:
            found = complaints(other, shop)
        except AssemblyFaults:
            continue  # the other part has no port of that name
        judged += 1
        assert found == [], other.model_dump_json(exclude_unset=True)
    assert judged > 20


# What feeds the engine ------------------------------------------------------------------------

WITH_POWER = [demo for demo in demo_assemblies() if demo.request.application.power_kw is not None]


def more_powerful(request: Request, times: float) -> Request:
    kw = (request.application.power_kw or 0.0) * times
    application = request.application.model_copy(update={"power_kw": kw})
    return request.model_copy(update={"application": application})


def stronger(sku: str, times: float, price: str) -> Component:
    """A pump like another that delivers so many times as much."""
    body = next(p for p in demo_components() if p.sku == sku).model_dump(mode="json")
    for curve in body["spec"]["curves"]:
        for point in curve["points"]:
            point["flow"]["value"] = round(point["flow"]["value"] * times, 3)
    offer = {"amount": price, "currency": body["price"]["currency"]}
    return read_component({**body, "sku": f"{sku}-{times:g}", "price": offer})


@pytest.mark.parametrize("times", [1.3, 2.2])
@pytest.mark.parametrize("demo", WITH_POWER, ids=lambda demo: demo.slug)
def test_larger_injectors_and_pumps_settle_it_too(demo: DemoAssembly, times: float) -> None:
    assert complaints(more_powerful(demo.request, times), SHOP) == []


def test_the_cheapest_pump_that_feeds_the_engine_is_named() -> None:
    demo = next(each for each in WITH_POWER if each.slug.startswith("01-"))
    (pump,) = [item for item in demo.request.items if item.ref == "pump"]
    sold = [stronger(str(pump.sku), 1.1, "1"), stronger(str(pump.sku), 1.6, "5")]
    shop = catalogue(1, [*demo_components(), *sold], demo_vehicles())
    request = more_powerful(demo.request, 3.0)
    short = [f for f in check(request, shop, BOOK).findings if f.rule == "pump-short-at-pressure"]
    assert [s.sku for f in short for s in f.remedy.replace] == [f"{pump.sku}-1.6"]
    assert complaints(request, shop) == []


def test_no_more_than_a_few_pumps_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []
    monkeypatch.setattr("rules.remedies.flow._feeds", lambda found: asked.append(found))
    demo = next(each for each in WITH_POWER if each.slug.startswith("01-"))
    (pump,) = [item for item in demo.request.items if item.ref == "pump"]
    sold = [stronger(str(pump.sku), 1 + each / 100, "1") for each in range(1, 12)]
    shop = catalogue(1, [*demo_components(), *sold], demo_vehicles())
    check(more_powerful(demo.request, 3.0), shop, BOOK)
    assert len(asked) == 4
