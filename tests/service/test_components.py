"""`/v1/components` over HTTP."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from service.catalogue.schemas import EXAMPLE
from service.database import Database, read_revision
from tests.service.shop import component

PORT = {
    "id": "a",
    "role": "either",
    "connection": {"system": "orb", "size": "-6", "gender": "male"},
}


def create(client: TestClient, sku: str, **changes: Any) -> Response:
    created = client.post("/v1/components", json=component(sku, **changes))
    assert created.status_code == 201, created.text
    return created


def refused(answer: Response, status: int) -> dict[str, Any]:
    assert answer.status_code == status, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"
    said: dict[str, Any] = answer.json()
    assert said["status"] == status
    return said


def skus(client: TestClient, **query: Any) -> list[str]:
    answer = client.get("/v1/components", params=query)
    assert answer.status_code == 200, answer.text
    return [each["sku"] for each in answer.json()["items"]]


class TestCreate:
    def test_what_was_given_is_read_back(self, client: TestClient) -> None:
        created = client.post("/v1/components", json=EXAMPLE)
        assert created.status_code == 201
        read = client.get(created.headers["Location"])
        assert read.json() == created.json()
        assert read.headers["ETag"] == created.headers["ETag"]
        assert read.json()["ports"][0]["bore"] == {"value": 7.9, "unit": "mm"}
        assert "temperature_least" not in read.json(), "what is unknown is absent"

    def test_an_answer_can_be_sent_back_as_it_is(self, client: TestClient) -> None:
        created = client.post("/v1/components", json=EXAMPLE)
        replaced = client.put(
            created.headers["Location"],
            json=created.json(),
            headers={"If-Match": created.headers["ETag"]},
        )
        assert replaced.status_code == 200
        assert replaced.json() == created.json()

    @pytest.mark.parametrize("sku", ["0017", "90.750", "A/B", "a+b", "1e5"])
    def test_a_sku_stays_the_text_it_was(self, client: TestClient, sku: str) -> None:
        created = create(client, sku)
        assert client.get(created.headers["Location"]).json()["sku"] == sku

    def test_skus_that_differ_in_zeros_are_two(self, client: TestClient) -> None:
        create(client, "0017")
        create(client, "17")
        assert skus(client) == ["0017", "17"]

    def test_a_sku_that_exists_is_refused(self, client: TestClient) -> None:
        create(client, "A-1")
        said = refused(client.post("/v1/components", json=component("A-1", name="other")), 409)
        assert said["errors"][0]["pointer"] == "/sku"
        assert client.get("/v1/components/A-1").json()["name"] == "Part A-1"

    @pytest.mark.parametrize("alike", ["ftg-6-90", "FTG.6.90", "FTG_6-90", "FTG--6-90"])
    def test_a_second_spelling_of_a_sku_is_refused_and_the_first_named(
        self, client: TestClient, alike: str
    ) -> None:
        create(client, "FTG-6-90")
        said = refused(client.post("/v1/components", json=component(alike)), 409)
        assert "`FTG-6-90`" in said["detail"]
        assert said["errors"][0]["code"] == "look-alike"
        assert skus(client) == ["FTG-6-90"]

    def test_a_blank_around_a_sku_is_refused_not_trimmed(self, client: TestClient) -> None:
        said = refused(client.post("/v1/components", json=component("FTG-6-90 ")), 422)
        assert said["errors"][0]["pointer"] == "/sku"

    def test_a_component_without_a_sku_is_refused(self, client: TestClient) -> None:
        given = component("A")
        del given["sku"]
        said = refused(client.post("/v1/components", json=given), 422)
        assert said["errors"][0]["pointer"] == "/sku"

    def test_every_fault_is_told_at_once(self, client: TestClient) -> None:
        given = component("A", working_pressure=70, colour="red", ports=[{"id": "a"}])
        said = refused(client.post("/v1/components", json=given), 422)
        pointers = {each["pointer"] for each in said["errors"]}
        assert pointers == {"/working_pressure", "/colour", "/ports/0/role"}

    def test_components_that_are_named_must_exist(self, client: TestClient) -> None:
        create(client, "SEAL-6")
        given = component(
            "A",
            superseded_by="NONE",
            needs=[
                {"kind": "seal", "sku": "SEAL-6"},
                {"kind": "clamp", "sku": "SEAL_06"},
            ],
        )
        said = refused(client.post("/v1/components", json=given), 422)
        assert {each["pointer"] for each in said["errors"]} == {"/superseded_by", "/needs/1/sku"}
        assert "`SEAL-6`" in said["errors"][1]["expected"]
        assert skus(client) == ["SEAL-6"]


class TestIdempotency:
    def test_the_same_request_is_carried_out_once(
        self, client: TestClient, database: Database
    ) -> None:
        headers = {"Idempotency-Key": "order-1"}
        first = client.post("/v1/components", json=component("A"), headers=headers)
        again = client.post("/v1/components", json=component("A"), headers=headers)
        assert first.status_code == again.status_code == 201
        assert again.content == first.content
        for name in ("ETag", "Location", "Last-Modified"):
            assert again.headers[name] == first.headers[name]
        with database.read() as connection:
            assert read_revision(connection) == 1

    def test_the_first_answer_stands_after_the_component_has_changed(
        self, client: TestClient
    ) -> None:
        headers = {"Idempotency-Key": "order-1"}
        first = client.post("/v1/components", json=component("A"), headers=headers)
        client.delete("/v1/components/A", headers={"If-Match": first.headers["ETag"]})
        again = client.post("/v1/components", json=component("A"), headers=headers)
        assert again.content == first.content
        assert skus(client) == []

    def test_spelling_of_the_same_component_is_the_same_request(self, client: TestClient) -> None:
        headers = {"Idempotency-Key": "order-1"}
        given = component("A", working_pressure="10 bar")
        first = client.post("/v1/components", json=given, headers=headers)
        given["working_pressure"] = {"value": 1000, "unit": "kPa"}
        again = client.post("/v1/components", json=given, headers=headers)
        assert again.status_code == first.status_code == 201

    def test_another_request_under_the_key_is_refused(self, client: TestClient) -> None:
        headers = {"Idempotency-Key": "order-1"}
        client.post("/v1/components", json=component("A"), headers=headers)
        said = refused(client.post("/v1/components", json=component("B"), headers=headers), 422)
        assert said["errors"][0]["pointer"] == "/Idempotency-Key"
        assert said["errors"][0]["in"] == "header"
        assert skus(client) == ["A"]

    def test_a_refused_request_leaves_its_key_free(self, client: TestClient) -> None:
        headers = {"Idempotency-Key": "order-1"}
        refused(
            client.post("/v1/components", json=component("A", superseded_by="B"), headers=headers),
            422,
        )
        answer = client.post("/v1/components", json=component("A"), headers=headers)
        assert answer.status_code == 201

    @pytest.mark.parametrize("key", ["", "with blank", "x" * 256])
    def test_a_malformed_key_is_refused(self, client: TestClient, key: str) -> None:
        answer = client.post(
            "/v1/components", json=component("A"), headers={"Idempotency-Key": key}
        )
        assert refused(answer, 422)["errors"][0]["in"] == "header"


class TestRead:
    def test_a_version_that_is_held_is_not_sent_again(self, client: TestClient) -> None:
        tag = create(client, "A").headers["ETag"]
        for header in (tag, f"W/{tag}", f'"0", {tag}', "*"):
            answer = client.get("/v1/components/A", headers={"If-None-Match": header})
            assert answer.status_code == 304
            assert answer.content == b""
            assert answer.headers["ETag"] == tag
        answer = client.get("/v1/components/A", headers={"If-None-Match": '"0"'})
        assert answer.status_code == 200

    def test_a_component_created_again_has_another_tag(self, client: TestClient) -> None:
        first = create(client, "A").headers["ETag"]
        client.delete("/v1/components/A", headers={"If-Match": first})
        assert create(client, "A").headers["ETag"] != first

    def test_an_unknown_sku_is_answered_with_those_that_are_near(self, client: TestClient) -> None:
        create(client, "LW-ADP-0601")
        said = refused(client.get("/v1/components/lw-adp-0601"), 404)
        assert "Did you mean `LW-ADP-0601`?" in said["detail"]

    @pytest.mark.parametrize("sku", ["%00", "a%20b", "%F0%9F%98%80", "x" * 65, "%ED%A0%80"])
    def test_a_path_that_is_no_sku_is_refused(self, client: TestClient, sku: str) -> None:
        said = refused(client.get(f"/v1/components/{sku}"), 422)
        assert said["errors"][0]["in"] == "path"


class TestReplace:
    def test_the_whole_component_is_replaced(self, client: TestClient) -> None:
        tag = create(client, "A", supplier="Old", mass="10 g").headers["ETag"]
        replaced = client.put(
            "/v1/components/A", json=component("A", kind="clamp"), headers={"If-Match": tag}
        )
        assert replaced.status_code == 200
        assert replaced.headers["ETag"] != tag
        read = client.get("/v1/components/A")
        assert read.json() == replaced.json()
        assert read.headers["ETag"] == replaced.headers["ETag"]
        assert read.json()["kind"] == "clamp"
        assert "supplier" not in read.json()
        assert skus(client, kind="cap") == []

    def test_the_version_must_be_named(self, client: TestClient) -> None:
        create(client, "A")
        refused(client.put("/v1/components/A", json=component("A")), 428)

    def test_a_stale_version_is_refused_with_the_current_one(self, client: TestClient) -> None:
        stale = create(client, "A").headers["ETag"]
        new = client.put("/v1/components/A", json=component("A"), headers={"If-Match": stale})
        answer = client.put(
            "/v1/components/A", json=component("A", name="x"), headers={"If-Match": stale}
        )
        refused(answer, 412)
        assert answer.headers["ETag"] == new.headers["ETag"]
        assert client.get("/v1/components/A").json()["name"] == "Part A"

    def test_a_weak_tag_does_not_name_a_version(self, client: TestClient) -> None:
        tag = create(client, "A").headers["ETag"]
        answer = client.put(
            "/v1/components/A", json=component("A"), headers={"If-Match": f"W/{tag}"}
        )
        refused(answer, 412)

    @pytest.mark.parametrize("header", ["1", '"1', "'1'", '"1" "2"', "W/1", ""])
    def test_a_header_that_is_no_tag_is_refused(self, client: TestClient, header: str) -> None:
        create(client, "A")
        answer = client.put("/v1/components/A", json=component("A"), headers={"If-Match": header})
        assert answer.status_code in (412, 422)
        if header:
            assert refused(answer, 422)["errors"][0]["pointer"] == "/If-Match"

    def test_a_component_that_does_not_exist_is_not_created(self, client: TestClient) -> None:
        refused(client.put("/v1/components/A", json=component("A"), headers={"If-Match": "*"}), 404)
        assert skus(client) == []

    def test_the_sku_cannot_be_changed(self, client: TestClient) -> None:
        tag = create(client, "A").headers["ETag"]
        said = refused(
            client.put("/v1/components/A", json=component("B"), headers={"If-Match": tag}), 422
        )
        assert said["errors"][0]["pointer"] == "/sku"

    def test_a_circle_of_successors_is_refused(self, client: TestClient) -> None:
        create(client, "C")
        create(client, "B", superseded_by="C")
        create(client, "A", superseded_by="B")
        said = refused(
            client.put(
                "/v1/components/C",
                json=component("C", superseded_by="A"),
                headers={"If-Match": "*"},
            ),
            422,
        )
        assert said["errors"][0]["pointer"] == "/superseded_by"
        assert "C -> A -> B -> C" in said["detail"]

    def test_a_port_that_a_vehicle_joins_must_stay(self, client: TestClient) -> None:
        create(client, "A", ports=[PORT, {**PORT, "id": "b"}])
        items = [{"ref": "x", "sku": "A"}, {"ref": "y", "sku": "A"}]
        car = {"id": "car", "name": "Car", "items": items, "joints": [["x.a", "y.b"]]}
        put = client.put("/v1/vehicles/car", json=car, headers={"If-None-Match": "*"})
        assert put.status_code == 201, put.text
        said = refused(
            client.put(
                "/v1/components/A",
                json=component("A", ports=[PORT]),
                headers={"If-Match": "*"},
            ),
            409,
        )
        assert "`car`" in said["detail"]
        assert "`b`" in said["detail"]
        kept = component("A", ports=[PORT, {**PORT, "id": "b", "bore": "8 mm"}])
        answer = client.put("/v1/components/A", json=kept, headers={"If-Match": "*"})
        assert answer.status_code == 200


class TestDelete:
    def test_a_component_is_gone(self, client: TestClient) -> None:
        tag = create(client, "A").headers["ETag"]
        answer = client.delete("/v1/components/A", headers={"If-Match": tag})
        assert answer.status_code == 204
        assert answer.content == b""
        refused(client.get("/v1/components/A"), 404)
        refused(client.delete("/v1/components/A", headers={"If-Match": tag}), 404)

    def test_the_version_must_be_named_and_current(self, client: TestClient) -> None:
        create(client, "A")
        refused(client.delete("/v1/components/A"), 428)
        refused(client.delete("/v1/components/A", headers={"If-Match": '"99"'}), 412)
        assert skus(client) == ["A"]

    def test_a_component_in_use_stays_and_its_users_are_named(self, client: TestClient) -> None:
        create(client, "A")
        create(client, "OLD", superseded_by="A")
        create(client, "PUMP", needs=[{"kind": "seal", "sku": "A"}])
        car = {"id": "car", "name": "Car", "items": [{"ref": "cap", "sku": "A"}]}
        client.put("/v1/vehicles/car", json=car, headers={"If-None-Match": "*"})
        said = refused(client.delete("/v1/components/A", headers={"If-Match": "*"}), 409)
        assert len(said["errors"]) == 3
        for user in ("`OLD`", "`PUMP`", "`car`"):
            assert user in said["detail"]
        assert "A" in skus(client)

    def test_a_component_is_free_when_its_users_are_gone(self, client: TestClient) -> None:
        create(client, "A")
        create(client, "OLD", superseded_by="A")
        client.delete("/v1/components/OLD", headers={"If-Match": "*"})
        answer = client.delete("/v1/components/A", headers={"If-Match": "*"})
        assert answer.status_code == 204


@pytest.fixture
def shop(client: TestClient) -> TestClient:
    """A few components that differ in everything that can be searched."""
    create(client, "PUMP-1", kind="pump", name="Große Pumpe", supplier="Brook Lane", wetted=None)
    create(
        client,
        "ADP-1",
        kind="adapter",
        name="O-ring adapter 50% off_line",
        ports=[PORT, {"id": "b", "role": "either", "connection": {"system": "flare-37"}}],
        wetted=[{"part": "body", "material": "stainless-steel-300"}],
        approved_fuels=["E85"],
    )
    create(
        client,
        "ADP-2",
        kind="adapter",
        lifecycle="discontinued",
        ports=[{**PORT, "connection": {"system": "orb", "size": "-8", "gender": "female"}}],
        wetted=[{"part": "body", "material": "zinc-die-cast"}],
    )
    create(
        client,
        "ADP-3",
        kind="adapter",
        ports=[{**PORT, "seal": {"form": "o-ring", "material": None}}],
        wetted=[{"part": "body", "material": "stainless-steel-300"}],
    )
    create(
        client,
        "HOSE-1",
        kind="bulk-hose",
        wetted=[{"part": "liner", "material": "ptfe-conductive"}],
        excluded_fuels=["E85"],
    )
    create(client, "HOSE-2", kind="bulk-hose", wetted=[{"part": "liner", "material": None}])
    create(client, "FUSE-1", kind="fuse", wetted=[])
    return client


ALL = ["ADP-1", "ADP-2", "ADP-3", "FUSE-1", "HOSE-1", "HOSE-2", "PUMP-1"]


class TestSearch:
    @pytest.mark.parametrize(
        ("query", "found"),
        [
            ({}, ALL),
            ({"kind": "adapter"}, ["ADP-1", "ADP-2", "ADP-3"]),
            ({"lifecycle": "discontinued"}, ["ADP-2"]),
            ({"text": "pump"}, ["PUMP-1"]),
            ({"text": "GROSSE"}, ["PUMP-1"]),
            ({"text": "brook"}, ["PUMP-1"]),
            ({"text": "O‑RING"}, ["ADP-1"]),
            ({"text": "50%"}, ["ADP-1"]),
            ({"text": "%"}, ["ADP-1"]),
            ({"text": "off_line"}, ["ADP-1"]),
            ({"text": "off-line"}, []),
            ({"system": "orb"}, ["ADP-1", "ADP-2", "ADP-3"]),
            ({"system": "orb", "size": "-6"}, ["ADP-1", "ADP-3"]),
            ({"system": "orb", "size": "−6"}, ["ADP-1", "ADP-3"]),
            ({"system": "orb", "gender": "female"}, ["ADP-2"]),
            ({"system": "orb", "size": "-8", "gender": "male"}, []),
            ({"system": "flare-37", "size": "-6"}, []),
            ({"connection": "-6 ORB male"}, ["ADP-1", "ADP-3"]),
            ({"connection": "-8 ORB"}, ["ADP-2"]),
            ({"material": "zinc-die-cast"}, ["ADP-2"]),
            ({"approved_fuel": "E85"}, ["ADP-1"]),
            ({"fuel": "E10"}, ["ADP-1", "ADP-2", "FUSE-1", "HOSE-1"]),
            ({"fuel": "E85"}, ["ADP-1", "FUSE-1"]),
            ({"kind": "adapter", "fuel": "E85", "system": "orb"}, ["ADP-1"]),
        ],
    )
    def test_what_is_asked_is_found(
        self, shop: TestClient, query: dict[str, str], found: list[str]
    ) -> None:
        assert skus(shop, **query) == found

    @pytest.mark.parametrize(
        ("query", "pointer"),
        [
            ({"knd": "pump"}, "/knd"),
            ({"kind": "pmp"}, "/kind"),
            ({"size": "-6"}, "/size"),
            ({"gender": "male"}, "/gender"),
            ({"connection": "6"}, "/connection"),
            ({"connection": "-6 ORB", "system": "orb"}, "/connection"),
            ({"fuel": "E851"}, "/fuel"),
            ({"fuel": "B7"}, "/fuel"),
            ({"fuel": "\x00"}, "/fuel"),
            ({"text": "a\x00b"}, "/text"),
            ({"text": ""}, "/text"),
            ({"limit": "0"}, "/limit"),
            ({"limit": "201"}, "/limit"),
            ({"cursor": "nonsense"}, "/cursor"),
        ],
    )
    def test_a_question_that_cannot_be_answered_is_refused(
        self, client: TestClient, query: dict[str, str], pointer: str
    ) -> None:
        said = refused(client.get("/v1/components", params=query), 422)
        assert [each["pointer"] for each in said["errors"]] == [pointer]
        assert said["errors"][0]["in"] == "query"

    def test_a_size_that_is_open_is_refused_with_its_readings(self, client: TestClient) -> None:
        said = refused(client.get("/v1/components", params={"connection": "6"}), 422)
        assert "37 degree flare" in said["errors"][0]["detail"]
        assert said["errors"][0]["expected"].endswith("?")

    def test_a_misspelt_fuel_is_answered_with_those_that_are_near(self, client: TestClient) -> None:
        said = refused(client.get("/v1/components", params={"fuel": "e85"}), 422)
        assert "`E85`" in said["errors"][0]["expected"]
