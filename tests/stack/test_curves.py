"""The curves that replace the spectrum, against the spectrum itself."""

import numpy as np
import pytest

from noonframe.sky.optical_depth import WAVELENGTH_NM, extraterrestrial_irradiance
from noonframe.sky.spectrum import LOWEST_COS_ZENITH, SkyState, circumsolar_share
from noonframe.sky.transfer import beam_transmittance, load_transfer_table
from noonframe.sky.words import SKY_WORDS, CloudPart
from noonframe.stack.curves import angle_ratio_at, light_curves, locate
from noonframe.stack.effective import band_weights, dose_weights
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.position import refraction_deg

COAT = find_sensitizer("citrate-classic")
BARE = parse_stack("none")
GLASS = parse_stack("float-glass-4mm")
CLEAR = (CloudPart(1.0, 0.0),)
SKIES = {
    "clean": SkyState(300.0, 0.0, 0.05, 1013.25, CLEAR),
    "hazy": SkyState(300.0, 0.1, 0.05, 1013.25, CLEAR),
    "smoke": SkyState(250.0, 1.5, 0.05, 1013.25, CLEAR),
    "snowy height": SkyState(350.0, 0.05, 0.8, 600.0, CLEAR),
    "broken": SkyState(300.0, 0.1, 0.05, 1013.25, SKY_WORDS["broken"].parts),
    "thin cloud": SkyState(300.0, 0.2, 0.05, 1013.25, (CloudPart(1.0, 2.0),)),
}

CURVE_TOLERANCE = 1e-3
"""A thousandth of the light: a third of a second in five minutes, far under anything a print shows."""

BEAM_TOLERANCE = 5e-3
"""For the beam alone within 5 degrees of the horizon, where it falls through many powers of ten."""


def spectra_at(state: SkyState, zenith_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Beam facing the sun, diffuse on level ground, circumsolar on level ground: straight from the transfer
    table."""
    table = load_transfer_table()
    operator = table.zenith_operator(zenith_deg)
    cosine = np.cos(np.radians(zenith_deg))[:, None]
    beams, diffuses, arounds = 0.0, 0.0, 0.0
    for part in state.cloud:
        column = state.atmosphere(part)
        beam = beam_transmittance(column, zenith_deg)
        black = table.diffuse_transmittance(column, operator)
        level = beam * cosine
        diffuse = (level + black) / (1.0 - state.ground_albedo * table.spherical_albedo(column)) - level
        beams = beams + part.probability * beam
        diffuses = diffuses + part.probability * diffuse
        arounds = arounds + part.probability * diffuse * circumsolar_share(column, zenith_deg)
    sunlight = extraterrestrial_irradiance()
    return beams * sunlight, diffuses * sunlight, arounds * sunlight


def up_of(zenith_deg: np.ndarray, pressure_hpa: float) -> np.ndarray:
    """Sine of the true elevation under an apparent zenith."""
    true = 90.0 - zenith_deg
    for _ in range(40):
        true = 90.0 - zenith_deg - refraction_deg(true, pressure_hpa)
    return np.sin(np.radians(true))


@pytest.fixture(scope="module")
def zenith_deg() -> np.ndarray:
    random = np.random.default_rng(11)
    return np.sort(np.concatenate([random.uniform(0.0, 89.7, 500), random.uniform(85.0, 89.7, 200)]))


@pytest.mark.parametrize("name", SKIES)
def test_curves_keep_to_the_spectrum_at_any_sun(name, zenith_deg):
    state = SKIES[name]
    curves = light_curves(state, BARE, COAT)
    at = locate(up_of(zenith_deg, state.pressure_hpa))
    beam, diffuse, around = spectra_at(state, zenith_deg)
    cosine = np.cos(np.radians(zenith_deg))
    level = beam * cosine[:, None] + diffuse
    isotropic = diffuse - around * (cosine / np.maximum(cosine, LOWEST_COS_ZENITH))[:, None]
    uva, blue, dose = band_weights(315.0, 400.0), band_weights(400.0, 480.0), dose_weights(COAT)
    for curve, truth in (
        (curves.flat_uva, level @ uva),
        (curves.flat_blue, level @ blue),
        (curves.flat_effective, level @ dose),
        (curves.flat_uva_diffuse, diffuse @ uva),
        (curves.uva.isotropic, isotropic @ uva),
        (curves.effective.isotropic, isotropic @ dose),
    ):
        assert at.read(curve) == pytest.approx(truth, rel=CURVE_TOLERANCE)
    high = zenith_deg < 85.0
    for curve, truth in ((curves.uva.beam_normal, beam @ uva), (curves.blue.beam_normal, beam @ blue)):
        worth_having = truth > 1e-6
        assert at.read(curve)[high & worth_having] == pytest.approx(
            truth[high & worth_having], rel=CURVE_TOLERANCE
        )
        assert at.read(curve)[worth_having] == pytest.approx(truth[worth_having], rel=BEAM_TOLERANCE)
    assert at.read(curves.cos_zenith) == pytest.approx(cosine, abs=5e-5)


@pytest.mark.parametrize("name", ["clean", "hazy", "snowy height"])
def test_beam_does_not_ring_at_the_horizon(name):
    """The beam stops at the horizon; a smooth curve laid through the cliff would overshoot above it by many
    times."""
    state = SKIES[name]
    curves = light_curves(state, BARE, COAT)
    zenith = np.linspace(89.0, 89.98, 400)
    truth = spectra_at(state, zenith)[0] @ band_weights(400.0, 480.0)
    ours = locate(up_of(zenith, state.pressure_hpa)).read(curves.blue.beam_normal)
    assert np.all(ours <= 1.02 * truth)
    assert np.all(np.diff(ours) <= 0.0)


def test_no_light_at_all_below_civil_twilight():
    curves = light_curves(SKIES["clean"], BARE, COAT)
    dark = locate(np.sin(np.radians(np.array([-6.0001, -7.0, -45.0, -90.0]))))
    for curve in (
        curves.flat_uva,
        curves.flat_blue,
        curves.flat_effective,
        curves.uv_index,
        curves.uva.level,
    ):
        assert np.array_equal(dark.read(curve), np.zeros(4))
    dusk = locate(np.sin(np.radians(np.array([-5.9]))))
    assert dusk.read(curves.flat_effective)[0] > 0.0


@pytest.mark.parametrize("name", SKIES)
def test_level_light_is_continuous_and_rising_with_the_sun_through_the_horizon(name):
    curves = light_curves(SKIES[name], BARE, COAT)
    up = np.sin(np.radians(np.linspace(-5.99, 5.0, 4000)))
    at = locate(up)
    for curve in (curves.flat_uva, curves.flat_blue, curves.flat_effective):
        light = at.read(curve)
        assert np.all(np.diff(light) >= 0.0)
        assert np.max(np.diff(light)) < 0.002 * light[-1]  # an even climb would take 0.00025 of it a step


def test_stack_at_an_angle_is_the_integral_over_the_spectrum():
    """0.3 %: between 33 cosines and 65 heights the ratio is taken as straight."""
    random = np.random.default_rng(5)
    zenith = random.uniform(5.0, 85.0, 200)
    cosine = random.uniform(0.1, 1.0, 200)
    for name in ("hazy", "clean"):
        state = SKIES[name]
        curves = light_curves(state, GLASS, COAT)
        beam, _, around = spectra_at(state, zenith)
        facing = beam + around / np.cos(np.radians(zenith))[:, None]
        through = GLASS.beam_transmittance(np.degrees(np.arccos(cosine)))
        truth = np.sum(facing * through * dose_weights(COAT), axis=1)
        up = up_of(zenith, state.pressure_hpa)
        at = locate(up)
        normal = at.read(curves.effective.beam_normal) + at.read(curves.effective.circumsolar_normal)
        assert normal * angle_ratio_at(curves.angle_ratio, up, cosine) == pytest.approx(truth, rel=3e-3)


def test_a_bare_coat_has_no_angle_of_its_own():
    curves = light_curves(SKIES["clean"], BARE, COAT)
    up = np.sin(np.radians(np.array([-0.5, 0.0, 0.3, 1.0, 30.0, 90.0])))
    assert angle_ratio_at(curves.angle_ratio, up, np.full(6, 0.5)) == pytest.approx(1.0, abs=1e-9)


def test_a_stack_that_blocks_everything_gives_zero_and_no_nan():
    from noonframe.stack.sheets import Material, Stack

    black = np.zeros(WAVELENGTH_NM.size)
    board = Material("board", "board", "film", 1.5, None, black, black, black, 2.0, "test", "own file")
    curves = light_curves(SKIES["hazy"], Stack((board,)), COAT)
    for curve in (curves.flat_effective, curves.effective.beam_normal, curves.angle_ratio):
        assert np.array_equal(curve, np.zeros_like(curve))
    assert np.max(curves.flat_uva) > 50.0


def test_thicker_cloud_than_any_beam_survives_leaves_diffuse_light_only():
    curves = light_curves(SkyState(300.0, 0.1, 0.05, 1013.25, (CloudPart(1.0, 128.0),)), BARE, COAT)
    assert np.array_equal(curves.uva.beam_normal, np.zeros_like(curves.uva.beam_normal))
    assert np.isfinite(curves.flat_uva).all()
    assert np.max(curves.flat_uva) > 1.0


def test_one_sun_equals_its_place_in_an_array():
    curves = light_curves(SKIES["hazy"], GLASS, COAT)
    up = np.sin(np.radians(np.linspace(-7.0, 89.0, 57)))
    together = locate(up).read(curves.flat_effective)
    alone = [float(locate(up[k : k + 1]).read(curves.flat_effective)[0]) for k in range(up.size)]
    assert np.array_equal(together, alone)
