"""The colour of a print of iron blue on paper, for a screen: from print density to sRGB.

The luminance of every colour is 10**-density, exactly; only the hue is modelled.  The blue absorbs in one
broad band about 14 100 cm-1, 6 100 cm-1 wide at half its height [1], over an even share that stands for its
other bands and for the blue's lumps (chosen so that a deep tone is the navy that prints are seen to have:
common practice, no source).  Layer and paper scatter, so reflectance follows [2], with a little that the
surface throws back unchanged.  Spectra become colours by [3], in an even light adapted to D65.  Colours that
a screen does not have are drawn towards grey of the same luminance.

[1] Robin, M. B. (1962), The color and electronic configurations of Prussian blue, Inorg. Chem. 1, 337-342
    (from memory).
[2] Kubelka, P. & Munk, F. (1931), Ein Beitrag zur Optik der Farbanstriche, Z. tech. Phys. 12, 593-601.
[3] Wyman, C., Sloan, P.-P. & Shirley, P. (2013), Simple analytic approximations to the CIE XYZ color
    matching functions, J. Comput. Graph. Tech. 2(2), 1-11 (from memory).
"""

import math
import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from noonframe.errors import Malformed, OutOfDomain
from noonframe.negative.code import decode, encode
from noonframe.types import FloatArray

PAPER_COLOUR = "#fbf7ec"
"""Of washed cotton paper, a little warm (common practice, no source); only its hue counts."""

MODEL = "one absorption band of the blue, scattered by layer and paper"
_BAND_PER_CM, _WIDTH_PER_CM = 14_100.0, 6_100.0  # [1]
_EVEN_SHARE = 0.08
_SURFACE = 0.005
_HIGHEST = 4.0
_NODES = 321

# [3]: weight, centre in nm, and width below and above it
_X = ((1.056, 599.8, 37.9, 31.0), (0.362, 442.0, 16.0, 26.7), (-0.065, 501.1, 20.4, 26.2))
_Y = ((0.821, 568.8, 46.9, 40.5), (0.286, 530.9, 16.3, 31.1))
_Z = ((1.217, 437.0, 11.8, 36.0), (0.681, 459.0, 26.0, 13.8))
# IEC 61966-2-1, XYZ to linear sRGB; its rows sum to the white D65
_TO_RGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]], dtype=np.float64
)
_D65 = np.array([0.9505, 1.0, 1.0890])
_LUMA = np.array([0.2126, 0.7152, 0.0722])

RgbTable = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class PrintColour:
    """Colours of prints on one paper: sRGB 0 to 255 (n, 3) over densities (n,) from D_min on."""

    d_min: float
    paper: str = PAPER_COLOUR

    def __post_init__(self) -> None:
        paper_tint(self.paper)
        if not (math.isfinite(self.d_min) and -0.2 <= self.d_min <= 2.0):
            raise OutOfDomain("d_min", self.d_min, "between -0.2 and 2")

    def rgb(self, density: FloatArray) -> RgbTable:
        """sRGB (n, 3) of densities (n,); what is lighter than white is shown white."""
        steps, colours = _scale(round(self.d_min, 4), self.paper)
        linear = np.stack([np.interp(density, steps, colours[:, each]) for each in range(3)], axis=-1)
        luminance = np.minimum(10.0**-density, 1.0)
        linear *= (luminance / np.maximum(linear @ _LUMA, 1e-9))[:, None]
        shown: RgbTable = np.rint(255.0 * encode(_within(linear, luminance))).astype(np.uint8)
        return shown


def paper_tint(colour: str) -> FloatArray:
    """Linear sRGB (3,) of a paper written as #rrggbb, scaled to a luminance of 1."""
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", colour):
        raise Malformed("paper_colour", colour, "must be written as #rrggbb, such as #fbf7ec")
    linear = decode(np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255.0)
    luminance = float(linear @ _LUMA)
    if luminance < 0.3:
        raise OutOfDomain("paper_colour", colour, "a light colour: it is that of the paper without a tone")
    tint: FloatArray = linear / luminance
    return tint


@lru_cache(maxsize=32)
def _scale(d_min: float, paper: str) -> tuple[FloatArray, FloatArray]:
    """Densities (n,) rising, and linear sRGB (n, 3) of each."""
    wavelength_nm = np.arange(380.0, 781.0, 5.0)
    wavenumber = 1e7 / wavelength_nm
    band = np.exp(-4.0 * math.log(2.0) * ((wavenumber - _BAND_PER_CM) / _WIDTH_PER_CM) ** 2)
    absorbs = _EVEN_SHARE + (1.0 - _EVEN_SHARE) * band
    bare = min(10.0**-d_min, 0.995)
    amounts = np.concatenate(([0.0], np.geomspace(1e-3, 3e3, _NODES - 1)))
    ratio = (1.0 - bare) ** 2 / (2.0 * bare) + amounts[:, None] * absorbs[None, :]
    body = 1.0 + ratio - np.sqrt(ratio * (ratio + 2.0))  # [2]
    reflected = _SURFACE + (1.0 - _SURFACE) * body
    matching = np.stack([_lobes(wavelength_nm, each) for each in (_X, _Y, _Z)])
    matching /= matching.sum(axis=1, keepdims=True)
    linear = np.maximum((reflected @ matching.T) * _D65 @ _TO_RGB.T, -0.05) * paper_tint(paper)
    luminance = reflected @ matching[1]
    density = -np.log10(luminance)
    keep = np.concatenate(([True], np.diff(density) > 1e-7))
    return density[keep], linear[keep]


def _lobes(wavelength_nm: FloatArray, lobes: tuple[tuple[float, float, float, float], ...]) -> FloatArray:
    total = np.zeros_like(wavelength_nm)
    for weight, centre, below, above in lobes:
        width = np.where(wavelength_nm < centre, below, above)
        total += weight * np.exp(-0.5 * ((wavelength_nm - centre) / width) ** 2)
    return total


def _within(linear: FloatArray, luminance: FloatArray) -> FloatArray:
    """Colours (n, 3) drawn towards grey of their luminance (n,) as far as the screen's range asks."""
    grey = luminance[:, None]
    away = linear - grey
    with np.errstate(divide="ignore", invalid="ignore"):
        below = np.where(away < 0.0, grey / -away, np.inf)
        above = np.where(away > 0.0, (1.0 - grey) / away, np.inf)
    keep = np.minimum(np.minimum(below, above).min(axis=1), 1.0)
    out: FloatArray = np.clip(grey + keep[:, None] * away, 0.0, 1.0)
    return out
