"""How an exposure is followed, and what is told of it."""

from dataclasses import dataclass
from pathlib import Path

from noonframe.dose.live_events import check_vouched
from noonframe.dose.live_timeline import LiveStatus
from noonframe.dose.scene import Target
from noonframe.dose.skies import Sampling
from noonframe.dose.skies_paths import PATHS, PERSISTENCE_S

VOUCHED_S = 1800.0
"""Whoever tells of the sky is taken to stand by, and to tell of the next change, for half an hour: as long as
most prints take.  Our own choice, no source."""


@dataclass(frozen=True)
class Following:
    """How an exposure is followed.

    `persistence_s` is how long on average the sky stays as it is; `vouched_s` for how long the sky seen last
    holds where its teller did not say; `paths` how many skies are looked at ahead.  `spectra_dir` holds the
    user's own materials, for a move behind another pane.
    """

    persistence_s: float = PERSISTENCE_S
    vouched_s: float = VOUCHED_S
    paths: int = PATHS
    spectra_dir: Path | None = None

    def __post_init__(self) -> None:
        check_vouched(self.vouched_s)
        Sampling(self.paths, self.persistence_s)

    @property
    def sampling(self) -> Sampling:
        """How the skies ahead are sampled."""
        return Sampling(self.paths, self.persistence_s)


@dataclass(frozen=True)
class AssumedNow:
    """The sky taken for now and why.

    `seen` is the word of the sky seen last, `seen_s` when, `weight` its share in what is taken (0-1), the
    forecast's being the rest; `evidence` is where that comes from.  `sun_out_share` is the chance that the
    sun is out; `metered` the factor that a meter put on the light, 1 without.
    """

    says: str
    evidence: str
    seen: str | None
    seen_s: float | None
    age_s: float | None
    weight: float
    sun_out_share: float
    metered: float


@dataclass(frozen=True)
class LiveState:
    """An exposure at `now_s`; times in unix seconds, doses and rates as effective light.

    `dose_j_m2` is the mean over the sheet, `dose_low_j_m2` and `dose_high_j_m2` its lowest and highest point;
    `dose_spread_stops` is one standard deviation of the mean, `rate_w_m2` what reaches the sheet now.
    `reached_s` is when the mean dose reached the target.  `end_s` (median), `end_low_s` and `end_high_s`
    (10 % and 90 %) are expected ends, None when the light goes first and for an exposure that has ended; for
    one that is covered or not started they hold if it goes on now.  `reached_share` is the chance that it
    gets there before `looked_until_s`, the dark if `dark_then`.  `waiting` counts events that lie ahead of
    the clock, `readings_unused` meter readings that could not be compared.
    """

    now_s: float
    status: LiveStatus
    start_s: float | None
    stopped_s: float | None
    target: Target
    dose_j_m2: float
    dose_low_j_m2: float
    dose_high_j_m2: float
    target_share: float
    dose_spread_stops: float
    rate_w_m2: float
    reached: bool
    reached_s: float | None
    over_stops: float
    end_s: float | None
    end_low_s: float | None
    end_high_s: float | None
    remaining_s: float | None
    remaining_sun_out_s: float | None
    remaining_clouded_s: float | None
    reached_share: float | None
    looked_until_s: float | None
    dark_then: bool
    sky: AssumedNow
    advice: str
    waiting: int
    readings_unused: int
