"""What lies on the sheet or is printed on the film: leaves, lace and paper, and a negative's clearest part.

Such things scatter, so they pass the same share at every angle.  An object named in the stack covers the
whole sheet, and the exposure is made through it; one that only lies on a part of the sheet changes nothing
for the rest, and `object_shadow` tells how much less light its own part gets.

A film negative is its base and, in its clearest parts, some ink or fog.  The catalogue's films are bases
without ink, so the density to give is that of the clearest part above the base; a density that was read
through base and ink together stands for both, and then no film may stand in the stack.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

import numpy as np

from noonframe.datafiles import read_columns, sidecar
from noonframe.errors import DataFileError, OutOfDomain
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.stack.sheets import Material
from noonframe.types import FloatArray

OPAQUE = "opaque"
"""The word for an object that lets nothing through; it has no place in a stack."""

HIGHEST_DENSITY = 4.0
DENSITY_SPREAD = 0.03
"""One standard deviation of a clearest density where nothing is said of it: common practice, no source."""

_FILE = "stack_objects.csv"


@lru_cache(maxsize=4)
def shipped_objects(folder: Path) -> MappingProxyType[str, Material]:
    """Objects by id, as sheets that may stand in a stack."""
    columns = read_columns(folder / _FILE)
    if not np.array_equal(columns["wavelength_nm"], WAVELENGTH_NM):
        raise DataFileError("wavelength_nm", _FILE, "must run from 280 to 480 nm by 5")
    return MappingProxyType(
        {
            identity: Material(
                id=identity,
                label=record["label"],
                kind="object",
                refractive_index=1.0,
                thickness_mm=None,
                transmittance=columns[identity],
                transmittance_low=columns[f"{identity}.low"],
                transmittance_high=columns[f"{identity}.high"],
                range_sigmas=record["range_sigmas"],
                provenance=record["provenance"],
                how_known="common practice",
                scatters=True,
            )
            for identity, record in sidecar(_FILE)["objects"].items()
        }
    )


@lru_cache(maxsize=256)
def negative_layer(density: float, density_spread: float, includes_base: bool) -> Material:
    """The clearest part of a negative, 10**-density at all wavelengths and angles, as a sheet of the stack.

    `density` is decadic, in the ultraviolet; `density_spread` one standard deviation of it.
    """
    if not 0.0 <= density <= HIGHEST_DENSITY:
        raise OutOfDomain("negative_density", density, f"between 0 and {HIGHEST_DENSITY:g}")
    if not 0.0 <= density_spread <= 1.0:
        raise OutOfDomain("negative_density_spread", density_spread, "between 0 and 1")
    likely, low, high = (
        np.full(WAVELENGTH_NM.shape, 10.0**-each)
        for each in (density, density + density_spread, max(density - density_spread, 0.0))
    )
    return Material(
        id=f"negative-{density:g}" + ("-with-base" if includes_base else ""),
        label=f"Clearest part of a negative, density {density:g}",
        kind="film",
        refractive_index=1.0,
        thickness_mm=None,
        transmittance=likely,
        transmittance_low=low,
        transmittance_high=high,
        range_sigmas=2.0,
        provenance="density as given",
        how_known="given",
        scatters=True,
    )


@dataclass(frozen=True)
class Shadow:
    """By how many stops less light an object's own part of the sheet gets; None: none at all."""

    stops: float | None
    low_stops: float | None
    high_stops: float | None

    @property
    def says(self) -> str:
        """How its part prints on a classic coat, whose tones span five or six stops (common practice)."""
        if self.stops is None:
            return "stays paper white"
        for most, words in (
            (0.75, "prints nearly as dark"),
            (2.5, "prints in middle tones"),
            (5.5, "prints pale"),
        ):
            if self.stops <= most:
                return words
        return "hardly prints"


def object_shadow(material: Material, weight: FloatArray) -> Shadow:
    """The shadow of an object under light (times action) `weight` (41,) that reaches it."""
    total = float(weight.sum())
    shares = [
        float(weight @ each) / total
        for each in (material.transmittance, material.transmittance_high, material.transmittance_low)
    ]
    likely, high, low = (None if share <= 0.0 else -math.log2(share) for share in shares)
    return Shadow(likely, high, low)


NO_LIGHT = Shadow(None, None, None)
