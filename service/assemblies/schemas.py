"""What the assembly endpoints take and give."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Final, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from rules.assembly import MOST_ITEMS
from rules.carts import CartReport
from rules.connections import Words, fault, writable
from rules.difference import ApplicationChanges
from rules.parts import AskedSku, Identifier, Model
from rules.report import Counts, Report, Severity, Verdict
from rules.signoff import Acceptance, Fingerprint, Reason, SignOff
from service.assemblies.tables import OWNER_LENGTH
from service.checks.judge import Asked
from service.paging import CursorText, Limit
from service.what_if.schemas import WHAT_IF_EXAMPLE, FuelAnswer, WhatIf

LONGEST_NOTES: Final = 4000
_LINE_ENDS: Final = str.maketrans({"\n": " ", "\t": " "})


def _writable_lines(text: str) -> str:
    """Refuse what `writable` refuses, but for the ends of lines and tabs."""
    lines = text.replace("\r\n", "\n")
    writable(lines.translate(_LINE_ENDS))
    return lines


Owner = Annotated[
    str,
    AfterValidator(writable),
    Field(min_length=1, max_length=OWNER_LENGTH, examples=["order-2026-00817"]),
]
Notes = Annotated[
    str, AfterValidator(_writable_lines), Field(min_length=1, max_length=LONGEST_NOTES)
]
_OF_OWNER: Final = "The calling system's own reference, such as an order or a customer."
_OF_NOTES: Final = "Anything worth remembering, on any number of lines."


class Draft(Model):
    """An assembly as a caller saves it."""

    name: Words = Field(
        description="What the assembly is called.", examples=["Turbo six, weekend car"]
    )
    owner: Owner | None = Field(default=None, description=_OF_OWNER)
    notes: Notes | None = Field(default=None, description=_OF_NOTES)
    request: Asked = Field(description="An assembly or a cart, as for a check.")


class Checked(Model):
    """What a check found when a version was saved, before any sign-off."""

    verdict: Verdict = Field(description="The verdict of that report.")
    counts: Counts = Field(description="Its findings by severity.")
    fingerprint: str = Field(
        description="Of the request, the book's version and the catalogue revision."
    )
    catalogue_revision: int = Field(
        description="The revision of the catalogue it was checked with.", examples=[17]
    )
    book_version: str = Field(description="The version of the rule book.", examples=["2026.11"])


class AssemblySummary(Model):
    """A saved assembly, or a version of it, without what it is made of."""

    id: str = Field(
        description="Its id, a UUID.", examples=["0197f3a0-6d3e-7c40-8a57-1f0d3a9b2c11"]
    )
    version: int = Field(description="Number of the version, from 1.", examples=[2])
    name: Words = Field(description="What the assembly is called.")
    owner: Owner | None = Field(default=None, description=_OF_OWNER)
    checked: Checked = Field(description="What the check found when this version was saved.")
    created_at: datetime = Field(description="When the assembly was first saved.")
    saved_at: datetime = Field(description="When this version was saved.")


class Assembly(AssemblySummary):
    """A saved assembly at one version."""

    notes: Notes | None = Field(default=None, description=_OF_NOTES)
    request: Asked = Field(description="An assembly or a cart, as for a check.")


class AssemblyList(BaseModel):
    """Which assemblies, and which page of them."""

    model_config = ConfigDict(extra="forbid")

    owner: Owner | None = Field(
        default=None, description="Only those with this owner reference, letter for letter."
    )
    sku: AskedSku | None = Field(
        default=None, description="Only those whose current version holds this component."
    )
    limit: Limit
    cursor: CursorText


class VersionList(BaseModel):
    """Which page of the versions."""

    model_config = ConfigDict(extra="forbid")

    limit: Limit
    cursor: CursorText


class AssemblyPage(Model):
    """A page of assemblies, or of versions of one."""

    items: tuple[AssemblySummary, ...] = Field(description="The assemblies or versions.")
    next_cursor: str | None = Field(
        description="The `cursor` of the next page; `null` on the last one."
    )
    catalogue_revision: int = Field(
        description="The revision of the catalogue that the page was read at.", examples=[17]
    )


class ToldFinding(Model):
    """A finding in short."""

    finding: Fingerprint
    rule: str = Field(description="Id of the rule.")
    severity: Severity = Field(description="How grave it is.")
    refs: tuple[str, ...] = Field(description="The items that it concerns.")
    message: str = Field(description="What is found.")


class AssemblyCheck(Model):
    """A version checked again, beside what was found when it was saved."""

    assembly: str = Field(description="Id of the assembly.")
    version: int = Field(description="The version that was checked.", examples=[2])
    checked: Checked = Field(description="What was found when it was saved.")
    stale: bool = Field(
        description=(
            "Whether the stored verdict was given with another catalogue or book, so that it says "
            "nothing about the present ones."
        )
    )
    appeared: tuple[ToldFinding, ...] = Field(description="Findings that it had not when saved.")
    vanished: tuple[ToldFinding, ...] = Field(description="Findings that it had when saved.")
    report: Report | CartReport = Field(
        description="The report as `POST /v1/checks` answers it now."
    )
    sign_offs: Acceptance = Field(description="What people have accepted, and what is left.")


class NewSignOff(Model):
    """A finding that a person accepts.

    It is named by its fingerprint, or by its rule and items where that names one finding alone.
    """

    finding: Fingerprint | None = Field(default=None, description="The finding's fingerprint.")
    rule: Identifier | None = Field(
        default=None, description="The finding's rule.", examples=["material-limited-in-fuel"]
    )
    refs: tuple[Identifier, ...] = Field(
        default=(),
        max_length=MOST_ITEMS,
        description="The items that the finding concerns, all of them.",
        examples=[["strainer"]],
    )
    name: Words = Field(description="Who accepts it.", examples=["J. Marsh, workshop"])
    reason: Reason

    @model_validator(mode="after")
    def _named_once(self) -> Self:
        if (self.finding is None) == (self.rule is None) or (self.finding and self.refs):
            raise fault(
                "A finding is named by its `finding`, or by its `rule` and `refs`, not by both.",
                "the fingerprint as `finding`, or `rule` with `refs`",
                ("finding",),
            )
        return self


class SignOffs(Model):
    """All sign-offs of an assembly."""

    items: tuple[SignOff, ...] = Field(description="The sign-offs in the order they were made.")


class AssemblyChanges(Model):
    """What to change in a saved assembly's application."""

    changes: ApplicationChanges = Field(description="What becomes different.")


class AssemblyWhatIf(WhatIf):
    """A saved assembly in another application."""

    assembly: str = Field(description="Id of the assembly.")
    version: int = Field(description="The version that was asked about.", examples=[2])
    sign_offs_before: Acceptance = Field(description="What people have accepted as it is.")
    sign_offs_after: Acceptance = Field(
        description="What of that would stand: facts that change take their sign-off with them."
    )


class AssemblyFuelChange(FuelAnswer):
    """What a saved assembly needs to run another fuel."""

    assembly: str = Field(description="Id of the assembly.")
    version: int = Field(description="The version that was asked about.", examples=[2])
    sign_offs_before: Acceptance = Field(description="What people have accepted as it is.")
    sign_offs_after: Acceptance = Field(
        description="What of that would stand: facts that change take their sign-off with them."
    )


_REQUEST_EXAMPLE: Final[dict[str, Any]] = {
    "application": {"fuel": "E10", "circuit": "return", "base_pressure": "3 bar"},
    "items": [
        {"ref": "rail", "sku": "HF-RAIL-I6"},
        {"ref": "tube", "sku": "HF-HSE-6-LONG", "length": "3.1 m"},
    ],
    "joints": [["tube.b", "rail.inlet"]],
}
DRAFT_EXAMPLE: Final[dict[str, Any]] = {
    "name": "Turbo six, weekend car",
    "owner": "order-2026-00817",
    "notes": "Customer fits it himself.",
    "request": _REQUEST_EXAMPLE,
}
_CHECKED_EXAMPLE: Final[dict[str, Any]] = {
    "verdict": "fits-with-cautions",
    "counts": {"error": 0, "warning": 1, "note": 0, "unknown": 0},
    "fingerprint": "b2f1" * 16,
    "catalogue_revision": 17,
    "book_version": "2026.11",
}
SUMMARY_EXAMPLE: Final[dict[str, Any]] = {
    "id": "0197f3a0-6d3e-7c40-8a57-1f0d3a9b2c11",
    "version": 1,
    "name": DRAFT_EXAMPLE["name"],
    "owner": DRAFT_EXAMPLE["owner"],
    "checked": _CHECKED_EXAMPLE,
    "created_at": "2026-03-04T12:30:00Z",
    "saved_at": "2026-03-04T12:30:00Z",
}
EXAMPLE: Final[dict[str, Any]] = {
    **SUMMARY_EXAMPLE,
    "notes": DRAFT_EXAMPLE["notes"],
    "request": _REQUEST_EXAMPLE,
}
PAGE_EXAMPLE: Final[dict[str, Any]] = {
    "items": [SUMMARY_EXAMPLE],
    "next_cursor": None,
    "catalogue_revision": 17,
}
NEW_SIGN_OFF_EXAMPLE: Final[dict[str, Any]] = {
    "rule": "material-limited-in-fuel",
    "refs": ["strainer"],
    "name": "J. Marsh, workshop",
    "reason": "The mesh is renewed at every service.",
}
SIGN_OFF_EXAMPLE: Final[dict[str, Any]] = {
    "id": "0197f3a1-0a52-7b6e-9f0c-2d4e6f8a1b3c",
    "finding": "5f0c2f6f6b1d4f4b9f6f2b8a3c1d0e9a",
    "rule": "material-limited-in-fuel",
    "refs": ["strainer"],
    "severity": "warning",
    "message": "The mesh of strainer, nylon PA11/PA12, stands E85 only for a time.",
    "name": "J. Marsh, workshop",
    "reason": "The mesh is renewed at every service.",
    "signed_at": "2026-03-05T08:10:00Z",
}
CHANGES_EXAMPLE: Final[dict[str, Any]] = {"changes": WHAT_IF_EXAMPLE["changes"]}
