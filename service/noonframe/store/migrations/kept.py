"""The pair of tables of records that keep their versions, for migrations to make.

Migrations that were published rest on it: it may only gain, never change what it makes.
"""

from typing import Any

import sqlalchemy as sa
from alembic import op


def create_named(what: str, plural: str, *more: sa.Column[Any]) -> None:
    """Tables for records with a name that is theirs alone while they live, and `more` columns."""
    op.create_table(
        plural,
        sa.Column("id", sa.Uuid, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.Column("retired", sa.Boolean, nullable=False),
        sa.Column("living_name", sa.Text),
        *more,
        sa.PrimaryKeyConstraint("id", name=f"pk_{plural}"),
        sa.UniqueConstraint("living_name", name=f"uq_{plural}_living_name"),
    )
    op.create_index(f"ix_{plural}_created_s_id", plural, ["created_s", "id"])
    owner = f"{what}_id"
    op.create_table(
        f"{what}_versions",
        sa.Column(owner, sa.Uuid, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("saved_s", sa.Double, nullable=False),
        sa.Column("retired", sa.Boolean, nullable=False),
        sa.Column("fields", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint(owner, "version", name=f"pk_{what}_versions"),
        sa.ForeignKeyConstraint(
            [owner], [f"{plural}.id"], name=f"fk_{what}_versions_{owner}", ondelete="RESTRICT"
        ),
    )


def drop_named(what: str, plural: str) -> None:
    """Drop both tables."""
    op.drop_table(f"{what}_versions")
    op.drop_table(plural)
