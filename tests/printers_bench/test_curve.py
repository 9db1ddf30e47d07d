"""The characteristic curve: known curves recovered, against a general fit, refusals and comparisons."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq, curve_fit, minimize_scalar

from noonframe.bench.curve import CharacteristicCurve, compare_curves
from noonframe.bench.curve_fit import FEWEST_READINGS, fit_curve
from noonframe.bench.wedges import wedge_21
from noonframe.errors import OutOfDomain

DOSES = np.array(wedge_21().doses_j_m2(200e3))
NOISE = 0.01  # density; what a good densitometer repeats to (common practice, no source)


def richards(x, *known):
    d_min, d_max, centre, steepness, asymmetry = known
    return d_min + (d_max - d_min) / (1.0 + np.exp(-steepness * (x - centre))) ** asymmetry


# D_max 1.2 to 1.5 for the classic coat, 1.7 for the oxalate one (workshop notes; classic from memory)
KNOWN = [
    pytest.param((0.08, 1.45, 4.1, 5.0, 0.6), id="long toe"),
    pytest.param((0.05, 1.30, 3.8, 4.0, 1.0), id="logistic"),
    pytest.param((0.10, 1.70, 3.4, 2.5, 2.5), id="long shoulder"),
]


@pytest.mark.reference
@pytest.mark.parametrize("known", KNOWN)
def test_a_known_curve_is_recovered(known):
    curve = fit_curve(DOSES.tolist(), richards(np.log10(DOSES), *known).tolist())
    found = (curve.d_min, curve.d_max, curve.centre, curve.steepness, curve.asymmetry)
    assert found == pytest.approx(known, rel=1e-4)
    assert curve.rms_residual < 1e-6
    # the definitions, by root finding and maximising on the known curve
    net = known[1] - known[0]
    toe = brentq(lambda x: richards(x, *known) - known[0] - 0.04, 0.0, 8.0)
    shoulder = brentq(lambda x: richards(x, *known) - known[0] - 0.9 * net, 0.0, 8.0)
    speed = brentq(lambda x: richards(x, *known) - known[0] - 0.6, 0.0, 8.0)
    slope = minimize_scalar(
        lambda x: -(richards(x + 1e-5, *known) - richards(x - 1e-5, *known)) / 2e-5, bounds=(toe, 6.0)
    )
    assert math.log10(curve.toe_j_m2) == pytest.approx(toe, abs=1e-4)
    assert curve.exposure_scale == pytest.approx(shoulder - toe, abs=2e-4)
    assert curve.exposure_scale_stops == pytest.approx((shoulder - toe) / math.log10(2.0), abs=1e-3)
    assert curve.negative_density_range == curve.exposure_scale
    assert curve.iso_range == 10 * round(10 * (shoulder - toe))
    assert math.log10(curve.speed_point_j_m2) == pytest.approx(speed, abs=1e-4)
    assert curve.gamma == pytest.approx(-slope.fun, rel=1e-4)
    assert curve.mean_gradient == pytest.approx((0.9 * net - 0.04) / (shoulder - toe), rel=1e-4)


@pytest.mark.reference
@pytest.mark.parametrize("known", KNOWN)
def test_with_noise_the_curve_is_that_of_a_general_least_squares_fit(known):
    rng = np.random.default_rng(11)
    x = np.log10(DOSES)
    readings = richards(x, *known) + rng.normal(0.0, NOISE, x.size)
    readings = np.maximum(readings, 0.0)
    curve = fit_curve(DOSES.tolist(), readings.tolist())
    bounds = ([-0.2, 0.5, 0.0, 0.5, 0.05], [0.5, 3.0, 8.0, 60.0, 20.0])
    general, _ = curve_fit(richards, x, readings, p0=(0.05, 1.4, 4.0, 4.0, 1.0), bounds=bounds)
    # the losses differ beyond a residual of 0.02, which ten in a hundred readings here have
    assert curve.density(DOSES) == pytest.approx(richards(x, *general), abs=0.006)
    assert curve.residuals == pytest.approx(readings - curve.density(DOSES), abs=1e-9)
    assert curve.rms_residual < 1.5 * NOISE


def test_the_stated_error_of_the_scale_is_its_scatter():
    known = KNOWN[0].values[0]
    rng = np.random.default_rng(12)
    clean = richards(np.log10(DOSES), *known)
    fits = [fit_curve(DOSES.tolist(), (clean + rng.normal(0.0, NOISE, 21)).tolist()) for _ in range(60)]
    scales = np.array([fit.exposure_scale for fit in fits])
    truth = 1.5074  # of the known curve, by the test above
    assert abs(scales.mean() - truth) < 3.0 * scales.std() / math.sqrt(60) + 0.01
    stated = np.median([fit.exposure_scale_error for fit in fits])
    assert stated == pytest.approx(scales.std(), rel=0.35)


def test_one_misread_step_hardly_bends_the_curve_and_is_named():
    known = KNOWN[1].values[0]
    readings = richards(np.log10(DOSES), *known)
    readings[0] += 0.2  # the darkest; a lower one would be refused as falling
    curve = fit_curve(DOSES.tolist(), readings.tolist())
    clean = fit_curve(DOSES.tolist(), richards(np.log10(DOSES), *known).tolist())
    assert np.max(np.abs(curve.density(DOSES) - clean.density(DOSES))) < 0.04
    assert abs(curve.exposure_scale - clean.exposure_scale) < 0.06
    assert any(note.startswith("reading 1 lies +0.") for note in curve.notes)


def test_the_order_of_readings_does_not_matter():
    readings = richards(np.log10(DOSES), *KNOWN[0].values[0])
    forward = fit_curve(DOSES.tolist(), readings.tolist())
    backward = fit_curve(DOSES[::-1].tolist(), readings[::-1].tolist())
    assert backward.exposure_scale == pytest.approx(forward.exposure_scale, rel=1e-6)


def test_a_curve_beyond_its_readings_says_so():
    readings = richards(np.log10(DOSES), *KNOWN[1].values[0])
    short = fit_curve(DOSES[9:].tolist(), readings[9:].tolist())
    assert any("D_max is a guess" in note for note in short.notes)
    dark = fit_curve(DOSES[:9].tolist(), readings[:9].tolist())
    assert any("D_min is a guess" in note for note in dark.notes)
    assert fit_curve(DOSES.tolist(), readings.tolist()).notes == ()


def test_a_coat_twice_as_slow_is_one_stop_slower():
    readings = richards(np.log10(DOSES), *KNOWN[0].values[0]).tolist()
    first, second = fit_curve(DOSES.tolist(), readings), fit_curve((2.0 * DOSES).tolist(), readings)
    found = compare_curves(first, second)
    assert found.slower_stops == pytest.approx(1.0, abs=1e-3)
    assert found.exposure_scale_stops == pytest.approx(0.0, abs=1e-3)
    assert (found.d_min, found.d_max) == pytest.approx((0.0, 0.0), abs=1e-4)
    assert found.gamma_ratio == pytest.approx(1.0, abs=1e-3)
    assert found.compared_at_net_density == 0.6
    back = compare_curves(second, first)
    assert back.slower_stops == pytest.approx(-found.slower_stops)


def test_a_weak_coat_is_compared_at_half_its_density_and_has_no_speed_point():
    weak = CharacteristicCurve(0.05, 0.45, 4.0, 4.0, 1.0, (0.0,), 0.0, 1e2, 1e6, 0.05, 0.45)
    strong = CharacteristicCurve(0.05, 1.45, 4.0, 4.0, 1.0, (0.0,), 0.0, 1e2, 1e6, 0.05, 1.45)
    assert weak.speed_point_j_m2 is None
    assert compare_curves(weak, strong).compared_at_net_density == pytest.approx(0.2)


GOOD = richards(np.log10(DOSES), *KNOWN[0].values[0]).tolist()


@pytest.mark.parametrize(
    ("doses", "density", "field"),
    [
        (DOSES[: FEWEST_READINGS - 1], GOOD[: FEWEST_READINGS - 1], "dose_j_m2"),
        ([DOSES[0]] * 21, GOOD, "dose_j_m2"),
        (DOSES, GOOD[:-1], "density"),
        (DOSES, [*GOOD[:4], math.nan, *GOOD[5:]], "density[4]"),
        (DOSES, [*GOOD[:4], 9.0, *GOOD[5:]], "density[4]"),
        (DOSES, [*GOOD[:4], -0.5, *GOOD[5:]], "density[4]"),
        (DOSES, [GOOD[0] - 0.3, *GOOD[1:]], "density[0]"),
        (DOSES, np.linspace(0.1, 1.4, 21).tolist(), "density[19]"),
        (DOSES, [0.5] * 21, "density"),
        ([*DOSES[:3], 0.0, *DOSES[4:]], GOOD, "dose_j_m2[3]"),
        ([*DOSES[:3], math.inf, *DOSES[4:]], GOOD, "dose_j_m2[3]"),
    ],
    ids=[
        "few",
        "one dose",
        "ragged",
        "nan",
        "high",
        "negative",
        "bleached",
        "reversed",
        "flat",
        "zero",
        "inf",
    ],
)
def test_readings_that_make_no_curve_are_refused_by_field(doses, density, field):
    with pytest.raises(OutOfDomain) as caught:
        fit_curve(list(doses), density)
    assert caught.value.field == field


def test_a_density_the_coat_cannot_have_is_refused():
    curve = fit_curve(DOSES.tolist(), GOOD)
    with pytest.raises(OutOfDomain, match="net_density"):
        curve.dose_j_m2(1.5)
