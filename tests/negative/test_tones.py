"""Levels, contrast, inversion and corrections are one table from light to film."""

import numpy as np
import pytest
from PIL import Image

from noonframe.errors import OutOfDomain
from noonframe.negative.code import (
    as_codes,
    check_table,
    code_of_root,
    encode,
    inverse_table,
    root_index,
    shares,
)
from noonframe.negative.develop import develop, extent_for
from noonframe.negative.geometry import PrintSize
from noonframe.negative.kinds import Source
from noonframe.negative.opened import open_picture
from noonframe.negative.recipe import PictureSettings
from noonframe.negative.tones import Levels, auto_levels, tone_table

NAN = float("nan")


def ramp(made):
    """A ramp of all 256 codes, each 4 pixels wide."""
    return made(Image.fromarray(np.repeat(np.arange(256, dtype=np.uint8), 4)[np.newaxis].repeat(4, axis=0)))


def developed(data, settings, **how):
    source = Source(data)
    look = open_picture(source).look
    extent = extent_for(look, settings, 25.4 * look.width_px / 100.0, (100.0, 100.0))
    return develop(source, settings, extent, **how)


def test_the_table_over_the_root_is_right_everywhere():
    light = np.linspace(0.0, 1.0, 200_001).astype(np.float32)
    exact = encode(light.astype(np.float64)) * 65535.0
    error = np.abs(code_of_root()[root_index(light)] - exact)
    assert error.max() < 4.0  # of 65535: finer than 14 bits, in the darks too


def test_light_outside_its_range_goes_to_the_end():
    assert list(root_index(np.array([-0.2, 0.0, 1.0, 1.7], dtype=np.float32))) == [0, 0, 65535, 65535]


def test_a_negative_is_the_inverse_of_its_positive(made):
    film = developed(ramp(made), PictureSettings()).film[2, 2::4].astype(int)
    assert np.abs(film - (65535 - 257 * np.arange(256))).max() <= 4


def test_a_picture_that_is_a_negative_is_not_inverted_again(made):
    film = developed(ramp(made), PictureSettings(invert=False)).film[2, 2::4].astype(int)
    assert np.abs(film - 257 * np.arange(256)).max() <= 4


def test_levels_and_contrast_by_their_formulas(made):
    settings = PictureSettings(levels=Levels(0.1, 0.8, 1.5), contrast=1.4)
    share = np.clip((np.arange(256) / 255.0 - 0.1) / 0.7, 0.0, 1.0) ** (1.0 / 1.5)
    expected = 65535 * (1.0 - np.clip(0.5 + 1.4 * (share - 0.5), 0.0, 1.0))
    film = developed(ramp(made), settings).film[2, 2::4]
    assert np.abs(film - expected).max() < 40  # the steep start of the exponent


def test_what_is_clipped_is_told(made):
    told = developed(ramp(made), PictureSettings(levels=Levels(0.25, 0.5))).tones
    assert told.all_dark_share == pytest.approx(0.25, abs=0.01)
    assert told.all_light_share == pytest.approx(0.5, abs=0.01)
    negative = developed(ramp(made), PictureSettings(levels=Levels(0.25, 0.5), invert=False)).tones
    assert negative.all_dark_share == pytest.approx(0.25, abs=0.01)


def test_automatic_levels_stretch_a_flat_picture_and_leave_an_even_one(made):
    rng = np.random.default_rng(2)
    flat = Image.fromarray(rng.integers(90, 151, (200, 200), dtype=np.uint8))
    told = developed(made(flat), PictureSettings(levels=None))
    assert told.tones.levels.black_share == pytest.approx(90 / 255, abs=0.01)
    assert told.tones.levels.white_share == pytest.approx(150 / 255, abs=0.01)
    assert np.ptp(told.film) > 60_000
    assert auto_levels(np.full(100, 30_000, dtype=np.uint16)) == Levels()


def test_automatic_levels_of_a_negative_are_those_of_its_positive(made):
    rng = np.random.default_rng(2)
    values = rng.integers(20, 121, (200, 200), dtype=np.uint8)
    one = developed(made(Image.fromarray(values)), PictureSettings(levels=None, invert=False))
    other = developed(made(Image.fromarray(255 - values)), PictureSettings(levels=None))
    assert np.abs(one.film.astype(int) - other.film).max() < 60


def test_a_correction_takes_the_place_of_the_inversion(made):
    steps = as_codes(np.round(shares() * 4.0) / 4.0)[::-1].copy()
    film = developed(ramp(made), PictureSettings(), tone=steps).film
    assert len(np.unique(film)) == 5
    plain = developed(ramp(made), PictureSettings(), tone=inverse_table()).film
    assert np.array_equal(plain, developed(ramp(made), PictureSettings()).film)


@pytest.mark.parametrize("table", [np.zeros(256, np.uint16), np.zeros(65536, np.float64)])
def test_a_table_of_another_shape_is_refused(table):
    with pytest.raises(OutOfDomain, match="uint16"):
        check_table(table)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ((NAN, 1.0, 1.0), "levels.black_share"),
        ((-0.1, 1.0, 1.0), "levels.black_share"),
        ((0.0, 1.1, 1.0), "levels.white_share"),
        ((0.5, 0.5, 1.0), "levels.white_share"),
        ((0.8, 0.2, 1.0), "levels.white_share"),
        ((0.0, 1.0, 0.0), "levels.middle_gamma"),
        ((0.0, 1.0, NAN), "levels.middle_gamma"),
    ],
)
def test_levels_that_cannot_be_are_refused(values, field):
    with pytest.raises(OutOfDomain) as refused:
        Levels(*values)
    assert refused.value.field == field


@pytest.mark.parametrize("contrast", [0.0, -1.0, NAN, 11.0])
def test_a_contrast_that_cannot_be_is_refused(contrast):
    with pytest.raises(OutOfDomain, match="contrast"):
        PictureSettings(contrast=contrast)


def test_a_tone_table_never_turns_back():
    for contrast in (0.3, 1.0, 3.0):
        assert np.all(np.diff(tone_table(Levels(0.1, 0.9, 0.7), contrast).astype(int)) >= 0)


def test_a_size_does_not_change_the_tones(made, colours):
    data = made(colours(400, 300))
    small = developed(data, PictureSettings(size=PrintSize(20.0))).film.mean()
    assert small == pytest.approx(developed(data, PictureSettings()).film.mean(), rel=0.01)
