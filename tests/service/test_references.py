"""`/v1/connections`, `/v1/materials`, `/v1/fuels`: the reference tables over HTTP."""

from __future__ import annotations

from typing import Any, get_args

import pytest
from fastapi.testclient import TestClient

from rules.reference import reference
from rules.vocabulary import Material, System
from tests.service.fixtures_demo import demo_client, demo_database, seeded

__all__ = ["demo_client", "demo_database", "seeded"]


@pytest.fixture(scope="module")
def client(demo_client: TestClient) -> TestClient:
    return demo_client


def read(client: TestClient, path: str) -> Any:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return answer.json()


class TestConnections:
    def test_every_system_is_listed_and_read(self, client: TestClient) -> None:
        listed = read(client, "/v1/connections")["items"]
        assert [each["system"] for each in listed] == list(reference().systems)
        assert {each["system"] for each in listed} == set(get_args(System))
        for each in listed:
            told = read(client, f"/v1/connections/{each['system']}")
            assert told["mating_rules"]
            assert each["sources"]

    def test_every_listed_size_is_read(self, client: TestClient) -> None:
        for each in read(client, "/v1/connections")["items"]:
            for size in each["sizes"]:
                told = read(client, f"/v1/connections/{each['system']}/{size}")
                assert told["thread"] or told["end_form"]

    def test_filter(self, client: TestClient) -> None:
        items = read(client, "/v1/connections?size=-7")["items"]
        assert [each["system"] for each in items] == ["flare-45"]
        assert read(client, "/v1/connections?system=orb&size=-7")["items"] == []

    def test_size_shows_its_thread_its_mates_and_its_look_alikes(self, client: TestClient) -> None:
        told = read(client, "/v1/connections/flare-37/-6")
        assert told["thread"]["designation"] == "9/16-18"
        mates = {
            (each["enters"]["system"], each["receives"]["system"]): each["verdict"]
            for each in told["mates"]
        }
        assert mates["flare-37", "flare-37"] == "seals"
        assert mates["flare-37", "orb"] == "threads-no-seal"
        (metric,) = [each for each in told["look_alikes"] if each["designation"] == "M14x1.5"]
        assert metric["when_smaller_enters"] == "starts-then-jams"
        assert {"system": "banjo", "size": "M14x1.5"} in metric["used_by"]

    @pytest.mark.parametrize("path", ["npt/3/8", "npt/3%2F8"])
    def test_size_with_a_slash(self, client: TestClient, path: str) -> None:
        assert read(client, f"/v1/connections/{path}")["size"] == "3/8"

    def test_end_form_of_a_quick_connect(self, client: TestClient) -> None:
        told = read(client, "/v1/connections/quick-connect/5/16")
        assert told["thread"] is None
        assert told["end_form"]["diameter"] == {"value": 7.89, "unit": "mm"}
        assert told["end_form"]["loose_names"] == ["8 mm"]

    def test_misspelt_filter_is_not_ignored(self, client: TestClient) -> None:
        for path, name in (("connections", "sytem"), ("materials", "famly"), ("rules", "abuot")):
            answer = client.get(f"/v1/{path}?{name}=x")
            assert answer.status_code == 422
            (fault,) = answer.json()["errors"]
            assert (fault["pointer"], fault["in"]) == (f"/{name}", "query")
            assert fault["expected"].startswith("did you mean")

    def test_unknown_names(self, client: TestClient) -> None:
        answer = client.get("/v1/connections/flare37")
        assert answer.status_code == 422
        assert "did you mean `flare-37`?" in answer.json()["errors"][0]["expected"]
        answer = client.get("/v1/connections/orb/-7")
        assert answer.status_code == 404
        assert "`-6`" in answer.json()["detail"]


class TestMaterials:
    def test_every_material_is_rated_in_every_test_fuel(self, client: TestClient) -> None:
        listed = read(client, "/v1/materials")["items"]
        assert {each["material"] for each in listed} == set(get_args(Material))
        for each in listed:
            told = read(client, f"/v1/materials/{each['material']}")
            assert [row["fuel"] for row in told["resistance"]] == [
                "E0",
                "E10",
                "E85",
                "E98",
                "M100",
                "RACE-OX",
            ]
            assert all(row["sources"] and row["confidence"] for row in told["resistance"])

    def test_filter_by_family(self, client: TestClient) -> None:
        items = read(client, "/v1/materials?family=media")["items"]
        assert {each["material"] for each in items} == {"paper", "stainless-mesh", "microglass"}

    def test_metals_that_should_not_touch(self, client: TestClient) -> None:
        partners = read(client, "/v1/materials/aluminium")["galvanic"]
        copper = next(each for each in partners if each["material"] == "copper")
        assert copper["loses"] == "aluminium"

    def test_published_list(self, client: TestClient) -> None:
        entries = read(client, "/v1/materials/brass")["dispensing_list"]
        assert {each["listed"] for each in entries} == {"not-allowed"}

    def test_unknown_material(self, client: TestClient) -> None:
        answer = client.get("/v1/materials/nbrr")
        assert answer.status_code == 422
        assert "did you mean `nbr`?" in answer.json()["errors"][0]["expected"]


class TestFuels:
    def test_every_fuel_is_read(self, client: TestClient) -> None:
        listed = read(client, "/v1/fuels")["items"]
        assert {"E10", "E85", "flex", "M100"} <= {each["fuel"] for each in listed}
        for each in listed:
            told = read(client, f"/v1/fuels/{each['fuel']}")
            assert len(told["materials"]) == (len(get_args(Material)) if each["judged"] else 0)

    def test_properties_state_their_uncertainty(self, client: TestClient) -> None:
        properties = read(client, "/v1/fuels/E85")["properties"]
        for name, value in properties.items():
            assert value["least"] <= value["value"] <= value["most"], name
            assert value["basis"]
        assert properties["stoichiometric_ratio"]["value"] == pytest.approx(9.8, abs=0.1)

    def test_what_no_data_reach_is_null(self, client: TestClient) -> None:
        assert read(client, "/v1/fuels/M85")["properties"]["vapour_pressure"] is None
        assert read(client, "/v1/fuels/RACE-OX")["properties"] is None
        assert read(client, "/v1/fuels/diesel")["ethanol"] is None

    def test_range_is_rated_by_its_worst_blend(self, client: TestClient) -> None:
        rated = {each["material"]: each for each in read(client, "/v1/fuels/flex")["materials"]}
        assert rated["brass"]["rating"] != "suitable"
        assert rated["nbr"]["note"]

    def test_unknown_fuel(self, client: TestClient) -> None:
        answer = client.get("/v1/fuels/E-85")
        assert answer.status_code == 404
        assert "`E85`" in answer.json()["detail"]
