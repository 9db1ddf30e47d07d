"""The frame as a rectangle in the room: its corners, its normal, its sample points."""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.spot.window import Window, check_between, check_finite, check_not_negative, check_positive
from noonframe.types import FloatArray

_ROUNDING_M = 1e-9
_SMALLEST_SIDE_M = 1e-6
"""Areas of sheets far smaller than any would drown in rounding."""


@dataclass(frozen=True)
class Frame:
    """A rectangle flat on the work surface, or leaning on an easel with its lower edge on the work surface.

    distance_m: from the inner face of the wall to the frame's centre, along the floor; at least 0.
    offset_m: of the centre from the opening's centre line, positive to the right of someone looking out.
    width_m: along the wall when flat; level on an easel.
    height_m: away from the wall when flat; up the slope on an easel.
    tilt_deg: from flat, 0 to 90.
    aim_azimuth_deg: where a tilted frame's normal leans, clockwise from true north, 0 to 360; None is
    straight
        at the window. A flat frame has no aim, so its sides stay parallel to the wall whatever is given here.
    """

    distance_m: float
    offset_m: float
    width_m: float
    height_m: float
    tilt_deg: float = 0.0
    aim_azimuth_deg: float | None = None

    def __post_init__(self) -> None:
        check_not_negative("frame.distance_m", self.distance_m)
        check_finite("frame.offset_m", self.offset_m)
        for field, side_m in (("frame.width_m", self.width_m), ("frame.height_m", self.height_m)):
            check_positive(field, side_m)
            if side_m < _SMALLEST_SIDE_M:
                raise OutOfDomain(field, side_m, f"at least {_SMALLEST_SIDE_M:g}")
        check_between("frame.tilt_deg", self.tilt_deg, 0.0, 90.0)
        if self.aim_azimuth_deg is not None:
            check_between("frame.aim_azimuth_deg", self.aim_azimuth_deg, 0.0, 360.0)


def corners(frame: Frame, window: Window | None) -> FloatArray:
    """Corners in window coordinates, shape `(4, 3)`: lower left, lower right, upper right, upper left.

    "Lower" is the edge towards the wall when the frame is flat. Without a window the coordinates are those
    of a wall that the frame faces squarely. Raises `OutOfDomain` on `frame.distance_m` when a corner is in
    the wall.
    """
    across, along = np.array([-1.0, 1.0, 1.0, -1.0]) / 2, np.array([-1.0, -1.0, 1.0, 1.0]) / 2
    places = _places(frame, window, across, along)
    nearest_m = float(places[:, 1].min())
    if window is not None and nearest_m < -_ROUNDING_M:
        least_m = frame.distance_m - nearest_m
        raise OutOfDomain(
            "frame.distance_m",
            frame.distance_m,
            f"at least {least_m:.4g}, or a corner of the frame is in the wall",
        )
    return places


def sample_points(frame: Frame, window: Window | None, grid: tuple[int, int] = (5, 5)) -> FloatArray:
    """Middles of equal cells of the frame in window coordinates, shape `(n_points, 3)`.

    grid: cells along the width and along the height. Points run left to right, then from the lower edge up;
    each stands for the same area (`sample_weights`). Raises as `corners` does.
    """
    corners(frame, window)
    columns, rows = _checked_grid(grid)
    along, across = np.meshgrid(
        (np.arange(rows) + 0.5) / rows - 0.5, (np.arange(columns) + 0.5) / columns - 0.5, indexing="ij"
    )
    places = _places(frame, window, across.ravel(), along.ravel())
    if window is not None:
        # A sheet flush with the wall comes out a rounding error to either side of v = 0.
        places[np.abs(places[:, 1]) <= _ROUNDING_M, 1] = 0.0
    return places


def sample_weights(grid: tuple[int, int] = (5, 5)) -> FloatArray:
    """Share of the frame's area that each of `sample_points` stands for, shape `(n_points,)`; sums to 1."""
    columns, rows = _checked_grid(grid)
    return np.full(columns * rows, 1.0 / (columns * rows))


def normal(frame: Frame, window: Window | None) -> FloatArray:
    """Unit normal of the sheet in window coordinates, shape `(3,)`."""
    tilt, turn = math.radians(frame.tilt_deg), _turn(frame, window)
    return np.array([math.sin(tilt) * math.sin(turn), -math.sin(tilt) * math.cos(turn), math.cos(tilt)])


def _turn(frame: Frame, window: Window | None) -> float:
    """Angle from straight out to the frame's aim, positive to the right.  [rad]"""
    if window is None or frame.aim_azimuth_deg is None or frame.tilt_deg == 0.0:
        return 0.0
    return math.radians(frame.aim_azimuth_deg - window.outward_azimuth_deg)


def _places(frame: Frame, window: Window | None, across: FloatArray, along: FloatArray) -> FloatArray:
    """Window coordinates of places on the frame given as shares of its sides, from its centre."""
    tilt, turn = math.radians(frame.tilt_deg), _turn(frame, window)
    level = frame.width_m * np.array([math.cos(turn), math.sin(turn), 0.0])
    slope = frame.height_m * np.array(
        [-math.cos(tilt) * math.sin(turn), math.cos(tilt) * math.cos(turn), math.sin(tilt)]
    )
    # Half the slope up, so that the lower edge rests on the work surface.
    centre = np.array([frame.offset_m, frame.distance_m, slope[2] / 2])
    return np.asarray(centre + across[:, None] * level + along[:, None] * slope, dtype=np.float64)


def _checked_grid(grid: tuple[int, int]) -> tuple[int, int]:
    columns, rows = grid
    if columns < 1 or rows < 1:
        raise OutOfDomain("grid", grid, "at least one cell each way")
    return columns, rows
