"""Everything in one file, and back, between both kinds of database."""

import json
import sqlite3
import threading
import uuid
import zipfile

import pytest
from bench_records import fill_bench
from databases import KINDS, empty_database
from shelf_records import fill_shelves
from trust_records import NOW_S, fill_trust

from noonframe.errors import Malformed
from noonframe.store import audit, schema, studios
from noonframe.store.actors import Actor
from noonframe.store.address import sqlite_url
from noonframe.store.backup import content_of, opened_backup, restore_backup, write_backup
from noonframe.store.engine import open_store
from noonframe.store.errors import Conflict, StoreError
from noonframe.store.spots import SPOTS, SpotFields


class Place:
    """A house with two studios, one of them full."""

    def __init__(self, url):
        self.url = url
        self.house = open_store(url)
        schema.upgrade(self.house)
        self.stores = [self.house]

    def fill(self):
        fill_bench(self.house)
        fill_trust(self.house)
        with self.house.write() as db:
            studios.create(db, "weekend", now_s=NOW_S)
        for studio in self.studios():
            store = self.house.of_studio(studio)
            schema.upgrade(store)
            self.stores.append(store)
            if studio.name == "weekend":
                fill_bench(store)
                fill_shelves(store)

    def studios(self):
        with self.house.read() as db:
            return [studio for studio, _ in studios.every(db)]

    def content(self):
        found = {}
        with self.house.read() as db:
            found["house"] = content_of(db)
        for studio in self.studios():
            store = self.house.of_studio(studio)
            self.stores.append(store)
            with store.read() as db:
                found[studio.name] = content_of(db)
        return found

    def lose_studios(self):
        if not self.house.is_sqlite:
            with self.house.write() as db:
                for studio in studios.every(db):
                    db.exec_driver_sql(f'DROP SCHEMA IF EXISTS "noonframe_{studio[0].id.hex}" CASCADE')

    def close(self):
        self.lose_studios()
        for store in reversed(self.stores):
            store.close()


@pytest.fixture(params=KINDS)
def full(request, tmp_path):
    with empty_database(request.param, tmp_path / "full") as url:
        place = Place(url)
        place.fill()
        yield place
        place.close()


@pytest.fixture
def small(tmp_path):
    place = Place(sqlite_url(tmp_path / "small" / "noonframe.db"))
    place.fill()
    yield place
    place.close()


@pytest.mark.parametrize("into", KINDS)
def test_a_copy_of_either_kind_comes_back_in_either(full, into, tmp_path):
    before = full.content()
    file = tmp_path / "copy.noonframe"
    copied = write_backup(full.house, file)
    assert [one.studio for one in copied] == ["house", "evening-class", "weekend"]
    full.lose_studios()  # the same database must not hold them twice
    with empty_database(into, tmp_path / "empty") as url:
        assert restore_backup(file, url, wait_s=10.0) == copied
        place = Place(url)
        assert place.content() == before
        with place.house.write() as db:  # numbers go on after those that were copied
            audit.note(db, Actor(None, "x", "POST", "/v1/spots", None, "r", NOW_S))
        with place.house.read() as db:
            assert [entry.sequence for entry in audit.newest(db)] == [2, 1]
        place.close()


def test_a_copy_is_whole_while_others_write(small, tmp_path):
    stop = threading.Event()
    written = []

    def write():
        while not stop.is_set():
            with small.house.write() as db:
                fields = SpotFields(name=f"spot {len(written)}", place="yard", spot={"kind": "open"})
                SPOTS.create(db, uuid.uuid4(), fields, now_s=NOW_S)
            written.append(1)

    with small.house.read() as db:
        before, _ = content_of(db)
    thread = threading.Thread(target=write)
    thread.start()
    try:
        while len(written) < 3:
            pass
        for number in range(3):
            (house, *_) = write_backup(small.house, tmp_path / f"{number}.noonframe")
            with opened_backup(tmp_path / f"{number}.noonframe") as (again, _):
                assert again[0] == house
            grown = {name: house.rows[name] - before[name] for name in ("spots", "spot_versions")}
            assert grown["spots"] == grown["spot_versions"] >= 3
    finally:
        stop.set()
        thread.join()
    assert written


def test_a_file_that_is_there_is_never_written_over(small, tmp_path):
    file = tmp_path / "copy.noonframe"
    file.write_text("somebody's")
    with pytest.raises(Conflict, match="there already"):
        write_backup(small.house, file)
    assert file.read_text() == "somebody's"
    with pytest.raises(Malformed, match="folder"):
        write_backup(small.house, tmp_path / "nowhere" / "copy")


def test_a_copy_can_be_read_by_its_owner_alone_and_leaves_nothing_beside_it(small, tmp_path):
    folder = tmp_path / "copies"
    folder.mkdir()
    write_backup(small.house, folder / "copy.noonframe")
    assert [one.name for one in folder.iterdir()] == ["copy.noonframe"]
    assert (folder / "copy.noonframe").stat().st_mode & 0o077 == 0


def test_records_that_are_there_are_never_replaced(small, tmp_path):
    file = tmp_path / "copy.noonframe"
    write_backup(small.house, file)
    before = small.content()
    with pytest.raises(Conflict, match="records already"):
        restore_backup(file, small.url, wait_s=10.0)
    assert small.content() == before


@pytest.mark.parametrize("at_share", [0.1, 0.3, 0.5, 0.7, 0.9])
@pytest.mark.parametrize("harm", ["cut", "flipped"])
def test_a_damaged_copy_is_never_restored(small, tmp_path, at_share, harm):
    file, target = tmp_path / "copy.noonframe", tmp_path / "target" / "noonframe.db"
    write_backup(small.house, file)
    raw = bytearray(file.read_bytes())
    where = int(len(raw) * at_share)
    if harm == "cut":
        del raw[where:]
    else:
        raw[where] ^= 0xFF
    file.write_bytes(raw)
    with pytest.raises(Malformed):
        restore_backup(file, sqlite_url(target), wait_s=10.0)
    assert not target.exists()


def repacked(file, change):
    """The same copy with its list or files changed, as a careful forger would."""
    with zipfile.ZipFile(file) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts = change(parts)
    with zipfile.ZipFile(file, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


def with_list(parts, change):
    told = json.loads(parts["contents.json"])
    change(told)
    return {**parts, "contents.json": json.dumps(told).encode()}


@pytest.mark.parametrize(
    "change",
    [
        lambda parts: {},
        lambda parts: {"contents.json": b"[]"},
        lambda parts: {**parts, "contents.json": b"{"},
        lambda parts: with_list(parts, lambda told: told.update(form=2)),
        lambda parts: with_list(parts, lambda told: told["studios"].pop(0)),
        lambda parts: with_list(parts, lambda told: told["studios"].append(told["studios"][1])),
        lambda parts: with_list(parts, lambda told: told["studios"][1].update(file="../../outside.db")),
        lambda parts: with_list(
            parts, lambda told: told["studios"][1].update(studio="../x", file="studio-../x.db")
        ),
        lambda parts: with_list(parts, lambda told: told["studios"][0]["rows"].update(spots=1000)),
        lambda parts: {**parts, "house.db": parts["studio-weekend.db"]},
        lambda parts: {name: content for name, content in parts.items() if name != "house.db"},
    ],
    ids=[
        *("empty", "no list", "broken list", "newer form", "no house", "a studio twice", "a path outside"),
        *("a name outside", "other rows", "another file", "a file left out"),
    ],
)
def test_what_is_no_copy_is_refused_and_nothing_is_written(small, tmp_path, change):
    file, target = tmp_path / "copy.noonframe", tmp_path / "target" / "noonframe.db"
    write_backup(small.house, file)
    repacked(file, change)
    with pytest.raises(Malformed) as refused:
        restore_backup(file, sqlite_url(target), wait_s=10.0)
    assert refused.value.field == "file"
    assert not target.exists()
    assert not (tmp_path / "outside.db").exists()


def test_damaged_records_are_not_copied(tmp_path):
    place = Place(sqlite_url(tmp_path / "records" / "noonframe.db"))
    place.fill()
    for store in place.stores:
        store.close()
    file = tmp_path / "records" / "noonframe.db"
    raw = bytearray(file.read_bytes())
    for page in range(4, len(raw) // 4096):
        raw[page * 4096 : page * 4096 + 64] = b"\xff" * 64
    file.write_bytes(raw)
    with pytest.raises((StoreError, Malformed)):
        write_backup(open_store(place.url), tmp_path / "copy.noonframe")
    assert not (tmp_path / "copy.noonframe").exists()


def test_an_older_copy_comes_back_with_todays_tables(small, tmp_path):
    file = tmp_path / "copy.noonframe"
    write_backup(small.house, file)

    def aged(parts):
        import hashlib

        old = tmp_path / "old.db"
        old.write_bytes(parts["house.db"])
        with sqlite3.connect(old) as plain:
            plain.execute("DROP TABLE feed_owners")
            plain.execute("DROP TABLE tickets")
            plain.execute("DROP TABLE api_keys")
            plain.execute("DROP TABLE rate_windows")
            plain.execute("DROP TABLE audit")
            plain.execute("DROP TABLE studios")
            plain.execute("UPDATE alembic_version SET version_num = '0007'")
        plain.close()
        parts["house.db"] = old.read_bytes()

        def change(told):
            house = told["studios"][0]
            told["studios"] = [house]
            house["sha256"] = hashlib.sha256(parts["house.db"]).hexdigest()
            gone = ("feed_owners", "tickets", "api_keys", "rate_windows", "audit", "studios")
            house["rows"] = {name: rows for name, rows in house["rows"].items() if name not in gone}

        return with_list(parts, change)

    repacked(file, aged)
    url = sqlite_url(tmp_path / "target" / "noonframe.db")
    restore_backup(file, url, wait_s=10.0)
    place = Place(url)
    assert schema.revision(place.house) == schema.HEAD
    mine, theirs = small.content()["house"], place.content()["house"]
    assert theirs[1]["spots"] == mine[1]["spots"]
    assert theirs[0]["api_keys"] == 0
    place.close()
