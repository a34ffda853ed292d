"""`/v1/vehicles` over HTTP."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from service.vehicles.schemas import EXAMPLE
from tests.service.shop import component
from tests.service.test_components import PORT, create, refused

NEW = {"If-None-Match": "*"}


def car(**changes: Any) -> dict[str, Any]:
    return {"id": "car", "name": "Car", "items": [], **changes}


def test_a_vehicle_is_created_read_replaced_and_deleted(client: TestClient) -> None:
    created = client.put(f"/v1/vehicles/{EXAMPLE['id']}", json=EXAMPLE, headers=NEW)
    assert created.status_code == 201, created.text
    read = client.get(created.headers["Location"])
    assert read.json() == created.json()
    assert read.headers["ETag"] == created.headers["ETag"]

    held = client.get(
        created.headers["Location"], headers={"If-None-Match": created.headers["ETag"]}
    )
    assert held.status_code == 304

    changed = {**created.json(), "name": "Renamed"}
    replaced = client.put(
        created.headers["Location"], json=changed, headers={"If-Match": created.headers["ETag"]}
    )
    assert replaced.status_code == 200
    assert replaced.json()["name"] == "Renamed"

    stale = client.delete(
        created.headers["Location"], headers={"If-Match": created.headers["ETag"]}
    )
    refused(stale, 412)
    gone = client.delete(
        created.headers["Location"], headers={"If-Match": replaced.headers["ETag"]}
    )
    assert gone.status_code == 204
    refused(client.get(created.headers["Location"]), 404)


@pytest.mark.parametrize(
    ("exists", "headers", "status"),
    [
        (False, {}, 428),
        (True, {}, 428),
        (True, NEW, 412),
        (True, {"If-Match": '"99"'}, 412),
        (False, {"If-Match": '"1"'}, 404),
        (False, {"If-None-Match": '"1"'}, 422),
        (True, {"If-Match": "1"}, 422),
    ],
)
def test_a_caller_says_whether_it_creates_or_replaces(
    client: TestClient, exists: bool, headers: dict[str, str], status: int
) -> None:
    if exists:
        client.put("/v1/vehicles/car", json=car(), headers=NEW)
    refused(client.put("/v1/vehicles/car", json=car(name="x"), headers=headers), status)


def test_everything_a_vehicle_names_must_be_there(client: TestClient) -> None:
    create(client, "CAP-1", ports=[PORT])
    given = car(
        items=[
            {"ref": "one", "sku": "CAP-1"},
            {"ref": "two", "sku": "cap_1"},
            {"ref": "one", "component": component("X")},
            {"ref": "tank", "component": {**component("Y"), "kind": "tank", "ports": [PORT]}},
        ],
        joints=[
            ["one.a", "tank.a"],
            ["tank.nowhere", "two.any"],
            {"ends": ["nobody.a", "tank.a"], "uses": ["clip"]},
        ],
    )
    said = refused(client.put("/v1/vehicles/car", json=given, headers=NEW), 422)
    told = {(each["pointer"], each["found"]) for each in said["errors"]}
    assert told == {
        ("/items/1/sku", "cap_1"),
        ("/items/2/ref", "one"),
        ("/joints/0", "one.a"),
        ("/joints/1", "tank.nowhere"),
        ("/joints/2", "nobody"),
        ("/joints/2", "clip"),
    }
    assert "`CAP-1`" in next(e for e in said["errors"] if e["found"] == "cap_1")["expected"]


def test_the_id_in_the_path_counts(client: TestClient) -> None:
    said = refused(client.put("/v1/vehicles/other", json=car(), headers=NEW), 422)
    assert said["errors"][0]["pointer"] == "/id"


def test_an_unknown_id_is_answered_with_those_that_are_near(client: TestClient) -> None:
    client.put("/v1/vehicles/car", json=car(), headers=NEW)
    assert "Did you mean `car`?" in refused(client.get("/v1/vehicles/cart"), 404)["detail"]


def test_vehicles_are_listed_in_pages(client: TestClient) -> None:
    for name in ("c", "a", "b"):
        put = client.put(f"/v1/vehicles/{name}", json=car(id=name), headers=NEW)
        assert put.status_code == 201
    first = client.get("/v1/vehicles", params={"limit": 2})
    assert [each["id"] for each in first.json()["items"]] == ["a", "b"]
    second = client.get(first.links["next"]["url"])
    assert [each["id"] for each in second.json()["items"]] == ["c"]
    assert "next" not in second.links
    refused(client.get("/v1/vehicles", params={"kind": "pump"}), 422)


def test_a_vehicle_no_longer_holds_a_part_it_was_replaced_without(client: TestClient) -> None:
    create(client, "CAP-1")
    client.put("/v1/vehicles/car", json=car(items=[{"ref": "cap", "sku": "CAP-1"}]), headers=NEW)
    refused(client.delete("/v1/components/CAP-1", headers={"If-Match": "*"}), 409)
    client.put("/v1/vehicles/car", json=car(), headers={"If-Match": "*"})
    answer = client.delete("/v1/components/CAP-1", headers={"If-Match": "*"})
    assert answer.status_code == 204
