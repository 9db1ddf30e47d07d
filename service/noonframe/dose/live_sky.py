"""What the sky did during an exposure: the forecast, what was seen, what was measured.

A sky that was seen holds for as long as it is vouched for; then it goes over to the forecast, with weight

    w(t) = exp(-(t - t_seen - vouched) / persistence)

on the rate under the sky seen and 1 - w on the forecast's.  That is the mean of the two-state process by
which the skies ahead are sampled.  A later report takes over at its own time.

Whoever tells of the sky and stands by would tell of a change too, so silence says that there was none.  For
how long it says so, the teller may tell (0 for a single look).  Where they did not, it holds up to the next
report, an hour at most, and the last report for as long as the settings say.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from noonframe.dose.live_events import LONGEST_VOUCH_S, SkySeen
from noonframe.dose.live_light import MINUTE_S, SpotLight, straight_times_exponential
from noonframe.dose.live_meter import NO_METER, MeterTrack
from noonframe.sky.evidence import CloudCourse
from noonframe.types import BoolArray, FloatArray, IntArray

LN2 = float(np.log(2.0))


@dataclass(frozen=True, eq=False)
class Light:
    """Light at `k` moments, as means over the sheet.

    `mean_w_m2` (k,) is the expected rate before any meter, `sun_w_m2` (k,) the one with the sun out;
    `standing_w_m2` (k,) is one standard deviation of what stays wrong for long (how thick a cloud is),
    `switching_w_m2` (k,) of what changes with every cloud.
    """

    mean_w_m2: FloatArray
    sun_w_m2: FloatArray
    standing_w_m2: FloatArray
    switching_w_m2: FloatArray

    @property
    def spread_stops(self) -> FloatArray:
        """One standard deviation of all that cloud may do (k,)."""
        spread = np.hypot(self.standing_w_m2, self.switching_w_m2)
        return np.divide(spread, LN2 * self.mean_w_m2, out=np.zeros_like(spread), where=self.mean_w_m2 > 0.0)


@dataclass(frozen=True, eq=False)
class Gain:
    """What `k` pieces of time add: dose (k, n_point), and for its errors (k,) as of `Light`, per second.

    `fresh` (k,) marks pieces that begin with a sky just seen, whose errors owe nothing to those before.
    """

    end_s: FloatArray
    length_s: FloatArray
    dose_j_m2: FloatArray
    standing_w_m2: FloatArray
    switching_w_m2: FloatArray
    fresh: BoolArray


class SkyTrack:
    """The light along an exposure, from where the frame lay and what was seen and measured.

    `spots` holds the light of each place and the moments from which the frame lay there, the first from the
    start on; `covers` the stretches without light; `skies` what was seen, by rising time.
    """

    def __init__(
        self,
        spots: Sequence[tuple[float, SpotLight]],
        covers: Sequence[tuple[float, float]],
        skies: Sequence[SkySeen],
        course: CloudCourse | None,
        *,
        persistence_s: float,
        vouched_s: float,
    ) -> None:
        self._spots = [spot for _, spot in spots]
        self._moves_s = np.array([at_s for at_s, _ in spots[1:]])
        self._cover_s = np.array([end for stretch in covers for end in stretch])
        self.skies = tuple(skies)
        self._seen_s = np.array([sky.at_s for sky in skies])
        vouched = [LONGEST_VOUCH_S if sky.vouched_s is None else sky.vouched_s for sky in skies]
        if skies and skies[-1].vouched_s is None:
            vouched[-1] = vouched_s
        self._until_s = self._seen_s + np.array(vouched)
        self._course_s = np.empty(0) if course is None else course.edges_s
        self.persistence_s = persistence_s
        self.points = max(spot.weights.size for spot in self._spots)
        self.meter: MeterTrack = NO_METER
        self._marks_s = self._all_marks()

    def with_meter(self, meter: MeterTrack) -> "SkyTrack":
        """The same, with readings: set once, before any dose is asked for."""
        self.meter = meter
        self._marks_s = self._all_marks()
        return self

    def _all_marks(self) -> FloatArray:
        cover_s = self._cover_s[np.isfinite(self._cover_s)]
        parts = [self._moves_s, cover_s, self._seen_s, self._until_s, self._course_s, self.meter.marks_s]
        return np.unique(np.concatenate(parts))

    def sky_at(self, time_s: float) -> int:
        """Index of the sky seen last by `time_s`; -1 for none."""
        return int(self._seen_s.searchsorted(time_s, side="right")) - 1

    def known_until_s(self, sky: int) -> float:
        """Until when a sky seen is vouched for."""
        return float(self._until_s[sky])

    def weight(self, sky: int, time_s: float) -> float:
        """Weight of what was seen at `time_s`, 0 to 1; 0 where nothing was."""
        if sky < 0:
            return 0.0
        return float(np.exp(-max(time_s - float(self._until_s[sky]), 0.0) / self.persistence_s))

    @property
    def places(self) -> tuple[SpotLight, ...]:
        """The light of each place, in the order of the moves."""
        return tuple(self._spots)

    def spot_at(self, time_s: float) -> SpotLight:
        """Where the frame lay."""
        return self._spots[int(self._moves_s.searchsorted(time_s, side="right"))]

    def light(self, time_s: FloatArray) -> Light:
        """The light at moments (k,); at a moment of change, that after it."""
        return self._light_of(self._ends(time_s, time_s)[0], self._seen_at(time_s, time_s))

    def gain(self, from_s: float, to_s: float) -> Gain:
        """What the sheet gains between two moments, in pieces that end wherever something changes."""
        first, last = self._marks_s.searchsorted([from_s, to_s])
        minutes = np.arange(np.floor(from_s / MINUTE_S) + 1.0, np.ceil(to_s / MINUTE_S)) * MINUTE_S
        inner = np.concatenate([minutes, self._marks_s[first:last]])
        edges = np.unique(np.concatenate([[from_s], inner[(inner > from_s) & (inner < to_s)], [to_s]]))
        begin, end = edges[:-1], edges[1:]
        middle, length = 0.5 * (begin + end), end - begin
        seen = self._seen_at(middle, begin)
        low, high = self._ends(middle, begin, end)
        meter = self.meter.at(middle, begin)
        # (forecast + w (seen - forecast)) times the meter's factor: lines times exponentials, exactly
        dose = np.zeros((length.size, self.points))
        for scale, per_s in meter.terms:
            dose += scale[:, None] * straight_times_exponential(low.forecast, high.forecast, per_s, length)
            if seen.any:
                apart_low, apart_high = (line.seen - line.forecast for line in (low, high))
                apart = straight_times_exponential(apart_low, apart_high, per_s - seen.fading_per_s, length)
                dose += (scale * seen.weight)[:, None] * apart
        lit = self._lit(middle)
        light = self._light_of(self._ends(middle, middle)[0], self._seen_at(middle, middle))
        factor = lit * meter.factor_at_middle(length)
        standing, switching = meter.spread(light.mean_w_m2, light.standing_w_m2, light.switching_w_m2)
        fresh = np.isin(begin, self._seen_s)
        return Gain(end, length, dose * lit[:, None], standing * factor, switching * factor, fresh)

    def _lit(self, middle: FloatArray) -> FloatArray:
        """1 where the frame lay open, 0 where it was covered (k,)."""
        return np.where(self._cover_s.searchsorted(middle, side="right") % 2, 0.0, 1.0)

    def _seen_at(self, middle: FloatArray, begin: FloatArray) -> "_Seen":
        index = self._seen_s.searchsorted(middle, side="right") - 1
        weight, fading = np.zeros(middle.size), np.zeros(middle.size)
        some = index >= 0
        if some.any():
            until = self._until_s[index[some]]
            over = middle[some] > until
            since = np.where(over, np.maximum(begin[some] - until, 0.0), 0.0)
            weight[some] = np.exp(-since / self.persistence_s)
            fading[some] = over / self.persistence_s
        return _Seen(index, weight, fading)

    def _ends(self, middle: FloatArray, *moments: FloatArray) -> list["_Line"]:
        """Rates at moments (k,) of the pieces around `middle`, for every point of the sheet."""
        lines = [_Line.zeros(middle.size, self.points) for _ in moments]
        spot_index = self._moves_s.searchsorted(middle, side="right")
        sky_index = self._seen_s.searchsorted(middle, side="right") - 1
        for number in np.unique(spot_index):
            spot = self._spots[number]
            spot.reach(float(middle[spot_index == number][-1]))
            here = np.flatnonzero(spot_index == number)
            cell = spot.cell_of(middle[here])
            for line, moment in zip(lines, moments, strict=True):
                line.forecast[here] = spot.forecast(cell, moment[here])
                line.forecast_mean[here] = spot.forecast(cell, moment[here]) @ spot.weights
                line.sun_mean[here] = spot.sun(cell, moment[here])
                line.cover[here], line.spread_stops[here] = spot.cover[cell], spot.spread_stops[cell]
            for sky in np.unique(sky_index[here]):
                if sky < 0:
                    continue
                word = self.skies[sky].word
                under = sky_index[here] == sky
                for line, moment in zip(lines, moments, strict=True):
                    rate = spot.seen(word.parts, cell[under], moment[here[under]])
                    line.seen[here[under]] = rate
                    line.seen_mean[here[under]] = rate @ spot.weights
                    line.seen_spread_stops[here[under]] = word.spread_stops
        return lines

    def _light_of(self, line: "_Line", seen: "_Seen") -> Light:
        weight, rest = seen.weight, 1.0 - seen.weight
        mean = weight * line.seen_mean + rest * line.forecast_mean
        standing = LN2 * (
            weight * line.seen_mean * line.seen_spread_stops + rest * line.forecast_mean * line.spread_stops
        )
        # sun and cloud have the forecast's mean: their distance follows from the sun's rate and the cover
        open_share = np.divide(1.0 - line.cover, line.cover, out=np.zeros(mean.size), where=line.cover > 0.0)
        two_state = open_share * (line.sun_mean - line.forecast_mean) ** 2
        switching = rest * two_state + weight * rest * (line.seen_mean - line.forecast_mean) ** 2
        return Light(mean, line.sun_mean, standing, np.sqrt(switching))


@dataclass(frozen=True, eq=False)
class _Seen:
    """Which sky was seen last (k,), -1 for none; its weight at the begin of a piece and how that fades."""

    index: IntArray
    weight: FloatArray
    fading_per_s: FloatArray

    @property
    def any(self) -> bool:
        return bool((self.index >= 0).any())


@dataclass(frozen=True, eq=False)
class _Line:
    """Rates (k, n_point) at one moment of each piece; `*_mean` are means over the sheet (k,)."""

    forecast: FloatArray
    seen: FloatArray
    forecast_mean: FloatArray
    seen_mean: FloatArray
    sun_mean: FloatArray
    cover: FloatArray
    spread_stops: FloatArray
    seen_spread_stops: FloatArray

    @classmethod
    def zeros(cls, count: int, points: int) -> "_Line":
        flat = [np.zeros(count) for _ in range(6)]
        return cls(np.zeros((count, points)), np.zeros((count, points)), *flat)
