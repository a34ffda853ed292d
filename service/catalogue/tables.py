"""The tables of components.

A component is kept whole, as the JSON document of its edge form; the other columns and tables are
what the service searches and guards by, and are written together with the document.
"""

from __future__ import annotations

from typing import Final

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from service.database import METADATA, UtcDateTime, exact_text

SKU_LENGTH: Final = 64
WORD_LENGTH: Final = 64

components = Table(
    "components",
    METADATA,
    Column("sku", exact_text(SKU_LENGTH), primary_key=True),
    # Look-alike spellings of one part number are one part number: the second is refused.
    Column("lookup_key", exact_text(SKU_LENGTH), nullable=False),
    # The catalogue revision that wrote the row last: it never returns, not even when a component
    # is deleted and created again, so it can stand in an ETag.
    Column("version", BigInteger, nullable=False),
    Column("kind", exact_text(WORD_LENGTH), nullable=False),
    Column("lifecycle", exact_text(WORD_LENGTH), nullable=False),
    Column("name", String(200), nullable=False),
    Column("search_text", Text, nullable=False),
    Column("wetted_recorded", Boolean(create_constraint=False), nullable=False),
    Column("document", Text, nullable=False),
    Column("created_at", UtcDateTime, nullable=False),
    Column("updated_at", UtcDateTime, nullable=False),
    UniqueConstraint("lookup_key"),
    Index(None, "kind", "sku"),
    Index(None, "version", "sku"),
)


def _owner() -> Column[str]:
    return Column(
        "sku",
        exact_text(SKU_LENGTH),
        ForeignKey("components.sku", ondelete="CASCADE"),
        primary_key=True,
    )


component_ports = Table(
    "component_ports",
    METADATA,
    _owner(),
    Column("port", exact_text(WORD_LENGTH), primary_key=True),
    Column("system", exact_text(WORD_LENGTH), nullable=False),
    Column("size", exact_text(WORD_LENGTH)),
    Column("gender", exact_text(WORD_LENGTH)),
    Index(None, "system", "size", "gender"),
)
"""Ports whose connection is recorded."""

component_materials = Table(
    "component_materials",
    METADATA,
    _owner(),
    Column("place", Integer, primary_key=True, autoincrement=False),
    Column("material", exact_text(WORD_LENGTH)),
    Index(None, "material"),
)
"""Wetted pieces and the seals that come with the part; null where nobody recorded the material."""

component_fuels = Table(
    "component_fuels",
    METADATA,
    _owner(),
    Column("fuel", exact_text(WORD_LENGTH), primary_key=True),
    Column("stance", exact_text(WORD_LENGTH), primary_key=True),
    Index(None, "fuel", "stance"),
)
"""Fuels that the maker approves (stance `approved`) or rules out (`excluded`)."""

component_references = Table(
    "component_references",
    METADATA,
    _owner(),
    Column("place", exact_text(WORD_LENGTH), primary_key=True),
    # Deferred, so that parts that name each other may come in one import in any order.
    Column(
        "target",
        exact_text(SKU_LENGTH),
        ForeignKey("components.sku", deferrable=True, initially="DEFERRED"),
        nullable=False,
    ),
    Index(None, "target"),
)
"""Components that a component names: its successor, and what it needs."""
