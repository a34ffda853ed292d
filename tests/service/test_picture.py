"""The pressure line as a picture: over HTTP, from the command line, and as a reader sees it.

Renew the picture that README shows after a change that is meant:

    LINEWORTHY_TEST_RENEW=1 python -m pytest tests/service/test_picture.py -k readme
"""

from __future__ import annotations

import copy
import itertools
import json
import math
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page, sync_playwright

from rules.assembly import Request
from rules.catalogue import catalogue
from rules.picture import NothingToDraw, pressure_line_svg
from seed_data import demo_assemblies, demo_components, demo_vehicles
from tests.service.fixtures_demo import ROOT, assembly, demo_client, demo_database, seeded
from tests.service.test_browser import ARGUMENTS, CHROMIUM
from tests.service.test_cli import run, written

__all__ = ["demo_client", "demo_database", "seeded"]

SVG = "{http://www.w3.org/2000/svg}"
SURGE_TANK = "06-six-surge-tank"
FILTER_UNKNOWN = "17-zinc-filter-in-e85"
RETURNLESS = "03-returnless-four"
README_PICTURE = ROOT / "seed_data" / "pressure-line.svg"
RENEW = "LINEWORTHY_TEST_RENEW"


def renamed(slug: str, name: str) -> Request:
    """A demo assembly whose parts have names as long as they may be."""
    body = assembly(slug).body
    new = {item["ref"]: f"{item['ref']}-{name}"[:64].rstrip("-") for item in body["items"]}
    text = json.dumps(body)
    for ref in sorted(new, key=len, reverse=True):
        text = re.sub(rf'"{ref}(?=["\.])(?!": )', f'"{new[ref]}', text)
    changed = json.loads(text)
    for item, was in zip(changed["items"], body["items"], strict=True):
        item.update({key: value for key, value in was.items() if key != "ref"})
    return Request.model_validate({**changed, "application": body["application"]})


def pictures() -> Iterator[tuple[str, str]]:
    """The picture of every demo assembly that has one; those alike only once."""
    shop = catalogue(1, demo_components(), demo_vehicles())
    drawn: set[str] = set()
    for name in ("m" * 60, "feed-hose-from-the-filter-to-the-rail-along-the-left-inner-wing"):
        yield f"long names, {name[:1]}", pressure_line_svg(renamed(RETURNLESS, name), shop)
    for shown in demo_assemblies():
        try:
            document = pressure_line_svg(shown.request, shop)
        except NothingToDraw:
            continue
        if document not in drawn:
            drawn.add(document)
            yield shown.slug, document


PICTURES = dict(pictures())


def words(document: str) -> list[str]:
    return [text.text or "" for text in ElementTree.fromstring(document).iter(f"{SVG}text")]


class TestOverHttp:
    def test_picture_names_every_part_in_the_flow(self, demo_client: TestClient) -> None:
        body = assembly(SURGE_TANK).body
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 200, answer.text
        assert answer.headers["content-type"].startswith("image/svg+xml")
        assert answer.headers["content-security-policy"] == "default-src 'none'"
        root = ElementTree.fromstring(answer.content)
        assert root.tag == f"{SVG}svg"
        report = demo_client.post("/v1/checks", json=body).json()
        told = words(answer.text)
        for drop in report["flow"]["points"][0]["drops"]:
            assert any(re.match(rf"{drop['ref']}( |$)", each) for each in told), drop["ref"]

    def test_same_request_same_bytes(self, demo_client: TestClient) -> None:
        body = assembly(SURGE_TANK).body
        bytes_of = {demo_client.post("/v1/checks/picture", json=body).content for _ in range(3)}
        assert bytes_of == {PICTURES[SURGE_TANK].encode()}

    def test_order_of_items_and_joints_does_not_matter(self, demo_client: TestClient) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        body["items"].reverse()
        body["joints"].reverse()
        assert demo_client.post("/v1/checks/picture", json=body).text == PICTURES[SURGE_TANK]

    @pytest.mark.parametrize(
        ("field", "expected"),
        [
            ("power", "300 kW"),
            ("induction", "naturally-aspirated"),
            ("boost", "1.2 bar"),
            ("supply_voltage", "13.5 V"),
        ],
    )
    def test_field_that_is_missing_is_named(
        self, demo_client: TestClient, field: str, expected: str
    ) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        del body["application"][field]
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 422
        assert answer.headers["content-type"] == "application/problem+json"
        by_pointer = {fault["pointer"]: fault for fault in answer.json()["errors"]}
        fault = by_pointer[f"/application/{field}"]
        assert (fault["code"], fault["found"]) == ("missing", None)
        assert f"`{field}`" in fault["detail"]
        assert expected in fault["expected"]

    def test_part_that_lacks_data_is_pointed_at(self, demo_client: TestClient) -> None:
        body = assembly(FILTER_UNKNOWN).body
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 422
        (fault,) = answer.json()["errors"]
        refs = [item["ref"] for item in body["items"]]
        assert fault["pointer"] == f"/items/{refs.index('filter')}"
        assert fault["expected"] == "the pressure drop of filter"
        assert fault["code"] == "not-recorded"

    def test_fuel_that_is_not_known_so_cold(self, demo_client: TestClient) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        body["application"]["fuel_temperature"] = "-60 degC"
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 422
        (fault,) = answer.json()["errors"]
        assert (fault["pointer"], fault["code"]) == ("", "not-recorded")
        assert "-60 degC" in fault["detail"]

    def test_list_without_a_fuel_system(self, demo_client: TestClient) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        body["items"] = [item for item in body["items"] if item["ref"] == "feed-1"]
        body["joints"], body["outside"] = [], []
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 422
        (fault,) = answer.json()["errors"]
        assert fault["pointer"] == "/items"
        assert "holds no fuel system" in fault["detail"]

    def test_part_that_does_not_exist(self, demo_client: TestClient) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        body["items"][0]["sku"] = "HF-SRG-Z"
        answer = demo_client.post("/v1/checks/picture", json=body)
        assert answer.status_code == 422
        found = {fault["pointer"]: fault["code"] for fault in answer.json()["errors"]}
        assert found["/items/0/sku"] == "unknown-name"


class TestFromTheCommandLine:
    def test_picture_beside_the_report(self, tmp_path: Path) -> None:
        file = tmp_path / "line.svg"
        done = run("check", "--demo", "--picture", str(file), "-", given=written(SURGE_TANK))
        assert done.code == 0, done.err
        assert file.read_text(encoding="utf-8") == PICTURES[SURGE_TANK]
        assert "bottleneck" in done.out

    def test_demo_assembly_by_its_name(self, tmp_path: Path) -> None:
        by_name = run("check", "--demo", "--json", SURGE_TANK)
        assert by_name.code == 0, by_name.err
        given = run("check", "--demo", "--json", "-", given=written(SURGE_TANK))
        assert by_name.out == given.out

    def test_name_of_no_demo_assembly(self) -> None:
        done = run("check", "--demo", "06-surge-tank")
        assert done.code == 2
        assert f"`{SURGE_TANK}`" in " ".join(done.err.split())

    def test_nothing_to_draw(self, tmp_path: Path) -> None:
        body = copy.deepcopy(assembly(SURGE_TANK).body)
        del body["application"]["power"]
        file = tmp_path / "line.svg"
        given = json.dumps(body)
        done = run("check", "--demo", "--picture", str(file), "-", given=given)
        assert done.code == 2
        assert "/application/power: Without `power` there is no flow to draw." in done.err
        assert not file.exists()

    def test_place_that_cannot_be_written(self, tmp_path: Path) -> None:
        file = tmp_path / "no-such-directory" / "line.svg"
        done = run("check", "--demo", "--picture", str(file), SURGE_TANK)
        assert done.code == 2
        assert "cannot be written" in " ".join(done.err.split())


def test_picture_in_readme_is_the_one_drawn_now() -> None:
    if os.environ.get(RENEW):
        README_PICTURE.write_text(PICTURES[SURGE_TANK], encoding="utf-8")
    assert README_PICTURE.read_text(encoding="utf-8") == PICTURES[SURGE_TANK], (
        f"The picture has changed. If it was meant: {RENEW}=1 python -m pytest {__file__} -k readme"
    )
    assert f"({README_PICTURE.relative_to(ROOT)})" in (ROOT / "README.md").read_text("utf-8")


# In a browser ---------------------------------------------------------------------------------

Point = tuple[float, float]

CORNERS = """
() => Array.from(document.querySelectorAll("svg text"), text => {
  const { x, y, width, height } = text.getBBox();
  const to = text.getCTM().multiply(document.querySelector("svg").getCTM().inverse());
  return { words: text.textContent, turned: text.hasAttribute("transform"), corners:
    [[x, y], [x + width, y], [x + width, y + height], [x, y + height]].map(([x, y]) => {
      const point = new DOMPoint(x, y).matrixTransform(to);
      return [point.x, point.y];
    }) };
})
"""
"""Where each text stands, in the units of the view box: the corners of its box, turned with it."""


@pytest.fixture(scope="module")
def page() -> Iterator[Page]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser.new_page(viewport={"width": 1600, "height": 900})
        browser.close()


def apart(one: list[Point], other: list[Point]) -> bool:
    """Whether two rectangles share no point: a side of one of them separates them."""
    for corners in (one, other):
        for (x0, y0), (x1, y1) in itertools.pairwise([*corners, corners[0]]):
            length = math.hypot(x1 - x0, y1 - y0)
            if length == 0.0:
                continue
            across = [
                [((x - x0) * (y1 - y0) - (y - y0) * (x1 - x0)) / length for x, y in box]
                for box in (one, other)
            ]
            if max(across[0]) <= min(across[1]) or max(across[1]) <= min(across[0]):
                return True
    return False


def test_rectangles_that_are_apart_are_told_from_those_that_are_not() -> None:
    square: list[Point] = [(0, 0), (2, 0), (2, 2), (0, 2)]
    diamond: list[Point] = [(3, 1), (4, 2), (3, 3), (2, 2)]
    assert apart(square, [(x + 3, y) for x, y in square])
    assert not apart(square, [(x + 1, y + 1) for x, y in square])
    assert apart(square, [(x + 0.1, y + 0.1) for x, y in diamond])
    assert not apart(square, [(x - 1, y - 1) for x, y in diamond])


@pytest.fixture(scope="module", params=PICTURES)
def texts(request: pytest.FixtureRequest, page: Page) -> list[dict[str, Any]]:
    """Every text of a picture, with its corners and the size of the whole."""
    page.set_content(PICTURES[request.param])
    found: list[dict[str, Any]] = page.evaluate(CORNERS)
    width, height = page.evaluate(
        "(() => { const box = document.querySelector('svg').viewBox.baseVal;"
        " return [box.width, box.height]; })()"
    )
    return [{**each, "width": width, "height": height} for each in found]


@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed here")
class TestAsAReaderSeesIt:
    def test_nothing_is_cut_off(self, texts: list[dict[str, Any]]) -> None:
        for text in texts:
            for x, y in text["corners"]:
                assert 0 <= x <= text["width"], text["words"]
                assert 0 <= y <= text["height"], text["words"]

    def test_no_words_stand_on_others(self, texts: list[dict[str, Any]]) -> None:
        for one, other in itertools.combinations(texts, 2):
            assert apart(one["corners"], other["corners"]), (one["words"], other["words"])

    def test_axes_name_their_units(self, texts: list[dict[str, Any]]) -> None:
        told = [text["words"] for text in texts]
        assert "gauge pressure, bar" in told
        assert any("hose and tube so far in m" in each for each in told)
        assert any("drop at full load in bar" in each for each in told)


@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed here")
def test_picture_fetches_and_runs_nothing(page: Page) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for document in PICTURES.values():
        page.set_content(document)
        assert page.locator("svg script, svg foreignObject, svg image, svg use").count() == 0
    assert asked == []
