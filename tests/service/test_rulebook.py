"""`/v1/rules`: the rule book over HTTP."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml
from fastapi.testclient import TestClient
from jsonschema import Draft202012Validator

import rules
from rules.check import load_rules
from tests.service.fixtures_demo import demo_client, demo_database, seeded

__all__ = ["demo_client", "demo_database", "seeded"]

BOOK = Path(rules.__file__).parent / "book"


def read(client: TestClient, path: str) -> Any:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_every_rule_is_listed_and_read(demo_client: TestClient) -> None:
    book = load_rules()
    told = read(demo_client, "/v1/rules")
    assert told["version"] == book.version
    assert [each["id"] for each in told["rules"]] == [rule.id for rule in book.rules]
    for rule in book.rules:
        shown = read(demo_client, f"/v1/rules/{rule.id}")
        assert shown["when"] == rule.condition.source
        assert shown["sources"] == list(rule.sources)
        assert len(shown["examples"]) == len(rule.examples)
        assert {"fires", "passes"} <= {each["expected"] for each in shown["examples"]}


def test_sets_of_words_are_lists(demo_client: TestClient) -> None:
    examples = [
        value
        for rule in load_rules().rules
        for example in read(demo_client, f"/v1/rules/{rule.id}")["examples"]
        for value in example["facts"].values()
    ]
    lists = [value for value in examples if isinstance(value, list)]
    assert lists
    assert all(value == sorted(value) for value in lists)


@pytest.mark.parametrize("field", ["about", "family", "severity"])
def test_filters(demo_client: TestClient, field: str) -> None:
    every = read(demo_client, "/v1/rules")["rules"]
    for value in {each[field] for each in every}:
        found = read(demo_client, f"/v1/rules?{field}={value}")["rules"]
        assert found == [each for each in every if each[field] == value]


def test_unknown_rule(demo_client: TestClient) -> None:
    answer = demo_client.get("/v1/rules/flare-screwed-into-oring-port")
    assert answer.status_code == 404
    assert "`flare-screwed-into-o-ring-port`" in answer.json()["detail"]


def test_form_accepts_the_built_in_book_and_not_a_misspelt_rule(demo_client: TestClient) -> None:
    form = read(demo_client, "/v1/rules/form")
    Draft202012Validator.check_schema(form)
    validator = Draft202012Validator(form)
    files = sorted(BOOK.glob("*.yaml"))
    assert files
    for file in files:
        written = yaml.safe_load(file.read_text(encoding="utf-8"))
        assert [f"{f.json_path}: {f.message}" for f in validator.iter_errors(written)] == []
        written["rules"][0]["wen"] = written["rules"][0].pop("when")
        assert list(validator.iter_errors(written))
