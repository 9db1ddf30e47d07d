"""The printer's bench: recipes, spots, places, prints, and what was learned of targets."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

_NAMED = (("recipe", "recipes"), ("spot", "spots"), ("place", "places"))


def upgrade() -> None:
    """Records with all their versions, and the evidence."""
    for what, plural in _NAMED:
        _create_heads(
            plural,
            sa.Column("living_name", sa.Text),
            sa.UniqueConstraint("living_name", name=f"uq_{plural}_living_name"),
        )
        _create_versions(what, plural)
    _create_heads(
        "prints",
        sa.Column("made_at_s", sa.Double, nullable=False),
        sa.Column("recipe_id", sa.Uuid, nullable=False),
        sa.Column("recipe_version", sa.Integer, nullable=False),
        sa.Column("exposure_id", sa.Uuid),
        sa.Column("judged", sa.Text),
        sa.Column("search_text", sa.Text, nullable=False),
        _recipe_key("prints"),
        _exposure_key("prints"),
    )
    op.create_index("ix_prints_made_at_s_id", "prints", ["made_at_s", "id"])
    op.create_index("ix_prints_recipe_id_made_at_s_id", "prints", ["recipe_id", "made_at_s", "id"])
    op.create_index("ix_prints_judged_made_at_s_id", "prints", ["judged", "made_at_s", "id"])
    _create_versions("print", "prints")
    op.create_table(
        "evidence",
        sa.Column("id", sa.Uuid, nullable=False),
        sa.Column("recipe_id", sa.Uuid, nullable=False),
        sa.Column("recipe_version", sa.Integer, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("made_at_s", sa.Double, nullable=False),
        sa.Column("recorded_s", sa.Double, nullable=False),
        sa.Column("payload", sa.JSON, nullable=False),
        sa.Column("told", sa.JSON, nullable=False),
        sa.Column("exposure_id", sa.Uuid),
        sa.Column("print_id", sa.Uuid),
        sa.Column("withdrawn_s", sa.Double),
        sa.Column("withdrawn_reason", sa.Text),
        sa.PrimaryKeyConstraint("id", name="pk_evidence"),
        _recipe_key("evidence"),
        _exposure_key("evidence"),
        sa.ForeignKeyConstraint(
            ["print_id"], ["prints.id"], name="fk_evidence_print_id", ondelete="RESTRICT"
        ),
        sa.CheckConstraint("kind IN ('strip', 'wedge', 'print')", name=op.f("ck_evidence_kind")),
        sa.CheckConstraint(
            "(withdrawn_s IS NULL) = (withdrawn_reason IS NULL)", name=op.f("ck_evidence_withdrawn")
        ),
    )
    op.create_index("ix_evidence_print_id", "evidence", ["print_id"])
    op.create_index("ix_evidence_recipe_id_made_at_s_id", "evidence", ["recipe_id", "made_at_s", "id"])


def downgrade() -> None:
    """Drop the whole bench; export it first."""
    op.drop_table("evidence")
    # prints refer to recipes, so they go first; within a kind, the versions before what they belong to
    for what, plural in (("print", "prints"), *_NAMED):
        op.drop_table(f"{what}_versions")
        op.drop_table(plural)


def _create_heads(plural: str, *more: sa.Column[Any] | sa.Constraint) -> None:
    op.create_table(
        plural,
        sa.Column("id", sa.Uuid, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.Column("retired", sa.Boolean, nullable=False),
        *more,
        sa.PrimaryKeyConstraint("id", name=f"pk_{plural}"),
    )
    op.create_index(f"ix_{plural}_created_s_id", plural, ["created_s", "id"])


def _create_versions(what: str, plural: str) -> None:
    op.create_table(
        f"{what}_versions",
        sa.Column(f"{what}_id", sa.Uuid, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("saved_s", sa.Double, nullable=False),
        sa.Column("retired", sa.Boolean, nullable=False),
        sa.Column("fields", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint(f"{what}_id", "version", name=f"pk_{what}_versions"),
        sa.ForeignKeyConstraint(
            [f"{what}_id"], [f"{plural}.id"], name=f"fk_{what}_versions_{what}_id", ondelete="RESTRICT"
        ),
    )


def _recipe_key(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["recipe_id", "recipe_version"],
        ["recipe_versions.recipe_id", "recipe_versions.version"],
        name=f"fk_{table}_recipe_id_recipe_version",
        ondelete="RESTRICT",
    )


def _exposure_key(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["exposure_id"], ["exposures.id"], name=f"fk_{table}_exposure_id", ondelete="RESTRICT"
    )
