"""Printing sessions: what was asked of a day, the plan that answered it, and what then happened."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection

from noonframe.errors import OutOfDomain
from noonframe.store.documents import LONGEST_DOCUMENT
from noonframe.store.strict import Reader, bounded_json, bounded_objects
from noonframe.store.tables import SESSION_VERSIONS
from noonframe.store.tables import SESSIONS as SESSION_HEADS
from noonframe.store.versioned import Saved, Shelf, living_name, moment, name_text


@dataclass(frozen=True)
class SessionFields:
    """A session from `starts_s` to `ends_s` (unix seconds), which may be the same moment.

    `asked` and `plan` are JSON objects, `happened` JSON objects in the order in which they were told; each of
    the three has at most `LONGEST_DOCUMENT` characters.
    """

    name: str
    starts_s: float
    ends_s: float
    asked: Mapping[str, Any] = field(repr=False)
    plan: Mapping[str, Any] = field(repr=False)
    happened: tuple[Mapping[str, Any], ...] = field(default=(), repr=False)

    def __post_init__(self) -> None:
        name_text(self.name)
        object.__setattr__(self, "starts_s", moment("starts_s", self.starts_s))
        object.__setattr__(self, "ends_s", moment("ends_s", self.ends_s))
        if self.ends_s < self.starts_s:
            raise OutOfDomain("ends_s", self.ends_s, f"not before starts_s, {self.starts_s}")
        for each in ("asked", "plan"):
            object.__setattr__(self, each, bounded_json(each, getattr(self, each), LONGEST_DOCUMENT))
        object.__setattr__(self, "happened", bounded_objects("happened", self.happened, LONGEST_DOCUMENT))


def _read(reader: Reader) -> SessionFields:
    return reader.build(
        SessionFields,
        name=reader.text("name"),
        starts_s=reader.number("starts_s"),
        ends_s=reader.number("ends_s"),
        asked=reader.mapping("asked"),
        plan=reader.mapping("plan"),
        happened=tuple(reader.rows("happened")),
    )


def _columns(fields: SessionFields, retired: bool) -> Mapping[str, Any]:
    return {**living_name(fields, retired), "starts_s": fields.starts_s, "ends_s": fields.ends_s}


SESSIONS: Shelf[SessionFields] = Shelf("session", SESSION_HEADS, SESSION_VERSIONS, _read, _columns)
"""Every session; a name belongs to one living session."""


def search(
    db: Connection,
    *,
    from_s: float | None = None,
    to_s: float | None = None,
    retired: bool | None = False,
    before: Saved[SessionFields] | None = None,
    limit: int = 50,
) -> tuple[Saved[SessionFields], ...]:
    """Sessions that are not over before `from_s` and begin before `to_s`, the latest to begin first.

    `before` is the last one of the page before; `retired` None gives the living and the retired.
    """
    starts_s, identity = SESSION_HEADS.c.starts_s, SESSION_HEADS.c.id
    question = SESSIONS.newest_versions()
    if from_s is not None:
        question = question.where(SESSION_HEADS.c.ends_s >= moment("from_s", from_s))
    if to_s is not None:
        question = question.where(starts_s < moment("to_s", to_s))
    if retired is not None:
        question = question.where(SESSION_HEADS.c.retired == retired)
    if before is not None:
        same = sa.and_(starts_s == before.fields.starts_s, identity < before.id)
        question = question.where(sa.or_(starts_s < before.fields.starts_s, same))
    rows = db.execute(question.order_by(starts_s.desc(), identity.desc()).limit(limit))
    return tuple(SESSIONS.saved(row) for row in rows)
