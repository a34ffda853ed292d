"""`POST /v1/checks`: the verdict on an assembly, over HTTP."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from fastapi.testclient import TestClient

from rules.report import Report
from seed_data import DemoAssembly, demo_assemblies
from service.app import create_app
from service.settings import Settings
from tests.service.fixtures_demo import (
    assembly,
    demo_client,
    demo_database,
    fresh_client,
    seeded,
)

__all__ = ["demo_client", "demo_database", "fresh_client", "seeded"]

FLARE_IN_PORT = "07-flare-into-o-ring-port"


def check(client: TestClient, body: Any) -> dict[str, Any]:
    answer = client.post("/v1/checks", json=body)
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


def refused(client: TestClient, body: Any) -> dict[str, dict[str, Any]]:
    answer = client.post("/v1/checks", json=body)
    assert answer.status_code == 422, answer.text
    return {fault["pointer"]: fault for fault in answer.json()["errors"]}


@pytest.fixture
def flawed() -> dict[str, Any]:
    """A request with a flare screwed into an O-ring port, to be changed at will."""
    return copy.deepcopy(assembly(FLARE_IN_PORT).body)


@pytest.mark.parametrize("shown", demo_assemblies(), ids=lambda shown: shown.slug)
def test_demo_assembly(demo_client: TestClient, shown: DemoAssembly) -> None:
    told = check(demo_client, shown.body)
    rules = {finding["rule"] for finding in told["findings"]}
    assert told["verdict"] == shown.expect.verdict
    assert set(shown.expect.rules) <= rules
    assert not set(shown.expect.absent) & rules


class TestReport:
    def test_finding_of_a_flare_in_a_port(
        self, demo_client: TestClient, flawed: dict[str, Any]
    ) -> None:
        told = check(demo_client, flawed)
        (finding,) = [f for f in told["findings"] if f["severity"] == "error"]
        joint = flawed["joints"].index(["tube.b", "rail.inlet"])
        assert finding["rule"] == "flare-screwed-into-o-ring-port"
        assert finding["subject"]["pointer"] == f"/joints/{joint}"
        assert finding["subject"]["ports"] == ["tube.b", "rail.inlet"]
        assert {"fact", "value", "unit", "of", "from"} == set(finding["because"][0])
        assert "9/16-18" in {evidence["value"] for evidence in finding["because"]}
        assert finding["remedy"]["add"][0]["sku"] == "HF-ADP-ORB6-JIC6"
        assert "SAE J514" in finding["sources"]
        assert finding["cautions"]

    def test_adapter_settles_it(self, demo_client: TestClient, flawed: dict[str, Any]) -> None:
        flawed["items"].append({"ref": "adapter", "sku": "HF-ADP-ORB6-JIC6"})
        flawed["joints"].remove(["tube.b", "rail.inlet"])
        flawed["joints"] += [["tube.b", "adapter.b"], ["adapter.a", "rail.inlet"]]
        told = check(demo_client, flawed)
        assert told["counts"]["error"] == 0
        assert told["verdict"] == "fits"

    def test_same_request_same_bytes(self, demo_client: TestClient, flawed: dict[str, Any]) -> None:
        answers = {demo_client.post("/v1/checks", json=flawed).content for _ in range(3)}
        assert len(answers) == 1

    def test_short_and_long_form_of_a_joint(
        self, demo_client: TestClient, flawed: dict[str, Any]
    ) -> None:
        short = demo_client.post("/v1/checks", json=flawed).content
        flawed["joints"] = [{"ends": each} for each in flawed["joints"]]
        assert demo_client.post("/v1/checks", json=flawed).content == short

    def test_stamps(self, demo_client: TestClient, flawed: dict[str, Any]) -> None:
        told = check(demo_client, flawed)
        ready = demo_client.get("/v1/health/ready").json()
        assert told["catalogue_revision"] == ready["catalogue_revision"]
        assert told["book"]["version"] == ready["book"]
        assert told["not_checked"]
        Report.model_validate(told)

    def test_part_described_on_the_spot(self, demo_client: TestClient) -> None:
        told = check(
            demo_client,
            {
                "application": {"fuel": {"ethanol_percent": 71}},
                "items": [
                    {
                        "ref": "feed",
                        "component": {
                            "name": "Hose of unknown make",
                            "kind": "hose-assembly",
                            "ports": [{"id": "a", "role": "either", "connection": "-6 JIC female"}],
                        },
                    }
                ],
            },
        )
        assert told["verdict"] in ("cannot-tell", "does-not-fit")
        assert told["counts"]["unknown"] > 0


class TestNamesThatDoNotExist:
    def test_all_at_once(self, demo_client: TestClient, flawed: dict[str, Any]) -> None:
        flawed["items"][0]["sku"] = "HF-PMP-34O"
        flawed["joints"].append(["tube.c", "raill.inlet"])
        flawed["vehicle"] = "saloon-six-single-tnk"
        told = refused(demo_client, flawed)
        last = len(flawed["joints"]) - 1
        assert (
            "`HF-PMP-340`" in f"{told['/items/0/sku']['detail']} {told['/items/0/sku']['expected']}"
        )
        assert any(pointer.startswith(f"/joints/{last}") for pointer in told)
        assert "/vehicle" in told
        assert all(fault["found"] and fault["expected"] for fault in told.values())

    def test_unknown_fuel(self, demo_client: TestClient, flawed: dict[str, Any]) -> None:
        flawed["application"]["fuel"] = "E86"
        (pointer,) = refused(demo_client, flawed)
        assert pointer == "/application/fuel"


class TestUnclearText:
    def test_open_connection_is_refused_with_its_readings(self, demo_client: TestClient) -> None:
        port = {"id": "a", "role": "either", "connection": "-6 AN"}
        component = {"name": "x", "kind": "adapter", "ports": [port]}
        told = refused(
            demo_client,
            {"application": {"fuel": "E10"}, "items": [{"ref": "a", "component": component}]},
        )
        fault = told["/items/0/component/ports/0/connection"]
        assert fault["found"] == "-6 AN"
        assert "flare" in fault["detail"]
        assert "O-ring boss" in fault["detail"]
        assert fault["expected"].endswith("?")


class TestLimits:
    def test_settings_may_ask_for_less_than_the_model(self, demo_database: str) -> None:
        settings = Settings(database_url=demo_database, item_limit=3, joint_limit=2)
        body = assembly(FLARE_IN_PORT).body
        with TestClient(create_app(settings)) as client:
            told = refused(client, body)
        assert told["/items"]["expected"] == "at most 3 items"
        assert told["/items"]["found"] == len(body["items"])
        assert told["/joints"]["expected"] == "at most 2 joints"

    def test_twenty_megabytes(self, demo_client: TestClient) -> None:
        answer = demo_client.post(
            "/v1/checks",
            content=b" " * 20_000_000,
            headers={"Content-Type": "application/json"},
        )
        assert answer.status_code == 413
        assert answer.headers["content-type"] == "application/problem+json"


class TestCatalogue:
    def test_write_is_seen_by_the_next_check(
        self, fresh_client: TestClient, flawed: dict[str, Any]
    ) -> None:
        before = check(fresh_client, flawed)
        path = "/v1/components/HF-RAIL-I6"
        rail = fresh_client.get(path)
        changed = rail.json() | {"name": "Rail with another name"}
        put = fresh_client.put(path, json=changed, headers={"If-Match": rail.headers["etag"]})
        assert put.status_code == 200, put.text
        after = check(fresh_client, flawed)
        assert after["catalogue_revision"] == before["catalogue_revision"] + 1
        assert after["fingerprint"] != before["fingerprint"]
        assert after["verdict"] == before["verdict"]


def test_answer_is_plain_json(demo_client: TestClient, flawed: dict[str, Any]) -> None:
    answer = demo_client.post("/v1/checks", json=flawed)
    assert answer.headers["content-type"] == "application/json"
    json.dumps(answer.json(), allow_nan=False)
