"""Irradiance on a flat sheet from a lamp of known power and distance: point, tube, bank of tubes, panel.

The sheet lies in a plane parallel to the lamp; `x` runs along a tube (or a panel's width), `y` across it,
from the point straight below the lamp's middle; `height_m` is the distance between the planes.  Lamps are
Lambertian radiators in clear air, without reflections from a box around them.

Sources: inverse-square and cosine law, and the generalised Lambertian law of LEDs, I = I0 cos^m (Moreno and
Sun 2008, Optics Express 16, 1808, Eq. 1); a thin line source: Keitz 1971, Light Calculations and
Measurements, 2nd ed., in the form E = P (2a + sin 2a) / (2 pi^2 L h) beneath the middle of a tube of length
L that subtends 2a; a rectangle parallel to a small plane: Howell and Mengüç, Catalog of Radiation Heat
Transfer Configuration Factors, B-4.
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

MOST_TUBES = 40


def _between(field: str, value: float, low: float, high: float, unit: str = "m") -> None:
    if not low <= value <= high:  # also refuses NaN
        raise OutOfDomain(field, value, f"between {low:g} and {high:g} {unit}".rstrip())


class Source(Protocol):
    """A lamp's shape."""

    @property
    def says(self) -> str:
        """It in plain words."""

    def per_watt(self, x_m: FloatArray, y_m: FloatArray, height_m: float) -> FloatArray:
        """Irradiance at points of the sheet, the shape of `x_m` and `y_m`, per watt radiated.  [m-2]"""


@dataclass(frozen=True)
class PointSource:
    """A lamp small beside its distance; `beam_angle_deg` is the full width at half of its intensity.

    120 degrees is the plain Lambertian radiator.
    """

    beam_angle_deg: float = 120.0

    def __post_init__(self) -> None:
        _between("beam_angle_deg", self.beam_angle_deg, 5.0, 160.0, "degrees")

    @property
    def says(self) -> str:
        """It in plain words."""
        return f"a point source with a beam of {self.beam_angle_deg:g}°"

    @property
    def exponent(self) -> float:
        """m of I = I0 cos^m."""
        return math.log(0.5) / math.log(math.cos(math.radians(self.beam_angle_deg / 2.0)))

    def per_watt(self, x_m: FloatArray, y_m: FloatArray, height_m: float) -> FloatArray:
        """As `Source`: I0 = P (m + 1) / (2 pi), E = I0 cos^(m+1) / r^2."""
        square = x_m**2 + y_m**2 + height_m**2
        m = self.exponent
        spread: FloatArray = (m + 1.0) / (2.0 * math.pi) * (height_m / np.sqrt(square)) ** (m + 1.0) / square
        return spread


@dataclass(frozen=True)
class Tubes:
    """`count` parallel tubes in a row, each thin beside its distance, `pitch_m` from axis to axis.

    `reflector_gain` is what a reflector behind them adds: 1 for bare tubes, 2 if all the light that goes the
    other way came back as if from the tube itself.
    """

    length_m: float
    count: int = 1
    pitch_m: float = 0.0
    reflector_gain: float = 1.0

    def __post_init__(self) -> None:
        _between("length_m", self.length_m, 0.02, 3.0)
        if not 1 <= self.count <= MOST_TUBES:
            raise OutOfDomain("count", self.count, f"between 1 and {MOST_TUBES}")
        if self.count > 1:
            _between("pitch_m", self.pitch_m, 0.005, 1.0)
        elif self.pitch_m != 0.0:
            raise OutOfDomain("pitch_m", self.pitch_m, "left out for a single tube")
        _between("reflector_gain", self.reflector_gain, 1.0, 2.0, "")

    @property
    def says(self) -> str:
        """It in plain words."""
        if self.count == 1:
            return f"a tube {self.length_m:g} m long"
        return f"{self.count} tubes {self.length_m:g} m long, {self.pitch_m:g} m apart"

    def per_watt(self, x_m: FloatArray, y_m: FloatArray, height_m: float) -> FloatArray:
        """As `Source`, for a watt shared by all tubes."""
        total = np.zeros(np.broadcast(x_m, y_m).shape)
        for number in range(self.count):
            across = y_m - (number - (self.count - 1) / 2.0) * self.pitch_m
            total = total + _line_per_watt(x_m, across, height_m, self.length_m)
        return total * (self.reflector_gain / self.count)


def _line_per_watt(x_m: FloatArray, y_m: FloatArray, height_m: float, length_m: float) -> FloatArray:
    """A thin Lambertian line: sum over it of cos(out) cos(in) / r^2 with P / (pi^2 L) per metre."""
    distance = np.hypot(y_m, height_m)
    total = np.zeros(np.broadcast(x_m, y_m).shape)
    for end in (0.5 * length_m - x_m, 0.5 * length_m + x_m):
        angle = np.arctan2(end, distance)
        total = total + angle + np.sin(angle) * np.cos(angle)
    line: FloatArray = height_m / distance**2 * total / (2.0 * math.pi**2 * length_m)
    return line


@dataclass(frozen=True)
class Panel:
    """An evenly bright rectangle, such as a close field of LEDs; `width_m` along x, `depth_m` along y."""

    width_m: float
    depth_m: float

    def __post_init__(self) -> None:
        for name in ("width_m", "depth_m"):
            _between(name, getattr(self, name), 0.01, 3.0)

    @property
    def says(self) -> str:
        """It in plain words."""
        return f"a panel of {self.width_m:g} by {self.depth_m:g} m"

    def per_watt(self, x_m: FloatArray, y_m: FloatArray, height_m: float) -> FloatArray:
        """As `Source`: the radiant exitance times the configuration factor of the rectangle."""
        rights = (0.5 * self.width_m - x_m, 0.5 * self.width_m + x_m)
        uppers = (0.5 * self.depth_m - y_m, 0.5 * self.depth_m + y_m)
        total = np.zeros(np.broadcast(x_m, y_m).shape)
        for a in rights:
            for b in uppers:  # odd in both, so that a point beside the rectangle comes out by subtraction
                total = total + corner_factor(a / height_m, b / height_m)
        factor: FloatArray = total / (self.width_m * self.depth_m)
        return factor


def corner_factor(x: FloatArray, y: FloatArray) -> FloatArray:
    """Configuration factor of a rectangle, sides x and y over its distance, with a corner above the point."""
    root_x, root_y = np.sqrt(1.0 + x**2), np.sqrt(1.0 + y**2)
    factor: FloatArray = (x / root_x * np.arctan(y / root_x) + y / root_y * np.arctan(x / root_y)) / (
        2.0 * math.pi
    )
    return factor


_GRID = 21


@dataclass(frozen=True)
class SheetLight:
    """Irradiance per watt radiated at the middle of the sheet, and its parts' stops from that."""

    centre_per_watt_m2: float
    corner_stops: float
    lowest_stops: float
    highest_stops: float


def sheet_light(source: Source, height_m: float, width_m: float, depth_m: float) -> SheetLight:
    """A sheet of `width_m` (along x) by `depth_m` centred below the lamp, on a grid of 21 by 21 points."""
    _between("distance_m", height_m, 0.005, 10.0)
    _between("sheet_width_m", width_m, 0.0, 3.0)
    _between("sheet_depth_m", depth_m, 0.0, 3.0)
    along, across = (0.5 * size * np.linspace(-1.0, 1.0, _GRID) for size in (width_m, depth_m))
    x, y = np.meshgrid(along, across)
    light = source.per_watt(x, y, height_m)
    centre = float(light[_GRID // 2, _GRID // 2])
    stops = np.log2(light / centre)
    return SheetLight(centre, float(stops[0, 0]), float(stops.min()), float(stops.max()))
