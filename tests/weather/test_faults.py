"""Every fault of the stub over a real socket: what the answer says, and what stands in for the forecast."""

import logging
import socket
from datetime import UTC, datetime

import pytest

from noonframe.sky.forecast import SampleKind
from noonframe.weather.answer import Freshness
from noonframe.weather.cache import MemoryCache
from noonframe.weather.errors import FailureKind

PORTO = (41.15, -8.61)

EVERYWHERE = {
    # fault -> kind, words of the reason, least pause in seconds
    "400 json": (FailureKind.REFUSED, "No data is available for this location", 3600),
    "400 html": (FailureKind.REFUSED, "status 400", 3600),
    "401": (FailureKind.FORBIDDEN, "status 401", 3600),
    "403": (FailureKind.FORBIDDEN, "status 403", 3600),
    "404": (FailureKind.NOT_COVERED, "status 404", 6 * 3600),
    "422": (FailureKind.NOT_COVERED, "status 422", 6 * 3600),
    "429 minute": (FailureKind.THROTTLED, "one minute", 60),
    "429 hour": (FailureKind.THROTTLED, "next hour", 20 * 60),  # asked at 12:40
    "429 day": (FailureKind.THROTTLED, "tomorrow", (11 * 60 + 20) * 60),
    "429 concurrent": (FailureKind.THROTTLED, "concurrent", 30),
    "429 retry-after": (FailureKind.THROTTLED, "status 429", 120),
    "500": (FailureKind.UNAVAILABLE, "status 500", 30),
    "502": (FailureKind.UNAVAILABLE, "status 502", 30),
    "503": (FailureKind.UNAVAILABLE, "overloaded", 30),
    "503 retry-after": (FailureKind.UNAVAILABLE, "status 503", 300),
    "504": (FailureKind.UNAVAILABLE, "status 504", 30),
    "204": (FailureKind.MALFORMED, "status 204", 30),
    "304 unasked": (FailureKind.MALFORMED, "status 304", 30),
    "html": (FailureKind.MALFORMED, "not complete JSON", 30),
    "array": (FailureKind.MALFORMED, "not a JSON object", 30),
    "not a number": (FailureKind.MALFORMED, "NaN", 30),
    "deep": (FailureKind.MALFORMED, "not complete JSON", 30),
    "too long": (FailureKind.MALFORMED, "longer than", 30),
    "cut off": (FailureKind.MALFORMED, "cut off", 30),
    "cut off unmarked": (FailureKind.MALFORMED, "not complete JSON", 30),
    "error at the end": (FailureKind.MALFORMED, "error message of the server", 30),
    "damaged gzip": (FailureKind.MALFORMED, "compression", 30),
    "hang up": (FailureKind.UNREACHABLE, "no connection", 30),
    "redirect loop": (FailureKind.UNREACHABLE, "redirects", 30),
    "redirect without https": (FailureKind.UNREACHABLE, "without https", 30),
    "redirect to nowhere": (FailureKind.UNREACHABLE, "no connection", 30),
    "all nulls": (FailureKind.MALFORMED, "tells nothing", 30),
    "empty": (FailureKind.MALFORMED, "tells nothing", 30),
    "wrong length": (FailureKind.MALFORMED, "", 30),
    "wrong unit": (FailureKind.MALFORMED, "not in", 30),
    "wrong type": (FailureKind.MALFORMED, "not a number", 30),
    "out of range": (FailureKind.MALFORMED, "between 0 and 1", 30),
    "elsewhere": (FailureKind.MALFORMED, "another place", 30),
}


@pytest.mark.parametrize("provider", ["open-meteo", "met-norway"])
@pytest.mark.parametrize("fault", EVERYWHERE)
def test_a_fault_is_told_and_the_provider_left_alone(stub, make_service, clock, provider, fault):
    kind, words, least_pause_s = EVERYWHERE[fault]
    stub.switch(provider, fault)
    answer = make_service(provider).forecast_for(*PORTO)
    assert answer.best is None
    (failure,) = answer.why
    assert (failure.provider, failure.kind) == (provider, kind)
    assert words in failure.reason
    pause_s = failure.retry_at_s - clock()
    assert least_pause_s <= pause_s <= 1.11 * least_pause_s


@pytest.mark.parametrize("fault", ["503", "403", "429 day", "cut off", "422", "empty", "hang up"])
def test_the_last_good_forecast_stands_in_with_its_age(stub, make_service, clock, fault):
    service = make_service("open-meteo", "met-norway")
    before = service.forecast_for(*PORTO).best.forecast
    stub.switch("open-meteo", fault)
    clock.now_s += 5 * 3600
    answer = service.forecast_for(*PORTO)
    assert answer.best.freshness is Freshness.STALE
    assert answer.best.age_s == 5 * 3600
    assert answer.best.forecast == before
    assert [failure.provider for failure in answer.why] == ["open-meteo"]
    assert not stub.asked_of("met-norway")


def test_beyond_the_stale_limit_the_next_provider_is_asked(stub, make_service, clock):
    service = make_service("open-meteo", "met-norway")
    service.forecast_for(*PORTO)
    stub.switch("open-meteo", "503")
    clock.now_s += 6 * 3600 + 1
    answer = service.forecast_for(*PORTO)
    assert (answer.best.freshness, answer.best.forecast.provider) == (Freshness.FRESH, "met-norway")
    assert [failure.kind for failure in answer.why] == [FailureKind.UNAVAILABLE]


def test_with_every_provider_away_the_answer_is_empty_and_tells_each_reason(stub, make_service):
    stub.switch("open-meteo", "429 hour")
    stub.switch("met-norway", "403")
    answer = make_service("open-meteo", "met-norway").forecast_for(*PORTO)
    assert answer.evidence == ()
    assert [(f.provider, f.kind) for f in answer.why] == [
        ("open-meteo", FailureKind.THROTTLED),
        ("met-norway", FailureKind.FORBIDDEN),
    ]


@pytest.mark.parametrize("fault", ["slow", "trickle"])
def test_a_slow_provider_costs_no_more_than_the_budget(stub, make_service, clock, fault):
    stub.switch("open-meteo", fault)
    service = make_service("open-meteo", weather_budget_s=5.0, weather_request_s=0.2)
    answer = service.forecast_for(*PORTO)
    (failure,) = answer.why
    assert failure.kind is FailureKind.TIMED_OUT
    assert failure.retry_at_s >= clock() + 30


def test_an_answer_that_outlasts_the_wait_serves_the_next_caller(stub, make_service):
    stub.switch("open-meteo", "slow", times=1)
    service = make_service("open-meteo", weather_budget_s=0.1, weather_request_s=5.0)
    first = service.forecast_for(*PORTO)
    assert first.best is None
    assert first.why[0].kind is FailureKind.TIMED_OUT
    assert first.why[0].retry_at_s is None
    stub.release.set()
    for _ in range(100):
        if (second := service.forecast_for(*PORTO)).best:
            break
    assert second.best.freshness is Freshness.FRESH
    assert len(stub.asked) == 1


def test_nobody_listens_at_the_address(make_service):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound, but nobody listens
        address = f"http://127.0.0.1:{taken.getsockname()[1]}"
        (failure,) = make_service("open-meteo", weather_open_meteo_url=address).forecast_for(*PORTO).why
    assert (failure.kind, failure.reason) == (FailureKind.UNREACHABLE, "no connection (ConnectError)")


@pytest.mark.parametrize("fault", ["502", "503", "504", "hang up"])
def test_a_passing_fault_is_asked_again_once(stub, make_service, fault):
    stub.switch("open-meteo", fault, times=1)
    answer = make_service("open-meteo").forecast_for(*PORTO)
    assert answer.best.freshness is Freshness.FRESH
    assert answer.why == ()
    assert len(stub.asked) == 2


@pytest.mark.parametrize("fault", ["400 json", "403", "429 minute", "500", "503 retry-after", "cut off"])
def test_any_other_fault_is_not_asked_again(stub, make_service, fault):
    stub.switch("open-meteo", fault)
    make_service("open-meteo").forecast_for(*PORTO)
    assert len(stub.asked) == 1


def test_a_lasting_fault_is_asked_again_no_more_than_once(stub, make_service):
    stub.switch("open-meteo", "503")
    make_service("open-meteo").forecast_for(*PORTO)
    assert len(stub.asked) == 2


def test_203_is_used_and_logged_and_never_asked_about_conditionally(stub, make_service, clock, caplog):
    stub.switch("met-norway", "203")
    service = make_service("met-norway")
    with caplog.at_level(logging.WARNING, "noonframe.weather"):
        assert service.forecast_for(*PORTO).best.freshness is Freshness.FRESH
    assert "203" in caplog.text
    clock.now_s += 3600
    service.forecast_for(*PORTO)
    # Getting Started, "Caching data": If-Modified-Since does not work with beta or deprecated products
    assert [("if-modified-since" in asked.headers) for asked in stub.asked] == [False, False]


@pytest.mark.parametrize("provider", ["open-meteo", "met-norway"])
def test_a_redirect_is_followed_with_all_headers(stub, make_service, clock, provider):
    stub.switch(provider, "redirect")
    service = make_service(provider)
    assert service.forecast_for(*PORTO).best.freshness is Freshness.FRESH
    clock.now_s += 3600
    assert service.forecast_for(*PORTO).best.freshness is Freshness.FRESH
    assert len(stub.asked) == 4
    assert len({asked.headers["user-agent"] for asked in stub.asked}) == 1
    sent = [asked.headers.get("if-modified-since") for asked in stub.asked]
    assert sent[:2] == [None, None]
    assert sent[2] == sent[3]
    assert (sent[3] is not None) is (provider == "met-norway")


@pytest.mark.parametrize("provider", ["open-meteo", "met-norway"])
def test_holes_are_not_told_and_the_rest_is_used(stub, make_service, provider):
    whole = make_service(provider).forecast_for(*PORTO).best.forecast
    stub.switch(provider, "nulls")
    holed = make_service(provider, cache=MemoryCache()).forecast_for(*PORTO).best.forecast
    told = [sum(s.cloud_low is not None for s in forecast.samples) for forecast in (holed, whole)]
    assert 0 < told[0] < told[1]


@pytest.mark.parametrize("fault", ["23-hour day", "25-hour day"])
def test_local_times_of_a_day_with_a_clock_change_are_refused(stub, make_service, fault):
    stub.switch("open-meteo", fault)
    (failure,) = make_service("open-meteo").forecast_for(*PORTO).why
    assert failure.kind is FailureKind.MALFORMED
    assert "local time" in failure.reason or "iso8601" in failure.reason


@pytest.mark.parametrize(
    "day",
    [
        # the clock changes of Portugal in 2026: https://www.iana.org/time-zones, rule EU
        (datetime(2026, 3, 29, 0, tzinfo=UTC), 23),
        (datetime(2026, 10, 24, 23, tzinfo=UTC), 25),
    ],
)
@pytest.mark.parametrize("provider", ["open-meteo", "met-norway"])
def test_days_of_23_and_25_hours_have_that_many_samples(make_service, clock, provider, day):
    midnight, hours = day
    clock.now_s = midnight.timestamp()
    end_s = clock.now_s + hours * 3600
    samples = make_service(provider).forecast_for(*PORTO).best.forecast.samples
    covers = [s for s in samples if s.kind is SampleKind.INSTANT and clock.now_s <= s.start_s < end_s]
    assert [s.start_s for s in covers] == [clock.now_s + 3600 * k for k in range(hours)]


def test_a_fault_of_this_program_is_logged_and_told_and_no_more(stub, make_service, monkeypatch, caplog):
    service = make_service("open-meteo", "met-norway")
    monkeypatch.setattr("noonframe.weather.open_meteo.json_object", lambda body: 1 // 0)
    answer = service.forecast_for(*PORTO)
    assert answer.why[0].kind is FailureKind.INTERNAL
    assert answer.best.forecast.provider == "met-norway"
    assert "ZeroDivisionError" in caplog.text
