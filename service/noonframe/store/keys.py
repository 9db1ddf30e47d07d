"""Keys of callers, and tickets that stand for one for a minute.

A key is shown when it is made and never kept: what is kept is its SHA-256 (FIPS 180-4), or with a pepper its
HMAC (RFC 2104), which is enough for 256 random bits that nobody can find by trying.  Its first part is no
secret and names it.  Both tables lie in the house's records alone; every function works inside the
transaction it is given.
"""

import datetime as dt
import hmac
import re
import secrets
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Row

from noonframe.errors import OutOfDomain, UnknownName
from noonframe.store.actors import Studio
from noonframe.store.tables import API_KEYS, STUDIOS, TICKETS
from noonframe.store.versioned import moment, name_text

SCOPES = ("read", "run", "manage")
"""Each may do what those before it may."""

KEY = re.compile(r"nf_([a-z2-7]{10})_([A-Za-z0-9_-]{43})", re.ASCII)
_ALPHABET = "abcdefghijklmnopqrstuvwxyz234567"  # RFC 4648, section 6, in small letters
_ID_LETTERS = 10
_SECRET_BYTES = 32
TICKET_S = 60.0


@dataclass(frozen=True)
class ApiKey:
    """A key as it is kept; `studio` is None for the house's.

    `last_used_day` is the last day (UTC) on which it was used, kept no finer than that.
    """

    id: str
    name: str
    studio: Studio | None
    scope: str
    hash: str = field(repr=False)
    peppered: bool = field(repr=False)
    created_s: float
    expires_s: float | None
    revoked_s: float | None
    last_used_day: dt.date | None

    def good_at(self, now_s: float) -> bool:
        """Whether it opens anything then."""
        return self.revoked_s is None and (self.expires_s is None or now_s < self.expires_s)


def hash_of(key: str, pepper: str | None = None) -> str:
    """What is kept of a key or a ticket."""
    if pepper is None:
        return sha256(key.encode("ascii")).hexdigest()
    return hmac.new(pepper.encode(), key.encode("ascii"), sha256).hexdigest()


def create(
    db: Connection,
    *,
    name: str,
    studio: Studio | None,
    scope: str,
    expires_s: float | None,
    now_s: float,
    pepper: str | None = None,
) -> tuple[ApiKey, str]:
    """A new key, and its text, which is not kept."""
    if scope not in SCOPES:
        raise OutOfDomain("scope", scope[:60], f"one of {', '.join(SCOPES)}")
    if expires_s is not None and moment("expires", expires_s) <= now_s:
        raise OutOfDomain("expires", None, "later than now")
    key_id = "".join(secrets.choice(_ALPHABET) for _ in range(_ID_LETTERS))
    text = f"nf_{key_id}_{secrets.token_urlsafe(_SECRET_BYTES)}"
    new = ApiKey(
        id=key_id,
        name=name_text(name),
        studio=studio,
        scope=scope,
        hash=hash_of(text, pepper),
        peppered=pepper is not None,
        created_s=moment("now_s", now_s),
        expires_s=expires_s,
        revoked_s=None,
        last_used_day=None,
    )
    row = {column.name: getattr(new, column.name) for column in API_KEYS.c}
    db.execute(API_KEYS.insert().values(row | {"studio": None if studio is None else studio.name}))
    return new, text


def find(db: Connection, text: str, *, pepper: str | None = None) -> ApiKey | None:
    """The key of this text, good or not; None when there is none."""
    shape = KEY.fullmatch(text)
    kept = None if shape is None else _by_id(db, shape[1])
    if kept is None or (kept.peppered and pepper is None):
        return None
    told = hash_of(text, pepper if kept.peppered else None)
    return kept if hmac.compare_digest(told, kept.hash) else None


def get(db: Connection, key_id: str) -> ApiKey:
    """The key of an id; raises `UnknownName`."""
    kept = _by_id(db, key_id)
    if kept is None:
        raise UnknownName("key_id", key_id[:60], "the id of a key")
    return kept


def newest(
    db: Connection, *, studio: str | None = None, whole: bool = False, limit: int = 100
) -> tuple[ApiKey, ...]:
    """Keys, newest first, of a studio (None: the house), or with `whole` of all."""
    question = _joined()
    if not whole:
        question = question.where(API_KEYS.c.studio == studio)
    ordered = question.order_by(API_KEYS.c.created_s.desc(), API_KEYS.c.id.desc())
    return tuple(map(_key, db.execute(ordered.limit(limit))))


def any_made(db: Connection) -> bool:
    """Whether a key was ever made, revoked or not."""
    return db.execute(sa.select(API_KEYS.c.id).limit(1)).first() is not None


def any_good(db: Connection, now_s: float) -> bool:
    """Whether there is a key that opens something now."""
    living = sa.or_(API_KEYS.c.expires_s.is_(None), API_KEYS.c.expires_s > now_s)
    question = sa.select(API_KEYS.c.id).where(API_KEYS.c.revoked_s.is_(None), living)
    return db.execute(question.limit(1)).first() is not None


def revoke(db: Connection, key_id: str, *, now_s: float) -> ApiKey:
    """Let it open nothing any more, for good; again changes nothing.  Raises `UnknownName`."""
    living = sa.and_(API_KEYS.c.id == key_id, API_KEYS.c.revoked_s.is_(None))
    db.execute(API_KEYS.update().where(living).values(revoked_s=moment("now_s", now_s)))
    return get(db, key_id)


def mark_used(db: Connection, key_id: str, day: dt.date) -> None:
    """Keep the day of a use, unless a later one is known."""
    older = sa.or_(API_KEYS.c.last_used_day.is_(None), API_KEYS.c.last_used_day < day)
    db.execute(API_KEYS.update().where(API_KEYS.c.id == key_id, older).values(last_used_day=day))


def make_ticket(db: Connection, key_id: str | None, *, now_s: float) -> tuple[str, float]:
    """A ticket for whoever has this key, and until when it can be used once; old ones go."""
    db.execute(TICKETS.delete().where(TICKETS.c.expires_s <= now_s))
    text, expires_s = secrets.token_urlsafe(_SECRET_BYTES), now_s + TICKET_S
    db.execute(TICKETS.insert().values(hash=hash_of(text), key_id=key_id, expires_s=expires_s))
    return text, expires_s


def take_ticket(db: Connection, text: str, *, now_s: float) -> tuple[bool, ApiKey | None]:
    """Use a ticket up: whether it was good, and the key that it stands for, if it stands for one."""
    asked = TICKETS.delete().where(TICKETS.c.hash == hash_of(text)).returning(TICKETS)
    row = db.execute(asked).one_or_none()
    if row is None or row.expires_s <= now_s:
        return False, None
    return True, None if row.key_id is None else get(db, row.key_id)


def _joined() -> sa.Select[Any]:
    own = [column for column in API_KEYS.c if column is not API_KEYS.c.studio]
    studio = (STUDIOS.c.name.label("studio_name"), STUDIOS.c.id.label("studio_id"))
    return sa.select(*own, *studio).outerjoin_from(API_KEYS, STUDIOS, API_KEYS.c.studio == STUDIOS.c.name)


def _by_id(db: Connection, key_id: str) -> ApiKey | None:
    row = db.execute(_joined().where(API_KEYS.c.id == key_id)).one_or_none()
    return None if row is None else _key(row)


def _key(row: Row[Any]) -> ApiKey:
    fields = dict(row._mapping)
    name, studio_id = fields.pop("studio_name"), fields.pop("studio_id")
    return ApiKey(studio=None if name is None else Studio(name, studio_id), **fields)
