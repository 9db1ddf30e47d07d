"""Answers already given, so that a repeated request has its effect once.

Draft "The Idempotency-Key HTTP Header Field" (draft-ietf-httpapi-idempotency-key-header-07).

Claim, effect and answer belong into one transaction: then a killed request leaves nothing at all, and a
repetition that comes while the first one still runs waits for it and gets its answer.  Work that is too slow
for that claims in a transaction of its own and finishes, with the effect, in a second one; meanwhile others
are told `RUNNING`, until `hold_s` is over and the next one takes the work on.  Whoever was too slow cannot
finish any more, and its effect is undone with it.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from uuid import UUID, uuid4

import sqlalchemy as sa
from sqlalchemy import ColumnElement, Connection

from noonframe.store.checks import finite, plain_text
from noonframe.store.errors import Conflict
from noonframe.store.tables import IDEMPOTENCY_RECORDS
from noonframe.store.upsert import insert, took_effect

LONGEST_KEY = 200
LONGEST_ROUTE = 400
LIFETIME_S = 86_400.0
HOLD_S = 60.0


class ClaimState(StrEnum):
    """What became of a claim."""

    NEW = "new"
    """It is ours: do the work, then `finish`."""
    RUNNING = "running"
    """Somebody else is at it."""
    DONE = "done"
    """The answer is there."""
    MISMATCH = "mismatch"
    """The key was used for another request."""


@dataclass(frozen=True)
class StoredReply:
    """What was answered to the first request."""

    status_code: int
    content_type: str
    body: bytes = field(repr=False)


@dataclass(frozen=True)
class Claim:
    """A key on a route; `holder` is set when the claim is `NEW`, `reply` when it is `DONE`."""

    key: str
    route: str
    state: ClaimState
    expires_s: float
    holder: UUID | None = None
    reply: StoredReply | None = None


def claim(
    db: Connection,
    key: str,
    route: str,
    payload_hash: str,
    *,
    now_s: float,
    lifetime_s: float = LIFETIME_S,
    hold_s: float = HOLD_S,
) -> Claim:
    """Ask for the right to answer `key` on `route`; exactly one of any number of askers gets `NEW`.

    `payload_hash` stands for the request's content.  A record older than `lifetime_s` counts as none.
    """
    plain_text("idempotency_key", key, LONGEST_KEY)
    plain_text("route", route, LONGEST_ROUTE)
    holder = uuid4()
    ours = {
        "key": key,
        "route": route,
        "payload_hash": payload_hash,
        "created_s": finite("now_s", now_s),
        "expires_s": now_s + lifetime_s,
        "holder": holder,
        "held_until_s": now_s + hold_s,
        "status_code": None,
        "content_type": None,
        "body": None,
    }
    won = Claim(key, route, ClaimState.NEW, now_s + lifetime_s, holder=holder)
    this = _this(key, route)
    new = insert(db, IDEMPOTENCY_RECORDS).values(ours).on_conflict_do_nothing()
    while not took_effect(db, new):
        row = db.execute(sa.select(IDEMPOTENCY_RECORDS).where(this).with_for_update()).one_or_none()
        if row is None:
            continue  # purged or released since the insert
        if row.expires_s > now_s:
            if row.payload_hash != payload_hash:
                return Claim(key, route, ClaimState.MISMATCH, row.expires_s)
            if row.status_code is not None:
                reply = StoredReply(row.status_code, row.content_type, row.body)
                return Claim(key, route, ClaimState.DONE, row.expires_s, reply=reply)
            if row.held_until_s > now_s:
                return Claim(key, route, ClaimState.RUNNING, row.expires_s)
        db.execute(IDEMPOTENCY_RECORDS.update().where(this).values(ours))
        break
    return won


def finish(db: Connection, claimed: Claim, reply: StoredReply) -> None:
    """Keep the answer to a claim; `Conflict` when it is no longer ours, so that the effect is undone."""
    values = {"status_code": reply.status_code, "content_type": reply.content_type, "body": reply.body}
    if not db.execute(IDEMPOTENCY_RECORDS.update().where(_still_held(claimed)).values(values)).rowcount:
        raise Conflict("idempotency_key", claimed.key, "another request took it on or answered it")


def release(db: Connection, claimed: Claim) -> None:
    """Give a claim back unanswered, so that a repetition starts afresh; nothing if it is no longer ours."""
    db.execute(IDEMPOTENCY_RECORDS.delete().where(_still_held(claimed)))


def purge(db: Connection, now_s: float) -> int:
    """Drop the records that expired by `now_s`, and say how many."""
    return db.execute(IDEMPOTENCY_RECORDS.delete().where(IDEMPOTENCY_RECORDS.c.expires_s <= now_s)).rowcount


def _this(key: str, route: str) -> ColumnElement[bool]:
    return sa.and_(IDEMPOTENCY_RECORDS.c.key == key, IDEMPOTENCY_RECORDS.c.route == route)


def _still_held(claimed: Claim) -> ColumnElement[bool]:
    return sa.and_(
        _this(claimed.key, claimed.route),
        IDEMPOTENCY_RECORDS.c.holder == claimed.holder,
        IDEMPOTENCY_RECORDS.c.status_code.is_(None),
    )
