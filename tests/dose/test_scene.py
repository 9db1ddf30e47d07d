"""The scene: what it refuses, and the sky's own alternatives."""

import datetime as dt

import numpy as np
import pytest

from noonframe.dose.exposure import expose
from noonframe.dose.scene import RECIPROCITY_REFERENCE_W_M2, Scene, Target, with_reciprocity
from noonframe.errors import OutOfDomain
from noonframe.sky.assume import assume_sky
from noonframe.spot.plane import OpenSpot
from noonframe.stack.effective import dose_weights
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place

PORTO, DAY = Place(41.15, -8.61, 80.0), dt.date(2025, 6, 21)
COAT = find_sensitizer("citrate-classic")
NOON = np.array([dt.datetime(2025, 6, 21, 12, 36, tzinfo=dt.UTC).timestamp()])


def scene(near_albedo: float = 0.04, exponent: float = 1.0, stack: str = "float-glass-4mm", **sky) -> Scene:
    return Scene(
        PORTO, assume_sky(PORTO, DAY, **sky), OpenSpot(), parse_stack(stack), COAT, near_albedo, exponent
    )


@pytest.mark.parametrize(
    ("field", "arguments"),
    [
        ("reciprocity_exponent", {"exponent": 0.69}),
        ("reciprocity_exponent", {"exponent": 1.11}),
        ("reciprocity_exponent", {"exponent": np.nan}),
        ("near_ground_albedo", {"near_albedo": -0.01}),
        ("near_ground_albedo", {"near_albedo": 1.01}),
        ("near_ground_albedo", {"near_albedo": np.nan}),
    ],
)
def test_a_scene_outside_the_domain_is_refused_by_name(field, arguments):
    with pytest.raises(OutOfDomain) as caught:
        scene(**arguments)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("field", "arguments"),
    [
        ("target_j_m2", (0.5, 0.3)),
        ("target_j_m2", (2e8, 0.3)),
        ("target_j_m2", (np.nan, 0.3)),
        ("target_j_m2", (np.inf, 0.3)),
        ("target_spread_stops", (24000.0, -0.1)),
        ("target_spread_stops", (24000.0, 4.1)),
        ("target_spread_stops", (24000.0, np.nan)),
    ],
)
def test_a_target_outside_the_domain_is_refused_by_name(field, arguments):
    with pytest.raises(OutOfDomain) as caught:
        Target(*arguments, "test")
    assert caught.value.field == field


def test_rate_is_the_effective_light_and_light_scales_with_distance():
    ours = scene()
    light = ours.light(NOON)
    assert np.array_equal(ours.rate(NOON), light.effective_w_m2)
    assert 0.0 < light.effective_w_m2[0] < light.uva_w_m2[0] + light.blue_w_m2[0]


def test_sun_out_and_covered_bracket_broken_cloud():
    broken = scene(sky="broken")
    out, covered, mean = (float(s.rate(NOON)[0]) for s in (broken.sun_out, broken.covered, broken))
    assert covered < mean < out
    assert mean == pytest.approx((out + covered) / 2.0, rel=2e-3)  # the word is half one, half the other
    assert out == pytest.approx(float(scene(sky="clear").rate(NOON)[0]))


def test_spread_of_the_light_adds_sky_and_sheets_in_squares():
    bare, glazed = scene(stack="none"), scene()
    assert bare.light_spread_stops == pytest.approx(bare.sky.spread_stops)
    sheets = parse_stack("float-glass-4mm").spread_stops(dose_weights(COAT))
    assert glazed.light_spread_stops == pytest.approx(np.hypot(bare.sky.spread_stops, sheets))
    assert scene(sky="overcast").light_spread_stops > glazed.light_spread_stops


@pytest.mark.parametrize("exponent", [0.7, 0.9, 1.1])
def test_reciprocity_changes_nothing_at_its_reference_and_in_the_dark(exponent):
    light = np.array([0.0, RECIPROCITY_REFERENCE_W_M2])
    assert with_reciprocity(light, exponent) == pytest.approx(light)


def test_below_the_reference_failure_slows_and_above_it_speeds():
    light = np.array([4.0, 80.0])
    assert with_reciprocity(light, 0.9)[0] < 4.0
    assert with_reciprocity(light, 0.9)[1] > 80.0
    assert np.array_equal(with_reciprocity(light, 1.0), light)


def test_one_instant_equals_its_place_in_a_series():
    ours = scene(exponent=0.95)
    series = NOON[0] + np.arange(-30000.0, 30000.0, 1234.0)
    rate = ours.rate(series)
    assert [float(ours.rate(series[k : k + 1])[0]) for k in range(series.size)] == pytest.approx(
        rate.tolist(), rel=1e-9
    )


def test_course_of_a_day_and_single_exposures_tell_the_same():
    """The course has its minutes on the clock's, a single exposure on its own start's: under a second
    between them."""
    ours = scene()
    for offset_s in (-20000.0, -3333.3, 0.0, 12345.6, 25000.0):
        start_s = float(NOON[0]) + offset_s
        kept = ours.course(start_s).dose.expose(start_s, COAT.target_j_m2, 0.5)
        single = expose(ours.rate, start_s, COAT.target_j_m2, 0.5)
        for kept_s, single_s in (
            (kept.length_s, single.length_s),
            (kept.low_s, single.low_s),
            (kept.high_s, single.high_s),
        ):
            assert kept_s == pytest.approx(single_s, abs=1.0)


def test_highest_sun_of_an_exposure_is_the_highest_of_its_minutes():
    ours = scene()
    first_s, last_s = float(NOON[0]) - 1800.0, float(NOON[0]) + 600.0
    up, uv_index = ours.course(first_s).highest(first_s, last_s)
    instants = np.linspace(first_s, last_s, 500)
    assert up == pytest.approx(np.max(ours.track(instants).up), abs=1e-5)
    assert uv_index == pytest.approx(np.max(ours.light(instants).uv_index), rel=1e-3)


def test_many_instants_at_once_are_the_same_as_in_parts():
    """But for the last digits of the time since the first instant, which differ with the span."""
    ours = scene()
    long = float(NOON[0]) + 60.0 * np.arange(40000)
    few = [0, 16383, 16384, 39999]
    assert ours.rate(long)[few] == pytest.approx(ours.rate(long[few]), rel=1e-6, abs=1e-12)
