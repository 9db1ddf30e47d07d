"""Plans of aims in the open, over HTTP."""

import datetime as dt
import math

import pytest

PORTO = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
DUNEDIN = {"latitude_deg": -45.87, "longitude_deg": 170.5, "elevation_m": 10}
SHEET = {"stack": "float-glass-4mm,polyester-film", "target_j_m2": 24000}
WINTER = {"start": "2026-12-21T10:00:00Z"}
YARD = [[0, 35], [45, 40], [90, 35], [135, 15], [170, 4], [225, 3], [280, 4], [315, 25]]


def ask(caller, place=PORTO, **fields):
    return caller.answer("/v1/moves", {**place, **SHEET, **WINTER, **fields})


def aims(plan):
    return [plan["begin"], *(move["to"] for move in plan["moves"])]


def test_a_plan_in_the_open_has_aims_and_no_distances(caller):
    plan = ask(caller)
    for aim in aims(plan):
        assert aim["distance_m"] is None
        assert aim["offset_m"] is None
    assert plan["begin"]["tilt_deg"] >= 30  # a low sun is worth aiming at
    assert 120 <= plan["begin"]["aim_azimuth_deg"] <= 210
    assert "tilted" in plan["begin_says"]
    assert plan["proven"]
    assert plan["within_share"] == 0.0


@pytest.mark.parametrize(
    ("allowed", "tilts"), [("flat", {0}), ("propped", {0, 30}), ("free", {0, 15, 30, 45, 60})]
)
def test_only_the_aims_allowed_are_advised(caller, allowed, tilts):
    for start in ("2026-12-21T09:30:00Z", "2026-06-21T07:00:00Z", "2026-03-21T17:00:00Z"):
        plan = ask(caller, aims=allowed, start=start, target_j_m2=60000)
        assert {aim["tilt_deg"] for aim in aims(plan)} <= tilts


def test_more_freedom_is_never_later(caller):
    flat, propped, free = (ask(caller, aims=name)["best_length_s"] for name in ("flat", "propped", "free"))
    assert free <= propped <= flat
    assert free < 0.8 * flat


def test_a_flat_plan_is_the_exposure(caller):
    flat = ask(caller, aims="flat")
    exposure = caller.answer("/v1/exposure", {**PORTO, **SHEET, **WINTER})
    assert flat["length_s"] == pytest.approx(exposure["length_s"], rel=1e-3)
    assert flat["length_low_s"] == pytest.approx(exposure["length_low_s"], rel=1e-3)
    assert flat["length_high_s"] == pytest.approx(exposure["length_high_s"], rel=1e-3)
    assert flat["moves"] == []


def test_a_plan_is_the_exposure_at_its_aim(caller):
    plan = ask(caller, max_moves=0)
    aim = {"tilt_deg": plan["begin"]["tilt_deg"], "aim_azimuth_deg": plan["begin"]["aim_azimuth_deg"]}
    exposure = caller.answer("/v1/exposure", {**PORTO, **SHEET, **WINTER, **aim})
    assert plan["length_s"] == pytest.approx(exposure["length_s"], rel=1e-3)


@pytest.mark.parametrize("sky", ["overcast", "rain", "fog"])
@pytest.mark.parametrize("place", [PORTO, DUNEDIN], ids=["Porto", "Dunedin"])
@pytest.mark.parametrize("skyline", [None, YARD, [[0, 60], [89, 60], [91, 0], [269, 0], [271, 60]]], ids=str)
@pytest.mark.parametrize("near_ground_albedo", [0.04, 0.9])
def test_a_closed_sky_is_never_aimed_at(caller, sky, place, skyline, near_ground_albedo):
    """Beside a wall leaning away from it would gain; still nobody is told to aim at a closed sky."""
    for hour in (0, 8, 11, 15, 21):
        body = {
            **place,
            **SHEET,
            "start": f"2026-06-21T{hour:02d}:00:00Z",
            "sky": sky,
            "near_ground_albedo": near_ground_albedo,
            "spot": {"kind": "open", "skyline": skyline},
        }
        plan = caller.post("/v1/moves", body).json()
        assert [aim["tilt_deg"] for aim in aims(plan)] == [0.0]
        assert plan["begin_says"] == "laid flat"


def test_if_cloud_covers_the_sun_the_frame_is_laid_flat(caller):
    plan = ask(caller)
    assert "laid flat" in plan["if_cloud_covers"]
    assert plan["if_cloud_covers_s"] > plan["length_s"]


def test_a_fixed_start_begins_as_given_and_may_be_turned(caller):
    plan = ask(caller, tilt_deg=20, aim_azimuth_deg=300, start_fixed="true")
    assert plan["begin"] == {"distance_m": None, "offset_m": None, "tilt_deg": 20, "aim_azimuth_deg": 300}
    assert len(plan["moves"]) >= 1
    first = plan["moves"][0]
    assert first["after_s"] == 0
    assert first["saves_s"] > 60
    assert plan["length_s"] < plan["stay_length_s"]
    stuck = ask(caller, tilt_deg=20, aim_azimuth_deg=300, start_fixed="true", max_moves=0)
    assert stuck["moves"] == []
    assert stuck["length_s"] == stuck["stay_length_s"] == plan["stay_length_s"]


def test_in_dunedin_the_frame_leans_north(caller):
    plan = ask(caller, DUNEDIN, start="2026-06-21T12:15:00+12:00")
    azimuth = plan["begin"]["aim_azimuth_deg"]
    assert min(azimuth, 360 - azimuth) <= 30
    assert plan["begin"]["tilt_deg"] >= 45
    assert "north" in plan["begin_says"]


def test_high_summer_noon_stays_flat_where_it_lies(caller):
    plan = ask(caller, start="2026-06-21T13:15:00+01:00", start_fixed="true")
    assert plan["moves"] == []
    assert plan["length_s"] == plan["stay_length_s"]


def test_a_frame_begun_toward_the_morning_is_turned_after_the_sun(caller):
    fixed = {"tilt_deg": 45, "aim_azimuth_deg": 90, "start_fixed": "true", "max_moves": 3}
    plan = ask(caller, start="2026-09-21T08:00:00Z", target_j_m2=250000, **fixed)
    azimuths = [aim["aim_azimuth_deg"] for aim in aims(plan)]
    assert len(plan["moves"]) >= 1
    assert azimuths == sorted(set(azimuths))  # from east by south
    assert all(move["saves_s"] > 60 for move in plan["moves"])
    assert plan["length_s"] < 0.95 * plan["stay_length_s"]
    assert plan["summary"].count(", tilted") == len(plan["moves"])


def test_the_sheet_in_the_open_is_one_point(caller):
    plan = ask(caller, dose_map="true")
    assert plan["dose_map_stops"] == [[pytest.approx(0.0, abs=1e-3)]]
    assert plan["evenness"]["highest_stops"] == plan["evenness"]["lowest_stops"]


def test_edges_blur_on_a_level_frame_and_are_not_told_on_a_tilted_one(caller):
    flat = ask(caller, aims="flat", object_height_mm=10)
    light = caller.answer("/v1/light", {**PORTO, "start": flat["start"], "end": flat["end"], "step_s": 60})
    tips = []
    for zenith_deg, azimuth_deg in zip(light["solar_zenith_deg"], light["solar_azimuth_deg"], strict=True):
        reach, azimuth = 10 * math.tan(math.radians(zenith_deg)), math.radians(azimuth_deg)
        tips.append((reach * math.sin(azimuth), reach * math.cos(azimuth)))
    farthest = max(math.dist(a, b) for a in tips for b in tips)
    assert flat["edge"]["wander_mm"] == pytest.approx(farthest, rel=0.03)
    assert ask(caller, object_height_mm=10)["edge"] is None
    covered = ask(caller, aims="flat", object_height_mm=10, sky="rain")["edge"]
    assert covered is None or covered["diffuse_share"] > 0.99


def test_polar_night_has_a_plan_that_says_so(caller):
    plan = ask(caller, {"latitude_deg": 80, "longitude_deg": 20}, object_height_mm=5)
    assert plan["outcome"] == "out-of-light"
    assert plan["begin_says"] == "laid flat"
    assert plan["edge"] is None


def test_a_plan_begun_before_dawn_waits_for_it_across_a_change_of_clocks(caller):
    """Clocks go forward in Porto on 29 March 2026 at 01:00; the length is in seconds all the same."""
    plan = ask(caller, start="2026-03-29T00:30:00Z", target_j_m2=1000)
    assert plan["reached"]
    assert (plan["start"][-6:], plan["end"][-6:]) == ("+00:00", "+01:00")
    begins, ends = (dt.datetime.fromisoformat(plan[name]).timestamp() for name in ("start", "end"))
    assert ends - begins == pytest.approx(plan["length_s"], abs=2e-3)
    assert plan["length_low_s"] < plan["length_s"] < plan["length_high_s"]
    assert "done in" in plan["summary"]
