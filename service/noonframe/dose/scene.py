"""One place, sky, spot and sheet put together: what a dose is asked of."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.sky.assume import AssumedSky
from noonframe.sky.words import COVERING_CLOUD_OPTICAL_DEPTH, CloudPart
from noonframe.spot.plane import OpenSpot
from noonframe.stack.curves import LightCurves, light_curves
from noonframe.stack.effective import dose_weights
from noonframe.stack.light import LightSeries, effective_on, light_on
from noonframe.stack.materials import Stack
from noonframe.stack.sensitizers import Sensitizer
from noonframe.sun.place import Place
from noonframe.sun.position import SunTrack, sun_track
from noonframe.types import FloatArray

Rate = Callable[[FloatArray], FloatArray]
"""Rate of dose [W m-2] at instants (n,) of unix seconds."""

RECIPROCITY_REFERENCE_W_M2 = 40.0
"""Irradiance at which a reciprocity exponent other than 1 changes nothing: glass and film, high sun."""


@dataclass(frozen=True)
class Target:
    """The dose a sheet needs, one standard deviation of its logarithm in stops, and who says so."""

    target_j_m2: float
    spread_stops: float
    source: str

    def __post_init__(self) -> None:
        if not (math.isfinite(self.target_j_m2) and 1.0 <= self.target_j_m2 <= 1e8):
            raise OutOfDomain("target_j_m2", self.target_j_m2, "between 1 and 100000000 J/m2")
        if not (math.isfinite(self.spread_stops) and 0.0 <= self.spread_stops <= 4.0):
            raise OutOfDomain("target_spread_stops", self.spread_stops, "between 0 and 4 stops")


@dataclass(frozen=True)
class Scene:
    """Where the sheet lies, under what sky, behind what and coated with what.

    `reciprocity_exponent` p is Schwarzschild's: a light k times weaker takes k**(1/p) times longer; 1 is
    plain reciprocity.  With p other than 1 the rate of dose is E_ref (E/E_ref)**(1/p).
    """

    place: Place
    sky: AssumedSky
    spot: OpenSpot
    stack: Stack
    sensitizer: Sensitizer
    near_ground_albedo: float
    reciprocity_exponent: float = 1.0

    def __post_init__(self) -> None:
        if not 0.7 <= self.reciprocity_exponent <= 1.1:
            raise OutOfDomain("reciprocity_exponent", self.reciprocity_exponent, "between 0.7 and 1.1")
        if not 0.0 <= self.near_ground_albedo <= 1.0:
            raise OutOfDomain("near_ground_albedo", self.near_ground_albedo, "between 0 and 1")

    @cached_property
    def curves(self) -> LightCurves:
        """Light of this scene as curves of the sun's height."""
        return light_curves(self.sky.state, self.stack, self.sensitizer)

    def track(self, unix_s: FloatArray) -> SunTrack:
        """The sun over the scene's place."""
        return sun_track(self.place, unix_s)

    def light(self, unix_s: FloatArray) -> LightSeries:
        """All the light at instants (n,)."""
        return light_on(self.curves, self.track(unix_s), self.spot, self.near_ground_albedo)

    def rate(self, unix_s: FloatArray) -> FloatArray:
        """Rate at which the sheet gathers dose at instants (n,).  [W m-2]"""
        effective = effective_on(self.curves, self.track(unix_s), self.spot, self.near_ground_albedo)
        return with_reciprocity(effective, self.reciprocity_exponent)

    def light_spread_stops(self) -> float:
        """One standard deviation of the light behind the stack: sky, air, model and materials."""
        # Any daylight spectrum weighs the sheets' spreads well enough; the coat's action dominates.
        return math.hypot(self.sky.spread_stops, self.stack.spread_stops(dose_weights(self.sensitizer)))

    def under(self, *cloud: CloudPart) -> "Scene":
        """The same scene under other cloud."""
        return replace(self, sky=replace(self.sky, state=replace(self.sky.state, cloud=cloud)))

    def sun_out(self) -> "Scene":
        """The same scene with the sun out and no cloud."""
        return self.under(CloudPart(1.0, 0.0))

    def covered(self) -> "Scene":
        """The same scene with an ordinary cloud before the sun."""
        return self.under(CloudPart(1.0, COVERING_CLOUD_OPTICAL_DEPTH))


def with_reciprocity(effective_w_m2: FloatArray, exponent: float) -> FloatArray:
    """Rate of dose for a Schwarzschild exponent; the light itself when it is 1."""
    if exponent == 1.0:
        return effective_w_m2
    reference = RECIPROCITY_REFERENCE_W_M2
    rate: FloatArray = reference * np.power(effective_w_m2 / reference, 1.0 / exponent)
    return rate
