"""Sessions under a forecast: sampled skies plan the lengths and say how sure each sheet is."""

import datetime as dt
from contextlib import ExitStack

import pytest
from weather_rig import CLEAR, NOON_S, rigged

from noonframe.weather.rehearsal_sky import ScriptedSky, Spell

SHEETS = [{"name": "kelp fronds", "count": 3, "target_j_m2": 24000, "target_spread_stops": 0.1}]
BROKEN = ScriptedSky((Spell(NOON_S, 0.6, cloud_low=0.5),), elevation_m=80.0)
PLACE = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}


def iso(unix_s):
    return dt.datetime.fromtimestamp(unix_s, dt.UTC).isoformat()


def seconds(text):
    return dt.datetime.fromisoformat(text).timestamp()


def asked(**more):
    span = {"start": iso(NOON_S), "end": iso(NOON_S + 5 * 3600.0)}
    return {**PLACE, "stack": "float-glass-4mm,polyester-film", **span, "sheets": SHEETS, **more}


@pytest.fixture(scope="module")
def under(tmp_path_factory):
    """Asks an app under one of two skies; its clock stands at noon."""
    with ExitStack() as stack:
        skies = {"clear": CLEAR, "broken": BROKEN}
        made = {
            name: stack.enter_context(rigged(tmp_path_factory.mktemp(name), sky)).ask("open-meteo")
            for name, sky in skies.items()
        }

        def ask(over, path="/v1/session", fields=None, **more):
            response = made[over].client.post(path, json=asked(**more) if fields is None else fields)
            assert response.status_code == 200, response.text
            return response.json()

        yield ask


def test_the_lengths_are_those_of_the_exposure_under_the_same_skies(under):
    plan = under("broken")
    assert plan["sheets_planned"] == 3
    assert plan["basis"]["weather"]["provider"] == "open-meteo"
    for sheet in plan["sheets"]:
        told = {name: value for name, value in asked().items() if name not in ("sheets", "end", "start")}
        own = {name: SHEETS[0][name] for name in ("target_j_m2", "target_spread_stops")}
        alone = under("broken", "/v1/exposure", {**told, **own, "start": sheet["start"]})
        # other skies of the same forecast: three hundred leave the median some per cent uncertain
        assert sheet["length_s"] == pytest.approx(alone["length_s"], rel=0.15)
        assert 0.4 <= sheet["chance_by_end"] <= 0.6
        assert sheet["length_low_s"] < sheet["length_s"] < sheet["length_high_s"]


def test_broken_cloud_leaves_more_open_than_a_clear_forecast(under):
    clear, broken = under("clear")["sheets"], under("broken")["sheets"]

    def doubt(sheet):
        return sheet["length_high_s"] / sheet["length_low_s"]

    assert min(map(doubt, broken)) > max(map(doubt, clear))
    assert sum(s["length_s"] for s in broken) > sum(s["length_s"] for s in clear)


def test_a_sky_that_is_told_goes_before_the_forecast(under):
    plan = under("broken", sky="clear")
    assert plan["basis"]["weather"] is None
    assert plan["sheets"][0]["length_s"] < under("broken")["sheets"][0]["length_s"]


def test_sureness_books_time_for_the_skies(under):
    sure = under("broken", sureness=0.9)
    assert all(sheet["chance_by_end"] >= 0.85 for sheet in sure["sheets"] if sheet["state"] == "planned")
    first, likely = (min(plan["sheets"], key=lambda s: s["start"] or "z") for plan in (sure, under("broken")))
    assert seconds(first["end"]) - seconds(first["start"]) > likely["length_s"]
