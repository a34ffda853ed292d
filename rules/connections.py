"""A connection: the published standard, the size and which half of the joint."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from rules.reading import UnclearConnection, connection_or_fault
from rules.vocabulary import Gender, System

LONGEST_WORD = 200


def writable(text: str) -> str:
    """Refuse what cannot be stored or printed: lone surrogates and control characters."""
    if any(0xD800 <= ord(c) <= 0xDFFF for c in text):
        raise PydanticCustomError(
            "text",
            "{reason}",
            {"reason": "The text holds half a surrogate pair.", "expected": "valid Unicode text"},
        )
    if any(ord(c) < 32 or ord(c) == 127 for c in text):
        raise PydanticCustomError(
            "text",
            "{reason}",
            {
                "reason": "The text holds a control character.",
                "expected": "text on one line, without tabs or control characters",
            },
        )
    return text.strip()


Words = Annotated[str, AfterValidator(writable), Field(min_length=1, max_length=LONGEST_WORD)]
"""A short text of one line."""


class Connection(BaseModel):
    """How a port joins: system, size and gender. `null` is *not recorded*, never a default."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    system: System = Field(description="The standard the port is made to.")
    size: Annotated[str, AfterValidator(writable), Field(min_length=1, max_length=40)] | None = (
        Field(
            default=None,
            description=(
                "The size as the standard writes it: `-6`, `3/8`, `M14x1.5`, `8 mm`. "
                "`null` where nobody recorded it."
            ),
            examples=["-6"],
        )
    )
    gender: Gender | None = Field(
        default=None, description="Which half of the joint; `null` where nobody recorded it."
    )

    @model_validator(mode="before")
    @classmethod
    def _from_text(cls, given: Any) -> Any:
        """Take text as the trade writes it, where it leaves nothing open."""
        if not isinstance(given, str):
            return given
        try:
            system, size, gender = connection_or_fault(given)
        except UnclearConnection as fault:
            raise PydanticCustomError(
                "connection", "{reason}", {"reason": fault.reason, "expected": fault.expected}
            ) from fault
        return {"system": system, "size": size, "gender": gender}
