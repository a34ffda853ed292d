"""What takes a component's place and what screws on to it, over HTTP."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from rules.catalogue import catalogue
from rules.interchange import mates, replacements
from rules.parts import Component
from seed_data import demo_components, demo_vehicles
from tests.service.fixtures_assemblies import book, shop
from tests.service.fixtures_demo import demo_client, demo_database, seeded
from tests.service.test_components import refused

__all__ = ["book", "demo_client", "demo_database", "seeded", "shop"]

PARTS = "/v1/components"
SHOP = catalogue(1, demo_components(), demo_vehicles())


def asked(client: TestClient, path: str, **query: Any) -> dict[str, Any]:
    answer = client.get(f"{PARTS}/{path}", params=query)
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


def part(sku: str) -> Component:
    found = SHOP.get(sku)
    assert found is not None
    return found


def twin(client: TestClient, sku: str, of: str, **changes: Any) -> None:
    """Store a part like another, but for what is changed."""
    given = {**client.get(f"{PARTS}/{of}").json(), "sku": sku, **changes}
    created = client.post(PARTS, json=given)
    assert created.status_code == 201, created.text


class TestReplacements:
    @pytest.mark.parametrize("sku", ["HF-STR-100", "HF-PMP-255", "HF-FLT-10G-OLD", "HF-RAIL-I6"])
    @pytest.mark.parametrize("fuels", [(), ("E85",), ("E10", "M100")])
    def test_they_are_those_of_the_rules(
        self, demo_client: TestClient, sku: str, fuels: tuple[str, ...]
    ) -> None:
        told = asked(demo_client, f"{sku}/replacements", fuel=fuels, limit=5)
        wanted = replacements(SHOP, part(sku), fuels, 5)
        assert told["sku"] == sku
        assert told["replacements"] == [each.model_dump(mode="json") for each in wanted]
        assert told["catalogue_revision"] == 1

    def test_a_successor_is_offered(self, demo_client: TestClient) -> None:
        told = asked(demo_client, "HF-FLT-10G-OLD/replacements")["replacements"]
        assert [each["sku"] for each in told if each["successor"]] == ["HF-FLT-10G"]

    def test_a_part_that_was_just_stored_is_offered(self, shop: TestClient) -> None:
        before = asked(shop, "HF-STR-100/replacements")
        assert "A-TWIN" not in {each["sku"] for each in before["replacements"]}
        twin(shop, "A-TWIN", "HF-STR-100", price={"amount": "0.10", "currency": "EUR"})
        after = asked(shop, "HF-STR-100/replacements")
        assert after["replacements"][0]["sku"] == "A-TWIN"
        assert after["catalogue_revision"] == before["catalogue_revision"] + 1

    def test_the_limit_cuts_the_list(self, shop: TestClient) -> None:
        for number in range(3):
            twin(shop, f"A-TWIN-{number}", "HF-STR-100")
        whole = asked(shop, "HF-STR-100/replacements")["replacements"]
        assert len(whole) >= 3
        assert asked(shop, "HF-STR-100/replacements", limit=2)["replacements"] == whole[:2]

    def test_a_part_that_bears_the_fuel_worse_is_not_offered(self, shop: TestClient) -> None:
        twin(shop, "A-NYLON", "HF-STR-70", wetted=[{"part": "mesh", "material": "pa6-pa66"}])
        on_any = {each["sku"] for each in asked(shop, "HF-STR-70/replacements")["replacements"]}
        on_m100 = asked(shop, "HF-STR-70/replacements", fuel="M100")["replacements"]
        assert "A-NYLON" in on_any
        assert "A-NYLON" not in {each["sku"] for each in on_m100}

    @pytest.mark.parametrize(
        ("query", "pointer"),
        [
            ({"fuel": "E86"}, "/fuel"),
            ({"fuel": "diesel"}, "/fuel"),
            ({"fuel": ["E85", "E86"]}, "/fuel"),
            ({"limit": 0}, "/limit"),
            ({"limit": 201}, "/limit"),
            ({"colour": "red"}, "/colour"),
        ],
    )
    def test_a_question_of_another_form(
        self, demo_client: TestClient, query: dict[str, Any], pointer: str
    ) -> None:
        said = refused(demo_client.get(f"{PARTS}/HF-STR-100/replacements", params=query), 422)
        assert [each["pointer"] for each in said["errors"]] == [pointer]
        assert all(each["in"] == "query" and each["expected"] for each in said["errors"])


class TestMates:
    @pytest.mark.parametrize(
        ("sku", "port"),
        [(str(each.sku), port.id) for each in demo_components()[::17] for port in each.ports[:1]],
    )
    def test_they_are_those_of_the_rules(
        self, demo_client: TestClient, sku: str, port: str
    ) -> None:
        told = asked(demo_client, f"{sku}/mates", port=port, limit=7)
        wanted = mates(SHOP, part(sku), port, 7)
        assert (told["sku"], told["port"], told["count"]) == (sku, port, wanted.count)
        assert told["mates"] == [each.model_dump(mode="json") for each in wanted.mates]

    def test_what_screws_into_a_rail(self, demo_client: TestClient) -> None:
        told = asked(demo_client, "HF-RAIL-I6/mates", port="inlet")
        found = {each["sku"]: each for each in told["mates"]}
        assert found["HF-ADP-ORB6-JIC6M"]["seals"] is True
        assert "HF-HSE-6-FF" not in found, "a flare does not seal in an O-ring port"
        assert told["count"] == len(told["mates"])

    def test_a_port_that_is_not_there(self, demo_client: TestClient) -> None:
        answer = demo_client.get(f"{PARTS}/HF-RAIL-I6/mates", params={"port": "middle"})
        (fault,) = refused(answer, 422)["errors"]
        assert (fault["pointer"], fault["in"], fault["found"]) == ("/port", "query", "middle")
        assert "`inlet`" in fault["expected"]

    def test_the_port_must_be_named(self, demo_client: TestClient) -> None:
        (fault,) = refused(demo_client.get(f"{PARTS}/HF-RAIL-I6/mates"), 422)["errors"]
        assert fault["pointer"] == "/port"


@pytest.mark.parametrize("path", ["replacements", "mates?port=a"])
def test_a_component_that_is_not_there(demo_client: TestClient, path: str) -> None:
    said = refused(demo_client.get(f"{PARTS}/HF RAIL I6/{path}".replace(" ", "_")), 404)
    assert "`HF-RAIL-I6`" in said["detail"]


def test_a_part_number_with_slashes(shop: TestClient) -> None:
    twin(shop, "A/B-100", "HF-STR-100")
    assert shop.get(f"{PARTS}/A/B-100").json()["sku"] == "A/B-100"
    assert asked(shop, "A/B-100/replacements")["sku"] == "A/B-100"
    assert asked(shop, "A/B-100/mates", port="outlet")["sku"] == "A/B-100"


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize("path", ["replacements", "mates"])
def test_only_reading_is_allowed(demo_client: TestClient, method: str, path: str) -> None:
    """Not taken for a component whose part number ends like the path."""
    answer = demo_client.request(method, f"{PARTS}/HF-RAIL-I6/{path}", headers={"If-Match": "*"})
    refused(answer, 405)
    assert answer.headers["Allow"] == "GET"
