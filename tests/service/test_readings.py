"""`POST /v1/readings`: text as the trade writes it, over HTTP."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from rules.reading import KINDS
from service.readings.endpoints import LONGEST_TEXT
from tests.service.fixtures_demo import demo_client, demo_database, seeded

__all__ = ["demo_client", "demo_database", "seeded"]


@pytest.fixture(scope="module")
def client(demo_client: TestClient) -> TestClient:
    return demo_client


def read(client: TestClient, kind: str, text: str) -> dict[str, Any]:
    answer = client.post("/v1/readings", json={"kind": kind, "text": text})
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


def test_certain_text(client: TestClient) -> None:
    told = read(client, "connection", "3/8 NPT female")
    assert told["certainty"] == "certain"
    assert told["canonical"] == {"system": "npt", "size": "3/8", "gender": "female"}
    assert told["question"] is None


def test_open_text_comes_with_its_readings_and_the_question(client: TestClient) -> None:
    told = read(client, "connection", "-6 AN")
    assert told["certainty"] in ("partial", "ambiguous")
    systems = {each["canonical"]["system"] for each in told["readings"]}
    assert systems == {"flare-37", "orb"}
    assert told["question"].endswith("?")


def test_mixed_fraction_is_not_a_product(client: TestClient) -> None:
    told = read(client, "quantity", "3 1/8 in")
    assert told["canonical"]["value"] == 3.125


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "text",
    ["", " ", "\x00", "﷽" * 50, "9**9**7 mm", "-" * LONGEST_TEXT, "🔩", "{}", "NaN", "1e999 bar"],
)
def test_any_text_is_answered(client: TestClient, kind: str, text: str) -> None:
    told = read(client, kind, text)
    assert told["certainty"] in ("certain", "partial", "ambiguous", "unreadable")
    assert (told["certainty"] == "certain") == (told["question"] is None)


def test_kinds_that_callers_rely_on() -> None:
    assert {"connection", "size", "material", "fuel", "quantity"} <= set(KINDS)


@pytest.mark.parametrize(
    ("body", "pointer", "said"),
    [
        ({"kind": "conection", "text": "x"}, "/kind", "did you mean `connection`?"),
        ({"kind": "size"}, "/text", "The text as it was written"),
        ({"kind": "size", "text": 6}, "/text", "a text"),
        ({"kind": "size", "text": "6", "unit": "mm"}, "/unit", "`kind`, `text`"),
        ({"kind": "size", "text": "6" * (LONGEST_TEXT + 1)}, "/text", "at most 1000 characters"),
    ],
)
def test_malformed(client: TestClient, body: object, pointer: str, said: str) -> None:
    answer = client.post("/v1/readings", json=body)
    assert answer.status_code == 422
    (fault,) = answer.json()["errors"]
    assert fault["pointer"] == pointer
    assert said in fault["expected"]
