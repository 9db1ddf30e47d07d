"""Irradiance by geometry against limits, published factors, and integration point by point."""

import math

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from noonframe.errors import OutOfDomain
from noonframe.lamp.geometry import Panel, PointSource, Tubes, corner_factor, sheet_light

HERE = np.zeros(1)


def below(source, height_m, x=0.0, y=0.0):
    return float(source.per_watt(np.array([x]), np.array([y]), height_m)[0])


@pytest.mark.reference
@pytest.mark.parametrize(
    "source",
    [PointSource(120.0), Tubes(0.3), Tubes(0.3, 4, 0.05), Panel(0.3, 0.2)],
    ids=lambda one: one.says,
)
def test_far_away_light_falls_with_the_square_of_the_distance(source):
    near, far = below(source, 30.0), below(source, 60.0)
    assert near / far == pytest.approx(4.0, rel=1e-3)  # the lamps' own size: (0.3 / 30)^2


@pytest.mark.reference
def test_far_away_each_lamp_is_a_point_with_its_own_intensity():
    # Lambertian surface: I = P / pi.  Lambertian line: I = P / pi^2, from sin^2 over the whole sphere.
    for source, intensity in ((PointSource(120.0), 1 / math.pi), (Panel(0.1, 0.1), 1 / math.pi)):
        assert below(source, 50.0) * 2500.0 == pytest.approx(intensity, rel=1e-5)
    assert below(Tubes(0.1), 50.0) * 2500.0 == pytest.approx(1 / math.pi**2, rel=1e-5)


@pytest.mark.reference
@pytest.mark.parametrize("height_m", [0.03, 0.1, 0.5])
def test_beneath_its_middle_a_tube_follows_the_published_line_source_formula(height_m):
    # Keitz 1971, Light Calculations and Measurements, 2nd ed.: E = P (2a + sin 2a) / (2 pi^2 L h)
    length = 0.44
    a = math.atan(0.5 * length / height_m)
    expected = (2 * a + math.sin(2 * a)) / (2 * math.pi**2 * length * height_m)
    assert below(Tubes(length), height_m) == pytest.approx(expected, rel=1e-12)


@pytest.mark.reference
def test_a_long_tube_close_by_has_the_published_factor_of_an_endless_cylinder():
    # Plane element to an infinitely long cylinder of radius r at distance h: F = r / h (Howell, Catalog of
    # Radiation Heat Transfer Configuration Factors); exitance of P/L watts per metre is P / (2 pi r L).
    radius, height, length = 0.001, 0.01, 3.0
    exitance = 1.0 / (2 * math.pi * radius * length)
    assert below(Tubes(length), height) / exitance == pytest.approx(radius / height, rel=1e-4)


@pytest.mark.parametrize(("x", "y"), [(0.0, 0.0), (0.1, 0.07), (0.3, -0.2)])
def test_a_tube_is_the_sum_of_its_parts(x, y):
    height, length = 0.09, 0.3

    def part(s):
        square = (s - x) ** 2 + y**2 + height**2
        to_axis = math.sqrt((y**2 + height**2) / square)
        return to_axis * height / math.sqrt(square) / square / (math.pi**2 * length)

    assert below(Tubes(length), height, x, y) == pytest.approx(quad(part, -0.15, 0.15)[0], rel=1e-9)


def test_a_bank_is_the_mean_of_its_tubes():
    bank, one = Tubes(0.3, 3, 0.06, 1.5), Tubes(0.3)
    parts = [below(one, 0.08, 0.05, y) for y in (0.02 + 0.06, 0.02, 0.02 - 0.06)]
    assert below(bank, 0.08, 0.05, 0.02) == pytest.approx(1.5 * sum(parts) / 3, rel=1e-12)


@pytest.mark.reference
def test_a_rectangle_has_the_factor_of_the_catalogue():
    # Howell and Menguc, configuration factor B-4; unit sides at unit distance, worked out by hand:
    # (1/2 pi) * 2 * (1/sqrt 2) * atan(1/sqrt 2)
    expected = math.atan(1 / math.sqrt(2)) / (math.pi * math.sqrt(2))
    assert float(corner_factor(np.ones(1), np.ones(1))[0]) == pytest.approx(expected, rel=1e-12)
    assert float(corner_factor(np.array([1e6]), np.array([1e6]))[0]) == pytest.approx(0.25, abs=1e-6)


@pytest.mark.parametrize(("x", "y"), [(0.0, 0.0), (0.12, 0.05), (0.3, 0.25)])
def test_a_panel_is_the_sum_of_its_parts_also_beside_it(x, y):
    height, width, depth = 0.15, 0.3, 0.2

    def part(v, u):
        square = (u - x) ** 2 + (v - y) ** 2 + height**2
        return height**2 / square**2 / (math.pi * width * depth)

    whole = dblquad(part, -width / 2, width / 2, -depth / 2, depth / 2)[0]
    assert below(Panel(width, depth), height, x, y) == pytest.approx(whole, rel=1e-7)


@pytest.mark.parametrize("angle", [20.0, 60.0, 120.0, 150.0])
def test_a_point_source_radiates_all_its_power(angle):
    m = PointSource(angle).exponent
    ring = quad(
        lambda t: (m + 1) / (2 * math.pi) * math.cos(t) ** m * 2 * math.pi * math.sin(t), 0, math.pi / 2
    )
    assert ring[0] == pytest.approx(1.0, rel=1e-7)
    assert math.cos(math.radians(angle / 2)) ** m == pytest.approx(0.5)  # its definition


def test_close_to_a_wide_panel_the_sheet_is_as_bright_as_the_panel():
    assert below(Panel(3.0, 3.0), 0.01) * 9.0 == pytest.approx(1.0, rel=1e-3)


def test_more_distance_evens_the_sheet():
    stops = [sheet_light(Tubes(0.44, 8, 0.05), h, 0.2, 0.25).corner_stops for h in (0.05, 0.3, 2.0)]
    assert stops[0] < 0.0
    assert abs(stops[2]) < 0.02 < abs(stops[1])
    light = sheet_light(Panel(0.2, 0.2), 0.1, 0.3, 0.3)
    assert light.lowest_stops == pytest.approx(light.corner_stops)
    assert light.highest_stops == 0.0


def test_bad_lamps_are_refused():
    nan = float("nan")
    for make, name in (
        (lambda: Tubes(nan), "length_m"),
        (lambda: Tubes(0.3, 0), "count"),
        (lambda: Tubes(0.3, 2), "pitch_m"),
        (lambda: Tubes(0.3, 1, 0.05), "pitch_m"),
        (lambda: Tubes(0.3, reflector_gain=2.5), "reflector_gain"),
        (lambda: Panel(0.3, 0.0), "depth_m"),
        (lambda: PointSource(179.0), "beam_angle_deg"),
        (lambda: sheet_light(Tubes(0.3), 0.0, 0.1, 0.1), "distance_m"),
        (lambda: sheet_light(Tubes(0.3), nan, 0.1, 0.1), "distance_m"),
        (lambda: sheet_light(Tubes(0.3), 0.1, -0.1, 0.1), "sheet_width_m"),
    ):
        with pytest.raises(OutOfDomain, match=name):
            make()
