"""Levels and contrast: where black and white lie in a picture, and how steeply it runs between."""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import LARGEST, CodeArray, as_codes, shares
from noonframe.types import FloatArray

AUTO_SHARE = 0.005
"""Share of the pixels that automatic levels let fall to either side (common practice, no source)."""

LEAST_SPAN = 0.02
"""Closer together than this, black and white points would turn noise into a picture."""


@dataclass(frozen=True)
class Levels:
    """Black and white point as shares of the code range, and the exponent that moves the middle.

    out = ((in - black) / (white - black)) ** (1 / middle_gamma), ends clipped; above 1 lightens the middle.
    """

    black_share: float = 0.0
    white_share: float = 1.0
    middle_gamma: float = 1.0

    def __post_init__(self) -> None:
        for name in ("black_share", "white_share"):
            value = getattr(self, name)
            if not (math.isfinite(value) and 0.0 <= value <= 1.0):
                raise OutOfDomain(f"levels.{name}", value, "between 0 and 1")
        if self.white_share - self.black_share < LEAST_SPAN:
            raise OutOfDomain(
                "levels.white_share", self.white_share, f"at least {LEAST_SPAN} above black_share"
            )
        if not (math.isfinite(self.middle_gamma) and 0.1 <= self.middle_gamma <= 10.0):
            raise OutOfDomain("levels.middle_gamma", self.middle_gamma, "between 0.1 and 10")

    def apply(self, share: FloatArray) -> FloatArray:
        """Codes as shares, any shape, through the levels."""
        spread = np.clip((share - self.black_share) / (self.white_share - self.black_share), 0.0, 1.0)
        out: FloatArray = spread ** (1.0 / self.middle_gamma)
        return out


def check_contrast(contrast: float) -> float:
    """`contrast`, the slope at the middle code, if a picture can take it."""
    if not (math.isfinite(contrast) and 0.1 <= contrast <= 10.0):
        raise OutOfDomain("contrast", contrast, "between 0.1 and 10; 1 changes nothing")
    return contrast


def with_contrast(share: FloatArray, contrast: float) -> FloatArray:
    """Codes as shares, turned about the middle code by the slope `contrast`, ends clipped."""
    out: FloatArray = np.clip(0.5 + contrast * (share - 0.5), 0.0, 1.0)
    return out


def auto_levels(codes: CodeArray) -> Levels:
    """Levels that let `AUTO_SHARE` of a sample of codes fall to black and as much to white.

    An even picture, which has no black and white of its own, is left as it is.
    """
    low, high = np.quantile(codes, [AUTO_SHARE, 1.0 - AUTO_SHARE]) / LARGEST
    if high - low < LEAST_SPAN:
        return Levels()
    return Levels(round(float(low), 4), round(float(high), 4))


def tone_table(levels: Levels, contrast: float, *, invert_first: bool = False) -> CodeArray:
    """Positive code (65536,) over the picture's code; `invert_first` for a picture that is a negative."""
    share = shares()
    if invert_first:
        share = 1.0 - share
    return as_codes(with_contrast(levels.apply(share), check_contrast(contrast)))
