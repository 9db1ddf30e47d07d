"""Migrations: up, down, with data in them, and from many starts at once."""

import subprocess
import sys
import uuid
from pathlib import Path

import pytest
import sqlalchemy as sa
from bench_records import fill_bench
from shelf_records import fill_shelves
from trust_records import fill_trust

from noonframe.errors import OutOfDomain
from noonframe.store import exposures, idempotency, light_records
from noonframe.store.engine import open_store
from noonframe.store.errors import StoreUnavailable
from noonframe.store.schema import HEAD, MIGRATIONS, downgrade, known_revisions, revision, upgrade
from noonframe.store.tables import METADATA
from noonframe.store.weather import SqlWeatherCache
from noonframe.weather.cache import BackOff, StoredAnswer

OPENER = Path(__file__).parent / "racing_opener.py"


@pytest.fixture
def empty_store(database_url):
    store = open_store(database_url)
    yield store
    store.close()


def tables(store):
    with store.read() as db:
        return set(sa.inspect(db).get_table_names()) - {"alembic_version"}


def content(store):
    """Every row of every table that is there, as the database holds it."""
    there = tables(store)
    with store.read() as db:
        return {
            table.name: sorted(map(repr, db.execute(table.select()).all()))
            for table in METADATA.sorted_tables
            if table.name in there
        }


def fill(store):
    cache = SqlWeatherCache(store)
    cache.put("porto", StoredAnswer(200, b'{"a":1}', '"tag"', None, 20.0, 10.0))
    cache.set_back_off("porto", BackOff(30.0, "throttled", "asked too often", 2))
    assert cache.take_lease("porto", "worker", 0.0, 10.0)
    exposure_id = uuid.uuid4()
    with store.write() as db:
        claimed = idempotency.claim(db, "key", "route", "hash", now_s=1.0)
        exposures.create(
            db, exposure_id=exposure_id, created_s=1.5, name="kelp", scene={"spot": {}}, target_j_m2=2e4
        )
        for number in range(3):
            exposures.append(
                db,
                exposure_id,
                event_id=uuid.uuid4(),
                kind="sky",
                at_s=1.0 - number,
                received_s=2.0,
                payload={"seen": "ü\0"},
            )
        light_records.keep(db, exposure_id, {"edges_s": [1.5, 901.5], "cover": [0.25]}, 2.0)
        idempotency.finish(db, claimed, idempotency.StoredReply(201, "application/json", b"\0\xff"))
    fill_bench(store)
    fill_shelves(store)
    fill_trust(store)
    return exposure_id


def test_every_table_has_rows_when_the_migrations_are_tried(store):
    fill(store)
    assert [name for name, rows in content(store).items() if not rows] == []


def test_an_empty_store_has_no_number(empty_store):
    assert revision(empty_store) is None
    assert tables(empty_store) == set()


def test_the_newest_migration_is_the_one_that_a_start_looks_for():
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    script = ScriptDirectory.from_config(config)
    assert script.get_heads() == [HEAD]
    assert [step.revision for step in script.walk_revisions()][::-1] == known_revisions()


def test_migrations_make_the_tables_that_the_program_uses(store):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with store.read() as db:
        assert compare_metadata(MigrationContext.configure(db, opts={"compare_type": True}), METADATA) == []
        there = sa.inspect(db)
        for table in METADATA.sorted_tables:
            assert there.get_pk_constraint(table.name)["name"] == table.primary_key.name
            assert {c["name"] for c in there.get_check_constraints(table.name)} == {
                c.name for c in table.constraints if isinstance(c, sa.CheckConstraint)
            }
    assert revision(store) == HEAD


def test_a_second_upgrade_changes_nothing(store):
    fill(store)
    before = content(store)
    upgrade(store)
    assert content(store) == before


def test_going_down_step_by_step_keeps_what_the_older_tables_hold_and_up_again_gives_all_tables(store):
    fill(store)
    steps = [*reversed(known_revisions()[:-1]), "base"]
    for target in steps:
        before = content(store)
        downgrade(store, target)
        after = content(store)
        assert set(after) <= set(before)
        kept = {name: before[name] for name in after}
        if target == "0008":  # the one step down that takes a field out of a table that stays
            assert any("film" in row for row in kept["print_versions"])
            assert not any("film" in row for row in after["print_versions"])
            del kept["print_versions"], after["print_versions"]
        assert after == kept
        assert revision(store) == (None if target == "base" else target)
    assert tables(store) == set()
    upgrade(store)
    assert tables(store) == {table.name for table in METADATA.sorted_tables}
    assert not any(content(store).values())


def test_going_up_step_by_step_keeps_what_is_there(store):
    fill(store)
    for target in known_revisions()[:-1]:
        downgrade(store, target)
        before = content(store)
        upgrade(store)
        after = content(store)
        assert {name: after[name] for name in before} == before
        downgrade(store, "base")
        upgrade(store)
        fill(store)


def test_a_change_of_tables_keeps_the_rows_that_refer_to_it(store):
    # SQLite changes a table by copying it and dropping the old one
    exposure_id = fill(store)
    with store.change_schema() as db:
        from alembic.migration import MigrationContext
        from alembic.operations import Operations

        operations = Operations(MigrationContext.configure(db, opts={"transactional_ddl": True}))
        way = "always" if store.is_sqlite else "auto"
        with operations.batch_alter_table("exposures", recreate=way) as exposure:
            exposure.add_column(sa.Column("note", sa.Text))
    with store.read() as db:
        assert len(exposures.events_after(db, exposure_id)) == 3
        if store.is_sqlite:
            assert db.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1


def test_a_change_of_tables_that_fails_leaves_everything_as_it_was(store):
    fill(store)
    before = content(store)

    def fail():
        with store.change_schema() as db:
            db.exec_driver_sql("CREATE TABLE half_done (a INTEGER)")
            db.exec_driver_sql("DELETE FROM exposure_events")
            raise KeyError("any")

    with pytest.raises(KeyError):
        fail()
    assert content(store) == before
    assert "half_done" not in tables(store)


def test_a_change_of_tables_may_not_leave_an_event_without_its_exposure(store):
    fill(store)
    before = content(store)
    # SQLite checks at the end, PostgreSQL at once
    with pytest.raises(Exception, match=r"without its owner|one like it"), store.change_schema() as db:
        db.exec_driver_sql("DELETE FROM exposures")
    assert content(store) == before


def test_tables_of_a_newer_program_are_left_alone(store):
    fill(store)
    with store.write() as db:
        db.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    before = content(store)
    with pytest.raises(StoreUnavailable, match="another version"):
        upgrade(store)
    with pytest.raises(StoreUnavailable, match="another version"):
        downgrade(store, "base")
    assert content(store) == before


def test_going_down_to_an_unknown_number_is_refused(store):
    with pytest.raises(OutOfDomain, match="base, 0001"):
        downgrade(store, "7")


def test_many_starts_at_once_make_the_tables_once(database_url):
    openers = [
        subprocess.Popen(
            [sys.executable, "-W", "error", str(OPENER), database_url],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(5)
    ]
    for opener in openers:
        assert opener.stdout.readline() == "ready\n"
    for opener in openers:
        opener.stdin.write("go\n")
        opener.stdin.flush()
    for opener in openers:
        said, complaints = opener.communicate(timeout=120)
        assert (said, complaints, opener.returncode) == (f"{HEAD}\n", "", 0)


def imported_after(code):
    listing = "import sys; print(*sorted({name.split('.')[0] for name in sys.modules}))"
    command = [sys.executable, "-c", f"{code}\n{listing}"]
    return set(subprocess.run(command, check=True, capture_output=True, text=True).stdout.split())


def test_the_errors_can_be_named_without_loading_a_database_library():
    loaded = imported_after("import noonframe.store, noonframe.store.errors, noonframe.settings")
    assert not loaded & {"sqlalchemy", "alembic", "psycopg", "sqlite3"}


def test_an_ordinary_start_does_not_load_the_migration_library(store, database_url):
    code = (
        "from noonframe.store.engine import open_store\n"
        "from noonframe.store.schema import upgrade\n"
        "from noonframe.store import exposures, idempotency, weather\n"
        f"store = open_store({database_url!r}); upgrade(store); store.close()"
    )
    loaded = imported_after(code)
    assert "sqlalchemy" in loaded
    assert "alembic" not in loaded
