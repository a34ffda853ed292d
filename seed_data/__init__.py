"""The demo shop, Harbour Street Fuel Works: parts, vehicles, assemblies and carts, our invention.

The JSON files beside this module are in the edge form that the service takes, so they can be sent
to it as they are. Nothing here stands for a product that can be bought.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any, cast

from pydantic import Field

from rules.assembly import Request, Vehicle
from rules.cart import Cart
from rules.connections import Words
from rules.parts import Component, Model, read_component
from rules.report import Verdict


class Expectation(Model):
    """What a check of a demo assembly answers."""

    verdict: Verdict
    rules: tuple[str, ...] = Field(default=(), description="Rules that give a finding.")
    absent: tuple[str, ...] = Field(default=(), description="Rules that give none.")


class DemoAssembly(Model):
    """A request with the story behind it and the answer it gets.

    The request is kept twice: read, and as it was written (`body`, to be sent to the service).
    """

    slug: str
    title: Words
    story: str
    request: Request
    body: dict[str, Any]
    expect: Expectation


class CartExpectation(Model):
    """What a check of a demo cart answers."""

    verdict: Verdict
    missing: tuple[str, ...] = Field(
        default=(), description="SKU of each part offered first, in order."
    )
    completed_verdict: Verdict | None = Field(
        default=None, description="The verdict with those parts added."
    )


class DemoCart(Model):
    """A cart with the story behind it and the answer it gets, kept twice as an assembly is."""

    slug: str
    title: Words
    story: str
    request: Cart
    body: dict[str, Any]
    expect: CartExpectation


def demo_components() -> tuple[Component, ...]:
    """The shop's parts in order of SKU.

    Raises:
        pydantic.ValidationError: a file holds something that is no component.
    """
    found = (read_component(entry) for entry in _entries("components"))
    return tuple(sorted(found, key=lambda part: str(part.sku)))


def demo_vehicles() -> tuple[Vehicle, ...]:
    """The shop's vehicles, each with the fixed parts it brings."""
    return tuple(Vehicle.model_validate(entry) for entry in _read(_here() / "vehicles.json"))


def demo_assemblies() -> tuple[DemoAssembly, ...]:
    """The demo assemblies in the order of their file names."""
    return tuple(
        DemoAssembly.model_validate(
            {"slug": name, "body": entry["request"], **cast("dict[str, Any]", entry)}
        )
        for name, entry in _documents("assemblies")
    )


def demo_carts() -> tuple[DemoCart, ...]:
    """The demo carts in the order of their file names."""
    return tuple(
        DemoCart.model_validate(
            {"slug": name, "body": entry["request"], **cast("dict[str, Any]", entry)}
        )
        for name, entry in _documents("carts")
    )


def _here() -> Traversable:
    return files(__name__)


def _read(file: Traversable) -> Any:
    return json.loads(file.read_text(encoding="utf-8"))


def _documents(folder: str) -> Iterator[tuple[str, Any]]:
    for file in sorted((_here() / folder).iterdir(), key=lambda f: f.name):
        if file.name.endswith(".json"):
            yield file.name.removesuffix(".json"), _read(file)


def _entries(folder: str) -> Iterator[Any]:
    for _, entries in _documents(folder):
        yield from entries
