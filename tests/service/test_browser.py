"""The page of the API as a person meets it, in a real browser."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, sync_playwright

from tests.service.fixtures_demo import demo_database, seeded, serving

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]

if CHROMIUM is None and os.environ.get("CI"):
    raise RuntimeError("The pages are tested in Chromium, and there is none: install `chromium`.")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed here")

__all__ = ["demo_database", "seeded"]


@pytest.fixture(scope="module")
def address(demo_database: str) -> Iterator[str]:
    with serving(demo_database) as (_, url):
        yield url


@pytest.fixture
def page() -> Iterator[Page]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        opened = browser.new_page(viewport={"width": 1200, "height": 900})
        yield opened
        browser.close()


def test_the_page_asks_no_other_host_and_reports_no_error(page: Page, address: str) -> None:
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{address}/docs")
    assert page.title() == "Lineworthy: the API"
    assert all(url.startswith(address) for url in asked)
    assert complaints == []


def test_every_operation_of_the_document_is_on_the_page(page: Page, address: str) -> None:
    document = page.request.get(f"{address}/openapi.json").json()
    summaries = [
        operation["summary"]
        for path in document["paths"].values()
        for method, operation in path.items()
        if method in ("get", "post", "put", "patch", "delete")
    ]
    page.goto(f"{address}/docs")
    headings = page.locator("article[class] h3").all_inner_texts()
    assert sorted(headings) == sorted(summaries)


def test_an_example_can_be_tried_and_answers(page: Page, address: str) -> None:
    page.goto(f"{address}/docs")
    article = page.locator("article", has=page.locator("h3", has_text="Check an assembly")).first
    article.locator("summary", has_text="Try it").click()
    with page.expect_response(f"{address}/v1/checks") as answered:
        article.get_by_role("button").click()
    assert answered.value.status == 200
    assert answered.value.json()["verdict"]


def test_each_of_several_examples_can_be_chosen_and_tried(page: Page, address: str) -> None:
    page.goto(f"{address}/docs")
    article = page.locator("#check_assembly")
    article.locator("summary", has_text="Try it").click()
    chosen = article.locator("select")
    names = chosen.locator("option").all_inner_texts()
    assert len(names) > 1
    for name in names:
        chosen.select_option(label=name)
        with page.expect_response(f"{address}/v1/checks") as answered:
            article.get_by_role("button").click()
        assert answered.value.status == 200
        assert ("routing" in answered.value.json()) is ("cart" in name.lower())


def test_every_body_that_is_taken_is_described(page: Page, address: str) -> None:
    document = page.request.get(f"{address}/openapi.json").json()
    page.goto(f"{address}/docs")
    for path in document["paths"].values():
        for operation in path.values():
            for media_type in operation.get("requestBody", {}).get("content", {}):
                article = page.locator(f"#{operation['operationId']}")
                assert f"Body, {media_type}" in article.inner_text()


@pytest.mark.parametrize("width", [360, 390, 768, 1200])
def test_nothing_sticks_out_of_the_window(page: Page, address: str, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(f"{address}/docs")
    page.locator("details").evaluate_all("all => all.forEach(each => { each.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
