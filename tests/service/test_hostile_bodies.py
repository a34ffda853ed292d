"""Bodies that nobody should send: each is refused cleanly, by every operation that takes a body."""

from __future__ import annotations

import json
import time
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.strict_json import DEEPEST, JsonFaults, read_json
from tests.service.fixtures_demo import assembly, demo_client, demo_database, seeded

__all__ = ["demo_client", "demo_database", "seeded"]

JSON = "application/json"
OPERATIONS = [
    ("POST", "/v1/checks"),
    ("POST", "/v1/checks/what-if"),
    ("POST", "/v1/checks/fuel-change"),
    ("POST", "/v1/assemblies"),
    ("PUT", "/v1/assemblies/none"),
    ("POST", "/v1/assemblies/none/what-if"),
    ("POST", "/v1/assemblies/none/fuel-change"),
    ("POST", "/v1/assemblies/none/sign-offs"),
    ("POST", "/v1/readings"),
    ("POST", "/v1/components"),
    ("PUT", "/v1/components/HF-RAIL-I6"),
    ("PUT", "/v1/vehicles/hatch"),
    ("POST", "/v1/imports"),
]
NOT_JSON = {
    "nothing at all": b"",
    "blanks": b"  \n ",
    "cut off": b'{"a": [1, 2',
    "single quotes": b"{'a': 1}",
    "trailing comma": b'{"a": 1,}',
    "comment": b'{"a": 1} // x',
    "two values": b"{} {}",
    "bytes that are no text": b'{"a": "\xff\xfe"}',
    "surrogate in UTF-8": b'{"a": "\xed\xa0\x80"}',
    "UTF-16": '{"a": 1}'.encode("utf-16"),
    "raw control character": b'{"a": "\x01"}',
}
FAULTY_JSON = {
    "NaN": b'{"a": [NaN]}',
    "Infinity": b'{"a": [-Infinity]}',
    "float out of range": b'{"a": [1e999]}',
    "integer of 5000 digits": b'{"a": [' + b"1" * 5000 + b"]}",
    "half a surrogate pair": b'{"a": ["\\ud800"]}',
    "half a surrogate pair as a name": b'{"a": {"\\udc00": 1}}',
    "equal names": b'{"a": {"b": 1, "b": 2}}',
    "2000 lists deep": b'{"a": ' + b"[" * 2000 + b"]" * 2000 + b"}",
    "2000 objects deep": b'{"a":' * 2000 + b"1" + b"}" * 2000,
}
OTHER_VALUES = {
    "null": b"null",
    "true": b"true",
    "number": b"7",
    "text": b'"text"',
    "empty list": b"[]",
    "empty object": b"{}",
    "list of null": b"[null]",
    "900 lists deep": b"[" * 900 + b"]" * 900,
    "unknown field": b'{"no such field": "\\u0000"}',
}


def send(client: TestClient, method: str, path: str, body: bytes, media_type: str = JSON) -> Any:
    headers = {"Content-Type": media_type, "If-Match": '"1"'}
    return client.request(method, path, content=body, headers=headers)


def told(answer: Any) -> dict[str, Any]:
    """The problem of a refusal, after checking that it is a clean one."""
    assert 400 <= answer.status_code < 500, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = json.loads(answer.content.decode("utf-8"))
    assert problem["status"] == answer.status_code
    assert len(answer.content) < 100_000
    return problem


def cases(bodies: dict[str, bytes]) -> list[Any]:
    return [
        pytest.param(method, path, body, id=f"{method} {path}, {name}")
        for method, path in OPERATIONS
        for name, body in bodies.items()
    ]


@pytest.mark.parametrize(("method", "path", "body"), cases(NOT_JSON | FAULTY_JSON))
def test_what_is_not_json(demo_client: TestClient, method: str, path: str, body: bytes) -> None:
    problem = told(send(demo_client, method, path, body))
    assert problem["status"] == 422
    assert problem["errors"][0]["code"].startswith("json") or problem["errors"][0]["pointer"] == ""


@pytest.mark.parametrize(("method", "path", "body"), cases(OTHER_VALUES))
def test_json_of_another_form(demo_client: TestClient, method: str, path: str, body: bytes) -> None:
    answer = send(demo_client, method, path, body)
    if (path, body) == ("/v1/imports", b"[]"):
        assert answer.status_code < 500
    else:
        told(answer)


@pytest.mark.parametrize(("method", "path"), OPERATIONS)
@pytest.mark.parametrize("media_type", ["text/html", "application/xml", "x", "multipart/form-data"])
def test_other_media_types(
    demo_client: TestClient, method: str, path: str, media_type: str
) -> None:
    problem = told(send(demo_client, method, path, b'{"a": 1}', media_type))
    assert problem["status"] == 415


@pytest.mark.parametrize(("method", "path"), OPERATIONS)
def test_body_over_the_limit(demo_client: TestClient, method: str, path: str) -> None:
    length = 33 * 1024 * 1024 if path == "/v1/imports" else 1024 * 1024 + 1
    problem = told(send(demo_client, method, path, b" " * length))
    assert problem["status"] == 413


class TestPlacesOfFaults:
    @pytest.mark.parametrize(
        ("body", "pointer"),
        [
            (FAULTY_JSON["NaN"], "/a/0"),
            (FAULTY_JSON["float out of range"], "/a/0"),
            (FAULTY_JSON["half a surrogate pair"], "/a/0"),
            (FAULTY_JSON["equal names"], "/a/b"),
            (b'{"a/b": {"~": NaN}}', "/a~1b/~0"),
        ],
    )
    def test_pointer(self, demo_client: TestClient, body: bytes, pointer: str) -> None:
        problem = told(send(demo_client, "POST", "/v1/checks", body))
        assert [fault["pointer"] for fault in problem["errors"]] == [pointer]

    def test_every_fault_at_once(self, demo_client: TestClient) -> None:
        body = b'{"x": NaN, "y": {"z": 1, "z": [1e999, "\\ud800"]}}'
        problem = told(send(demo_client, "POST", "/v1/checks", body))
        found = [fault["pointer"] for fault in problem["errors"]]
        assert found == ["/x", "/y/z", "/y/z/0", "/y/z/1"]

    def test_line_and_column(self, demo_client: TestClient) -> None:
        problem = told(send(demo_client, "POST", "/v1/checks", b'{\n  "a": 1,\n  b: 2}'))
        assert "line 3, column 3" in problem["detail"]


class TestLooseTypes:
    """What a lenient reader would let pass as something else."""

    @pytest.mark.parametrize(
        ("place", "value"),
        [
            (("items", 0, "quantity"), True),
            (("items", 0, "quantity"), "2"),
            (("items", 0, "quantity"), 2.0),
            (("application", "cylinders"), True),
            (("application", "cylinders"), "6"),
            (("application", "boost"), 1.2),
            (("application", "boost"), "1.2"),
            (("application", "boost"), {"value": "1.2", "unit": "bar"}),
            (("application", "boost"), {"value": True, "unit": "bar"}),
            (("application", "boost"), "9**9**7 bar"),
            (("application", "boost"), "-1 bar"),
            (("application", "boost"), "1.2 mm"),
            (("application", "driveline_loss_percent"), "15"),
            (("items", 0, "ref"), "a b"),
            (("items", 0, "sku"), "HF-PMP-340\n"),
            (("unknown",), 1),
        ],
    )
    def test_refused_at_its_place(
        self, demo_client: TestClient, place: tuple[str | int, ...], value: object
    ) -> None:
        body = json.loads(json.dumps(assembly("07-flare-into-o-ring-port").body))
        here = body
        for step in place[:-1]:
            here = here[step]
        here[place[-1]] = value
        problem = told(send(demo_client, "POST", "/v1/checks", json.dumps(body).encode()))
        assert [fault["pointer"] for fault in problem["errors"]] == [
            "/" + "/".join(map(str, place))
        ]


NAMES = [
    "application",
    "fuel",
    "items",
    "ref",
    "sku",
    "component",
    "kind",
    "ports",
    "joints",
    "connection",
    "spec",
    "wetted",
    "text",
    "vehicle",
    "ethanol_percent",
    "id",
    "lines",
]
ANY_JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text()
    | st.sampled_from(["-6 AN male", "1/2 in", "E85", "pump", "feed.a", "HF-PMP-340", "\x00"]),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.text(max_size=6) | st.sampled_from(NAMES),
            inner,
            max_size=5,
        )
    ),
    max_leaves=25,
)


@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(operation=st.sampled_from(OPERATIONS), value=ANY_JSON)
def test_no_json_fails_the_service(
    demo_client: TestClient, operation: tuple[str, str], value: object
) -> None:
    body = json.dumps(value).encode()
    answer = send(demo_client, *operation, body)
    assert answer.status_code < 500, answer.text
    answer.json()


class TestDepth:
    """The limit is ours: the reader of one version of Python takes ten times that of another."""

    def test_as_deep_as_allowed(self) -> None:
        deep = "[" * DEEPEST + "]" * DEEPEST
        assert json.dumps(read_json(deep.encode())) == deep

    @pytest.mark.parametrize("opened", ["[", '{"a":', '[{"a":'])
    def test_one_level_more(self, opened: str) -> None:
        with pytest.raises(JsonFaults) as refused:
            read_json(opened.encode() * (DEEPEST + 1))
        assert [fault.code for fault in refused.value.faults] == ["json-too-deep"]

    def test_brackets_side_by_side_and_in_texts_are_not_deep(self) -> None:
        value = [["]{[", '"[', "\\"] for _ in range(DEEPEST)] + [{"[" * 500: "{" * 500}]
        assert read_json(json.dumps(value).encode()) == value

    def test_a_text_without_an_end_is_passed_over_once(self) -> None:
        body = b"[" + b"[]," * DEEPEST + b'"' + b'\\"' * 400_000
        started = time.process_time()
        with pytest.raises(JsonFaults):
            read_json(body)
        assert time.process_time() - started < 5.0


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(body: bytes) -> None:
    try:
        value = read_json(body)
    except JsonFaults as refused:
        written = [fault.detail for fault in refused.faults]
        json.dumps(written).encode("utf-8")
    else:
        json.dumps(value, allow_nan=False).encode("utf-8")


@settings(max_examples=200, deadline=None)
@given(ANY_JSON)
def test_plain_json_is_read_as_it_is(value: object) -> None:
    written = json.dumps(value)
    try:
        read = read_json(written.encode())
    except JsonFaults:
        # A float that is not finite, an integer too long, or a key or text with half a pair.
        assert any(mark in written for mark in ("NaN", "Infinity", "\\ud")) or any(
            len(word) > 18 for word in written.split()
        )
    else:
        assert read == value
