"""The patch of sun inside a window, over HTTP, against a projection of its own."""

import datetime as dt
import math

import numpy as np
import pytest
from pvlib import solarposition

PORTO = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
DUNEDIN = {"latitude_deg": -45.87, "longitude_deg": 170.5, "elevation_m": 10}
SOUTH_EAST = {"outward_azimuth_deg": 135, "width_m": 1.2, "sill_m": 0.1, "head_m": 1.5, "reveal_depth_m": 0.2}
NORTH = {"outward_azimuth_deg": 10, "width_m": 1.6, "sill_m": 0.2, "head_m": 1.4, "reveal_depth_m": 0.25}
FRAME = {"distance_m": 0.6}
TABLE = {
    "table_nearest_m": 0.2,
    "table_farthest_m": 1.4,
    "table_leftmost_m": -0.8,
    "table_rightmost_m": 0.7,
}
CASES = {
    "Porto in June": (PORTO, "2026-06-21", SOUTH_EAST),
    "Porto in December": (PORTO, "2026-12-21", {**SOUTH_EAST, "overhang_depth_m": 0.3}),
    "Dunedin in June": (DUNEDIN, "2026-06-21", NORTH),
    "Dunedin in January": (DUNEDIN, "2026-01-15", NORTH),
}


def ask(caller, place, date, window, **fields):
    spot = {"kind": "window", "window": window, "frame": FRAME}
    response = caller.post("/v1/patch", {**place, "date": date, **TABLE, **fields, "spot": spot})
    assert response.status_code == 200, response.text
    return response.json()


@pytest.fixture(scope="module")
def answers(caller):
    return {name: ask(caller, *case) for name, case in CASES.items()}


def sun_toward(place, times):
    """Unit vectors east, north, up toward the refracted sun, by pvlib's own position, (n, 3)."""
    import pandas as pd

    stamps = pd.DatetimeIndex([dt.datetime.fromisoformat(time).astimezone(dt.UTC) for time in times])
    found = solarposition.get_solarposition(
        stamps, place["latitude_deg"], place["longitude_deg"], place["elevation_m"], method="nrel_numpy"
    )
    height = np.radians(found["apparent_elevation"].to_numpy())
    azimuth = np.radians(found["azimuth"].to_numpy())
    return np.stack(
        [np.cos(height) * np.sin(azimuth), np.cos(height) * np.cos(azimuth), np.sin(height)], axis=1
    )


def shines_on(window, sun, across_m, inward_m):
    """Whether the sun reaches points of the table: each ray is walked out through the wall, step by step."""
    outward = math.radians(window["outward_azimuth_deg"])
    out = sun[0] * math.sin(outward) + sun[1] * math.cos(outward)
    right = sun[0] * math.cos(outward) - sun[1] * math.sin(outward)
    if out <= 0.0:
        return np.zeros(np.shape(across_m), dtype=bool)
    reveal, overhang = window.get("reveal_depth_m", 0.0), window.get("overhang_depth_m", 0.0)
    free = np.ones(np.shape(across_m), dtype=bool)
    for beyond in (0.0, reveal):  # the two faces of the wall
        way = (inward_m + beyond) / out
        side, height = across_m + way * right, way * sun[2]
        free &= np.abs(side) <= window["width_m"] / 2
        free &= (height >= window["sill_m"]) & (height <= window["head_m"])
    under_slab = (inward_m + reveal + overhang) / out * sun[2] <= window["head_m"]
    return free & (under_slab | (overhang == 0.0))


@pytest.mark.parametrize("name", CASES)
def test_the_moments_lie_in_order_between_first_and_last_sun(answers, name):
    answer = answers[name]
    times = [moment["time"] for moment in answer["moments"]]
    instants = [dt.datetime.fromisoformat(time) for time in times]
    assert (times[0], times[-1]) == (answer["sun_from"], answer["sun_until"])
    assert instants == sorted(set(instants))
    assert all(moment["table_share"] > 0.0 for moment in answer["moments"][1:-1])
    assert all(instant.minute % 15 == 0 for instant in instants[1:-1])
    assert answer["date"] == CASES[name][1] == times[0][:10]
    assert times[0][11:16] in answer["summary"]
    assert times[-1][11:16] in answer["summary"]


@pytest.mark.parametrize("name", CASES)
def test_the_sun_comes_and_goes_when_it_is_said_to(answers, name):
    place, _, window = CASES[name]
    answer = answers[name]
    first, last = (dt.datetime.fromisoformat(answer[key]) for key in ("sun_from", "sun_until"))
    u, v = np.meshgrid(np.linspace(-0.8, 0.7, 401), np.linspace(0.2, 1.4, 401))
    # The engine looks every minute for a millionth of the table; this mesh of 4 by 3 mm sees a corner of it
    # a minute before or after.
    times = [first - dt.timedelta(minutes=2), first + dt.timedelta(minutes=3)]
    times += [last - dt.timedelta(minutes=3), last + dt.timedelta(minutes=2)]
    suns = sun_toward(place, [time.isoformat() for time in times])
    seen = [bool(shines_on(window, sun, u, v).any()) for sun in suns]
    assert seen == [False, True, True, False]


@pytest.mark.parametrize("name", CASES)
def test_the_corners_are_those_of_an_independent_projection(answers, name):
    place, _, window = CASES[name]
    moments = answers[name]["moments"]
    for moment, sun in zip(moments, sun_toward(place, [m["time"] for m in moments]), strict=True):
        corners = np.array(moment["corners"])
        assert corners.shape == (4, 2)
        middle = corners.mean(axis=0)
        # Low suns throw the patch far: a corner told to 0.1 mm, its sun to 0.001 degrees, is good to 1e-3.
        margin = 2e-3 * np.maximum(1.0, np.linalg.norm(corners - middle, axis=1))[:, None]
        toward = (middle - corners) / np.linalg.norm(middle - corners, axis=1)[:, None]
        within, beyond = corners + 5 * margin * toward, corners - margin * toward
        if min(np.linalg.norm(np.roll(corners, 1, axis=0) - corners, axis=1)) < 0.05:
            continue  # a sliver: nowhere to stand inside it
        assert shines_on(window, sun, within[:, 0], within[:, 1]).all()
        outside = beyond[beyond[:, 1] >= 0.0]  # beyond the wall there is no table
        assert not shines_on(window, sun, outside[:, 0], outside[:, 1]).any()
        assert shines_on(window, sun, middle[:1], middle[1:]).all()


@pytest.mark.parametrize("name", CASES)
def test_the_share_of_the_table_is_that_of_an_independent_ray_cast(answers, name):
    place, _, window = CASES[name]
    moments = answers[name]["moments"]
    cells = (np.arange(500) + 0.5) / 500
    u, v = np.meshgrid(-0.8 + 1.5 * cells, 0.2 + 1.2 * cells)
    for moment, sun in zip(moments, sun_toward(place, [m["time"] for m in moments]), strict=True):
        share = float(shines_on(window, sun, u, v).mean())
        # 250 000 points: an edge across the table leaves at most a cell's width, 0.002.
        assert moment["table_share"] == pytest.approx(share, abs=0.004)
        assert moment["area_m2"] == pytest.approx(moment["table_share"] * 1.5 * 1.2, abs=3e-5)


@pytest.mark.parametrize("name", CASES)
def test_the_best_place_is_on_the_table_and_no_other_gathers_more(caller, answers, name):
    place, _, window = CASES[name]
    answer = answers[name]
    best = answer["best"]
    assert 0.2 <= best["distance_m"] <= 1.4
    assert -0.8 <= best["offset_m"] <= 0.7
    assert f"{best['distance_m'] * 100:.0f} cm from the wall" in answer["best_says"]
    day = dt.datetime.fromisoformat(answer["sun_from"]).replace(hour=0, minute=0)

    def dose(distance_m, offset_m):
        body = {
            **place,
            "start": day.isoformat(),
            "end": (day + dt.timedelta(days=1)).isoformat(),
            "step_s": 600,
            "spot": {
                "kind": "window",
                "window": window,
                "frame": {"distance_m": distance_m, "offset_m": offset_m},
            },
        }
        light = caller.post("/v1/light", body).json()["effective_w_m2"]
        return 600 * sum(light)

    here = dose(best["distance_m"], best["offset_m"])
    # Both add up the same ten minutes; the day's ends are dark.
    assert here == pytest.approx(answer["best_dose_j_m2"], rel=1e-3)
    for distance_m in (0.2, 0.5, 0.9, 1.4):
        for offset_m in (-0.8, -0.2, 0.3, 0.7):
            assert dose(distance_m, offset_m) <= 1.03 * here  # between places of its grid


def test_in_dunedin_the_winter_sun_reaches_deep_and_the_summer_sun_does_not(answers):
    winter, summer = answers["Dunedin in June"], answers["Dunedin in January"]
    deepest = [max(v for m in a["moments"] for _, v in m["corners"]) for a in (winter, summer)]
    assert deepest[0] > 4.0
    # At noon the sun stands 90 - 45.87 -+ declination high: 20.7 degrees on 21 June (declination 23.44), 65.3
    # on 15 January (-21.2).  The head is 1.4 m up, the outer face 0.25 m out, the wall 10 degrees off north.
    for answer, height_deg in ((winter, 20.7), (summer, 65.3)):
        suns = sun_toward(DUNEDIN, [moment["time"] for moment in answer["moments"]])
        noon = answer["moments"][int(np.argmax(suns[:, 2]))]
        expected = 1.4 / math.tan(math.radians(height_deg)) * math.cos(math.radians(10)) - 0.25
        assert max(v for _, v in noon["corners"]) == pytest.approx(expected, rel=0.06)
    assert winter["sun_from"].endswith("+12:00")
    assert summer["sun_from"].endswith("+13:00")


def test_a_window_that_never_sees_the_sun_has_no_patch_and_still_a_best_place(caller):
    south = {**NORTH, "outward_azimuth_deg": 180}
    answer = ask(caller, DUNEDIN, "2026-06-21", south, months=True)
    assert answer["sun_from"] is None
    assert answer["sun_until"] is None
    assert answer["moments"] == []
    assert "No sun" in answer["summary"]
    assert answer["best_dose_j_m2"] > 0.0  # the sky is still there
    months = answer["months"]
    assert [item["sun_from"] is None for item in months][4:8] == [True] * 4  # May to August
    assert months[11]["sun_from"] is not None  # in December it rises south of east


def test_behind_a_wall_opposite_there_is_no_sun(caller):
    answer = ask(caller, PORTO, "2026-06-21", {**SOUTH_EAST, "skyline": [[0, 89]]})
    assert answer["sun_from"] is None


@pytest.mark.parametrize(
    ("place", "window"), [(PORTO, SOUTH_EAST), (DUNEDIN, NORTH)], ids=["Porto", "Dunedin"]
)
def test_the_year_has_its_twelve_months(caller, place, window):
    answer = ask(caller, place, "2026-06-15", window, months=True)
    months = answer["months"]
    assert [item["month"] for item in months] == list(range(1, 13))
    for item in months:
        assert item["sun_from"][:10] == item["sun_until"][:10] == f"2026-{item['month']:02d}-15"
        assert item["sun_from"] < item["sun_until"]
        assert item["dose_j_m2"] > 0.0
        assert item["best_says"].startswith(f"{item['best']['distance_m'] * 100:.0f} cm")
    # One of them is the day itself.
    own = months[5]
    assert (own["sun_from"], own["dose_j_m2"]) == (answer["sun_from"], answer["best_dose_j_m2"])
    # A high sun keeps the patch by the wall, a low one carries it into the room.
    high, low = (months[5], months[11]) if place is PORTO else (months[11], months[5])
    assert high["best"]["distance_m"] <= low["best"]["distance_m"]


def test_without_months_there_are_none(answers):
    assert answers["Porto in June"]["months"] is None


def test_the_day_defaults_to_today_at_the_place(caller):
    spot = {"kind": "window", "window": NORTH, "frame": FRAME}
    today = caller.post("/v1/patch", {**DUNEDIN, "spot": spot}).json()
    assert today["date"] == "2026-06-21"  # nine in the morning UTC is nine in the evening there


def test_the_table_defaults_to_what_an_arm_reaches(caller):
    spot = {"kind": "window", "window": SOUTH_EAST, "frame": FRAME}
    usual = caller.post("/v1/patch", {**PORTO, "date": "2026-06-21", "spot": spot}).json()
    given = {
        "table_nearest_m": 0.2,
        "table_farthest_m": 1.2,
        "table_leftmost_m": -0.9,
        "table_rightmost_m": 0.9,
    }
    assert ask(caller, PORTO, "2026-06-21", SOUTH_EAST, **given) == usual


def test_polar_night_has_no_patch(caller):
    answer = ask(
        caller, {"latitude_deg": 80, "longitude_deg": 20, "elevation_m": 0}, "2026-12-21", SOUTH_EAST
    )
    assert answer["sun_from"] is None
    assert answer["best_dose_j_m2"] == 0.0
