"""A rectangular opening in a wall, and the coordinates that belong to it.

Window coordinates: u along the wall, positive to the right of someone looking out, 0 at the opening's
centre line; v the distance into the room from the inner face of the wall; w the height above the work
surface. All in metres. Local coordinates: east, north, up.
"""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.errors import Malformed, OutOfDomain
from noonframe.spot.skyline import Skyline
from noonframe.types import FloatArray


@dataclass(frozen=True)
class Window:
    """The hole in the wall: a tunnel of rectangular section from the inner to the outer face.

    outward_azimuth_deg: where someone looking straight out looks, clockwise from true north, 0 to 360.
    width_m: width of the opening, above 0.
    sill_m, head_m: heights of its lower and upper edge above the work surface; the head above the work
    surface,
        the sill below the head. The work surface reaches to the wall, so an opening that begins below it
        lets in light only above it.
    reveal_depth_m: thickness of the wall, so depth of the tunnel; its sides count as black.
    overhang_depth_m: a horizontal slab at head height that stands out from the outer face, much wider than
    the
        opening, black underneath.
    pane: id of the pane's material, or "none".
    skyline: what stands opposite, far enough away to look the same from the whole sheet.
    """

    outward_azimuth_deg: float
    width_m: float
    sill_m: float
    head_m: float
    reveal_depth_m: float = 0.0
    overhang_depth_m: float = 0.0
    pane: str = "none"
    skyline: Skyline | None = None

    def __post_init__(self) -> None:
        check_between("window.outward_azimuth_deg", self.outward_azimuth_deg, 0.0, 360.0)
        check_positive("window.width_m", self.width_m)
        check_finite("window.sill_m", self.sill_m)
        check_finite("window.head_m", self.head_m)
        if self.head_m <= 0.0:
            raise OutOfDomain(
                "window.head_m", self.head_m, "above 0: the whole window lies below the work surface"
            )
        if self.sill_m >= self.head_m:
            raise OutOfDomain("window.sill_m", self.sill_m, f"below head_m, which is {self.head_m}")
        check_not_negative("window.reveal_depth_m", self.reveal_depth_m)
        check_not_negative("window.overhang_depth_m", self.overhang_depth_m)
        if not self.pane:
            raise Malformed("window.pane", self.pane, "needs the id of a material, or none")

    def axes(self) -> FloatArray:
        """Rows: the directions of u, v and w in local coordinates, shape `(3, 3)`; orthonormal."""
        azimuth = math.radians(self.outward_azimuth_deg)
        sine, cosine = math.sin(azimuth), math.cos(azimuth)
        return np.array([[cosine, -sine, 0.0], [-sine, -cosine, 0.0], [0.0, 0.0, 1.0]])

    def from_local(self, vectors: FloatArray) -> FloatArray:
        """Directions [east, north, up] as directions [u, v, w]; last axis 3."""
        return np.asarray(np.asarray(vectors, dtype=np.float64) @ self.axes().T, dtype=np.float64)

    def to_local(self, vectors: FloatArray) -> FloatArray:
        """Directions [u, v, w] as directions [east, north, up]; last axis 3."""
        return np.asarray(np.asarray(vectors, dtype=np.float64) @ self.axes(), dtype=np.float64)


def checked_points(points: FloatArray) -> FloatArray:
    """`points` in window coordinates if they have shape `(n_points, 3)` and lie in the room; else raises."""
    points = np.asarray(points, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 3:
        raise Malformed("points", points.shape, "needs the shape (n_points, 3)")
    wrong = ~(np.isfinite(points).all(axis=1) & (points[:, 1] >= 0.0) & (points[:, 2] >= 0.0))
    if wrong.any():
        raise OutOfDomain(
            "points", points[int(np.argmax(wrong))].tolist(), "inside the wall and not below the work surface"
        )
    return points


def check_finite(field: str, value: float) -> None:
    """Raise `OutOfDomain` for NaN and infinity."""
    if not math.isfinite(value):
        raise OutOfDomain(field, value, "a finite number")


def check_positive(field: str, value: float) -> None:
    """Raise `OutOfDomain` unless `value` is finite and above 0."""
    if not (math.isfinite(value) and value > 0.0):
        raise OutOfDomain(field, value, "a finite number above 0")


def check_not_negative(field: str, value: float) -> None:
    """Raise `OutOfDomain` unless `value` is finite and at least 0."""
    if not (math.isfinite(value) and value >= 0.0):
        raise OutOfDomain(field, value, "a finite number, at least 0")


def check_between(field: str, value: float, low: float, high: float) -> None:
    """Raise `OutOfDomain` unless `low <= value <= high`."""
    if not low <= value <= high:
        raise OutOfDomain(field, value, f"between {low:g} and {high:g}")
