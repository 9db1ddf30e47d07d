"""Whose records are used, and who is at it: told by whoever opens a request, read where records are changed.

Both are context variables, so that they reach a worker thread with the request and never another request.
This module imports no database.
"""

from contextvars import ContextVar
from dataclasses import dataclass
from uuid import UUID

HOUSE = "house"
"""How the records are called that an installation has from the beginning; no other studio has this name."""

FILE_NAME = "noonframe.db"
"""The file of the house's records in the user's folder, where no other address is given."""


@dataclass(frozen=True)
class Studio:
    """A studio with records of its own; `id` tells two of the same name in one database server apart."""

    name: str
    id: UUID


@dataclass(frozen=True)
class Actor:
    """Who changes something: `key_id` is None for somebody who was not asked, `who` is in words.

    `route` is the template of the address, `record` the last id or name that stood in it.
    """

    key_id: str | None
    who: str
    method: str
    route: str
    record: str | None
    request_id: str
    at_s: float


current_studio: ContextVar[Studio | None] = ContextVar("noonframe_studio", default=None)
"""None for the house."""

current_actor: ContextVar[Actor | None] = ContextVar("noonframe_actor", default=None)
"""None where nothing is written down: reading, and upkeep by the program itself."""
