"""Bringing the tables up to date, and back, by numbered migrations.

A start asks only for the number that the store is at; Alembic is imported when there is something to do.
Any number of workers may start at once: the first one migrates, the others wait for it.
"""

import threading
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, inspect, text

from noonframe.errors import OutOfDomain
from noonframe.store.engine import Store
from noonframe.store.errors import StoreUnavailable

if TYPE_CHECKING:
    from alembic.config import Config

HEAD = "0009"
"""The newest migration."""

MIGRATIONS = Path(__file__).parent / "migrations"
_VERSION_TABLE = "alembic_version"
_alembic_turn = threading.Lock()  # Alembic passes its connection to a migration through a global


def revision(store: Store) -> str | None:
    """The number of the migration that the store is at; None for an empty one."""
    with store.read() as db:
        return _revision(db)


def upgrade(store: Store, target: str = HEAD) -> None:
    """Bring the tables up to `target`; nothing to do is the common case.

    Raises `StoreUnavailable` when a newer program made them.
    """
    at = revision(store)
    if at == target:
        return
    _refuse_unknown(store, at)
    with _alembic_turn, store.change_schema() as db:
        at = _revision(db)  # another worker may have done it while this one waited
        _refuse_unknown(store, at)
        if at is None or at < target:
            from alembic import command

            command.upgrade(_config(db), target)


def downgrade(store: Store, target: str) -> None:
    """Take the tables back to `target` ("base" for none); what only newer tables can hold is lost."""
    if target != "base" and target not in known_revisions():
        raise OutOfDomain("target", target, "base, " + ", ".join(known_revisions()))
    _refuse_unknown(store, revision(store))
    with _alembic_turn, store.change_schema() as db:
        from alembic import command

        command.downgrade(_config(db), target)


def known_revisions() -> list[str]:
    """The numbers of all migrations, oldest first."""
    return [f"{number:04d}" for number in range(1, int(HEAD) + 1)]


def _refuse_unknown(store: Store, at: str | None) -> None:
    if at is not None and at not in known_revisions():
        raise StoreUnavailable(store.where, f"were made by another version of noonframe (tables at {at})")


def _revision(db: Connection) -> str | None:
    if not inspect(db).has_table(_VERSION_TABLE):
        return None
    number: str | None = db.execute(text(f"SELECT version_num FROM {_VERSION_TABLE}")).scalar_one_or_none()
    return number


def _config(db: Connection) -> "Config":
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = db
    return config
