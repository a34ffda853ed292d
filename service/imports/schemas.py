"""What the import endpoints take and give."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from service.catalogue.service import Mode
from service.imports.columns import DecimalMark


class ImportOptions(BaseModel):
    """How the file is taken."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    mode: Mode = Field(
        default="create",
        description=(
            "`create` refuses a SKU that exists; `upsert` puts the component of the file in place "
            "of it."
        ),
    )
    dry_run: bool = Field(
        default=False, description="Only say what would happen; nothing is stored."
    )
    decimal: DecimalMark | None = Field(
        default=None,
        description=(
            "The decimal mark of a CSV file. Declared, it settles what `1,000` is; otherwise a "
            "number with two readings is refused."
        ),
    )


class ImportNote(BaseModel):
    """Something that a person should look at, though it is no fault."""

    model_config = ConfigDict(frozen=True)

    line: int = Field(description="The line of the file.", examples=[14])
    sku: str = Field(description="The component.", examples=["17"])
    detail: str = Field(
        description="What to look at.",
        examples=["`17` and `0017` differ in zeros only; they are kept as two part numbers."],
    )


class ImportResult(BaseModel):
    """What an import did, or would do."""

    model_config = ConfigDict(frozen=True)

    dry_run: bool = Field(description="Whether nothing was stored.")
    mode: Mode = Field(description="What was done with SKUs that exist.")
    components: int = Field(description="Components in the file.", examples=[120])
    created: int = Field(description="Components that were new.", examples=[118])
    replaced: int = Field(description="Components put in place of stored ones.", examples=[1])
    unchanged: int = Field(
        description="Components that are stored already just as they are in the file.",
        examples=[1],
    )
    catalogue_revision: int = Field(
        description="The revision of the catalogue after the import.", examples=[18]
    )
    notes: tuple[ImportNote, ...] = Field(
        description="What a person should look at, though it is no fault."
    )
