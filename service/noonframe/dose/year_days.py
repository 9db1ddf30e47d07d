"""Civil days of a stretch of the calendar, and the whole hours on their clocks."""

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np

from noonframe.sun.events import civil_day
from noonframe.types import FloatArray, IntArray

HOUR_S = 3600.0
_PLAIN_DAY_S = 24 * HOUR_S


@dataclass(frozen=True)
class HourStarts:
    """Whole hours on the clock, in order of time; arrays (n,).

    `day` is the index of the civil day, `hour` 0-23 as the clock shows it.  An hour that a change of the
    clocks leaves out is not there; one that it lets happen twice is there twice.
    """

    day: IntArray
    hour: IntArray
    unix_s: FloatArray


@dataclass(frozen=True)
class CivilDays:
    """Consecutive civil days of a zone; a day that the zone skipped (at the date line) is left out.

    `start_s`, `end_s` (n,) are unix seconds; the days are 23, 24 or 25 hours long, or as the zone has it.
    """

    dates: tuple[dt.date, ...]
    zone: ZoneInfo
    start_s: FloatArray
    end_s: FloatArray

    @classmethod
    def between(cls, first: dt.date, last: dt.date, zone: ZoneInfo) -> "CivilDays":
        """The days from `first` to `last`, both included."""
        dates = [first + dt.timedelta(days=k) for k in range((last - first).days + 1)]
        spans = [(day, *civil_day(day, zone)) for day in dates]
        kept = [span for span in spans if span[1] < span[2]]
        return cls(
            tuple(day for day, _, _ in kept),
            zone,
            np.array([start_s for _, start_s, _ in kept]),
            np.array([end_s for _, _, end_s in kept]),
        )

    @classmethod
    def of_year(cls, year: int, zone: ZoneInfo) -> "CivilDays":
        """All days of a year."""
        return cls.between(dt.date(year, 1, 1), dt.date(year, 12, 31), zone)

    @cached_property
    def offsets_s(self) -> FloatArray:
        """Seconds ahead of UTC at the start and at the end of each day; (n, 2)."""
        starts = [self._offset_s(float(second)) for second in self.start_s]
        ends = [self._offset_s(float(second) - 1.0) for second in self.end_s]
        return np.array([starts, ends]).T

    def _offset_s(self, unix_s: float) -> float:
        offset = dt.datetime.fromtimestamp(unix_s, self.zone).utcoffset()
        assert offset is not None
        return offset.total_seconds()

    @cached_property
    def changes_s(self) -> FloatArray:
        """Unix seconds at which the clocks change; (n_change,)."""
        found = []
        for k in np.flatnonzero(self.offsets_s[:, 0] != self.offsets_s[:, 1]):
            before, after = float(self.start_s[k]), float(self.end_s[k])
            while after - before > 1.0:
                middle = float(np.floor((before + after) / 2.0))
                if self._offset_s(middle) == self.offsets_s[k, 0]:
                    before = middle
                else:
                    after = middle
            found.append(after)
        return np.array(found)

    def index_of(self, unix_s: FloatArray) -> IntArray:
        """Index (n,) of each instant's day; before the first and after the last, the nearest."""
        after = self.start_s.searchsorted(unix_s, side="right")
        index: IntArray = np.clip(after - 1, 0, len(self.dates) - 1)
        return index

    def clock_s(self, unix_s: FloatArray, day: IntArray) -> FloatArray:
        """Seconds since midnight that the clock shows at instants (n,) of days (n,); NaN for NaN."""
        first, last = self.offsets_s[day].T
        shown: FloatArray = np.mod(unix_s + first, _PLAIN_DAY_S)
        for k in np.flatnonzero((first != last) & np.isfinite(unix_s)):
            second = float(unix_s[k])
            shown[k] = np.mod(second + self._offset_s(second), _PLAIN_DAY_S)
        return shown

    def hour_starts(self) -> HourStarts:
        """Every whole hour of every day."""
        days, hours, seconds = [], [], []
        for k, date in enumerate(self.dates):
            if self.end_s[k] - self.start_s[k] == _PLAIN_DAY_S and len(set(self.offsets_s[k])) == 1:
                found = [(hour, float(self.start_s[k]) + HOUR_S * hour) for hour in range(24)]
            else:
                found = self._odd_day(date)
            days += [k] * len(found)
            hours += [hour for hour, _ in found]
            seconds += [second for _, second in found]
        return HourStarts(np.array(days), np.array(hours), np.array(seconds))

    def _odd_day(self, date: dt.date) -> list[tuple[int, float]]:
        found = set()
        for hour in range(24):
            for fold in (0, 1):
                moment = dt.datetime.combine(date, dt.time(hour, fold=fold), tzinfo=self.zone)
                back = dt.datetime.fromtimestamp(moment.timestamp(), self.zone)
                # PEP 495: only a time that the clocks leave out does not survive the round trip
                if back.replace(tzinfo=None) == moment.replace(tzinfo=None):
                    found.add((hour, moment.timestamp()))
        return sorted(found, key=lambda pair: pair[1])
