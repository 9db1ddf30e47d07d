"""Turning, straightening and cropping, in numbers first: which part of the picture is printed, how large.

Angles are clockwise, as one turns a print on a table.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import Float32Array
from noonframe.negative.pages import MM_PER_INCH, MOST_SIDE_MM

STEEPEST_DEG = 44.0
SHARPEST_BLUR_PPI = 200.0
"""Fewer source pixels per inch than this look soft in the hand (common practice, no source)."""

_HAIR = 1e-9


@dataclass(frozen=True)
class Crop:
    """The part to print, after turning and straightening, as shares of the sides or in pixels."""

    left: float
    top: float
    width: float
    height: float
    unit: Literal["share", "px"] = "share"

    def __post_init__(self) -> None:
        for name in ("left", "top", "width", "height"):
            value = getattr(self, name)
            if not math.isfinite(value) or value < 0.0:
                raise OutOfDomain(f"crop.{name}", value, "a finite number, 0 or more")
            if name in ("width", "height") and value <= 0.0:
                raise OutOfDomain(f"crop.{name}", value, "above 0")

    def box(self, width_px: int, height_px: int) -> tuple[float, float, float, float]:
        """Left, top, right and bottom in pixels; refuses a part that reaches past the picture."""
        across, down = (width_px, height_px) if self.unit == "share" else (1.0, 1.0)
        left, top = self.left * across, self.top * down
        right, bottom = left + self.width * across, top + self.height * down
        for name, end, most in (("width", right, width_px), ("height", bottom, height_px)):
            if end > most * (1.0 + _HAIR):
                limit = f"inside the picture, which is {width_px} x {height_px} pixels here"
                raise OutOfDomain(f"crop.{name}", getattr(self, name), limit)
        right, bottom = min(right, float(width_px)), min(bottom, float(height_px))
        if right - left < 1.0 or bottom - top < 1.0:
            raise OutOfDomain("crop", f"{right - left:.3g} x {bottom - top:.3g} pixels", "at least one pixel")
        return left, top, right, bottom


@dataclass(frozen=True)
class PrintSize:
    """Width, height or both of the negative; both are a frame to fit "inside" whole, or to "fill"."""

    width_mm: float | None = None
    height_mm: float | None = None
    fit: Literal["inside", "fill"] = "inside"

    def __post_init__(self) -> None:
        if self.width_mm is None and self.height_mm is None:
            raise OutOfDomain("size", None, "given with a width, a height or both")
        for name in ("width_mm", "height_mm"):
            side = getattr(self, name)
            if side is not None and not (math.isfinite(side) and 1.0 <= side <= MOST_SIDE_MM):
                raise OutOfDomain(f"size.{name}", side, f"between 1 and {MOST_SIDE_MM:g} mm")


@dataclass(frozen=True)
class Framing:
    """How a picture is turned and cut: quarter turns clockwise, flip, straightening, crop."""

    rotate_deg: int = 0
    flip: bool = False
    straighten_deg: float = 0.0
    crop: Crop | None = None

    def __post_init__(self) -> None:
        if self.rotate_deg not in (0, 90, 180, 270):
            raise OutOfDomain("rotate_deg", self.rotate_deg, "0, 90, 180 or 270, clockwise")
        if not (math.isfinite(self.straighten_deg) and abs(self.straighten_deg) <= STEEPEST_DEG):
            limit = f"between -{STEEPEST_DEG:g} and {STEEPEST_DEG:g}, clockwise; more by rotate_deg"
            raise OutOfDomain("straighten_deg", self.straighten_deg, limit)


@dataclass(frozen=True)
class Cut:
    """The part of a picture that is printed, in pixels of what straightening leaves of it."""

    width_px: int
    height_px: int
    box: tuple[float, float, float, float]

    @property
    def size_px(self) -> tuple[float, float]:
        """Width and height of the part."""
        left, top, right, bottom = self.box
        return right - left, bottom - top

    def scaled(self, width_px: int, height_px: int) -> "Cut":
        """The same part of the same picture at another number of pixels."""
        across, down = width_px / self.width_px, height_px / self.height_px
        left, top, right, bottom = self.box
        return Cut(width_px, height_px, (left * across, top * down, right * across, bottom * down))

    def filling(self, width: float, height: float) -> "Cut":
        """The largest part in the middle with the proportions of `width` to `height`."""
        left, top, right, bottom = self.box
        across, down = right - left, bottom - top
        kept_across, kept_down = min(across, down * width / height), min(down, across * height / width)
        left, top = left + (across - kept_across) / 2.0, top + (down - kept_down) / 2.0
        return Cut(self.width_px, self.height_px, (left, top, left + kept_across, top + kept_down))


def cut_for(width_px: int, height_px: int, framing: Framing) -> Cut:
    """Which part of an upright picture of this size is printed; `crop` counts in what straightening left."""
    if framing.rotate_deg in (90, 270):
        width_px, height_px = height_px, width_px
    left, top, right, bottom = inner_pixels(width_px, height_px, framing.straighten_deg)
    width_px, height_px = right - left, bottom - top
    whole = (0.0, 0.0, float(width_px), float(height_px))
    return Cut(width_px, height_px, whole if framing.crop is None else framing.crop.box(width_px, height_px))


def inner_pixels(width_px: int, height_px: int, angle_deg: float) -> tuple[int, int, int, int]:
    """The whole pixels of `inner_box`: what is left of a picture once it is straightened."""
    left, top, right, bottom = inner_box(width_px, height_px, angle_deg)
    return math.ceil(left), math.ceil(top), math.floor(right), math.floor(bottom)


def inner_box(width_px: int, height_px: int, angle_deg: float) -> tuple[float, float, float, float]:
    """The largest upright rectangle of the picture's own proportions inside it when it is turned.

    Of a rectangle w x h turned by an angle a, an upright one of the same proportions fits when
    s (w cos a + h sin a) <= w and s (w sin a + h cos a) <= h.
    """
    if angle_deg == 0.0:
        return 0.0, 0.0, float(width_px), float(height_px)
    angle = math.radians(abs(angle_deg))
    cos, sin = math.cos(angle), math.sin(angle)
    scale = min(width_px / (width_px * cos + height_px * sin), height_px / (width_px * sin + height_px * cos))
    shorter = scale * min(width_px, height_px)
    if shorter < 4.0:
        raise OutOfDomain("straighten_deg", angle_deg, "0 for a picture of so few pixels")
    scale *= 1.0 - 1.0 / shorter  # half a pixel inside, where no pixel is missing
    across, down = scale * width_px, scale * height_px
    left, top = (width_px - across) / 2.0, (height_px - down) / 2.0
    return left, top, left + across, top + down


@dataclass(frozen=True)
class Extent:
    """A negative's size: of the printed part in millimetres, in pixels of the film, and its sharpness.

    `effective_ppi` are the picture's own pixels to the inch of print; fewer than the film printer's dots
    mean that the picture was enlarged by `enlarged`, which adds no detail.
    """

    cut: Cut
    width_mm: float
    height_mm: float
    columns: int
    rows: int
    effective_ppi: float
    enlarged: float

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the size does to sharpness; empty when the picture has a pixel for each dot."""
        if self.enlarged <= 1.0 + 1e-6:
            return ()
        told = (
            f"the picture has {self.effective_ppi:.0f} pixels to the inch at this size and is enlarged"
            f" {self.enlarged:.2f} times to the printer's dots; that adds no detail"
        )
        if self.effective_ppi < SHARPEST_BLUR_PPI:
            told += f", and below {SHARPEST_BLUR_PPI:.0f} a print looks soft in the hand"
        return (told,)


def extent_of(cut: Cut, size: PrintSize, dpi: float) -> Extent:
    """How large a cut becomes; its proportions are kept, a frame to fill cuts off what stands over."""
    width, height = size.width_mm, size.height_mm
    if size.fit == "fill" and width is not None and height is not None:
        cut = cut.filling(width, height)
    across, down = cut.size_px
    if width is None or (height is not None and size.fit == "inside" and width / across > height / down):
        assert height is not None
        width = across * height / down
    else:
        height = down * width / across
    columns, rows = (round(side / MM_PER_INCH * dpi) for side in (width, height))
    if columns < 1 or rows < 1:
        raise OutOfDomain("size", f"{width:.3g} x {height:.3g} mm", f"at least a dot at {dpi:g} dpi")
    if max(width, height) > MOST_SIDE_MM:
        raise OutOfDomain("size", f"{width:.0f} x {height:.0f} mm", f"at most {MOST_SIDE_MM:g} mm to a side")
    ppi = across / width * MM_PER_INCH
    return Extent(cut, width, height, columns, rows, ppi, max(columns / across, rows / down, 1.0))


def upright(array: Float32Array, orientation: int) -> Float32Array:
    """An array (rows, columns) turned as EXIF's orientation 1 to 8 asks (CIPA DC-008, tag 274)."""
    if orientation in (5, 6, 7, 8):  # rows and columns change places first
        array = array.T
    if orientation in (2, 3, 6, 7):
        array = array[:, ::-1]
    if orientation in (3, 4, 7, 8):
        array = array[::-1]
    return array


def turned(array: Float32Array, framing: Framing) -> Float32Array:
    """An upright array after its quarter turns, clockwise, and its flip from left to right."""
    array = np.rot90(array, -framing.rotate_deg // 90)
    return array[:, ::-1] if framing.flip else array
