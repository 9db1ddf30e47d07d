"""A sky by script, for trying the service out without a provider: what it does when, and its light."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.sky.evidence_clear import clear_global_w_m2
from noonframe.sun.place import Place
from noonframe.sun.position import sun_track
from noonframe.types import FloatArray

_SUB_STEP_S = 60.0
_OZONE_DU = 300.0


@dataclass(frozen=True)
class Spell:
    """A stretch of one kind of sky, from `start_s` (unix seconds) until the next begins.

    `clear_sky_index` is global irradiance over that of a cloudless sky; covers and fog are fractions 0-1.
    """

    start_s: float
    clear_sky_index: float = 1.0
    cloud_low: float = 0.0
    cloud_mid: float = 0.0
    cloud_high: float = 0.0
    fog: float = 0.0
    precipitation_mm_h: float = 0.0


@dataclass(frozen=True)
class ScriptedSky:
    """Spells in the order of time; the first also holds before its start, the last for ever."""

    spells: tuple[Spell, ...]
    elevation_m: float = 0.0
    aerosol_optical_depth: float = 0.1

    def __post_init__(self) -> None:
        starts = [spell.start_s for spell in self.spells]
        if not starts or starts != sorted(set(starts)):
            raise OutOfDomain("spells", starts, "at least one, in the order of time")

    def at(self, unix_s: FloatArray) -> dict[str, FloatArray]:
        """The fields of `Spell` at times (n,), each of shape (n,)."""
        starts = np.array([spell.start_s for spell in self.spells])
        row = np.maximum(np.searchsorted(starts, unix_s, side="right") - 1, 0)
        names = [f.name for f in fields(Spell)]
        return {n: np.array([getattr(s, n) for s in self.spells], dtype=np.float64)[row] for n in names}

    def cloud_total(self, unix_s: FloatArray) -> FloatArray:
        """Cover of all layers with random overlap, (n,)."""
        sky = self.at(unix_s)
        clear: FloatArray = (1.0 - sky["cloud_low"]) * (1.0 - sky["cloud_mid"]) * (1.0 - sky["cloud_high"])
        return 1.0 - clear


@dataclass(frozen=True, eq=False)
class IntervalLight:
    """Means over the intervals asked for, (n,)."""

    global_w_m2: FloatArray
    diffuse_w_m2: FloatArray
    uv_index: FloatArray
    uv_index_clear: FloatArray
    precipitation_mm_h: FloatArray


def mean_light(
    sky: ScriptedSky, place: Place, end_s: FloatArray, length_s: float, shift_s: float = 0.0
) -> IntervalLight:
    """Light over the intervals of `length_s` that end at `end_s` (n,), from minute to minute.

    With `shift_s` the script runs that much earlier, under the same sun.
    """
    count = round(length_s / _SUB_STEP_S)
    offsets = -length_s + (np.arange(count) + 0.5) * _SUB_STEP_S
    times = (end_s[:, None] + offsets).ravel()
    clear, diffuse_of_clear, uv_clear = _clear_light(place, times.tobytes(), sky.aerosol_optical_depth)
    now = sky.at(times + shift_s)
    index = now["clear_sky_index"]

    def mean(values: FloatArray) -> FloatArray:
        found: FloatArray = values.reshape(end_s.size, count).mean(axis=1)
        return found

    # half-covered, the beam is gone by half: what is left of the whole beyond that is diffuse
    beam = (clear - diffuse_of_clear) * np.clip(2.0 * index - 1.0, 0.0, 1.0)
    return IntervalLight(
        global_w_m2=mean(clear * index),
        diffuse_w_m2=mean(clear * index - beam),
        uv_index=mean(uv_clear * index),
        uv_index_clear=mean(uv_clear),
        precipitation_mm_h=mean(now["precipitation_mm_h"]),
    )


@lru_cache(maxsize=8)
def _clear_light(
    place: Place, unix_s: bytes, aerosol_optical_depth: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    from pvlib.irradiance import erbs

    times = np.frombuffer(unix_s)
    zenith_deg = sun_track(place, times).zenith_deg
    clear = clear_global_w_m2(place, times, aerosol_optical_depth)
    day_of_year = (times / 86400.0) % 365.2425 + 1.0
    # Erbs, Klein and Duffie (1982), Solar Energy 28, 293-302
    diffuse = np.nan_to_num(np.asarray(erbs(clear, zenith_deg, day_of_year)["dhi"], dtype=np.float64))
    return clear, np.clip(diffuse, 0.0, clear), clear_uv_index(zenith_deg)


def clear_uv_index(zenith_deg: FloatArray, ozone_du: float = _OZONE_DU) -> FloatArray:
    """UV index of a cloudless sky at sea level: Madronich (2007), Photochem. Photobiol. 83, 1537-1538."""
    up = np.maximum(np.cos(np.radians(zenith_deg)), 0.0)
    index: FloatArray = 12.5 * up**2.42 * (ozone_du / 300.0) ** -1.23
    return index


def quayside_sky(noon_s: float) -> ScriptedSky:
    """A day at the Quayside Print Room around `noon_s`: mist, sun, passing cloud, a shower, a clear evening.

    Offsets in minutes; covers and indices are made up to have every kind of sky within some hours.
    """
    rows: Sequence[tuple[float, float, float, float, float, float, float]] = (
        # minutes, index, low, mid, high, fog, rain
        (-720, 0.45, 0.9, 0.0, 0.0, 0.6, 0.0),
        (-180, 1.0, 0.0, 0.0, 0.1, 0.0, 0.0),
        (25, 0.4, 0.8, 0.1, 0.1, 0.0, 0.0),
        (37, 1.0, 0.1, 0.0, 0.1, 0.0, 0.0),
        (58, 0.3, 0.9, 0.2, 0.1, 0.0, 0.0),
        (66, 0.95, 0.1, 0.0, 0.3, 0.0, 0.0),
        (150, 0.15, 1.0, 0.9, 0.5, 0.0, 2.4),
        (210, 0.7, 0.4, 0.2, 0.2, 0.0, 0.0),
        (720, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    )
    return ScriptedSky(tuple(Spell(noon_s + 60.0 * r[0], *r[1:]) for r in rows), elevation_m=80.0)
