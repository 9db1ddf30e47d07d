"""The domain of a place."""

import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.sun.place import Place


@pytest.mark.parametrize(
    ("field", "arguments"),
    [
        ("latitude_deg", (90.0, 0.0)),
        ("latitude_deg", (-90.0, 0.0)),
        ("latitude_deg", (np.nan, 0.0)),
        ("latitude_deg", (np.inf, 0.0)),
        ("longitude_deg", (0.0, 180.1)),
        ("longitude_deg", (0.0, np.nan)),
        ("elevation_m", (0.0, 0.0, 5501.0)),
        ("elevation_m", (0.0, 0.0, -451.0)),
        ("elevation_m", (0.0, 0.0, np.nan)),
    ],
)
def test_a_place_outside_the_domain_is_refused_by_name(field, arguments):
    with pytest.raises(OutOfDomain) as caught:
        Place(*arguments)
    assert caught.value.field == field


@pytest.mark.parametrize(
    "arguments", [(89.9999, 0.0), (-89.9999, 180.0), (0.0, -180.0, 5500.0), (31.5, 35.5, -430.0)]
)
def test_the_edges_of_the_domain_are_accepted(arguments):
    assert np.isfinite(Place(*arguments).pressure_hpa)


@pytest.mark.reference
@pytest.mark.parametrize(
    ("elevation_m", "pressure_hpa"), [(0.0, 1013.25), (1000.0, 898.7), (2000.0, 794.9), (5000.0, 540.2)]
)
def test_pressure_is_that_of_the_standard_atmosphere(elevation_m, pressure_hpa):
    """ICAO standard atmosphere (Doc 7488), printed to 0.1 hPa; the library's formula keeps within 0.3 hPa of
    it."""
    assert Place(0.0, 0.0, elevation_m).pressure_hpa == pytest.approx(pressure_hpa, abs=0.3)
