"""A connection: the published standard, the size and which half of the joint."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Any, Final, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from rules.quantities import plain_text
from rules.reading import UnclearConnection, connection_or_fault
from rules.reference import reference
from rules.vocabulary import Gender, System

LONGEST_WORD = 200


def fault(reason: str, expected: str, at: tuple[str | int, ...] = ()) -> PydanticCustomError:
    """A validation fault that says what is wrong and what would be right.

    Args:
        reason: what is wrong.
        expected: what would be right.
        at: the member at fault, by the names of the edge, inside the value that is being validated.
    """
    return PydanticCustomError(
        "shape", "{reason}", {"reason": reason, "expected": expected, "at": at}
    )


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

    @model_validator(mode="after")
    def _of_its_system(self) -> Self:
        if self.gender in _BOLTED and self.system not in _WITH_BOLTS:
            raise fault(
                f"A `{self.gender}` is half of no `{self.system}` joint.",
                "`male` or `female`",
                ("gender",),
            )
        if self.size is not None and not _is_size(self.system, plain_text(self.size)):
            known = reference().sizes(self.system)
            listed = ", ".join(f"`{size}`" for size in known) or _UNTABLED
            raise fault(
                f"`{self.size}` is no size of `{self.system}`, which goes by its "
                f"{reference().systems[self.system].sized_by}.",
                f"a size written as {listed}",
                ("size",),
            )
        return self


_BOLTED: Final = ("bolt", "ring")
_WITH_BOLTS: Final = ("banjo", "flange")

_UNTABLED: Final = "`3/8`, `8 mm` or `7.89 mm`"
_DASH: Final = re.compile(r"-\d{1,2}")
_BARE: Final = re.compile(r"-?\d+(?:[.,]\d+)?")
_INCHES: Final = re.compile(r"[1-4]|(?:[1-4] )?\d{1,2}/\d{1,2}")
_METRIC_THREAD: Final = re.compile(r"M\d{1,3}(?:\.\d)?x\d(?:\.\d{1,2})?")
_FORMS: Final[Mapping[System, re.Pattern[str]]] = {
    **dict.fromkeys(("flare-37", "flare-45", "orb", "orfs"), _DASH),
    **dict.fromkeys(("npt", "nptf", "nps", "bspp", "bspt", "inverted-flare"), _INCHES),
    **dict.fromkeys(("iso-6149", "metric-flat"), _METRIC_THREAD),
}
"""How the sizes of a system are written, those outside the tables included."""

_NAMED: Final = ("flange", "spring-lock")
"""Systems whose sizes are names."""


def _is_size(system: System, size: str) -> bool:
    """Whether a size has the form of its system: `6` and `-6` are two things."""
    if (form := _FORMS.get(system)) is not None:
        return form.fullmatch(size) is not None
    if system in ("hose-end", "dry-break") and _DASH.fullmatch(size):
        return True
    return system in _NAMED or _BARE.fullmatch(size) is None
