"""From a forecast to the cloud it tells of: how often before the sun, how thick, and how sure.

Every moment takes the best evidence there is.  Shortwave irradiance comes first: with it the ultraviolet is
known to 15 %, while judging cloud by its looks is 50 % and more out (Schwander et al. 2002, J. Geophys. Res.
107).  Then cloud by layers, then total cloud cover.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from noonframe.errors import OutOfDomain
from noonframe.sky.evidence_clear import SOLIS_LIMIT_AT_500_NM
from noonframe.sky.evidence_index import calibration
from noonframe.sky.evidence_pieces import Evidence, PieceReader, Pieces
from noonframe.sky.evidence_samples import mean_over_members, table_of
from noonframe.sky.forecast import Forecast, WeatherSample
from noonframe.sky.words import THICKEST_CLOUD, CloudPart
from noonframe.sun.place import Place
from noonframe.types import FloatArray, IntArray

__all__ = ["CloudCourse", "Evidence", "cloud_course", "steady_course"]

LONGEST_COURSE_S = 17 * 86400.0
_PIECE_S = 900.0
_REACH_S = 36 * 3600.0  # how far outside the span samples still help: neighbours and cloudless hours


@dataclass(frozen=True, eq=False)
class CloudCourse:
    """The cloud over a span of time in `k` pieces; unix seconds.

    `edges_s` (k+1,) rising.  In piece i cloud stands before the sun with probability `cover[i]` (k,), and has
    `optical_depth[i]` (k,) when it does; together they dim as the evidence says.  Where one is 0 so is the
    other.  `spread_stops` (k,) is one standard deviation of the mean light of the piece, `evidence` (k,) the
    words of `Evidence`.  Until `known_until_s` the course is told by the forecast; pieces "beyond the
    forecast" hold a usual sky.  `members` are the courses of an ensemble's members over the same edges; the
    course itself is then the control's, or the members' mean.  `notes` say what else there is to know.
    """

    edges_s: FloatArray
    cover: FloatArray
    optical_depth: FloatArray
    spread_stops: FloatArray
    evidence: npt.NDArray[np.str_]
    known_until_s: float
    members: tuple["CloudCourse", ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        count = self.edges_s.size - 1
        if count < 1 or not (np.isfinite(self.edges_s).all() and (np.diff(self.edges_s) > 0.0).all()):
            raise OutOfDomain("edges_s", self.edges_s.size, "two or more finite, rising times")
        limits = {"cover": 1.0, "optical_depth": THICKEST_CLOUD, "spread_stops": 4.0}
        for name, highest in limits.items():
            values = getattr(self, name)
            if values.shape != (count,) or not ((values >= 0.0) & (values <= highest)).all():
                raise OutOfDomain(name, values, f"one value from 0 to {highest:g} for each piece")

    @property
    def from_s(self) -> float:
        """Where the course begins."""
        return float(self.edges_s[0])

    @property
    def to_s(self) -> float:
        """Where the course ends."""
        return float(self.edges_s[-1])

    def piece_of(self, time_s: FloatArray) -> IntArray:
        """Index of the piece that holds each moment of `time_s` (n,); `OutOfDomain` outside the course."""
        inside = (time_s >= self.edges_s[0]) & (time_s <= self.edges_s[-1])  # false for NaN
        if not inside.all():
            worst = float(time_s[~inside].flat[0])
            raise OutOfDomain(
                "time_s", worst, f"between {self.from_s:.0f} and {self.to_s:.0f}, the cloud's course"
            )
        last = self.cover.size - 1
        return np.minimum(np.searchsorted(self.edges_s, time_s, side="right") - 1, last).astype(np.int64)


def steady_course(
    cloud: tuple[CloudPart, ...], from_s: float, to_s: float, spread_stops: float, evidence: str
) -> CloudCourse:
    """A course in which the sky stays as it is, such as a sky seen.

    Raises `OutOfDomain` when `cloud` holds more than one state with cloud: a course knows one at a time.
    """
    cloudy = [part for part in cloud if part.optical_depth > 0.0 and part.probability > 0.0]
    if len(cloudy) > 1:
        raise OutOfDomain("cloud", cloud, "open sky and at most one state with cloud")
    cover, depth = (cloudy[0].probability, cloudy[0].optical_depth) if cloudy else (0.0, 0.0)
    return CloudCourse(
        edges_s=np.array([from_s, to_s], dtype=np.float64),
        cover=np.array([cover]),
        optical_depth=np.array([depth]),
        spread_stops=np.array([spread_stops]),
        evidence=np.array([evidence]),
        known_until_s=to_s,
    )


def cloud_course(
    forecast: Forecast, place: Place, from_s: float, to_s: float, aerosol_optical_depth: float
) -> CloudCourse:
    """The cloud that `forecast` tells of over `place` from `from_s` to `to_s` (unix seconds, up to 17 days).

    `aerosol_optical_depth` at 500 nm must be that of the clear sky which the course will dim.  The share of a
    mean belongs to its whole interval, and the clear sky it is compared with is integrated over the same one.
    Over snow the shortwave evidence reads too little cloud.  Raises `OutOfDomain` for a bad span.
    """
    if not (np.isfinite([from_s, to_s]).all() and 0.0 < to_s - from_s <= LONGEST_COURSE_S):
        raise OutOfDomain("to_s", to_s, "after from_s, by 17 days at most")
    near = [s for s in forecast.samples if s.end_s >= from_s - _REACH_S and s.start_s <= to_s + _REACH_S]
    by_member: dict[int, list[WeatherSample]] = {}
    for sample in near:
        by_member.setdefault(sample.member, []).append(sample)
    numbers = sorted(number for number in by_member if number > 0)
    notes: list[str] = []
    if 0 in by_member or not numbers:
        table = table_of(by_member.get(0, []))
    else:
        table = mean_over_members(near)
        notes.append("no control run: the mean of the members")
    edges = _edges(near, from_s, to_s)
    reader = PieceReader(place, edges, aerosol_optical_depth, (forecast.low_top_m, forecast.mid_top_m))
    index = reader.index(table)
    found = calibration(index)
    scale = 1.0 if found is None else found
    if found is not None:
        notes.append(f"clear-sky irradiance scaled by {scale:.2f}, by the forecast's own cloudless hours")
    if aerosol_optical_depth > SOLIS_LIMIT_AT_500_NM:
        notes.append("haze beyond the clear-sky model's fit: the shortwave evidence is less sure")
    own = reader.read(table, index, scale)
    if own.disagree.any():
        notes.append("shortwave irradiance and cloud cover disagree strongly: spread widened")
    members = []
    for number in numbers:
        theirs = table_of(by_member[number])
        pieces = reader.read(theirs, reader.index(theirs), scale, is_member=True)
        members.append(_course(edges, pieces.filled_from(own)))
    return _course(edges, own, tuple(members), tuple(notes))


def _edges(samples: list[WeatherSample], from_s: float, to_s: float) -> FloatArray:
    """Quarter hours and the ends of every interval told of, within the span."""
    quarters = np.arange(np.ceil(from_s / _PIECE_S), to_s / _PIECE_S) * _PIECE_S
    ends = np.array([(s.start_s, s.end_s) for s in samples if s.end_s > s.start_s], dtype=np.float64)
    inside = np.concatenate([quarters, ends.ravel()])
    inside = inside[(inside > from_s) & (inside < to_s)]
    return np.unique(np.concatenate([[from_s, to_s], inside]))


def _course(
    edges_s: FloatArray,
    pieces: Pieces,
    members: tuple[CloudCourse, ...] = (),
    notes: tuple[str, ...] = (),
) -> CloudCourse:
    beyond = np.flatnonzero(pieces.evidence == Evidence.BEYOND.value)
    return CloudCourse(
        edges_s=edges_s,
        cover=pieces.cover,
        optical_depth=pieces.optical_depth,
        spread_stops=pieces.spread_stops,
        evidence=pieces.evidence,
        known_until_s=float(edges_s[beyond[0]] if beyond.size else edges_s[-1]),
        members=members,
        notes=notes,
    )
