"""Carts as people meet them: the demo, README, the command line, lines changed by hand."""

from __future__ import annotations

import copy
import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from rules.carts import CartReport
from seed_data import DemoCart, demo_carts
from service.console import console_for, print_report
from tests.service.fixtures_demo import ROOT, demo_client, demo_database, seeded
from tests.service.test_cli import run
from tests.service.test_components import refused

__all__ = ["demo_client", "demo_database", "seeded"]

(CART,) = demo_carts()
FORGOTTEN = "HF-ADP-QC516-JIC6M"
ADDED = {"sku": FORGOTTEN, "quantity": 2}


def with_lines(*more: dict[str, Any], without: int | None = None) -> dict[str, Any]:
    lines = [line for number, line in enumerate(CART.body["lines"]) if number != without]
    return copy.deepcopy({**CART.body, "lines": [*lines, *more]})


def replaced(sku: str, other: str) -> dict[str, Any]:
    """The whole cart with one part number in place of another."""
    body = with_lines(ADDED)
    for line in body["lines"]:
        if line["sku"] == sku:
            line["sku"] = other
    return body


def judge(client: TestClient, body: dict[str, Any]) -> CartReport:
    answer = client.post("/v1/checks", json=body)
    assert answer.status_code == 200, answer.text
    return CartReport.model_validate_json(answer.content)


def offered(report: CartReport) -> list[str]:
    return [part.sku for each in report.routing.completion for part in each.options[0].parts]


def left(report: CartReport) -> list[tuple[str | None, int, str]]:
    return [(each.sku, each.quantity, each.reason) for each in report.routing.left_over]


class TestDemoCart:
    @pytest.mark.parametrize("shown", demo_carts(), ids=lambda cart: cart.slug)
    def test_gets_the_answer_it_is_made_for(self, demo_client: TestClient, shown: DemoCart) -> None:
        report = judge(demo_client, shown.body)
        assert report.verdict == shown.expect.verdict
        assert report.completed_verdict == shown.expect.completed_verdict
        assert offered(report) == list(shown.expect.missing)

    def test_what_was_forgotten_is_named_with_price_and_place(
        self, demo_client: TestClient
    ) -> None:
        routing = judge(demo_client, CART.body).routing
        places = []
        for completion in routing.completion:
            (part,) = completion.options[0].parts
            assert part.price
            assert (part.price.amount, part.price.currency) == ("17.50", "EUR")
            ends = {end for joint in completion.options[0].joints for end in joint.ends}
            places.append({end for end in ends if not end.startswith(f"{part.ref}.")})
        assert places == [set(each.between) for each in routing.unfilled]
        assert {"hf-tnk-mod-r.feed", "own-rail.inlet"} <= set().union(*places)

    def test_fits_with_it_added(self, demo_client: TestClient) -> None:
        report = judge(demo_client, with_lines(ADDED))
        assert report.verdict == "fits"
        assert report.completed_verdict is None
        assert report.routing.unfilled == ()
        assert report.routing.left_over == ()
        assert report.routing.proved_best
        assert report.flow
        assert report.flow.supports_power

    def test_no_line_says_how_it_joins(self) -> None:
        assert "joints" not in CART.body
        assert len({line["sku"] for line in CART.body["lines"]}) >= 12


class TestChangedByHand:
    """README's cart with both adapters in it, and then what people do to carts."""

    @pytest.mark.parametrize(
        ("sku", "also"),
        [
            ("HF-TNK-MOD-R", ()),
            ("HF-GSK-120", ()),
            ("HF-FST-M5", ()),
            ("HF-PMP-255", ()),
            ("HF-STR-100", ()),
            ("HF-BLK-R10-8", ()),
            # Its equal, which costs less.
            ("HF-CLP-B-13", ("HF-CLP-E-13",)),
            ("HF-HSE-6-FF", ()),
            ("HF-FLT-10G", ()),
            ("HF-RLY-40", ()),
            ("HF-FUS-15", ()),
            ("HF-WIR-2.5", ()),
            ("HF-TRM-PMP", ()),
        ],
    )
    def test_a_line_that_is_removed_is_missing(
        self, demo_client: TestClient, sku: str, also: tuple[str, ...]
    ) -> None:
        numbers = [n for n, line in enumerate(CART.body["lines"]) if line["sku"] == sku]
        for number in numbers:
            report = judge(demo_client, with_lines(ADDED, without=number))
            (missing,) = report.routing.unfilled
            (named,) = offered(report)
            assert named in {sku, *also}
            assert missing.message
            assert left(report) == []

    @pytest.mark.parametrize("sku", sorted({line["sku"] for line in CART.body["lines"]}))
    def test_a_line_that_is_there_twice_is_left_over_once(
        self, demo_client: TestClient, sku: str
    ) -> None:
        twice = next(line for line in CART.body["lines"] if line["sku"] == sku)
        report = judge(demo_client, with_lines(ADDED, twice))
        assert report.verdict == "fits"
        reason = "more-than-needed" if sku == "HF-CLP-B-13" else "duplicate"
        assert left(report) == [(sku, twice.get("quantity", 1), reason)]

    @pytest.mark.parametrize(
        ("sku", "other", "wanted", "reason"),
        [
            # One size up, the other half, another thread size, another clamp size.
            (FORGOTTEN, "HF-ADP-QC38-JIC6M", {FORGOTTEN}, "wrong-size"),
            (FORGOTTEN, "HF-ADP-QC516M-JIC6", {FORGOTTEN}, "wrong-sex"),
            ("HF-HSE-6-FF", "HF-HSE-10-FF", {"HF-HSE-6-FF"}, "wrong-size"),
            ("HF-CLP-B-13", "HF-CLP-S-9", {"HF-CLP-B-13", "HF-CLP-E-13"}, "wrong-size"),
            ("HF-TNK-MOD-R", "HF-TNK-MOD-1", {"HF-TNK-MOD-R"}, "for-another-circuit"),
        ],
    )
    def test_a_part_that_is_nearly_right(
        self, demo_client: TestClient, sku: str, other: str, wanted: set[str], reason: str
    ) -> None:
        report = judge(demo_client, replaced(sku, other))
        assert report.verdict == "does-not-fit"
        assert set(offered(report)) <= wanted
        assert {(each.sku, each.reason) for each in report.routing.left_over} == {(other, reason)}

    def test_a_filter_with_other_ports_asks_for_adapters(self, demo_client: TestClient) -> None:
        report = judge(demo_client, replaced("HF-FLT-10G", "HF-FLT-10G8"))
        assert offered(report) == ["HF-ADP-ORB8-JIC6M"] * 2
        assert report.completed_verdict == "fits"

    @pytest.mark.parametrize(
        ("sku", "reason"),
        [
            ("HF-PLG-JIC6", "not-needed"),
            ("HF-REG-2", "for-another-circuit"),
            ("HF-INJ-550", "more-than-needed"),
            ("HF-ADP-QC38-JIC6M", "not-needed"),
        ],
    )
    def test_a_part_too_many(self, demo_client: TestClient, sku: str, reason: str) -> None:
        report = judge(demo_client, with_lines(ADDED, {"sku": sku}))
        assert report.verdict == "fits"
        assert left(report) == [(sku, 1, reason)]


class TestRefusals:
    def test_a_part_number_that_is_nearly_right(self, demo_client: TestClient) -> None:
        body = with_lines({"sku": "HF-ADP-QC516-JIC6"})
        (fault,) = refused(demo_client.post("/v1/checks", json=body), 422)["errors"]
        assert fault["pointer"] == f"/lines/{len(CART.body['lines'])}/sku"
        assert FORGOTTEN in fault["expected"]

    @pytest.mark.parametrize(
        ("changes", "pointers"),
        [
            ({"lines": None}, {"/lines"}),
            ({"lines": "HF-PMP-255"}, {"/lines"}),
            ({"lines": ["HF-PMP-255"]}, {"/lines/0"}),
            ({"lines": [{"sku": "A", "length": "3"}]}, {"/lines/0/length"}),
            ({"lines": [{"sku": "A", "quantity": 1.5}]}, {"/lines/0/quantity"}),
            ({"lines": [{"sku": "A", "quantity": 10**9}]}, {"/lines/0/quantity"}),
            ({"layout": 3, "keeps": {}}, {"/layout", "/keeps"}),
            ({"items": [{"ref": "a", "sku": "A", "length": 1}]}, {"/items/0/length"}),
        ],
    )
    def test_each_fault_once_at_its_place(
        self, demo_client: TestClient, changes: dict[str, Any], pointers: set[str]
    ) -> None:
        said = refused(demo_client.post("/v1/checks", json={**CART.body, **changes}), 422)
        assert sorted(each["pointer"] for each in said["errors"]) == sorted(pointers)
        assert all(each["expected"] for each in said["errors"])

    def test_a_body_that_is_neither(self, demo_client: TestClient) -> None:
        body = {"application": CART.body["application"]}
        (fault,) = refused(demo_client.post("/v1/checks", json=body), 422)["errors"]
        assert (fault["pointer"], fault["code"]) == ("/items", "missing")


class TestCommandLine:
    def test_the_line_what_is_missing_and_what_it_costs(self) -> None:
        done = run("check", "--demo", CART.slug)
        assert done.code == 1, done.err
        text = " ".join(done.out.split())
        assert "DOES NOT FIT" in text
        assert text.count(" . . ") == 2
        assert f"add 1 x {FORGOTTEN}" in text
        assert "17.50 EUR, between hf-tnk-mod-r.feed and hf-hse-6-ff-1.a" in text
        assert "With the first of each added it fits. 35.00 EUR for all of it." in text
        # A port that waits for a missing adapter wants no plug.
        assert "HF-PLG-JIC6" not in text

    def test_what_is_left_over(self) -> None:
        body = with_lines(ADDED, {"sku": "HF-REG-2"})
        done = run("check", "--demo", "-", given=json.dumps(body))
        assert done.code == 0, done.err
        _, _, behind = done.out.partition("Left over\n")
        assert "1 x HF-REG-2" in behind
        assert "Missing" not in done.out
        assert " . . " not in done.out

    def test_json(self) -> None:
        done = run("check", "--demo", "--json", CART.slug)
        assert done.code == 1
        assert CartReport.model_validate_json(done.out).completed_verdict == "fits"

    def test_picture(self, tmp_path: Path) -> None:
        body = json.dumps(with_lines(ADDED))
        picture = tmp_path / "line.svg"
        done = run("check", "--demo", "--picture", str(picture), "-", given=body)
        assert done.code == 0, done.err
        assert "own-rail" in picture.read_text(encoding="utf-8")

    def test_faults_are_told_at_their_place(self) -> None:
        body = with_lines({"sku": "HF-ADP-QC516-JIC6"}, {"sku": "HF-FLT-10G", "length": 3})
        done = run("check", "--demo", "-", given=json.dumps(body))
        assert done.code == 2
        assert "/lines/15/length" in done.err
        assert done.out == ""

    def test_findings_at_joints_that_were_found_are_marked(self, demo_client: TestClient) -> None:
        body = replaced("HF-BLK-R10-8", "HF-BLK-R9-8")
        report = judge(demo_client, body)
        stream = StringIO()
        print_report(console_for(stream), "cart", CART.request, report)
        assert "hf-blk-r9-8(1" in stream.getvalue()


# README -----------------------------------------------------------------------------------------


def readme() -> tuple[dict[str, Any], dict[str, Any]]:
    """The request and the answer that README shows of a cart."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    _, _, section = text.partition("## A cart\n")
    request, answer = (part.partition("```")[0] for part in section.split("```json\n")[1:3])
    return json.loads(request.removeprefix("POST /v1/checks\n")), json.loads(answer)


def is_excerpt(shown: Any, whole: Any) -> bool:
    """Whether everything shown is in the whole, members of lists in their order."""
    if isinstance(shown, dict):
        return isinstance(whole, dict) and all(
            name in whole and is_excerpt(value, whole[name]) for name, value in shown.items()
        )
    if isinstance(shown, list) and isinstance(whole, list):
        rest = iter(whole)
        return (not shown and not whole) or (
            bool(shown) and all(any(is_excerpt(each, found) for found in rest) for each in shown)
        )
    return bool(shown == whole)


def test_readme_shows_the_cart_of_the_demo_and_what_comes_out(demo_client: TestClient) -> None:
    request, shown = readme()
    assert request == CART.body
    answer = demo_client.post("/v1/checks", json=request).json()
    assert is_excerpt(shown, answer)


def test_an_excerpt_is_told_from_what_is_not_there() -> None:
    whole: dict[str, Any] = {"a": [1, {"b": 2}, 3], "c": []}
    there: list[dict[str, Any]] = [{"a": [1, 3]}, {"a": [{"b": 2}]}, {"c": []}]
    absent: list[dict[str, Any]] = [
        {"a": [3, 1]},
        {"a": []},
        {"c": [1]},
        {"d": 1},
        {"a": [{"b": 3}]},
    ]
    assert all(is_excerpt(each, whole) for each in there)
    assert not any(is_excerpt(each, whole) for each in absent)
