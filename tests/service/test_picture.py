"""The pressure line as a picture: over HTTP, from the command line, and as a reader sees it."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from xml.etree import ElementTree

import pytest
from fastapi.testclient import TestClient

from rules.catalogue import catalogue
from rules.picture import NothingToDraw, pressure_line_svg
from seed_data import demo_assemblies, demo_components, demo_vehicles
from tests.service.fixtures_demo import assembly, demo_client, demo_database, seeded

__all__ = ["demo_client", "demo_database", "seeded"]

SVG = "{http://www.w3.org/2000/svg}"
SURGE_TANK = "06-six-surge-tank"
FILTER_UNKNOWN = "17-zinc-filter-in-e85"


def pictures() -> Iterator[tuple[str, str]]:
    """The picture of every demo assembly that has one; those alike only once."""
    shop = catalogue(1, demo_components(), demo_vehicles())
    drawn: set[str] = set()
    for shown in demo_assemblies():
        try:
            document = pressure_line_svg(shown.request, shop)
        except NothingToDraw:
            continue
        if document not in drawn:
            drawn.add(document)
            yield shown.slug, document


PICTURES = dict(pictures())


def words(document: str) -> list[str]:
    return [text.text or "" for text in ElementTree.fromstring(document).iter(f"{SVG}text")]


class TestOverHttp:
    def test_picture_names_every_part_in_the_flow(self, demo_client: TestClient) -> None:
        body = assembly(SURGE_TANK).body
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 200, answer.text
        assert answer.headers["content-type"].startswith("image/svg+xml")
        assert answer.headers["content-security-policy"] == "default-src 'none'"
        root = ElementTree.fromstring(answer.content)
        assert root.tag == f"{SVG}svg"
        report = demo_client.post("/v1/checks", json=body).json()
        told = words(answer.text)
        for drop in report["flow"]["points"][0]["drops"]:
            assert any(re.match(rf"{drop['ref']}( |$)", each) for each in told), drop["ref"]

    def test_same_request_same_bytes(self, demo_client: TestClient) -> None:
        body = assembly(SURGE_TANK).body
        bytes_of = {demo_client.post("/v1/checks/picture", json=body).content for _ in range(3)}
        assert bytes_of == {PICTURES[SURGE_TANK].encode()}

    def test_order_of_items_and_joints_does_not_matter(self, demo_client: TestClient) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        body["items"].reverse()
        body["joints"].reverse()
        assert demo_client.post("/v1/checks/picture", json=body).text == PICTURES[SURGE_TANK]

    @pytest.mark.parametrize(
        ("field", "expected"),
        [
            ("power", "300 kW"),
            ("induction", "naturally-aspirated"),
            ("boost", "1.2 bar"),
            ("supply_voltage", "13.5 V"),
        ],
    )
    def test_field_that_is_missing_is_named(
        self, demo_client: TestClient, field: str, expected: str
    ) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        del body["application"][field]
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 422
        assert answer.headers["content-type"] == "application/problem+json"
        by_pointer = {fault["pointer"]: fault for fault in answer.json()["errors"]}
        fault = by_pointer[f"/application/{field}"]
        assert (fault["code"], fault["found"]) == ("missing", None)
        assert f"`{field}`" in fault["detail"]
        assert expected in fault["expected"]

    def test_part_that_lacks_data_is_pointed_at(self, demo_client: TestClient) -> None:
        body = assembly(FILTER_UNKNOWN).body
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 422
        (fault,) = answer.json()["errors"]
        refs = [item["ref"] for item in body["items"]]
        assert fault["pointer"] == f"/items/{refs.index('filter')}"
        assert fault["expected"] == "the pressure drop of filter"
        assert fault["code"] == "not-recorded"

    def test_list_without_a_fuel_system(self, demo_client: TestClient) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        body["items"] = [item for item in body["items"] if item["ref"] == "feed-1"]
        body["joints"], body["outside"] = [], []
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 422
        (fault,) = answer.json()["errors"]
        assert fault["pointer"] == "/items"
        assert "holds no fuel system" in fault["detail"]

    def test_part_that_does_not_exist(self, demo_client: TestClient) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        body["items"][0]["sku"] = "HF-SRG-Z"
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 422
        found = {fault["pointer"]: fault["code"] for fault in answer.json()["errors"]}
        assert found["/items/0/sku"] == "unknown-name"
