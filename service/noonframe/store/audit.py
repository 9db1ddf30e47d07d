"""Who changed what: one row for each change, in the transaction of the change itself.

So there is no change without its row and no row without its change.  The rows of a studio lie with its other
records.  `Store.write` calls `note`; no route has to think of it.
"""

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Row

from noonframe.store.actors import Actor
from noonframe.store.tables import AUDIT

UNTOLD = frozenset(
    {
        *("audit", "idempotency_records", "tickets", "rate_windows", "feed_owners", "alembic_version"),
        *("weather_answers", "weather_pauses", "weather_leases"),
    }
)
"""Tables whose rows say nothing about what somebody did."""


@dataclass(frozen=True)
class AuditEntry:
    """One change; `sequence` counts up within a studio."""

    sequence: int
    at_s: float
    key_id: str | None
    who: str
    method: str
    route: str
    record: str | None
    request_id: str


class Touched:
    """What one transaction has written to, as it goes along."""

    def __init__(self) -> None:
        self.told = False
        self.first_id: str | None = None

    def see(self, statement: Any, result: Any) -> None:
        """Note a statement that was run."""
        if not getattr(statement, "is_dml", False) or statement.table.name in UNTOLD:
            return
        self.told = True
        if self.first_id is None and statement.is_insert:
            rows = result.context.compiled_parameters or [{}]
            found = rows[0].get("id")
            self.first_id = None if found is None else str(found)


def note(db: Connection, actor: Actor, made: str | None = None) -> None:
    """Write down what `actor` did; `made` is the id of what came into being, where the address has none."""
    db.execute(
        AUDIT.insert().values(
            at_s=actor.at_s,
            key_id=actor.key_id,
            who=actor.who,
            method=actor.method,
            route=actor.route,
            record=actor.record if actor.record is not None else made,
            request_id=actor.request_id,
        )
    )


def newest(db: Connection, *, before: int | None = None, limit: int = 100) -> tuple[AuditEntry, ...]:
    """Changes, newest first; those before the one numbered `before`."""
    question = sa.select(AUDIT)
    if before is not None:
        question = question.where(AUDIT.c.sequence < before)
    return tuple(map(_entry, db.execute(question.order_by(AUDIT.c.sequence.desc()).limit(limit))))


def _entry(row: Row[Any]) -> AuditEntry:
    return AuditEntry(**row._mapping)
