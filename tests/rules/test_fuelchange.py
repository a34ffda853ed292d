"""What must be changed to run another fuel: every finding in the list, every answer tried."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.assembly import Request, Vehicle
from rules.catalogue import Catalogue, catalogue
from rules.check import AssemblyFaults, check, load_rules
from rules.difference import ApplicationChanges, changed, difference
from rules.fuelchange import FuelChange, Step, fuel_change
from rules.parts import Component, read_component
from seed_data import demo_assemblies, demo_components, demo_vehicles

BOOK = load_rules()
PARTS = {str(part.sku): part for part in demo_components()}
SHOP = catalogue(1, PARTS.values(), demo_vehicles())
DEMOS = {each.slug: each.request for each in demo_assemblies()}
bounded = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))


def on(slug: str, fuel: str) -> Request:
    return changed(DEMOS[slug], ApplicationChanges.model_validate({"fuel": fuel}))


def step_of(found: FuelChange, ref: str) -> Step:
    (step,) = [each for each in found.steps if each.do == "renew" and each.refs == (ref,)]
    return step


def variant(sku: str, of: str, **changes: Any) -> Component:
    """A part like one of the shop, but for what is changed."""
    return read_component({**PARTS[of].model_dump(mode="json"), "sku": sku, **changes})


def shop_with(*more: Component, vehicles: tuple[Vehicle, ...] = demo_vehicles()) -> Catalogue:
    return catalogue(2, [*PARTS.values(), *more], vehicles)


@given(
    slug=st.sampled_from(sorted(DEMOS)),
    before=st.sampled_from(["E0", "E10", "E85"]),
    after=st.sampled_from(["E10", "E85", "E98", "M100"]),
)
@bounded
def test_every_finding_that_appears_or_changes_is_in_the_list(
    slug: str, before: str, after: str
) -> None:
    request = on(slug, before)
    found = fuel_change(request, after, SHOP, BOOK)
    told = difference(check(request, SHOP, BOOK), check(on(slug, after), SHOP, BOOK))
    listed = {finding for step in found.steps for finding in step.findings}
    assert listed == {*told.appear, *(each.after for each in told.change)}
    assert listed.isdisjoint(found.standing)
    assert listed | set(found.standing) == set(found.report.findings)
    assert found.report == check(on(slug, after), SHOP, BOOK)
    order = ["error", "unknown", "warning", "note"]
    severities = [order.index(step.severity) for step in found.steps]
    assert severities == sorted(severities)


@given(slug=st.sampled_from(sorted(DEMOS)), after=st.sampled_from(["E85", "E98", "M100"]))
@bounded
def test_what_is_said_to_settle_does(slug: str, after: str) -> None:
    """The converted assembly is judged anew: nothing that its parts were renewed for is left."""
    found = fuel_change(on(slug, "E10"), after, SHOP, BOOK)
    settled = [s for s in found.steps if s.replacements and s.replacements[0].settles]
    if found.converted is None:
        assert settled == []
        return
    assert sorted(step.refs[0] for step in settled) == list(found.converted.replaced)
    report = check(found.converted.request, SHOP, BOOK)
    assert (report.verdict, report.findings) == (found.converted.verdict, found.converted.left)
    skus = {item.ref: item.sku for item in found.converted.request.items}
    for step in settled:
        (ref,) = step.refs
        assert skus[ref] == step.replacements[0].sku
        rules = {finding.rule for finding in step.findings}
        assert not [f for f in report.findings if ref in f.subject.refs and f.rule in rules]


@pytest.mark.parametrize("slug", ["01-six-saloon-petrol", "17-zinc-filter-in-e85"])
def test_the_same_fuel_asks_for_nothing(slug: str) -> None:
    fuel = str(DEMOS[slug].application.fuel)
    found = fuel_change(DEMOS[slug], fuel, SHOP, BOOK)
    assert (found.steps, found.vanish, found.figures, found.converted) == ((), (), (), None)
    assert found.standing == check(DEMOS[slug], SHOP, BOOK).findings


class TestOnePetrolCar:
    """A car that fits on petrol and is to run E85."""

    found = fuel_change(on("01-six-saloon-petrol", "E10"), "E85", SHOP, BOOK)

    def test_what_to_renew(self) -> None:
        step = step_of(self.found, "strainer")
        assert (step.sku, step.severity, step.is_new) == ("HF-STR-100", "warning", True)
        assert [(each.sku, each.settles) for each in step.replacements] == [("HF-STR-70", True)]

    def test_what_to_add(self) -> None:
        (step,) = [each for each in self.found.steps if each.do == "add"]
        (sensor,) = [each for each in step.add if each.sku == "HF-SNS-ETH"]
        assert set(sensor.needs) == {each.sku for each in step.add} - {"HF-SNS-ETH"}

    def test_what_that_comes_to(self) -> None:
        assert (self.found.verdict_before, self.found.verdict_after) == (
            "fits",
            "fits-with-cautions",
        )
        assert self.found.converted is not None
        assert [each.rule for each in self.found.converted.left] == ["ethanol-sensor-missing"]
        assert "power supported" in {each.name for each in self.found.figures}


class TestCandidates:
    """What is tried in the place of a strainer whose nylon stands E85 only for a time."""

    request = on("01-six-saloon-petrol", "E10")

    def candidates(self, *more: Component) -> dict[str, tuple[bool | None, str | None]]:
        found = fuel_change(self.request, "E85", shop_with(*more), BOOK)
        replacements = step_of(found, "strainer").replacements
        return {each.sku: (each.settles, each.untried) for each in replacements}

    def test_the_cheapest_that_settles_it_comes_first(self) -> None:
        cheap = variant("A-CHEAP", "HF-STR-70", price={"amount": "0.10", "currency": "EUR"})
        found = fuel_change(self.request, "E85", shop_with(cheap), BOOK)
        assert step_of(found, "strainer").replacements[0].sku == "A-CHEAP"
        assert found.converted is not None
        (item,) = [each for each in found.converted.request.items if each.ref == "strainer"]
        assert item.sku == "A-CHEAP"

    def test_one_that_does_not_do_for_the_pump_is_not_tried(self) -> None:
        fine = variant("A-FINE", "HF-STR-70", spec={"fineness": "5 um"}, price=price("0.10"))
        assert "A-FINE" not in self.candidates(fine)

    def test_one_that_brings_a_fault_of_its_own_is_no_answer(self) -> None:
        like = variant("A-LIKE", "HF-STR-100", price=price("0.20"))
        found = fuel_change(self.request, "E85", shop_with(like), BOOK)
        tried = {each.sku: each for each in step_of(found, "strainer").replacements}
        assert tried["A-LIKE"].settles is False
        assert any("nylon" in message.lower() for message in tried["A-LIKE"].leaves)
        assert found.converted is not None
        assert "A-LIKE" not in {item.sku for item in found.converted.request.items}

    def test_ports_of_other_names_are_joined_by_what_they_are(self) -> None:
        ports = PARTS["HF-STR-70"].model_dump(mode="json")["ports"]
        other = variant(
            "A-OTHER-NAMES", "HF-STR-70", price=price("0.10"), ports=[{**ports[0], "id": "mouth"}]
        )
        found = fuel_change(self.request, "E85", shop_with(other), BOOK)
        assert step_of(found, "strainer").replacements[0].settles is True
        assert found.converted is not None
        ends = {end for joint in found.converted.request.joints for end in joint.ends}
        assert "strainer.mouth" in ends
        assert not any(end == "strainer.outlet" for end in ends)

    def test_its_likes_are_tried_too(self) -> None:
        """One that no finding suggests, but that takes the part's place in any assembly."""
        like = variant("A-LIKE", "HF-STR-100", price=price("0.20"))
        assert self.candidates(like)["A-LIKE"] == (False, None)


def price(amount: str) -> dict[str, str]:
    return {"amount": amount, "currency": "EUR"}


def test_a_part_that_leaves_another_without_its_seal_is_no_answer() -> None:
    """A flare sleeve in the place of the gasket under the tank module bears methanol, and leaks."""
    found = fuel_change(on("01-six-saloon-petrol", "E10"), "M100", SHOP, BOOK)
    for candidate in step_of(found, "gasket").replacements:
        part = PARTS[candidate.sku]
        assert candidate.settles is (getattr(part.spec, "form", None) == "flat-gasket")


def test_a_large_assembly_is_answered_with_what_was_not_tried(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("rules.fuelchange._MOST_ITEMS_JUDGED", 1)
    found = fuel_change(on("18-low-pressure-hose-on-feed", "E10"), "E85", SHOP, BOOK)
    replacements = [each for step in found.steps for each in step.replacements]
    tried, *others = replacements
    assert tried.settles is True
    assert others
    assert all(each.settles is None and "too many" in str(each.untried) for each in others)


def test_the_parts_of_the_vehicle_are_named_and_not_swapped() -> None:
    nylon = PARTS["HF-STR-100"].model_dump(mode="json")
    car = Vehicle.model_validate(
        {"id": "car", "name": "Car", "items": [{"ref": "old-strainer", "component": nylon}]}
    )
    request = Request.model_validate(
        {
            "application": {"fuel": "E10"},
            "vehicle": "car",
            "items": [{"ref": "filter", "sku": "HF-FLT-10G"}],
        }
    )
    found = fuel_change(request, "E85", shop_with(vehicles=(car,)), BOOK)
    step = step_of(found, "old-strainer")
    assert step.part == PARTS["HF-STR-100"].name
    assert step.replacements
    assert all(each.settles is None for each in step.replacements)
    assert {each.untried for each in step.replacements} == {
        "the vehicle brings the part that it would replace"
    }
    assert found.converted is None


def test_a_fuel_that_does_not_exist_is_refused() -> None:
    with pytest.raises(AssemblyFaults, match="E86"):
        fuel_change(DEMOS["01-six-saloon-petrol"], "E86", SHOP, BOOK)
