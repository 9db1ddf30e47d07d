"""The table (or bench) inside a window on which a frame may be laid, and the places to try on it."""

import math
from dataclasses import dataclass, replace

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.sheet import Frame, corners

MOST_PLACES = 200


@dataclass(frozen=True)
class Table:
    """Where the frame's centre may lie: distances from the wall and offsets from the centre line.  [m]"""

    nearest_m: float
    farthest_m: float
    leftmost_m: float
    rightmost_m: float

    def __post_init__(self) -> None:
        for name in ("nearest_m", "farthest_m", "leftmost_m", "rightmost_m"):
            value = getattr(self, name)
            if not (math.isfinite(value) and abs(value) <= 20.0):
                raise OutOfDomain(f"table.{name}", value, "between -20 and 20")
        if self.nearest_m < 0.0:
            raise OutOfDomain("table.nearest_m", self.nearest_m, "0 or more: the wall is at 0")
        if self.farthest_m < self.nearest_m:
            raise OutOfDomain("table.farthest_m", self.farthest_m, f"at least nearest_m, {self.nearest_m:g}")
        if self.rightmost_m < self.leftmost_m:
            raise OutOfDomain(
                "table.rightmost_m", self.rightmost_m, f"at least leftmost_m, {self.leftmost_m:g}"
            )

    def holds(self, frame: Frame) -> bool:
        """Whether the frame's centre lies on the table."""
        return (
            self.nearest_m <= frame.distance_m <= self.farthest_m
            and self.leftmost_m <= frame.offset_m <= self.rightmost_m
        )


def default_table(spot: WindowSpot) -> Table:
    """As far as an arm reaches: from the wall to 1.2 m, and 0.3 m past the opening on either side."""
    nearest = _depth_m(spot) / 2.0
    side = spot.window.width_m / 2.0 + 0.3
    return Table(
        nearest_m=nearest,
        farthest_m=max(1.2, nearest, spot.frame.distance_m),
        leftmost_m=min(-side, spot.frame.offset_m),
        rightmost_m=max(side, spot.frame.offset_m),
    )


def _depth_m(spot: WindowSpot) -> float:
    """How far the frame reaches, from its nearest to its farthest corner, square to the wall."""
    flat = replace(spot.frame, distance_m=spot.frame.distance_m + 100.0)
    reach = corners(flat, spot.window)[:, 1]
    return float(reach.max() - reach.min())


def places_on(table: Table, spot: WindowSpot, most: int = 60) -> tuple[WindowSpot, ...]:
    """The spot as given, first, then the same frame at an even grid of places on the table.

    At most `most` places (1-200) in all; the grid is as square as its sides allow.  Places where the frame
    would stand in the wall are left out, and so is the spot as given where it is not on the table.  Raises
    `OutOfDomain` on `table.farthest_m` when the frame has room nowhere.
    """
    if not 1 <= most <= MOST_PLACES:
        raise OutOfDomain("most_places", most, f"between 1 and {MOST_PLACES}")
    depth = table.farthest_m - table.nearest_m
    breadth = table.rightmost_m - table.leftmost_m
    found = [spot] if table.holds(spot.frame) else []
    rows, columns = _grid_shape(depth, breadth, most - len(found))
    for distance_m in _spread(table.nearest_m, table.farthest_m, rows):
        for offset_m in _spread(table.leftmost_m, table.rightmost_m, columns):
            frame = replace(spot.frame, distance_m=distance_m, offset_m=offset_m)
            if frame == spot.frame:
                continue
            try:
                found.append(replace(spot, frame=frame))
            except OutOfDomain:  # in the wall
                continue
    if not found:
        room = _depth_m(spot) / 2.0
        raise OutOfDomain(
            "table.farthest_m", table.farthest_m, f"at least {room:.4g}, or the frame has no room by the wall"
        )
    return tuple(found)


def _grid_shape(depth_m: float, breadth_m: float, most: int) -> tuple[int, int]:
    if most < 1 or (depth_m <= 0.0 and breadth_m <= 0.0):
        return (1 if most >= 1 else 0), 1
    if depth_m <= 0.0:
        return 1, most
    if breadth_m <= 0.0:
        return most, 1
    rows = int(np.clip(round(math.sqrt(most * depth_m / breadth_m)), 1, most))
    return rows, max(most // rows, 1)


def _spread(low: float, high: float, count: int) -> list[float]:
    if count == 1:
        return [(low + high) / 2.0]
    # To the millimetre: nobody lays a frame closer than that, and equal places then compare equal.
    return [round(float(value), 3) for value in np.linspace(low, high, count)]
