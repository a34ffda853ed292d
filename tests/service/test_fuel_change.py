"""Fuel change over HTTP: everything there is to do to run another fuel, in one list."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.service.fixtures_assemblies import book, draft, request, save, shop
from tests.service.fixtures_demo import demo_client, demo_database, seeded
from tests.service.test_components import refused
from tests.service.test_sign_off import LIMITED, check, on_e85, signed

__all__ = ["book", "demo_client", "demo_database", "seeded", "shop"]

FITS = "01-six-saloon-petrol"
PATH = "/v1/checks/fuel-change"


def ask(client: TestClient, asked: dict[str, Any], fuel: Any, **more: Any) -> dict[str, Any]:
    answer = client.post(PATH, json={"request": asked, "fuel": fuel, **more})
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


class TestStateless:
    def test_one_list_of_what_to_do(self, demo_client: TestClient) -> None:
        told = ask(demo_client, request(FITS), "E85")
        assert (told["verdict_before"], told["verdict_after"]) == ("fits", "fits-with-cautions")
        steps = {(step["do"], *step["refs"]): step for step in told["steps"]}
        assert set(steps) == {("add",), ("renew", "strainer")}
        added = {each["sku"]: each for each in steps["add",]["add"]}
        # Its quick-connect ends meet flares there: two adapters and one more hose.
        assert set(added["HF-SNS-ETH"]["needs"]) == set(added) - {"HF-SNS-ETH"}
        assert added["HF-ADP-QC38-JIC6M"]["quantity"] == 2
        renewed = steps["renew", "strainer"]["replacements"][0]
        assert (renewed["sku"], renewed["settles"]) == ("HF-STR-70", True)
        assert renewed["price"]["currency"] == "EUR"
        assert {"fuel asked for", "power supported"} <= {e["name"] for e in told["figures"]}

    def test_what_is_converted_can_be_checked_and_saved(self, shop: TestClient) -> None:
        converted = ask(shop, request(FITS), "E85")["converted"]
        assert converted["replaced"] == ["strainer"]
        report = shop.post("/v1/checks", json=converted["request"]).json()
        assert report["verdict"] == converted["verdict"]
        assert report["findings"] == converted["left"]
        saved = save(shop, {"name": "On E85", "request": converted["request"]})
        assert saved.json()["checked"]["fingerprint"] == report["fingerprint"]

    def test_a_blend_by_its_content(self, demo_client: TestClient) -> None:
        blend = {"ethanol_percent": {"least": 10.0, "most": 85.0}}
        told = ask(demo_client, request(FITS), blend)
        assert told["fuel"]["ethanol_percent"] == {"least": 10.0, "most": 85.0}
        assert told["steps"]

    def test_the_report_is_that_on_the_new_fuel(self, demo_client: TestClient) -> None:
        asked = request(FITS)
        asked["application"]["fuel"] = "E85"
        report = demo_client.post("/v1/checks", json=asked).json()
        assert ask(demo_client, request(FITS), "E85")["report"] == report

    @pytest.mark.parametrize(
        ("changes", "pointer"),
        [
            ({"fuel": "E86"}, "/fuel"),
            ({"fuel": "diesel"}, "/fuel"),
            ({"fuel": None}, "/fuel"),
            ({"fuel": {"ethanol_percent": 120.0}}, "/fuel/ethanol_percent"),
            ({"candidates": 0}, "/candidates"),
            ({"candidates": 6}, "/candidates"),
            ({"candidates": True}, "/candidates"),
            ({"power": "300 kW"}, "/power"),
        ],
    )
    def test_a_question_of_another_form(
        self, demo_client: TestClient, changes: dict[str, Any], pointer: str
    ) -> None:
        body = {"request": request(FITS), "fuel": "E85", **changes}
        said = refused(demo_client.post(PATH, json=body), 422)
        assert [each["pointer"] for each in said["errors"]] == [pointer]
        assert all(each["expected"] for each in said["errors"])

    def test_a_request_that_names_what_is_not_there(self, demo_client: TestClient) -> None:
        asked = request(FITS)
        asked["items"][0]["sku"] = "HF-PMP-34O"
        said = refused(demo_client.post(PATH, json={"request": asked, "fuel": "E85"}), 422)
        assert [each["pointer"] for each in said["errors"]] == ["/request/items/0/sku"]


class TestSaved:
    def test_it_answers_as_without_saving(self, shop: TestClient) -> None:
        where = save(shop, draft(FITS)).headers["Location"]
        answer = shop.post(f"{where}/fuel-change", json={"fuel": "E85"})
        assert answer.status_code == 200, answer.text
        stateless = ask(shop, request(FITS), "E85")
        assert {name: answer.json()[name] for name in stateless} == stateless
        assert shop.get(where).json()["version"] == 1, "nothing is stored"

    def test_sign_offs_that_do_not_survive(self, shop: TestClient) -> None:
        where = save(shop, on_e85()).headers["Location"]
        made = signed(shop, where, rule=LIMITED, refs=["strainer"]).json()
        told = shop.post(f"{where}/fuel-change", json={"fuel": "E98"}).json()
        assert told["sign_offs_before"] == check(shop, where)["sign_offs"]
        assert [each["sign_off"] for each in told["sign_offs_after"]["unused"]] == [made]

    def test_what_is_refused(self, shop: TestClient) -> None:
        where = save(shop, draft(FITS)).headers["Location"]
        said = refused(shop.post(f"{where}/fuel-change", json={"fuel": "E86"}), 422)
        assert [each["pointer"] for each in said["errors"]] == ["/fuel"]
        body = {"fuel": "E85"}
        refused(shop.post(f"{where}/fuel-change", json=body, params={"version": 2}), 404)
