"""What all answers from the reference tables share."""

from __future__ import annotations

from collections.abc import Iterable

from pydantic import BaseModel, ConfigDict, Field

from rules.vocabulary import Confidence
from service.faults import nearest
from service.problems import Problem, problem, rendering


class Shown(BaseModel):
    """An answer from the tables."""

    model_config = ConfigDict(frozen=True)


class Sourced(Shown):
    """A fact with where it comes from."""

    sources: tuple[str, ...] = Field(description="Titles of the sources of this fact.")
    confidence: Confidence = Field(description="How well the fact is known.")


class Quantity(Shown):
    """A value with its unit."""

    value: float = Field(description="The number.", examples=[14.29])
    unit: str = Field(description="Its unit.", examples=["mm"])


class PropertyValue(Quantity):
    """A computed value with how far the truth may lie from it."""

    least: float = Field(description="The lowest it may be, in the same unit.", examples=[735.0])
    most: float = Field(description="The highest it may be, in the same unit.", examples=[790.0])
    basis: str = Field(description="What that rests on.")


def not_known(what: str, asked: str, known: Iterable[str]) -> Problem:
    """The problem of an id that the tables do not hold; near ones are named."""
    near = nearest(asked, list(known), most=3)
    hint = f" Did you mean {' or '.join(f'`{each}`' for each in near)}?" if near else ""
    return problem("not-found", f"There is no {what} `{rendering(asked)}` in the tables.{hint}")
