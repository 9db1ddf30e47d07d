"""Plans of moves for a scene: which places or aims to try, and the best way through them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from noonframe.dose.moves import Candidate, MovePlan, plan_moves
from noonframe.dose.scene import Scene, with_reciprocity
from noonframe.errors import OutOfDomain
from noonframe.spot.indoors import WindowSpot, sheet_view
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.table import Table, default_table, places_on
from noonframe.stack.indoors import effective_on_sheets
from noonframe.types import FloatArray

LONGEST_PLAN_S = 8 * 3600.0
STEP_S = 60.0
_FIRST_LOOK_S = 3600.0
SEARCH_WORK = 250_000_000
"""Two seconds or so where evenness binds at a narrow window; nothing where it does not."""

_PROPPED_TILT_DEG = 30.0
_FREE_TILTS_DEG = (15.0, 30.0, 45.0, 60.0)
_CLOSED_OPTICAL_DEPTH = 5.0
"""Cloud this thick leaves less than 1 % of the beam, exp(-5): nothing to aim at."""


class Aims(StrEnum):
    """How an outdoor frame may be aimed."""

    FLAT = "flat"  # level only
    PROPPED = "propped"  # level, or propped at 30 degrees toward one of eight winds
    FREE = "free"  # level, or at 15, 30, 45 or 60 degrees toward one of twelve directions


@dataclass(frozen=True)
class PlaceChoice:
    """A spot the plan may use, in words."""

    spot: OpenSpot | WindowSpot
    says: str


@dataclass(frozen=True)
class ScenePlan:
    """A plan of moves among `choices`, whose first is the spot as given."""

    choices: tuple[PlaceChoice, ...]
    plan: MovePlan
    start_s: float
    looked_until_s: float


def choices_for(
    scene: Scene, *, aims: Aims = Aims.FREE, table: Table | None = None, most_places: int = 60
) -> tuple[PlaceChoice, ...]:
    """The spot as given, first, and the places (indoors) or aims (in the open) to try beside it.

    A spot that is not on the table given is left out.  Under closed cloud level is the one aim tried: there
    is nothing to aim at, and what leaning away from a wall might gain is not advised.
    """
    spot = scene.spot
    if isinstance(spot, WindowSpot):
        places = places_on(table or default_table(spot), spot, most_places)
        return tuple(PlaceChoice(place, say_place(place)) for place in places)
    closed = all(
        part.optical_depth >= _CLOSED_OPTICAL_DEPTH for part in scene.sky.state.cloud if part.probability
    )
    tried = _aims(spot, Aims.FLAT if closed else aims)
    return tuple(PlaceChoice(open_spot, say_aim(open_spot.aim)) for open_spot in tried)


def _aims(spot: OpenSpot, aims: Aims) -> tuple[OpenSpot, ...]:
    wanted = [spot.aim, Aim(0.0, spot.aim.aim_azimuth_deg)]
    if aims is Aims.PROPPED:
        wanted += [Aim(_PROPPED_TILT_DEG, azimuth) for azimuth in np.arange(0.0, 360.0, 45.0).tolist()]
    elif aims is Aims.FREE:
        wanted += [
            Aim(tilt, azimuth) for tilt in _FREE_TILTS_DEG for azimuth in np.arange(0.0, 360.0, 30.0).tolist()
        ]
    return tuple(replace(spot, aim=aim) for aim in dict.fromkeys(wanted))


def say_place(spot: WindowSpot) -> str:
    """Where a frame lies inside a window, in words with numbers."""
    frame = spot.frame
    side = "on the centre line"
    if abs(frame.offset_m) >= 0.005:
        side = f"{abs(frame.offset_m) * 100:.0f} cm to the {'right' if frame.offset_m > 0 else 'left'}"
    return f"{frame.distance_m * 100:.0f} cm from the wall, {side}"


_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def say_aim(aim: Aim) -> str:
    """How an outdoor frame is aimed, in words with numbers."""
    if aim.tilt_deg == 0.0:
        return "laid flat"
    wind = _WINDS[round(aim.aim_azimuth_deg / 45.0) % 8]
    return f"tilted {aim.tilt_deg:.0f}° toward {wind} ({aim.aim_azimuth_deg:.0f}°)"


def candidate_rates(scene: Scene, choices: Sequence[PlaceChoice], time_s: FloatArray) -> FloatArray:
    """Rate of dose (n_choice, n_time, n_point) at each choice.  [W m-2]"""
    indoors = [choice.spot for choice in choices if isinstance(choice.spot, WindowSpot)]
    if indoors:
        track = scene.track(time_s)
        effective = effective_on_sheets(scene.curves, track, tuple(indoors), scene.near_ground_albedo)
        return with_reciprocity(effective, scene.reciprocity_exponent)
    return np.stack([replace(scene, spot=choice.spot).rate(time_s)[:, None] for choice in choices])


def plan_for(
    scene: Scene,
    choices: tuple[PlaceChoice, ...],
    start_s: float,
    target_j_m2: float,
    *,
    move_cost_s: float,
    max_moves: int,
    tolerance_stops: float | None,
    start_anywhere: bool,
) -> ScenePlan:
    """The best plan from `start_s`, looked for over no more than eight hours of light.

    `start_anywhere` lets the plan choose where the frame begins; otherwise it begins where it is given.
    `tolerance_stops` is the evenness asked for (None: any).  Raises `OutOfDomain` naming the field.
    """
    if tolerance_stops is not None and tolerance_stops <= 0.0:
        raise OutOfDomain("evenness_stops", tolerance_stops, "above 0")
    if not start_anywhere and choices[0].spot != scene.spot:
        raise OutOfDomain("start_fixed", True, "false here: the frame as given is not on the table")
    weights = sheet_view(scene.spot).weights if isinstance(scene.spot, WindowSpot) else None
    labels = [Candidate(index, choice.says) for index, choice in enumerate(choices)]
    plan: MovePlan | None = None
    time_s = np.empty(0)
    for reach in (_FIRST_LOOK_S, LONGEST_PLAN_S):
        time_s = np.arange(0.0, reach + STEP_S / 2.0, STEP_S)
        rates = candidate_rates(scene, choices, start_s + time_s)
        means = rates[:, :, 0] if weights is None else rates @ weights
        if reach < LONGEST_PLAN_S and np.trapezoid(means.max(axis=0), time_s) < target_j_m2:
            continue  # not even the best place of every minute gives the dose so soon
        plan = plan_moves(
            time_s,
            rates,
            target_j_m2,
            move_cost_s=move_cost_s,
            max_moves=max_moves,
            tolerance_stops=tolerance_stops,
            start_index=None if start_anywhere else 0,
            weights=weights,
            candidates=labels,
            work_limit=SEARCH_WORK,
        )
        # A longer look can only find later finishes, so a plan that is even and in time is final.
        if plan.outcome == "reached" and plan.stay_finish_s is not None:
            break
    assert plan is not None
    return ScenePlan(choices, plan, start_s, start_s + float(time_s[-1]))
