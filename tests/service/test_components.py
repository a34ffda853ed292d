"""`/v1/components` over HTTP."""

from __future__ import annotations

from fastapi.testclient import TestClient

from tests.service.shop import component


def test_created_component_is_read_back_as_it_was_given(client: TestClient) -> None:
    created = client.post("/v1/components", json=component("0017"))
    assert created.status_code == 201, created.text
    assert created.headers["Location"] == "/v1/components/0017"
    read = client.get(created.headers["Location"])
    assert read.status_code == 200
    assert read.headers["ETag"] == created.headers["ETag"]
    assert read.json()["sku"] == "0017"
