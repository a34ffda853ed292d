"""The tables of saved assemblies.

A version is kept whole, as the JSON document that was saved, and is never written again. Beside the
current version stands what it uses, so that the catalogue cannot lose it.
"""

from __future__ import annotations

from typing import Final

from sqlalchemy import BigInteger, Column, ForeignKey, Index, Integer, String, Table, Text

from service.catalogue.tables import SKU_LENGTH, WORD_LENGTH
from service.database import METADATA, UtcDateTime, exact_text

ID_LENGTH: Final = 36
OWNER_LENGTH: Final = 200

assemblies = Table(
    "assemblies",
    METADATA,
    # A UUID of version 7: in order of creation, and never given twice.
    Column("id", exact_text(ID_LENGTH), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("owner", exact_text(OWNER_LENGTH)),
    Column("vehicle", exact_text(WORD_LENGTH), ForeignKey("vehicles.id")),
    Column("created_at", UtcDateTime, nullable=False),
    Index(None, "owner", "id"),
    Index(None, "vehicle"),
)


def _assembly() -> Column[str]:
    return Column(
        "assembly",
        exact_text(ID_LENGTH),
        ForeignKey("assemblies.id", ondelete="CASCADE"),
        primary_key=True,
    )


assembly_versions = Table(
    "assembly_versions",
    METADATA,
    _assembly(),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("name", String(200), nullable=False),
    Column("owner", exact_text(OWNER_LENGTH)),
    Column("document", Text, nullable=False),
    Column("saved_at", UtcDateTime, nullable=False),
    # What the check found when it was saved.
    Column("verdict", exact_text(WORD_LENGTH), nullable=False),
    Column("counts", Text, nullable=False),
    Column("findings", Text, nullable=False),
    Column("fingerprint", exact_text(64), nullable=False),
    Column("catalogue_revision", BigInteger, nullable=False),
    Column("book_version", String(200), nullable=False),
)

assembly_parts = Table(
    "assembly_parts",
    METADATA,
    _assembly(),
    Column("ref", exact_text(WORD_LENGTH), primary_key=True),
    Column("sku", exact_text(SKU_LENGTH), ForeignKey("components.sku"), nullable=False),
    Index(None, "sku"),
)
"""Components of the catalogue in the current version of an assembly."""

sign_offs = Table(
    "sign_offs",
    METADATA,
    Column("id", exact_text(ID_LENGTH), primary_key=True),
    Column(
        "assembly",
        exact_text(ID_LENGTH),
        ForeignKey("assemblies.id", ondelete="CASCADE"),
        nullable=False,
    ),
    Column("document", Text, nullable=False),
    Index(None, "assembly", "id"),
)
"""What people have accepted, each as the JSON document of a `rules.signoff.SignOff`."""
