"""What no plan can beat: linear relaxations of the session on its grid, and the options that they rule out.

Every option becomes a share between 0 and 1; every minute of every resource takes at most what there is.  The
least that is left out, and the least cost of plans that leave out no more than a known one, bound every plan
from below.  An option whose reduced cost is above the distance between bound and known plan cannot be in a
better one (Dantzig, Fulkerson and Johnson 1954, Operations Research 2, from memory).
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from noonframe.bench.session_grid import Grid, costs_of
from noonframe.bench.session_search import Choice
from noonframe.types import FloatArray, IntArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

_SLACK = 1e-6
"""Share of a bound that the arithmetic of the relaxation may be out."""


@dataclass(frozen=True, eq=False)
class Bound:
    """Least weight left out and least cost by the relaxation, and the options (n_option,) that may matter."""

    left_weight: int
    cost: int
    matters: npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class _Rows:
    """Resource rows: sparse (n_row, n_option) of ones, and how much there is (n_row,)."""

    takes: "csr_array"
    there: FloatArray


def bound_for(grid: Grid, known: Choice) -> Bound:
    """Bounds for plans at least as good as a known one."""
    count = len(grid.options)
    total = int(sum(batch[0].priority * len(batch) for batch in grid.batches))
    if count == 0:
        return Bound(total, 0, np.zeros(0, dtype=np.bool_))
    rows = _rows(grid)
    batch = np.array([option.batch for option in grid.options])
    weight = grid.priorities[batch].astype(np.float64)
    left = 0
    if known.left_weight > 0:
        found = _solve(-weight, rows)
        left = min(max(math.ceil(total + found.value - _SLACK * max(total, 1)), 0), known.left_weight)
    # Plans that leave out no more than the known one does.
    enough = _Rows(
        _stacked(rows.takes, -weight[None, :]),
        np.append(rows.there, -(total - known.left_weight)),
    )
    found = _solve(costs_of(grid), enough)
    # Costs are whole numbers.
    cost = max(math.ceil(found.value * (1.0 - _SLACK)), 0) if math.isfinite(found.value) else 0
    matters: npt.NDArray[np.bool_] = found.reduced <= known.cost - cost + 1.0
    matters[list(known.options)] = True
    return Bound(left, min(cost, known.cost), matters)


def _stacked(above: "csr_array", below: FloatArray) -> "csr_array":
    from scipy.sparse import csr_array, vstack

    return csr_array(vstack([above, csr_array(below)]))


@dataclass(frozen=True, eq=False)
class _Solved:
    value: float
    reduced: FloatArray


def _solve(cost: FloatArray, rows: _Rows) -> _Solved:
    from scipy.optimize import linprog

    solve: Any = linprog  # its stubs do not know that rows may be sparse
    found = solve(cost, A_ub=rows.takes, b_ub=rows.there, bounds=(0.0, 1.0), method="highs")
    if found.status != 0:
        # Nothing is known then, which is a bound as well.
        return _Solved(-math.inf, np.full(cost.size, -math.inf))
    return _Solved(float(found.fun), np.asarray(found.lower.marginals, dtype=np.float64))


def resource_rows(grid: Grid) -> tuple[list[IntArray], IntArray]:
    """For each option the rows it takes of, and how much there is of each row.

    Minutes that the same options take become one row; those that cannot run out are left away.
    """
    from scipy.sparse import csr_array

    capacity = np.repeat([resource.capacity for resource in grid.resources], grid.slices).astype(np.int64)
    for mask in grid.fixed:
        capacity[grid.usage(mask)] -= 1
    taken = [grid.usage(option.mask) for option in grid.options]
    sizes = [rows.size for rows in taken]
    columns = np.repeat(np.arange(len(taken)), sizes)
    table = csr_array(
        (np.ones(columns.size), (np.concatenate(taken) if taken else columns, columns)),
        shape=(capacity.size, max(len(taken), 1)),
    )
    distinct: dict[tuple[bytes, int], int] = {}
    number = np.full(capacity.size, -1)
    there: list[int] = []
    for row in range(capacity.size):
        users = table.indices[table.indptr[row] : table.indptr[row + 1]]
        if users.size <= capacity[row]:
            continue
        key = (users.tobytes(), int(capacity[row]))
        if key not in distinct:
            distinct[key] = len(there)
            there.append(max(int(capacity[row]), 0))
        number[row] = distinct[key]
    kept = [np.unique(number[rows][number[rows] >= 0]) for rows in taken]
    return kept, np.array(there, dtype=np.int64)


def _rows(grid: Grid) -> _Rows:
    from scipy.sparse import csr_array

    kept, there = resource_rows(grid)
    counts = np.array([len(batch) for batch in grid.batches])
    whole = [
        np.append(rows, there.size + option.batch) for rows, option in zip(kept, grid.options, strict=True)
    ]
    columns = np.repeat(np.arange(len(whole)), [rows.size for rows in whole])
    takes = csr_array(
        (np.ones(columns.size), (np.concatenate(whole), columns)),
        shape=(there.size + counts.size, len(whole)),
    )
    return _Rows(takes, np.concatenate([there, counts]).astype(np.float64))
