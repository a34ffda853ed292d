"""The OpenAPI document: complete, true, and changed only on purpose.

Renew the stored document after a change that is meant:

    LINEWORTHY_TEST_RENEW=1 python -m pytest tests/service/test_openapi.py -k stored
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from service.app import create_app
from service.documentation import TAGS
from service.glossary import GLOSSARY
from service.problems import MEDIA_TYPE
from service.settings import Settings
from tests.service.fixtures_demo import demo_client, demo_database, seeded, serving

__all__ = ["demo_client", "demo_database", "seeded"]

STORED = Path(__file__).with_name("openapi.json")
RENEW = "LINEWORTHY_TEST_RENEW"


@pytest.fixture(scope="module")
def bare() -> dict[str, Any]:
    """The document without examples of answers, which change with the book and the shop."""
    app = create_app(Settings(database_url="sqlite:///unused.sqlite3"))
    document: dict[str, Any] = app.openapi()
    return document


@pytest.fixture(scope="module")
def document(demo_client: TestClient) -> dict[str, Any]:
    """The document as callers get it."""
    told: dict[str, Any] = demo_client.get("/openapi.json").json()
    return told


def operations(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield f"{method.upper()} {path}", operation


def test_every_operation_is_described(document: dict[str, Any]) -> None:
    known_tags = {name for name, _ in TAGS}
    ids = [operation["operationId"] for _, operation in operations(document)]
    assert len(ids) == len(set(ids))
    assert {tag["name"] for tag in document["tags"]} == known_tags
    used_tags = set()
    for name, operation in operations(document):
        assert re.fullmatch(r"[a-z]+(_[a-z]+)+", operation["operationId"]), name
        assert operation["summary"], name
        assert operation["description"], name
        (tag,) = operation["tags"]
        used_tags.add(tag)
        for parameter in operation.get("parameters", ()):
            assert parameter.get("description"), f"{name}: {parameter['name']}"
        for status, response in operation["responses"].items():
            assert response["description"], f"{name}: {status}"
    assert used_tags == known_tags


def test_every_refusal_is_a_problem(document: dict[str, Any]) -> None:
    for name, operation in operations(document):
        responses = operation["responses"]
        for status, response in responses.items():
            if status >= "400":
                assert list(response["content"]) == [MEDIA_TYPE], f"{name}: {status}"
        assert "500" in responses, name
        if "requestBody" in operation:
            assert {"413", "415", "422"} <= set(responses), name
        if any(each["required"] for each in operation.get("parameters", ())):
            assert "422" in responses, name


def fields(schema: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every field of a schema and of the schemas in it."""
    if isinstance(schema, list):
        for each in schema:
            yield from fields(each)
    elif isinstance(schema, dict):
        properties = schema.get("properties", {})
        yield from properties.items()
        yield from fields(list(properties.values()))
        yield from fields([value for key, value in schema.items() if key in ("anyOf", "items")])


def test_every_field_is_described(document: dict[str, Any]) -> None:
    undescribed = [
        f"{name}.{field}"
        for name, schema in document["components"]["schemas"].items()
        for field, value in fields(schema)
        # The two halves of a quantity are described as a whole.
        if not value.get("description") and {field} - {"value", "unit"}
    ]
    assert undescribed == []


def test_every_word_of_the_glossary_is_needed(bare: dict[str, Any]) -> None:
    explained = {
        field
        for schema in bare["components"]["schemas"].values()
        for field, value in fields(schema)
        if value.get("description") == GLOSSARY.get(field)
    }
    assert set(GLOSSARY) - explained == set()


# Examples -------------------------------------------------------------------------------------


def contents(operation: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Every body of an operation that is sent or answered."""
    yield from operation.get("requestBody", {}).get("content", {}).values()
    for response in operation["responses"].values():
        yield from response.get("content", {}).values()


def examples(document: dict[str, Any], content: dict[str, Any]) -> Iterator[Any]:
    if "example" in content:
        yield content["example"]
    for named in content.get("examples", {}).values():
        yield named["value"]
    schema = content.get("schema", {})
    yield from schema.get("examples", ())
    while "$ref" in schema:
        schema = document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
        yield from schema.get("examples", ())


def test_every_operation_has_an_example(document: dict[str, Any]) -> None:
    for name, operation in operations(document):
        if "requestBody" in operation:
            sent = operation["requestBody"]["content"].values()
            assert any(any(examples(document, each)) for each in sent), name
        answers = [
            content
            for status, response in operation["responses"].items()
            if status.startswith("2")
            for content in response.get("content", {}).values()
        ]
        if answers and "requestBody" not in operation:
            assert any(any(examples(document, each)) for each in answers), name


def test_every_example_follows_its_schema(document: dict[str, Any]) -> None:
    root = Resource(contents=document, specification=DRAFT202012)
    registry: Registry[Any] = Registry().with_resource("urn:openapi", root)
    checked = 0
    for name, operation in operations(document):
        for content in contents(operation):
            schema = json.loads(
                json.dumps(content.get("schema", {})).replace("#/", "urn:openapi#/")
            )
            validator = Draft202012Validator(schema, registry=registry)
            for example in examples(document, content):
                faults = [f"{f.json_path}: {f.message}" for f in validator.iter_errors(example)]
                assert faults == [], name
                checked += 1
    assert checked > 50


@pytest.mark.parametrize("name", ["assembly", "cart"])
def test_example_of_a_check_is_what_the_service_answers(
    demo_client: TestClient, document: dict[str, Any], name: str
) -> None:
    operation = document["paths"]["/v1/checks"]["post"]
    sent = operation["requestBody"]["content"]["application/json"]["examples"][name]["value"]
    answers = operation["responses"]["200"]["content"]["application/json"]["examples"]
    shown = dict(answers[name]["value"])
    answered = demo_client.post("/v1/checks", json=sent).json()
    for changing in ("catalogue_revision", "fingerprint"):
        del answered[changing], shown[changing]
    assert answered == shown


def test_document_is_the_stored_one(bare: dict[str, Any]) -> None:
    written = json.dumps(bare, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
    if os.environ.get(RENEW):
        STORED.write_text(written, encoding="utf-8")
    assert json.loads(STORED.read_text(encoding="utf-8")) == json.loads(written), (
        f"The API has changed. If it was meant: {RENEW}=1 python -m pytest {__file__} -k stored"
    )


# The service against its document -------------------------------------------------------------

REFUSED_CHECKS = "positive_data_acceptance"
"""A request may follow the schema and still name a part that nobody has."""


def test_no_generated_request_breaks_the_document(seeded: Path, tmp_path: Path) -> None:
    """No 5xx, no status, header, media type or body that the document does not declare."""
    database = tmp_path / "shop.sqlite3"
    shutil.copy(seeded, database)
    with serving(f"sqlite:///{database}", "--log-level", "error") as (_, address):
        done = subprocess.run(
            [
                str(Path(sys.executable).with_name("schemathesis")),
                *("run", f"{address}/openapi.json", "--no-color", "--seed", "1"),
                *("--phases", "coverage,fuzzing", "--max-examples", "2"),
                *("--max-time", "180", "--exclude-checks", REFUSED_CHECKS),
                *("--continue-on-failure", "--generation-database", "none"),
            ],
            capture_output=True,
            encoding="utf-8",
            cwd=tmp_path,
            timeout=400,
            check=False,
        )
    assert done.returncode == 0, done.stdout[-20_000:]
    generated = re.search(r"([\d,]+) generated", done.stdout)
    selected = re.search(r"(\d+) selected / (\d+) total", done.stdout)
    assert generated
    assert selected
    assert selected[1] == selected[2]
    assert int(generated[1].replace(",", "")) > int(selected[2]), "not one request an operation"


# The page -------------------------------------------------------------------------------------


class Links(HTMLParser):
    """What a page would fetch, and the places it has."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.followed: list[str] = []
        self.places: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "src" or (name == "href" and tag == "link"):
                self.fetched.append(str(value))
            elif name == "href":
                self.followed.append(str(value))
            elif name == "id":
                self.places.add(str(value))


def test_page_shows_every_operation_and_fetches_nothing(
    demo_client: TestClient, document: dict[str, Any]
) -> None:
    answer = demo_client.get("/docs")
    assert answer.headers["content-type"].startswith("text/html")
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    links = Links()
    links.feed(answer.text)
    assert links.fetched == []
    assert not re.search(r"url\(|@import", answer.text)
    ids = {operation["operationId"] for _, operation in operations(document)}
    assert ids <= links.places
    assert {f"shape-{name}" for name in document["components"]["schemas"]} <= links.places
    for followed in links.followed:
        assert followed == "/openapi.json" or followed.removeprefix("#") in links.places
