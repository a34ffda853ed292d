"""The tables of vehicles."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, ForeignKey, Index, String, Table, Text

from service.catalogue.tables import SKU_LENGTH, WORD_LENGTH
from service.database import METADATA, UtcDateTime, exact_text

vehicles = Table(
    "vehicles",
    METADATA,
    Column("id", exact_text(WORD_LENGTH), primary_key=True),
    # As for components: the catalogue revision that wrote the row last.
    Column("version", BigInteger, nullable=False),
    Column("name", String(200), nullable=False),
    Column("document", Text, nullable=False),
    Column("created_at", UtcDateTime, nullable=False),
    Column("updated_at", UtcDateTime, nullable=False),
    Index(None, "version", "id"),
)

vehicle_parts = Table(
    "vehicle_parts",
    METADATA,
    Column(
        "vehicle",
        exact_text(WORD_LENGTH),
        ForeignKey("vehicles.id", ondelete="CASCADE"),
        primary_key=True,
    ),
    Column("ref", exact_text(WORD_LENGTH), primary_key=True),
    Column("sku", exact_text(SKU_LENGTH), ForeignKey("components.sku"), nullable=False),
    Index(None, "sku"),
)
"""Components of the catalogue that a vehicle brings."""
