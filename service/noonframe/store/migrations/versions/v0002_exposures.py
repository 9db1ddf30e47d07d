"""Exposures and their events."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """The exposure and the list of its events."""
    op.create_table(
        "exposures",
        sa.Column("id", sa.Uuid, nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("scene", sa.JSON, nullable=False),
        sa.Column("target_j_m2", sa.Double, nullable=False),
        sa.Column("status", sa.Text, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("last_sequence", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_exposures"),
        sa.CheckConstraint(
            "status IN ('running', 'covered', 'finished', 'discarded')", name=op.f("ck_exposures_status")
        ),
    )
    op.create_index("ix_exposures_created_s_id", "exposures", ["created_s", "id"])
    op.create_table(
        "exposure_events",
        sa.Column("exposure_id", sa.Uuid, nullable=False),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("event_id", sa.Uuid, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("at_s", sa.Double, nullable=False),
        sa.Column("received_s", sa.Double, nullable=False),
        sa.Column("payload", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint("exposure_id", "sequence", name="pk_exposure_events"),
        sa.UniqueConstraint("event_id", name="uq_exposure_events_event_id"),
        sa.ForeignKeyConstraint(
            ["exposure_id"], ["exposures.id"], name="fk_exposure_events_exposure_id", ondelete="RESTRICT"
        ),
    )


def downgrade() -> None:
    """Drop every exposure."""
    op.drop_table("exposure_events")
    op.drop_table("exposures")
