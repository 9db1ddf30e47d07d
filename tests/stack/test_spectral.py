"""Whole spectra along a sun track."""

import datetime as dt

import numpy as np
import pytest

from noonframe.sky.spectrum import SkyState, spectral_curves
from noonframe.sky.words import CloudPart
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.skyline import Skyline
from noonframe.stack.curves import light_curves
from noonframe.stack.effective import band_weights, dose_weights
from noonframe.stack.light import light_on
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.stack.spectral import spectral_irradiance_on
from noonframe.sun.place import Place
from noonframe.sun.position import sun_track

PORTO = Place(41.15, -8.61, 80.0)
CLEAR = SkyState(330.0, 0.12, 0.04, 1003.7, (CloudPart(1.0, 0.0),))
CLOUDY = SkyState(330.0, 0.12, 0.04, 1003.7, (CloudPart(0.5, 0.0), CloudPart(0.5, 12.0)))


def day(month: int = 6, minutes: int = 1440):
    start = dt.datetime(2026, month, 21, tzinfo=dt.UTC).timestamp()
    return sun_track(PORTO, start + 60.0 * np.arange(float(minutes)))


@pytest.mark.parametrize("sky", [CLEAR, CLOUDY])
@pytest.mark.parametrize(
    "spot",
    [
        OpenSpot(),
        OpenSpot(Aim(35.0, 180.0)),
        OpenSpot(Aim(80.0, 90.0)),
        OpenSpot(Aim(20.0, 200.0), Skyline((0.0, 180.0), (50.0, 10.0))),
    ],
)
def test_the_sum_over_wavelengths_is_the_light_of_the_summed_curves(sky, spot):
    """The two paths interpolate before and after the sum; above 2 degrees of sun they agree to 0.1 %."""
    track = day()
    coat = find_sensitizer("citrate-classic")
    series = spectral_irradiance_on(sky, track, spot, 0.3)
    summed = light_on(light_curves(sky, parse_stack("none"), coat), track, spot, 0.3)
    high = track.up > np.sin(np.radians(2.0))
    for weight, light in (
        (band_weights(315, 400), summed.uva_w_m2),
        (band_weights(400, 480), summed.blue_w_m2),
        (dose_weights(coat), summed.effective_w_m2),
    ):
        assert (series.plane @ weight)[high] == pytest.approx(light[high], rel=1e-3)


def test_level_ground_gets_beam_and_diffuse_light():
    track = day()
    series = spectral_irradiance_on(CLEAR, track, OpenSpot(), 0.04)
    assert np.allclose(series.plane, series.level, rtol=1e-12)
    cos_zenith = np.maximum(np.cos(np.radians(track.zenith_deg)), 0.0)
    assert np.allclose(
        series.level, series.beam_normal * cos_zenith[:, None] + series.diffuse, rtol=1e-3, atol=1e-6
    )
    assert series.level.shape == (1440, series.wavelength_nm.size)


def test_at_a_knot_the_spectrum_is_that_of_the_knot():
    curves = spectral_curves(CLEAR)
    knot = int(np.argmin(np.abs(curves.zenith_deg - 40.0)))
    track = day()
    series = spectral_irradiance_on(CLEAR, track, OpenSpot(), 0.04)
    height = np.degrees(np.arcsin(track.up))[: 12 * 60]
    wanted = curves.diffuse[knot] * np.mean(track.distance_factor)
    found = [np.interp(curves.true_elevation_deg[knot], height, box[: 12 * 60]) for box in series.diffuse.T]
    assert found[8:] == pytest.approx(wanted[8:], rel=2e-3)  # from 320 nm; chords of a minute's course below


def test_in_the_dark_there_is_nothing_and_an_empty_track_has_an_empty_answer():
    dark = spectral_irradiance_on(CLEAR, day(12, 240), OpenSpot(Aim(30.0, 180.0)), 0.04)
    assert not dark.plane.any()
    none = spectral_irradiance_on(CLEAR, sun_track(PORTO, np.empty(0)), OpenSpot(), 0.04)
    assert none.plane.shape == (0, none.wavelength_nm.size)


def test_one_instant_is_as_it_is_in_a_whole_day():
    track = day()
    spot = OpenSpot(Aim(35.0, 180.0))
    whole = spectral_irradiance_on(CLEAR, track, spot, 0.04)
    for index in (400, 700, 1100):
        alone = spectral_irradiance_on(CLEAR, track.some(np.array([index])), spot, 0.04)
        assert alone.plane[0] == pytest.approx(whole.plane[index], rel=1e-12)
