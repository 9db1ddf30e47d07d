"""Reading a forecast's samples at any moment: instants are interpolated between, means hold."""

from collections.abc import Iterable
from dataclasses import dataclass
from operator import attrgetter

import numpy as np

from noonframe.sky.forecast import WeatherSample
from noonframe.types import BoolArray, FloatArray, IntArray

LONGEST_GAP_S = 6.5 * 3600.0
"""Instants further apart than this are not interpolated between: providers thin out to 6 hours."""

HOLD_S = 3600.0
"""How long an instant stands for the time beside it where there is nothing to interpolate to."""

_FIELDS = (
    "cloud_low",
    "cloud_mid",
    "cloud_high",
    "cloud_total",
    "fog",
    "precipitation_mm_h",
    "global_w_m2",
)


@dataclass(frozen=True, eq=False)
class SampleTable:
    """Samples as columns (n,), NaN where a value is not told; in order of start."""

    start_s: FloatArray
    end_s: FloatArray
    value: dict[str, FloatArray]

    @property
    def is_mean(self) -> BoolArray:
        """Which rows stand for an interval; the others are instants."""
        return np.asarray(self.end_s > self.start_s)

    def told(self, name: str) -> BoolArray:
        """Which rows tell `name`."""
        return np.isfinite(self.value[name])

    def at(self, name: str, time_s: FloatArray) -> FloatArray:
        """`name` at instants (n,), NaN where nothing tells it.

        Instants are interpolated between, and held for an hour where there is no neighbour near enough; a
        mean that covers the moment goes before them, the shortest such mean first.
        """
        told, is_mean = self.told(name), self.is_mean
        instants = told & ~is_mean
        value = between(self.start_s[instants], self.value[name][instants], time_s)
        means = told & is_mean
        which = covering(self.start_s[means], self.end_s[means], time_s)
        inside = which >= 0
        value[inside] = self.value[name][means][which[inside]]
        return value


def table_of(samples: Iterable[WeatherSample]) -> SampleTable:
    """The samples as columns.  Where two tell the same instant or interval, both stay."""
    get = attrgetter("start_s", "end_s", *_FIELDS)
    rows = np.array([get(sample) for sample in samples], dtype=np.float64).reshape(-1, 2 + len(_FIELDS))
    rows = rows[np.argsort(rows[:, 0], kind="stable")]
    columns = {name: rows[:, 2 + index] for index, name in enumerate(_FIELDS)}
    return SampleTable(rows[:, 0], rows[:, 1], columns)


def mean_over_members(samples: Iterable[WeatherSample]) -> SampleTable:
    """The samples of an ensemble averaged over its members, value by value where told."""
    table = table_of(samples)
    span = np.stack([table.start_s, table.end_s], axis=1)
    spans, group = np.unique(span, axis=0, return_inverse=True)
    columns = {}
    for name, value in table.value.items():
        told = table.told(name)
        count = np.bincount(group[told], minlength=len(spans))
        total = np.bincount(group[told], weights=value[told], minlength=len(spans))
        columns[name] = np.divide(total, count, out=np.full(len(spans), np.nan), where=count > 0)
    return SampleTable(spans[:, 0], spans[:, 1], columns)


def between(instant_s: FloatArray, value: FloatArray, time_s: FloatArray) -> FloatArray:
    """Values at rising instants interpolated on to `time_s` (n,), by `LONGEST_GAP_S` and `HOLD_S`."""
    result = np.full(time_s.shape, np.nan)
    if instant_s.size == 0:
        return result
    right = np.searchsorted(instant_s, time_s, side="right")
    left = right - 1
    before, after = np.maximum(left, 0), np.minimum(right, instant_s.size - 1)
    gap = instant_s[after] - instant_s[before]
    inside = (left >= 0) & (right < instant_s.size) & (gap <= LONGEST_GAP_S)
    straight = np.interp(time_s, instant_s, value)
    to_left = np.where(left >= 0, time_s - instant_s[before], np.inf)
    to_right = np.where(right < instant_s.size, instant_s[after] - time_s, np.inf)
    held = np.where(to_left <= to_right, value[before], value[after])
    near = np.minimum(to_left, to_right) <= HOLD_S
    return np.where(inside, straight, np.where(near, held, np.nan))


def covering(start_s: FloatArray, end_s: FloatArray, time_s: FloatArray) -> IntArray:
    """Index of the shortest interval [start, end) that holds each moment of `time_s` (n,); -1 for none.

    Intervals of one length must not overlap each other; those of different lengths may.
    """
    found = np.full(time_s.shape, -1, dtype=np.int64)
    length = np.round(end_s - start_s)
    for one in np.unique(length)[::-1]:
        rows = np.flatnonzero(length == one)
        at = np.searchsorted(start_s[rows], time_s, side="right") - 1
        row = rows[np.maximum(at, 0)]
        inside = (at >= 0) & (time_s < end_s[row])
        found[inside] = row[inside]
    return found
