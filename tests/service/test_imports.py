"""`/v1/imports`: every fault at its line and column, and all rows or none."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from rules.vocabulary import Kind, words
from service.catalogue.schemas import EXAMPLE
from service.database import Database, read_revision
from service.imports.columns import form_of, kinds
from service.imports.template import EXAMPLES
from tests.service.shop import component
from tests.service.test_components import create, refused, skus


def post(
    client: TestClient, content: str | bytes, kind: str = "text/csv", **query: Any
) -> Response:
    return client.post("/v1/imports", content=content, params=query, headers={"Content-Type": kind})


def taken(answer: Response) -> dict[str, Any]:
    assert answer.status_code == 200, answer.text
    result: dict[str, Any] = answer.json()
    return result


def revision(database: Database) -> int:
    with database.read() as connection:
        return read_revision(connection)


def told(answer: Response) -> list[tuple[str, str]]:
    """Where each fault is and what was found."""
    said = refused(answer, 422)
    return [(each["detail"].partition(":")[0], each["found"]) for each in said["errors"]]


class TestModes:
    def test_a_json_array_is_stored(self, client: TestClient, database: Database) -> None:
        result = taken(client.post("/v1/imports", json=[EXAMPLE, component("0017")]))
        assert result == {
            "dry_run": False,
            "mode": "create",
            "components": 2,
            "created": 2,
            "replaced": 0,
            "unchanged": 0,
            "catalogue_revision": 1,
            "notes": [],
        }
        assert skus(client) == ["0017", "LW-ADP-0601"]
        assert revision(database) == 1

    def test_a_dry_run_says_the_same_and_stores_nothing(
        self, client: TestClient, database: Database
    ) -> None:
        result = taken(client.post("/v1/imports?dry_run=true", json=[EXAMPLE]))
        assert (result["created"], result["catalogue_revision"]) == (1, 0)
        assert skus(client) == []
        assert revision(database) == 0
        wrong = client.post("/v1/imports?dry_run=true", json=[component("A", mass=1)])
        refused(wrong, 422)

    def test_create_refuses_what_exists_and_stores_nothing(self, client: TestClient) -> None:
        create(client, "A", name="first")
        answer = client.post("/v1/imports", json=[component("A"), component("B")])
        assert [each["code"] for each in refused(answer, 422)["errors"]] == ["exists"]
        assert skus(client) == ["A"]

    def test_upsert_replaces_what_differs_and_leaves_what_is_the_same(
        self, client: TestClient, database: Database
    ) -> None:
        same = create(client, "SAME").headers["ETag"]
        create(client, "OTHER", supplier="Old")
        rows = [component("SAME"), component("OTHER"), component("NEW")]
        result = taken(client.post("/v1/imports?mode=upsert", json=rows))
        assert (result["created"], result["replaced"], result["unchanged"]) == (1, 1, 1)
        assert client.get("/v1/components/SAME").headers["ETag"] == same
        assert "supplier" not in client.get("/v1/components/OTHER").json()
        assert revision(database) == 3

    def test_the_same_import_again_does_not_touch_the_catalogue(
        self, client: TestClient, database: Database
    ) -> None:
        taken(client.post("/v1/imports", json=[EXAMPLE]))
        taken(client.post("/v1/imports?mode=upsert", json=[EXAMPLE]))
        assert revision(database) == 1

    def test_parts_may_name_each_other_in_any_order(self, client: TestClient) -> None:
        rows = [
            component("OLD", superseded_by="NEW"),
            component("NEW", needs=[{"kind": "seal", "sku": "OLD"}]),
        ]
        taken(client.post("/v1/imports", json=rows))

    def test_an_upsert_may_not_take_a_joined_port_away(self, client: TestClient) -> None:
        ports = [{"id": "a", "role": "either"}, {"id": "b", "role": "either"}]
        create(client, "A", ports=ports)
        items = [{"ref": "x", "sku": "A"}, {"ref": "y", "sku": "A"}]
        car = {"id": "car", "name": "Car", "items": items, "joints": [["x.a", "y.b"]]}
        client.put("/v1/vehicles/car", json=car, headers={"If-None-Match": "*"})
        answer = client.post("/v1/imports?mode=upsert", json=[component("A", ports=ports[:1])])
        assert [each["code"] for each in refused(answer, 422)["errors"]] == ["port-in-use"]

    def test_a_keyed_import_is_carried_out_once(
        self, client: TestClient, database: Database
    ) -> None:
        headers = {"Idempotency-Key": "night-1"}
        first = client.post("/v1/imports", json=[EXAMPLE], headers=headers)
        again = client.post("/v1/imports", json=[EXAMPLE], headers=headers)
        assert taken(first) == taken(again)
        assert revision(database) == 1
        other = client.post("/v1/imports?mode=upsert", json=[EXAMPLE], headers=headers)
        assert refused(other, 422)["errors"][0]["code"] == "key-reused"

    def test_an_empty_list_is_an_import_of_nothing(
        self, client: TestClient, database: Database
    ) -> None:
        assert taken(client.post("/v1/imports", json=[]))["components"] == 0
        assert revision(database) == 0

    def test_more_rows_than_are_taken_are_refused(self, client: TestClient) -> None:
        limit = client.app.state.settings.import_limit_rows  # type: ignore[attr-defined]
        said = refused(post(client, b"[" + b"0," * limit + b"0]", "application/json"), 413)
        assert str(limit) in said["detail"]

    @pytest.mark.parametrize("kind", ["", "text/plain", "application/xml", "nonsense"])
    def test_another_type_is_refused_with_those_that_are_read(
        self, client: TestClient, kind: str
    ) -> None:
        answer = post(client, b"[]", kind)
        refused(answer, 415)
        assert "text/csv" in answer.headers["Accept-Post"]

    def test_an_unknown_option_is_refused(self, client: TestClient) -> None:
        said = refused(client.post("/v1/imports?dryrun=true", json=[]), 422)
        assert said["errors"][0]["pointer"] == "/dryrun"


class TestJson:
    def test_every_fault_of_every_row_is_told_with_line_and_column(
        self, client: TestClient
    ) -> None:
        create(client, "TAKEN")
        text = """[
  {"sku": "A", "kind": "cap", "name": "a", "mass": 5},
  {"sku": "TAKEN", "kind": "cap", "name": "b"},
  {"sku": "B", "kind": "cap", "name": "c",
   "superseded_by": "NOBODY"},
  {"sku": "C", "kind": "cap", "name": "d", "ports": [
    {"id": "p", "role": "inlet"},
    {"id": "q", "rôle": "x"}
  ]},
  5, {"kind": "cap", "name": "e"},
  {"sku": "D", "kind": "cap", "name": "f"}
]"""
        assert told(post(client, text, "application/json")) == [
            ("Line 2, column 52", 5),
            ("Line 3, column 11", "TAKEN"),
            ("Line 5, column 21", "NOBODY"),
            ("Line 8, column 5", None),
            ("Line 8, column 25", "x"),
            ("Line 10, column 3", 5),
            ("Line 10, column 6", None),
        ]
        assert skus(client) == ["TAKEN"]

    def test_a_reference_to_a_faulty_row_is_no_second_fault(self, client: TestClient) -> None:
        rows = [component("A", superseded_by="B"), component("B", mass=5)]
        said = refused(client.post("/v1/imports", json=rows), 422)
        assert [each["pointer"] for each in said["errors"]] == ["/1/mass"]

    def test_rows_that_are_one_part_number_are_told(self, client: TestClient) -> None:
        rows = [component("FTG-6-90"), component("ftg.6.90"), component("FTG-6-90")]
        text = "[\n" + ",\n".join(json.dumps(row) for row in rows) + "\n]"
        said = refused(post(client, text, "application/json"), 422)
        assert [(each["pointer"], each["code"]) for each in said["errors"]] == [
            ("/1/sku", "look-alike"),
            ("/2/sku", "repeated"),
        ]
        assert "line 2" in said["errors"][0]["detail"]

    def test_numbers_that_differ_in_zeros_only_are_kept_and_noted(self, client: TestClient) -> None:
        create(client, "90.750")
        rows = [component("0017"), component("17"), component("90.75"), component("18")]
        result = taken(client.post("/v1/imports", json=rows))
        assert {note["sku"] for note in result["notes"]} == {"0017", "17", "90.75"}
        assert "`0017`" in next(n["detail"] for n in result["notes"] if n["sku"] == "17")
        assert skus(client) == ["0017", "17", "18", "90.75", "90.750"]

    @pytest.mark.parametrize(
        "body", [b"{}", b'"x"', b"[1", b"", b"\xff", b"[NaN]", b'[{"a":1,"a":2}]', b"[" * 5000]
    )
    def test_what_is_no_list_of_components_is_refused(
        self, client: TestClient, body: bytes
    ) -> None:
        refused(post(client, body, "application/json"), 422)

    def test_lines_of_json_are_stored(self, client: TestClient) -> None:
        text = "\ufeff" + json.dumps(component("A")) + "\r\n\n" + json.dumps(component("B"))
        assert taken(post(client, text, "application/x-ndjson"))["created"] == 2
        assert skus(client) == ["A", "B"]

    def test_faults_of_lines_are_told_with_line_and_column(self, client: TestClient) -> None:
        good = json.dumps(component("A"))
        text = "\n".join(
            [good, '{"sku": "B", oops}', "", '{"sku":"C","kind":"cap","name":"c","mass": 5}',
             '{"n":NaN}', '"\\ud800"', '{"a":1,"a":2}', "[" * 5000]
        )  # fmt: skip
        places = [place for place, _ in told(post(client, text, "application/x-ndjson"))]
        assert places[:2] == ["Line 2, column 14", "Line 4, column 44"]
        assert {place.partition(",")[0] for place in places} == {
            "Line 2", "Line 4", "Line 5", "Line 6", "Line 7", "Line 8",
        }  # fmt: skip
        assert skus(client) == []


HEADER = "sku,kind,name"


class TestCsv:
    def test_the_template_can_be_imported_as_it_is(self, client: TestClient) -> None:
        template = client.get("/v1/imports/template.csv")
        assert template.headers["Content-Type"].startswith("text/csv")
        assert template.content.endswith(b"\r\n")
        assert taken(post(client, template.content))["created"] == len(EXAMPLES)
        adapter = client.get("/v1/components/LW-ADP-0601").json()
        assert [port["id"] for port in adapter["ports"]] == ["inlet", "outlet"]
        assert adapter["ports"][0]["connection"] == {
            "system": "orb",
            "size": "-6",
            "gender": "male",
        }
        assert adapter["ports"][0]["seal"]["included"] is True
        assert adapter["wetted"] == [{"part": "body", "material": "aluminium-anodised"}]
        assert adapter["standards"] == ["SAE J1926", "SAE J514"]
        hose = client.get("/v1/components/LW-HSE-0600").json()
        assert hose["spec"]["marked"] == [], "`none` is known to be empty"
        assert hose["spec"]["bore"] == {"value": 7.9375, "unit": "mm"}

    def test_what_a_cell_can_say(self, client: TestClient) -> None:
        columns = {
            "sku": "0017",
            "kind": "pump",
            "name": 'Pump, "quiet"\n',
            "ports.out.role": "outlet",
            "ports.out.swivel": "no",
            "ports.out.connection.system": "barb",
            "ports.out.count": "2",
            "wetted.vane wheel.material": "unknown",
            "wetted.vane wheel.moving": "YES",
            "needs.1.kind": "clamp",
            "needs.1.quantity": "2",
            "needs.2.kind": "relay",
            "approved_fuels": "E10 | E85",
            "excluded_fuels": "none",
            "spec.curves": '[{"voltage":"12 V","points":[{"pressure": "0 bar", "flow": "9 L/h"}]}]',
            "spec.check_valve": "True",
        }
        text = io.StringIO(newline="")
        csv.writer(text).writerows([columns.keys(), columns.values()])
        taken(post(client, text.getvalue()))
        stored = client.get("/v1/components/0017").json()
        assert stored["name"] == 'Pump, "quiet"'
        assert stored["ports"] == [
            {
                "id": "out",
                "role": "outlet",
                "connection": {"system": "barb"},
                "swivel": False,
                "count": 2,
            }
        ]
        assert stored["wetted"] == [{"part": "vane wheel", "moving": True}]
        assert [need["kind"] for need in stored["needs"]] == ["clamp", "relay"]
        assert stored["approved_fuels"] == ["E10", "E85"]
        assert stored["excluded_fuels"] == []
        assert stored["spec"]["check_valve"] is True
        assert stored["spec"]["curves"][0]["voltage"] == {"value": 12.0, "unit": "V"}
        assert "supplier" not in stored

    def test_an_empty_cell_says_nothing(self, client: TestClient) -> None:
        text = f"{HEADER},supplier,mass,ports.a.role,wetted.body.material,spec.form\nA,cap,a,,,,,\n"
        taken(post(client, text))
        stored = client.get("/v1/components/A").json()
        assert stored["ports"] == []
        assert not stored.keys() & {"supplier", "mass", "wetted"}

    @pytest.mark.parametrize(
        "text",
        [
            f"{HEADER},mass\r\nA,cap,a,1.5 g\r\n",
            f"\ufeff{HEADER},mass\nA,cap,a,1.5 g",
            "sku;kind;name;mass\nA;cap;a;1,5 g\n",
            "sku\tkind\tname\tmass\nA\tcap\ta\t1,5 g\n",
            f'{HEADER},mass\n\n,,,\nA,cap,a,"1,5 g"\n\n',
            f'{HEADER},mass\n"A","cap","a"," 1.5 g "\n',
        ],
    )
    def test_spreadsheets_write_csv_in_many_ways(self, client: TestClient, text: str) -> None:
        assert taken(post(client, text))["created"] == 1
        assert client.get("/v1/components/A").json()["mass"] == {"value": 1.5, "unit": "g"}

    @pytest.mark.parametrize(
        ("cell", "decimal", "grams"),
        [
            ("1,5 g", None, 1.5),
            ("1,000 g", "point", 1000.0),
            ("1,000 g", "comma", 1.0),
            ("1.234,5 g", "comma", 1234.5),
            ("1,234.5 g", "point", 1234.5),
            ("1.234,5 g", None, 1234.5),
            ("3 1/2 lb", "comma", 1587.5732950),
            ("1/2 lb", "point", 226.796185),
            ("1,000 g", None, None),
            ("1.5 g", "comma", None),
            ("1,5 g", "point", None),
            ("1.5", None, None),
        ],
    )
    def test_a_decimal_comma_is_read_where_it_can_be_one_thing_only(
        self, client: TestClient, cell: str, decimal: str | None, grams: float | None
    ) -> None:
        query = {} if decimal is None else {"decimal": decimal}
        answer = post(client, f'{HEADER},mass\nA,cap,a,"{cell}"\n', **query)
        if grams is None:
            assert [place for place, _ in told(answer)] == ["Line 2, column 4 (`mass`)"]
        else:
            taken(answer)
            read = client.get("/v1/components/A").json()["mass"]["value"]
            assert read == pytest.approx(grams, rel=1e-9)

    @pytest.mark.parametrize(
        ("cell", "decimal", "amount"),
        [
            ("9,99", None, "9.99"),
            ("9.99", None, "9.99"),
            ("1.234,50", None, "1234.50"),
            ("1,234.50", None, "1234.50"),
            ("1,234", "point", "1234"),
            ("1,000", None, None),
            ("1,234", "comma", None),
            ("9,99 EUR", None, None),
        ],
    )
    def test_a_price_is_never_a_thousandfold(
        self, client: TestClient, cell: str, decimal: str | None, amount: str | None
    ) -> None:
        query = {} if decimal is None else {"decimal": decimal}
        text = f'{HEADER},price.amount,price.currency\nA,cap,a,"{cell}",EUR\n'
        answer = post(client, text, **query)
        if amount is None:
            assert told(answer)[0][0] == "Line 2, column 4 (`price.amount`)"
        else:
            taken(answer)
            assert client.get("/v1/components/A").json()["price"]["amount"] == amount

    def test_every_fault_of_every_row_is_told_with_line_and_column(
        self, client: TestClient
    ) -> None:
        create(client, "TAKEN")
        text = (
            "sku,kind,name,mass,spec.form,ports.a.connection,ports.a.role,needs.1.quantity\n"
            "A,cap,a,5,,,,\n"  # line 2: a number without a unit
            'B,cap,"two\nlines",1 g,cap,6,inlet,\n'  # lines 3 and 4: a control character, open text
            "C,clamp,c,1 g,cap,,,\n"  # line 5: a clamp has no form
            "D,cpa,d,,,,,\n"  # line 6: no such kind
            ",cap,e,,,,,\n"  # line 7: no SKU
            "F,cap,f,,,-6 ORB,,two\n"  # line 8: no role, no whole number
            "TAKEN,cap,g,,,,,\n"  # line 9: stored already
            "a,cap,h,,,,,\n"  # line 10: A in another spelling, but A has faults of its own
            "H,cap,i\n"  # line 11: too few cells
        )
        answer = post(client, text)
        assert told(answer) == [
            ("Line 2, column 4 (`mass`)", "5"),
            ("Line 3, column 3 (`name`)", "two\nlines"),
            ("Line 3, column 6 (`ports.a.connection`)", "6"),
            ("Line 5, column 5 (`spec.form`)", "cap"),
            ("Line 6, column 2 (`kind`)", "cpa"),
            ("Line 7", None),
            ("Line 8, column 6 (`ports.a.connection`)", None),
            ("Line 8, column 8 (`needs.1.quantity`)", "two"),
            ("Line 9, column 1 (`sku`)", "TAKEN"),
            ("Line 11", 3),
        ]
        assert skus(client) == ["TAKEN"]

    @pytest.mark.parametrize(
        ("header", "place", "expected"),
        [
            ("sku,kind,name,spec.boer", "Line 1, column 4", "`spec.bore`"),
            ("sku,kind,name,ports.outlet.bor", "Line 1, column 4", "`ports.outlet.bore`"),
            ("sku,kind,name,name", "Line 1, column 4", "each column once"),
            ("sku,kind,name,", "Line 1, column 4", "template.csv"),
            ("sku,kind,name,ports..role", "Line 1, column 4", "`"),
            ("sku,kind,name,ports.a.id", "Line 1, column 4", "`"),
            ("sku,kind", "Line 1", "a column `name`"),
            ("", "Line 1", "a header"),
        ],
    )
    def test_a_header_that_cannot_be_understood_is_refused_at_once(
        self, client: TestClient, header: str, place: str, expected: str
    ) -> None:
        said = refused(post(client, f"{header}\nA,cap,a,1\n" if header else ""), 422)
        assert said["errors"][0]["detail"].startswith(f"{place}:")
        assert expected in said["errors"][0]["expected"]

    @pytest.mark.parametrize(
        ("body", "line", "hint"),
        [
            (f'{HEADER}\nA,cap,"a" b\n'.encode(), 2, "quotes"),
            (f'{HEADER}\nA,cap,a\nB,cap,"open\n'.encode(), 3, "quotes"),
            (f"{HEADER}\nA,cap,Öl\n".encode("cp1252"), 2, "UTF-8"),
            (f"{HEADER}\nA,cap,a\n".encode("utf-16"), 1, "UTF-8"),
            (f"{HEADER}\nA,cap,{'x' * 200_000}\n".encode(), 2, "quotes"),
        ],
    )
    def test_a_file_that_is_no_csv_is_refused_with_the_line(
        self, client: TestClient, body: bytes, line: int, hint: str
    ) -> None:
        said = refused(post(client, body), 422)
        assert said["errors"][0]["detail"].startswith(f"Line {line}:")
        assert hint in said["errors"][0]["expected"]

    def test_two_columns_may_not_give_the_same(self, client: TestClient) -> None:
        text = (
            f"{HEADER},ports,ports.a.role,ports.a.connection,ports.a.connection.system\n"
            'A,cap,a,"[]",inlet,,\n'
            "B,cap,b,,inlet,-6 ORB,barb\n"
        )
        assert [place for place, _ in told(post(client, text))] == [
            "Line 2, column 5 (`ports.a.role`)",
            "Line 3, column 7 (`ports.a.connection.system`)",
        ]

    @pytest.mark.parametrize("cell", ["[", "[NaN]", "x", '[{"id":"a","id":"b"}]', "[5]", "{}"])
    def test_a_cell_of_json_is_read_strictly(self, client: TestClient, cell: str) -> None:
        text = io.StringIO(newline="")
        csv.writer(text).writerows([[*HEADER.split(","), "ports"], ["A", "cap", "a", cell]])
        places = [place for place, _ in told(post(client, text.getvalue()))]
        assert set(places) == {"Line 2, column 4 (`ports`)"}

    @pytest.mark.parametrize("kind", words(Kind))
    def test_every_attribute_of_every_kind_has_a_column(self, kind: str) -> None:
        spec = kinds()[kind].model_fields["spec"].annotation
        assert spec is not None
        for field in spec.model_fields.values():  # type: ignore[attr-defined]
            assert form_of(kind, ("spec", field.alias)) is not None
