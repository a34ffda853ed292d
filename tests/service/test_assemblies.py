"""`/v1/assemblies` over HTTP, on both databases: saving, versions, checks, and what they hold."""

from __future__ import annotations

import json
import threading
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx import Response

from service.assemblies.service import new_id
from service.assemblies.tables import assemblies, assembly_parts, assembly_versions, sign_offs
from service.database import Database, make_engine, read_revision
from service.paging import write_cursor
from tests.service.fixtures_assemblies import PATH, book, draft, request, save, shop
from tests.service.test_all_or_nothing import failing, stored
from tests.service.test_components import refused

__all__ = ["book", "shop"]

FITS = "01-six-saloon-petrol"
FLAWED = "07-flare-into-o-ring-port"
ZINC = "17-zinc-filter-in-e85"
WHO = {"name": "A. Fitter", "reason": "Measured on the bench."}


class TestSave:
    def test_what_was_given_is_read_back(self, shop: TestClient) -> None:
        given = draft(FITS, owner="order-1", notes="First line.\nSecond line.")
        saved = save(shop, given)
        told = saved.json()
        assert saved.headers["Location"] == f"{PATH}/{told['id']}"
        assert (told["name"], told["owner"], told["notes"]) == (FITS, "order-1", given["notes"])
        assert told["version"] == 1
        read = shop.get(saved.headers["Location"])
        assert read.json() == told
        assert read.headers["ETag"] == saved.headers["ETag"] == '"1"'

    def test_it_is_checked_when_it_is_saved(self, shop: TestClient) -> None:
        checked = save(shop, draft(FLAWED)).json()["checked"]
        report = shop.post("/v1/checks", json=request(FLAWED)).json()
        assert checked == {
            "verdict": "does-not-fit",
            "counts": report["counts"],
            "fingerprint": report["fingerprint"],
            "catalogue_revision": report["catalogue_revision"],
            "book_version": report["book"]["version"],
        }

    def test_an_answer_can_be_sent_back_as_the_next_version(self, shop: TestClient) -> None:
        saved = save(shop, draft(FITS, notes="n"))
        told = saved.json()
        again = {name: told[name] for name in ("name", "notes", "request")}
        put = shop.put(
            saved.headers["Location"], json=again, headers={"If-Match": saved.headers["ETag"]}
        )
        assert put.status_code == 200, put.text
        assert put.json()["version"] == 2
        assert put.json()["request"] == told["request"]
        assert put.json()["checked"] == told["checked"]

    def test_saving_is_no_change_of_the_catalogue(
        self, shop: TestClient, database: Database
    ) -> None:
        """Else every save would make every other verdict stale."""
        with database.read() as connection:
            before = read_revision(connection)
        save(shop, draft(FITS))
        with database.read() as connection:
            assert read_revision(connection) == before

    def test_every_name_that_does_not_exist_is_told_at_its_place(self, shop: TestClient) -> None:
        given = draft(FITS)
        given["request"]["application"]["fuel"] = "E86"
        given["request"]["items"][0]["sku"] = "HF-PMP-34O"
        given["request"]["joints"].append(["nobody.a", "rail.inlet"])
        said = refused(shop.post(PATH, json=given), 422)
        last = len(given["request"]["joints"]) - 1
        assert [each["pointer"] for each in said["errors"]] == [
            "/request/application/fuel",
            "/request/items/0/sku",
            f"/request/joints/{last}/0",
        ]
        assert shop.get(PATH).json()["items"] == []

    @pytest.mark.parametrize(
        ("changes", "pointer"),
        [
            ({"name": ""}, "/name"),
            ({"name": "two\nlines"}, "/name"),
            ({"name": None}, "/name"),
            ({"owner": "x" * 201}, "/owner"),
            ({"owner": ""}, "/owner"),
            ({"notes": "a\x00b"}, "/notes"),
            ({"notes": "n" * 4001}, "/notes"),
            ({"colour": "red"}, "/colour"),
            ({"request": []}, "/request"),
            ({"request": {"application": {"fuel": "E10"}}}, "/request/items"),
        ],
    )
    def test_a_draft_of_another_form_is_refused(
        self, shop: TestClient, changes: dict[str, Any], pointer: str
    ) -> None:
        said = refused(shop.post(PATH, json=draft(FITS, **changes)), 422)
        assert [each["pointer"] for each in said["errors"]] == [pointer]

    def test_what_another_process_wrote_counts(
        self, shop: TestClient, app: FastAPI, database_url: str
    ) -> None:
        """The snapshot has not heard of it yet; the write must not refer to what is gone."""
        from service.catalogue import store as component_store

        elsewhere = Database(make_engine(database_url))
        with elsewhere.write() as write:
            component_store.remove(write, "HF-SNS-ETH")
        elsewhere.close()
        assert app.state.snapshot.current().get("HF-SNS-ETH") is not None
        given = draft(FITS)
        given["request"]["items"].append({"ref": "sensor", "sku": "HF-SNS-ETH"})
        said = refused(shop.post(PATH, json=given), 422)
        assert said["errors"][0]["found"] == "HF-SNS-ETH"


class TestIdempotency:
    def test_the_same_request_is_carried_out_once(self, shop: TestClient) -> None:
        headers = {"Idempotency-Key": "k-1"}
        first = shop.post(PATH, json=draft(FITS), headers=headers)
        again = shop.post(PATH, json=draft(FITS), headers=headers)
        assert first.status_code == again.status_code == 201
        assert again.content == first.content
        for name in ("ETag", "Location", "Last-Modified"):
            assert again.headers[name] == first.headers[name]
        assert len(shop.get(PATH).json()["items"]) == 1

    def test_a_key_is_for_one_request(self, shop: TestClient) -> None:
        headers = {"Idempotency-Key": "k-1"}
        shop.post(PATH, json=draft(FITS), headers=headers)
        said = refused(shop.post(PATH, json=draft(FITS, name="other"), headers=headers), 422)
        assert said["errors"][0]["code"] == "key-reused"

    def test_without_a_key_two_are_two(self, shop: TestClient) -> None:
        assert save(shop, draft(FITS)).json()["id"] != save(shop, draft(FITS)).json()["id"]


class TestReplace:
    def test_versions_stay_as_they_were(self, shop: TestClient) -> None:
        first = save(shop, draft(FITS, owner="o"))
        where = first.headers["Location"]
        second = shop.put(where, json=draft(FLAWED), headers={"If-Match": '"1"'})
        assert second.status_code == 200, second.text
        assert second.headers["ETag"] == '"2"'
        assert second.json()["checked"]["verdict"] == "does-not-fit"
        assert second.json()["created_at"] == first.json()["created_at"]
        assert "owner" not in second.json()
        assert shop.get(where).json() == second.json()
        assert shop.get(f"{where}/versions/1").json() == first.json()
        assert shop.get(f"{where}/versions/2").json() == second.json()
        listed = shop.get(f"{where}/versions").json()["items"]
        assert [(each["version"], each["checked"]["verdict"]) for each in listed] == [
            (2, "does-not-fit"),
            (1, "fits"),
        ]

    @pytest.mark.parametrize(
        ("headers", "status"),
        [({}, 428), ({"If-Match": '"2"'}, 412), ({"If-Match": "1"}, 422), ({"If-Match": "*"}, 200)],
    )
    def test_a_change_starts_from_the_current_version(
        self, shop: TestClient, headers: dict[str, str], status: int
    ) -> None:
        where = save(shop, draft(FITS)).headers["Location"]
        put = shop.put(where, json=draft(FITS, name="x"), headers=headers)
        assert put.status_code == status, put.text
        assert shop.get(where).json()["version"] == (2 if status == 200 else 1)

    def test_one_of_many_writers_wins(self, shop: TestClient) -> None:
        where = save(shop, draft(FITS)).headers["Location"]
        together = threading.Barrier(6)

        def put(number: int) -> int:
            together.wait()
            given = draft(FITS, name=f"writer {number}")
            return shop.put(where, json=given, headers={"If-Match": '"1"'}).status_code

        with ThreadPoolExecutor(6) as pool:
            statuses = list(pool.map(put, range(6)))
        assert sorted(statuses) == [200, *[412] * 5]
        assert shop.get(where).json()["version"] == 2

    def test_what_is_not_there(self, shop: TestClient) -> None:
        unknown = f"{PATH}/{uuid.uuid4()}"
        for answer in (
            shop.get(unknown),
            shop.put(unknown, json=draft(FITS), headers={"If-Match": "*"}),
            shop.delete(unknown, headers={"If-Match": "*"}),
            shop.get(f"{unknown}/versions"),
            shop.get(f"{unknown}/versions/1"),
            shop.get(f"{unknown}/check"),
            shop.get(f"{unknown}/sign-offs"),
        ):
            assert unknown.removeprefix(f"{PATH}/") in refused(answer, 404)["detail"]
        where = save(shop, draft(FITS)).headers["Location"]
        refused(shop.get(f"{where}/versions/2"), 404)
        refused(shop.get(f"{where}/check", params={"version": 2}), 404)
        refused(shop.get(f"{where}/versions/0"), 422)
        refused(shop.get(f"{where}/versions/{2**40}"), 422)

    def test_nobody_reads_twice_what_he_holds(self, shop: TestClient) -> None:
        saved = save(shop, draft(FITS))
        held = {"If-None-Match": saved.headers["ETag"]}
        assert shop.get(saved.headers["Location"], headers=held).status_code == 304
        version = f"{saved.headers['Location']}/versions/1"
        assert shop.get(version, headers=held).status_code == 304


class TestDelete:
    def test_everything_of_it_goes(self, shop: TestClient, database: Database) -> None:
        where = save(shop, draft(ZINC)).headers["Location"]
        shop.put(where, json=draft(ZINC), headers={"If-Match": '"1"'})
        open_ = shop.get(f"{where}/check").json()["sign_offs"]["open"][0]
        signed = {"finding": open_["finding"], "name": "A", "reason": "r"}
        assert shop.post(f"{where}/sign-offs", json=signed).status_code == 201
        refused(shop.delete(where), 428)
        refused(shop.delete(where, headers={"If-Match": '"1"'}), 412)
        assert shop.delete(where, headers={"If-Match": '"2"'}).status_code == 204
        refused(shop.get(where), 404)
        with database.read() as connection:
            for table in (assemblies, assembly_versions, assembly_parts, sign_offs):
                assert connection.execute(table.select()).all() == []


class TestList:
    def test_pages_in_order_of_creation(self, shop: TestClient) -> None:
        ids = [save(shop, draft(FITS, name=f"n{n}")).json()["id"] for n in range(5)]
        assert sorted(ids) == ids
        first = shop.get(PATH, params={"limit": 2})
        assert [each["id"] for each in first.json()["items"]] == ids[:2]
        # One that was listed already is deleted, one is added: no other is lost or repeated.
        shop.delete(f"{PATH}/{ids[1]}", headers={"If-Match": "*"})
        last = save(shop, draft(FITS)).json()["id"]
        second = shop.get(first.links["next"]["url"])
        assert [each["id"] for each in second.json()["items"]] == ids[2:4]
        third = shop.get(second.links["next"]["url"])
        assert [each["id"] for each in third.json()["items"]] == [ids[4], last]
        assert "next" not in third.links

    def test_by_owner_letter_for_letter(self, shop: TestClient) -> None:
        for owner in ("A/1", "A/1", "a/1", "A/10"):
            save(shop, draft(FITS, owner=owner))
        save(shop, draft(FITS))
        found = shop.get(PATH, params={"owner": "A/1", "limit": 1})
        assert [each["owner"] for each in found.json()["items"]] == ["A/1"]
        rest = shop.get(found.links["next"]["url"])
        assert [each["owner"] for each in rest.json()["items"]] == ["A/1"]
        assert rest.json()["next_cursor"] is None
        cursor = found.json()["next_cursor"]
        said = refused(shop.get(PATH, params={"owner": "a/1", "cursor": cursor}), 422)
        assert said["errors"][0]["pointer"] == "/cursor"

    def test_by_component_of_the_current_version(self, shop: TestClient) -> None:
        zinc = save(shop, draft(ZINC)).json()["id"]
        save(shop, draft(FITS))
        with_filter = next(
            item["sku"] for item in request(ZINC)["items"] if item["ref"] == "filter"
        )

        def holding() -> list[str]:
            found = shop.get(PATH, params={"sku": with_filter}).json()["items"]
            return [each["id"] for each in found]

        assert holding() == [zinc]
        shop.put(f"{PATH}/{zinc}", json=draft(FITS), headers={"If-Match": "*"})
        assert holding() == []

    def test_what_is_not_a_filter(self, shop: TestClient) -> None:
        refused(shop.get(PATH, params={"colour": "red"}), 422)
        refused(shop.get(PATH, params={"limit": 0}), 422)
        refused(shop.get(PATH, params={"owner": "a\x00b"}), 422)

    def test_versions_in_pages(self, shop: TestClient) -> None:
        where = save(shop, draft(FITS)).headers["Location"]
        for number in range(1, 4):
            shop.put(where, json=draft(FITS), headers={"If-Match": f'"{number}"'})
        first = shop.get(f"{where}/versions", params={"limit": 3})
        assert [each["version"] for each in first.json()["items"]] == [4, 3, 2]
        second = shop.get(first.links["next"]["url"])
        assert [each["version"] for each in second.json()["items"]] == [1]
        assert second.json()["next_cursor"] is None

    @pytest.mark.parametrize("last", ["x", "0", "-1", "1.0", "9" * 40, "٣"])
    def test_a_cursor_of_ones_own_making(self, shop: TestClient, last: str) -> None:
        saved = save(shop, draft(FITS))
        cursor = write_cursor(last, {"assembly": saved.json()["id"]})
        where = f"{saved.headers['Location']}/versions"
        said = refused(shop.get(where, params={"cursor": cursor}), 422)
        assert said["errors"][0]["pointer"] == "/cursor"


class TestCheck:
    def test_a_fresh_verdict_is_not_stale(self, shop: TestClient) -> None:
        where = save(shop, draft(FLAWED)).headers["Location"]
        told = shop.get(f"{where}/check")
        assert told.status_code == 200, told.text
        found = told.json()
        assert found["stale"] is False
        assert found["appeared"] == found["vanished"] == []
        assert found["report"] == shop.post("/v1/checks", json=request(FLAWED)).json()
        assert found["checked"]["fingerprint"] == found["report"]["fingerprint"]

    def test_a_supplier_changes_a_material(self, shop: TestClient) -> None:
        """The stored verdict stays what it was; the check says that it is stale, and why."""
        saved = save(shop, draft(FITS))
        where = saved.headers["Location"]
        assert saved.json()["checked"]["verdict"] == "fits"
        sku = next(item["sku"] for item in request(FITS)["items"] if item["ref"] == "filter")
        part = shop.get(f"/v1/components/{sku}")
        wetted = [{"part": "seal", "material": "epdm"}, *part.json()["wetted"]]
        put = shop.put(
            f"/v1/components/{sku}",
            json=part.json() | {"wetted": wetted},
            headers={"If-Match": part.headers["ETag"]},
        )
        assert put.status_code == 200, put.text
        found = shop.get(f"{where}/check").json()
        assert found["stale"] is True
        assert found["report"]["verdict"] == "does-not-fit"
        assert [(each["rule"], each["refs"]) for each in found["appeared"]] == [
            ("material-unsuitable-for-fuel", ["filter"])
        ]
        assert found["vanished"] == []
        assert shop.get(where).json() == saved.json()
        back = shop.put(where, json=draft(FITS), headers={"If-Match": '"1"'})
        assert back.json()["checked"]["verdict"] == "does-not-fit"
        assert shop.get(f"{where}/check").json()["stale"] is False

    def test_an_older_version(self, shop: TestClient) -> None:
        where = save(shop, draft(FITS)).headers["Location"]
        shop.put(where, json=draft(FLAWED), headers={"If-Match": '"1"'})
        older = shop.get(f"{where}/check", params={"version": 1}).json()
        assert (older["version"], older["report"]["verdict"]) == (1, "fits")
        current = shop.get(f"{where}/check").json()
        assert (current["version"], current["report"]["verdict"]) == (2, "does-not-fit")

    def test_a_version_whose_part_was_deleted(self, shop: TestClient) -> None:
        given = draft(FITS)
        given["request"]["items"].append({"ref": "sensor", "sku": "HF-SNS-ETH"})
        index = len(given["request"]["items"]) - 1
        where = save(shop, given).headers["Location"]
        shop.put(where, json=draft(FITS), headers={"If-Match": '"1"'})
        gone = shop.delete("/v1/components/HF-SNS-ETH", headers={"If-Match": "*"})
        assert gone.status_code == 204, gone.text
        said = refused(shop.get(f"{where}/check", params={"version": 1}), 409)
        assert [each["pointer"] for each in said["errors"]] == [f"/request/items/{index}/sku"]
        assert shop.get(f"{where}/versions/1").json()["request"]["items"][index]["sku"] == (
            "HF-SNS-ETH"
        )
        assert shop.get(f"{where}/check").status_code == 200


class TestUse:
    """What a saved assembly names cannot be deleted while its current version names it."""

    def test_a_component(self, shop: TestClient) -> None:
        given = draft(FITS)
        given["request"]["items"].append({"ref": "sensor", "sku": "HF-SNS-ETH"})
        saved = save(shop, given)
        answer = shop.delete("/v1/components/HF-SNS-ETH", headers={"If-Match": "*"})
        said = refused(answer, 409)
        assert f"assembly `{saved.json()['id']}`" in said["detail"]
        assert {each["code"] for each in said["errors"]} == {"in-use"}
        assert shop.get("/v1/components/HF-SNS-ETH").status_code == 200

    def test_a_vehicle(self, shop: TestClient) -> None:
        given = draft("04-coupe-saddle-tank")
        vehicle = given["request"]["vehicle"]
        saved = save(shop, given)
        said = refused(shop.delete(f"/v1/vehicles/{vehicle}", headers={"If-Match": "*"}), 409)
        assert f"assembly `{saved.json()['id']}`" in said["detail"]
        assert shop.get(f"/v1/vehicles/{vehicle}").status_code == 200

    def test_what_no_current_version_names_is_free(self, shop: TestClient) -> None:
        where = save(shop, draft("04-coupe-saddle-tank")).headers["Location"]
        vehicle = request("04-coupe-saddle-tank")["vehicle"]
        shop.put(where, json=draft(FITS), headers={"If-Match": "*"})
        assert shop.delete(f"/v1/vehicles/{vehicle}", headers={"If-Match": "*"}).status_code == 204

    def test_a_component_that_only_an_older_version_holds_is_free(self, shop: TestClient) -> None:
        given = draft(FITS)
        given["request"]["items"].append({"ref": "sensor", "sku": "HF-SNS-ETH"})
        where = save(shop, given).headers["Location"]
        shop.put(where, json=draft(FITS), headers={"If-Match": "*"})
        answer = shop.delete("/v1/components/HF-SNS-ETH", headers={"If-Match": "*"})
        assert answer.status_code == 204
        assert shop.get(f"{where}/versions/1").status_code == 200

    def test_all_users_of_a_component_are_named_at_once(self, shop: TestClient) -> None:
        given = draft(FITS)
        given["request"]["items"].append({"ref": "sensor", "sku": "HF-SNS-ETH"})
        ids = [save(shop, given).json()["id"] for _ in range(2)]
        car = {"id": "van", "name": "Van", "items": [{"ref": "sensor", "sku": "HF-SNS-ETH"}]}
        put = shop.put("/v1/vehicles/van", json=car, headers={"If-None-Match": "*"})
        assert put.status_code == 201, put.text
        said = refused(shop.delete("/v1/components/HF-SNS-ETH", headers={"If-Match": "*"}), 409)
        assert [each["pointer"] for each in said["errors"]] == ["/sku"] * 3
        for user in (*ids, "van"):
            assert f"`{user}`" in said["detail"]


def without_port(shop: TestClient, sku: str, port: str, called: str | None) -> dict[str, Any]:
    """A stored component with one port left out or called something else."""
    part: dict[str, Any] = shop.get(f"/v1/components/{sku}").json()
    assert port in {each["id"] for each in part["ports"]}
    kept = [each for each in part["ports"] if each["id"] != port]
    renamed = [{**each, "id": called} for each in part["ports"] if each["id"] == port and called]
    return {**part, "ports": kept + renamed}


class TestJoinedPorts:
    """A component keeps the ports that the current version of an assembly joins."""

    @pytest.fixture
    def joined(self, shop: TestClient) -> tuple[str, str, str]:
        """An item's component of a saved assembly, its port, and the end that is joined."""
        asked = request(FITS)
        skus = {item["ref"]: item["sku"] for item in asked["items"] if "sku" in item}
        end: str = next(
            end for joint in asked["joints"] for end in joint if end.split(".")[0] in skus
        )
        return skus[end.split(".")[0]], end.split(".")[1], end

    @pytest.mark.parametrize("called", [None, "renamed"])
    def test_it_can_neither_be_lost_nor_renamed(
        self, shop: TestClient, joined: tuple[str, str, str], called: str | None
    ) -> None:
        sku, port, end = joined
        saved = save(shop, draft(FITS)).json()["id"]
        changed = without_port(shop, sku, port, called)
        before = shop.get(f"/v1/components/{sku}").content
        answer = shop.put(f"/v1/components/{sku}", json=changed, headers={"If-Match": "*"})
        said = refused(answer, 409)
        assert f"Assembly `{saved}` (`{FITS}`) joins as `{end}` the port `{port}`" in said["detail"]
        assert {each["pointer"] for each in said["errors"]} == {"/ports"}
        imported = shop.post("/v1/imports?mode=upsert", json=[changed])
        codes = {each["code"] for each in refused(imported, 422)["errors"]}
        assert codes == {"port-in-use"}
        assert saved in imported.json()["errors"][0]["detail"]
        assert shop.get(f"/v1/components/{sku}").content == before

    def test_another_attribute_may_change(
        self, shop: TestClient, joined: tuple[str, str, str]
    ) -> None:
        sku, _, _ = joined
        save(shop, draft(FITS))
        part = {**shop.get(f"/v1/components/{sku}").json(), "name": "Another name"}
        answer = shop.put(f"/v1/components/{sku}", json=part, headers={"If-Match": "*"})
        assert answer.status_code == 200, answer.text

    def test_an_older_version_holds_nothing_back(
        self, shop: TestClient, joined: tuple[str, str, str]
    ) -> None:
        sku, port, _ = joined
        where = save(shop, draft(FITS)).headers["Location"]
        given = draft(FITS)
        given["request"] |= {"joints": [], "outside": []}
        assert shop.put(where, json=given, headers={"If-Match": "*"}).status_code == 200
        changed = without_port(shop, sku, port, None)
        answer = shop.put(f"/v1/components/{sku}", json=changed, headers={"If-Match": "*"})
        assert answer.status_code == 200, answer.text

    def test_a_piece_of_a_cart_line_is_known_by_its_number(self, shop: TestClient) -> None:
        cart = {
            "application": {"fuel": "E10"},
            "lines": [
                {"sku": "HF-FLT-10G", "ref": "filter", "quantity": 2},
                {"sku": "HF-PMP-255", "ref": "pump"},
            ],
            "joints": [["filter-2.inlet", "pump.outlet"]],
        }
        save(shop, {"name": "cart", "request": cart})
        for sku, port in (("HF-FLT-10G", "inlet"), ("HF-PMP-255", "outlet")):
            changed = without_port(shop, sku, port, None)
            answer = shop.put(f"/v1/components/{sku}", json=changed, headers={"If-Match": "*"})
            assert "`cart`" in refused(answer, 409)["detail"]

    def test_the_part_of_a_vehicle_that_an_assembly_joins(self, shop: TestClient) -> None:
        """The vehicle itself joins nothing of it."""
        tee = shop.get("/v1/components/HF-FLT-10G").json()
        assert shop.post("/v1/components", json={**tee, "sku": "CAR-FILTER"}).status_code == 201
        car = {"id": "van", "name": "Van", "items": [{"ref": "own", "sku": "CAR-FILTER"}]}
        put = shop.put("/v1/vehicles/van", json=car, headers={"If-None-Match": "*"})
        assert put.status_code == 201, put.text
        given = draft(FITS)
        given["request"] = {
            "application": {"fuel": "E10"},
            "vehicle": "van",
            "items": [{"ref": "filter", "sku": "HF-FLT-10G"}],
            "joints": [["own.outlet", "filter.inlet"]],
        }
        save(shop, given)
        changed = without_port(shop, "CAR-FILTER", "outlet", None)
        answer = shop.put("/v1/components/CAR-FILTER", json=changed, headers={"If-Match": "*"})
        assert "joins as `own.outlet`" in refused(answer, 409)["detail"]


Write = Callable[[TestClient, str, str], Response]

WRITES: dict[str, Write] = {
    "create": lambda client, where, signed: client.post(
        PATH, json=draft(FITS), headers={"Idempotency-Key": "one"}
    ),
    "replace": lambda client, where, signed: client.put(
        where, json=draft(FLAWED), headers={"If-Match": "*"}
    ),
    "delete": lambda client, where, signed: client.delete(where, headers={"If-Match": "*"}),
    "sign off": lambda client, where, signed: client.post(
        f"{where}/sign-offs",
        json={"rule": "working-pressure-below-peak", "refs": ["filter"], **WHO},
        headers={"Idempotency-Key": "one"},
    ),
    "remove a sign-off": lambda client, where, signed: client.delete(signed),
}


class TestFailures:
    @pytest.mark.parametrize("name", WRITES)
    def test_a_write_whose_nth_call_fails_stores_all_or_nothing(
        self, shop: TestClient, database: Database, monkeypatch: pytest.MonkeyPatch, name: str
    ) -> None:
        where = save(shop, draft(ZINC)).headers["Location"]
        body = {"rule": "ethanol-sensor-missing", **WHO}
        signed = shop.post(f"{where}/sign-offs", json=body).headers["Location"]
        before = stored(database)
        refusals = 0
        for nth in range(1, 60):
            with failing(database.engine, nth, monkeypatch) as failure:
                answer = WRITES[name](shop, where, signed)
            assert database.engine.pool.checkedout() == 0  # type: ignore[attr-defined]
            if answer.is_success:
                break
            assert failure.has_happened, answer.text
            refused(answer, 503)
            assert stored(database) == before, f"call {nth} left something behind"
            refusals += 1
        # At least: the revision read, something looked up, something written, the commit.
        assert refusals >= 4
        assert stored(database) != before

    def test_a_commit_that_fails_is_no_success_and_its_key_stays_free(
        self, shop: TestClient, database: Database, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def fail(_connection: Any) -> None:
            raise RuntimeError("the commit fails")

        headers = {"Idempotency-Key": "one"}
        with monkeypatch.context() as patched:
            patched.setattr(database.engine.dialect, "do_commit", fail)
            refused(shop.post(PATH, json=draft(FITS), headers=headers), 500)
        assert shop.get(PATH).json()["items"] == []
        assert shop.post(PATH, json=draft(FITS), headers=headers).status_code == 201
        assert len(shop.get(PATH).json()["items"]) == 1


class TestIds:
    def test_they_are_uuids_of_version_seven(self) -> None:
        moment = datetime(2026, 3, 4, 12, 30, 0, 123000, tzinfo=UTC)
        made = uuid.UUID(new_id(moment))
        assert (made.version, made.variant) == (7, uuid.RFC_4122)
        assert made.int >> 80 == int(moment.timestamp() * 1000)

    def test_they_sort_by_time_and_differ(self) -> None:
        moment = datetime(2026, 3, 4, tzinfo=UTC)
        later = [new_id(moment + timedelta(milliseconds=n)) for n in range(50)]
        assert sorted(later) == later
        assert len({new_id(moment) for _ in range(1000)}) == 1000


def test_answers_are_plain_json(shop: TestClient) -> None:
    saved = save(shop, draft(FITS, name="Kurbelgehäuse ⅜″"))
    assert saved.headers["Content-Type"] == "application/json"
    json.dumps(saved.json(), allow_nan=False)
    assert saved.json()["name"] == "Kurbelgehäuse ⅜″"
