"""Ozone and haze when nobody has measured them."""

import datetime as dt

import numpy as np
import pytest

from noonframe.datafiles import data_folder, read_columns
from noonframe.sky.climatology import DEFAULT_AEROSOL_AT_SEA_LEVEL, aerosol_default, ozone_climatology_du


@pytest.mark.reference
@pytest.mark.parametrize(
    ("latitude_deg", "month", "ozone_du"),
    [
        (40, 6, 332),
        (40, 12, 312),
        (50, 3, 404),
        (60, 1, 385),
        (0, 5, 241),
        (-40, 10, 374),
        (-50, 1, 292),
        (-80, 10, 217),
        (80, 4, 441),
    ],
)
def test_mid_month_is_the_published_zonal_mean(latitude_deg, month, ozone_du):
    """Fortuin and Kelder (1998), J. Geophys. Res. 103, 31709: zonal means 1980-1991, rounded to 1 DU.
    The middle of a calendar month is up to a day from the twelfth of the year that the interpolation
    uses: under 1 DU."""
    middle = dt.date(2025, month, 15 if month == 2 else 16)
    assert ozone_climatology_du(latitude_deg, middle) == pytest.approx(ozone_du, abs=2.0)


def test_latitude_is_interpolated_and_held_beyond_the_last_row():
    date = dt.date(2025, 6, 16)
    between = ozone_climatology_du(45.0, date)
    assert between == pytest.approx(
        (ozone_climatology_du(40.0, date) + ozone_climatology_du(50.0, date)) / 2.0
    )
    assert ozone_climatology_du(89.99, date) == ozone_climatology_du(80.0, date)
    assert ozone_climatology_du(-89.99, date) == ozone_climatology_du(-80.0, date)


@pytest.mark.parametrize("latitude_deg", [-75.0, -33.0, 0.0, 41.15, 68.0])
@pytest.mark.parametrize("year", [2023, 2024])
def test_the_year_is_continuous_also_over_new_year_and_leap_day(latitude_deg, year):
    days = [dt.date(year, 1, 1) + dt.timedelta(days=k) for k in range(-40, 406)]
    course = np.array([ozone_climatology_du(latitude_deg, day) for day in days])
    assert (
        np.max(np.abs(np.diff(course))) < 3.0
    )  # the steepest month-to-month change, 75 DU at 80 S, is 2.5 a day
    columns = read_columns(data_folder() / "ozone_climatology.csv")
    columns.pop("latitude_deg")
    assert (
        min(map(np.min, columns.values()))
        <= course.min()
        <= course.max()
        <= max(map(np.max, columns.values()))
    )


def test_haze_thins_upward_with_a_two_kilometre_scale_height():
    assert aerosol_default(0.0) == DEFAULT_AEROSOL_AT_SEA_LEVEL
    assert aerosol_default(2000.0) == pytest.approx(DEFAULT_AEROSOL_AT_SEA_LEVEL / np.e)
    assert aerosol_default(-400.0) == DEFAULT_AEROSOL_AT_SEA_LEVEL
