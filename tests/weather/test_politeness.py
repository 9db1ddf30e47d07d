"""What the providers ask of their callers, as the stub saw it.

Sources: https://docs.api.met.no/doc/TermsOfService.html ("Traffic", "Caching and proxy", "Compression"),
https://open-meteo.com/en/terms.
"""

import random
import threading
from dataclasses import replace

import httpx
import pytest

from noonframe.weather.answer import Freshness
from noonframe.weather.cache import MemoryCache
from noonframe.weather.errors import FailureKind
from noonframe.weather.fetch import make_client
from noonframe.weather.provider import AskedPlace, key_of, scope_of
from noonframe.weather.service import WeatherService, providers_from

PORTO = (41.149612, -8.610987)
ALL = ("open-meteo", "open-meteo-ensemble", "met-norway")


@pytest.mark.parametrize("provider", ALL)
def test_every_request_says_who_asks_takes_gzip_and_is_coarse(stub, make_service, provider):
    make_service(provider).forecast_for(*PORTO)
    (asked,) = stub.asked
    assert asked.headers["user-agent"].startswith("noonframe/")
    assert asked.headers["user-agent"].endswith(" printer@quayside.example")
    assert "gzip" in asked.headers["accept-encoding"]
    coordinates = [asked.query[n] for n in ("latitude", "longitude", "lat", "lon") if n in asked.query]
    assert coordinates == ["41.15", "-8.61"]


def test_the_stub_itself_refuses_five_decimals_and_strangers(stub):
    url = f"{stub.met_norway_url}/locationforecast/2.0/complete"
    named = {"User-Agent": "noonframe/0.1.0 printer@quayside.example"}
    with httpx.Client(trust_env=False) as client:
        assert client.get(url, params={"lat": "41.15", "lon": "-8.61"}).status_code == 403
        assert client.get(url, params={"lat": "41.15001", "lon": "-8.61"}, headers=named).status_code == 403
        assert client.get(url, params={"lat": "41.15", "lon": "-8.61"}, headers=named).status_code == 200
        assert client.get(url, params={"lat": "x", "lon": "-8.61"}, headers=named).status_code == 400


@pytest.mark.parametrize("provider", ALL)
def test_nothing_is_asked_before_expiry(stub, make_service, clock, provider):
    service = make_service(provider)
    expires_s = service.forecast_for(*PORTO).best.forecast.expires_s
    clock.now_s = expires_s - 1
    answer = service.forecast_for(*PORTO)
    assert answer.best.freshness is Freshness.FRESH
    assert answer.best.age_s == pytest.approx(clock.now_s - answer.best.forecast.fetched_s)
    assert len(stub.asked) == 1
    clock.now_s = expires_s
    service.forecast_for(*PORTO)
    assert len(stub.asked) == 2


def test_the_hold_is_the_expiry_told_and_a_random_while(stub, make_service, clock):
    # the stub's forecasts expire on the half hour; it is 12:40
    extra = []
    for _ in range(5):
        service = make_service("met-norway", cache=MemoryCache())
        service_expiry = service.forecast_for(*PORTO).best.forecast.expires_s
        extra.append(service_expiry - (clock() + 1200))
    assert all(0 <= s <= 240 for s in extra)


def test_holds_of_different_services_differ(make_settings, clock, stub):
    expiries = set()
    for seed in range(3):
        with make_client() as client:
            chance = random.Random(seed)
            service = WeatherService(make_settings("met-norway"), MemoryCache(), clock, client, chance=chance)
            expiries.add(service.forecast_for(*PORTO).best.forecast.expires_s)
            service.close()
    assert len(expiries) == 3


def test_a_conditional_request_repeats_the_stored_date_letter_for_letter(
    stub, make_service, make_settings, cache, clock
):
    service = make_service("met-norway")
    forecast = service.forecast_for(*PORTO).best.forecast
    provider = providers_from(make_settings("met-norway"))[0]
    key = key_of(provider, AskedPlace.near(*PORTO))
    stored = cache.get(key)
    odd = "Sun, 21 Jun 2026 12:29:59 +0000"  # no server's style; a client that reformats dates shows itself
    cache.put(key, replace(stored, last_modified=odd, etag='W/"tide-table"'))
    clock.now_s = forecast.expires_s
    service.forecast_for(*PORTO)
    assert stub.asked[-1].headers["if-modified-since"] == odd
    assert stub.asked[-1].headers["if-none-match"] == 'W/"tide-table"'


def test_304_keeps_the_forecast_and_makes_it_fresh_again(stub, make_service, clock):
    service = make_service("met-norway")
    stub.switch("met-norway", "304")
    first = service.forecast_for(*PORTO).best.forecast
    for count in (2, 3):
        clock.now_s = asked_at_s = service.forecast_for(*PORTO).best.forecast.expires_s
        answer = service.forecast_for(*PORTO)
        assert len(stub.asked) == count
        assert (answer.best.freshness, answer.best.age_s) == (Freshness.FRESH, 0)
        assert answer.best.forecast.samples == first.samples
        assert answer.best.forecast.issued_s == first.issued_s
        assert asked_at_s + 1800 <= answer.best.forecast.expires_s <= asked_at_s + 2100


@pytest.mark.parametrize("fault", ["429 minute", "403", "503", "cut off"])
def test_nothing_is_asked_of_a_provider_while_it_is_left_alone(stub, make_service, clock, fault):
    service = make_service("open-meteo")
    stub.switch("open-meteo", fault)
    failure = service.forecast_for(*PORTO).why[0]
    asked = len(stub.asked)
    stub.switch("open-meteo", None)
    clock.now_s = failure.retry_at_s - 1
    again = service.forecast_for(*PORTO)
    elsewhere = service.forecast_for(-45.87, 170.50)
    assert again.why == elsewhere.why == (failure,)
    assert len(stub.asked) == asked
    clock.now_s = failure.retry_at_s
    assert service.forecast_for(*PORTO).best.freshness is Freshness.FRESH
    assert len(stub.asked) == asked + 1


@pytest.mark.parametrize("fault", ["400 json", "404", "422"])
def test_a_refusal_of_one_place_holds_back_that_place_alone(stub, make_service, fault):
    service = make_service("met-norway")
    stub.switch("met-norway", fault, times=1)
    assert service.forecast_for(*PORTO).best is None
    assert service.forecast_for(-45.87, 170.50).best.freshness is Freshness.FRESH
    assert service.forecast_for(*PORTO).best is None
    assert len(stub.asked) == 2


def test_pauses_double_up_to_a_quarter_of_an_hour_and_end_with_success(stub, make_service, clock):
    service = make_service("open-meteo")
    stub.switch("open-meteo", "500")
    pauses = []
    for _ in range(7):
        failure = service.forecast_for(*PORTO).why[0]
        pauses.append(failure.retry_at_s - clock())
        clock.now_s = failure.retry_at_s
    for pause, least in zip(pauses, (30, 60, 120, 240, 480, 900, 900), strict=True):
        assert least <= pause <= 1.1 * least
    stub.switch("open-meteo", None)
    expires_s = service.forecast_for(*PORTO).best.forecast.expires_s
    stub.switch("open-meteo", "500")
    clock.now_s = expires_s
    assert service.forecast_for(*PORTO).why[0].retry_at_s - clock() <= 33


def test_a_pause_is_kept_in_the_cache_and_heeded_by_another_worker(stub, make_service):
    stub.switch("open-meteo", "429 hour")
    first = make_service("open-meteo").forecast_for(*PORTO)
    second = make_service("open-meteo").forecast_for(*PORTO)
    assert first.why == second.why
    assert len(stub.asked) == 1


def test_a_pause_earned_without_the_right_contact_ends_with_it(stub, make_service):
    stub.switch("met-norway", "403", times=1)
    assert make_service("met-norway").forecast_for(*PORTO).best is None
    other = make_service("met-norway", weather_contact="lead@quayside.example")
    assert other.forecast_for(*PORTO).best.freshness is Freshness.FRESH


def test_a_pause_or_answer_of_a_wrong_clock_is_not_heeded(stub, make_service, clock):
    service = make_service("open-meteo")
    clock.now_s += 40 * 86400
    stub.switch("open-meteo", "429 day", times=1)
    assert service.forecast_for(*PORTO).best is None
    clock.now_s -= 40 * 86400
    assert service.forecast_for(*PORTO).best.freshness is Freshness.FRESH
    clock.now_s -= 10 * 86400
    assert service.forecast_for(*PORTO).best.freshness is Freshness.FRESH
    assert len(stub.asked) == 3


def ask_at_once(services, count=20):
    barrier = threading.Barrier(count)
    answers = []

    def ask(service):
        barrier.wait()
        answers.append(service.forecast_for(*PORTO))

    threads = [threading.Thread(target=ask, args=(services[k % len(services)],)) for k in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


@pytest.mark.parametrize("workers", [1, 4])
def test_twenty_callers_at_once_make_one_request(stub, make_service, workers):
    services = [make_service("open-meteo") for _ in range(workers)]
    answers = ask_at_once(services)
    assert len(answers) == 20
    assert all(answer.best.freshness is Freshness.FRESH for answer in answers)
    assert len(stub.asked) == 1


@pytest.mark.parametrize("workers", [1, 4])
def test_twenty_callers_at_once_hear_of_one_failure(stub, make_service, workers):
    stub.switch("open-meteo", "429 minute")
    answers = ask_at_once([make_service("open-meteo") for _ in range(workers)])
    assert {answer.why[0].kind for answer in answers} == {FailureKind.THROTTLED}
    assert len(stub.asked) == 1


def test_neighbours_within_a_hundredth_of_a_degree_share_an_answer(stub, make_service):
    service = make_service("open-meteo")
    for latitude, longitude in [(41.1502, -8.6103), (41.1549, -8.6051), (41.1451, -8.6149)]:
        service.forecast_for(latitude, longitude)
    assert len(stub.asked) == 1
    service.forecast_for(41.1551, -8.61)
    assert len(stub.asked) == 2


def test_a_worker_that_died_with_the_lease_holds_others_back_until_it_ends(
    stub, make_service, make_settings, cache, clock
):
    provider = providers_from(make_settings("open-meteo"))[0]
    key = key_of(provider, AskedPlace.near(*PORTO))
    assert cache.take_lease(key, "dead", clock(), clock() + 25)
    service = make_service("open-meteo", weather_request_s=0.1)
    (failure,) = service.forecast_for(*PORTO).why
    assert (failure.kind, failure.reason) == (FailureKind.TIMED_OUT, "another worker is still asking")
    assert failure.retry_at_s is None
    assert not stub.asked
    clock.now_s += 25
    assert make_service("open-meteo").forecast_for(*PORTO).best.freshness is Freshness.FRESH


def test_keys_change_with_all_that_changes_an_answer_and_never_show_the_key(make_settings):
    def keys(**given):
        (provider,) = providers_from(make_settings("open-meteo", **given))
        return scope_of(provider), key_of(provider, AskedPlace.near(*PORTO))

    seen = [
        keys(),
        keys(weather_open_meteo_url="https://api.open-meteo.com"),
        keys(weather_contact="lead@quayside.example"),
        keys(weather_open_meteo_key="tide-table"),
    ]
    assert len(set(seen)) == 4
    assert all("tide-table" not in text and len(text) <= 120 for pair in seen for text in pair)


def test_a_key_is_sent_and_never_logged(stub, make_service, caplog):
    with caplog.at_level(1):
        make_service("open-meteo", weather_open_meteo_key="tide-table").forecast_for(*PORTO)
    assert stub.asked[0].query["apikey"] == "tide-table"
    assert "tide-table" not in caplog.text
    assert "41.15" not in caplog.text
