"""From what a database driver raises to the store's own errors, by error code, never by message text."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from sqlite3 import (
    SQLITE_BUSY,
    SQLITE_CANTOPEN,
    SQLITE_CONSTRAINT_FOREIGNKEY,
    SQLITE_CONSTRAINT_PRIMARYKEY,
    SQLITE_CONSTRAINT_UNIQUE,
    SQLITE_CORRUPT,
    SQLITE_FULL,
    SQLITE_IOERR,
    SQLITE_IOERR_SHMSIZE,
    SQLITE_LOCKED,
    SQLITE_NOTADB,
    SQLITE_PERM,
    SQLITE_PROTOCOL,
    SQLITE_READONLY,
)

from sqlalchemy import exc

from noonframe.errors import NoonframeError
from noonframe.store.errors import Conflict, StoreBusy, StoreFull, StoreUnavailable

_Kind = type[StoreBusy | StoreFull | StoreUnavailable]
_Found = tuple[_Kind, str]

# SQLite's primary result codes, https://www.sqlite.org/rescode.html
_SQLITE: dict[int, _Found] = {
    SQLITE_BUSY: (StoreBusy, "are in use by somebody else"),
    SQLITE_LOCKED: (StoreBusy, "are in use by somebody else"),
    SQLITE_PROTOCOL: (StoreBusy, "are in use by somebody else"),
    SQLITE_FULL: (StoreFull, "cannot grow: the disk is full"),
    SQLITE_READONLY: (StoreUnavailable, "can be read but not written"),
    SQLITE_CANTOPEN: (StoreUnavailable, "cannot be opened; look at the folder and its permissions"),
    SQLITE_PERM: (StoreUnavailable, "cannot be opened; look at the folder and its permissions"),
    SQLITE_IOERR: (StoreUnavailable, "cannot be read or written: the disk reports an error"),
    SQLITE_CORRUPT: (StoreUnavailable, "are damaged; restore them from a copy"),
    SQLITE_NOTADB: (StoreUnavailable, "are not a database, or are damaged"),
}

# PostgreSQL's SQLSTATE codes, longer ones before their class,
# https://www.postgresql.org/docs/18/errcodes-appendix.html
_POSTGRESQL: tuple[tuple[str, _Kind, str], ...] = (
    ("53100", StoreFull, "cannot grow: the server's disk is full"),
    ("53300", StoreBusy, "have no connection free"),
    ("53", StoreBusy, "are short of the server's memory or other means"),
    ("40001", StoreBusy, "were changed by somebody else at the same moment"),
    ("40P01", StoreBusy, "were changed by somebody else at the same moment"),
    ("55P03", StoreBusy, "are in use by somebody else"),
    ("57014", StoreBusy, "did not answer in time"),
    ("25P03", StoreBusy, "were let go of because this change took too long"),
    ("57", StoreUnavailable, "cannot be reached: the server is starting or stopping"),
    ("25006", StoreUnavailable, "can be read but not written"),
    ("28", StoreUnavailable, "cannot be opened: the server refuses this user or password"),
    ("3D", StoreUnavailable, "cannot be opened: the server has no such database"),
    ("42501", StoreUnavailable, "cannot be used: this user may not do that"),
    ("08", StoreUnavailable, "cannot be reached"),
    ("58", StoreUnavailable, "cannot be read or written: the server's disk reports an error"),
    ("XX", StoreUnavailable, "are damaged, or the server is at fault"),
)

_CONFLICTS = {
    SQLITE_CONSTRAINT_UNIQUE,
    SQLITE_CONSTRAINT_PRIMARYKEY,
    SQLITE_CONSTRAINT_FOREIGNKEY,
    "23505",  # unique_violation
    "23503",  # foreign_key_violation
    "23001",  # restrict_violation
}


def domain_error(error: Exception, where: str) -> NoonframeError | None:
    """The store's error for what SQLAlchemy raised, or None when it is a fault of the program."""
    if isinstance(error, exc.TimeoutError):  # every pooled connection stayed in use
        return StoreBusy(where, "have no connection free")
    if not isinstance(error, exc.DBAPIError):
        return None
    from_sqlite = isinstance(error.orig, sqlite3.Error)
    code = getattr(error.orig, "sqlite_errorcode" if from_sqlite else "sqlstate", None)
    if code in _CONFLICTS:
        return Conflict("record", where, "one like it is there already, or what it belongs to is not")
    found = _from_sqlite(code) if from_sqlite else _from_postgresql(error, code)
    return None if found is None else found[0](where, found[1])


def _from_sqlite(code: int | None) -> _Found | None:
    if code is None:
        return None
    if code == SQLITE_IOERR_SHMSIZE:  # the index beside the file could not be given its size
        return _SQLITE[SQLITE_FULL]
    return _SQLITE.get(code & 0xFF)  # extended codes keep the primary one in the low byte


def _from_postgresql(error: exc.DBAPIError, state: str | None) -> _Found | None:
    if state is not None:
        return next(((kind, why) for start, kind, why in _POSTGRESQL if state.startswith(start)), None)
    # the server never said anything: no connection was made, or it broke
    lost = error.connection_invalidated or isinstance(error, exc.OperationalError | exc.InterfaceError)
    return (StoreUnavailable, "cannot be reached") if lost else None


@contextmanager
def plain_errors(where: str) -> Iterator[None]:
    """Let what happens inside raise the store's errors in place of the driver's."""
    try:
        yield
    except exc.SQLAlchemyError as error:
        plain = domain_error(error, where)
        if plain is None:
            raise
        raise plain from error
