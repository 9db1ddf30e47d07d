"""Private calendar feeds: found by the hash of a token, until they are revoked."""

import datetime as dt
import uuid

import pytest
from shelf_records import NINE_S, token_hash

from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store import feeds
from noonframe.store.errors import Conflict
from noonframe.store.tables import FEEDS

WHAT = {"place": "quayside-yard", "horizon_days": 7, "note": "ü\0"}
TODAY = dt.date(2026, 6, 21)


def create(store, token="tide", feed_id=None, **given):
    asked = {"name": "phone", "token_hash": token_hash(token), "what": WHAT, "now_s": NINE_S}
    with store.write() as db:
        return feeds.create(db, feed_id=feed_id or uuid.uuid4(), **asked | given)


def test_a_feed_is_found_by_the_hash_of_its_token_alone(store):
    made = create(store)
    create(store, "kelp")
    with store.read() as db:
        assert feeds.by_token_hash(db, token_hash("tide")) == made == feeds.get(db, made.id)
        assert feeds.by_token_hash(db, token_hash("Tide")) is None
    assert made == feeds.Feed(made.id, "phone", token_hash("tide"), WHAT, NINE_S, None, None)


def test_a_revoked_feed_is_found_by_its_token_no_more_and_stays_revoked(store):
    made = create(store)
    with store.write() as db:
        revoked = feeds.revoke(db, made.id, now_s=NINE_S + 1.0)
        again = feeds.revoke(db, made.id, now_s=NINE_S + 2.0)
        assert feeds.by_token_hash(db, token_hash("tide")) is None
    assert revoked == again
    assert revoked.revoked_s == NINE_S + 1.0
    with pytest.raises(Conflict):  # its token may not open another one
        create(store)


def test_feeds_are_listed_newest_first_and_by_pages(store):
    ids = [create(store, str(number), now_s=NINE_S + number // 2).id for number in range(5)]
    with store.write() as db:
        feeds.revoke(db, ids[3], now_s=NINE_S)
        every = feeds.newest(db, revoked=None)
        assert [feed.created_s - NINE_S for feed in every] == [2.0, 1.0, 1.0, 0.0, 0.0]
        assert {feed.id for feed in feeds.newest(db)} == {*ids} - {ids[3]}
        assert [feed.id for feed in feeds.newest(db, revoked=True)] == [ids[3]]
        pages, before = [], None
        while page := feeds.newest(db, revoked=None, before=before, limit=2):
            pages += page
            before = page[-1]
        assert tuple(pages) == every


def test_the_last_day_of_use_only_moves_on(store):
    made = create(store)
    with store.write() as db:
        for day in (TODAY, TODAY - dt.timedelta(1)):
            feeds.mark_used(db, made.id, day)
            assert feeds.get(db, made.id).last_used_day == TODAY
        feeds.mark_used(db, made.id, TODAY + dt.timedelta(1))
        assert feeds.get(db, made.id).last_used_day == TODAY + dt.timedelta(1)


def test_taken_ids_and_taken_tokens_are_told_apart_and_the_token_is_not_told(store):
    made = create(store)
    with pytest.raises(Conflict) as caught:
        create(store, "other", feed_id=made.id)
    assert caught.value.field == "feed_id"
    with pytest.raises(Conflict) as caught:
        create(store)
    assert caught.value.field == "token_hash"
    assert token_hash("tide") not in str(caught.value)


@pytest.mark.parametrize("given", ["tide", "", token_hash("tide").upper(), token_hash("tide") + "\n"])
def test_what_is_no_hash_is_refused_without_being_told(store, given):
    for ask in (lambda: create(store, token_hash=given), lambda: by_hash(store, given)):
        with pytest.raises(Malformed) as caught:
            ask()
        assert caught.value.field == "token_hash"
        assert "tide" not in str(caught.value)


def by_hash(store, given):
    with store.read() as db:
        return feeds.by_token_hash(db, given)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"name": ""}, "name"),
        ({"what": {"a": float("nan")}}, "what"),
        ({"what": {"a": "x" * feeds.LONGEST_WHAT}}, "what"),
        ({"now_s": float("nan")}, "now_s"),
    ],
)
def test_what_cannot_be_a_feed_is_refused_by_its_field(store, given, field):
    with pytest.raises((Malformed, OutOfDomain)) as caught:
        create(store, **given)
    assert caught.value.field == field


def test_an_unknown_feed_is_called_so(store):
    for ask in (feeds.get, lambda db, i: feeds.revoke(db, i, now_s=NINE_S)):
        with pytest.raises(UnknownName) as caught, store.write() as db:
            ask(db, uuid.uuid4())
        assert caught.value.field == "feed_id"


def test_neither_the_token_nor_its_hash_shows_in_what_is_printed_of_a_feed(store):
    made = create(store)
    assert made.token_hash not in repr(made)
    with store.read() as db:
        row = db.execute(FEEDS.select()).one()
    assert "tide" not in map(str, row)
