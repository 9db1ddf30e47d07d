"""The cloud that an exposure was followed under."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """One record for each exposure that was followed under a forecast."""
    op.create_table(
        "exposure_light",
        sa.Column("exposure_id", sa.Uuid, nullable=False),
        sa.Column("kept_s", sa.Double, nullable=False),
        sa.Column("course", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint("exposure_id", name="pk_exposure_light"),
        sa.ForeignKeyConstraint(
            ["exposure_id"], ["exposures.id"], name="fk_exposure_light_exposure_id", ondelete="RESTRICT"
        ),
    )


def downgrade() -> None:
    """Forget the cloud; ended exposures are then followed under the sky they were asked with."""
    op.drop_table("exposure_light")
