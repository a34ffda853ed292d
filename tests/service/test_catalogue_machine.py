"""Random sequences of requests against the service and against a dict: both must agree."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from rules.catalogue import lookup_key
from service.database import Database, make_engine
from service.settings import Settings
from service.snapshot import Snapshot
from tests.service.shop import component, make_empty

SKUS = st.sampled_from(["A-1", "a.1", "B/2", "0017"])
SUCCESSORS = st.none() | SKUS
NAMES = st.sampled_from(["one", "two", "three"])


class Catalogue(RuleBasedStateMachine):
    """The service under test, and what it should hold."""

    url: str
    app: FastAPI

    @initialize()
    def start(self) -> None:
        make_empty(self.url)
        self.database = Database(make_engine(self.url, connections=4))
        self.app.state.settings = Settings(database_url=self.url)
        self.app.state.database = self.database
        self.app.state.snapshot = Snapshot(self.database)
        self.client = TestClient(self.app, raise_server_exceptions=False)
        self.held: dict[str, dict[str, Any]] = {}
        self.tags: dict[str, str] = {}
        self.every_tag: set[str] = set()
        self.revision = 0
        self.next_page: str | None = None
        self.seen: list[str] = []
        self.stayed: set[str] = set()

    def teardown(self) -> None:
        if hasattr(self, "database"):
            self.database.close()

    # What should happen -----------------------------------------------------------------------

    def is_taken(self, sku: str) -> bool:
        return lookup_key(sku) in map(lookup_key, self.held)

    def is_circular(self, sku: str, successor: str | None) -> bool:
        after = {key: each.get("superseded_by") for key, each in self.held.items()} | {
            sku: successor
        }
        passed: set[str | None] = set()
        while successor is not None and successor not in passed:
            if successor == sku:
                return True
            passed.add(successor)
            successor = after.get(successor)
        return False

    def keep(self, given: dict[str, Any], tag: str) -> None:
        assert tag not in self.every_tag, "a tag came back"
        self.every_tag.add(tag)
        self.held[given["sku"]] = given
        self.tags[given["sku"]] = tag
        self.revision += 1

    @staticmethod
    def given(sku: str, name: str, successor: str | None) -> dict[str, Any]:
        named = {} if successor is None else {"superseded_by": successor}
        return component(sku, name=name, **named)

    # What is done -----------------------------------------------------------------------------

    @rule(sku=SKUS, name=NAMES, successor=SUCCESSORS)
    def create(self, sku: str, name: str, successor: str | None) -> None:
        given = self.given(sku, name, successor)
        answer = self.client.post("/v1/components", json=given)
        if successor == sku:
            assert answer.status_code == 422
        elif self.is_taken(sku):
            assert answer.status_code == 409
        elif successor is not None and successor not in self.held:
            assert answer.status_code == 422
        else:
            assert answer.status_code == 201, answer.text
            self.keep(given, answer.headers["ETag"])

    @rule(sku=SKUS, name=NAMES, successor=SUCCESSORS, stale=st.booleans())
    def replace(self, sku: str, name: str, successor: str | None, stale: bool) -> None:
        given = self.given(sku, name, successor)
        tag = '"0"' if stale else self.tags.get(sku, '"1"')
        answer = self.client.put(f"/v1/components/{sku}", json=given, headers={"If-Match": tag})
        if successor == sku:
            assert answer.status_code == 422
        elif sku not in self.held:
            assert answer.status_code == 404
        elif stale:
            assert answer.status_code == 412
        elif successor is not None and (
            successor not in self.held or self.is_circular(sku, successor)
        ):
            assert answer.status_code == 422
        else:
            assert answer.status_code == 200, answer.text
            self.keep(given, answer.headers["ETag"])

    @rule(sku=SKUS)
    def delete(self, sku: str) -> None:
        tag = self.tags.get(sku, '"1"')
        answer = self.client.delete(f"/v1/components/{sku}", headers={"If-Match": tag})
        if sku not in self.held:
            assert answer.status_code == 404
        elif any(each.get("superseded_by") == sku for each in self.held.values()):
            assert answer.status_code == 409
        else:
            assert answer.status_code == 204, answer.text
            del self.held[sku], self.tags[sku]
            self.stayed.discard(sku)
            self.revision += 1

    @rule(
        rows=st.lists(st.tuples(SKUS, NAMES), max_size=4),
        mode=st.sampled_from(["create", "upsert"]),
        dry_run=st.booleans(),
    )
    def bring_in(self, rows: list[tuple[str, str]], mode: str, dry_run: bool) -> None:
        batch = [self.given(sku, name, None) for sku, name in rows]
        answer = self.client.post(
            "/v1/imports", json=batch, params={"mode": mode, "dry_run": dry_run}
        )
        keys = [lookup_key(sku) for sku, _ in rows]
        spellings = {lookup_key(sku): sku for sku in self.held}
        refused = len(set(keys)) < len(keys) or any(
            (mode == "create" and sku in self.held) or spellings.get(lookup_key(sku), sku) != sku
            for sku, _ in rows
        )
        if refused:
            assert answer.status_code == 422
            return
        assert answer.status_code == 200, answer.text
        changed = [each for each in batch if self.held.get(each["sku"]) != each]
        assert answer.json()["unchanged"] == len(batch) - len(changed)
        if changed and not dry_run:
            tag = f'"{self.revision + 1}"'
            for each in changed:
                self.every_tag.discard(tag)
                self.keep(each, tag)
                self.revision -= 1
            self.revision += 1
        assert answer.json()["catalogue_revision"] == self.revision

    @precondition(lambda self: self.next_page is None)
    @rule(limit=st.integers(1, 3))
    def open_list(self, limit: int) -> None:
        self.next_page = f"/v1/components?limit={limit}"
        self.seen = []
        self.stayed = set(self.held)

    @precondition(lambda self: self.next_page is not None)
    @rule()
    def turn_page(self) -> None:
        assert self.next_page is not None
        answer = self.client.get(self.next_page)
        assert answer.status_code == 200
        self.seen += [each["sku"] for each in answer.json()["items"]]
        assert self.seen == sorted(set(self.seen)), "a row was repeated or out of order"
        following = answer.links.get("next")
        self.next_page = following and following["url"]
        if self.next_page is None:
            assert self.stayed <= set(self.seen), "a row that was there throughout was left out"

    # What holds at all times ------------------------------------------------------------------

    @invariant()
    def both_agree(self) -> None:
        if not hasattr(self, "held"):
            return
        listed = self.client.get("/v1/components?limit=200").json()
        assert [each["sku"] for each in listed["items"]] == sorted(self.held)
        for each in listed["items"]:
            wanted = self.held[each["sku"]]
            assert each["name"] == wanted["name"]
            assert each.get("superseded_by") == wanted.get("superseded_by")
        assert listed["catalogue_revision"] == self.revision
        known = self.app.state.snapshot.current()
        assert known.revision == self.revision
        assert {sku: part.name for sku, part in known.parts.items()} == {
            sku: each["name"] for sku, each in self.held.items()
        }


def test_the_catalogue_is_a_dict_that_refuses_what_it_should(
    routes: FastAPI, database_url: str
) -> None:
    machine = type("Machine", (Catalogue,), {"url": database_url, "app": routes})
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=25,
            stateful_step_count=30,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
