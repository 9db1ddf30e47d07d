"""How many requests each caller has made in a stretch of time, counted by all workers together."""

import sqlalchemy as sa
from sqlalchemy import Connection

from noonframe.store.tables import RATE_WINDOWS
from noonframe.store.upsert import insert


def take(db: Connection, who: str, starts_s: float, wanted: int, quota: int) -> tuple[int, int]:
    """Ask for `wanted` requests of the `quota` of the stretch that began at `starts_s`.

    Gives how many are granted (perhaps none) and how many are then taken over all workers.
    """
    new = insert(db, RATE_WINDOWS).values(who=who, starts_s=starts_s, taken=wanted)
    more = new.on_conflict_do_update(
        index_elements=[RATE_WINDOWS.c.who, RATE_WINDOWS.c.starts_s],
        set_={"taken": RATE_WINDOWS.c.taken + wanted},
    )
    taken: int = db.execute(more.returning(RATE_WINDOWS.c.taken)).scalar_one()
    return max(0, min(wanted, quota - (taken - wanted))), min(taken, quota)


def forget(db: Connection, before_s: float) -> None:
    """Drop the counts of stretches that began before."""
    db.execute(sa.delete(RATE_WINDOWS).where(RATE_WINDOWS.c.starts_s < before_s))
