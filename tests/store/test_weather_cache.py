"""The weather cache in the database does what the one in memory does, and is there for every worker."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from databases import KINDS, empty_database

from noonframe.store.engine import open_store
from noonframe.store.schema import upgrade
from noonframe.store.weather import SqlWeatherCache
from noonframe.weather.cache import BackOff, MemoryCache, StoredAnswer, WeatherCache

FIRST = StoredAnswer(
    status=200,
    body=b'{"hourly":\x00\xff}',
    etag='W/"a\'b"',
    last_modified="Tue, 16 Jun 2020 12:13:49 GMT",
    expires_s=2000.5,
    fetched_s=1000.25,
)
SECOND = StoredAnswer(203, b"", None, None, 3000.0, 2500.0)
PAUSE = BackOff(5000.125, "throttled", "asked too often", 3)


@pytest.fixture(params=["memory", *KINDS])
def cache(request, tmp_path):
    if request.param == "memory":
        yield MemoryCache()
        return
    with empty_database(request.param, tmp_path) as url:
        store = open_store(url)
        upgrade(store)
        kept: WeatherCache = SqlWeatherCache(store)
        yield kept
        store.close()


def test_an_answer_comes_back_letter_for_letter(cache):
    assert cache.get("porto") is None
    cache.put("porto", FIRST)
    assert cache.get("porto") == FIRST
    assert cache.get("dunedin") is None


def test_a_newer_answer_takes_the_place_of_the_older_one_with_all_its_parts(cache):
    cache.put("porto", FIRST)
    cache.put("porto", SECOND)
    assert cache.get("porto") == SECOND


def test_a_pause_is_kept_replaced_and_forgotten(cache):
    assert cache.get_back_off("provider") is None
    cache.set_back_off("provider", PAUSE)
    assert cache.get_back_off("provider") == PAUSE
    assert cache.get_back_off("another") is None
    longer = BackOff(9000.0, "unreachable", "no answer", 4)
    cache.set_back_off("provider", longer)
    assert cache.get_back_off("provider") == longer
    cache.set_back_off("provider", None)
    cache.set_back_off("provider", None)
    assert cache.get_back_off("provider") is None


def test_old_answers_and_ended_pauses_are_dropped_and_others_stay(cache):
    cache.put("old", FIRST)
    cache.put("young", SECOND)
    cache.set_back_off("ended", BackOff(2499.0, "throttled", "", 1))
    cache.set_back_off("lasting", PAUSE)
    cache.forget_before(2500.0)
    assert (cache.get("old"), cache.get("young")) == (None, SECOND)
    assert (cache.get_back_off("ended"), cache.get_back_off("lasting")) == (None, PAUSE)


def test_a_lease_is_held_by_one_until_it_ends_or_is_given_back(cache):
    assert cache.take_lease("porto", "a", 100.0, 110.0)
    assert not cache.take_lease("porto", "b", 109.9, 120.0)
    assert cache.take_lease("dunedin", "b", 109.9, 120.0)
    assert cache.take_lease("porto", "a", 105.0, 115.0)
    assert not cache.take_lease("porto", "b", 114.9, 120.0)
    assert cache.take_lease("porto", "b", 115.0, 120.0)
    cache.drop_lease("porto", "a")  # no longer its own
    assert not cache.take_lease("porto", "a", 116.0, 126.0)
    cache.drop_lease("porto", "b")
    assert cache.take_lease("porto", "a", 116.0, 126.0)


def test_a_lease_in_force_outlives_the_dropping_of_old_records(cache):
    assert cache.take_lease("porto", "a", 100.0, 110.0)
    cache.forget_before(109.0)
    assert not cache.take_lease("porto", "b", 109.5, 120.0)


def test_of_many_who_ask_at_once_one_gets_the_lease(cache):
    start = threading.Barrier(8)

    def ask(name):
        start.wait()
        return cache.take_lease("porto", name, 100.0, 110.0)

    with ThreadPoolExecutor(8) as pool:
        assert sorted(pool.map(ask, "abcdefgh")) == [False] * 7 + [True]


def test_everything_is_shared_by_workers_and_survives_a_restart(store, database_url):
    here = SqlWeatherCache(store)
    here.put("porto", FIRST)
    here.set_back_off("provider", PAUSE)
    assert here.take_lease("porto", "a", 100.0, 110.0)
    other = open_store(database_url)
    there = SqlWeatherCache(other)
    assert (there.get("porto"), there.get_back_off("provider")) == (FIRST, PAUSE)
    assert not there.take_lease("porto", "b", 100.0, 110.0)
    there.put("porto", SECOND)
    assert here.get("porto") == SECOND
    store.close()
    other.close()
    again = open_store(database_url)
    assert SqlWeatherCache(again).get("porto") == SECOND
    assert not SqlWeatherCache(again).take_lease("porto", "b", 100.0, 110.0)
    again.close()
