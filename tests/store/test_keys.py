"""Keys, tickets, counts and studios, as both databases keep them."""

import datetime as dt
import threading

import pytest

from noonframe.errors import OutOfDomain, UnknownName
from noonframe.store import keys, limits, studios
from noonframe.store.actors import Studio
from noonframe.store.engine import schema_of, studio_file
from noonframe.store.errors import Conflict

NOW_S = 1_782_046_800.0


def make(store, **more):
    with store.write() as db:
        fields = {"name": "phone", "studio": None, "scope": "run", "expires_s": None, "now_s": NOW_S}
        return keys.create(db, **(fields | more))


def test_a_key_is_found_by_its_text_alone(store):
    key, text = make(store)
    with store.read() as db:
        assert keys.find(db, text) == key == keys.get(db, key.id)
        for wrong in (text[:-1], text + "A", text.upper(), "", "nf_", key.id, "\0", "nf_" + "a" * 54):
            assert keys.find(db, wrong) is None
    assert text not in repr(key)
    assert key.hash not in repr(key)


def test_a_key_is_good_until_it_ends_or_is_revoked(store):
    key, _ = make(store, expires_s=NOW_S + 60.0)
    assert (key.good_at(NOW_S), key.good_at(NOW_S + 59.9), key.good_at(NOW_S + 60.0)) == (True, True, False)
    with store.write() as db:
        gone = keys.revoke(db, key.id, now_s=NOW_S + 1.0)
        assert not gone.good_at(NOW_S)
        assert keys.revoke(db, key.id, now_s=NOW_S + 9.0).revoked_s == NOW_S + 1.0
        with pytest.raises(UnknownName):
            keys.revoke(db, "nobody", now_s=NOW_S)
        assert keys.any_made(db)
        assert not keys.any_good(db, NOW_S)


@pytest.mark.parametrize(
    ("bad", "field"),
    [
        ({"scope": "all"}, "scope"),
        ({"name": " "}, "name"),
        ({"name": "a\0b"}, "name"),
        ({"expires_s": NOW_S}, "expires"),
        ({"expires_s": float("nan")}, "expires"),
        ({"expires_s": 1e300}, "expires"),
    ],
)
def test_a_bad_key_is_refused_by_its_field(store, bad, field):
    with pytest.raises(Exception) as refused:
        make(store, **bad)
    assert refused.value.field == field
    with store.read() as db:
        assert not keys.any_made(db)


def test_the_day_of_use_only_moves_on(store):
    key, _ = make(store)
    for day, kept in ((21, 21), (22, 22), (20, 22)):
        with store.write() as db:
            keys.mark_used(db, key.id, dt.date(2026, 6, day))
            assert keys.get(db, key.id).last_used_day == dt.date(2026, 6, kept)


def test_a_key_knows_its_studio(store):
    with store.write() as db:
        studio = studios.create(db, "evening-class", now_s=NOW_S)
    key, text = make(store, studio=studio)
    house, _ = make(store)
    with store.read() as db:
        assert keys.find(db, text) == key
        assert [one.id for one in keys.newest(db, studio="evening-class")] == [key.id]
        assert [one.id for one in keys.newest(db)] == [house.id]
        assert {one.id for one in keys.newest(db, whole=True)} == {key.id, house.id}


def test_a_ticket_is_used_once_however_many_ask(store):
    key, _ = make(store)
    with store.write() as db:
        text, expires_s = keys.make_ticket(db, key.id, now_s=NOW_S)
    assert expires_s == NOW_S + 60.0
    found = []

    def take():
        with store.write() as db:
            found.append(keys.take_ticket(db, text, now_s=NOW_S))

    threads = [threading.Thread(target=take) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(good for good, _ in found) == [False] * 7 + [True]
    assert [owner for good, owner in found if good] == [key]


def test_old_tickets_go_when_a_new_one_is_made(store):
    from sqlalchemy import func, select

    from noonframe.store.tables import TICKETS

    with store.write() as db:
        for number in range(3):
            keys.make_ticket(db, None, now_s=NOW_S + 61.0 * number)
        assert db.execute(select(func.count()).select_from(TICKETS)).scalar_one() == 1


def test_a_quota_is_granted_once_over_all_takers(store):
    granted = []

    def take():
        for _ in range(10):
            with store.write() as db:
                granted.append(limits.take(db, "key:x", NOW_S, 3, 50)[0])

    threads = [threading.Thread(target=take) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(granted) == 50
    with store.write() as db:
        assert limits.take(db, "key:x", NOW_S + 60.0, 3, 50) == (3, 3)
        limits.forget(db, NOW_S + 60.0)
        assert limits.take(db, "key:x", NOW_S, 3, 50) == (3, 3)


def test_a_studio_has_its_name_alone_and_keeps_its_feeds(store):
    with store.write() as db:
        first = studios.create(db, "evening-class", now_s=NOW_S)
        for taken in ("evening-class", "house"):
            with pytest.raises(Conflict):
                studios.create(db, taken, now_s=NOW_S)
        with pytest.raises(OutOfDomain):
            studios.create(db, "../evening", now_s=NOW_S)
        with pytest.raises(UnknownName):
            studios.get(db, "nowhere")
        studios.own_feed(db, "ab" * 32, first)
        assert studios.owner_of_feed(db, "ab" * 32) == studios.get(db, "evening-class") == first
        assert studios.owner_of_feed(db, "cd" * 32) is None
        assert studios.every(db) == ((first, NOW_S),)


def test_the_records_of_a_studio_lie_apart(store):
    from noonframe.store.schema import upgrade
    from noonframe.store.spots import SPOTS, SpotFields

    with store.write() as db:
        made = [studios.create(db, name, now_s=NOW_S) for name in ("dyeing", "sunday")]
    stores = [store.of_studio(studio) for studio in made]
    try:
        for number, one in enumerate(stores):
            upgrade(one)
            with one.write() as db:
                import uuid

                fields = SpotFields(name=f"bench {number}", place="yard", spot={"kind": "open"})
                SPOTS.create(db, uuid.uuid4(), fields, now_s=NOW_S)
        for number, one in enumerate(stores):
            with one.read() as db:
                assert [saved.fields.name for saved in SPOTS.newest(db)] == [f"bench {number}"]
                assert studios.every(db) == ()  # the list of studios is the house's alone
        with store.read() as db:
            assert SPOTS.newest(db) == ()
            assert len(studios.every(db)) == 2
    finally:
        if not store.is_sqlite:
            with store.write() as db:
                for studio in made:
                    db.exec_driver_sql(f'DROP SCHEMA "{schema_of(studio)}" CASCADE')
        for one in stores:
            one.close()


def test_where_a_studio_lies_follows_from_its_name_and_its_id(tmp_path):
    import uuid

    studio = Studio("evening-class", uuid.UUID(int=7))
    assert studio_file(tmp_path / "noonframe.db", studio) == (
        tmp_path / "noonframe-studios" / "evening-class.studio.db"
    )
    assert schema_of(studio) == "noonframe_00000000000000000000000000000007"
    assert len(schema_of(studio)) <= 63  # PostgreSQL cuts longer names off
