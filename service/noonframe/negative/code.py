"""Code values: what a picture is inside, and every change of tone as one look-up table.

A picture is an array `(rows, columns)` of 16-bit code values:

positive code    what the print is wanted to show, 65535 x the sRGB encoding of relative luminance [1];
                 0 is the print's darkest tone, 65535 its paper white
film code        what the film printer is sent: 0 is full ink, 65535 bare film

Light is sampled and averaged in linear light, because a print's eye and a lens average light, not codes.
Between the two stands `root`, the square root of linear light in 65536 steps: an index that a table can
take, as fine in the shadows as an eye is.  One look-up then leads from light to film code.

[1] IEC 61966-2-1:1999, Colour management - Default RGB colour space - sRGB, section 5.2 (from memory).
"""

import numpy as np
import numpy.typing as npt

from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

CodeArray = npt.NDArray[np.uint16]
CodeTable = npt.NDArray[np.uint16]
Float32Array = npt.NDArray[np.float32]

LARGEST = 65535
STEPS = LARGEST + 1

_TOE, _SLOPE, _OFFSET, _POWER = 0.0031308, 12.92, 0.055, 2.4  # [1]


def encode(luminance: FloatArray) -> FloatArray:
    """The sRGB encoding, 0 to 1, of relative luminance 0 to 1, of any shape."""
    curve = (1.0 + _OFFSET) * np.maximum(luminance, _TOE) ** (1.0 / _POWER) - _OFFSET
    encoded: FloatArray = np.where(luminance <= _TOE, _SLOPE * luminance, curve)
    return encoded


def decode(encoded: FloatArray) -> FloatArray:
    """Relative luminance, 0 to 1, of an sRGB encoding 0 to 1, of any shape: the inverse of `encode`."""
    curve = ((np.maximum(encoded, 0.0) + _OFFSET) / (1.0 + _OFFSET)) ** _POWER
    luminance: FloatArray = np.where(encoded <= _SLOPE * _TOE, encoded / _SLOPE, curve)
    return luminance


def shares() -> FloatArray:
    """All code values as shares 0 to 1, (65536,)."""
    return np.arange(STEPS, dtype=np.float64) / LARGEST


def as_codes(share: FloatArray) -> CodeArray:
    """Shares 0 to 1 as the nearest code values; what lies outside goes to the end."""
    codes: CodeArray = np.rint(np.clip(share, 0.0, 1.0) * LARGEST).astype(np.uint16)
    return codes


def check_table(table: CodeTable) -> CodeTable:
    """`table` if it is a look-up table of code values."""
    if table.shape != (STEPS,) or table.dtype != np.uint16:
        raise OutOfDomain("table", f"{table.dtype} {table.shape}", f"uint16 of shape ({STEPS},)")
    return table


def root_index(luminance: Float32Array) -> CodeArray:
    """Linear light (any shape, 0 to 1, ends clipped) as indices of a table over its square root."""
    root = np.clip(luminance, 0.0, 1.0)  # a profile may lead past the ends
    np.sqrt(root, out=root)
    root *= LARGEST
    root += 0.5
    return root.astype(np.uint16)


def code_of_root() -> CodeTable:
    """Positive code over the root index."""
    return as_codes(encode(shares() ** 2))


def inverse_table() -> CodeTable:
    """The other way round: 65535 minus the code; positive code to film code without a tone correction."""
    return np.arange(LARGEST, -1, -1, dtype=np.int64).astype(np.uint16)
