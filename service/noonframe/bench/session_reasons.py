"""Why a sheet is not in the plan: the first thing that stands in its way."""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from noonframe.bench.session import Session, Sheet
from noonframe.bench.session_grid import HANDS, TRAY, Grid, grid_of
from noonframe.bench.session_plan import SessionPlan


class Reason(StrEnum):
    """What keeps a sheet out."""

    TOO_DIM = "too-dim"  # the light of no start gives the dose before it goes
    UNEVEN = "uneven"  # where the dose is reached, the sheet is lit too unevenly
    NO_TIME = "no-time"  # no start leaves time for the work before and after it
    TOO_LATE = "too-late"  # it could be done, but not by when it must be
    HANDS_BUSY = "hands-busy"
    FRAMES_BUSY = "frames-busy"
    TRAY_FULL = "tray-full"
    SPOT_FULL = "spot-full"


@dataclass(frozen=True)
class WhyNot:
    """A reason, with the earliest the sheet could be done if it had the session to itself (None: never)."""

    sheet_id: str
    reason: Reason
    could_be_done_s: float | None


def why_left_out(
    session: Session, plan: SessionPlan, uneven: frozenset[str] = frozenset()
) -> tuple[WhyNot, ...]:
    """A reason for each sheet left out; `uneven` names batches that evenness ruled out everywhere."""
    sheets = {sheet.id: sheet for sheet in session.sheets}
    grid = grid_of(session) if plan.left_out else None
    return tuple(
        _why(session, plan, grid, sheets[sheet_id], uneven) for sheet_id in plan.left_out if grid is not None
    )


def _why(session: Session, plan: SessionPlan, grid: Grid, sheet: Sheet, uneven: frozenset[str]) -> WhyNot:
    ends = [
        float(chances.end_s[np.isfinite(chances.end_s)].min(initial=math.inf)) for chances in sheet.chances
    ]
    if not math.isfinite(min(ends, default=math.inf)):
        return WhyNot(sheet.id, Reason.UNEVEN if sheet.batch in uneven else Reason.TOO_DIM, None)
    alone = _earliest_done(session, sheet)
    if alone is None:
        return WhyNot(sheet.id, Reason.NO_TIME, None)
    latest_s = min(session.until_s, math.inf if sheet.done_by_s is None else sheet.done_by_s)
    if alone > latest_s:
        return WhyNot(sheet.id, Reason.TOO_LATE, alone)
    return WhyNot(sheet.id, _in_the_way(grid, plan, sheet), alone)


def _earliest_done(session: Session, sheet: Sheet) -> float | None:
    """The earliest end of a sheet's wash when nothing else is in the session and its limits are lifted."""
    work = session.work
    earliest_s = max(session.from_s, -math.inf if sheet.earliest_s is None else sheet.earliest_s)
    done = [
        float(chances.end_s[fits].min()) + work.done_s
        for chances in sheet.chances
        if (fits := (chances.start_s - work.before_s >= earliest_s) & np.isfinite(chances.end_s)).any()
    ]
    return min(done, default=None)


def _in_the_way(grid: Grid, plan: SessionPlan, sheet: Sheet) -> Reason:
    """Of what is taken, the thing that alone stands in the way of most of the sheet's places."""
    number = next(k for k, batch in enumerate(grid.batches) if batch[0].batch == sheet.batch)
    taken = grid.free()
    for placed in plan.placed:
        taken = taken.plus(_mask_of(grid, plan, placed.sheet_id))
    whole = (1 << grid.slices) - 1
    votes: dict[str, float] = {}
    for option in grid.by_batch[number]:
        blocked = grid.options[option].mask & taken.full
        names = [each.name for each in grid.resources if blocked & (whole << each.offset)]
        for name in names:
            votes[name] = votes.get(name, 0.0) + 1.0 / len(names) ** 3  # one thing alone counts most
    if not votes:
        return Reason.HANDS_BUSY  # a break or what is under way leaves no place at all
    name = max(votes, key=lambda each: votes[each])
    if name == HANDS:
        return Reason.HANDS_BUSY
    if name == TRAY:
        return Reason.TRAY_FULL
    return Reason.SPOT_FULL if name.startswith("spot:") else Reason.FRAMES_BUSY


def _mask_of(grid: Grid, plan: SessionPlan, sheet_id: str) -> int:
    placed = next(each for each in plan.placed if each.sheet_id == sheet_id)
    for number, batch in enumerate(grid.batches):
        if any(sheet.id == sheet_id for sheet in batch):
            kinds = [kind.name for kind in grid.session.frames]
            for option in grid.by_batch[number]:
                found = grid.options[option]
                if (found.chance, found.index) == (placed.chance, placed.index) and kinds[
                    found.kind
                ] == placed.frame_kind:
                    return found.mask
    return 0
