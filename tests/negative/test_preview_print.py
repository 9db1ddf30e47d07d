"""A predicted print: its densities, its colours, and the picture of it."""

import io
import math

import numpy as np
import pytest
from PIL import Image

from noonframe.errors import Malformed, OutOfDomain
from noonframe.negative.code import LARGEST, decode, inverse_table
from noonframe.negative.film_printer import usual_scale
from noonframe.negative.preview import drawn, exposure_words, predict, print_density
from noonframe.negative.print_colour import PrintColour, paper_tint
from noonframe.negative.tone import correct_tones
from noonframe.negative.tone_curve import usual_curve

PAPER = usual_curve(4.0, 0.08, 1.35)
INK = usual_scale()
LUMA = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])  # the same


def lab(rgb):
    """CIELAB of sRGB 0 to 255 under D65 (CIE 15:2004)."""
    xyz = TO_XYZ @ decode(np.asarray(rgb, dtype=float) / 255.0) / np.array([0.9505, 1.0, 1.089])
    root = np.where(xyz > 216 / 24389, np.cbrt(xyz), xyz * 841 / 108 + 4 / 29)
    return 116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])


def test_a_code_goes_from_film_to_dose_to_print_density():
    film = np.array([LARGEST, 40_000, 0], dtype=np.uint16)
    dose = 2.0**0.5 * 10.0 ** -INK.density_at(film)
    np.testing.assert_allclose(
        print_density(film, PAPER, INK, 0.5), PAPER.density_at(np.log10(dose)), atol=1e-9
    )


def test_more_exposure_is_denser_everywhere_and_bare_film_at_the_target_has_full_tone():
    ramp = np.arange(0, LARGEST + 1, 655, dtype=np.uint16)[None, :]
    less, right, more = predict(ramp, inverse_table(), PAPER, INK).exposures
    assert np.all(less.density <= right.density)
    assert np.all(right.density <= more.density)
    assert right.darkest == pytest.approx(0.08 + 0.95 * 1.27, abs=1e-6)
    assert less.paper_white_share > right.paper_white_share > more.paper_white_share


def test_shares_of_paper_white_and_of_full_tone_are_counted_in_dots():
    code = np.full((10, 10), LARGEST, dtype=np.uint16)
    code[:3] = 0
    (only,) = predict(code, inverse_table(), PAPER, INK, stops=[0.0]).exposures
    assert only.paper_white_share == pytest.approx(0.7)
    assert only.full_share == pytest.approx(0.3)


def test_a_corrected_ramp_is_predicted_even():
    made = correct_tones(PAPER, INK)
    (only,) = predict(np.zeros((1, 1), np.uint16), made.table, PAPER, INK, stops=[0.0]).exposures
    assert np.abs(only.wedge() - np.linspace(made.darkest, made.lightest, 21)).max() < 0.01


def test_measured_ends_of_the_paper_show_in_the_prediction():
    code = np.array([[0, LARGEST]], dtype=np.uint16)
    fogged = PAPER.with_ends(0.3, 1.0)
    (only,) = predict(code, inverse_table(), fogged, INK, stops=[1.0]).exposures
    assert only.lightest == pytest.approx(0.3, abs=0.01)
    assert only.darkest == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("stops", "field"),
    [([], "stops"), ([0.0] * 6, "stops"), ([0.0, math.nan], "stops[1]"), ([9.0], "stops[0]")],
)
def test_exposures_without_sense_are_refused(stops, field):
    with pytest.raises(OutOfDomain) as refused:
        predict(np.zeros((1, 1), np.uint16), inverse_table(), PAPER, INK, stops=stops)
    assert refused.value.field == field


@pytest.mark.parametrize("d_min", [0.0, 0.08, 0.3])
@pytest.mark.parametrize("paper", ["#ffffff", "#fbf7ec", "#e8d8b0"])
def test_the_luminance_of_every_colour_is_that_of_its_density(d_min, paper):
    density = np.linspace(d_min, 2.2, 60)
    rgb = PrintColour(d_min, paper).rgb(density)
    luminance = decode(rgb / 255.0) @ LUMA
    # half a code of 8 bits, and the slope of the encoding there
    np.testing.assert_allclose(luminance, 10.0**-density, rtol=0.02, atol=0.001)


def test_tones_are_blue_from_pale_to_navy():
    colours = PrintColour(0.08).rgb(np.array([0.3, 0.6, 1.0, 1.35]))
    for red, green, blue in colours.tolist():
        assert red < green < blue
    lightness, a, b = lab(colours[-1])
    # how deep prints of this blue look (common practice, no source)
    assert 20 < lightness < 27
    assert -6 < a < 5
    assert -35 < b < -20


def test_paper_without_a_tone_has_the_papers_hue():
    red, green, blue = PrintColour(0.08, "#fbf7ec").rgb(np.array([0.08]))[0].tolist()
    assert red >= green > blue
    grey = PrintColour(0.08, "#ffffff").rgb(np.array([0.08]))[0]
    assert np.ptp(grey.astype(int)) <= 2


def test_colours_change_smoothly():
    rgb = PrintColour(0.08).rgb(np.linspace(0.08, 2.5, 2421)).astype(int)
    assert np.abs(np.diff(rgb, axis=0)).max() <= 4


@pytest.mark.parametrize("colour", ["white", "#fff", "#12345g", "", "fbf7ec", "#fbf7ec\n"])
def test_what_is_no_colour_is_refused(colour):
    with pytest.raises(Malformed):
        paper_tint(colour)


def test_a_dark_paper_is_refused():
    with pytest.raises(OutOfDomain):
        paper_tint("#203040")


def test_the_picture_stands_beside_its_prints():
    code = np.repeat(np.linspace(0, LARGEST, 120).astype(np.uint16)[None, :], 80, axis=0)
    forecast = predict(code, inverse_table(), PAPER, INK)
    picture = Image.open(io.BytesIO(drawn(forecast)))
    assert picture.size == (4 * (120 + 12) + 12, 80 + 24 + 30)
    pixels = np.asarray(picture)
    grey = pixels[12:92, 12:132]
    np.testing.assert_array_equal(grey[..., 0], grey[..., 2])
    np.testing.assert_array_equal(grey[0, :, 0], np.rint(code[0] / (LARGEST / 255)).astype(np.uint8))
    at = 12 + 2 * 132
    expected = PrintColour(PAPER.d_min).rgb(forecast.exposures[1].density)[code[0]]
    np.testing.assert_array_equal(pixels[20, at : at + 120], expected)


def test_a_picture_of_a_dot_can_be_drawn():
    forecast = predict(np.zeros((1, 1), np.uint16), inverse_table(), PAPER, INK)
    assert Image.open(io.BytesIO(drawn(forecast))).size[0] == 4 * 13 + 12


def test_exposures_are_called_by_their_stops():
    assert [exposure_words(stops) for stops in (0.0, -0.5, 2.0)] == [
        "printed at the target",
        "-0.5 stop",
        "+2 stops",
    ]
