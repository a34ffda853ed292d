"""`POST /v1/readings`: what a text of the trade means, and what it leaves open."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Body
from pydantic import BaseModel, ConfigDict, Field, JsonValue

from rules.reading import Certainty, ReadingKind, read
from service.problems import problem_responses

LONGEST_TEXT: Final = 1000
EXAMPLE: Final[dict[str, Any]] = {"kind": "connection", "text": "-6 AN"}

router = APIRouter(prefix="/v1/readings", tags=["readings"])


class TextToRead(BaseModel):
    """A text, and what it is meant to name."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        json_schema_extra={"examples": [EXAMPLE]},
    )

    kind: ReadingKind = Field(description="What the text is meant to name.")
    text: str = Field(max_length=LONGEST_TEXT, description="The text as it was written.")


class ReadingOption(BaseModel):
    """One thing that the text can mean."""

    model_config = ConfigDict(frozen=True)

    canonical: JsonValue = Field(
        description="The meaning in the service's own words.",
        examples=[{"system": "flare-37", "size": "-6", "gender": "male"}],
    )
    label: str = Field(description="The same in plain words.")


class ReadingAnswer(BaseModel):
    """What a text means."""

    model_config = ConfigDict(frozen=True)

    certainty: Certainty = Field(
        description=(
            "`certain`: one meaning. `partial`: part of it is certain. `ambiguous`: several "
            "meanings, none chosen. `unreadable`: nothing could be made of it."
        )
    )
    canonical: JsonValue = Field(
        description="The meaning, with `null` where it is open; `null` where nothing is certain."
    )
    readings: tuple[ReadingOption, ...] = Field(description="Everything it can mean.")
    question: str | None = Field(
        description="The one question that settles it; `null` where it is certain."
    )
    unknown: tuple[str, ...] = Field(description="What the text leaves open.")


@router.post(
    "",
    operation_id="read_text",
    summary="Read a text as the trade writes it",
    responses=problem_responses("invalid-request"),
)
async def read_text(
    given: Annotated[TextToRead, Body(description="The text and what it is meant to name.")],
) -> ReadingAnswer:
    """What a connection, size, material, fuel, quantity or the like means; nothing is guessed.

    For cleaning data: an ambiguous text comes back with all its readings and the one question that
    settles it.
    """
    return answer(given)


def answer(given: TextToRead) -> ReadingAnswer:
    """What a text means."""
    return ReadingAnswer.model_validate(read(given.kind, given.text).as_json())
