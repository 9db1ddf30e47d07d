"""The sun's days over months and years at once: how long each is, and when the sun crosses the horizon."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from noonframe.dose.year_days import CivilDays
from noonframe.sun.place import Place
from noonframe.sun.position import RISE_ELEVATION_DEG, sun_track
from noonframe.types import BoolArray, FloatArray

_STEP_S = 120.0


@dataclass(frozen=True)
class SunDays:
    """When the sun's upper limb is above the horizon on civil days.

    `length_s` (n_day,) is the time it is up within each day; `crossing_s` (n_crossing,) are the instants of
    rise and set in order, `rises` which of them are rises; `up_first` whether the first day begins in sun.
    """

    length_s: FloatArray
    crossing_s: FloatArray
    rises: BoolArray
    up_first: bool

    def dark_spans(self, days: CivilDays, day: int) -> list[tuple[float, float]]:
        """Spans of unix seconds of a day in which the sun is down."""
        first_s, last_s = float(days.start_s[day]), float(days.end_s[day])
        low, high = (int(self.crossing_s.searchsorted(second)) for second in (first_s, last_s))
        up = self.up_first if low == 0 else bool(self.rises[low - 1])
        edges = [first_s, *self.crossing_s[low:high].tolist(), last_s]
        return [
            span for k, span in enumerate(pairwise(edges)) if (k % 2 == 0) is not up and span[0] < span[1]
        ]


def sun_days(place: Place, days: CivilDays) -> SunDays:
    """The sun over `place` on `days`, by straight lines between two-minute steps of its true elevation.

    Good to a second or two where the sun crosses the horizon at a slant; a day on which it only touches it
    may be told a minute or two too long or too short.
    """
    time_s = np.arange(days.start_s[0], days.end_s[-1] + _STEP_S, _STEP_S)
    height = sun_track(place, time_s).true_elevation_deg - RISE_ELEVATION_DEG
    low, high = height[:-1], height[1:]
    at = np.flatnonzero((low > 0.0) != (high > 0.0))
    part = low[at] / (low[at] - high[at])
    share = ((low > 0.0) & (high > 0.0)).astype(np.float64)
    share[at] = np.where(low[at] > 0.0, part, 1.0 - part)
    crossing_s = time_s[at] + part * _STEP_S
    edges_s = np.concatenate([time_s, crossing_s])
    sunlit_s = np.concatenate([[0.0], np.cumsum(share)]) * _STEP_S
    at_crossing_s = sunlit_s[at] + np.where(low[at] > 0.0, part * _STEP_S, 0.0)
    order = np.argsort(edges_s, kind="stable")
    edges_s, sunlit_s = edges_s[order], np.concatenate([sunlit_s, at_crossing_s])[order]
    length_s = np.interp(days.end_s, edges_s, sunlit_s) - np.interp(days.start_s, edges_s, sunlit_s)
    return SunDays(length_s, crossing_s, high[at] > 0.0, bool(height[0] > 0.0))
