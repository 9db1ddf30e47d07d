"""Sessions with their plans, and private calendar feeds."""

import sqlalchemy as sa
from alembic import op

from noonframe.store.migrations.kept import create_named, drop_named

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Sessions by date, and feeds by the hash of their token."""
    create_named(
        "session",
        "sessions",
        sa.Column("starts_s", sa.Double, nullable=False),
        sa.Column("ends_s", sa.Double, nullable=False),
    )
    op.create_index("ix_sessions_starts_s_id", "sessions", ["starts_s", "id"])
    op.create_table(
        "feeds",
        sa.Column("id", sa.Uuid, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("token_hash", sa.Text, nullable=False),
        sa.Column("what", sa.JSON, nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.Column("revoked_s", sa.Double),
        sa.Column("last_used_day", sa.Date),
        sa.PrimaryKeyConstraint("id", name="pk_feeds"),
        sa.UniqueConstraint("token_hash", name="uq_feeds_token_hash"),
    )
    op.create_index("ix_feeds_created_s_id", "feeds", ["created_s", "id"])


def downgrade() -> None:
    """Drop them; the addresses of feeds stop working for good."""
    op.drop_table("feeds")
    drop_named("session", "sessions")
