"""Sign-offs over HTTP, on both databases: what they accept, where they show, when they lapse."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from service.assemblies import service
from tests.service.fixtures_assemblies import PATH, book, draft, request, save, shop
from tests.service.test_components import refused

__all__ = ["book", "shop"]

FITS = "01-six-saloon-petrol"
ZINC = "17-zinc-filter-in-e85"
LIMITED = "material-limited-in-fuel"
WHO = {"name": "J. Marsh, workshop", "reason": "The mesh is renewed at every service."}


def on_e85() -> dict[str, Any]:
    """An assembly whose strainer stands E85 only for a time, and that has no ethanol sensor."""
    given = draft(FITS)
    given["request"]["application"]["fuel"] = "E85"
    return given


def signed(client: TestClient, where: str, **named: Any) -> Response:
    return client.post(f"{where}/sign-offs", json={**WHO, **named})


def check(client: TestClient, where: str, **asked: Any) -> dict[str, Any]:
    answer = client.get(f"{where}/check", params=asked)
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


@pytest.fixture
def where(shop: TestClient) -> str:
    """A saved assembly with two warnings and nothing else."""
    saved = save(shop, on_e85())
    assert saved.json()["checked"]["counts"] == {"error": 0, "warning": 2, "note": 0, "unknown": 0}
    path: str = saved.headers["Location"]
    return path


class TestAccept:
    def test_a_warning_by_its_rule_and_items(self, shop: TestClient, where: str) -> None:
        answer = signed(shop, where, rule=LIMITED, refs=["strainer"])
        assert answer.status_code == 201, answer.text
        made = answer.json()
        assert answer.headers["Location"] == f"{where}/sign-offs/{made['id']}"
        assert shop.get(answer.headers["Location"]).json() == made
        assert (made["rule"], made["refs"], made["severity"]) == (LIMITED, ["strainer"], "warning")
        assert {name: made[name] for name in WHO} == WHO
        assert "strainer" in made["message"]
        assert made["signed_at"].endswith("Z")

    def test_it_stays_in_sight_and_no_longer_counts(self, shop: TestClient, where: str) -> None:
        before = check(shop, where)
        assert before["sign_offs"]["verdict"] == before["report"]["verdict"] == "fits-with-cautions"
        made = signed(shop, where, rule=LIMITED, refs=["strainer"]).json()
        told = check(shop, where)
        (accepted,) = told["sign_offs"]["accepted"]
        assert accepted["sign_offs"] == [made]
        assert accepted["finding"] == made["finding"]
        assert [each["rule"] for each in told["sign_offs"]["open"]] == ["ethanol-sensor-missing"]
        assert told["sign_offs"]["verdict"] == "fits-with-cautions"
        assert told["report"] == before["report"], "the report itself hides nothing"
        signed(shop, where, rule="ethanol-sensor-missing")
        told = check(shop, where)
        assert told["sign_offs"]["verdict"] == "fits"
        assert told["report"]["verdict"] == "fits-with-cautions"
        assert told["sign_offs"]["open"] == []

    def test_an_unknown_by_its_fingerprint(self, shop: TestClient) -> None:
        where = save(shop, draft(ZINC)).headers["Location"]
        unknown = [
            each
            for each in check(shop, where)["sign_offs"]["open"]
            if each["severity"] == "unknown"
        ]
        answer = signed(shop, where, finding=unknown[0]["finding"])
        assert answer.status_code == 201, answer.text
        assert answer.json()["severity"] == "unknown"
        told = check(shop, where)
        assert [each["finding"] for each in told["sign_offs"]["accepted"]] == [
            unknown[0]["finding"]
        ]
        assert told["sign_offs"]["verdict"] == "does-not-fit", "the errors stand"

    def test_all_are_listed_in_order(self, shop: TestClient, where: str) -> None:
        assert shop.get(f"{where}/sign-offs").json() == {"items": []}
        made = [
            signed(shop, where, rule=LIMITED, refs=["strainer"]).json(),
            signed(shop, where, rule="ethanol-sensor-missing").json(),
        ]
        listed = shop.get(f"{where}/sign-offs").json()["items"]
        assert sorted(listed, key=lambda each: each["signed_at"]) == made

    def test_the_same_request_is_carried_out_once(self, shop: TestClient, where: str) -> None:
        body = {**WHO, "rule": LIMITED, "refs": ["strainer"]}
        headers = {"Idempotency-Key": "k-1"}
        first = shop.post(f"{where}/sign-offs", json=body, headers=headers)
        again = shop.post(f"{where}/sign-offs", json=body, headers=headers)
        assert first.status_code == again.status_code == 201
        assert first.content == again.content
        assert first.headers["Location"] == again.headers["Location"]
        other = save(shop, on_e85()).headers["Location"]
        said = refused(shop.post(f"{other}/sign-offs", json=body, headers=headers), 422)
        assert said["errors"][0]["code"] == "key-reused"


class TestRefused:
    def test_an_error(self, shop: TestClient) -> None:
        where = save(shop, draft(ZINC)).headers["Location"]
        answer = signed(shop, where, rule="material-unsuitable-for-fuel", refs=["filter"])
        said = refused(answer, 409)
        assert said["detail"].startswith("An error cannot be signed off")
        assert shop.get(f"{where}/sign-offs").json() == {"items": []}

    def test_a_note(self, shop: TestClient) -> None:
        where = save(shop, draft(ZINC)).headers["Location"]
        (note,) = [f for f in check(shop, where)["report"]["findings"] if f["severity"] == "note"]
        answer = signed(shop, where, rule=note["rule"], refs=note["subject"]["refs"])
        assert "needs no sign-off" in refused(answer, 409)["detail"]

    def test_what_was_accepted_already(self, shop: TestClient, where: str) -> None:
        signed(shop, where, rule=LIMITED, refs=["strainer"])
        again = signed(shop, where, rule=LIMITED, refs=["strainer"], name="Somebody else")
        assert WHO["name"] in refused(again, 409)["detail"]

    @pytest.mark.parametrize(
        "named",
        [
            {"rule": LIMITED, "refs": []},
            {"rule": LIMITED, "refs": ["strainer", "filter"]},
            {"rule": "no-such-rule", "refs": ["strainer"]},
            {"finding": "0" * 32},
        ],
    )
    def test_a_finding_that_is_not_there(
        self, shop: TestClient, where: str, named: dict[str, Any]
    ) -> None:
        said = refused(signed(shop, where, **named), 422)
        (fault,) = said["errors"]
        assert fault["pointer"] == ("/finding" if "finding" in named else "/rule")
        assert f"`{LIMITED}` of strainer" in fault["expected"]
        assert "`ethanol-sensor-missing` of the assembly" in fault["expected"]

    def test_a_name_for_several_findings(self, shop: TestClient) -> None:
        """Under E10 both the seal and the body of this filter stand the fuel only for a time."""
        given = draft(ZINC)
        given["request"]["application"]["fuel"] = "E10"
        where = save(shop, given).headers["Location"]
        said = refused(signed(shop, where, rule=LIMITED, refs=["filter"]), 422)
        both = [
            each["finding"]
            for each in check(shop, where)["sign_offs"]["open"]
            if each["rule"] == LIMITED
        ]
        assert len(both) == 2
        assert all(each in said["errors"][0]["expected"] for each in both)
        assert signed(shop, where, finding=both[1]).status_code == 201

    @pytest.mark.parametrize(
        ("body", "pointer"),
        [
            ({**WHO}, "/finding"),
            ({**WHO, "rule": LIMITED, "finding": "0" * 32}, "/finding"),
            ({**WHO, "refs": ["strainer"], "finding": "0" * 32}, "/finding"),
            ({**WHO, "finding": "xyz"}, "/finding"),
            ({**WHO, "rule": "Not A Rule"}, "/rule"),
            ({"rule": LIMITED, "reason": "r"}, "/name"),
            ({"rule": LIMITED, "name": "n"}, "/reason"),
            ({"rule": LIMITED, "name": "n", "reason": ""}, "/reason"),
            ({**WHO, "rule": LIMITED, "severity": "error"}, "/severity"),
        ],
    )
    def test_a_body_of_another_form(
        self, shop: TestClient, where: str, body: dict[str, Any], pointer: str
    ) -> None:
        said = refused(shop.post(f"{where}/sign-offs", json=body), 422)
        assert [each["pointer"] for each in said["errors"]] == [pointer]

    def test_more_than_anyone_reads(
        self, shop: TestClient, where: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(service, "MOST_SIGN_OFFS", 1)
        signed(shop, where, rule=LIMITED, refs=["strainer"])
        said = refused(signed(shop, where, rule="ethanol-sensor-missing"), 409)
        assert "remove unused ones" in said["detail"]

    def test_an_assembly_that_is_not_there(self, shop: TestClient) -> None:
        refused(signed(shop, f"{PATH}/{uuid.uuid4()}", rule=LIMITED), 404)


class TestRemove:
    def test_what_it_accepted_counts_again(self, shop: TestClient, where: str) -> None:
        made = signed(shop, where, rule=LIMITED, refs=["strainer"])
        before = check(shop, where)["sign_offs"]
        assert len(before["accepted"]) == 1
        assert shop.delete(made.headers["Location"]).status_code == 204
        after = check(shop, where)["sign_offs"]
        assert (after["accepted"], len(after["open"])) == ([], 2)
        refused(shop.get(made.headers["Location"]), 404)
        refused(shop.delete(made.headers["Location"]), 404)

    def test_not_by_way_of_another_assembly(self, shop: TestClient, where: str) -> None:
        made = signed(shop, where, rule=LIMITED, refs=["strainer"]).json()
        other = save(shop, on_e85()).headers["Location"]
        refused(shop.get(f"{other}/sign-offs/{made['id']}"), 404)
        refused(shop.delete(f"{other}/sign-offs/{made['id']}"), 404)
        assert len(shop.get(f"{where}/sign-offs").json()["items"]) == 1


class TestUnused:
    def test_a_finding_that_is_gone(self, shop: TestClient, where: str) -> None:
        """The next version runs petrol; the sign-off is kept and says that it accepts nothing."""
        made = signed(shop, where, rule=LIMITED, refs=["strainer"]).json()
        assert shop.put(where, json=draft(FITS), headers={"If-Match": '"1"'}).status_code == 200
        told = check(shop, where)["sign_offs"]
        assert told["accepted"] == []
        assert [(each["sign_off"], each["why"]) for each in told["unused"]] == [
            (made, "The finding is gone.")
        ]
        older = check(shop, where, version=1)["sign_offs"]
        assert [each["sign_offs"] for each in older["accepted"]] == [[made]]

    def test_other_facts_than_were_accepted(self, shop: TestClient, where: str) -> None:
        signed(shop, where, rule=LIMITED, refs=["strainer"])
        given = on_e85()
        given["request"]["application"]["fuel"] = "E98"
        shop.put(where, json=given, headers={"If-Match": '"1"'})
        told = check(shop, where)
        limited = [each for each in told["report"]["findings"] if each["rule"] == LIMITED]
        assert limited, "the strainer stands E98 no better"
        (unused,) = told["sign_offs"]["unused"]
        assert "other facts now" in unused["why"]
        assert "E98" in unused["why"]

    def test_a_warning_that_becomes_an_error(self, shop: TestClient) -> None:
        given = draft(ZINC)
        given["request"]["application"]["fuel"] = "E10"
        where = save(shop, given).headers["Location"]
        both = [
            each["finding"]
            for each in check(shop, where)["sign_offs"]["open"]
            if each["rule"] == LIMITED
        ]
        for each in both:
            signed(shop, where, finding=each)
        shop.put(where, json=draft(ZINC), headers={"If-Match": '"1"'})
        told = check(shop, where)
        assert told["sign_offs"]["verdict"] == "does-not-fit"
        assert len(told["sign_offs"]["unused"]) == 2
        assert told["sign_offs"]["accepted"] == []


def test_the_stored_verdict_is_that_of_the_rules_alone(shop: TestClient, where: str) -> None:
    signed(shop, where, rule=LIMITED, refs=["strainer"])
    signed(shop, where, rule="ethanol-sensor-missing")
    told = shop.get(where).json()
    assert told["checked"]["verdict"] == "fits-with-cautions"
    stateless = shop.post("/v1/checks", json={**request(FITS), **on_e85()["request"]}).json()
    assert stateless["verdict"] == "fits-with-cautions"
