"""Filling the gaps in what is known of the sky, and saying so."""

import datetime as dt

import numpy as np
import pytest

from noonframe.errors import OutOfDomain, UnknownName
from noonframe.sky.assume import AEROSOL_SPREAD_STOPS, MODEL_SPREAD_STOPS, assume_sky
from noonframe.sky.climatology import aerosol_default, ozone_climatology_du
from noonframe.sky.words import SKY_WORDS
from noonframe.sun.place import Place

PORTO, DAY = Place(41.15, -8.61, 80.0), dt.date(2025, 6, 21)


def test_nothing_given_means_a_clear_sky_and_the_climatology_and_says_so():
    assumed = assume_sky(PORTO, DAY)
    assert assumed.state.cloud == SKY_WORDS["clear"].parts
    assert assumed.state.ozone_du == ozone_climatology_du(41.15, DAY)
    assert assumed.state.aerosol_optical_depth == aerosol_default(80.0)
    assert assumed.state.pressure_hpa == PORTO.pressure_hpa
    assert "assumed" in assumed.evidence
    assert dict(assumed.sources) == {
        "ozone_du": "climatology",
        "aerosol_optical_depth": "default",
        "ground_albedo": "default",
        "pressure_hpa": "standard atmosphere",
    }


def test_what_is_given_is_used_as_it_is_and_named_as_given():
    assumed = assume_sky(
        PORTO, DAY, ozone_du=280.0, aerosol_optical_depth=0.3, ground_albedo=0.8, cloud_optical_depth=7.0
    )
    state = assumed.state
    assert (state.ozone_du, state.aerosol_optical_depth, state.ground_albedo) == (280.0, 0.3, 0.8)
    assert [part.optical_depth for part in state.cloud] == [7.0]
    assert "given" in assumed.evidence
    assert set(dict(assumed.sources).values()) == {"given", "standard atmosphere"}
    assert assumed.word is None


def test_zero_is_a_value_and_not_a_gap():
    state = assume_sky(
        PORTO, DAY, aerosol_optical_depth=0.0, ground_albedo=0.0, cloud_optical_depth=0.0
    ).state
    assert (state.aerosol_optical_depth, state.ground_albedo, state.cloud[0].optical_depth) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("word", SKY_WORDS)
def test_a_word_brings_its_cloud_and_its_spread(word):
    assumed = assume_sky(PORTO, DAY, sky=word)
    assert assumed.state.cloud == SKY_WORDS[word].parts
    assert assumed.word is SKY_WORDS[word]
    assert word in assumed.evidence
    expected = np.sqrt(SKY_WORDS[word].spread_stops ** 2 + MODEL_SPREAD_STOPS**2 + AEROSOL_SPREAD_STOPS**2)
    assert assumed.spread_stops == pytest.approx(expected)


def test_a_measured_haze_narrows_the_spread():
    assert (
        assume_sky(PORTO, DAY, aerosol_optical_depth=0.1).spread_stops < assume_sky(PORTO, DAY).spread_stops
    )


@pytest.mark.parametrize(
    ("field", "given"),
    [
        ("ozone_du", {"ozone_du": np.nan}),
        ("aerosol_optical_depth", {"aerosol_optical_depth": 3.0}),
        ("ground_albedo", {"ground_albedo": -0.2}),
        ("cloud_optical_depth", {"cloud_optical_depth": np.inf}),
        ("sky", {"sky": "clear", "cloud_optical_depth": 0.0}),
    ],
)
def test_a_value_outside_its_range_is_refused_by_name(field, given):
    with pytest.raises(OutOfDomain) as caught:
        assume_sky(PORTO, DAY, **given)
    assert caught.value.field == field


def test_an_unknown_word_is_refused():
    with pytest.raises(UnknownName):
        assume_sky(PORTO, DAY, sky="sunny spells")


@pytest.mark.parametrize("elevation_m", [-430.0, 0.0, 2500.0, 5500.0])
@pytest.mark.parametrize("latitude_deg", [-89.9, 0.0, 89.9])
def test_every_place_has_a_sky_inside_the_domain(elevation_m, latitude_deg):
    for month in range(1, 13):
        assert (
            assume_sky(Place(latitude_deg, 0.0, elevation_m), dt.date(2024, month, 29)).state.ozone_du > 100.0
        )
