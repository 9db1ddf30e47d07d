"""What a print room owns: film printers and lamps."""

from noonframe.store.migrations.kept import create_named, drop_named

revision = "0007"
down_revision = "0006"

_KINDS = (("film_printer", "film_printers"), ("lamp", "lamps"))


def upgrade() -> None:
    """Records with all their versions."""
    for what, plural in _KINDS:
        create_named(what, plural)


def downgrade() -> None:
    """Drop them with all their versions."""
    for what, plural in _KINDS:
        drop_named(what, plural)
