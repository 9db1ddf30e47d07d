"""The sky seen through a window from points of a sheet.

A direction through the opening is written (a, b): as far along the wall and as far up as it runs one metre
out. Planes through the point are straight lines in a and b, so the opening, seen through both faces of the
wall and under the slab, stays a rectangle there.

Sources: J. H. Lambert, Photometria (1760), for the contour integral; E. M. Sparrow, "A new and simpler
formulation for radiative angle factors", J. Heat Transfer 85 (1963) 81-88, doi:10.1115/1.3686058 (from
memory).
"""

from dataclasses import dataclass, replace

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.spot.skyline import checked_directions, column_share, facing_range, gauss_strips
from noonframe.spot.window import Window, checked_points
from noonframe.types import FloatArray

_FARTHEST_TANGENT = 1e9
"""Stands for infinity where a point lies in the plane of the opening."""

_STRIPS = 128
"""Strips of azimuth across the opening, besides those that end at the skyline's corners."""


@dataclass(frozen=True)
class OpeningView:
    """What each point sees through the opening, cosine weighted; a flat sheet on open ground sees 1 of sky.

    Each of shape `(n_points,)`. [unitless]
    """

    sky: FloatArray
    buildings: FloatArray  # above the horizontal and below the skyline opposite
    ground: FloatArray  # below the horizontal


@dataclass(frozen=True)
class SkyNodes:
    """Directions that stand for the sky each point sees through the opening; arrays `(n_points, n_nodes)`.

    weight: cosine-weighted share of the whole sky; sums to the point's sky view.
    pane_cosine: cosine of the angle between the direction and the pane's normal.
    azimuth, elevation: from straight out, positive to the right, and above the horizontal.  [rad]
    """

    weight: FloatArray
    pane_cosine: FloatArray
    azimuth: FloatArray
    elevation: FloatArray
    window: Window

    @property
    def direction(self) -> FloatArray:
        """Unit vectors [east, north, up], shape `(n_points, n_nodes, 3)`."""
        level = np.cos(self.elevation)
        parts = level * np.sin(self.azimuth), -level * np.cos(self.azimuth), np.sin(self.elevation)
        return self.window.to_local(np.stack(parts, axis=-1))


def sky_view(points: FloatArray, normal: FloatArray, window: Window) -> OpeningView:
    """Sky, buildings opposite and ground in view from each point, for a uniform radiance of each.

    points: window coordinates, shape `(n_points, 3)`, in the room. normal: unit normal of the sheet in
    window coordinates, shape `(3,)`. Without a skyline exact (Lambert's contour formula); with one,
    analytic in elevation and two-point Gauss in azimuth: within 1e-3 of the view of the whole opening.
    Light that the reveal, the slab and the room throw back is left out.
    """
    points, normal = checked_points(points), _checked_normal(normal)
    opening = _Opening.seen_from(points, window)
    ground = _contour_share(opening.below_horizontal(), normal)
    if window.skyline is None:
        sky = _contour_share(opening.above_horizontal(), normal)
        return OpeningView(sky, np.zeros_like(sky), ground)
    columns = _Columns.across(opening.above_horizontal(), normal, window)
    return OpeningView(columns.sky().sum(axis=1), columns.buildings().sum(axis=1), ground)


def sky_nodes(
    points: FloatArray, normal: FloatArray, window: Window, columns: int = 16, rows: int = 4
) -> SkyNodes:
    """The sky seen through the opening as `columns` times `rows` directions per point.

    Arguments as in `sky_view`, whose sky the weights add up to within 1e-3 of the whole opening's view.
    For a level sheet without a skyline columns stand at Gauss-Legendre nodes in azimuth, else of the running
    share of the view, so that each one shows sky, however ragged the skyline; within a column the rows are
    Gauss-Legendre nodes in elevation. For weighing a pane's transmittance by angle: with the default numbers
    within 2e-3 of far denser nodes.
    """
    if columns < 1 or rows < 1:
        raise OutOfDomain("columns and rows", (columns, rows), "at least 1 each")
    points, normal = checked_points(points), _checked_normal(normal)
    opening = _Opening.seen_from(points, window).above_horizontal()
    if window.skyline is None and normal[2] == 1.0:
        chosen = _Columns.gauss(opening, normal, columns)
        share = chosen.sky()
    else:
        chosen, share = _chosen_columns(_Columns.across(opening, normal, window), columns)
    azimuth, facing = chosen.azimuth[:, :, None], chosen.facing[:, :, None]
    lower, upper = chosen.skyline[:, :, None], chosen.upper[:, :, None]
    place, size = np.polynomial.legendre.leggauss(rows)
    elevation = lower + np.maximum(upper - lower, 0.0) * ((place + 1.0) / 2.0)
    level = np.cos(elevation)
    rise = np.sqrt(1.0 - level * level)  # at or above the horizontal, and cheaper than a sine
    raw = size * level * (facing * level + normal[2] * rise)
    whole = raw.sum(axis=2)
    scale = np.divide(share, whole, out=np.zeros_like(whole), where=share > 0.0)
    raw *= scale[:, :, None]
    n_points = len(points)
    across = np.broadcast_to(azimuth, elevation.shape).reshape(n_points, -1)
    return SkyNodes(
        weight=raw.reshape(n_points, -1),
        pane_cosine=(level * np.cos(azimuth)).reshape(n_points, -1),
        azimuth=across,
        elevation=elevation.reshape(n_points, -1),
        window=window,
    )


def _chosen_columns(fine: "_Columns", count: int) -> tuple["_Columns", FloatArray]:
    """Those of many columns that stand at Gauss-Legendre nodes of the running share, and their shares."""
    running = np.cumsum(fine.sky(), axis=1)
    total = running[:, -1]
    across, breadth = np.polynomial.legendre.leggauss(count)
    target = (across + 1.0) / 2.0 * total[:, None]
    index = (running[:, None, :] < target[:, :, None]).sum(axis=2)

    def pick(values: FloatArray) -> FloatArray:
        return np.take_along_axis(values, index, axis=1)

    picked = replace(
        fine,
        azimuth=pick(fine.azimuth),
        width=pick(fine.width),
        facing=pick(fine.facing),
        lower=pick(fine.lower),
        skyline=pick(fine.skyline),
        upper=pick(fine.upper),
    )
    return picked, total[:, None] * breadth / 2.0


def _checked_normal(normal: FloatArray) -> FloatArray:
    checked: FloatArray = checked_directions("normal", np.asarray(normal, dtype=np.float64)[None, ...])[0]
    return checked


@dataclass(frozen=True)
class _Opening:
    """Free view out as a rectangle of a and b, arrays `(n_points,)`; empty where an end passes the other."""

    left: FloatArray
    right: FloatArray
    low: FloatArray
    high: FloatArray

    @classmethod
    def seen_from(cls, points: FloatArray, window: Window) -> "_Opening":
        u, v, w = points.T
        half_m, outer_m = window.width_m / 2, v + window.reveal_depth_m
        slab_m = outer_m + window.overhang_depth_m
        # The work surface reaches to the wall, so the inner face shows nothing below it.
        inner_sill_m = max(window.sill_m, 0.0)
        return cls(
            np.maximum(_reach(-half_m - u, v, -1.0), _reach(-half_m - u, outer_m, -1.0)),
            np.minimum(_reach(half_m - u, v, 1.0), _reach(half_m - u, outer_m, 1.0)),
            np.maximum(_reach(inner_sill_m - w, v, -1.0), _reach(window.sill_m - w, outer_m, -1.0)),
            np.minimum(_reach(window.head_m - w, v, 1.0), _reach(window.head_m - w, slab_m, 1.0)),
        )

    def above_horizontal(self) -> "_Opening":
        return _Opening(self.left, self.right, np.maximum(self.low, 0.0), self.high)

    def below_horizontal(self) -> "_Opening":
        return _Opening(self.left, self.right, self.low, np.minimum(self.high, 0.0))


def _reach(rise: FloatArray, run: FloatArray, level: float) -> FloatArray:
    """`rise / run`; a large number for a point in the plane, of the sign of `level` if both are 0."""
    unbounded = np.where(rise == 0.0, level, np.sign(rise)) * _FARTHEST_TANGENT
    slope = np.divide(rise, run, out=unbounded, where=run > np.abs(rise) / _FARTHEST_TANGENT)
    return np.asarray(slope, dtype=np.float64)


def _contour_share(opening: _Opening, normal: FloatArray) -> FloatArray:
    """Cosine-weighted share of the sky in rectangles of a and b, in front of the sheet, shape `(n_points,)`.

    Half the sum over edges of the angle an edge subtends times the sheet normal's part along the normal of
    the plane through point and edge, divided by pi.
    """
    left, right, low, high = opening.left, opening.right, opening.low, opening.high
    seen = (right > left) & (high > low)
    # In this order the outline runs so that what is in front counts positive.
    a, b = np.stack([left, right, right, left], axis=1), np.stack([low, low, high, high], axis=1)
    start = np.stack([a, np.full_like(a, -1.0), b], axis=2)
    ahead = start @ normal
    end, ahead_end = np.roll(start, -1, axis=1), np.roll(ahead, -1, axis=1)
    enters, leaves = (ahead < 0.0) & (ahead_end >= 0.0), (ahead >= 0.0) & (ahead_end < 0.0)
    crosses = enters | leaves
    share = np.divide(ahead, ahead - ahead_end, out=np.zeros_like(ahead), where=crosses)
    crossing = start + share[..., None] * (end - start)
    start = np.where(enters[..., None], crossing, start)
    end = np.where(leaves[..., None], crossing, end)
    edges = np.where((ahead >= 0.0) | enters, _edge(start, end, normal), 0.0).sum(axis=1)
    # What is behind the sheet is cut off along the sheet's own horizon.
    leaving = (crossing * leaves[..., None]).sum(axis=1)
    entering = (crossing * enters[..., None]).sum(axis=1)
    total = (edges + _edge(leaving, entering, normal)) / (2.0 * np.pi)
    # Rounding leaves -1e-17 for a view edge on.
    return np.asarray(np.where(seen, np.maximum(total, 0.0), 0.0), dtype=np.float64)


def _edge(start: FloatArray, end: FloatArray, normal: FloatArray) -> FloatArray:
    """Angle of an edge times the part of its plane's normal along `normal`; 0 for an edge without length."""
    across = np.cross(start, end)
    size = np.sqrt((across * across).sum(axis=-1))
    angle = np.arctan2(size, (start * end).sum(axis=-1))
    weighted = np.divide(angle * (across @ normal), size, out=np.zeros_like(size), where=size > 0.0)
    return np.asarray(weighted, dtype=np.float64)


@dataclass(frozen=True)
class _Columns:
    """Upright columns of sky across the opening; arrays `(n_points, n_columns)`, angles in radians."""

    azimuth: FloatArray  # from straight out, positive to the right
    width: FloatArray
    facing: FloatArray  # of the sheet's normal along the column's horizontal direction
    lower: FloatArray  # free view from here, at or above the horizontal
    skyline: FloatArray  # the higher of `lower` and the skyline
    upper: FloatArray
    upward: float

    @classmethod
    def across(cls, opening: _Opening, normal: FloatArray, window: Window) -> "_Columns":
        first = np.arctan(opening.left)[:, None]
        last = np.arctan(np.maximum(opening.left, opening.right))[:, None]
        edges = first + (last - first) * np.linspace(0.0, 1.0, _STRIPS + 1)
        if window.skyline is not None:
            turned_deg = np.array(window.skyline.azimuth_deg) - window.outward_azimuth_deg
            corners = np.radians((turned_deg + 180.0) % 360.0 - 180.0)
            edges = np.sort(np.concatenate([edges, np.clip(corners, first, last)], axis=1), axis=1)
        return cls._standing(opening, normal, window, *gauss_strips(edges))

    @classmethod
    def gauss(cls, opening: _Opening, normal: FloatArray, count: int) -> "_Columns":
        """`count` Gauss-Legendre columns; a level sheet sees an opening without a skyline smoothly."""
        first, last = np.arctan(opening.left), np.arctan(np.maximum(opening.left, opening.right))
        place, size = np.polynomial.legendre.leggauss(count)
        half = (0.5 * (last - first))[:, None]
        return cls._standing(
            opening, normal, None, (0.5 * (first + last))[:, None] + half * place, half * size
        )

    @classmethod
    def _standing(
        cls,
        opening: _Opening,
        normal: FloatArray,
        window: Window | None,
        azimuth: FloatArray,
        width: FloatArray,
    ) -> "_Columns":
        facing = normal[0] * np.sin(azimuth) - normal[1] * np.cos(azimuth)
        lower = np.arctan(opening.low[:, None] * np.cos(azimuth))
        upper = np.arctan(opening.high[:, None] * np.cos(azimuth))
        upward = float(normal[2])
        lower, upper = facing_range(facing, upward, lower, upper)
        skyline = lower
        if window is not None and window.skyline is not None:
            height_deg = window.skyline.elevation_at(window.outward_azimuth_deg + np.degrees(azimuth))
            skyline = np.maximum(lower, np.radians(height_deg))
        return cls(azimuth, width, facing, lower, skyline, upper, upward)

    def sky(self) -> FloatArray:
        return self.width * column_share(self.facing, self.upward, self.skyline, self.upper)

    def buildings(self) -> FloatArray:
        top = np.minimum(self.skyline, self.upper)
        return self.width * column_share(self.facing, self.upward, self.lower, top)
