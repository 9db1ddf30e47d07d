"""The studios of an installation, and which of them a calendar's private address belongs to.

Both lie in the house's records alone.  Every function works inside the transaction it is given.
"""

import re
from typing import Any
from uuid import UUID, uuid4

import sqlalchemy as sa
from sqlalchemy import Connection, Row

from noonframe.errors import OutOfDomain, UnknownName
from noonframe.store.actors import HOUSE, Studio
from noonframe.store.errors import Conflict
from noonframe.store.tables import FEED_OWNERS, STUDIOS
from noonframe.store.upsert import insert, took_effect
from noonframe.store.versioned import moment

NAME = re.compile(r"[a-z][a-z0-9-]{0,38}[a-z0-9]", re.ASCII)  # it names a file
NAME_WORDS = "2 to 40 small letters, digits and hyphens, a letter first and no hyphen last"


def create(db: Connection, name: str, *, now_s: float) -> Studio:
    """A new studio; `Conflict` when its name is taken."""
    if not NAME.fullmatch(name):
        raise OutOfDomain("name", name[:60], NAME_WORDS)
    if name == HOUSE:
        raise Conflict("name", name, "that is the studio every installation begins with")
    new = Studio(name, uuid4())
    row = {"name": name, "id": new.id, "created_s": moment("now_s", now_s)}
    if not took_effect(db, insert(db, STUDIOS).values(row).on_conflict_do_nothing()):
        raise Conflict("name", name, "another studio has it")
    return new


def get(db: Connection, name: str) -> Studio:
    """The studio of a name; raises `UnknownName`."""
    row = db.execute(sa.select(STUDIOS).where(STUDIOS.c.name == name)).one_or_none()
    if row is None:
        raise UnknownName("studio", name[:60], "the name of a studio")
    return _studio(row)


def every(db: Connection) -> tuple[tuple[Studio, float], ...]:
    """Every studio but the house, with when it was made, oldest first."""
    rows = db.execute(sa.select(STUDIOS).order_by(STUDIOS.c.created_s, STUDIOS.c.name))
    return tuple((_studio(row), row.created_s) for row in rows)


def own_feed(db: Connection, token_hash: str, studio: Studio) -> None:
    """Note that a calendar's token belongs to a studio; the house's own need no note."""
    db.execute(FEED_OWNERS.insert().values(token_hash=token_hash, studio=studio.name))


def owner_of_feed(db: Connection, token_hash: str) -> Studio | None:
    """The studio that a calendar's token belongs to; None for the house, or for nobody."""
    joined = sa.select(STUDIOS).join(FEED_OWNERS, FEED_OWNERS.c.studio == STUDIOS.c.name)
    row = db.execute(joined.where(FEED_OWNERS.c.token_hash == token_hash)).one_or_none()
    return None if row is None else _studio(row)


def _studio(row: Row[Any]) -> Studio:
    return Studio(row.name, row.id if isinstance(row.id, UUID) else UUID(str(row.id)))
