"""The weather cache."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Answers, pauses and leases."""
    op.create_table(
        "weather_answers",
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("status", sa.Integer, nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
        sa.Column("etag", sa.Text),
        sa.Column("last_modified", sa.Text),
        sa.Column("expires_s", sa.Double, nullable=False),
        sa.Column("fetched_s", sa.Double, nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_weather_answers"),
    )
    op.create_index("ix_weather_answers_fetched_s", "weather_answers", ["fetched_s"])
    op.create_table(
        "weather_pauses",
        sa.Column("scope", sa.Text, nullable=False),
        sa.Column("until_s", sa.Double, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("failures", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("scope", name="pk_weather_pauses"),
    )
    op.create_table(
        "weather_leases",
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("holder", sa.Text, nullable=False),
        sa.Column("until_s", sa.Double, nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_weather_leases"),
    )


def downgrade() -> None:
    """Forget the weather; it can be fetched again."""
    op.drop_table("weather_leases")
    op.drop_table("weather_pauses")
    op.drop_table("weather_answers")
