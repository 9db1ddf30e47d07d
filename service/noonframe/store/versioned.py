"""Records that keep every version: each change adds one, none is ever overwritten or deleted.

A record has a row of its newest state, by which it is found and locked, and one row for each version.  What
the versions say is kept as JSON.  A record that is no longer wanted is marked as retired, which is one more
version; its name is then free for another.
"""

import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, Generic, TypeVar
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection, Row
from sqlalchemy.exc import IntegrityError

from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store.checks import finite, plain_text
from noonframe.store.errors import Conflict
from noonframe.store.strict import Reader
from noonframe.store.upsert import insert, took_effect

LONGEST_NAME = 200
_LONGEST_FOLDED = 400  # a single sign may fold to 18 letters, and PostgreSQL's index takes 2700 bytes
_YEAR_1_S, _YEAR_10000_S = -62_135_596_800.0, 253_402_300_800.0

F = TypeVar("F")


@dataclass(frozen=True)
class Saved(Generic[F]):
    """One version of a record.

    `created_s` is when version 1 was saved, `saved_s` when this one was; `retired` whether it was no longer
    wanted then.
    """

    id: UUID
    version: int
    created_s: float
    saved_s: float
    retired: bool
    fields: F


def moment(field: str, at_s: float) -> float:
    """Unix seconds unless no calendar date can be written for them (RFC 3339: years 1 to 9999)."""
    if not _YEAR_1_S <= at_s < _YEAR_10000_S:  # also refuses nan
        raise OutOfDomain(field, at_s, "a moment of the years 1 to 9999")
    return float(at_s)


def name_text(value: str) -> str:
    """`value` unless it cannot be a name."""
    if not value.strip():
        raise Malformed("name", value, "must say something")
    plain_text("name", value, LONGEST_NAME)
    if len(folded(value)) > _LONGEST_FOLDED:
        raise OutOfDomain("name", f"{value[:20]}...", "made of simpler letters")
    return value


def folded(text: str) -> str:
    """Text in which case, spacing and the ways to write one letter in Unicode no longer differ."""
    return " ".join(unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold()).split())


def plain(value: Any) -> Any:
    """Dataclasses, ids and tuples as JSON has them."""
    if is_dataclass(value) and not isinstance(value, type):
        return {each.name: plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, tuple):
        return [plain(item) for item in value]
    return value


def _nothing_to_check(_db: Connection, _fields: Any) -> None:
    return None


@dataclass(frozen=True)
class Shelf(Generic[F]):
    """The records of one kind.

    `heads` has a row per record (id, version, created_s, retired, and what `columns` makes of its fields and
    of whether it is retired), `versions` one per version (`<what>_id`, version, saved_s, retired, fields).
    `load` reads fields from JSON; `check` refuses what does not fit the other records.  Every method works
    inside the transaction it is given.
    """

    what: str
    heads: sa.Table
    versions: sa.Table
    load: Callable[[Reader], F] = field(repr=False)
    columns: Callable[[F, bool], Mapping[str, Any]] = field(repr=False)
    check: Callable[[Connection, F], None] = field(default=_nothing_to_check, repr=False)

    @property
    def spoken(self) -> str:
        """What one of them is called in a sentence."""
        return self.what.replace("_", " ")

    @property
    def owner(self) -> sa.Column[UUID]:
        """The column of `versions` that says whose version a row is."""
        column: sa.Column[UUID] = self.versions.c[f"{self.what}_id"]
        return column

    def create(self, db: Connection, record_id: UUID, fields: F, *, now_s: float) -> Saved[F]:
        """A new record, version 1; `Conflict` when the id, or the name among the living, is taken."""
        self.check(db, fields)
        new = Saved(record_id, 1, finite("now_s", now_s), now_s, False, fields)
        if not took_effect(db, insert(db, self.heads).values(self.head_row(new)).on_conflict_do_nothing()):
            there = db.execute(sa.select(self.heads.c.id).where(self.heads.c.id == record_id)).first()
            raise self._name_taken(fields) if there is None else self._id_taken(record_id)
        db.execute(self.versions.insert(), self.version_row(new))
        return new

    def get(
        self, db: Connection, record_id: UUID, version: int | None = None, *, lock: bool = False
    ) -> Saved[F]:
        """The newest version, or the one asked for, of a living or retired record; raises `UnknownName`.

        With `lock`, nobody else changes it until the transaction is over.
        """
        question = sa.select(self.heads.c.version).where(self.heads.c.id == record_id)
        newest = db.execute(question.with_for_update() if lock else question).scalar_one_or_none()
        if newest is None:
            raise UnknownName(f"{self.what}_id", str(record_id), f"the id of a {self.spoken}")
        wanted = newest if version is None else version
        if not 1 <= wanted <= newest:
            raise UnknownName("version", version, f"a version of this {self.spoken}, 1 to {newest}")
        these = sa.and_(self.heads.c.id == record_id, self.versions.c.version == wanted)
        return self.saved(db.execute(self.every_version().where(these)).one())

    def find(self, db: Connection, name: str) -> Saved[F] | None:
        """The living record of that name; case, spacing and Unicode form do not matter."""
        this = self.heads.c.living_name == folded(plain_text("name", name, LONGEST_NAME))
        row = db.execute(self.newest_versions().where(this)).one_or_none()
        return None if row is None else self.saved(row)

    def newest(
        self,
        db: Connection,
        *,
        retired: bool | None = False,
        before: Saved[F] | None = None,
        limit: int = 100,
    ) -> tuple[Saved[F], ...]:
        """Records by `created_s`, newest first; the page after the one that ends with `before`.

        `retired` None gives the living and the retired.
        """
        created_s, identity = self.heads.c.created_s, self.heads.c.id
        question = self.newest_versions()
        if retired is not None:
            question = question.where(self.heads.c.retired == retired)
        if before is not None:
            question = question.where(
                sa.or_(
                    created_s < before.created_s,
                    sa.and_(created_s == before.created_s, identity < before.id),
                )
            )
        rows = db.execute(question.order_by(created_s.desc(), identity.desc()).limit(limit))
        return tuple(self.saved(row) for row in rows)

    def history(self, db: Connection, record_id: UUID) -> tuple[Saved[F], ...]:
        """Every version, oldest first; raises `UnknownName`."""
        rows = self.every_version().where(self.heads.c.id == record_id).order_by(self.versions.c.version)
        found = tuple(self.saved(row) for row in db.execute(rows))
        if not found:
            raise UnknownName(f"{self.what}_id", str(record_id), f"the id of a {self.spoken}")
        return found

    def change(self, db: Connection, record_id: UUID, fields: F, *, version: int, now_s: float) -> Saved[F]:
        """A new version, if `version` is still the newest one.

        `Conflict` when it is not, when the record is retired, or when the name is taken.
        """
        now = self._current(db, record_id, version, retired=False)
        self.check(db, fields)
        return self._save(db, now, fields, retired=False, now_s=now_s)

    def retire(self, db: Connection, record_id: UUID, *, version: int, now_s: float) -> Saved[F]:
        """Mark as no longer wanted, in a new version; `Conflict` as for `change`."""
        now = self._current(db, record_id, version, retired=False)
        return self._save(db, now, now.fields, retired=True, now_s=now_s)

    def restore(self, db: Connection, record_id: UUID, *, version: int, now_s: float) -> Saved[F]:
        """Take a retired record back, in a new version; `Conflict` also when its name is taken since."""
        now = self._current(db, record_id, version, retired=True)
        return self._save(db, now, now.fields, retired=False, now_s=now_s)

    def every_version(self) -> sa.Select[Any]:
        """A question for versions as `saved` reads them, to be narrowed."""
        columns = (self.heads.c.id, self.heads.c.created_s)
        own = (
            self.versions.c.version,
            self.versions.c.saved_s,
            self.versions.c.retired,
            self.versions.c.fields,
        )
        return sa.select(*columns, *own).join_from(self.heads, self.versions, self.owner == self.heads.c.id)

    def newest_versions(self) -> sa.Select[Any]:
        """The same for the newest version of each record."""
        return self.every_version().where(self.versions.c.version == self.heads.c.version)

    def saved(self, row: Row[Any]) -> Saved[F]:
        """The version of a row of `every_version`."""
        reader = Reader(row.fields, f"{self.spoken} {row.id}, version {row.version}")
        return Saved(row.id, row.version, row.created_s, row.saved_s, row.retired, self.load(reader))

    def head_row(self, newest: Saved[F]) -> dict[str, Any]:
        """The row in `heads` of a record whose newest version this is."""
        own = {
            "id": newest.id,
            "version": newest.version,
            "created_s": newest.created_s,
            "retired": newest.retired,
        }
        return own | dict(self.columns(newest.fields, newest.retired))

    def version_row(self, saved: Saved[F]) -> dict[str, Any]:
        """The row in `versions` of this version."""
        return {
            self.owner.name: saved.id,
            "version": saved.version,
            "saved_s": saved.saved_s,
            "retired": saved.retired,
            "fields": plain(saved.fields),
        }

    def _current(self, db: Connection, record_id: UUID, version: int, *, retired: bool) -> Saved[F]:
        now = self.get(db, record_id, lock=True)
        if now.version != version:
            raise Conflict("version", version, f"the {self.spoken} is at {now.version} by now")
        if now.retired is not retired:
            limit = f"the {self.spoken} is {'retired' if now.retired else 'not retired'}"
            raise Conflict(f"{self.what}_id", str(record_id), limit)
        return now

    def _save(self, db: Connection, now: Saved[F], fields: F, *, retired: bool, now_s: float) -> Saved[F]:
        new = Saved(now.id, now.version + 1, now.created_s, finite("now_s", now_s), retired, fields)
        update = self.heads.update().where(self.heads.c.id == now.id).values(self.head_row(new))
        try:
            # PostgreSQL would otherwise take nothing more in this transaction, not even a question
            with db.begin_nested():
                db.execute(update)
        except IntegrityError as problem:
            if "living_name" not in self.heads.c:
                raise
            raise self._name_taken(fields) from problem
        db.execute(self.versions.insert(), self.version_row(new))
        return new

    def _id_taken(self, record_id: UUID) -> Conflict:
        return Conflict(f"{self.what}_id", str(record_id), f"a {self.spoken} has it already")

    def _name_taken(self, fields: F) -> Conflict:
        return Conflict("name", getattr(fields, "name", None), f"another {self.spoken} has it")


def living_name(fields: Any, retired: bool) -> Mapping[str, Any]:
    """The `columns` of records whose names are unique among the living."""
    # empty values never collide, in either database
    return {"living_name": None if retired else folded(fields.name)}
