"""Which evidence is used when several could be, and what is asked of whom for it."""

import math
from dataclasses import replace

import pytest

from noonframe.errors import OutOfDomain
from noonframe.weather.answer import Freshness
from noonframe.weather.cache import MemoryCache
from noonframe.weather.errors import FailureKind, UpstreamError
from noonframe.weather.provider import AskedPlace, key_of
from noonframe.weather.renewal import Renewal
from noonframe.weather.service import providers_from

PORTO = (41.15, -8.61)


def test_weather_that_is_off_says_so(stub, make_service):
    answer = make_service().forecast_for(*PORTO)
    assert answer.evidence == ()
    assert [failure.kind for failure in answer.why] == [FailureKind.OFF]
    assert not stub.asked


def test_the_first_provider_alone_is_asked_while_it_answers(stub, make_service):
    answer = make_service("met-norway", "open-meteo").forecast_for(*PORTO)
    assert (answer.best.forecast.provider, answer.best.freshness, answer.best.age_s) == (
        "met-norway",
        Freshness.FRESH,
        0.0,
    )
    assert answer.why == ()
    assert not stub.asked_of("open-meteo")


def test_a_stale_forecast_of_the_first_comes_before_the_second_provider(stub, make_service, clock):
    service = make_service("met-norway", "open-meteo")
    service.forecast_for(*PORTO)
    stub.switch("met-norway", "503")
    clock.now_s += 6 * 3600
    answer = service.forecast_for(*PORTO)
    assert (answer.best.freshness, answer.best.age_s) == (Freshness.STALE, 6 * 3600)
    assert not stub.asked_of("open-meteo")


def test_no_stale_forecast_is_used_where_the_settings_allow_none(stub, make_service, clock):
    service = make_service("met-norway", weather_stale_s=0)
    service.forecast_for(*PORTO)
    stub.switch("met-norway", "503")
    clock.now_s += 3600
    assert service.forecast_for(*PORTO).best is None


def test_a_first_provider_in_its_pause_is_passed_over_at_once(stub, make_service):
    service = make_service("open-meteo", "met-norway")
    stub.switch("open-meteo", "429 day")
    first, second = service.forecast_for(*PORTO), service.forecast_for(*PORTO)
    assert first.best.forecast == second.best.forecast
    assert first.why == second.why
    assert len(stub.asked) == 2


def test_a_hung_first_provider_leaves_time_for_the_second(make_service, monkeypatch):
    waits = []

    def hang(self, place, now_s, wait_s):
        waits.append(wait_s)
        raise UpstreamError(FailureKind.TIMED_OUT, "no answer")

    monkeypatch.setattr(Renewal, "answer", hang)
    answer = make_service("open-meteo", "open-meteo-ensemble", "met-norway").forecast_for(*PORTO)
    assert len(answer.why) == 3
    # of 5 s, a third, then half of what is left, then all of it; the first two did not use theirs here
    assert all(wait <= full for wait, full in zip(waits, (5 / 3, 5 / 2, 5), strict=True))
    assert waits == sorted(waits)


def test_the_first_provider_is_used_again_when_it_is_back(stub, make_service, clock):
    service = make_service("open-meteo", "met-norway")
    stub.switch("open-meteo", "503")
    retry_at_s = service.forecast_for(*PORTO).why[0].retry_at_s
    stub.switch("open-meteo", None)
    clock.now_s = retry_at_s
    answer = service.forecast_for(*PORTO)
    assert answer.best.forecast.provider == "open-meteo"
    assert answer.why == ()


def test_a_new_service_finds_what_an_earlier_one_kept(stub, make_service, cache):
    first = make_service("open-meteo").forecast_for(*PORTO)
    second = make_service("open-meteo").forecast_for(*PORTO)
    assert first.best == second.best
    assert len(stub.asked) == 1


def test_a_bad_answer_does_not_replace_the_good_one(stub, make_service, clock):
    service = make_service("open-meteo")
    good = service.forecast_for(*PORTO).best.forecast
    stub.switch("open-meteo", "wrong unit")
    clock.now_s += 3600
    service.forecast_for(*PORTO)
    assert service.forecast_for(*PORTO).best.forecast == good


def test_answers_of_two_days_ago_are_forgotten(make_service, make_settings, cache, clock):
    key = key_of(providers_from(make_settings("open-meteo"))[0], AskedPlace.near(*PORTO))
    service = make_service("open-meteo")
    service.forecast_for(*PORTO)
    assert cache.get(key)
    clock.now_s += 2 * 86400 + 1
    service.forecast_for(-45.87, 170.50)
    assert cache.get(key) is None


def test_the_caller_may_say_what_time_it_is(stub, make_service, clock):
    answer = make_service("open-meteo").forecast_for(*PORTO, now_s=clock() + 60)
    assert answer.asked_at_s == answer.best.forecast.fetched_s == clock() + 60


def test_a_closed_service_answers_from_what_it_has_and_asks_nobody(stub, make_service, clock):
    service = make_service("open-meteo")
    service.forecast_for(*PORTO)
    service.close()
    assert service.forecast_for(*PORTO).best.freshness is Freshness.FRESH
    clock.now_s += 3600
    answer = service.forecast_for(*PORTO)
    assert answer.best.freshness is Freshness.STALE
    assert answer.why[0].kind is FailureKind.OFF
    assert len(stub.asked) == 1


def test_a_kept_answer_that_cannot_be_read_is_asked_for_anew_without_conditions(
    stub, make_service, make_settings, clock
):
    cache = MemoryCache()
    service = make_service("met-norway", cache=cache)
    service.forecast_for(*PORTO)
    key = key_of(providers_from(make_settings("met-norway"))[0], AskedPlace.near(*PORTO))
    stored = cache.get(key)
    clock.now_s += 3600
    cache.put(key, replace(stored, body=b"{}"))
    fresh = make_service("met-norway", cache=cache).forecast_for(*PORTO)
    assert fresh.best.freshness is Freshness.FRESH
    assert "if-modified-since" not in stub.asked[-1].headers


@pytest.mark.parametrize(
    ("latitude", "longitude", "field"),
    [
        (90.01, 0, "latitude_deg"),
        (math.nan, 0, "latitude_deg"),
        (0, -180.5, "longitude_deg"),
        (0, math.inf, "longitude_deg"),
    ],
)
def test_a_position_off_the_earth_is_refused(make_service, latitude, longitude, field):
    with pytest.raises(OutOfDomain) as caught:
        make_service("open-meteo").forecast_for(latitude, longitude)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("position", "texts"),
    [
        ((41.149612, -8.610987), ("41.15", "-8.61")),
        ((-0.001, 0.001), ("0.00", "0.00")),
        ((89.999, 180.0), ("90.00", "-180.00")),
        ((-89.999, -180.0), ("-90.00", "-180.00")),
        ((0.0, 179.999), ("0.00", "-180.00")),
    ],
)
def test_places_are_sent_with_two_decimals_and_one_name_for_each(position, texts):
    place = AskedPlace.near(*position)
    assert (place.latitude_text, place.longitude_text) == texts
