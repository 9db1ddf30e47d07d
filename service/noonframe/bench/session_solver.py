"""The exact search: what the relaxation leaves open goes to a constraint solver that proves what it finds.

Deterministic: one worker, a fixed seed and a limit on its own measure of effort, never on the clock.
"""

import math
from typing import Any

import numpy as np

from noonframe.bench.session_bound import Bound, resource_rows
from noonframe.bench.session_grid import Grid
from noonframe.bench.session_search import Choice, choice_of

_SEED = 1
_NEAR = 0.002  # a plan this near to the bound is not looked at further
_WHOLE = 1e-3  # bounds of whole numbers, told as floats
EFFORT = 4.0
"""In the solver's own deterministic seconds: about two seconds on one core of 2.5 GHz."""


def solver_is_here() -> bool:
    """Whether the solver is installed; it is not built for every kind of computer."""
    from importlib.util import find_spec

    return find_spec("ortools") is not None


def least_left(grid: Grid, known: Choice, effort: float = EFFORT) -> tuple[Choice, int]:
    """The plan found that leaves out least, `known` or better, and the weight that every plan leaves out."""
    model = _Model(grid, np.ones(len(grid.options), dtype=np.bool_), known)
    return model.least_left(effort)


def least_cost(grid: Grid, known: Choice, bound: Bound, effort: float = EFFORT) -> tuple[Choice, int]:
    """The cheapest plan found that leaves out no more than `known`, and what every such plan costs."""
    found, proven = _Model(grid, bound.matters, known).least_cost(effort)
    # An option that does not matter is in no plan better than the known one.
    return found, min(max(bound.cost, min(math.ceil(proven - _WHOLE), known.cost)), found.cost)


class _Model:
    """The session on its grid as a constraint model over some of its options."""

    def __init__(self, grid: Grid, matters: Any, known: Choice) -> None:
        from ortools.sat.python import cp_model

        self._grid, self._known = grid, known
        model = self._model = cp_model.CpModel()
        self._kept = [int(option) for option in np.flatnonzero(matters)]
        self._takes = {option: model.new_bool_var("") for option in self._kept}
        rows, there = resource_rows(grid)
        users: list[list[Any]] = [[] for _ in there]
        for option in self._kept:
            for row in rows[option]:
                users[row].append(self._takes[option])
        for row, capacity in zip(users, there.tolist(), strict=True):
            if capacity == 1:
                model.add_at_most_one(row)
            elif len(row) > capacity:
                model.add(cp_model.LinearExpr.sum(row) <= capacity)
        left = []
        for batch, options in zip(grid.batches, grid.by_batch, strict=True):
            mine = [self._takes[option] for option in options if option in self._takes]
            missing = model.new_int_var(0, len(batch), "")
            model.add(cp_model.LinearExpr.sum([*mine, missing]) == len(batch))
            left.append((missing, batch[0].priority))
        self._left = cp_model.LinearExpr.weighted_sum(
            [missing for missing, _ in left], [priority for _, priority in left]
        )
        known_options = set(known.options)
        for option, take in self._takes.items():
            model.add_hint(take, option in known_options)

    def least_left(self, effort: float) -> tuple[Choice, int]:
        """The plan that leaves out least, and how little any can."""
        self._model.add(self._left <= self._known.left_weight)
        self._model.minimize(self._left)
        found, bound = self._run(effort)
        return min(self._known, found, key=lambda choice: choice.rank), math.ceil(bound - _WHOLE)

    def least_cost(self, effort: float) -> tuple[Choice, float]:
        """The plan that costs least of those that leave out no more than the known one."""
        from ortools.sat.python import cp_model

        self._model.add(self._left <= self._known.left_weight)
        costs = [self._grid.options[option].cost for option in self._kept]
        self._model.minimize(
            cp_model.LinearExpr.weighted_sum([self._takes[option] for option in self._kept], costs)
        )
        found, bound = self._run(effort)
        return min(self._known, found, key=lambda choice: choice.rank), bound

    def _run(self, effort: float) -> tuple[Choice, float]:
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        settings = solver.parameters
        settings.num_workers = 1
        settings.random_seed = _SEED
        settings.max_deterministic_time = effort
        settings.linearization_level = 2
        settings.relative_gap_limit = _NEAR
        settings.symmetry_level = 0
        settings.cp_model_probing_level = 0
        status = solver.solve(self._model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            bound = solver.best_objective_bound if status == cp_model.UNKNOWN else 0.0
            return self._known, max(bound, 0.0)
        taken = [option for option, take in self._takes.items() if solver.boolean_value(take)]
        return choice_of(self._grid, taken), max(solver.best_objective_bound, 0.0)
