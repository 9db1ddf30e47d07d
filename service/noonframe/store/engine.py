"""Opening the store, and its transactions.

A change is acknowledged by `Store.write` leaving without an error: the records are then on the disk, not
only handed to the system (SQLite: WAL with `synchronous=FULL`, and `F_FULLFSYNC` where a Mac needs it;
PostgreSQL: `synchronous_commit` is never off).  Moments are kept as unix seconds in double precision, good
to a quarter of a microsecond, because that is what every other room counts in and because SQLite has no
type for a time with its zone.

Each studio has records of its own: a SQLite file beside the house's, or a PostgreSQL schema in the same
database.  Nothing that is asked of one can reach another's (`Store.of_studio`).
"""

import errno
import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL

from noonframe.store.actors import Studio, current_actor
from noonframe.store.address import read_address
from noonframe.store.errors import StoreBusy, StoreFull, StoreUnavailable
from noonframe.store.faults import plain_errors

WAIT_S = 10.0
"""How long a change waits for others by default."""

_STATEMENT_S = 30.0
_IDLE_S = 60.0  # a client that hangs in the middle of a change must not hold its locks for ever
_SCHEMA_WAIT_S = 300.0
_SCHEMA_LOCK = 0x6E6F6F6E  # any fixed number that other programs on the same database are unlikely to use
_WRITES = {"noonframe_writes": True}
_TOUCHED = "noonframe_touched"
_FEW = 1  # connections that the file of a studio keeps open while nobody uses it


class Store:
    """An open store; safe for any number of threads, one per process.  See `open_store`."""

    def __init__(self, engine: Engine, where: str, wait_s: float, schema: str | None = None) -> None:
        self._engine = engine
        self._wait_s = wait_s
        self._writer = threading.Lock()
        self._schema = schema  # of PostgreSQL; None for the one that the address leads to
        self.where = where
        """The file or the address, without a password."""

    @property
    def is_sqlite(self) -> bool:
        """Whether the records are in a file."""
        return self._engine.dialect.name == "sqlite"

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One unchanging view of the records, for reading only."""
        with plain_errors(self.where), self._engine.connect() as connection, connection.begin():
            if not self.is_sqlite:
                # not by the options of SQLAlchemy, which afterwards ask for the right to write, even of a
                # server that was set to be read only
                connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            self._turn_to_schema(connection)
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """One change: all of it is on the disk once the block is left, or none of it after an error.

        Whoever `current_actor` names is written down with it (`noonframe.store.audit`).
        """
        from noonframe.store import audit

        actor = current_actor.get()
        touched = None if actor is None else audit.Touched()
        with plain_errors(self.where), self._turn(self._wait_s), self._engine.connect() as connection:
            connection.execution_options(**_WRITES, **{_TOUCHED: touched})
            with connection.begin():
                self._turn_to_schema(connection)
                yield connection
                if actor is not None and touched is not None and touched.told:
                    audit.note(connection, actor, touched.first_id)

    @contextmanager
    def change_schema(self) -> Iterator[Connection]:
        """A change of the tables themselves: one at a time over all workers, whole or not at all."""
        begin = _begin_sqlite_schema_change if self.is_sqlite else _begin_postgresql_schema_change
        with (
            plain_errors(self.where),
            self._turn(_SCHEMA_WAIT_S),
            self._engine.connect() as connection,
            begin(connection),
        ):
            if self._schema is not None:
                connection.exec_driver_sql(f'CREATE SCHEMA IF NOT EXISTS "{self._schema}"')
            self._turn_to_schema(connection)
            yield connection

    def of_studio(self, studio: Studio) -> "Store":
        """The store of a studio, to be closed when it is no longer used; made where it is missing.

        In PostgreSQL it shares the connections of this one.  Its tables are not brought up to date here.
        """
        if not self.is_sqlite:
            return Store(self._engine, f"{self.where} ({studio.name})", self._wait_s, schema_of(studio))
        house = Path(str(self._engine.url.database))
        return _open_sqlite(studio_file(house, studio), self._wait_s, idle=_FEW)

    def _turn_to_schema(self, connection: Connection) -> None:
        # for this transaction alone, and with no other schema behind it to fall back to
        if self._schema is not None:
            connection.exec_driver_sql(f'SET LOCAL search_path TO "{self._schema}"')

    def check(self) -> None:
        """Raise the fitting `StoreError` unless the records can be read now."""
        with self.read() as connection:
            connection.execute(text("SELECT 1"))

    def close(self) -> None:
        """Let go of every connection; whoever still uses one keeps it to the end."""
        if self._schema is None:
            self._engine.dispose()

    @contextmanager
    def _turn(self, wait_s: float) -> Iterator[None]:
        # SQLite lets one writer in and makes the others sleep and ask again; threads of one process queue
        # here instead, so that the next one starts at once
        if not self.is_sqlite:
            yield
            return
        if not self._writer.acquire(timeout=wait_s):
            raise StoreBusy(self.where, "are in use by another request")
        try:
            yield
        finally:
            self._writer.release()


def open_store(url: str, *, wait_s: float = WAIT_S) -> Store:
    """The store at `url` (see `address.store_url`); a SQLite file and its folder are made where missing.

    A change waits up to `wait_s` for others.  Raises `Malformed` for an address that cannot be used and
    `StoreUnavailable`, `StoreBusy` or `StoreFull` when the records cannot be reached.
    """
    address = read_address(url)
    if address.drivername == "sqlite":
        store = _open_sqlite(Path(str(address.database)), wait_s)
    else:
        store = _open_postgresql(address, wait_s)
    try:
        store.check()
    except BaseException:
        store.close()
        raise
    return store


def studio_file(house: Path, studio: Studio) -> Path:
    """The SQLite file of a studio's records, beside the house's."""
    return house.with_name(f"{house.stem}-studios") / f"{studio.name}.studio.db"


def schema_of(studio: Studio) -> str:
    """The PostgreSQL schema of a studio's records."""
    return f"noonframe_{studio.id.hex}"


def _note_touched(
    connection: Connection, statement: object, _many: object, _one: object, _options: object, result: object
) -> None:
    touched = connection.get_execution_options().get(_TOUCHED)
    if touched is not None:
        touched.see(statement, result)


def _dump(value: object) -> str:
    return json.dumps(value, allow_nan=False, separators=(",", ":"))


def _open_sqlite(file: Path, wait_s: float, *, idle: int = 5) -> Store:
    where = str(file)
    try:
        # places and prints are the user's own business
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as problem:
        kind = StoreFull if problem.errno in (errno.ENOSPC, errno.EDQUOT) else StoreUnavailable
        why = f"cannot be made: {problem.strerror or problem} ({problem.filename})"
        raise kind(where, why) from problem
    engine = create_engine(
        URL.create("sqlite", database=where),
        connect_args={"timeout": wait_s},
        pool_timeout=wait_s,
        pool_size=idle,
        max_overflow=15 - idle,
        json_serializer=_dump,
    )
    event.listen(engine, "after_execute", _note_touched)

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: object) -> None:
        with _closed_on_error(connection):
            # the driver would otherwise begin transactions by its own rules, never around a change of tables
            connection.isolation_level = None
            mode = _patiently(lambda: connection.execute("PRAGMA journal_mode = WAL").fetchone()[0], wait_s)
            if mode != "wal":
                raise StoreUnavailable(where, "are in a folder where SQLite cannot share a file safely")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA fullfsync = ON")
            connection.execute("PRAGMA checkpoint_fullfsync = ON")
            connection.execute("PRAGMA foreign_keys = ON")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # a change takes the right to write at once: having read first, it could no longer wait for it
        writes = connection.get_execution_options().get("noonframe_writes", False)
        connection.exec_driver_sql(f"PRAGMA query_only = {'OFF' if writes else 'ON'}")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return Store(engine, where, wait_s)


@contextmanager
def _closed_on_error(connection: Any) -> Iterator[None]:
    # the pool forgets a connection that could not be prepared without closing it
    try:
        yield
    except BaseException:
        connection.close()
        raise


def _patiently(action: Callable[[], str], wait_s: float) -> str:
    # SQLite does not wait by itself while several openers of a new file turn it to WAL
    from sqlite3 import SQLITE_BUSY, OperationalError

    last_s = time.monotonic() + wait_s
    while True:
        try:
            return action()
        except OperationalError as problem:
            if problem.sqlite_errorcode & 0xFF != SQLITE_BUSY or time.monotonic() >= last_s:
                raise
            time.sleep(0.01)


@contextmanager
def _begin_sqlite_schema_change(connection: Connection) -> Iterator[None]:
    # tables are changed by copying them; with the keys watched, dropping the old copy would empty what refers
    # to it.  The pragmas do nothing inside a transaction, hence the bare connection.
    bare = connection.connection.dbapi_connection
    if bare is None:
        raise RuntimeError("a connected connection has no driver connection")
    cursor = bare.cursor()
    waited_ms = cursor.execute("PRAGMA busy_timeout").fetchone()[0]
    cursor.execute(f"PRAGMA busy_timeout = {int(_SCHEMA_WAIT_S * 1000)}")
    cursor.execute("PRAGMA foreign_keys = OFF")
    try:
        connection.execution_options(**_WRITES)
        with connection.begin():
            yield
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
            if broken is not None:
                raise RuntimeError(f"a change of tables would leave a row without its owner: {tuple(broken)}")
    finally:
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.execute(f"PRAGMA busy_timeout = {waited_ms}")
        cursor.close()


@contextmanager
def _begin_postgresql_schema_change(connection: Connection) -> Iterator[None]:
    with connection.begin():
        connection.execute(text("SET LOCAL statement_timeout = 0"))
        connection.execute(text("SET LOCAL lock_timeout = 0"))
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _SCHEMA_LOCK})
        yield


def _open_postgresql(address: URL, wait_s: float) -> Store:
    where = address.set(drivername="postgresql").render_as_string(hide_password=True)
    try:
        engine = create_engine(
            address,
            connect_args={"connect_timeout": 10, "application_name": "noonframe"},
            pool_pre_ping=True,
            pool_timeout=wait_s,
            pool_recycle=1800,
            json_serializer=_dump,
        )
    except ImportError as problem:
        raise StoreUnavailable(where, "need the package psycopg and the library libpq") from problem
    event.listen(engine, "after_execute", _note_touched)

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: object) -> None:
        with _closed_on_error(connection):
            connection.autocommit = True
            connection.execute(
                "SELECT set_config('statement_timeout', %s, false), set_config('lock_timeout', %s, false),"
                " set_config('idle_in_transaction_session_timeout', %s, false)",
                [str(int(1000 * seconds)) for seconds in (max(_STATEMENT_S, 2 * wait_s), wait_s, _IDLE_S)],
            )
            # an operator's stronger choice stays; only "off" would acknowledge what a crash can still lose
            connection.execute(
                "SELECT set_config('synchronous_commit', 'on', false)"
                " WHERE current_setting('synchronous_commit') = 'off'"
            )
            connection.autocommit = False

    return Store(engine, where, wait_s)
