"""From cloud cover to how dark it is."""

import numpy as np
import pytest

from noonframe.sky.evidence_broadband import broadband_table, depth_of, factor_at, node_factors
from noonframe.sky.evidence_layers import CoverTold, full_layer_depth, rain_depth, read_layers, read_total

ZENITH_DEG = 45.0
LOW_TOPS = {"low at 2 km": (2000.0, 5000.0), "low at 3 km": (3000.0, 8000.0)}
"""Where two kinds of provider divide the layers."""


def told(n=1, **given):
    names = ("low", "mid", "high", "total", "fog", "precipitation_mm_h")
    columns = {name: np.full(n, given.get(name, np.nan)) for name in names}
    return CoverTold(**columns)


def nodes(n=1):
    return node_factors(np.full(n, ZENITH_DEG))


def uva_factor(read):
    """UVA factor of covered and open sky together."""
    table = broadband_table()
    depth = depth_of(read.factor, nodes(read.factor.size))
    under = factor_at(depth, node_factors(np.full(depth.shape, ZENITH_DEG), table.uva_factor))
    return (1.0 - read.cover * (1.0 - under))[0]


# Cloud modification factors of the UV index in Vanicek, Frei, Litynska and Schmalwieser (2000), "UV-Index for
# the Public", COST-713: the table is from memory.  Octas at the middle of each bin.
COST_713 = [
    ("high", 1.0, 1.0),
    ("high", 3.5, 1.0),
    ("high", 5.5, 1.0),
    ("high", 7.5, 0.9),
    ("mid", 1.0, 1.0),
    ("mid", 3.5, 1.0),
    ("mid", 5.5, 0.8),
    ("mid", 7.5, 0.5),
    ("low", 1.0, 1.0),
    ("low", 3.5, 0.8),
    ("low", 5.5, 0.5),
    ("low", 7.5, 0.2),
]
# A bin of two octas is up to 0.3 wide in the factor, the table is rounded to 0.1 and stands for sun out and
# covered alike; sky described by eye leaves 50 % (Schwander et al. 2002).
COST_713_TOLERANCE = 0.2


@pytest.mark.reference
@pytest.mark.parametrize("tops", LOW_TOPS.values(), ids=LOW_TOPS)
@pytest.mark.parametrize(("layer", "octas", "expected"), COST_713)
def test_a_layer_dims_as_the_coarse_table_of_octas_says(layer, octas, expected, tops):
    read = read_layers(told(**{layer: octas / 8.0}), nodes(), *tops)
    assert uva_factor(read) == pytest.approx(expected, abs=COST_713_TOLERANCE)


@pytest.mark.reference
@pytest.mark.parametrize("tops", LOW_TOPS.values(), ids=LOW_TOPS)
@pytest.mark.parametrize(("given", "expected"), [({"fog": 1.0}, 0.4), ({"precipitation_mm_h": 2.0}, 0.2)])
def test_fog_and_rain_dim_as_the_coarse_table_says(given, expected, tops):
    # The same source, from memory: fog 0.4, rain 0.2.
    read = read_layers(told(low=1.0 if "fog" not in given else 0.0, **given), nodes(), *tops)
    assert uva_factor(read) == pytest.approx(expected, abs=0.1)


@pytest.mark.reference
@pytest.mark.parametrize("octas", range(9))
def test_total_cover_dims_the_broadband_light_as_kasten_and_czeplak_say(octas):
    # Kasten and Czeplak (1980), Solar Energy 24, 177: 1 - 0.75 (N/8)^3.4, coefficients from memory.
    read = read_total(told(total=octas / 8.0), nodes())
    assert read.mean_factor[0] == pytest.approx(1.0 - 0.75 * (octas / 8.0) ** 3.4, abs=1e-12)
    assert read.cover[0] == octas / 8.0


# Usual optical depths, International Satellite Cloud Climatology classes, from memory: low stratus to
# nimbostratus 5-100, altocumulus and altostratus 2-20, cirrus and cirrostratus 0.1-5.
@pytest.mark.reference
@pytest.mark.parametrize(("low_top_m", "mid_top_m"), LOW_TOPS.values(), ids=LOW_TOPS)
def test_the_depth_of_a_layer_fits_its_kind_for_either_division(low_top_m, mid_top_m):
    low, mid = full_layer_depth(0.0, low_top_m), full_layer_depth(low_top_m, mid_top_m)
    high = full_layer_depth(mid_top_m, 20000.0)
    assert 5.0 <= low <= 100.0
    assert 2.0 <= mid <= 20.0
    assert 0.1 <= high <= 5.0


def test_a_layer_told_by_a_higher_division_is_taken_as_thinner():
    assert full_layer_depth(3000.0, 8000.0) < full_layer_depth(2000.0, 5000.0)
    assert full_layer_depth(8000.0, 20000.0) < full_layer_depth(5000.0, 20000.0)


@pytest.mark.parametrize(
    ("low", "mid", "high", "cover"),
    [
        (0.4, 0.0, 0.5, 0.7),  # open air between: at random, 1 - 0.6 * 0.5
        (0.4, 0.6, 0.0, 0.6),  # neighbours: as much as they can
        (0.0, 0.3, 0.7, 0.7),
        (0.4, 0.6, 0.7, 0.7),
        (0.0, 0.0, 0.0, 0.0),
        (1.0, 0.0, 0.5, 1.0),
    ],
)
def test_layers_overlap_at_random_across_open_air_and_else_as_much_as_they_can(low, mid, high, cover):
    # Limiting cases of Geleyn and Hollingsworth (1979).
    read = read_layers(told(low=low, mid=mid, high=high), nodes(), 2000.0, 5000.0)
    assert read.cover[0] == pytest.approx(cover, abs=1e-12)


def test_a_told_total_goes_before_the_overlap_and_keeps_the_darkness():
    free = read_layers(told(low=0.4, high=0.5), nodes(), 2000.0, 5000.0)
    bound = read_layers(told(low=0.4, high=0.5, total=0.9), nodes(), 2000.0, 5000.0)
    assert bound.cover[0] == 0.9
    assert bound.factor[0] == pytest.approx(free.factor[0], abs=1e-12)


def test_rain_only_darkens_and_more_rain_more():
    factors = [
        read_layers(told(low=0.8, precipitation_mm_h=rain), nodes(), 2000.0, 5000.0).factor[0]
        for rain in (0.0, 0.1, 1.0, 10.0)
    ]
    assert factors[0] >= factors[1] > factors[2] > factors[3]
    totals = [
        read_total(told(total=0.8, precipitation_mm_h=rain), nodes()).factor[0] for rain in (0.0, 1.0, 10.0)
    ]
    assert totals[0] > totals[1] > totals[2]
    assert rain_depth(np.array([np.nan, 0.0, 0.01])).tolist() == [0.0, 0.0, 0.0]


def test_what_is_not_told_is_not_taken_for_no_cloud():
    assert np.isnan(read_layers(told(total=0.5), nodes(), 2000.0, 5000.0).cover[0])
    assert np.isnan(read_total(told(low=0.5), nodes()).cover[0])
    one = read_layers(told(low=0.5), nodes(), 2000.0, 5000.0)  # of three layers one is told
    assert one.cover[0] == 0.5


def test_cloud_told_in_all_but_in_no_layer_is_as_dark_as_the_whole_skys_law():
    read = read_layers(told(low=0.0, mid=0.0, high=0.0, total=0.6), nodes(), 2000.0, 5000.0)
    assert read.mean_factor[0] == pytest.approx(1.0 - 0.75 * 0.6**3.4, abs=1e-12)
