"""How long at many places: exposures from one start, each under its own air."""

from dataclasses import dataclass

import numpy as np

from noonframe.dose.batch import sun_vector, topocentric_up
from noonframe.dose.batch_places import BatchPlaces
from noonframe.dose.batch_sky import DARK_UP, BatchCurves, BatchSheet, SkyTable
from noonframe.dose.course import LONGEST_S, quantile_factor
from noonframe.dose.scene import Target, with_reciprocity
from noonframe.sun.ephemeris import DAY_S, geocentric_sun
from noonframe.sun.position import SOLAR_PARALLAX_RAD
from noonframe.types import FloatArray, IntArray

REACHED, DARK, LIGHT_ENDS, OVER_A_DAY = range(4)

_LOOKS = ((150.0, 6), (180.0, 15), (300.0, 24), (300.0, 48), (300.0, 72), (300.0, 132))
"""Seconds and number of the steps in which the light is followed, a day in all; the tail only where the
target is not reached before.  At the equator twilight changes e-fold in ten minutes: the cubic through steps
of half that errs by less than 0.1 %."""

_PLACES_AT_ONCE = 8192
_LEAST_RATE = 1e-30
_AT_ONCE = 65536
"""Instants times places whose arrays fit a processor's cache."""

_TWILIGHT_UP = DARK_UP + SOLAR_PARALLAX_RAD * (1.0 - DARK_UP**2)  # seen from the earth's centre


@dataclass(frozen=True, eq=False)
class BatchExposure:
    """Exposures at places (n,), as `Exposure` has them for one place.

    `length_s`, `low_s` and `high_s` are NaN where the light goes first; `dose_share` is the share of the
    target gathered until then.  `outcome` is `REACHED`, `DARK` (at the start already), `LIGHT_ENDS` or
    `OVER_A_DAY` (not within 24 hours).
    """

    length_s: FloatArray
    low_s: FloatArray
    high_s: FloatArray
    dose_share: FloatArray
    outcome: IntArray


def batch_exposure(
    sheet: BatchSheet,
    places: BatchPlaces,
    start_s: float,
    target: Target,
    *,
    light_spread_stops: float,
    reciprocity_exponent: float = 1.0,
) -> BatchExposure:
    """Exposures begun at `start_s` at every place, with their 10-90 % range.

    By the light of a single place, the dose at the end of each length is within 0.4 % of the target; so are
    the lengths, except where the light is fading and a little dose takes long.
    """
    factor = quantile_factor(float(np.hypot(target.spread_stops, light_spread_stops)))
    targets = target.target_j_m2 * np.array([1.0, 1.0 / factor, factor])
    ozone = places.ozone_at(start_s)
    sky = SkyTable(sheet, places, ozone)
    suns = _Suns.of(start_s)
    length = np.empty((3, places.count))
    share = np.empty(places.count)
    outcome = np.empty(places.count, dtype=np.int64)
    for first in range(0, places.count, _PLACES_AT_ONCE):
        block = slice(first, first + _PLACES_AT_ONCE)
        some = places.some(block)
        own = ozone[block] if isinstance(ozone, np.ndarray) else ozone
        follow = _Follow(some, sky.curves(some, own), suns, targets, reciprocity_exponent)
        length[:, block], share[block], outcome[block] = follow.length_s, follow.share, follow.outcome
    return BatchExposure(length[0], length[1], length[2], share, outcome)


@dataclass(frozen=True, eq=False)
class _Look:
    """Steps of equal length, with the sun at their ends and one step beyond each: vectors (3, n_step + 3)."""

    first_s: float
    step_s: float
    sun: FloatArray
    distance_factor: FloatArray

    @property
    def last_s(self) -> float:
        """Seconds from the start to the end of the last step."""
        return self.first_s + self.step_s * float(self.sun.shape[1] - 3)


@dataclass(frozen=True, eq=False)
class _Suns:
    """The sun along the day from a start: `now` (3,), `looks`, and hourly values for the fall of darkness."""

    now: FloatArray
    looks: tuple[_Look, ...]
    hour_s: FloatArray
    sin_declination: FloatArray
    hour_angle_rad: FloatArray

    @classmethod
    def of(cls, start_s: float) -> "_Suns":
        looks, first_s = [], 0.0
        for step_s, count in _LOOKS:
            offset_s = first_s + step_s * np.arange(-1.0, count + 2.0)
            sun = geocentric_sun(start_s + offset_s)
            looks.append(_Look(first_s, step_s, sun_vector(sun), sun.distance_factor))
            first_s += step_s * count
        hour_s = np.arange(0.0, LONGEST_S + 2.0, 3600.0)
        hourly = geocentric_sun(start_s + hour_s)
        return cls(
            sun_vector(hourly)[:, 0],
            tuple(looks),
            hour_s,
            hourly.sin_declination,
            hourly.greenwich_hour_angle_rad,
        )


class _Follow:
    """Exposures at a block of places, followed look by look until each has ended."""

    def __init__(
        self,
        places: BatchPlaces,
        curves: BatchCurves,
        suns: _Suns,
        targets_j_m2: FloatArray,
        reciprocity_exponent: float,
    ) -> None:
        self._curves = curves
        self._targets = targets_j_m2
        self._exponent = reciprocity_exponent
        self._vertical = places.unit_vectors()
        self.length_s = np.full((3, places.count), np.nan)
        self.share = np.zeros(places.count)
        self._dose = np.zeros(places.count)
        lit = topocentric_up(suns.now @ self._vertical) > DARK_UP
        open_ = np.flatnonzero(lit)
        self._dark_s = np.zeros(places.count)
        self._dark_s[open_] = _dark_after_s(places.longitude_deg[open_], self._vertical[:, open_], suns)
        for look in suns.looks:
            if open_.size == 0:
                break
            most = max(_AT_ONCE // look.sun.shape[1], 1)
            parts = [self._look(look, open_[k : k + most]) for k in range(0, open_.size, most)]
            open_ = np.concatenate(parts)
        reached = ~np.isnan(self.length_s[0])
        self.share[reached] = 1.0
        ends = np.where(self._dark_s <= LONGEST_S, LIGHT_ENDS, OVER_A_DAY)
        self.outcome = np.where(reached, REACHED, np.where(lit, ends, DARK))

    def _look(self, look: _Look, which: IntArray) -> IntArray:
        """Follow some places along one look; those that have not ended with it."""
        up = topocentric_up(self._vertical[:, which].T @ look.sun)
        light = self._curves.effective(up, which) * look.distance_factor
        rate = with_reciprocity(light, self._exponent)
        dark_s = self._dark_s[which]
        half_change = 0.5 * (rate[:, 2:] - rate[:, :-2])  # slope times step, at the ends of the steps
        rate = rate[:, 1:-1]
        mean = 0.5 * (rate[:, :-1] + rate[:, 1:]) + (half_change[:, :-1] - half_change[:, 1:]) / 12.0
        before = self._dose[which]
        since = np.cumsum(np.maximum(mean, 0.0), axis=1) * look.step_s
        gathered = before[:, None] + np.concatenate([np.zeros((which.size, 1)), since], axis=1)
        for row, target in zip(self.length_s, self._targets, strict=True):
            here = np.flatnonzero((before < target) & (gathered[:, -1] >= target))
            left = np.argmax(gathered[here] >= target, axis=1) - 1
            missing = (target - gathered[here, left]) / look.step_s
            part = _part_of_step(
                missing,
                rate[here, left],
                rate[here, left + 1],
                half_change[here, left],
                half_change[here, left + 1],
            )
            length_s = look.first_s + (left + part) * look.step_s
            row[which[here]] = np.where(length_s <= dark_s[here], length_s, np.nan)
        stop_s = np.minimum(dark_s, LONGEST_S)
        ended = stop_s <= look.last_s
        self._end(which[ended], gathered[ended], (stop_s[ended] - look.first_s) / look.step_s)
        self._dose[which] = gathered[:, -1]
        going_on: IntArray = which[~ended & (gathered[:, -1] < self._targets.max())]
        return going_on

    def _end(self, which: IntArray, gathered: FloatArray, place: FloatArray) -> None:
        """Note the share of the target at places whose light ends at a `place` among the steps."""
        left = np.minimum(place.astype(np.int64), gathered.shape[1] - 2)
        row = np.arange(which.size)
        low, high = gathered[row, left], gathered[row, left + 1]
        self.share[which] = np.minimum((low + (place - left) * (high - low)) / self._targets[0], 1.0)


def _part_of_step(
    missing: FloatArray, low: FloatArray, high: FloatArray, low_slope: FloatArray, high_slope: FloatArray
) -> FloatArray:
    """Where in a step (0-1) the integral of a cubic reaches `missing`, by Newton from the straight line.

    The cubic has the values `low` and `high` and the slopes (per step) at the ends; all (n,).
    """
    root = np.sqrt(np.maximum(low * low + 2.0 * (high - low) * missing, 0.0))
    x = np.clip(2.0 * missing / np.maximum(low + root, _LEAST_RATE), 0.0, 1.0)
    for _ in range(4):
        x2 = x * x
        end_part = x2 * x * (1.0 - 0.5 * x)
        integral = (
            low * (x - end_part)
            + high * end_part
            + low_slope * x2 * (0.5 - x * (2.0 / 3.0 - 0.25 * x))
            + high_slope * x2 * x * (0.25 * x - 1.0 / 3.0)
        )
        rate = (
            low
            + (high - low) * x2 * (3.0 - 2.0 * x)
            + low_slope * x * (1.0 - x) ** 2
            - high_slope * x2 * (1.0 - x)
        )
        x = np.clip(x - (integral - missing) / np.maximum(rate, _LEAST_RATE), 0.0, 1.0)
    return x


def _dark_after_s(longitude_deg: FloatArray, vertical: FloatArray, suns: _Suns) -> FloatArray:
    """Seconds from the start to the end of twilight at lit places (n,); infinite where it stays light.

    From the hour angle of darkness at the declination of that moment, found in a few rounds.
    """
    sin_latitude = vertical[2]
    cos_latitude = np.sqrt(np.maximum(1.0 - sin_latitude**2, 1e-18))  # a latitude may round to the pole
    turn_rad_s = 2.0 * np.pi / DAY_S
    drift = suns.hour_angle_rad - suns.hour_angle_rad[0] - turn_rad_s * suns.hour_s
    now = np.mod(suns.hour_angle_rad[0] + np.radians(longitude_deg) + np.pi, 2.0 * np.pi) - np.pi
    after_s = np.zeros(now.size)
    for _ in range(4):
        sin_declination = np.interp(after_s, suns.hour_s, suns.sin_declination)
        cosine = (_TWILIGHT_UP - sin_latitude * sin_declination) / (
            cos_latitude * np.sqrt(1.0 - sin_declination**2)
        )
        ahead = np.arccos(np.clip(cosine, -1.0, 1.0)) - now  # to midnight where it stays light
        after_s = np.clip((ahead - np.interp(after_s, suns.hour_s, drift)) / turn_rad_s, 0.0, LONGEST_S)
    return np.where(cosine <= -1.0, np.inf, after_s)
