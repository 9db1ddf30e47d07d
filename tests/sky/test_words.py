"""The sky in plain words."""

import numpy as np
import pytest

from noonframe.errors import OutOfDomain, UnknownName
from noonframe.sky.spectrum import SkyState
from noonframe.sky.words import (
    COVERING_CLOUD_OPTICAL_DEPTH,
    SKY_WORDS,
    THICKEST_CLOUD,
    find_sky_word,
    uniform_cloud,
)


@pytest.mark.parametrize("word", SKY_WORDS.values(), ids=lambda word: word.id)
def test_every_word_is_a_whole_sky_inside_the_domain(word):
    assert sum(part.probability for part in word.parts) == pytest.approx(1.0, abs=1e-12)
    assert SkyState(300.0, 0.1, 0.05, 1013.25, word.parts).cloud == word.parts
    assert SKY_WORDS[word.id] is word
    assert word.says
    assert 0.0 < word.spread_stops < 1.5


def test_duller_words_are_duller_and_less_certain():
    depth = {
        name: sum(part.probability * part.optical_depth for part in word.parts)
        for name, word in SKY_WORDS.items()
    }
    assert depth["clear"] < depth["thin-cloud"] < depth["broken"] < depth["overcast"] < depth["rain"]
    assert (
        SKY_WORDS["clear"].spread_stops
        < SKY_WORDS["thin-cloud"].spread_stops
        < SKY_WORDS["broken"].spread_stops
    )


@pytest.mark.reference
@pytest.mark.parametrize(
    ("word", "low", "high"),
    [("thin-cloud", 1.0, 5.0), ("overcast", 5.0, 30.0), ("rain", 30.0, 100.0), ("fog", 5.0, 30.0)],
)
def test_depths_lie_in_the_ranges_of_cloud_types(word, low, high):
    """International Satellite Cloud Climatology ranges, from memory: cirrostratus 1-5, stratus 5-25,
    nimbostratus 30-100."""
    assert low <= SKY_WORDS[word].parts[0].optical_depth <= high
    assert 5.0 <= COVERING_CLOUD_OPTICAL_DEPTH <= 40.0  # fair-weather cumulus


def test_chance_of_the_sun_is_that_of_no_cloud():
    assert SKY_WORDS["clear"].beam_probability == 1.0
    assert SKY_WORDS["broken"].beam_probability == 0.5
    assert SKY_WORDS["overcast"].beam_probability == 0.0


def test_an_unknown_word_is_refused_with_the_nearest_ones():
    with pytest.raises(UnknownName) as caught:
        find_sky_word("overcats")
    assert caught.value.field == "sky"
    assert "overcast" in caught.value.near


@pytest.mark.parametrize("bad", [-0.1, THICKEST_CLOUD + 0.1, np.nan, np.inf])
def test_a_cloud_outside_the_domain_is_refused(bad):
    with pytest.raises(OutOfDomain) as caught:
        uniform_cloud(bad)
    assert caught.value.field == "cloud_optical_depth"


@pytest.mark.parametrize("depth", [0.0, 3.0, THICKEST_CLOUD])
def test_one_cloud_is_the_whole_sky(depth):
    (part,) = uniform_cloud(depth)
    assert (part.probability, part.optical_depth) == (1.0, depth)
