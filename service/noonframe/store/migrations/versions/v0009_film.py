"""Prints may say which film page they were made from.

The field lies inside a print's version, so no table changes; the number keeps a program that does not know
the field away from records that have it.
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"

_AT_ONCE = 500
_VERSIONS = sa.table(
    "print_versions",
    sa.column("print_id", sa.Uuid),
    sa.column("version", sa.Integer),
    sa.column("fields", sa.JSON),
)


def upgrade() -> None:
    """Versions kept before stay as they are: without the field there is no film."""


def downgrade() -> None:
    """Take the field out of every version that has it."""
    db = op.get_bind()
    this = sa.and_(
        _VERSIONS.c.print_id == sa.bindparam("of_print"), _VERSIONS.c.version == sa.bindparam("of_version")
    )
    change = _VERSIONS.update().where(this).values(fields=sa.bindparam("without"))
    keys = db.execute(sa.select(_VERSIONS.c.print_id, _VERSIONS.c.version)).all()
    for first in range(0, len(keys), _AT_ONCE):
        part = sa.tuple_(_VERSIONS.c.print_id, _VERSIONS.c.version).in_(keys[first : first + _AT_ONCE])
        rows = db.execute(sa.select(_VERSIONS).where(part)).all()
        changes = [
            {
                "of_print": row.print_id,
                "of_version": row.version,
                "without": {name: value for name, value in row.fields.items() if name != "film"},
            }
            for row in rows
            if "film" in row.fields
        ]
        if changes:
            db.execute(change, changes)
