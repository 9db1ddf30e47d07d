"""The light that a phone keeps is the light that exposures are worked out from."""

import datetime as dt
import gzip
import json
from pathlib import Path

import httpx
import numpy as np
import pytest
from weather_rig import NOON_S, rigged

from noonframe.api.examples import OPEN_SPOT, WINDOW_SPOT
from noonframe.weather.rehearsal_sky import ScriptedSky, Spell

SHEET = {
    **{"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80, "target_j_m2": 24000},
    **{"stack": "float-glass-4mm,polyester-film", "sensitizer": "citrate-classic"},
}
READING_S = 1.0
"""Straight lines between points two minutes apart: a third of a second at the lowest sun, more at a wall."""
ROUNDED_S = 0.0021
"""Both are rounded to a thousandth; the order of adding up is not the same."""
SPOTS = {"flat": None, "yard": OPEN_SPOT, "window": WINDOW_SPOT}


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The service without weather."""
    with rigged(tmp_path_factory.mktemp("plain")) as rig, rig.asking() as asker:
        yield asker


@pytest.fixture(scope="module")
def under_forecast(tmp_path_factory):
    """The service under a forecast of half a sky of cloud."""
    sky = ScriptedSky((Spell(NOON_S, clear_sky_index=0.6, cloud_low=0.7),), elevation_m=80.0)
    with rigged(tmp_path_factory.mktemp("forecast"), sky) as rig, rig.asking("open-meteo") as asker:
        yield asker


def read(outlook, sky, start_s, target):
    """Seconds from `start_s` until a course has risen by `target`, read as the page reads it."""
    course = next(one for one in outlook["skies"] if one["sky"] == sky)
    after, dose = np.array(outlook["after_s"]), np.array(course["dose_j_m2"])
    since = start_s - outlook["first_epoch"]
    return float(np.interp(np.interp(since, after, dose) + target, dose, after) - since)


@pytest.mark.parametrize("spot", SPOTS)
@pytest.mark.parametrize(
    "start", ["2026-06-21T12:00:00+01:00", "2026-12-21T11:00:00+00:00", "2026-06-21T18:30:00+01:00"]
)
def test_lengths_are_those_of_exposures(plain, spot, start):
    body = {**SHEET, "start": start, **({} if SPOTS[spot] is None else {"spot": SPOTS[spot]})}
    outlook, exposure = plain.post("/v1/outlook", **body), plain.post("/v1/exposure", **body)
    lengths = {one["sky"]: one["length_s"] for one in outlook["skies"]}
    for sky, field in (
        ("likely", "length_s"),
        ("sun-out", "if_sun_stays_s"),
        ("covered", "if_cloud_covers_s"),
    ):
        assert lengths[sky] == (
            None if exposure[field] is None else pytest.approx(exposure[field], abs=ROUNDED_S)
        )
    start_s = dt.datetime.fromisoformat(start).timestamp()
    for sky, length_s in lengths.items():
        if length_s is not None:
            assert read(outlook, sky, start_s, 24000.0) == pytest.approx(length_s, abs=READING_S), sky


@pytest.mark.parametrize("sky", ["thin-cloud", "broken", "overcast", "rain", "fog"])
def test_each_sky_that_can_be_told_has_its_own_course(plain, sky):
    start = {"start": "2026-06-21T12:00:00+01:00"}
    outlook = plain.post("/v1/outlook", **start)
    given = plain.post("/v1/outlook", **start, sky=sky)
    exposure = plain.post("/v1/exposure", **start, sky=sky)
    course = next(one for one in outlook["skies"] if one["sky"] == sky)
    assert course["length_s"] == exposure["length_s"]
    likely = given["skies"][0]
    assert likely["sky"] == "likely"
    assert likely["length_s"] == exposure["length_s"]
    assert course["dose_j_m2"] == likely["dose_j_m2"]


def test_under_a_forecast_the_likely_light_is_that_of_followed_exposures(under_forecast):
    body = dict(SHEET)
    outlook = under_forecast.post("/v1/outlook", **body)
    started = under_forecast.client.post("/v1/runs", json=body)
    assert started.status_code == 201, started.text
    run = started.json()
    likely = outlook["skies"][0]
    assert likely["rate_w_m2"] == pytest.approx(run["effective_w_m2"], rel=1e-4)
    sun = next(one for one in outlook["skies"] if one["sky"] == "sun-out")
    assert 0.3 * sun["rate_w_m2"] < likely["rate_w_m2"] < sun["rate_w_m2"]
    assert outlook["basis"]["weather"]["provider"] == "open-meteo"
    assert outlook["skies"][0]["says"] == outlook["basis"]["sky"]["says"]


def test_it_holds_whole_civil_days_also_when_clocks_change(plain):
    outlook = plain.post("/v1/outlook", start="2026-03-28T12:00:00+00:00", days=3)
    days = [one["begins_epoch"] for one in outlook["sun"]]
    assert [one["date"] for one in outlook["sun"]] == ["2026-03-28", "2026-03-29", "2026-03-30"]
    assert np.diff(days).tolist() == [86400.0, 82800.0]  # 29 March 2026 has 23 hours in Portugal
    assert outlook["first_epoch"] == days[0]
    assert outlook["after_s"][-1] == 2 * 86400.0 + 82800.0
    assert all(np.diff(outlook["after_s"]) > 0)
    for course in outlook["skies"]:
        assert len(course["dose_j_m2"]) == len(outlook["after_s"])
        assert all(np.diff(course["dose_j_m2"]) >= 0)


def test_polar_night_has_no_light_and_polar_day_no_end(plain):
    place = {"latitude_deg": 78.2, "longitude_deg": 15.6}
    night = plain.post("/v1/outlook", **place, start="2026-12-21T12:00:00Z")
    assert night["skies"][0]["dose_j_m2"][-1] == 0.0
    assert night["skies"][0]["length_s"] is None
    assert night["sun"][0] == {**night["sun"][0], "rise": None, "set": None}
    day = plain.post("/v1/outlook", **place, start="2026-06-21T12:00:00Z")
    assert min(np.diff(day["skies"][0]["dose_j_m2"])) > 0.0


def test_it_is_packed_for_those_who_take_it_and_refuses_what_it_does_not_know(plain):
    url = plain.client.base_url.join("/v1/outlook")
    with httpx.stream(
        "GET", url, params=SHEET, headers={"Accept-Encoding": "gzip"}, trust_env=False
    ) as answer:
        raw = b"".join(answer.iter_raw())
    assert answer.headers["content-encoding"] == "gzip"
    assert json.loads(gzip.decompress(raw))["target_j_m2"] == 24000
    assert len(raw) < 60_000
    assert plain.status("/v1/outlook", days=9) == 422
    assert plain.status("/v1/outlook", hours=9) == 422
    assert plain.status("/v1/outlook", days=2) == 200


def test_the_page_has_no_light_model_of_its_own(checkout: Path):
    source = "".join(
        path.read_text(encoding="utf-8") for path in (checkout / "clients/phone/page/js").rglob("*.js")
    )
    for word in ("Math.exp", "Math.pow", "declination", "transmittance", "optical_depth"):
        assert word not in source, word
