"""From spectral light to the one number the coat answers to."""

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.stack.grid import DOSE_HIGH_NM, DOSE_LOW_NM, HALF_BOX_NM, WAVELENGTH_NM
from noonframe.stack.sensitizers import Sensitizer
from noonframe.types import FloatArray


def band_weights(low_nm: float, high_nm: float) -> FloatArray:
    """Nanometres of each box (centre ±2.5 nm) inside the band, shape (41,); they add up to the band's width.

    `spectral @ band_weights(315, 400)` is the UVA in W/m², `band_weights(400, 480)` gives the blue.
    Raises `OutOfDomain` for an empty band or one that leaves the boxes, 277.5-482.5 nm.
    """
    lowest, highest = WAVELENGTH_NM[0] - HALF_BOX_NM, WAVELENGTH_NM[-1] + HALF_BOX_NM
    if not lowest <= low_nm <= highest:
        raise OutOfDomain("low_nm", low_nm, f"between {lowest:g} and {highest:g}")
    if not low_nm < high_nm <= highest:
        raise OutOfDomain("high_nm", high_nm, f"above low_nm and at most {highest:g}")
    inside = np.minimum(WAVELENGTH_NM + HALF_BOX_NM, high_nm) - np.maximum(
        WAVELENGTH_NM - HALF_BOX_NM, low_nm
    )
    weights: FloatArray = np.maximum(inside, 0.0)
    return weights


def dose_weights(sensitizer: Sensitizer) -> FloatArray:
    """Action times nanometres in each box, shape (41,).  [nm]

    The boxes are whole, ±2.5 nm, and clipped to 300-480 nm: so the boxes at 300 and 480 nm count half and
    those below 300 nm not at all.
    """
    return sensitizer.action * band_weights(DOSE_LOW_NM, DOSE_HIGH_NM)


def effective_irradiance(
    spectral: FloatArray, stack_transmittance: FloatArray, sensitizer: Sensitizer
) -> FloatArray:
    """Effective irradiance at the coat, W/m², shape (n,): the integral of E T A over 300-480 nm.

    `spectral` (n, 41) is the light on the stack in W/m² per nm; `stack_transmittance` is (41,) or (n, 41).
    Call it once for the beam and once for the diffuse light, each with its own transmittance, and add.

    Raises `OutOfDomain` for a wrong shape, a negative or non-finite irradiance, or a transmittance
    outside 0 to 1.
    """
    boxes = WAVELENGTH_NM.size
    if spectral.ndim != 2 or spectral.shape[1] != boxes:
        raise OutOfDomain("spectral", spectral.shape, f"of shape (n, {boxes})")
    if stack_transmittance.shape not in ((boxes,), spectral.shape):
        raise OutOfDomain(
            "stack_transmittance", stack_transmittance.shape, f"of shape ({boxes},) or (n, {boxes})"
        )
    _require("spectral", spectral, np.isfinite(spectral) & (spectral >= 0.0), "finite and not negative")
    inside = (stack_transmittance >= 0.0) & (stack_transmittance <= 1.0)
    _require("stack_transmittance", stack_transmittance, inside, "between 0 and 1")
    effective: FloatArray = (spectral * stack_transmittance) @ dose_weights(sensitizer)
    return effective


def _require(
    field: str, values: FloatArray, good: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], limit: str
) -> None:
    if not np.all(good):
        raise OutOfDomain(field, float(values[~good][0]), limit)
