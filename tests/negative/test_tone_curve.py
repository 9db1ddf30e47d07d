"""A coat's curve over dose / target, its inverse, and tones wanted of a print."""

import math

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from noonframe.errors import OutOfDomain
from noonframe.negative.code import encode, shares
from noonframe.negative.tone_curve import PaperCurve, sampled_curve, usual_curve
from noonframe.negative.tone_target import (
    density_of,
    lightness,
    luminance_of,
    reflectance,
    wanted_density,
)

INVERSE_DECADES = 2e-4
"""A fortieth of a per cent of dose: a hundred times finer than a coat repeats."""


def skewed(exposure):
    """A generalised logistic with a drawn-out toe, in closed form."""
    return 0.12 + 1.3 * np.exp(-0.6 * np.logaddexp(0.0, -5.0 * (exposure + 0.55)))


@pytest.mark.reference
@pytest.mark.parametrize("density", [0.14, 0.2, 0.5, 0.9, 1.2, 1.35])
def test_the_inverse_agrees_with_scipy_root_finding(density):
    paper = sampled_curve(skewed, 0.12, 1.42)
    root = brentq(lambda x: float(skewed(np.array([x]))[0]) - density, -4.9, 1.9, xtol=1e-12)
    assert paper.exposure_for(np.array([density]))[0] == pytest.approx(root, abs=INVERSE_DECADES)


@pytest.mark.reference
def test_the_inverse_of_a_curve_of_few_samples_agrees_with_scipy_cubic_of_the_swapped_axes():
    exposures = np.linspace(-2.0, 0.2, 401)
    paper = PaperCurve(exposures, skewed(exposures), 0.12, 1.42)
    swapped = PchipInterpolator(skewed(exposures), exposures)
    wanted = np.linspace(0.15, 1.38, 50)
    np.testing.assert_allclose(paper.exposure_for(wanted), swapped(wanted), atol=5e-4)


def test_the_inverse_undoes_the_curve():
    paper = usual_curve(4.0, 0.08, 1.35)
    exposures = np.linspace(-1.4, 0.2, 60)
    np.testing.assert_allclose(paper.exposure_for(paper.density_at(exposures)), exposures, atol=1e-6)


def test_of_a_density_that_the_coat_never_has_the_inverse_is_no_number():
    assert np.isnan(usual_curve(4.0, 0.08, 1.35).exposure_for(np.array([0.0, 1.36]))).all()


def test_a_flat_run_is_entered_where_it_begins():
    paper = PaperCurve(np.array([-2.0, -1.0, 0.0, 1.0]), np.array([0.1, 0.8, 0.8, 1.2]), 0.1, 1.2)
    assert paper.exposure_for(np.array([0.8]))[0] == pytest.approx(-1.0)


def test_a_usual_curve_has_its_scale_and_its_full_tone_where_they_are_said_to_be():
    paper = usual_curve(4.0, 0.1, 1.4)
    full, first = paper.density_at(np.array([0.0, -4.0 * math.log10(2.0)]))
    assert full == pytest.approx(0.1 + 0.95 * 1.3, abs=1e-6)
    assert first == pytest.approx(0.14, abs=1e-6)


def test_measured_ends_stretch_the_curve_between_them():
    paper = usual_curve(4.0, 0.1, 1.3)
    other = paper.with_ends(0.2, 1.1)
    at = np.linspace(-1.5, 0.3, 9)
    share = (paper.density_at(at) - 0.1) / 1.2
    np.testing.assert_allclose(other.density_at(at), 0.2 + 0.9 * share, atol=1e-12)
    assert (other.d_min, other.d_max) == (0.2, 1.1)


@pytest.mark.parametrize(
    ("ends", "field"),
    [((0.1, 0.2), "d_max"), ((0.1, math.nan), "d_max"), ((-1.0, 1.0), "d_min"), ((math.inf, 1.0), "d_min")],
)
def test_ends_that_no_print_has_are_refused(ends, field):
    with pytest.raises(OutOfDomain) as refused:
        usual_curve(4.0, 0.08, 1.35).with_ends(*ends)
    assert refused.value.field == field


def test_a_curve_that_falls_is_refused():
    with pytest.raises(OutOfDomain, match="never falls"):
        PaperCurve(np.array([-1.0, 0.0, 1.0]), np.array([0.1, 0.9, 0.8]), 0.1, 1.0)
    with pytest.raises(OutOfDomain, match="finite"):
        PaperCurve(np.array([-1.0, 0.0]), np.array([0.1, math.nan]), 0.1, 1.0)
    with pytest.raises(OutOfDomain, match="one density for each"):
        PaperCurve(np.array([-1.0, 0.0]), np.array([0.1]), 0.1, 1.0)


def test_density_is_the_decadic_logarithm_of_the_reciprocal_of_reflectance():
    # ISO 5-1: D = -log10 R, so 1, 10 and 50 % are 2, 1 and 0.3010
    np.testing.assert_allclose(
        density_of(np.array([0.01, 0.1, 0.5, 1.0])), [2.0, 1.0, 0.30103, 0.0], atol=1e-5
    )
    np.testing.assert_allclose(reflectance(np.array([2.0, 1.0, 0.0])), [0.01, 0.1, 1.0])


@pytest.mark.reference
@pytest.mark.parametrize(
    ("luminance", "value"),
    [
        (0.0, 0.0),
        (1.0, 100.0),
        (216.0 / 24389.0, 8.0),  # CIE 15:2004, 8.2.1: the straight part is 24389/27 Y and ends at L* 8
        (0.001, 0.9033),  # the same: 903.3 Y
        (0.1842, 49.999),  # Y of L* 50, 18.42 % in the usual tables
    ],
)
def test_lightness_is_that_of_the_cie(luminance, value):
    assert lightness(np.array([luminance]))[0] == pytest.approx(value, abs=0.003)


def test_lightness_is_undone():
    values = np.linspace(0.0, 100.0, 201)
    np.testing.assert_allclose(lightness(luminance_of(values)), values, atol=1e-9)


def test_even_in_density_means_that_equal_steps_of_code_are_equal_steps_of_density():
    wanted = wanted_density(np.linspace(0.0, 1.0, 21), 1.3, 0.1, "density")
    np.testing.assert_allclose(np.diff(wanted), -0.06, atol=1e-12)


def test_even_in_lightness_means_that_equal_steps_of_lightness_stay_equal_in_the_print():
    picture = np.linspace(0.0, 100.0, 11)
    wanted = wanted_density(encode(luminance_of(picture)), 1.3, 0.1, "lightness")
    steps = np.diff(lightness(reflectance(wanted)))
    np.testing.assert_allclose(steps, steps.mean(), atol=1e-6)
    assert wanted[[0, -1]] == pytest.approx([1.3, 0.1])


def test_middle_tones_are_lighter_when_even_in_lightness():
    middle = np.array([0.5])
    assert wanted_density(middle, 1.3, 0.1, "lightness") < wanted_density(middle, 1.3, 0.1, "density")


def test_another_way_to_be_even_is_refused():
    with pytest.raises(OutOfDomain, match="density, lightness"):
        wanted_density(shares(), 1.3, 0.1, "loudness")
