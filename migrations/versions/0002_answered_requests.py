"""Answers of requests that came with an idempotency key.

Revision: 0002
Follows: 0001
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def exact_text(length: int) -> sa.String:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "answered_requests",
        sa.Column("operation", exact_text(64), primary_key=True),
        sa.Column("key", exact_text(255), primary_key=True),
        sa.Column("payload_hash", exact_text(64), nullable=False),
        sa.Column("status", sa.Integer, nullable=False),
        sa.Column("headers", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_index(None, "answered_requests", ["answered_at"])


def downgrade() -> None:
    op.drop_table("answered_requests")
