"""The wavelength boxes that every spectrum of the stack is given on."""

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.sky.optical_depth import WAVELENGTH_NM, WAVELENGTH_STEP_NM
from noonframe.types import FloatArray

__all__ = ["DOSE_HIGH_NM", "DOSE_LOW_NM", "HALF_BOX_NM", "WAVELENGTH_NM", "frozen_spectrum"]

HALF_BOX_NM = WAVELENGTH_STEP_NM / 2.0
"""The 41 boxes have their centres at `WAVELENGTH_NM`, 280 to 480 nm, and reach so far to either side."""

DOSE_LOW_NM = 300.0
DOSE_HIGH_NM = 480.0
"""The coat is taken to answer between these wavelengths only."""


def frozen_spectrum(field: str, values: FloatArray, lowest: float, highest: float) -> FloatArray:
    """Read-only copy of `values`, one finite number per box, each between `lowest` and `highest`.

    Raises `OutOfDomain` naming `field` when the shape or a value does not fit.
    """
    spectrum = np.array(values, dtype=np.float64)
    if spectrum.shape != WAVELENGTH_NM.shape:
        raise OutOfDomain(field, spectrum.shape, f"one value for each of the {WAVELENGTH_NM.size} boxes")
    bad = ~((spectrum >= lowest) & (spectrum <= highest))
    if bad.any():
        at = int(np.argmax(bad))
        where = f"{field} at {WAVELENGTH_NM[at]:.0f} nm"
        limit = f"at least {lowest:g}" if np.isinf(highest) else f"between {lowest:g} and {highest:g}"
        raise OutOfDomain(where, float(spectrum[at]), limit)
    spectrum.flags.writeable = False
    return spectrum
