"""The patch of sun: where the beam falls that comes through a window.

A ray from a point (u, v, w) towards the sun runs a times as far along the wall, and b times as far up, as
it runs out. It meets the inner face of the wall at u + a v and w + b v. The opening's two faces and the
slab above it are parallel to the wall, so together they leave one rectangle of such meeting places for a
given sun. Every answer here follows from that rectangle, without approximation.
"""

from dataclasses import dataclass

import numpy as np

from noonframe.spot.sheet import Frame, corners, normal, sample_points, sample_weights
from noonframe.spot.skyline import checked_directions
from noonframe.spot.window import Window, check_not_negative, checked_points
from noonframe.types import BoolArray, FloatArray, IntArray

_GRAZING = 1e-9
"""Cosine below which the sun is taken to be in the plane of the wall, or of the sheet."""


@dataclass(frozen=True)
class _Passage:
    """What the opening lets through; arrays of shape `(n_time,)`."""

    is_open: BoolArray
    along: FloatArray  # a
    up: FloatArray  # b
    left_m: FloatArray  # the rectangle on the inner face
    right_m: FloatArray
    low_m: FloatArray
    high_m: FloatArray

    def at(self, index: IntArray) -> "_Passage":
        return _Passage(**{name: getattr(self, name)[index] for name in self.__dataclass_fields__})


def _passage(sun: FloatArray, window: Window) -> _Passage:
    sun = checked_directions("sun", sun)
    local = window.from_local(sun)
    out, above = -local[:, 1], local[:, 2]
    is_open = (out > _GRAZING) & (above > 0.0)
    run = np.where(is_open, out, 1.0)
    along, up = local[:, 0] / run, above / run
    half_m = window.width_m / 2
    sideways_m = along * window.reveal_depth_m
    left_m = -half_m + np.maximum(0.0, -sideways_m)
    right_m = half_m - np.maximum(0.0, sideways_m)
    low_m = np.full_like(up, window.sill_m)
    high_m = window.head_m - up * (window.reveal_depth_m + window.overhang_depth_m)
    is_open &= (right_m > left_m) & (high_m > low_m)
    if window.skyline is not None:
        is_open &= ~window.skyline.blocks(sun)
    return _Passage(is_open, along, up, left_m, right_m, low_m, high_m)


def lit(points: FloatArray, sun: FloatArray, window: Window) -> BoolArray:
    """Whether the middle of the sun shines on each point through the window, shape `(n_time, n_points)`.

    points: window coordinates, shape `(n_points, 3)`, in the room. sun: unit vectors [east, north, up]
    towards the refracted sun, shape `(n_time, 3)`. Which way a sheet faces is left to the caller. Exact.
    """
    points = checked_points(points)
    passage = _passage(sun, window)
    result = np.zeros((passage.is_open.size, len(points)), dtype=np.bool_)
    when = np.flatnonzero(passage.is_open)  # a wall is in the sun for a small part of the year
    way = passage.at(when)
    u, v = points[:, 0], points[:, 1]
    # Points of one row have their distance and height, so all but the side is the same for the row.
    rows, row = np.unique(points[:, 1:], axis=0, return_inverse=True)
    meet_w = rows[:, 1] + way.up[:, None] * rows[:, 0]
    within = (meet_w >= way.low_m[:, None]) & (meet_w <= way.high_m[:, None])
    meet_u = way.along[:, None] * v
    meet_u += u
    seen = meet_u >= way.left_m[:, None]
    seen &= meet_u <= way.right_m[:, None]
    seen &= within[:, row.ravel()]
    result[when] = seen
    return result


def beam_share(frame: Frame, sun: FloatArray, window: Window) -> FloatArray:
    """Share of the sheet's area in the patch of sun, shape `(n_time,)`, between 0 and 1, flat or tilted.

    sun: as in `lit`. 0 while the sun is behind the sheet. Exact: along the sun's direction the sheet maps
    to a parallelogram on the inner face of the wall, whose part inside the passable rectangle is integrated
    edge by edge.
    """
    places = corners(frame, window)
    passage = _passage(sun, window)
    facing = window.from_local(sun) @ normal(frame, window)
    result = np.zeros(passage.is_open.size)
    when = np.flatnonzero(passage.is_open & (facing > _GRAZING))
    way = passage.at(when)
    u, v, w = places.T
    meet_u = u + way.along[:, None] * v
    meet_w = w + way.up[:, None] * v
    # Opposite corners span the parallelogram: its area is half the cross product of the diagonals.
    whole = 0.5 * np.abs(
        (meet_u[:, 2] - meet_u[:, 0]) * (meet_w[:, 3] - meet_w[:, 1])
        - (meet_w[:, 2] - meet_w[:, 0]) * (meet_u[:, 3] - meet_u[:, 1])
    )
    inside = _area_inside(meet_u, meet_w, way)
    result[when] = np.minimum(inside / whole, 1.0)  # a sheet wholly in the sun may come out 1 + 1e-16
    return result


def beam_share_sampled(
    frame: Frame, sun: FloatArray, window: Window, grid: tuple[int, int] = (5, 5)
) -> FloatArray:
    """`beam_share` as the share of sample points in the sun, shape `(n_time,)`: in steps of one cell."""
    facing = window.from_local(checked_directions("sun", sun)) @ normal(frame, window)
    share = lit(sample_points(frame, window, grid), sun, window) @ sample_weights(grid)
    return np.where(facing > _GRAZING, share, 0.0)


def patch_polygon(sun: FloatArray, window: Window, height_m: float = 0.0) -> FloatArray:
    """Corners of the patch of sun on a level plane: offset and distance, shape `(4, 2)`; `(0, 2)` if none.

    sun: one unit vector, shape `(3,)`. height_m: of the plane above the work surface. Order: near left,
    near right, far right, far left as seen by someone looking out ("near" the wall). [m]
    """
    check_not_negative("height_m", height_m)
    way = _passage(np.asarray(sun, dtype=np.float64)[None, ...], window)
    if not way.is_open[0]:
        return np.empty((0, 2))
    along, up = float(way.along[0]), float(way.up[0])
    near_m = max(0.0, (float(way.low_m[0]) - height_m) / up)
    far_m = (float(way.high_m[0]) - height_m) / up
    if far_m <= near_m:
        return np.empty((0, 2))
    left_m, right_m = float(way.left_m[0]), float(way.right_m[0])
    return np.array(
        [
            [left_m - along * near_m, near_m],
            [right_m - along * near_m, near_m],
            [right_m - along * far_m, far_m],
            [left_m - along * far_m, far_m],
        ]
    )


def _area_inside(x: FloatArray, y: FloatArray, way: _Passage) -> FloatArray:
    """Area of polygons `(n, k)` inside the rectangles of `way`, shape `(n,)`.

    Green's theorem: the area is the sum over edges of the integral of y dx, with x kept between the
    rectangle's sides and y between its lower and upper edge. No cutting, so edges that coincide with the
    rectangle's do no harm.
    """
    x_end, y_end = np.roll(x, -1, axis=1), np.roll(y, -1, axis=1)
    left, right = way.left_m[:, None], way.right_m[:, None]
    start, end = np.clip(x, left, right), np.clip(x_end, left, right)
    run = x_end - x
    rise = np.divide(y_end - y, run, out=np.zeros_like(run), where=run != 0.0)
    y_from, y_to = y + rise * (start - x), y + rise * (end - x)
    low, high = way.low_m[:, None], way.high_m[:, None]
    mean = _mean_positive(y_from - low, y_to - low) - _mean_positive(y_from - high, y_to - high)
    return np.asarray(np.abs((mean * (end - start)).sum(axis=1)), dtype=np.float64)


def _mean_positive(first: FloatArray, last: FloatArray) -> FloatArray:
    """Mean of the positive part of a quantity that runs linearly from `first` to `last`."""
    low, high = np.minimum(first, last), np.maximum(first, last)
    span = np.where(high > low, high - low, 1.0)
    crossing = np.maximum(high, 0.0) ** 2 / (2.0 * span)
    return np.where(low >= 0.0, 0.5 * (low + high), np.where(high <= 0.0, 0.0, crossing))
