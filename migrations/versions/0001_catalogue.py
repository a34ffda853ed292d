"""The catalogue: components, vehicles and the revision that each write raises.

Revision: 0001
Follows: none
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def exact_text(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def owner() -> sa.Column[str]:
    return sa.Column(
        "sku",
        exact_text(64),
        sa.ForeignKey("components.sku", ondelete="CASCADE"),
        primary_key=True,
    )


def upgrade() -> None:
    revision_table = op.create_table(
        "catalogue_revision",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("revision", sa.BigInteger, nullable=False),
        sa.CheckConstraint("id = 1", name="single_row"),
    )
    op.bulk_insert(revision_table, [{"id": 1, "revision": 0}])
    op.create_table(
        "components",
        sa.Column("sku", exact_text(64), primary_key=True),
        sa.Column("lookup_key", exact_text(64), nullable=False),
        sa.Column("version", sa.BigInteger, nullable=False),
        sa.Column("kind", exact_text(64), nullable=False),
        sa.Column("lifecycle", exact_text(64), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("search_text", sa.Text, nullable=False),
        sa.Column("wetted_recorded", sa.Boolean, nullable=False),
        sa.Column("document", sa.Text, nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.UniqueConstraint("lookup_key"),
    )
    op.create_index(None, "components", ["kind", "sku"])
    op.create_index(None, "components", ["version", "sku"])
    op.create_table(
        "component_ports",
        owner(),
        sa.Column("port", exact_text(64), primary_key=True),
        sa.Column("system", exact_text(64), nullable=False),
        sa.Column("size", exact_text(64)),
        sa.Column("gender", exact_text(64)),
    )
    op.create_index(None, "component_ports", ["system", "size", "gender"])
    op.create_table(
        "component_materials",
        owner(),
        sa.Column("place", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("material", exact_text(64)),
    )
    op.create_index(None, "component_materials", ["material"])
    op.create_table(
        "component_fuels",
        owner(),
        sa.Column("fuel", exact_text(64), primary_key=True),
        sa.Column("stance", exact_text(64), primary_key=True),
    )
    op.create_index(None, "component_fuels", ["fuel", "stance"])
    op.create_table(
        "component_references",
        owner(),
        sa.Column("place", exact_text(64), primary_key=True),
        sa.Column(
            "target",
            exact_text(64),
            sa.ForeignKey("components.sku", deferrable=True, initially="DEFERRED"),
            nullable=False,
        ),
    )
    op.create_index(None, "component_references", ["target"])
    op.create_table(
        "vehicles",
        sa.Column("id", exact_text(64), primary_key=True),
        sa.Column("version", sa.BigInteger, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("document", sa.Text, nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_index(None, "vehicles", ["version", "id"])
    op.create_table(
        "vehicle_parts",
        sa.Column(
            "vehicle",
            exact_text(64),
            sa.ForeignKey("vehicles.id", ondelete="CASCADE"),
            primary_key=True,
        ),
        sa.Column("ref", exact_text(64), primary_key=True),
        sa.Column("sku", exact_text(64), sa.ForeignKey("components.sku"), nullable=False),
    )
    op.create_index(None, "vehicle_parts", ["sku"])


def downgrade() -> None:
    for table in (
        "vehicle_parts",
        "vehicles",
        "component_references",
        "component_fuels",
        "component_materials",
        "component_ports",
        "components",
        "catalogue_revision",
    ):
        op.drop_table(table)
