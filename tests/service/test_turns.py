"""Carts that come at once: every one is answered, and nothing else waits for them."""

from __future__ import annotations

import asyncio
import os
from typing import Any, Final

import httpx
import pytest
from fastapi.testclient import TestClient

from rules.carts import CartReport
from service.checks.judging import judged_cart
from tests.service.fixtures_demo import demo_client, demo_database, seeded
from tests.service.test_carts import cart

__all__ = ["demo_client", "demo_database", "seeded"]

CARTS: Final = 20


def test_all_carts_are_answered_and_others_need_not_wait_for_them(
    demo_client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    searching: list[int] = []
    most: list[int] = []

    def counted(*args: Any) -> CartReport:
        searching.append(1)
        most.append(len(searching))
        try:
            return judged_cart(*args)
        finally:
            searching.pop()

    monkeypatch.setattr("service.checks.judge.judged_cart", counted)
    asked = [cart(without=("rail-in",), vehicle=None) for _ in range(CARTS)]

    async def all_at_once() -> tuple[list[httpx.Response], int]:
        transport = httpx.ASGITransport(app=demo_client.app)
        async with httpx.AsyncClient(transport=transport, base_url="http://shop") as client:
            posts = [asyncio.create_task(client.post("/v1/checks", json=each)) for each in asked]
            while not searching:
                await asyncio.sleep(0.001)
            answer = await client.get("/v1/health/ready")
            assert answer.status_code == 200
            answer = await client.get("/v1/components/HF-PMP-255")
            assert answer.status_code == 200
            waiting = sum(not post.done() for post in posts)
            return list(await asyncio.gather(*posts)), waiting

    answers, waiting = asyncio.run(all_at_once())
    assert [answer.status_code for answer in answers] == [200] * CARTS
    assert len({answer.content for answer in answers}) == 1
    assert waiting > CARTS // 2
    assert 1 <= max(most) <= (os.cpu_count() or 1) + 1
