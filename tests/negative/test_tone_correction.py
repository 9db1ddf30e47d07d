"""After correction a ramp prints evenly, on a synthetic printer and paper that know nothing of the table."""

import math

import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.negative.code import LARGEST, check_table
from noonframe.negative.film_printer import read_scale, usual_scale
from noonframe.negative.tone import ToneAim, as_bits, correct_tones, quantised
from noonframe.negative.tone_curve import sampled_curve, usual_curve

EVEN = 0.03
"""What a ramp of 21 steps may be off by, in print density; an eye sees about 0.02 side by side."""


class Darkroom:
    """A printer of 8 bits and a coat, each a formula: from film code to print density, step by step."""

    def __init__(self, *, ink_range=2.4, scale=1.3, gamma_ink=1.4, skew=0.7, d_min=0.09, d_max=1.38):
        self.ink_range, self.gamma_ink = ink_range, gamma_ink
        self.scale, self.skew, self.d_min, self.d_max = scale, skew, d_min, d_max

    def film_density(self, ink_share):
        return self.ink_range * ink_share**self.gamma_ink

    def print_density(self, log_exposure):
        # a generalised logistic: its toe is drawn out, its shoulder short
        lift = 6.0 / self.scale * (log_exposure + 0.45 * self.scale)
        return self.d_min + (self.d_max - self.d_min) * (1.0 + np.exp(-lift)) ** -self.skew

    def prints(self, film_codes, bits=8):
        """Print density of 16-bit film codes sent through a printer of so many bits, at the target."""
        levels = np.floor(np.asarray(film_codes, dtype=np.float64) / LARGEST * (2**bits - 1) + 0.5)
        ink = 1.0 - levels / (2**bits - 1)
        dose = 10.0 ** -self.film_density(ink)
        return self.print_density(np.log10(dose))

    def paper(self):
        return sampled_curve(self.print_density, self.d_min, self.d_max)

    def chart(self, count=21):
        return read_scale((0.12 + self.film_density(np.linspace(0.0, 1.0, count))).tolist())


def ramp(table, count=21):
    return table[np.rint(np.linspace(0, LARGEST, count)).astype(int)]


@pytest.mark.reference
@pytest.mark.parametrize(
    "room",
    [
        Darkroom(),
        Darkroom(scale=1.0, d_max=1.25),
        Darkroom(scale=2.0, ink_range=3.2, d_max=1.7),
        Darkroom(gamma_ink=0.8, skew=1.5),
        Darkroom(gamma_ink=2.0, ink_range=2.4, skew=0.5),
    ],
)
def test_a_ramp_of_21_steps_is_even_within_3_hundredths_of_density(room):
    made = correct_tones(room.paper(), room.chart())
    printed = room.prints(ramp(made.table))
    assert not made.is_short
    steps = np.linspace(printed[0], printed[-1], 21)
    # all 21 steps, where 90 % of the range would do
    assert np.abs(printed - steps).max() < EVEN
    reach = (printed[0] - printed[-1]) / (room.print_density(0.0) - room.d_min)
    assert reach > 0.9


@pytest.mark.reference
def test_without_the_correction_the_same_ramp_is_far_from_even():
    room = Darkroom()
    printed = room.prints(np.linspace(LARGEST, 0, 21))
    assert np.abs(printed - np.linspace(printed[0], printed[-1], 21)).max() > 0.2


@pytest.mark.reference
def test_a_chart_read_with_a_densitometers_noise_still_makes_it_even():
    room = Darkroom()
    rng = np.random.default_rng(20)
    read = 0.12 + room.film_density(np.linspace(0.0, 1.0, 31)) + rng.normal(0.0, 0.005, 31)
    made = correct_tones(room.paper(), read_scale(read.tolist()))
    printed = room.prints(ramp(made.table))
    assert np.abs(printed - np.linspace(printed[0], printed[-1], 21)).max() < EVEN


def test_even_in_lightness_a_ramp_of_lightness_prints_in_even_lightness():
    room = Darkroom()
    made = correct_tones(room.paper(), room.chart(), ToneAim("lightness"))
    picture_lightness = np.linspace(0.0, 100.0, 11)
    cube = ((picture_lightness + 16.0) / 116.0) ** 3
    light = np.where(picture_lightness > 8.0, cube, picture_lightness * 27.0 / 24389.0)
    encoded = np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    )
    printed = room.prints(made.table[np.rint(encoded * LARGEST).astype(int)], bits=16)
    seen = 116.0 * np.cbrt(10.0**-printed) - 16.0
    np.testing.assert_allclose(seen, np.linspace(seen[0], seen[-1], 11), atol=0.3)


def test_the_table_is_one_that_development_takes_and_black_is_bare_film():
    made = correct_tones(usual_curve(4.0, 0.08, 1.35), usual_scale())
    table = check_table(made.table)
    assert table[0] == LARGEST
    assert np.all(np.diff(table.astype(int)) <= 0)


def test_a_target_far_past_full_tone_keeps_black_on_bare_film_and_the_ramp_even():
    room = Darkroom(ink_range=4.0)
    paper = sampled_curve(lambda x: room.print_density(x + 1.5), room.d_min, room.d_max)
    made = correct_tones(paper, room.chart())
    assert made.table[0] == LARGEST
    assert made.needed_range > 2.5
    ink = 1.0 - ramp(made.table) / LARGEST
    printed = room.print_density(1.5 - room.film_density(ink))
    assert np.abs(printed - np.linspace(printed[0], printed[-1], 21)).max() < EVEN


def test_the_film_needs_as_much_range_as_the_coat_has_scale():
    paper = usual_curve(4.0, 0.08, 1.35)
    made = correct_tones(paper, usual_scale())
    # four stops from the first tone to the full one
    assert made.needed_range == pytest.approx(4.0 * math.log10(2.0), abs=1e-4)
    assert made.darkest == pytest.approx(0.08 + 0.95 * 1.27, abs=1e-6)
    assert made.clipped_from is None


def test_ink_that_is_too_thin_clips_the_lightest_greys_and_keeps_the_others():
    room = Darkroom(ink_range=0.9)
    made = correct_tones(room.paper(), room.chart())
    assert made.is_short
    assert made.clipped_from is not None
    first = round(made.clipped_from * LARGEST)
    printed = room.prints(made.table, bits=16)
    assert np.ptp(printed[first:]) < 0.002
    assert printed[0] - printed[first] > 0.5
    meant = np.linspace(made.darkest, made.lightest_wanted, LARGEST + 1)
    np.testing.assert_allclose(printed[:first], meant[:first], atol=0.005)
    assert made.lightest == pytest.approx(float(room.print_density(-0.9)), abs=0.002)


def test_squeezed_instead_no_grey_is_lost_and_the_ramp_is_even():
    room = Darkroom(ink_range=0.9)
    made = correct_tones(room.paper(), room.chart(), ToneAim(when_short="squeeze"))
    assert made.is_short
    assert made.clipped_from is None
    printed = room.prints(ramp(made.table))
    assert np.abs(printed - np.linspace(printed[0], printed[-1], 21)).max() < EVEN


def test_the_largest_step_is_that_of_the_printers_own_levels():
    room = Darkroom(ink_range=3.4, gamma_ink=2.5)
    made = correct_tones(room.paper(), room.chart())
    used, largest, where = made.coarseness(8)
    printed = room.prints(np.arange(256) * 257.0)
    low = int(np.rint(made.table.min() / 257.0))
    jumps = np.abs(np.diff(printed[low:]))
    assert largest == pytest.approx(float(jumps.max()), abs=0.001)
    assert round(where * 255) == pytest.approx(low + int(jumps.argmax()), abs=2)
    assert used == 256 - low
    assert made.coarseness(16)[1] < largest / 100.0


def test_codes_go_through_8_bits_to_the_nearest():
    codes = np.array([0, 128, 129, 257, 32767, 65535], dtype=np.uint16)
    assert as_bits(codes, 8).tolist() == [0, 0, 1, 1, 127, 255]
    assert quantised(codes, 8).tolist() == [0, 0, 257, 257, 127 * 257, 65535]
    assert quantised(codes, 16) is codes


@pytest.mark.parametrize(
    ("how", "field"), [({"lightest_net": 0.0}, "lightest_net_density"), ({"when_short": "x"}, "when_short")]
)
def test_aims_without_sense_are_refused(how, field):
    with pytest.raises(OutOfDomain) as refused:
        ToneAim(**how)
    assert refused.value.field == field


def test_a_target_at_which_the_coat_is_still_white_is_refused():
    paper = sampled_curve(lambda x: Darkroom().print_density(x - 2.5), 0.09, 1.38)
    with pytest.raises(OutOfDomain) as refused:
        correct_tones(paper, usual_scale())
    assert refused.value.field == "target_j_m2"


def test_ink_that_holds_back_nothing_is_refused():
    paper = usual_curve(14.0, 0.08, 1.35)
    with pytest.raises(OutOfDomain, match="denser") as refused:
        correct_tones(paper, usual_scale(0.3))
    assert refused.value.field == "film_printer"
