"""A frame inside a window: what its sample points see, worked out once for each position."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from noonframe.spot.sheet import Frame, corners, normal, sample_points, sample_weights
from noonframe.spot.sky_view import sky_nodes, sky_view
from noonframe.spot.window import Window
from noonframe.types import FloatArray

NO_PANE_ID = "none"


@dataclass(frozen=True)
class WindowSpot:
    """A frame on a table (or on an easel) inside a window, with the grid that samples its sheet.

    Raises `OutOfDomain` on `frame.distance_m` when the frame would stand in the wall.
    """

    window: Window
    frame: Frame
    grid: tuple[int, int] = (5, 5)

    def __post_init__(self) -> None:
        corners(self.frame, self.window)
        sample_weights(self.grid)

    @property
    def is_open(self) -> bool:
        """Whether there is no pane in the window."""
        return self.window.pane == NO_PANE_ID


@dataclass(frozen=True, eq=False)
class SheetView:
    """What the points of one or more sheets see, whatever the sun does; kept, so one view is one object.

    `points` (n_point, 3) in window coordinates; `weights` (n_point,) their shares of their own sheet;
    `facing` (3,) the sheets' normal as east, north, up.  `sky` and `ground` (n_point,) are cosine-weighted
    shares of the dome, 1 for a level sheet in the open.  Where there is a pane, `node_weight` and
    `pane_cosine` (n_point, n_node) split `sky` by the angle at which its light passes it; else n_node is 0.
    """

    points: FloatArray
    weights: FloatArray
    facing: FloatArray
    sky: FloatArray
    ground: FloatArray
    node_weight: FloatArray
    pane_cosine: FloatArray

    @property
    def mean_sky(self) -> float:
        """Mean of `sky` over the sheet: the `sky_view` of an answer."""
        return float(self.weights @ self.sky)


@lru_cache(maxsize=1024)
def sheet_view(spot: WindowSpot) -> SheetView:
    """The view of `spot`, from its geometry alone."""
    return sheets_view((spot,))


@lru_cache(maxsize=64)
def sheets_view(spots: tuple[WindowSpot, ...]) -> SheetView:
    """The views of several places of one frame inside one window, sheet after sheet in one row of points.

    All spots share window, grid, tilt and aim.
    """
    first = spots[0]
    frame = first.frame
    shift = [(s.frame.offset_m - frame.offset_m, s.frame.distance_m - frame.distance_m, 0.0) for s in spots]
    points = (sample_points(frame, first.window, first.grid) + np.array(shift)[:, None, :]).reshape(-1, 3)
    points[:, 1] = np.maximum(points[:, 1], 0.0)  # flush with the wall a shift ends a rounding error outside
    facing = normal(first.frame, first.window)
    seen = sky_view(points, facing, first.window)
    if first.is_open:
        node_weight = pane_cosine = np.empty((len(points), 0))
    else:
        nodes = sky_nodes(points, facing, first.window)
        node_weight, pane_cosine = nodes.weight, nodes.pane_cosine
    return SheetView(
        points=points,
        weights=np.tile(sample_weights(first.grid), len(spots)),
        facing=np.asarray(first.window.to_local(facing), dtype=np.float64),
        sky=seen.sky,
        ground=seen.ground,
        node_weight=node_weight,
        pane_cosine=pane_cosine,
    )
