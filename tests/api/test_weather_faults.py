"""Every fault of a provider, asked through the service: there is an answer, and it says what it rests on."""

import pytest
from databases import KINDS, empty_database
from weather_rig import NOON_S, rigged

DAY_S = 86400.0
BOTH = ("open-meteo", "met-norway")
OPEN_METEO = "Weather data by Open-Meteo.com (https://open-meteo.com/), CC BY 4.0"
MET_NORWAY = "Data from MET Norway (https://www.met.no/), CC BY 4.0 / NLOD 2.0"

FAULTS = {
    # fault of the first provider -> words of the reason that the answer gives
    "400 json": "status 400: No data is available for this location",
    "400 html": "status 400",
    "401": "status 401",
    "403": "status 403",
    "404": "status 404",
    "422": "status 422",
    "429 minute": "one minute",
    "429 hour": "next hour",
    "429 day": "tomorrow",
    "429 concurrent": "concurrent",
    "429 retry-after": "status 429",
    "500": "status 500",
    "502": "status 502",
    "503": "overloaded",
    "503 retry-after": "status 503",
    "504": "status 504",
    "204": "status 204",
    "304 unasked": "status 304",
    "html": "not complete JSON",
    "array": "not a JSON object",
    "not a number": "NaN",
    "deep": "not complete JSON",
    "too long": "longer than",
    "cut off": "cut off",
    "cut off unmarked": "not complete JSON",
    "error at the end": "error message of the server",
    "damaged gzip": "compression",
    "hang up": "no connection",
    "redirect loop": "redirects",
    "redirect without https": "without https",
    "redirect to nowhere": "no connection",
    "all nulls": "tells nothing",
    "empty": "tells nothing",
    "wrong length": "values for",
    "wrong unit": "not in",
    "wrong type": "not a number",
    "out of range": "between 0 and 1",
    "elsewhere": "another place",
    "23-hour day": "",
    "25-hour day": "",
}


@pytest.fixture(scope="module", params=KINDS)
def shared(request, tmp_path_factory):
    """One app for the whole module, with both providers; its clock moves on, and forgets, between tests."""
    folder = tmp_path_factory.mktemp(request.param)
    with rigged(folder) as rig, empty_database(request.param, folder) as url:
        yield rig, rig.ask(*BOTH, database_url=url)


@pytest.fixture
def asked(shared):
    rig, asker = shared
    # at the same time of a later day: no pause lasts as long, and no forecast is used as long
    rig.clock.now_s = NOON_S + 2 * DAY_S * (1 + (rig.clock.now_s - NOON_S) // (2 * DAY_S))
    for provider in BOTH:
        rig.stub.switch(provider, None)
    rig.stub.asked.clear()
    return rig, asker


def weather_of(answer):
    return answer["basis"]["weather"]


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_followed_by_the_next_best_in_the_stated_order(asked, fault):
    rig, asker = asked
    fresh = weather_of(asker.get("/v1/exposure"))
    assert (fresh["provider"], fresh["freshness"], fresh["age_s"]) == ("open-meteo", "fresh", 0)
    assert (fresh["evidence"], fresh["attribution"], fresh["why"]) == ("shortwave irradiance", OPEN_METEO, [])

    rig.stub.switch("open-meteo", fault)
    rig.clock.now_s += 3600
    stale = weather_of(asker.post("/v1/exposure"))
    assert (stale["provider"], stale["freshness"], stale["age_s"]) == ("open-meteo", "stale", 3600)
    assert (stale["evidence"], stale["attribution"]) == ("shortwave irradiance", OPEN_METEO)
    assert told(stale, FAULTS[fault])
    assert not rig.stub.asked_of("met-norway")

    other = asker.get("/v1/exposure", latitude_deg=43.15)
    weather = weather_of(other)
    assert (weather["provider"], weather["freshness"], weather["age_s"]) == ("met-norway", "fresh", 0)
    assert (weather["evidence"], weather["attribution"]) == ("layered cloud", MET_NORWAY)
    assert told(weather, FAULTS[fault])
    assert other["basis"]["sky"]["evidence"] == "forecast: layered cloud"

    rig.stub.switch("met-norway", "500")
    away = asker.get("/v1/exposure", latitude_deg=45.15)
    weather = weather_of(away)
    names = ("provider", "model", "freshness", "age_s", "attribution", "known_until")
    assert [weather[name] for name in names] == [None] * 6
    assert weather["evidence"] == away["basis"]["sky"]["evidence"] == "climatology"
    assert told(weather, FAULTS[fault], "status 500")
    assert away["length_low_s"] < away["length_s"] < away["length_high_s"]
    assert asker.get("/v1/say", latitude_deg=45.15)["summary"] == away["summary"]
    assert weather_of(asker.get("/v1/slots", latitude_deg=45.15))["evidence"] == "climatology"
    assert weather_of(asker.post("/v1/slots", latitude_deg=45.15))["why"] == weather["why"]


def told(weather, first, second=None):
    """Whether `why` holds one line for each provider that failed, in their order, with these words."""
    wanted = [("open-meteo: ", first)] + ([("met-norway: ", second)] if second else [])
    return len(weather["why"]) == len(wanted) and all(
        line.startswith(name) and words in line and len(line) > len(name)
        for line, (name, words) in zip(weather["why"], wanted, strict=True)
    )


@pytest.mark.parametrize("fault", ["203", "nulls", "redirect", None])
def test_an_odd_but_good_answer_is_fresh(asked, fault):
    rig, asker = asked
    rig.stub.switch("open-meteo", fault)
    weather = weather_of(asker.get("/v1/exposure"))
    assert (weather["provider"], weather["freshness"], weather["why"]) == ("open-meteo", "fresh", [])
    # the stub packs whatever it gives to those who take gzip
    assert all("gzip" in one.headers["accept-encoding"] for one in rig.stub.asked)


@pytest.mark.parametrize("path", ["/v1/exposure", "/v1/slots"])
def test_a_forecast_that_is_confirmed_is_fresh_again(rig_of, path):
    rig, asker = rig_of("met-norway")
    rig.stub.switch("met-norway", "304")
    first = asker.get(path)
    rig.clock.now_s += 3600
    again = weather_of(asker.get(path))
    assert "if-modified-since" in rig.stub.asked[1].headers
    assert (again["freshness"], again["age_s"], again["why"]) == ("fresh", 0, [])
    assert again["provider"] == weather_of(first)["provider"] == "met-norway"


@pytest.fixture(params=KINDS)
def rig_of(request, tmp_path):
    """A rig of the test's own and somebody who asks it, on each kind of database."""
    with rigged(tmp_path) as rig, empty_database(request.param, tmp_path) as url:
        yield lambda *providers, **given: (rig, rig.ask(*providers, database_url=url, **given))


@pytest.mark.parametrize("fault", ["slow", "trickle"])
def test_a_slow_provider_costs_the_forecast_and_not_the_answer(rig_of, fault):
    rig, asker = rig_of("open-meteo", weather_budget_s=0.3, weather_request_s=0.3)
    rig.stub.switch("open-meteo", fault)
    answer = asker.get("/v1/exposure")
    assert weather_of(answer)["evidence"] == "climatology"
    assert told(weather_of(answer), "no answer")
    assert answer["length_s"] > 0


@pytest.mark.parametrize("fault", ["slow", "trickle"])
def test_a_provider_that_turns_slow_leaves_its_last_forecast(rig_of, fault):
    rig, asker = rig_of("open-meteo")
    assert weather_of(asker.get("/v1/exposure"))["freshness"] == "fresh"
    rig.stub.switch("open-meteo", fault)
    rig.clock.now_s += 7200
    with rig.asking("open-meteo", database_url=url_of(asker), weather_budget_s=0.3) as hasty:
        stale = weather_of(hasty.get("/v1/exposure"))
    assert (stale["provider"], stale["freshness"], stale["age_s"]) == ("open-meteo", "stale", 7200)
    assert told(stale, "no answer")


def url_of(asker):
    return asker.app.state.settings.database_url


def test_beyond_the_age_that_the_settings_allow_the_next_provider_is_asked(rig_of):
    rig, asker = rig_of(*BOTH, weather_stale_s=5000)
    assert weather_of(asker.get("/v1/exposure"))["provider"] == "open-meteo"
    rig.stub.switch("open-meteo", "403")
    rig.clock.now_s += 5001
    weather = weather_of(asker.get("/v1/exposure"))
    assert (weather["provider"], weather["freshness"]) == ("met-norway", "fresh")
    assert told(weather, "status 403")
