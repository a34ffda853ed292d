"""Pages by cursor: nothing twice, nothing left out, whatever others write meanwhile."""

from __future__ import annotations

import base64
import json

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from service.paging import read_cursor, write_cursor
from service.problems import Problem
from tests.service.shop import component


def fill(client: TestClient, *skus: str) -> None:
    body = [component(sku) for sku in skus]
    assert client.post("/v1/imports", json=body).status_code == 200


def follow(client: TestClient, address: str) -> list[list[str]]:
    """The SKUs of each page, going by the `Link` header."""
    pages = []
    while True:
        answer = client.get(address)
        assert answer.status_code == 200, answer.text
        pages.append([each["sku"] for each in answer.json()["items"]])
        if (link := answer.links.get("next")) is None:
            assert answer.json()["next_cursor"] is None
            return pages
        address = link["url"]
        assert answer.json()["next_cursor"] in address


def test_pages_hold_everything_once_in_order(client: TestClient) -> None:
    skus = [f"P{number:02}" for number in range(7)]
    fill(client, *reversed(skus))
    assert follow(client, "/v1/components?limit=3") == [skus[:3], skus[3:6], skus[6:]]


def test_a_full_last_page_has_no_next(client: TestClient) -> None:
    fill(client, "A", "B")
    assert follow(client, "/v1/components?limit=2") == [["A", "B"]]


def test_an_empty_list_is_one_empty_page(client: TestClient) -> None:
    assert follow(client, "/v1/components") == [[]]


def test_order_is_by_code_point_on_every_database(client: TestClient) -> None:
    skus = ["b", "B2", "a", "A1", "10", "9", "a_b", "a-c", "a.d"]
    fill(client, *skus)
    assert follow(client, "/v1/components?limit=2") == [
        sorted(skus)[at : at + 2] for at in range(0, len(skus), 2)
    ]


def test_rows_written_between_two_pages_neither_repeat_nor_hide_one(client: TestClient) -> None:
    fill(client, "B", "D", "F", "H")
    first = client.get("/v1/components", params={"limit": 2})
    assert [each["sku"] for each in first.json()["items"]] == ["B", "D"]
    fill(client, "A", "C", "E", "G")
    client.delete("/v1/components/D", headers={"If-Match": "*"})
    client.delete("/v1/components/F", headers={"If-Match": "*"})
    rest = follow(client, first.links["next"]["url"])
    assert [sku for page in rest for sku in page] == ["E", "G", "H"]


def test_the_next_page_keeps_what_was_asked(client: TestClient) -> None:
    fill(client, "A1", "A2", "B1", "A3")
    assert follow(client, "/v1/components?text=a&limit=2&kind=cap") == [
        ["A1", "A2"],
        ["A3", "B1"],
    ]


def test_a_cursor_of_another_list_is_refused(client: TestClient) -> None:
    fill(client, "A", "B")
    cursor = client.get("/v1/components?limit=1&kind=cap").json()["next_cursor"]
    answer = client.get("/v1/components", params={"cursor": cursor, "kind": "pump"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/cursor"
    assert client.get("/v1/components", params={"cursor": cursor, "kind": "cap"}).status_code == 200


def forged(value: object) -> str:
    return base64.urlsafe_b64encode(json.dumps(value).encode()).decode().rstrip("=")


@pytest.mark.parametrize(
    "cursor",
    ["", "?", "!!!!", "ÿ", forged([]), forged(["\x00", "x"]), forged({"a": 1}), forged([1, 2]),
     forged(["A" * 65, "x"]), forged("A"), "a" * 300, forged([[[[[]]]]])],
)  # fmt: skip
def test_a_cursor_made_up_is_refused(cursor: str) -> None:
    with pytest.raises(Problem):
        read_cursor(cursor, {})


@given(
    st.text(alphabet=st.characters(min_codepoint=0x21, max_codepoint=0x7E), min_size=1, max_size=64)
)
def test_a_cursor_is_read_as_it_was_written(last: str) -> None:
    assert read_cursor(write_cursor(last, {"kind": "cap"}), {"kind": "cap"}) == last
