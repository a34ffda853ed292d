"""Carts over HTTP: lines in, the joints and what is missing out, saved and asked about as well."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from fastapi.testclient import TestClient

from service.app import create_app
from service.settings import Settings
from tests.service.fixtures_assemblies import PATH, book, save, shop
from tests.service.fixtures_demo import assembly, demo_client, demo_database, seeded
from tests.service.test_components import refused
from tests.service.test_sign_off import check, signed

__all__ = ["book", "demo_client", "demo_database", "seeded", "shop"]

FITS = "01-six-saloon-petrol"


def cart(slug: str = FITS, without: tuple[str, ...] = (), **changes: Any) -> dict[str, Any]:
    """A demo assembly as a storefront has it: lines, and no word of how they join."""
    body = copy.deepcopy(assembly(slug).body)
    lines = [
        {name: item[name] for name in ("sku", "quantity", "length") if name in item}
        for item in body["items"]
        if "sku" in item and item["ref"] not in without
    ]
    asked = {"application": body["application"], "vehicle": body.get("vehicle"), "lines": lines}
    return {**asked, **changes}


def judge(client: TestClient, asked: dict[str, Any]) -> dict[str, Any]:
    answer = client.post("/v1/checks", json=asked)
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


class TestCheck:
    def test_the_joints_are_found(self, demo_client: TestClient) -> None:
        told = judge(demo_client, cart())
        assert told["verdict"] == "fits"
        assert told["routing"]["unfilled"] == []
        assert told["routing"]["proved_best"] is True
        found = {frozenset(joint["ends"]) for joint in told["routing"]["joints"]}
        assert len(found) >= len(assembly(FITS).body["joints"]) - 1
        assert told["completed_verdict"] is None

    def test_what_is_missing_is_named_with_what_completes_it(self, demo_client: TestClient) -> None:
        told = judge(demo_client, cart(without=("rail-in", "reg-out")))
        assert told["verdict"] == "does-not-fit"
        missing = {each["id"] for each in told["routing"]["unfilled"]}
        assert missing
        offered = [
            part["sku"]
            for completion in told["routing"]["completion"]
            for part in completion["options"][0]["parts"]
        ]
        assert offered.count("HF-ADP-ORB6-JIC6M") == 2
        assert told["completed_verdict"] == "fits"

    def test_the_assembly_that_was_found_is_judged_alike(self, demo_client: TestClient) -> None:
        told = judge(demo_client, cart())
        found = {
            "application": cart()["application"],
            "vehicle": cart()["vehicle"],
            "items": told["routing"]["items"],
            "joints": told["routing"]["joints"],
            "outside": told["routing"]["outside"],
        }
        again = judge(demo_client, found)
        assert again["verdict"] == told["verdict"]
        assert [each["rule"] for each in again["findings"]] == [
            each["rule"] for each in told["findings"]
        ]

    def test_the_fingerprint_follows_the_cart_and_not_its_order(
        self, demo_client: TestClient
    ) -> None:
        asked = cart()
        turned = {**asked, "lines": list(reversed(asked["lines"]))}
        told = judge(demo_client, asked)
        assert judge(demo_client, turned)["fingerprint"] == told["fingerprint"]
        fewer = {**asked, "lines": asked["lines"][1:]}
        assert judge(demo_client, fewer)["fingerprint"] != told["fingerprint"]

    def test_same_cart_same_bytes(self, demo_client: TestClient) -> None:
        assert len({demo_client.post("/v1/checks", json=cart()).content for _ in range(3)}) == 1

    def test_every_name_that_does_not_exist_is_told_at_its_place(
        self, demo_client: TestClient
    ) -> None:
        asked = cart()
        asked["lines"][1]["sku"] = "HF-PMP-34O"
        asked["application"]["fuel"] = "E86"
        asked["vehicle"] = "hovercraft"
        said = refused(demo_client.post("/v1/checks", json=asked), 422)
        assert {each["pointer"] for each in said["errors"]} == {
            "/application/fuel",
            "/lines/1/sku",
            "/vehicle",
        }
        assert all(each["expected"] for each in said["errors"])

    @pytest.mark.parametrize(
        ("changes", "pointer"),
        [
            ({"lines": []}, "/lines"),
            ({"lines": [{"sku": "A", "quantity": 0}]}, "/lines/0/quantity"),
            ({"lines": [{"quantity": 1}]}, "/lines/0/sku"),
            ({"lines": [{"sku": "A", "length": 3}]}, "/lines/0/length"),
            ({"lines": [{"sku": "A", "colour": "red"}]}, "/lines/0/colour"),
            ({"lines": {}}, "/lines"),
            ({"line": []}, "/line"),
            ({"application": None}, "/application"),
        ],
    )
    def test_a_cart_of_another_form(
        self, demo_client: TestClient, changes: dict[str, Any], pointer: str
    ) -> None:
        said = refused(demo_client.post("/v1/checks", json=cart(**changes)), 422)
        assert [each["pointer"] for each in said["errors"]] == [pointer]
        assert all(each["expected"] for each in said["errors"])

    def test_settings_may_ask_for_fewer_lines(self, demo_database: str) -> None:
        settings = Settings(database_url=demo_database, item_limit=3)
        with TestClient(create_app(settings)) as client:
            said = refused(client.post("/v1/checks", json=cart()), 422)
        (fault,) = said["errors"]
        assert (fault["pointer"], fault["expected"]) == ("/lines", "at most 3 lines")


class TestQuestions:
    def test_what_if(self, demo_client: TestClient) -> None:
        body = {"request": cart(), "changes": {"fuel": "E85"}}
        answer = demo_client.post("/v1/checks/what-if", json=body)
        assert answer.status_code == 200, answer.text
        told = answer.json()
        assert told["difference"]["verdict_before"] == "fits"
        assert "ethanol-sensor-missing" in {e["rule"] for e in told["difference"]["appear"]}
        other = cart()
        other["application"]["fuel"] = "E85"
        assert told["report"] == judge(demo_client, other)

    def test_fuel_change(self, demo_client: TestClient) -> None:
        body = {"request": cart(), "fuel": "E85"}
        answer = demo_client.post("/v1/checks/fuel-change", json=body)
        assert answer.status_code == 200, answer.text
        told = answer.json()
        (renewed,) = [step for step in told["steps"] if step["do"] == "renew"]
        assert renewed["sku"] == "HF-STR-100"
        assert [item["sku"] for item in told["request"]["items"]].count("HF-STR-100") == 1
        place = int(renewed["findings"][0]["subject"]["pointer"].removeprefix("/items/"))
        assert told["request"]["items"][place]["sku"] == "HF-STR-100"

    def test_names_that_do_not_exist_are_told_at_their_place(self, demo_client: TestClient) -> None:
        asked = cart()
        asked["lines"][1]["sku"] = "HF-PMP-34O"
        for path, more in (("what-if", {"changes": {}}), ("fuel-change", {"fuel": "E85"})):
            answer = demo_client.post(f"/v1/checks/{path}", json={"request": asked, **more})
            said = refused(answer, 422)
            assert [each["pointer"] for each in said["errors"]] == ["/request/lines/1/sku"]


class TestSaved:
    def test_a_cart_is_kept_as_it_was_sent(self, shop: TestClient) -> None:
        saved = save(shop, {"name": "Cart", "request": cart()})
        assert saved.json()["checked"]["verdict"] == "fits"
        kept = saved.json()["request"]
        assert [line["sku"] for line in kept["lines"]] == [each["sku"] for each in cart()["lines"]]
        assert "joints" not in kept or not kept["joints"]
        told = check(shop, saved.headers["Location"])
        assert told["stale"] is False
        assert told["report"] == judge(shop, cart())

    def test_its_lines_are_in_use(self, shop: TestClient) -> None:
        lines = [*cart()["lines"], {"sku": "HF-SNS-ETH"}]
        saved = save(shop, {"name": "Cart", "request": cart(lines=lines)})
        answer = shop.delete("/v1/components/HF-SNS-ETH", headers={"If-Match": "*"})
        assert saved.json()["id"] in refused(answer, 409)["detail"]
        found = shop.get(PATH, params={"sku": "HF-SNS-ETH"}).json()["items"]
        assert [each["id"] for each in found] == [saved.json()["id"]]

    def test_its_warnings_may_be_signed_off(self, shop: TestClient) -> None:
        asked = cart("33-nitrile-o-ring-in-e10")
        where = save(shop, {"name": "Cart", "request": asked}).headers["Location"]
        before = check(shop, where)
        assert before["report"]["verdict"] == "fits-with-cautions"
        for each in before["sign_offs"]["open"]:
            assert signed(shop, where, finding=each["finding"]).status_code == 201
        assert check(shop, where)["sign_offs"]["verdict"] == "fits"

    def test_what_if_and_fuel_change(self, shop: TestClient) -> None:
        where = save(shop, {"name": "Cart", "request": cart()}).headers["Location"]
        told = shop.post(f"{where}/what-if", json={"changes": {"fuel": "E85"}}).json()
        assert told["difference"]["verdict_before"] == "fits"
        told = shop.post(f"{where}/fuel-change", json={"fuel": "E85"}).json()
        assert "HF-STR-100" in {step["sku"] for step in told["steps"]}
        saved = save(shop, {"name": "Converted", "request": told["converted"]["request"]})
        assert saved.json()["checked"]["verdict"] == told["converted"]["verdict"]
