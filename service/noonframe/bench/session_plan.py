"""The plan of a session: as much as can be done, as soon as it can be, in the steadiest light."""

from dataclasses import dataclass

from noonframe.bench.session import Placed, Quality, Session
from noonframe.bench.session_bound import bound_for
from noonframe.bench.session_grid import COST_UNIT_S, Grid, frame_names, grid_of
from noonframe.bench.session_search import TRIES, Choice, find_plan
from noonframe.bench.session_solver import EFFORT, least_cost, least_left, solver_is_here

SOLVER, SEARCH = "solver", "search"


@dataclass(frozen=True)
class Effort:
    """How hard to look; neither is a matter of the clock, so the same session gives the same plan."""

    tries: int = TRIES
    solver: float = EFFORT
    use_solver: bool = True


@dataclass(frozen=True, eq=False)
class SessionPlan:
    """The sheets placed, by load time, the ids of those left out, and how good that is."""

    placed: tuple[Placed, ...]
    left_out: tuple[str, ...]
    quality: Quality


def plan_session(session: Session, effort: Effort | None = None) -> SessionPlan:
    """The best plan found, with the proof of how far from the best possible it can be.

    Exact on its grid: starts are those of the sheets' chances, and hands, frames, tray and room are booked by
    whole minutes, rounded outward.  Where the solver is not installed the search and the relaxation's bound
    stand alone.
    """
    effort = effort or Effort()
    grid = grid_of(session)
    best = find_plan(grid, effort.tries)
    bound = bound_for(grid, best)
    left_bound, cost_bound, method = bound.left_weight, bound.cost, SEARCH
    if effort.use_solver and solver_is_here():
        method = SOLVER
        if left_bound < best.left_weight:
            found, proven = least_left(grid, best, effort.solver)
            left_bound = max(left_bound, proven)
            if found.left_weight < best.left_weight:
                best, bound = found, bound_for(grid, found)
                cost_bound = bound.cost
        if bound.cost < best.cost:
            best, cost_bound = least_cost(grid, best, bound, effort.solver)
    quality = Quality(
        left_weight=best.left_weight,
        left_bound=left_bound,
        cost_s=best.cost * COST_UNIT_S,
        cost_bound_s=min(cost_bound, best.cost) * COST_UNIT_S,
        method=method,
    )
    return _told(grid, best, quality)


def _told(grid: Grid, best: Choice, quality: Quality) -> SessionPlan:
    """A plan in times, with a frame for each sheet."""
    session, work = grid.session, grid.session.work
    waiting = {number: [sheet.id for sheet in reversed(batch)] for number, batch in enumerate(grid.batches)}
    named = _Frames(grid)
    placed = []
    for number in sorted(best.options, key=lambda option: (_start_s(grid, option), option)):
        option = grid.options[number]
        chances = grid.batches[option.batch][0].chances[option.chance]
        start_s, end_s = float(chances.start_s[option.index]), float(chances.end_s[option.index])
        kind = session.frames[option.kind].name
        load_s, unloaded_s = start_s - work.before_s, end_s + work.unloaded_s
        placed.append(
            Placed(
                sheet_id=waiting[option.batch].pop(),
                frame_kind=kind,
                frame=named.take(kind, load_s, unloaded_s),
                spot=chances.spot,
                chance=option.chance,
                index=option.index,
                load_s=load_s,
                start_s=start_s,
                end_s=end_s,
                unloaded_s=unloaded_s,
                washed_s=end_s + work.after_s,
                done_s=end_s + work.done_s,
                moves_s=chances.moves_s.get(option.index, ()),
            )
        )
    waited = {sheet for rest in waiting.values() for sheet in rest}
    left = tuple(sheet.id for sheet in session.sheets if sheet.id in waited)
    return SessionPlan(tuple(placed), left, quality)


def _start_s(grid: Grid, option: int) -> float:
    taken = grid.options[option]
    return float(grid.batches[taken.batch][0].chances[taken.chance].start_s[taken.index])


class _Frames:
    """Gives each sheet a frame by name: of those free, the one that came back first."""

    def __init__(self, grid: Grid) -> None:
        session = grid.session
        self._free_s = {
            kind.name: dict.fromkeys(frame_names(kind.name, kind.count), session.from_s)
            for kind in session.frames
        }
        taken = [(each.frame, each.end_s) for each in session.running]
        taken += [(each.frame, each.end_s) for each in session.washing]
        for frame, end_s in taken:
            for frames in self._free_s.values():
                if frame in frames:
                    frames[frame] = max(frames[frame], end_s + session.work.unloaded_s)

    def take(self, kind: str, from_s: float, until_s: float) -> str:
        """A frame of the kind for a span of time; spans come in order of their start."""
        frames = self._free_s[kind]
        name = min(frames, key=lambda each: (frames[each] > from_s, frames[each]))
        frames[name] = max(until_s, frames[name])
        return name
