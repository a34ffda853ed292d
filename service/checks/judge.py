"""What assemblies and carts are judged by, whoever asks."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, TypeAlias

from anyio import CapacityLimiter
from fastapi import Depends, Request
from pydantic import Discriminator, Field, Tag

from rules.assembly import Request as Proposal
from rules.cart import Cart
from rules.carts import CartReport
from rules.catalogue import Catalogue
from rules.engine import Book
from rules.report import Report
from rules.routing import Templates
from service.checks.judging import judged, judged_cart
from service.problems import Problem, invalid
from service.settings import Settings

Question: TypeAlias = Proposal | Cart


def _form(given: Any) -> str:
    has_lines = "lines" in given if isinstance(given, Mapping) else isinstance(given, Cart)
    return "a cart" if has_lines else "an assembly"


def _either(schema: dict[str, Any]) -> None:
    """No value follows both forms, so that neither need be excluded."""
    schema["anyOf"] = schema.pop("oneOf")


Asked = Annotated[
    Annotated[Proposal, Tag("an assembly")] | Annotated[Cart, Tag("a cart")],
    Discriminator(_form),
    Field(json_schema_extra=_either),
]
"""An assembly, or a cart: the same with `lines` in place of items, and joints still to be found."""


@dataclass(frozen=True, slots=True)
class Judge:
    """A catalogue at one revision, and what it is judged by."""

    catalogue: Catalogue
    book: Book
    templates: Templates
    settings: Settings

    def report_on(self, asked: Question, place: str = "") -> Report | CartReport:
        """The report on an assembly or a cart.

        Args:
            asked: what to judge.
            place: pointer to it in the body that it came in.

        Raises:
            Problem: it is larger than the settings allow, or names what does not exist.
        """
        try:
            if isinstance(asked, Cart):
                return judged_cart(asked, self.catalogue, self.book, self.templates, self.settings)
            return judged(asked, self.catalogue, self.book, self.settings)
        except Problem as refused:
            raise invalid(
                [replace(fault, pointer=place + fault.pointer) for fault in refused.errors]
            ) from refused


async def _judge(request: Request) -> Judge:
    state = request.app.state
    return Judge(state.snapshot.current(), state.book, state.templates, state.settings)


async def _turns(request: Request) -> CapacityLimiter:
    turns: CapacityLimiter = request.app.state.turns
    return turns


def new_turns() -> CapacityLimiter:
    """Turns for the processors there are."""
    return CapacityLimiter((os.cpu_count() or 1) + 1)


JudgeOfApp = Annotated[Judge, Depends(_judge)]


Turns = Annotated[CapacityLimiter, Depends(_turns)]
"""How many searches run at once: as many as there are processors and one more.

More would only make each other slower, and all else with them. Who waits for a turn holds no
thread.
"""
