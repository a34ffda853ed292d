"""Saved assemblies with their versions, what they use, and what people have signed off.

Revision: 0003
Follows: 0002
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def exact_text(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def assembly() -> sa.Column[str]:
    return sa.Column(
        "assembly",
        exact_text(36),
        sa.ForeignKey("assemblies.id", ondelete="CASCADE"),
        primary_key=True,
    )


def upgrade() -> None:
    op.create_table(
        "assemblies",
        sa.Column("id", exact_text(36), primary_key=True),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("owner", exact_text(200)),
        sa.Column("vehicle", exact_text(64), sa.ForeignKey("vehicles.id")),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_index(None, "assemblies", ["owner", "id"])
    op.create_index(None, "assemblies", ["vehicle"])
    op.create_table(
        "assembly_versions",
        assembly(),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("owner", exact_text(200)),
        sa.Column("document", sa.Text, nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("verdict", exact_text(64), nullable=False),
        sa.Column("counts", sa.Text, nullable=False),
        sa.Column("findings", sa.Text, nullable=False),
        sa.Column("fingerprint", exact_text(64), nullable=False),
        sa.Column("catalogue_revision", sa.BigInteger, nullable=False),
        sa.Column("book_version", sa.String(200), nullable=False),
    )
    op.create_table(
        "assembly_parts",
        assembly(),
        sa.Column("ref", exact_text(64), primary_key=True),
        sa.Column("sku", exact_text(64), sa.ForeignKey("components.sku"), nullable=False),
    )
    op.create_index(None, "assembly_parts", ["sku"])
    op.create_table(
        "sign_offs",
        sa.Column("id", exact_text(36), primary_key=True),
        sa.Column(
            "assembly",
            exact_text(36),
            sa.ForeignKey("assemblies.id", ondelete="CASCADE"),
            nullable=False,
        ),
        sa.Column("document", sa.Text, nullable=False),
    )
    op.create_index(None, "sign_offs", ["assembly", "id"])


def downgrade() -> None:
    for table in ("sign_offs", "assembly_parts", "assembly_versions", "assemblies"):
        op.drop_table(table)
