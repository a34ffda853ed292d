"""Problem details: every refusal in one shape, every fault at its place, nothing raw echoed."""

from __future__ import annotations

import json
import logging
from collections.abc import AsyncIterator
from typing import Annotated, Any

import pytest
from fastapi import Body, FastAPI, Query
from fastapi.testclient import TestClient
from httpx import Response

from rules.assembly import Request as Proposal
from service import documentation
from service.database import DatabaseUnavailable
from service.explanations import router as explanations
from service.forms import Forms
from service.handlers import answer_with_problems
from service.limits import BodyLimits
from service.problems import EXPLANATIONS, MOST_FAULTS, problem, rendering
from service.trace import Trace

MOST_BYTES = 20_000
SMALLEST = {"application": {"fuel": "E10"}, "items": [{"ref": "pump", "sku": "LW-1"}]}


def make_app() -> FastAPI:
    app = FastAPI(title="Small", version="1", docs_url=None, redoc_url=None)

    @app.post("/v1/checks", operation_id="check")
    async def check(proposal: Annotated[Proposal, Body()]) -> dict[str, int]:
        return {"items": len(proposal.items)}

    @app.get("/v1/list", operation_id="list")
    async def listed(limit: Annotated[int, Query(ge=1, le=50, description="Most rows.")]) -> int:
        return limit

    @app.get("/v1/breaks", operation_id="breaks")
    async def breaks() -> None:
        raise ZeroDivisionError("the password is hunter2")

    @app.get("/v1/cut-off", operation_id="cut_off")
    async def cut_off() -> None:
        raise DatabaseUnavailable("The database does not answer.")

    @app.put("/v1/stale", operation_id="stale")
    async def stale() -> None:
        raise problem("precondition-failed", "It is at version 3.", headers={"ETag": '"3"'})

    app.include_router(explanations)
    answer_with_problems(app)
    documentation.describe(app, [explanations])
    app.state.forms = Forms(app.openapi())
    app.add_middleware(BodyLimits, most_bytes=MOST_BYTES, most_bytes_under={"/v1/long": 10**6})
    app.add_middleware(Trace)
    return app


@pytest.fixture(scope="module")
def client() -> TestClient:
    return TestClient(make_app(), raise_server_exceptions=False)


def post(client: TestClient, body: Any) -> Response:
    return client.post("/v1/checks", json=body)


def faults(answer: Response) -> dict[str, dict[str, Any]]:
    """The faults of an answer by pointer, after checking that it is a problem of its status."""
    assert answer.headers["content-type"] == "application/problem+json"
    told = answer.json()
    assert told["status"] == answer.status_code
    assert told["instance"] == answer.headers["x-request-id"]
    pointers = [fault["pointer"] for fault in told.get("errors", [])]
    assert len(pointers) == len(set(pointers)), "two faults for one place"
    return {fault["pointer"]: fault for fault in told.get("errors", [])}


class TestShape:
    @pytest.mark.parametrize(
        ("method", "path", "status", "kind"),
        [
            ("GET", "/v1/nowhere", 404, "not-found"),
            ("DELETE", "/v1/checks", 405, "method-not-allowed"),
            ("PUT", "/v1/stale", 412, "precondition-failed"),
            ("GET", "/v1/list", 422, "invalid-request"),
            ("GET", "/v1/breaks", 500, "internal-error"),
            ("GET", "/v1/cut-off", 503, "unavailable"),
        ],
    )
    def test_each_refusal(
        self, client: TestClient, method: str, path: str, status: int, kind: str
    ) -> None:
        answer = client.request(method, path)
        faults(answer)
        told = answer.json()
        assert answer.status_code == status
        assert told["type"] == f"/v1/problems/{kind}"
        assert told["title"] == EXPLANATIONS[kind].title  # type: ignore[index]

    def test_type_leads_to_an_explanation(self, client: TestClient) -> None:
        for kind, explained in EXPLANATIONS.items():
            page = client.get(f"/v1/problems/{kind}")
            assert page.status_code == 200
            assert page.json()["meaning"] == explained.meaning
            assert page.json()["status"] == explained.status
        assert client.get("/v1/problems/no-such").status_code == 404
        assert len(client.get("/v1/problems").json()) == len(EXPLANATIONS)

    def test_headers_of_a_refusal_are_kept(self, client: TestClient) -> None:
        assert client.put("/v1/stale").headers["etag"] == '"3"'
        assert client.delete("/v1/checks").headers["allow"] == "POST"
        assert client.get("/v1/cut-off").headers["retry-after"] == "2"

    def test_near_path_is_suggested(self, client: TestClient) -> None:
        assert "`/v1/checks`" in client.get("/v1/check").json()["detail"]

    def test_failure_tells_nothing_of_the_inside(
        self, client: TestClient, caplog: pytest.LogCaptureFixture
    ) -> None:
        answer = client.get("/v1/breaks", headers={"X-Request-ID": "shop-42"})
        assert "hunter2" not in answer.text
        assert "ZeroDivision" not in answer.text
        assert answer.json()["instance"] == "shop-42"
        logged = [record for record in caplog.records if record.levelno == logging.ERROR]
        assert len(logged) == 1
        assert logged[0].exc_info is not None


class TestRequestId:
    def test_sane_id_is_kept(self, client: TestClient) -> None:
        answer = client.get("/v1/list?limit=1", headers={"X-Request-ID": "order-7.b_2"})
        assert answer.headers["x-request-id"] == "order-7.b_2"

    @pytest.mark.parametrize("given", ["", " ", "a" * 65, "x\ty", "{}", "-x", "é"])
    def test_other_ids_are_replaced(self, client: TestClient, given: str) -> None:
        headers = {"X-Request-ID": given.encode("latin-1")}
        made = client.get("/v1/list?limit=1", headers=headers).headers["x-request-id"]  # type: ignore[arg-type]
        assert made != given
        assert len(made) == 32

    def test_trace_of_the_caller_is_logged(
        self, client: TestClient, caplog: pytest.LogCaptureFixture
    ) -> None:
        from service.logs import JsonLines

        written: list[dict[str, Any]] = []

        class Kept(logging.Handler):
            def emit(self, record: logging.LogRecord) -> None:
                written.append(json.loads(JsonLines().format(record)))

        log = logging.getLogger("lineworthy.requests")
        kept = Kept()
        log.addHandler(kept)
        log.setLevel(logging.INFO)
        try:
            trace = "4bf92f3577b34da6a3ce929d0e0e4736"
            headers = {"traceparent": f"00-{trace}-00f067aa0ba902b7-01", "X-Request-ID": "one"}
            client.get("/v1/list?limit=1", headers=headers)
            client.get("/v1/list?limit=1", headers={"traceparent": f"00-{'0' * 32}-x-01"})
        finally:
            log.removeHandler(kept)
        first, second = written
        assert first["trace_id"] == trace
        assert first["request_id"] == "one"
        assert (first["method"], first["path"], first["status"]) == ("GET", "/v1/list", 200)
        assert first["duration_ms"] > 0
        assert "trace_id" not in second


class TestFaultsOfBodies:
    def test_well_formed(self, client: TestClient) -> None:
        assert post(client, SMALLEST).json() == {"items": 1}

    def test_all_faults_at_once(self, client: TestClient) -> None:
        told = faults(
            post(
                client,
                {
                    "application": {"fuel": "E10", "boost": 1.2, "cylinders": True},
                    "items": [
                        {"ref": "Pump", "sku": "LW-1"},
                        {"ref": "rail", "component": {"name": "r", "kind": "rails"}},
                        {"ref": "nothing"},
                    ],
                    "joints": [["pump.out"], ["a.b", "a.b"]],
                    "vehicel": "x",
                },
            )
        )
        assert set(told) == {
            "/application/boost",
            "/application/cylinders",
            "/items/0/ref",
            "/items/1/component/kind",
            "/items/2/sku",
            "/joints/0/1",
            "/joints/1/1",
            "/vehicel",
        }
        assert told["/application/boost"]["found"] == 1.2
        assert '"3 bar"' in told["/application/boost"]["expected"]
        assert told["/items/1/component/kind"]["expected"].startswith("did you mean `rail`?")
        assert told["/vehicel"]["expected"].startswith("did you mean `vehicle`?")
        assert told["/joints/0/1"]["code"] == "missing"

    def test_field_named_like_the_tag_of_a_union(self, client: TestClient) -> None:
        component = {"name": "p", "kind": "pump", "pump": 1, "spec": {"pump": 2}}
        told = faults(post(client, {**SMALLEST, "items": [{"ref": "p", "component": component}]}))
        assert set(told) == {"/items/0/component/pump", "/items/0/component/spec/pump"}

    @pytest.mark.parametrize(
        ("fuel", "pointer", "said"),
        [
            (5, "/application/fuel", "an object with `ethanol_percent`"),
            ("E 85", "/application/fuel", "`/v1/fuels`"),
            ({"ethanol_percent": 101}, "/application/fuel/ethanol_percent", "up to 100"),
            ({"ethanol_percent": "71"}, "/application/fuel/ethanol_percent", "a number"),
            (
                {"ethanol_percent": {"least": 1}},
                "/application/fuel/ethanol_percent/most",
                "content",
            ),
            ({}, "/application/fuel/ethanol_percent", "a number"),
        ],
    )
    def test_union_speaks_for_one_member(
        self, client: TestClient, fuel: object, pointer: str, said: str
    ) -> None:
        told = faults(post(client, {**SMALLEST, "application": {"fuel": fuel}}))
        assert set(told) == {pointer}
        assert said in told[pointer]["expected"]

    def test_list_is_not_called_short_because_its_members_are_wrong(
        self, client: TestClient
    ) -> None:
        told = faults(post(client, {**SMALLEST, "items": [{"ref": "a"}]}))
        assert set(told) == {"/items/0/sku"}
        told = faults(post(client, {**SMALLEST, "items": []}))
        assert told["/items"]["expected"] == "at least one entry"

    def test_many_items_are_refused_as_a_list(self, client: TestClient) -> None:
        told = faults(post(client, {**SMALLEST, "items": [{"ref": "a", "sku": "b"}] * 401}))
        assert told["/items"]["detail"] == "The list is too long."
        assert told["/items"]["expected"] == "at most 400 members"

    def test_answer_is_bounded(self, client: TestClient) -> None:
        joints = [["A.b", "C.d"]] * 700
        answer = post(client, {**SMALLEST, "joints": joints})
        assert len(faults(answer)) == MOST_FAULTS
        assert answer.json()["detail"].endswith("400 more are not listed.")

    def test_no_name_of_a_class_leaks(self, client: TestClient) -> None:
        answer = post(client, {"application": 3, "items": [4, {"ref": "a", "component": 5}]})
        assert {"/application", "/items/0", "/items/1/component"} == set(faults(answer))
        for inside in ("instance of", "dictionary", "Component", "pydantic"):
            assert inside not in answer.text


class TestFaultsOfParameters:
    def test_missing_and_out_of_range(self, client: TestClient) -> None:
        missing = faults(client.get("/v1/list"))["/limit"]
        assert missing["in"] == "query"
        assert missing["expected"] == "a whole number: Most rows"
        above = faults(client.get("/v1/list?limit=51"))["/limit"]
        assert above["expected"] == "a number up to 50"
        word = faults(client.get("/v1/list?limit=many"))["/limit"]
        assert word["found"] == "many"
        assert word["code"] == "type"


class TestMediaTypes:
    @pytest.mark.parametrize("content_type", ["text/plain", "application/xml", "", "nonsense"])
    def test_other_types_are_refused(self, client: TestClient, content_type: str) -> None:
        answer = client.post(
            "/v1/checks",
            content=json.dumps(SMALLEST),
            headers={"Content-Type": content_type} if content_type else {},
        )
        faults(answer)
        assert answer.status_code == 415
        assert answer.headers["accept-post"] == "application/json"

    @pytest.mark.parametrize(
        "content_type", ["application/json; charset=utf-8", "application/vnd.shop+json"]
    )
    def test_json_by_other_names(self, client: TestClient, content_type: str) -> None:
        answer = client.post(
            "/v1/checks", content=json.dumps(SMALLEST), headers={"Content-Type": content_type}
        )
        assert answer.status_code == 200

    def test_encoded_body(self, client: TestClient) -> None:
        answer = client.post(
            "/v1/checks",
            content=b"\x1f\x8b",
            headers={"Content-Type": "application/json", "Content-Encoding": "gzip"},
        )
        faults(answer)
        assert answer.status_code == 415


class TestLongBodies:
    def test_longest_and_one_more(self, client: TestClient) -> None:
        body = json.dumps(SMALLEST)
        headers = {"Content-Type": "application/json"}
        longest = body + " " * (MOST_BYTES - len(body))
        assert client.post("/v1/checks", content=longest, headers=headers).status_code == 200
        answer = client.post("/v1/checks", content=longest + " ", headers=headers)
        faults(answer)
        assert answer.status_code == 413
        assert str(MOST_BYTES) in answer.json()["detail"]

    def test_in_chunks_without_a_length(self, client: TestClient) -> None:
        async def chunks() -> AsyncIterator[bytes]:
            for _ in range(30):
                yield b" " * 1000

        import asyncio

        import httpx

        async def ask() -> Response:
            transport = httpx.ASGITransport(make_app())
            async with httpx.AsyncClient(transport=transport, base_url="http://a") as asking:
                return await asking.post("/v1/checks", content=chunks())

        answer = asyncio.run(ask())
        faults(answer)
        assert answer.status_code == 413

    def test_other_limit_under_a_path(self, client: TestClient) -> None:
        assert client.post("/v1/long", content=b" " * (MOST_BYTES + 1)).status_code == 404

    def test_refused_before_it_is_sent_where_the_client_asks(self) -> None:
        import asyncio

        sent: list[Any] = []

        async def receive() -> Any:
            raise AssertionError("the body was asked for")

        async def send(event: Any) -> None:
            sent.append(event)

        scope = {
            "type": "http",
            "method": "POST",
            "path": "/v1/checks",
            "query_string": b"",
            "headers": [(b"content-length", b"9999999"), (b"expect", b"100-continue")],
        }
        limits = BodyLimits(make_app(), MOST_BYTES, {})
        asyncio.run(limits(scope, receive, send))
        assert sent[0]["status"] == 413
        assert (b"connection", b"close") in sent[0]["headers"]


class TestRendering:
    @pytest.mark.parametrize(
        ("found", "shown"),
        [
            (None, None),
            (True, True),
            (float("nan"), "nan"),
            (float("-inf"), "-inf"),
            (10**40, "a number of very many digits"),
            ("x" * 300, "x" * 200 + "…"),
            ("\ud800", "\\ud800"),
            (b"\xff", "\ufffd"),
            ([1, 2, 3, 4, 5, 6, 7, 8], [1, 2, 3, 4, 5, 6, "… 2 more"]),
            ({"a": {"b": {"c": {"d": 1}}}}, {"a": {"b": {"c": "{…}"}}}),
        ],
    )
    def test_bounded_and_writable(self, found: object, shown: object) -> None:
        assert rendering(found) == shown
        json.dumps(rendering(found), allow_nan=False).encode("utf-8")
