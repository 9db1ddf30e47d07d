"""Long tracks at even steps are read from nodes; they must be the track of single instants."""

import datetime as dt

import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.sun.place import Place
from noonframe.sun.position import sun_track

START_S = dt.datetime(2026, 3, 1, 10, 20, 30, tzinfo=dt.UTC).timestamp()
PLACES = [Place(41.15, -8.61, 80.0), Place(0.0, 179.99), Place(-89.9, 0.0), Place(67.0, 20.0)]


def singly(place: Place, time_s):
    """Short tracks take the other way, instant by instant."""
    return [sun_track(place, np.array([second])) for second in time_s]


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("step_s", [1.0, 7.3, 60.0, 299.9, 300.0, 600.0, 3600.0])
def test_a_long_even_track_is_that_of_its_instants(place, step_s):
    time_s = START_S + step_s * np.arange(3000.0)
    track = sun_track(place, time_s)
    some = np.random.default_rng(5).integers(0, time_s.size, 60)
    alone = singly(place, time_s[some])
    for name, limit in (("zenith_deg", 2e-5), ("true_elevation_deg", 2e-5), ("distance_factor", 1e-8)):
        wanted = np.array([getattr(one, name)[0] for one in alone])
        assert getattr(track, name)[some] == pytest.approx(wanted, abs=limit)
    vectors = np.array([[one.east[0], one.north[0], one.up[0]] for one in alone])
    found = np.stack([track.east, track.north, track.up], axis=1)[some]
    assert np.abs(found - vectors).max() < 2e-7  # radians: 0.00001 degrees


def test_an_uneven_or_backward_track_is_that_of_its_instants_too():
    place = PLACES[0]
    rng = np.random.default_rng(6)
    for time_s in (
        START_S + np.sort(rng.uniform(0, 86400.0, 900)),
        START_S - 60.0 * np.arange(900.0),
        np.full(900, START_S),
        np.append(START_S + 60.0 * np.arange(899.0), START_S + 1e6),
    ):
        track = sun_track(place, time_s)
        some = rng.integers(0, time_s.size, 20)
        assert track.up[some] == pytest.approx([one.up[0] for one in singly(place, time_s[some])], abs=1e-12)


def test_the_last_hours_of_the_known_years_are_answered_and_no_further():
    last_s = dt.datetime(2200, 1, 1, tzinfo=dt.UTC).timestamp()
    track = sun_track(PLACES[0], last_s - 60.0 * np.arange(1000.0)[::-1])
    assert np.isfinite(track.up).all()
    with pytest.raises(OutOfDomain, match="time"):
        sun_track(PLACES[0], last_s - 60.0 * np.arange(1000.0)[::-1] + 1.0)
    with pytest.raises(OutOfDomain, match="time"):
        sun_track(PLACES[0], np.append(START_S + 60.0 * np.arange(999.0), np.nan))
