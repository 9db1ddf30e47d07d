"""From what is known of the sky to a complete state of it, with every gap filled and said."""

import datetime as dt
import math
from dataclasses import dataclass

from noonframe.errors import OutOfDomain
from noonframe.sky.climatology import DEFAULT_GROUND_ALBEDO, aerosol_default, ozone_climatology_du
from noonframe.sky.spectrum import SkyState
from noonframe.sky.words import SKY_WORDS, SkyWord, find_sky_word, uniform_cloud
from noonframe.sun.place import Place

MODEL_SPREAD_STOPS = 0.05
"""One standard deviation of the clear light against a full radiative-transfer run: about 3 %."""

AEROSOL_SPREAD_STOPS = 0.08
"""A factor of two on the default aerosol moves the UVA by 4-6 % at zeniths of 40-60 degrees."""

GIVEN_CLOUD_SPREAD_STOPS = 0.10


@dataclass(frozen=True)
class AssumedSky:
    """A state of the sky, its spread (one standard deviation of the light) and where each part came from.

    `air_spread_stops` is the part of the spread that has nothing to do with cloud.
    `evidence` is the cloud's source in plain words; `sources` maps each quantity to "given",
    "climatology" or "default".
    """

    state: SkyState
    spread_stops: float
    air_spread_stops: float
    evidence: str
    says: str
    word: SkyWord | None
    sources: tuple[tuple[str, str], ...]


def assume_sky(
    place: Place,
    day: dt.date,
    *,
    ozone_du: float | None = None,
    aerosol_optical_depth: float | None = None,
    ground_albedo: float | None = None,
    cloud_optical_depth: float | None = None,
    sky: str | None = None,
) -> AssumedSky:
    """Complete the sky over `place` on `day` from what is given.

    Nothing given about cloud means a clear sky, and the evidence says that it was assumed.  Raises
    `OutOfDomain` when a value is outside its range or when both a sky word and a cloud optical depth
    are given, `UnknownName` for an unknown word.
    """
    if sky is not None and cloud_optical_depth is not None:
        raise OutOfDomain("sky", sky, "left out when cloud_optical_depth is given (they say the same thing)")
    word: SkyWord | None = None
    if cloud_optical_depth is not None:
        cloud = uniform_cloud(cloud_optical_depth)
        spread = GIVEN_CLOUD_SPREAD_STOPS
        evidence, says = "cloud optical depth given", f"cloud of optical depth {cloud_optical_depth:g}"
    else:
        word = find_sky_word(sky) if sky is not None else SKY_WORDS["clear"]
        cloud, spread, says = word.parts, word.spread_stops, word.says
        evidence = f"sky seen: {word.id}" if sky is not None else "no sky given: clear assumed"
    aerosol = aerosol_default(place.elevation_m) if aerosol_optical_depth is None else aerosol_optical_depth
    ozone = ozone_climatology_du(place.latitude_deg, day) if ozone_du is None else ozone_du
    state = SkyState(
        ozone_du=ozone,
        aerosol_optical_depth=aerosol,
        ground_albedo=DEFAULT_GROUND_ALBEDO if ground_albedo is None else ground_albedo,
        pressure_hpa=place.pressure_hpa,
        cloud=cloud,
    )
    air = math.hypot(MODEL_SPREAD_STOPS, AEROSOL_SPREAD_STOPS if aerosol_optical_depth is None else 0.0)
    return AssumedSky(
        state=state,
        spread_stops=math.hypot(spread, air),
        air_spread_stops=air,
        evidence=evidence,
        says=says,
        word=word,
        sources=(
            ("ozone_du", "climatology" if ozone_du is None else "given"),
            ("aerosol_optical_depth", "default" if aerosol_optical_depth is None else "given"),
            ("ground_albedo", "default" if ground_albedo is None else "given"),
            ("pressure_hpa", "standard atmosphere"),
        ),
    )
