"""Studios, keys, tickets, counts of requests, and who changed what."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """All but `audit` stay empty in the records of a studio: they are the house's."""
    op.create_table(
        "studios",
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("id", sa.Uuid, nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_studios"),
        sa.UniqueConstraint("id", name="uq_studios_id"),
    )
    op.create_table(
        "api_keys",
        sa.Column("id", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("studio", sa.Text),
        sa.Column("scope", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sa.Column("peppered", sa.Boolean, nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.Column("expires_s", sa.Double),
        sa.Column("revoked_s", sa.Double),
        sa.Column("last_used_day", sa.Date),
        sa.PrimaryKeyConstraint("id", name="pk_api_keys"),
        sa.UniqueConstraint("hash", name="uq_api_keys_hash"),
        sa.ForeignKeyConstraint(["studio"], ["studios.name"], name="fk_api_keys_studio", ondelete="RESTRICT"),
        sa.CheckConstraint("scope IN ('read', 'run', 'manage')", name=op.f("ck_api_keys_scope")),
    )
    op.create_index("ix_api_keys_studio_created_s", "api_keys", ["studio", "created_s"])
    op.create_table(
        "feed_owners",
        sa.Column("token_hash", sa.Text, nullable=False),
        sa.Column("studio", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("token_hash", name="pk_feed_owners"),
        sa.ForeignKeyConstraint(
            ["studio"], ["studios.name"], name="fk_feed_owners_studio", ondelete="RESTRICT"
        ),
    )
    op.create_table(
        "tickets",
        sa.Column("hash", sa.Text, nullable=False),
        sa.Column("key_id", sa.Text),
        sa.Column("expires_s", sa.Double, nullable=False),
        sa.PrimaryKeyConstraint("hash", name="pk_tickets"),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name="fk_tickets_key_id", ondelete="CASCADE"),
    )
    op.create_index("ix_tickets_expires_s", "tickets", ["expires_s"])
    op.create_table(
        "rate_windows",
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("starts_s", sa.Double, nullable=False),
        sa.Column("taken", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("who", "starts_s", name="pk_rate_windows"),
    )
    op.create_index("ix_rate_windows_starts_s", "rate_windows", ["starts_s"])
    op.create_table(
        "audit",
        sa.Column("sequence", sa.Integer, nullable=False, autoincrement=True),
        sa.Column("at_s", sa.Double, nullable=False),
        sa.Column("key_id", sa.Text),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("method", sa.Text, nullable=False),
        sa.Column("route", sa.Text, nullable=False),
        sa.Column("record", sa.Text),
        sa.Column("request_id", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("sequence", name="pk_audit"),
    )


def downgrade() -> None:
    """Drop them; every key stops working, and the records of other studios can no longer be reached."""
    for table in ("audit", "rate_windows", "tickets", "feed_owners", "api_keys", "studios"):
        op.drop_table(table)
