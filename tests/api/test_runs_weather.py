"""Exposures followed under forecasts, which come late, change, end and go away."""

from itertools import pairwise

import pytest
from api.test_runs_support import SHEET
from databases import KINDS, empty_database
from weather_rig import NOON_S, rigged

from noonframe.weather.rehearsal_sky import ScriptedSky, Spell

HOUR_S, DAY_S = 3600.0, 86400.0
PROVIDERS = ("open-meteo", "open-meteo-ensemble", "met-norway")
# cloudy, then clear, then half: no two hours alike, so that a dose tells which sky it was gathered under
CHANGING = ScriptedSky(
    (
        Spell(NOON_S - 6 * HOUR_S, clear_sky_index=0.3, cloud_low=0.9),
        Spell(NOON_S + 2 * HOUR_S),
        Spell(NOON_S + 5 * HOUR_S, clear_sky_index=0.6, cloud_low=0.6),
    ),
    elevation_m=80.0,
)


@pytest.fixture(params=KINDS)
def rig(request, tmp_path):
    with rigged(tmp_path, CHANGING) as made, empty_database(request.param, tmp_path) as url:
        made.database_url = url
        yield made


@pytest.fixture
def asking(rig):
    def make(*providers, **given):
        return rig.asking(*providers, database_url=rig.database_url, **given)

    return make


def start(asker, **fields):
    response = asker.client.post("/v1/runs", json={**SHEET, "target_j_m2": 200000, **fields})
    assert response.status_code == 201, response.text
    return response.json()


def tell(asker, run, kind, **fields):
    response = asker.client.post(f"/v1/runs/{run['id']}/events", json={"kind": kind, **fields})
    assert response.status_code == 201, response.text
    return response.json()["run"]


def state(asker, run):
    response = asker.client.get(f"/v1/runs/{run['id']}")
    assert response.status_code == 200, response.text
    return response.json()


def away(rig):
    for provider in PROVIDERS:
        rig.stub.switch(provider, "503")


@pytest.mark.parametrize("provider", PROVIDERS)
def test_the_very_first_start_has_a_fresh_forecast(asking, provider):
    # asked for before the change of the records begins, in which it would wait for itself
    with asking(provider) as asker:
        run = start(asker)
        weather = run["basis"]["weather"]
        assert (weather["provider"], weather["freshness"], weather["why"]) == (provider, "fresh", [])
        assert run["sky"]["evidence"] == weather["evidence"]
        assert run["basis"]["sky"]["evidence"].startswith("forecast")


@pytest.mark.parametrize("provider", PROVIDERS)
def test_an_ended_exposure_keeps_its_dose_when_the_forecast_is_gone(rig, asking, provider):
    with asking(provider) as asker:
        run = start(asker)
        rig.clock.now_s += 600
        tell(asker, run, "sky", sky="thin-cloud", vouched_s=120)
        rig.clock.now_s += 1800
        ended = tell(asker, run, "finished")
        assert state(asker, run) == ended
    rig.clock.now_s += 4 * DAY_S
    away(rig)
    with asking(provider) as later:
        kept = state(later, run)
        assert {**kept, "at": None, "sky": None} == {**ended, "at": None, "sky": None}
        assert kept["basis"]["weather"]["provider"] == provider
        assert rig.stub.asked_of(provider)[-1].at_s < NOON_S + DAY_S, "nobody is asked about what is over"
        corrected = tell(later, run, "finished", at=ended["start"])
        assert corrected["dose_j_m2"] == 0.0


@pytest.mark.parametrize("provider", PROVIDERS)
def test_what_is_over_stays_as_it_was_forecast_when_newer_forecasts_begin_later(rig, asking, provider):
    with asking(provider) as asker:
        run = start(asker)
        rig.clock.now_s += 1100
        covered = tell(asker, run, "covered")
        clear = start(asker, sky="clear", start=run["start"])
        assert covered["dose_j_m2"] < 0.6 * clear["dose_j_m2"]
        for _ in range(3):
            rig.clock.now_s += 4 * HOUR_S
            now = state(asker, run)
            assert now["basis"]["weather"]["freshness"] == "fresh"
            assert now["dose_j_m2"] == pytest.approx(covered["dose_j_m2"], rel=0.02)


def test_an_exposure_goes_on_for_days_whether_there_is_a_forecast_or_not(rig, asking):
    with asking("open-meteo", weather_stale_s=7200) as asker:
        run = start(asker, target_j_m2=1e8)
        rig.clock.now_s += HOUR_S
        doses = [tell(asker, run, "sky", sky="sun-out")["dose_j_m2"]]
        for hours in (13, 14, 60):
            rig.clock.now_s = NOON_S + hours * HOUR_S
            doses.append(state(asker, run)["dose_j_m2"])
        away(rig)
        rig.clock.now_s = NOON_S + 3 * DAY_S
        alone = state(asker, run)
        assert alone["basis"]["weather"]["evidence"] == "climatology"
        doses.append(alone["dose_j_m2"])
        rig.clock.now_s = NOON_S + 20 * DAY_S
        doses.append(state(asker, run)["dose_j_m2"])
        # a newer forecast may know the past better; whole days without it would be missed
        assert all(later > 0.99 * earlier for earlier, later in pairwise(doses))
        assert doses[-1] > 10 * doses[0]
    with asking() as without:
        assert state(without, run)["dose_j_m2"] > 0
        assert tell(without, run, "finished")["status"] == "finished"


def test_what_was_kept_holds_where_the_weather_is_turned_off(rig, asking):
    with asking("open-meteo") as asker:
        run = start(asker)
        rig.clock.now_s += 900
        followed = tell(asker, run, "covered")
    with asking() as without:
        assert state(without, run)["dose_j_m2"] == followed["dose_j_m2"]
        assert state(without, run)["basis"]["weather"]["provider"] == "open-meteo"
        rig.clock.now_s += 2 * DAY_S
        assert state(without, run)["dose_j_m2"] == followed["dose_j_m2"]


def test_a_slow_provider_costs_the_forecast_and_not_the_start(rig, asking):
    rig.stub.switch("open-meteo", "slow")
    with asking("open-meteo", weather_budget_s=0.3, weather_request_s=0.3) as asker:
        run = start(asker)
        assert run["basis"]["weather"]["evidence"] == "climatology"
        assert run["basis"]["weather"]["why"]
        assert tell(asker, run, "covered")["status"] == "covered"


def test_a_sky_that_is_given_asks_nobody(rig, asking):
    with asking(*PROVIDERS) as asker:
        run = start(asker, sky="overcast")
        assert run["basis"]["weather"] is None
        assert state(asker, run) == run
        assert rig.stub.asked == []
