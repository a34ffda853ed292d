"""What-if over HTTP: the same parts in another application, saved or not."""

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
TURBO = "02-turbo-six-e85"
PATH = "/v1/checks/what-if"
TOLD = ("appear", "vanish", "change", "figures", "now_checked", "no_longer_checked")
NOTHING: dict[str, Any] = {name: [] for name in TOLD}


def ask(client: TestClient, slug: str, **changes: Any) -> dict[str, Any]:
    answer = client.post(PATH, json={"request": request(slug), "changes": changes})
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


class TestStateless:
    def test_another_fuel(self, demo_client: TestClient) -> None:
        told = ask(demo_client, FITS, fuel="E85")
        found = told["difference"]
        assert (found["verdict_before"], found["verdict_after"]) == ("fits", "fits-with-cautions")
        assert sorted(each["rule"] for each in found["appear"]) == [
            "ethanol-sensor-missing",
            LIMITED,
        ]
        assert found["vanish"] == []
        assert told["application"]["fuel"] == "E85"

    def test_the_report_is_that_of_the_changed_request(self, demo_client: TestClient) -> None:
        asked = request(TURBO)
        asked["application"] |= {"boost": "3.5 bar", "fuel": {"ethanol_percent": 60}}
        told = ask(demo_client, TURBO, boost="3.5 bar", fuel={"ethanol_percent": 60.0})
        assert told["report"] == demo_client.post("/v1/checks", json=asked).json()

    def test_more_boost_is_more_pressure(self, demo_client: TestClient) -> None:
        """A part that stands 3 bar of boost need not stand a hundred."""
        found = ask(demo_client, TURBO, boost="20 bar", base_pressure="70 bar")["difference"]
        assert found["verdict_after"] == "does-not-fit"
        assert "working-pressure-below-peak" in {each["rule"] for each in found["appear"]}

    def test_what_is_silent_stays_and_null_makes_unknown(self, demo_client: TestClient) -> None:
        told = ask(demo_client, TURBO, fuel_temperature=None)
        before = request(TURBO)["application"]
        assert told["application"]["fuel_temperature"] is None
        assert told["application"]["fuel"] == before["fuel"]
        assert told["difference"]["no_longer_checked"] == [
            {
                "what": "temperature range of parts",
                "why": "the request states no fuel temperature",
            }
        ]

    @pytest.mark.parametrize("slug", [FITS, TURBO, "17-zinc-filter-in-e85"])
    def test_no_change_is_no_difference(self, demo_client: TestClient, slug: str) -> None:
        told = ask(demo_client, slug)
        report = demo_client.post("/v1/checks", json=request(slug)).json()
        assert told["report"] == report
        verdicts = {"verdict_before": report["verdict"], "verdict_after": report["verdict"]}
        assert told["difference"] == {**NOTHING, **verdicts}

    @pytest.mark.parametrize(
        ("changes", "pointer"),
        [
            ({"fuel": "E86"}, "/changes/fuel"),
            ({"fuel": "diesel"}, "/changes/fuel"),
            ({"fuel": None}, "/changes/fuel"),
            ({"boost": 1.2}, "/changes/boost"),
            ({"boost": "1 m"}, "/changes/boost"),
            ({"cylinders": True}, "/changes/cylinders"),
            ({"use": "rally"}, "/changes/use"),
            ({"colour": "red"}, "/changes/colour"),
        ],
    )
    def test_a_change_that_is_none(
        self, demo_client: TestClient, changes: dict[str, Any], pointer: str
    ) -> None:
        body = {"request": request(FITS), "changes": changes}
        said = refused(demo_client.post(PATH, json=body), 422)
        assert [each["pointer"] for each in said["errors"]] == [pointer]
        assert all(each["expected"] for each in said["errors"])

    def test_every_name_that_does_not_exist_is_told_at_its_place(
        self, demo_client: TestClient
    ) -> None:
        asked = request(FITS)
        asked["items"][0]["sku"] = "HF-PMP-34O"
        asked["application"]["fuel"] = "E86"
        said = refused(demo_client.post(PATH, json={"request": asked, "changes": {}}), 422)
        assert [each["pointer"] for each in said["errors"]] == [
            "/request/application/fuel",
            "/request/items/0/sku",
        ]

    def test_same_question_same_bytes(self, demo_client: TestClient) -> None:
        body = {"request": request(TURBO), "changes": {"fuel": "E10"}}
        assert len({demo_client.post(PATH, json=body).content for _ in range(3)}) == 1


class TestSaved:
    def test_it_answers_as_without_saving(self, shop: TestClient) -> None:
        where = save(shop, draft(FITS)).headers["Location"]
        answer = shop.post(f"{where}/what-if", json={"changes": {"fuel": "E85"}})
        assert answer.status_code == 200, answer.text
        told = answer.json()
        stateless = ask(shop, FITS, fuel="E85")
        assert {name: told[name] for name in stateless} == stateless
        assert told["assembly"] == where.rpartition("/")[2]
        assert told["version"] == 1
        assert shop.get(where).json()["version"] == 1, "nothing is stored"

    def test_an_older_version(self, shop: TestClient) -> None:
        where = save(shop, draft(FITS)).headers["Location"]
        shop.put(where, json=draft(TURBO), headers={"If-Match": '"1"'})
        body = {"changes": {"fuel": "E85"}}
        older = shop.post(f"{where}/what-if", json=body, params={"version": 1}).json()
        assert (older["version"], len(older["difference"]["appear"])) == (1, 2)
        current = shop.post(f"{where}/what-if", json=body).json()
        assert (current["version"], current["difference"]["appear"]) == (2, [])
        refused(shop.post(f"{where}/what-if", json=body, params={"version": 3}), 404)

    def test_sign_offs_on_both_sides(self, shop: TestClient) -> None:
        where = save(shop, on_e85()).headers["Location"]
        made = signed(shop, where, rule=LIMITED, refs=["strainer"]).json()
        told = shop.post(f"{where}/what-if", json={"changes": {"fuel": "E98"}}).json()
        assert [each["sign_offs"] for each in told["sign_offs_before"]["accepted"]] == [[made]]
        assert told["sign_offs_after"]["accepted"] == []
        assert [each["sign_off"] for each in told["sign_offs_after"]["unused"]] == [made]
        assert told["sign_offs_before"] == check(shop, where)["sign_offs"]

    def test_a_change_that_is_none(self, shop: TestClient) -> None:
        where = save(shop, draft(FITS)).headers["Location"]
        said = refused(shop.post(f"{where}/what-if", json={"changes": {"fuel": "E86"}}), 422)
        assert [each["pointer"] for each in said["errors"]] == ["/changes/fuel"]
        refused(shop.post(f"{where}/what-if", json={}), 422)
