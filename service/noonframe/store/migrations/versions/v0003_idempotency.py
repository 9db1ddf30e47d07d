"""Answers already given."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """One record for each key on a route."""
    op.create_table(
        "idempotency_records",
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("route", sa.Text, nullable=False),
        sa.Column("payload_hash", sa.Text, nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.Column("expires_s", sa.Double, nullable=False),
        sa.Column("holder", sa.Uuid, nullable=False),
        sa.Column("held_until_s", sa.Double, nullable=False),
        sa.Column("status_code", sa.Integer),
        sa.Column("content_type", sa.Text),
        sa.Column("body", sa.LargeBinary),
        sa.PrimaryKeyConstraint("key", "route", name="pk_idempotency_records"),
    )
    op.create_index("ix_idempotency_records_expires_s", "idempotency_records", ["expires_s"])


def downgrade() -> None:
    """Forget the answers; a repeated request would act again."""
    op.drop_table("idempotency_records")
