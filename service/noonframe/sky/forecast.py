"""The one shape that every weather provider's answer is brought into.

Instants and means are kept apart: an `instant` sample holds at its time, a `mean` sample over its whole
interval, whichever way the provider counts.  None means "not told", never zero.
"""

import math
from dataclasses import dataclass, field
from enum import StrEnum

from noonframe.errors import OutOfDomain


class SampleKind(StrEnum):
    """What a sample's numbers stand for."""

    INSTANT = "instant"
    MEAN = "mean"


@dataclass(frozen=True)
class WeatherSample:
    """Numbers for one instant (`start_s == end_s`) or one interval; unix seconds.

    Cloud fractions 0-1 by layer and in all; irradiances in W/m2 on level ground (`direct_normal_w_m2`
    faces the sun); `member` counts an ensemble's members from 1, and is 0 for the single or control run.
    """

    kind: SampleKind
    start_s: float
    end_s: float
    cloud_low: float | None = None
    cloud_mid: float | None = None
    cloud_high: float | None = None
    cloud_total: float | None = None
    fog: float | None = None
    global_w_m2: float | None = None
    diffuse_w_m2: float | None = None
    direct_normal_w_m2: float | None = None
    uv_index: float | None = None
    uv_index_clear: float | None = None
    visibility_m: float | None = None
    aerosol_optical_depth_550: float | None = None
    precipitation_mm_h: float | None = None
    member: int = 0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.start_s) and math.isfinite(self.end_s) and self.end_s >= self.start_s):
            raise OutOfDomain("end_s", self.end_s, "finite and not before start_s")
        if (self.kind is SampleKind.INSTANT) != (self.end_s == self.start_s):
            raise OutOfDomain("kind", self.kind.value, "instant exactly when start and end are the same")
        for name in ("cloud_low", "cloud_mid", "cloud_high", "cloud_total", "fog"):
            value = getattr(self, name)
            if value is not None and not 0.0 <= value <= 1.0:
                raise OutOfDomain(name, value, "between 0 and 1, or not told")
        for name in ("global_w_m2", "diffuse_w_m2", "direct_normal_w_m2", "uv_index", "uv_index_clear"):
            value = getattr(self, name)
            if value is not None and not 0.0 <= value <= 2000.0:
                raise OutOfDomain(name, value, "between 0 and 2000, or not told")


@dataclass(frozen=True)
class Forecast:
    """A provider's answer for one place.

    `low_top_m` and `mid_top_m` are the heights above ground where the provider divides low, middle and high
    cloud.  `latitude_deg` and `longitude_deg` are those of the provider's grid cell.  Samples are in time
    order, instants and means mixed.  All times in unix seconds; `issued_s` is None where it is not told.
    """

    provider: str
    model: str
    attribution: str
    latitude_deg: float
    longitude_deg: float
    issued_s: float | None
    fetched_s: float
    expires_s: float
    low_top_m: float
    mid_top_m: float
    samples: tuple[WeatherSample, ...] = field(repr=False)
