"""Private addresses of calendar feeds.

Whoever has the token in a feed's address may read the feed, so the token itself is never stored, only its
SHA-256 (FIPS 180-4): enough for a token of 128 random bits or more, which nobody can find by trying.
Every function works inside the transaction it is given.
"""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection, Row

from noonframe.errors import Malformed, UnknownName
from noonframe.store.errors import Conflict
from noonframe.store.strict import bounded_json
from noonframe.store.tables import FEEDS
from noonframe.store.upsert import insert, took_effect
from noonframe.store.versioned import moment, name_text

LONGEST_WHAT = 100_000
_HASH = re.compile(r"[0-9a-f]{64}", re.ASCII)


@dataclass(frozen=True)
class Feed:
    """A feed: `what` it shows (a JSON object), and since when nobody may read it, if so.

    `last_used_day` is the last day (UTC) on which it was read, kept no finer than that.
    """

    id: UUID
    name: str
    token_hash: str = field(repr=False)
    what: Mapping[str, Any] = field(repr=False)
    created_s: float
    revoked_s: float | None = None
    last_used_day: dt.date | None = None


def create(
    db: Connection, *, feed_id: UUID, name: str, token_hash: str, what: Mapping[str, Any], now_s: float
) -> Feed:
    """A new feed; `Conflict` when the id or the token is taken.  Feeds may share a name."""
    new = Feed(
        id=feed_id,
        name=name_text(name),
        token_hash=_hash(token_hash),
        what=bounded_json("what", what, LONGEST_WHAT),
        created_s=moment("now_s", now_s),
    )
    row = {column.name: getattr(new, column.name) for column in FEEDS.c}
    if not took_effect(db, insert(db, FEEDS).values(row).on_conflict_do_nothing()):
        there = db.execute(sa.select(FEEDS.c.id).where(FEEDS.c.id == feed_id)).first()
        if there is not None:
            raise Conflict("feed_id", str(feed_id), "a feed has it already")
        raise Conflict("token_hash", "a hash", "another feed has this token")
    return new


def get(db: Connection, feed_id: UUID) -> Feed:
    """The feed, revoked or not; raises `UnknownName`."""
    row = db.execute(sa.select(FEEDS).where(FEEDS.c.id == feed_id)).one_or_none()
    if row is None:
        raise UnknownName("feed_id", str(feed_id), "the id of a feed")
    return _feed(row)


def newest(
    db: Connection, *, revoked: bool | None = False, before: Feed | None = None, limit: int = 100
) -> tuple[Feed, ...]:
    """Feeds by `created_s`, newest first; the page after the one that ends with `before`.

    `revoked` None gives those that may be read and those that may not.
    """
    question = sa.select(FEEDS)
    if revoked is not None:
        there = FEEDS.c.revoked_s.is_not(None) if revoked else FEEDS.c.revoked_s.is_(None)
        question = question.where(there)
    if before is not None:
        same = sa.and_(FEEDS.c.created_s == before.created_s, FEEDS.c.id < before.id)
        question = question.where(sa.or_(FEEDS.c.created_s < before.created_s, same))
    rows = db.execute(question.order_by(FEEDS.c.created_s.desc(), FEEDS.c.id.desc()).limit(limit))
    return tuple(_feed(row) for row in rows)


def by_token_hash(db: Connection, token_hash: str) -> Feed | None:
    """The feed that this token may read; None when there is none, or it was revoked."""
    this = sa.and_(FEEDS.c.token_hash == _hash(token_hash), FEEDS.c.revoked_s.is_(None))
    row = db.execute(sa.select(FEEDS).where(this)).one_or_none()
    return None if row is None else _feed(row)


def revoke(db: Connection, feed_id: UUID, *, now_s: float) -> Feed:
    """Let nobody read it any more, for good; again changes nothing.  Raises `UnknownName`."""
    living = sa.and_(FEEDS.c.id == feed_id, FEEDS.c.revoked_s.is_(None))
    db.execute(FEEDS.update().where(living).values(revoked_s=moment("now_s", now_s)))
    return get(db, feed_id)


def mark_used(db: Connection, feed_id: UUID, day: dt.date) -> None:
    """Keep the day of a reading, unless a later one is known; nothing to write when it is not news."""
    older = sa.or_(FEEDS.c.last_used_day.is_(None), FEEDS.c.last_used_day < day)
    db.execute(FEEDS.update().where(FEEDS.c.id == feed_id, older).values(last_used_day=day))


def _hash(token_hash: str) -> str:
    if not _HASH.fullmatch(token_hash):
        # what was given may be the token itself, so it is not told
        raise Malformed("token_hash", "a text", "must be a SHA-256 in 64 small hexadecimal digits")
    return token_hash


def _feed(row: Row[Any]) -> Feed:
    return Feed(**row._mapping)
