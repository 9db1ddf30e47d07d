"""The patch of sun through a window in the course of a day, and the best place for a table in it."""

from dataclasses import dataclass

import numpy as np

from noonframe.dose.scene import Scene
from noonframe.errors import OutOfDomain
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.patch import beam_share, patch_polygon
from noonframe.spot.sheet import Frame
from noonframe.spot.table import Table, places_on
from noonframe.stack.indoors import mean_effective_on_sheet

MOMENT_STEP_S = 900.0
_EDGE_STEP_S = 60.0
_PLACE_STEP_S = 600.0
_SMALLEST_SHARE = 1e-6


@dataclass(frozen=True)
class PatchMoment:
    """The patch at one instant: corners (offset, distance) in metres on the table's level.

    `area_m2` is the part of it on the table and `table_share` that part over the whole table.
    """

    time_s: float
    corners: tuple[tuple[float, float], ...]
    area_m2: float
    table_share: float


@dataclass(frozen=True)
class PatchDay:
    """When sun lies on the table: from `first_s` to `last_s` (None: never), with moments between."""

    first_s: float | None
    last_s: float | None
    moments: tuple[PatchMoment, ...]


@dataclass(frozen=True)
class BestPlace:
    """The place on the table that gathers most over a span, and its mean dose there."""

    spot: WindowSpot
    dose_j_m2: float


def _window_spot(scene: Scene) -> WindowSpot:
    if not isinstance(scene.spot, WindowSpot):
        raise OutOfDomain("spot.kind", "open", "window: only a window has a patch of sun")
    return scene.spot


def table_frame(table: Table) -> Frame:
    """The table as one sheet, so that its share in the patch is exact."""
    depth = max(table.farthest_m - table.nearest_m, 1e-3)
    breadth = max(table.rightmost_m - table.leftmost_m, 1e-3)
    middle = (table.nearest_m + table.farthest_m) / 2.0
    return Frame(max(middle, depth / 2.0), (table.leftmost_m + table.rightmost_m) / 2.0, breadth, depth)


def patch_day(scene: Scene, table: Table, from_s: float, to_s: float) -> PatchDay:
    """The patch on `table` between two instants: first and last minute, and every quarter of an hour."""
    window = _window_spot(scene).window
    whole = table_frame(table)
    area = whole.width_m * whole.height_m
    minute_s = np.arange(from_s, to_s + _EDGE_STEP_S / 2.0, _EDGE_STEP_S)
    vector = scene.track(minute_s).apparent_vector
    share = np.where(vector[:, 2] > 0.0, beam_share(whole, vector, window), 0.0)
    on = np.flatnonzero(share > _SMALLEST_SHARE)
    if on.size == 0:
        return PatchDay(None, None, ())
    every = round(MOMENT_STEP_S / _EDGE_STEP_S)
    chosen = sorted({int(on[0]), *(int(k) for k in on if k % every == 0), int(on[-1])})
    moments = tuple(
        PatchMoment(
            time_s=float(minute_s[k]),
            corners=tuple((float(u), float(v)) for u, v in patch_polygon(vector[k], window)),
            area_m2=float(share[k]) * area,
            table_share=float(share[k]),
        )
        for k in chosen
    )
    return PatchDay(float(minute_s[on[0]]), float(minute_s[on[-1]]), moments)


def best_place(scene: Scene, table: Table, from_s: float, to_s: float, most_places: int = 60) -> BestPlace:
    """The place on the table's grid with the highest mean dose between two instants."""
    spot = _window_spot(scene)
    places = places_on(table, spot, most_places)
    time_s = np.arange(from_s, to_s + _PLACE_STEP_S / 2.0, _PLACE_STEP_S)
    track = scene.track(time_s)
    rates = [
        mean_effective_on_sheet(scene.curves, track, place, scene.near_ground_albedo) for place in places
    ]
    dose = np.trapezoid(np.array(rates), time_s, axis=1)
    best = int(np.argmax(dose))
    return BestPlace(places[best], float(dose[best]))
