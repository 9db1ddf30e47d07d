"""From the steps of a printed chart to a film printer's scale."""

import math

import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.negative.code import LARGEST, STEPS, encode
from noonframe.negative.film_printer import (
    InkScale,
    printed_scale,
    read_scale,
    scanned_density,
    usual_scale,
)
from noonframe.negative.tone_curve import usual_curve
from noonframe.negative.wedge import step_codes

STEPS_21 = np.linspace(0.0, 1.0, 21)


def inked(share):
    """A film whose density grows faster and faster with ink, then less: 2.3 at full ink."""
    return 2.3 * (0.35 * share + 0.65 * np.sin(0.5 * math.pi * share) ** 2)


def film_code(ink_share):
    return np.rint((1.0 - np.asarray(ink_share)) * LARGEST).astype(np.uint16)


def test_a_chart_read_exactly_gives_back_the_film_between_its_steps_too():
    scale = read_scale((0.11 + inked(STEPS_21)).tolist())
    between = np.linspace(0.0, 1.0, 997)
    # a cubic through 21 steps of so smooth a curve is off by less than a densitometer's last digit
    np.testing.assert_allclose(scale.density_at(film_code(between)), inked(between), atol=0.005)
    assert scale.bare_density == pytest.approx(0.11)
    assert scale.range == pytest.approx(2.3, abs=1e-6)


def test_the_steps_of_a_chart_are_those_of_the_printed_wedge():
    scale = read_scale(inked(STEPS_21).tolist(), includes_base=False)
    np.testing.assert_allclose(
        scale.density_at(np.array(step_codes(21), dtype=np.uint16)), inked(STEPS_21), atol=1e-4
    )
    assert scale.bare_density is None


def test_codes_are_found_for_densities_and_past_full_ink_it_is_full_ink():
    scale = read_scale(inked(STEPS_21).tolist(), includes_base=False)
    wanted = np.linspace(0.0, 2.29, 200)
    np.testing.assert_allclose(scale.density_at(scale.codes_for(wanted)), wanted, atol=2e-4)
    assert scale.codes_for(np.array([0.0, 5.0])).tolist() == [LARGEST, 0]


def test_noise_is_smoothed_to_a_scale_that_never_falls():
    rng = np.random.default_rng(11)
    read = 0.1 + inked(STEPS_21) + rng.normal(0.0, 0.008, 21)
    scale = read_scale(read.tolist(), noise=0.05)
    assert np.all(np.diff(scale.density) <= 0.0)
    np.testing.assert_allclose(scale.density_at(film_code(STEPS_21)), inked(STEPS_21), atol=0.04)


def test_a_step_out_of_order_beyond_the_noise_is_named():
    read = inked(STEPS_21)
    read[9] = read[8] - 0.05
    with pytest.raises(OutOfDomain, match=r"step 9.*step 10 again") as refused:
        read_scale(read.tolist(), includes_base=False)
    assert refused.value.field == "densities[9]"
    assert read_scale(read.tolist(), includes_base=False, noise=0.06).range == pytest.approx(2.3, abs=0.02)


@pytest.mark.parametrize(
    ("read", "how", "field"),
    [
        ([0.1, 0.5, 1.0, 2.0], {}, "densities"),
        ([0.1] * 61, {}, "densities"),
        ([0.1, 0.5, math.nan, 1.0, 2.0], {}, "densities[2]"),
        ([0.1, 0.5, 0.9, 1.0, 7.0], {}, "densities[4]"),
        ([0.1, 0.11, 0.12, 0.13, 0.14], {}, "densities[4]"),
        ([0.4, 0.5, 0.9, 1.0, 2.0], {"includes_base": False}, "densities[0]"),
        ([0.1, 0.5, 0.9, 1.0, 2.0], {"noise": -0.1}, "noise"),
        ([0.1, 0.5, 0.9, 1.0, 2.0], {"ink_share": [0.0, 0.5, 1.0]}, "ink_shares"),
        ([0.1, 0.5, 0.9, 1.0, 2.0], {"ink_share": [0.1, 0.2, 0.5, 0.8, 1.0]}, "ink_shares[0]"),
        ([0.1, 0.5, 0.9, 1.0, 2.0], {"ink_share": [0.0, 0.5, 0.5, 0.8, 1.0]}, "ink_shares[2]"),
        ([0.1, 0.5, 0.9, 1.0, 2.0], {"ink_share": [0.0, 0.2, 0.5, 0.8, 1.1]}, "ink_shares[4]"),
    ],
)
def test_readings_that_make_no_scale_are_refused(read, how, field):
    with pytest.raises(OutOfDomain) as refused:
        read_scale(read, **how)
    assert refused.value.field == field


def test_a_chart_that_stops_before_full_ink_is_used_no_farther():
    scale = read_scale([0.1, 0.5, 0.9, 1.2, 1.5], [0.0, 0.2, 0.4, 0.6, 0.8])
    assert scale.range == pytest.approx(1.4)
    assert scale.codes_for(np.array([9.0]))[0] == film_code(0.8)
    assert "80 %" in scale.notes[0]


def test_a_printer_of_which_nothing_is_known_is_a_guess_and_says_so():
    scale = usual_scale()
    assert scale.range == pytest.approx(2.2)
    assert scale.spread == 0.3
    assert "guess" in scale.notes[0]
    # half of the light on a light table stands at the code that sRGB has for one half, but for full ink's own
    half = np.rint(encode(np.array([0.5])) * LARGEST).astype(np.uint16)
    assert scale.density_at(half)[0] == pytest.approx(math.log10(2.0), abs=0.003)
    with pytest.raises(OutOfDomain):
        usual_scale(math.nan)


def test_a_scale_must_never_rise_with_code():
    with pytest.raises(OutOfDomain):
        InkScale(np.linspace(0.0, 2.0, STEPS), 0.1, "")


@pytest.mark.parametrize("exposure_stops", [-0.5, 0.0, 0.7])
def test_the_print_of_a_chart_tells_the_film_through_the_curve_of_its_coat(exposure_stops):
    paper = usual_curve(4.5, 0.1, 1.4)
    bare = exposure_stops * math.log10(2.0)
    printed = paper.density_at(bare - inked(STEPS_21))
    scale = printed_scale(printed.tolist(), paper, exposure_stops=exposure_stops)
    # on the slope; near either end a reading tells less, and the cubic bridges from bare film to the first
    ink = STEPS_21[(printed > 0.16) & (printed < 1.3)]
    assert ink.size >= 5
    np.testing.assert_allclose(scale.density_at(film_code(ink)), inked(ink), atol=0.01)
    assert any("paper white" in note for note in scale.notes)


def test_noise_of_the_reader_hardly_moves_the_film_where_the_curve_is_steep():
    rng = np.random.default_rng(4)
    paper = usual_curve(5.0, 0.1, 1.4)
    printed = paper.density_at(-inked(STEPS_21)) + rng.normal(0.0, 0.008, 21)
    scale = printed_scale(np.clip(printed, 0.1, None).tolist(), paper)
    ink = STEPS_21[(printed > 0.25) & (printed < 1.2)]
    np.testing.assert_allclose(scale.density_at(film_code(ink)), inked(ink), atol=0.04)


@pytest.mark.parametrize(
    ("printed", "field"),
    [
        ([1.8, 1.2, 0.9, 0.5, 0.2, 0.1], "densities[0]"),
        ([1.3, 1.2, 0.9, 0.5, 0.2, -0.1], "densities[5]"),
        ([1.3, 1.2, 0.5, 0.9, 0.2, 0.1], "densities[3]"),
        ([1.39, 1.38, 1.37, 0.9, 0.1, 0.1], "densities"),
        ([1.3, 1.2, math.inf, 0.5, 0.2, 0.1], "densities[2]"),
    ],
)
def test_prints_that_tell_no_film_are_refused(printed, field):
    with pytest.raises(OutOfDomain) as refused:
        printed_scale(printed, usual_curve(4.0, 0.1, 1.4))
    assert refused.value.field == field


def test_a_print_exposed_otherwise_than_told_is_noticed():
    paper = usual_curve(4.0, 0.1, 1.4)
    printed = paper.density_at(-0.6 - inked(STEPS_21))
    assert any("under bare film" in note for note in printed_scale(printed.tolist(), paper).notes)


def test_codes_of_a_scan_become_densities_against_the_bare_paper():
    light = 0.8 * 10.0 ** -np.array([0.0, 0.3, 1.0])
    codes = 255.0 * encode(light)
    found = scanned_density(codes.tolist(), float(255.0 * encode(np.array([0.8]))[0]), 0.09)
    np.testing.assert_allclose(found, [0.09, 0.39, 1.09], atol=1e-6)


@pytest.mark.parametrize(
    ("codes", "paper", "field"),
    [([0.0, 9.0], 240.0, "codes[0]"), ([9.0, 300.0], 240.0, "codes[1]"), ([9.0], 20.0, "paper_code")],
)
def test_codes_that_are_no_light_are_refused(codes, paper, field):
    with pytest.raises(OutOfDomain) as refused:
        scanned_density(codes, paper, 0.1)
    assert refused.value.field == field
