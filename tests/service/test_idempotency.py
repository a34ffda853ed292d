"""Keys of requests: who sends the same twice at once, and how long a key is remembered."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from service import idempotency
from service.database import Database, read_revision
from service.idempotency import Answer, KeyedRequest
from tests.service.shop import component

MOMENT = datetime(2026, 5, 1, tzinfo=UTC)


def request(key: str, payload: bytes = b"payload", operation: str = "create") -> KeyedRequest:
    keyed = KeyedRequest.of(operation, key, payload)
    assert keyed is not None
    return keyed


def remember(database: Database, keyed: KeyedRequest, hours: int = 24) -> None:
    with database.write() as write:
        keyed.remember(write, Answer(201, {"ETag": '"1"'}, "{}"), hours)


def answered(database: Database, keyed: KeyedRequest) -> Answer | None:
    with database.write() as write:
        return keyed.answered(write)


def test_a_request_without_a_key_is_not_remembered() -> None:
    assert KeyedRequest.of("create", None, b"payload") is None


def test_an_answer_is_read_back_whole(database: Database) -> None:
    remember(database, request("key"))
    assert answered(database, request("key")) == Answer(201, {"ETag": '"1"'}, "{}")


def test_keys_of_different_operations_are_apart(database: Database) -> None:
    remember(database, request("key"))
    assert answered(database, request("key", operation="import")) is None


def test_payloads_are_told_apart_by_their_pieces() -> None:
    one = KeyedRequest.of("create", "key", b"ab", b"c")
    other = KeyedRequest.of("create", "key", b"a", b"bc")
    assert one != other


def test_an_answer_is_forgotten_after_its_time(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(idempotency, "now", lambda: MOMENT)
    remember(database, request("old"))
    monkeypatch.setattr(idempotency, "now", lambda: MOMENT + timedelta(hours=23))
    remember(database, request("young"))
    assert answered(database, request("old")) is not None
    monkeypatch.setattr(idempotency, "now", lambda: MOMENT + timedelta(hours=25))
    remember(database, request("new"))
    assert answered(database, request("old")) is None
    assert answered(database, request("young")) is not None


def test_the_same_request_sent_many_times_at_once_is_carried_out_once(
    client: TestClient, database: Database
) -> None:
    def send(_: int) -> tuple[int, bytes]:
        answer = client.post(
            "/v1/components", json=component("A"), headers={"Idempotency-Key": "one"}
        )
        return answer.status_code, answer.content

    with ThreadPoolExecutor(6) as pool:
        answers = set(pool.map(send, range(6)))
    assert [status for status, _ in answers] == [201]
    with database.read() as connection:
        assert read_revision(connection) == 1
