"""A copy of everything an installation keeps, in one file, and back.

The file is a ZIP of SQLite files, one for the house and one for each studio, with a list of their hashes
and row counts.  Records in SQLite are copied by its online backup, while others go on writing; records in
PostgreSQL are read in one unchanging view for each studio and written into SQLite files of the same tables.
So a copy of either kind can be restored into either: that is also the way from one machine to a server.

A copy is only called good once it was opened again, checked by SQLite, and compared with what was read.
"""

import hashlib
import json
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection

from noonframe.errors import Malformed
from noonframe.store import schema, studios
from noonframe.store.actors import HOUSE, Studio
from noonframe.store.address import sqlite_url
from noonframe.store.engine import Store, open_store
from noonframe.store.errors import Conflict, StoreUnavailable
from noonframe.store.tables import METADATA

FORM = 1
_LIST = "contents.json"
_AT_ONCE = 1000
_MOST_STUDIOS = 100_000
_MODULUS = 1 << 256


@dataclass(frozen=True)
class Copied:
    """What a copy holds of one studio: the file in it, its hash, and the rows of each table."""

    studio: str
    file: str
    sha256: str
    rows: Mapping[str, int]

    @property
    def total_rows(self) -> int:
        """Rows in all tables together."""
        return sum(self.rows.values())


def write_backup(house: Store, target: Path) -> tuple[Copied, ...]:
    """Copy everything into the new file `target`, and check it; a file that is there is never overwritten.

    Raises `Conflict` for a file that is there, `StoreError` for records that cannot be read or a copy that
    is not good; then no file is left behind.
    """
    if target.exists():
        raise Conflict("file", str(target), "it is there already")
    copied = []
    with tempfile.TemporaryDirectory(prefix=".noonframe-", dir=_folder(target)) as held:
        folder = Path(held)
        copied.append(_copy(house, folder / "house.db", HOUSE))
        for studio in _known_to(folder / "house.db"):  # what was made since then is left for the next copy
            store = house.of_studio(studio)
            try:
                schema.upgrade(store)
                copied.append(_copy(store, folder / f"studio-{studio.name}.db", studio.name))
            finally:
                store.close()
        packed = folder / "packed"
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
            told = {"form": FORM, "tables": schema.HEAD, "studios": [asdict(one) for one in copied]}
            archive.writestr(_LIST, json.dumps(told, indent=1))
            for one in copied:
                archive.write(folder / one.file, one.file)
        packed.chmod(0o600)  # it holds what the records hold
        with opened_backup(packed):
            pass
        packed.rename(target)
    return tuple(copied)


@contextmanager
def opened_backup(file: Path) -> Iterator[tuple[tuple[Copied, ...], Path]]:
    """A copy, unpacked and checked: hashes, SQLite's own check and row counts.

    Raises `Malformed` for a file that is no copy, or is damaged.
    """
    with tempfile.TemporaryDirectory(prefix="noonframe-") as held:
        folder = Path(held)
        try:
            with zipfile.ZipFile(file) as archive:
                copied = _listed(archive, file)
                for one in copied:
                    with archive.open(one.file) as packed, (folder / one.file).open("wb") as plain:
                        shutil.copyfileobj(packed, plain)
        except (OSError, zipfile.BadZipFile, EOFError, KeyError, RuntimeError, zlib.error) as problem:
            raise Malformed("file", str(file), f"must be a backup that can be read ({problem})") from None
        for one in copied:
            _check(file, folder / one.file, one)
        yield copied, folder


def restore_backup(file: Path, house_url: str, *, wait_s: float) -> tuple[Copied, ...]:
    """Put a copy into a database that holds nothing yet, and check what came of it.

    Raises `Conflict` when there are records already: take them away yourself, so that nothing is lost by a
    wrong word.  When it fails half way the database is left as far as it came, and the copy as it was.
    """
    with opened_backup(file) as (copied, folder):
        house = open_store(house_url, wait_s=wait_s)
        try:
            if schema.revision(house) is not None and _any_rows(house):
                raise Conflict("records", house.where, "there are records already")
            schema.upgrade(house)
            by_name = {one.studio: one for one in copied}
            _pour(folder / by_name[HOUSE].file, house, by_name[HOUSE])
            with house.read() as db:
                found = [studio for studio, _ in studios.every(db)]
            for studio in found:
                _pour_studio(folder, house, studio, by_name[studio.name])
        finally:
            house.close()
    return copied


def content_of(db: Connection) -> tuple[dict[str, int], dict[str, str]]:
    """Row counts, and for each table a hash that does not depend on the order of its rows."""
    rows, content = {}, {}
    for table in METADATA.sorted_tables:
        number, total = 0, 0
        for row in db.execute(table.select().execution_options(yield_per=_AT_ONCE)):
            number += 1
            digest = hashlib.sha256(repr(tuple(map(_plain, row))).encode("utf-8", "surrogatepass")).digest()
            total = (total + int.from_bytes(digest)) % _MODULUS
        rows[table.name], content[table.name] = number, f"{total:064x}"
    return rows, content


def _plain(value: object) -> object:
    return bytes(value) if isinstance(value, bytes | bytearray | memoryview) else value


def _copy(store: Store, file: Path, name: str) -> Copied:
    if store.is_sqlite:
        _copy_online(Path(store.where), file)
        with _opened(file) as kept, kept.read() as db:
            rows, _ = content_of(db)
    else:
        with _opened(file) as kept, store.read() as source:
            schema.upgrade(kept)
            rows, content = content_of(source)
            with kept.write() as db:
                _pour_rows(source, db)
            with kept.read() as db:
                if content_of(db) != (rows, content):
                    raise StoreUnavailable(store.where, "were copied, but the copy differs; try again")
    _settle(file)
    return Copied(name, file.name, _sha256(file), rows)


def _copy_online(source: Path, target: Path) -> None:
    """SQLite's online backup (https://www.sqlite.org/backup.html): one state of the file, whoever writes."""
    address = f"file:{_quoted(source)}?mode=ro"
    try:
        with (
            closing(sqlite3.connect(address, uri=True, timeout=60)) as live,
            closing(sqlite3.connect(target)) as copy,
        ):
            live.backup(copy)  # in one step: steps begin anew whenever somebody writes
    except sqlite3.Error as problem:
        raise StoreUnavailable(str(source), f"cannot be copied: {problem}") from problem


def _known_to(house: Path) -> list[Studio]:
    """The studios that a copy of the house knows; read without a change to its file."""
    with closing(sqlite3.connect(house)) as plain:
        rows = plain.execute("SELECT name, id FROM studios ORDER BY name").fetchall()
    return [Studio(name, UUID(studio_id)) for name, studio_id in rows]


def _quoted(path: Path) -> str:
    from urllib.parse import quote

    return quote(str(path))


def _settle(file: Path) -> None:
    """Bring everything into the one file, without the log beside it."""
    with closing(sqlite3.connect(file)) as plain:
        plain.execute("PRAGMA journal_mode = DELETE")


def _pour_studio(folder: Path, house: Store, studio: Studio, one: Copied) -> None:
    store = house.of_studio(studio)
    try:
        schema.upgrade(store)
        if _any_rows(store):
            raise Conflict("records", store.where, "there are records already")
        _pour(folder / one.file, store, one)
    finally:
        store.close()


def _pour(file: Path, store: Store, one: Copied) -> None:
    with _opened(file) as kept:
        schema.upgrade(kept)  # a copy by an older version has older tables
        with kept.read() as source:
            rows, content = content_of(source)
            with store.write() as db:
                _pour_rows(source, db)
                if content_of(db) != (rows, content):
                    raise StoreUnavailable(
                        store.where, f"differ from the copy of {one.studio}; nothing was kept"
                    )


def _pour_rows(source: Connection, target: Connection) -> None:
    for table in METADATA.sorted_tables:
        found = source.execute(table.select().execution_options(yield_per=_AT_ONCE))
        for part in found.partitions():
            target.execute(table.insert(), [dict(row._mapping) for row in part])
        if target.dialect.name == "postgresql":
            for column in table.primary_key:
                if column.autoincrement is True:  # numbers go on where the copied ones end
                    target.execute(
                        sa.text(
                            f"SELECT setval(pg_get_serial_sequence('{table.name}', '{column.name}'),"
                            f" (SELECT coalesce(max({column.name}), 0) + 1 FROM {table.name}), false)"
                        )
                    )


def _any_rows(store: Store) -> bool:
    with store.read() as db:
        there = set(sa.inspect(db).get_table_names())
        return any(
            db.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first() is not None
            for table in METADATA.sorted_tables
            if table.name in there
        )


def _listed(archive: zipfile.ZipFile, file: Path) -> tuple[Copied, ...]:
    """What the copy says it holds; only files by the names that copies have are ever unpacked."""
    try:
        told: Any = json.loads(archive.read(_LIST))
        if told["form"] != FORM:
            raise Malformed("file", str(file), f"is of form {told['form']}; this version reads form {FORM}")
        copied = tuple(Copied(**one) for one in told["studios"][:_MOST_STUDIOS])
        names = [one.studio for one in copied]
        fits = all(one.file == _file_name(one.studio) for one in copied)
        if names.count(HOUSE) != 1 or len(set(names)) != len(names) or not fits:
            raise ValueError("its list of studios")
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise Malformed("file", str(file), f"must be a backup of noonframe ({problem})") from None
    return copied


def _file_name(studio: str) -> str:
    if studio == HOUSE:
        return "house.db"
    if not studios.NAME.fullmatch(studio):
        raise ValueError("the name of a studio")
    return f"studio-{studio}.db"


def _check(file: Path, unpacked: Path, one: Copied) -> None:
    if _sha256(unpacked) != one.sha256:
        raise Malformed("file", str(file), f"is damaged: {one.file} is not what was copied")
    plain = sqlite3.connect(unpacked)
    try:
        found = plain.execute("PRAGMA integrity_check").fetchone()[0]
        rows = {
            name: plain.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]
            for (name,) in plain.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
            if name in one.rows
        }
    except sqlite3.Error as problem:
        raise Malformed("file", str(file), f"is damaged: {one.file}: {problem}") from None
    finally:
        plain.close()
    if found != "ok" or rows != dict(one.rows):
        raise Malformed("file", str(file), f"is damaged: {one.file} does not hold what was copied")


@contextmanager
def _opened(file: Path) -> Iterator[Store]:
    store = open_store(sqlite_url(file))
    try:
        yield store
    finally:
        store.close()


def _sha256(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _folder(target: Path) -> Path:
    folder = target.absolute().parent
    if not folder.is_dir():
        raise Malformed("file", str(target), "must lie in a folder that exists")
    return folder
