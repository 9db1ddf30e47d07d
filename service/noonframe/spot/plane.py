"""A frame under the open sky: level or tilted, with a skyline around it."""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.spot.skyline import Skyline
from noonframe.types import BoolArray, FloatArray


@dataclass(frozen=True)
class Aim:
    """How the frame faces: tilt from level (0-90) and the azimuth it leans toward (0-360, from north)."""

    tilt_deg: float = 0.0
    aim_azimuth_deg: float = 180.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.tilt_deg <= 90.0:
            raise OutOfDomain("tilt_deg", self.tilt_deg, "between 0 (level) and 90 (upright)")
        if not 0.0 <= self.aim_azimuth_deg <= 360.0:
            raise OutOfDomain("aim_azimuth_deg", self.aim_azimuth_deg, "0 to 360, clockwise from north")

    @property
    def normal(self) -> tuple[float, float, float]:
        """Unit normal of the frame: east, north, up."""
        tilt, azimuth = math.radians(self.tilt_deg), math.radians(self.aim_azimuth_deg)
        level = math.sin(tilt)
        return level * math.sin(azimuth), level * math.cos(azimuth), math.cos(tilt)


@dataclass(frozen=True)
class OpenSpot:
    """Open ground: an aim and, where there are walls or trees, a skyline."""

    aim: Aim = Aim()
    skyline: Skyline | None = None

    @property
    def is_plain(self) -> bool:
        """Level and with nothing around: light then depends on the sun's height alone."""
        return self.aim.tilt_deg == 0.0 and self.skyline is None


@dataclass(frozen=True)
class PlaneView:
    """What a plane sees at `n` instants.

    `cos_incidence` (n,) of the sun, negative from behind; `sun_clear` (n,) false where the skyline hides
    the sun; `sky_share` and `ground_share` weigh isotropic sky and ground light on the plane, in units of
    what a level, open plane would receive.
    """

    cos_incidence: FloatArray
    sun_clear: BoolArray
    sky_share: float
    ground_share: float


def plane_view(spot: OpenSpot, sun_vector: FloatArray) -> PlaneView:
    """View of `spot` toward suns (n, 3) of unit vectors east, north, up (refracted).

    The ground fills what a tilted plane sees below the horizon, (1 - cos tilt)/2; walls of a skyline
    give no light back, which is on the dark side by a few per cent beside pale walls.
    """
    east, north, up = spot.aim.normal
    cos_incidence = sun_vector @ np.array([east, north, up])
    tilt = math.radians(spot.aim.tilt_deg)
    if spot.skyline is None:
        clear: BoolArray = np.ones(cos_incidence.shape, dtype=np.bool_)
        sky_share = (1.0 + math.cos(tilt)) / 2.0
    else:
        clear = ~spot.skyline.blocks(sun_vector)
        sky_share = spot.skyline.open_sky_fraction(spot.aim.tilt_deg, spot.aim.aim_azimuth_deg)
    return PlaneView(cos_incidence, clear, sky_share, (1.0 - math.cos(tilt)) / 2.0)
