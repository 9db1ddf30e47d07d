"""Many places at once: the same light and the same lengths as one place after another."""

import datetime as dt
import math

import numpy as np
import pytest

from noonframe.dose.batch import batch_light
from noonframe.dose.batch_exposure import DARK, LIGHT_ENDS, OVER_A_DAY, REACHED, batch_exposure
from noonframe.dose.batch_places import BatchPlaces
from noonframe.dose.batch_sky import BatchSheet
from noonframe.dose.scene import Scene, Target
from noonframe.errors import OutOfDomain
from noonframe.sky.assume import assume_sky
from noonframe.sky.words import SKY_WORDS
from noonframe.spot.plane import OpenSpot
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place

STACK = parse_stack("float-glass-4mm,polyester-film")
COAT = find_sensitizer("citrate-classic")
ALBEDO = 0.04

LIGHT_TOLERANCE, TWILIGHT_TOLERANCE = 0.0035, 0.005
"""What straight lines between the nodes of the skies may cost; a tenth of the model's own 3 %."""

DOSE_TOLERANCE = 0.004
"""Light, and the steps of either integral.  Lengths follow it, magnified where the light is fading."""

DARK_TOLERANCE_S = 60.0
"""One place alone looks for darkness at steps of half a minute, the batch at the very moment."""

MOMENTS = (
    dt.datetime(2026, 6, 21, 11, tzinfo=dt.UTC),
    dt.datetime(2024, 2, 29, 3, 17, tzinfo=dt.UTC),
    dt.datetime(2025, 12, 15, 20, 5, tzinfo=dt.UTC),
)
CORNERS = (  # next to the poles, at the antimeridian, at the polar circles, on the equator
    (89.99, 0.0), (-89.99, 12.0), (89.5, -179.99), (0.0, 180.0), (0.0, -180.0), (-16.8, 179.99),
    (66.6, 25.0), (68.5, 20.0), (-66.6, 140.0), (-67.4, -60.0), (60.6, 30.0), (0.0, 0.0),
)  # fmt: skip


def random_places(count: int, seed: int, *, elevation=False, ozone=False, aerosol=False) -> BatchPlaces:
    """Places spread evenly over the globe, the awkward ones first."""
    rng = np.random.default_rng(seed)
    latitude = np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, count)))
    longitude = rng.uniform(-180.0, 180.0, count)
    corners = np.array(CORNERS)
    return BatchPlaces.checked(
        np.concatenate([corners[:, 0], latitude]),
        np.concatenate([corners[:, 1], longitude]),
        rng.uniform(-450.0, 5500.0, count + len(CORNERS)) if elevation else 0.0,
        rng.uniform(100.0, 600.0, count + len(CORNERS)) if ozone else None,
        rng.uniform(0.0, 2.0, count + len(CORNERS)) if aerosol else None,
    )


def sheet(word: str) -> BatchSheet:
    return BatchSheet(SKY_WORDS[word].parts, ALBEDO, STACK, COAT)


def alone(places: BatchPlaces, index: int, moment: dt.datetime, word: str) -> Scene:
    """The scene of one of the places, as a single question would have it."""

    def own(values):
        return float(values[index]) if isinstance(values, np.ndarray) else values

    longitude = float(places.longitude_deg[index])
    place = Place(float(places.latitude_deg[index]), longitude, own(places.elevation_m))
    sky = assume_sky(
        place,
        (moment + dt.timedelta(hours=longitude / 15.0)).date(),
        ozone_du=own(places.ozone_du),
        aerosol_optical_depth=own(places.aerosol_optical_depth),
        sky=word,
    )
    return Scene(place, sky, OpenSpot(), STACK, COAT, ALBEDO)


AIRS = {
    "climatology at sea level": {},
    "climatology at any height": {"elevation": True},
    "all air given": {"elevation": True, "ozone": True, "aerosol": True},
}


@pytest.mark.parametrize(
    ("moment", "word"), [(MOMENTS[0], "clear"), (MOMENTS[1], "broken"), (MOMENTS[2], "rain")]
)
@pytest.mark.parametrize("air", AIRS)
def test_light_is_what_each_place_alone_has(moment, air, word):
    places = random_places(16, 7, **AIRS[air])
    light = batch_light(sheet(word), places, moment.timestamp())
    at = np.array([moment.timestamp()])
    for k in range(places.count):
        scene = alone(places, k, moment, word)
        series, track = scene.light(at), scene.track(at)
        # The upper limb's rise switches refraction on at once, in both.
        if abs(track.true_elevation_deg[0] + 0.8333) > 0.001:
            assert light.zenith_deg[k] == pytest.approx(track.zenith_deg[0], abs=1e-5)
        turned = (light.azimuth_deg[k] - track.azimuth_deg[0] + 180.0) % 360.0 - 180.0
        assert turned == pytest.approx(0.0, abs=1e-5)
        for name in ("uva_w_m2", "uva_diffuse_w_m2", "blue_w_m2", "effective_w_m2", "uv_index"):
            expected = float(getattr(series, name)[0])
            tolerance = LIGHT_TOLERANCE if track.up[0] > 0.0 else TWILIGHT_TOLERANCE
            assert getattr(light, name)[k] == pytest.approx(expected, rel=tolerance, abs=1e-7), name
            assert (getattr(light, name)[k] == 0.0) == (expected == 0.0), name


@pytest.mark.parametrize("target_j_m2", [30.0, 24000.0, 400000.0, 3e6])
@pytest.mark.parametrize(("moment", "air"), list(zip(MOMENTS, AIRS, strict=True)))
def test_exposures_gather_what_each_place_alone_would(moment, air, target_j_m2):
    places = random_places(16, 11, **AIRS[air])
    start_s = moment.timestamp()
    found = batch_exposure(
        sheet("clear"), places, start_s, Target(target_j_m2, 0.3, "test"), light_spread_stops=0.2
    )
    spread = math.hypot(0.3, 0.2)
    for k in range(places.count):
        course = alone(places, k, moment, "clear").course(start_s).dose
        single = course.expose(start_s, target_j_m2, spread)

        def gathered(until_s, course=course):
            return course._at(until_s)[2] - course._at(start_s)[2]

        factors = (1.0, found_factor(spread) ** -1.0, found_factor(spread))
        for length_s, expected_s, factor in zip(
            (found.length_s[k], found.low_s[k], found.high_s[k]),
            (single.length_s, single.low_s, single.high_s),
            factors,
            strict=True,
        ):
            wanted = target_j_m2 * factor
            if not math.isnan(length_s):
                assert gathered(start_s + length_s) == pytest.approx(wanted, rel=DOSE_TOLERANCE)
            if math.isnan(length_s) != (expected_s is None):  # then it was within a hair of either
                assert gathered(single.looked_until_s) == pytest.approx(wanted, rel=DOSE_TOLERANCE)
        if found.outcome[k] == REACHED:
            assert found.dose_share[k] == 1.0
        else:
            assert found.dose_share[k] == pytest.approx(single.dose_share, rel=0.01, abs=0.001)
            assert math.isnan(found.length_s[k])
        if found.outcome[k] == OVER_A_DAY:
            assert single.looked_until_s == pytest.approx(start_s + 86400.0)
        if found.outcome[k] == DARK:
            assert single.looked_until_s <= start_s + DARK_TOLERANCE_S
        if found.outcome[k] == LIGHT_ENDS:
            assert single.dark_then


def found_factor(spread_stops: float) -> float:
    return 2.0 ** (1.2815515594600038 * spread_stops)  # standard normal quantile of 0.9


def test_every_outcome_happens():
    places = random_places(400, 3)
    found = batch_exposure(
        sheet("clear"), places, MOMENTS[0].timestamp(), Target(3e5, 0.0, "test"), light_spread_stops=0.0
    )
    assert set(found.outcome.tolist()) == {REACHED, DARK, LIGHT_ENDS}
    polar_day = BatchPlaces.checked(np.array([85.0]), np.array([0.0]))
    endless = batch_exposure(
        sheet("rain"), polar_day, MOMENTS[0].timestamp(), Target(1e8, 0.0, "test"), light_spread_stops=0.0
    )
    assert endless.outcome.tolist() == [OVER_A_DAY]
    assert 0.0 < endless.dose_share[0] < 1.0


@pytest.mark.parametrize("air", list(AIRS)[:2])
def test_a_place_is_told_the_same_whoever_stands_beside_it(air):
    places = random_places(9000, 5, **AIRS[air])  # more than one block
    start_s = MOMENTS[1].timestamp()
    target = Target(24000.0, 0.25, "test")
    light = batch_light(sheet("clear"), places, start_s)
    lengths = batch_exposure(sheet("clear"), places, start_s, target, light_spread_stops=0.2)
    few = places.some(slice(8990, 9010))
    light_alone = batch_light(sheet("clear"), few, start_s)
    lengths_alone = batch_exposure(sheet("clear"), few, start_s, target, light_spread_stops=0.2)
    np.testing.assert_allclose(light.effective_w_m2[8990:9010], light_alone.effective_w_m2, rtol=1e-6)
    np.testing.assert_allclose(lengths.length_s[8990:9010], lengths_alone.length_s, rtol=1e-6)


def test_one_meridian_has_two_names():
    places = BatchPlaces.checked(np.array([-16.8, -16.8]), np.array([180.0, -180.0]))
    light = batch_light(sheet("clear"), places, MOMENTS[1].timestamp())
    assert light.uva_w_m2[0] > 0.0
    assert light.zenith_deg[0] == pytest.approx(light.zenith_deg[1], abs=1e-9)
    # Ozone turns with the day, and there the day itself differs.
    assert light.uva_w_m2[0] == pytest.approx(light.uva_w_m2[1], rel=1e-4)


def test_reciprocity_failure_lengthens_as_for_one_place():
    places = BatchPlaces.checked(np.array([41.15]), np.array([-8.61]), 80.0)
    start_s = MOMENTS[0].timestamp()
    found = batch_exposure(
        sheet("overcast"),
        places,
        start_s,
        Target(24000.0, 0.0, "test"),
        light_spread_stops=0.0,
        reciprocity_exponent=0.9,
    )
    base = alone(places, 0, MOMENTS[0], "overcast")
    failing = Scene(base.place, base.sky, base.spot, STACK, COAT, ALBEDO, 0.9)
    expected = failing.course(start_s).dose.expose(start_s, 24000.0)
    assert expected.length_s is not None
    assert found.length_s[0] == pytest.approx(expected.length_s, rel=DOSE_TOLERANCE)


@pytest.mark.parametrize(
    ("field", "change"),
    [
        ("latitude_deg[1]", {"latitude_deg": [0.0, 90.0]}),
        ("latitude_deg[0]", {"latitude_deg": [math.nan, 0.0]}),
        ("latitude_deg", {"latitude_deg": [], "longitude_deg": []}),
        ("longitude_deg[1]", {"longitude_deg": [0.0, 180.1]}),
        ("longitude_deg", {"longitude_deg": [0.0]}),
        ("elevation_m[0]", {"elevation_m": np.array([5600.0, 0.0])}),
        ("elevation_m", {"elevation_m": -500.0}),
        ("ozone_du", {"ozone_du": np.array([300.0, 300.0, 300.0])}),
        ("ozone_du[1]", {"ozone_du": np.array([300.0, 601.0])}),
        ("aerosol_optical_depth", {"aerosol_optical_depth": 2.1}),
    ],
)
def test_a_wrong_number_is_named(field, change):
    given = {"latitude_deg": [0.0, 1.0], "longitude_deg": [0.0, 1.0], **change}
    given["latitude_deg"], given["longitude_deg"] = (
        np.array(given[name], dtype=np.float64) for name in ("latitude_deg", "longitude_deg")
    )
    with pytest.raises(OutOfDomain) as caught:
        BatchPlaces.checked(**given)
    assert caught.value.field == field


@pytest.mark.parametrize("year", [1899, 2200])
def test_times_outside_the_ephemeris_are_refused(year):
    places = BatchPlaces.checked(np.array([0.0]), np.array([0.0]))
    with pytest.raises(OutOfDomain, match="time"):
        batch_light(sheet("clear"), places, dt.datetime(year, 7, 1, tzinfo=dt.UTC).timestamp())
