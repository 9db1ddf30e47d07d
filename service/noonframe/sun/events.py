"""Rise, transit, set and twilight of one civil day, with polar day and night as named outcomes.

`astral` gives the first estimate and the names; the NREL algorithm of `position` then settles each
event to a fraction of a second.  Where `astral` has nothing to give (it refuses near polar day and
night), the crossing is looked for along the day directly, so an answer never depends on an error text.
"""

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum
from zoneinfo import ZoneInfo

import numpy as np
from astral import Observer
from astral import sun as astral_sun

from noonframe.errors import OutOfDomain
from noonframe.sun.ephemeris import DAY_S
from noonframe.sun.place import Place
from noonframe.sun.position import RISE_ELEVATION_DEG, sun_track
from noonframe.types import FloatArray

CIVIL_TWILIGHT_DEG = -6.0
_SCAN_S = 300.0
_ESTIMATE_REACH_S = 900.0  # how far an estimate may be moved before it counts as another event


class SunDay(StrEnum):
    """What the sun does on a civil day."""

    RISES_AND_SETS = "rises-and-sets"
    UP_ALL_DAY = "up-all-day"
    DOWN_ALL_DAY = "down-all-day"
    RISES_ONLY = "rises-only"
    SETS_ONLY = "sets-only"


@dataclass(frozen=True)
class DayEvents:
    """Events of the civil day `date` in the place's zone; None where the event does not happen.

    Rise and set are those of the upper limb with 34 arc minutes of refraction (centre at -0.8333
    degrees); dawn and dusk are civil (-6 degrees).  `day_length_s` counts the time between them
    within the civil day.
    """

    date: dt.date
    outcome: SunDay
    dawn: dt.datetime | None
    rise: dt.datetime | None
    transit: dt.datetime
    set: dt.datetime | None
    dusk: dt.datetime | None
    transit_elevation_deg: float
    day_length_s: float


def civil_day(date: dt.date, zone: ZoneInfo) -> tuple[float, float]:
    """Unix seconds of the start and end of `date` in `zone`: 23, 24 or 25 hours apart."""
    start = dt.datetime.combine(date, dt.time(), tzinfo=zone)
    end = dt.datetime.combine(date + dt.timedelta(days=1), dt.time(), tzinfo=zone)
    return start.timestamp(), end.timestamp()


def day_events(place: Place, date: dt.date, zone: ZoneInfo) -> DayEvents:
    """Sun events of `date` as seen from `place`, in `zone`.

    When an event happens twice in one civil day (it can, near polar day) the first is given.
    Raises `OutOfDomain` for dates outside 1900-2200 and for a date that the zone skipped.
    """
    start_s, end_s = civil_day(date, zone)
    if end_s <= start_s:  # a change of sides of the date line leaves a day out
        raise OutOfDomain("date", date.isoformat(), f"a day that {zone.key} had; its clocks skipped this one")
    transit_s = _first_transit(place, start_s)
    # With both meridian passages among the points, no rise and set can hide between two of them.
    passages = np.array([transit_s - DAY_S / 2.0, transit_s, transit_s + DAY_S / 2.0])
    evenly = np.linspace(start_s, end_s, round((end_s - start_s) / _SCAN_S) + 1)
    scan_s = np.union1d(evenly, passages[(passages > start_s) & (passages < end_s)])
    elevation = sun_track(place, scan_s).true_elevation_deg
    observer = Observer(place.latitude_deg, place.longitude_deg, 0.0)
    day = _Day(place, date, zone, observer, scan_s, elevation)

    rise = day.crossing(RISE_ELEVATION_DEG, rising=True)
    set_ = day.crossing(RISE_ELEVATION_DEG, rising=False)
    # The settled events join the points, so that straight lines meet the horizon where the sun does.
    measured_s = np.union1d(scan_s, [moment for moment in (rise, set_) if moment is not None])
    return DayEvents(
        date=date,
        outcome=_outcome(rise, set_, elevation),
        dawn=day.moment(day.crossing(CIVIL_TWILIGHT_DEG, rising=True)),
        rise=day.moment(rise),
        transit=dt.datetime.fromtimestamp(transit_s, zone),
        set=day.moment(set_),
        dusk=day.moment(day.crossing(CIVIL_TWILIGHT_DEG, rising=False)),
        transit_elevation_deg=float(sun_track(place, np.array([transit_s])).true_elevation_deg[0]),
        day_length_s=_time_above(
            measured_s, sun_track(place, measured_s).true_elevation_deg - RISE_ELEVATION_DEG
        ),
    )


def _first_transit(place: Place, after_s: float) -> float:
    """Unix second of the first upper meridian passage (hour angle zero) after `after_s`."""
    ahead = np.mod(-_hour_angle_rad(place, after_s), 2.0 * np.pi)
    transit_s = after_s + float(ahead) / (2.0 * np.pi) * DAY_S
    for _ in range(2):  # the sun's hour angle keeps the mean sun's pace to 1 part in 3000
        transit_s -= _hour_angle_rad(place, transit_s) / (2.0 * np.pi) * DAY_S
    return transit_s


def _hour_angle_rad(place: Place, unix_s: float) -> float:
    """Topocentric hour angle of the sun, west positive, within half a turn."""
    track = sun_track(place, np.array([unix_s]))
    latitude = np.radians(place.latitude_deg)
    toward_meridian = np.cos(latitude) * track.up - np.sin(latitude) * track.north
    return float(np.arctan2(-track.east, toward_meridian)[0])


def _outcome(rise: float | None, set_: float | None, elevation: FloatArray) -> SunDay:
    if rise is not None and set_ is not None:
        return SunDay.RISES_AND_SETS
    if rise is not None:
        return SunDay.RISES_ONLY
    if set_ is not None:
        return SunDay.SETS_ONLY
    return SunDay.UP_ALL_DAY if float(elevation[0]) > RISE_ELEVATION_DEG else SunDay.DOWN_ALL_DAY


def _time_above(time_s: FloatArray, height: FloatArray) -> float:
    """Length of time `height` is above zero, with straight lines between samples."""
    low, high = height[:-1], height[1:]
    span = np.abs(high - low)
    above = np.maximum(low, 0.0) + np.maximum(high, 0.0)
    share = np.where(low * high >= 0.0, (above > 0.0).astype(float), above / np.where(span > 0.0, span, 1.0))
    return float(np.sum(share * np.diff(time_s)))


@dataclass(frozen=True)
class _Day:
    place: Place
    date: dt.date
    zone: ZoneInfo
    observer: Observer
    scan_s: FloatArray
    elevation: FloatArray

    def moment(self, unix_s: float | None) -> dt.datetime | None:
        return None if unix_s is None else dt.datetime.fromtimestamp(unix_s, self.zone)

    def crossing(self, threshold_deg: float, *, rising: bool) -> float | None:
        """Unix second at which the true elevation crosses the threshold, or None."""
        height = self.elevation - threshold_deg
        sign = 1.0 if rising else -1.0
        at = np.flatnonzero((sign * height[:-1] < 0.0) & (sign * height[1:] >= 0.0))
        if at.size == 0:
            return None
        low_s, high_s = float(self.scan_s[at[0]]), float(self.scan_s[at[0] + 1])
        estimate = self._estimate(threshold_deg, rising=rising)
        if estimate is None or abs(estimate - low_s) > _ESTIMATE_REACH_S:
            estimate = (low_s + high_s) / 2.0
        return self._settle(estimate, low_s, high_s, threshold_deg, sign)

    def _estimate(self, threshold_deg: float, *, rising: bool) -> float | None:
        find = astral_sun.dawn if rising else astral_sun.dusk
        try:
            return find(self.observer, self.date, -threshold_deg, tzinfo=self.zone).timestamp()
        except ValueError:  # it sees no crossing that day; ours, found on the scan, stands
            return None

    def _settle(
        self, guess_s: float, low_s: float, high_s: float, threshold_deg: float, sign: float
    ) -> float:
        """Narrow the bracket around the guess by the full position until under 0.01 s."""
        edges = (
            low_s,
            min(max(guess_s - 20.0, low_s), high_s),
            min(max(guess_s + 20.0, low_s), high_s),
            high_s,
        )
        points = np.asarray(edges)
        for _ in range(6):
            height = sun_track(self.place, points).true_elevation_deg - threshold_deg
            k = max(int(np.argmax(sign * height >= 0.0)) - 1, 0)
            low_s, high_s = float(points[k]), float(points[k + 1])
            if high_s - low_s < 0.01:
                break
            points = np.linspace(low_s, high_s, 16)
        return (low_s + high_s) / 2.0
