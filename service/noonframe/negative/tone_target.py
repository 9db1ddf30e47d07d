"""Which density a grey of the picture is to have in the print.

Two ways of being even, between the darkest and the lightest tone that the print is to have:

density      equal steps of code value become equal steps of print density, as a step wedge is read;
lightness    equal steps of the picture's CIE lightness become equal steps of the print's, as an eye sees it;
             middle tones come out lighter.
"""

from typing import Literal, get_args

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import decode
from noonframe.types import FloatArray

Evenness = Literal["density", "lightness"]
EVENNESSES: tuple[Evenness, ...] = get_args(Evenness)

_LIMIT = (6.0 / 29.0) ** 3  # CIE 15:2004, section 8.2.1
_SLOPE = (29.0 / 6.0) ** 2 / 3.0


def reflectance(density: FloatArray) -> FloatArray:
    """10**-D: reflectance (or transmittance) of density D, any shape."""
    out: FloatArray = 10.0 ** -np.asarray(density, dtype=np.float64)
    return out


def density_of(reflectance_share: FloatArray) -> FloatArray:
    """-log10 R of reflectances (or transmittances) above 0, any shape (ISO 5-1)."""
    out: FloatArray = -np.log10(reflectance_share)
    return out


def lightness(luminance: FloatArray) -> FloatArray:
    """CIE 1976 lightness L*, 0 to 100, of relative luminance Y / Yn, 0 to 1, any shape (CIE 15:2004)."""
    root = np.where(luminance > _LIMIT, np.cbrt(luminance), _SLOPE * luminance + 4.0 / 29.0)
    out: FloatArray = 116.0 * root - 16.0
    return out


def luminance_of(lightness_value: FloatArray) -> FloatArray:
    """Relative luminance of L*, any shape: the inverse of `lightness`."""
    root = (lightness_value + 16.0) / 116.0
    out: FloatArray = np.where(root > 6.0 / 29.0, root**3, (root - 4.0 / 29.0) / _SLOPE)
    return out


def wanted_density(share: FloatArray, darkest: float, lightest: float, even: Evenness) -> FloatArray:
    """Print density wanted of positive codes given as shares 0 to 1, any shape; falls from dark to light."""
    if even == "density":
        out: FloatArray = darkest + share * (lightest - darkest)
        return out
    if even != "lightness":
        raise OutOfDomain("even", even, f"one of {', '.join(EVENNESSES)}")
    dark, light = lightness(reflectance(np.array([darkest, lightest])))
    seen = lightness(decode(share)) / 100.0
    return density_of(luminance_of(dark + seen * (light - dark)))
