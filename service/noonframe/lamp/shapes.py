"""Spectra of lamps as line shapes, summed exactly into the wavelength boxes.

A line is a normal curve with a half-width of its own on either side of its peak (the split normal
distribution, also called two-piece normal: Wallis 2014, Statistical Science 29, 106-112): phosphors and LEDs
alike fall more slowly towards long waves.  Its integral is a pair of error functions, so a line much narrower
than a box loses nothing.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.stack.grid import HALF_BOX_NM, WAVELENGTH_NM
from noonframe.types import FloatArray

SIGMAS_PER_HALF_WIDTH = 1.0 / math.sqrt(2.0 * math.log(2.0))
"""Standard deviation of one side over its half width at half maximum."""

BOX_NM = 2.0 * HALF_BOX_NM


@dataclass(frozen=True)
class Line:
    """One line: its peak, half widths at half maximum to either side, and its share of the lamp's energy."""

    peak_nm: float
    short_half_width_nm: float
    long_half_width_nm: float
    share: float = 1.0

    def __post_init__(self) -> None:
        if not 200.0 <= self.peak_nm <= 800.0:
            raise OutOfDomain("peak_nm", self.peak_nm, "between 200 and 800")
        for name in ("short_half_width_nm", "long_half_width_nm"):
            if not 0.05 <= getattr(self, name) <= 100.0:
                raise OutOfDomain(name, getattr(self, name), "between 0.05 and 100")
        if not 0.0 < self.share <= 1.0:
            raise OutOfDomain("share", self.share, "above 0 and at most 1")

    def share_below(self, wavelength_nm: FloatArray) -> FloatArray:
        """Share of the line's own energy at wavelengths shorter than each of (n,); 0-1."""
        short, long = (
            half * SIGMAS_PER_HALF_WIDTH for half in (self.short_half_width_nm, self.long_half_width_nm)
        )
        whole = short + long
        offset = np.asarray(wavelength_nm, dtype=np.float64) - self.peak_nm
        below = np.array([math.erf(x / (short * math.sqrt(2.0))) for x in np.minimum(offset, 0.0)])
        above = np.array([math.erf(x / (long * math.sqrt(2.0))) for x in np.maximum(offset, 0.0)])
        share: FloatArray = (short * (1.0 + below) + long * above) / whole
        return share


def boxes_of(lines: Sequence[Line]) -> FloatArray:
    """Relative spectral power in each box, shape (41,), of lines whose shares add up to 1.  [nm-1]

    `boxes_of(lines).sum() * BOX_NM` is the share of all the energy that the boxes, 277.5-482.5 nm, hold:
    1 but for what lies outside them.  Raises `OutOfDomain` when the shares do not add up to 1.
    """
    total = sum(line.share for line in lines)
    if abs(total - 1.0) > 1e-9:
        raise OutOfDomain("share", total, "such that the shares of all lines add up to 1")
    edges = np.append(WAVELENGTH_NM - HALF_BOX_NM, WAVELENGTH_NM[-1] + HALF_BOX_NM)
    boxes = np.zeros(WAVELENGTH_NM.size)
    for line in lines:
        boxes += line.share * np.diff(line.share_below(edges)) / BOX_NM
    return boxes
