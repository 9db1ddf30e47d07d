"""Cubic splines with not-a-knot ends, in NumPy alone: a larger library would triple what a start costs."""

from functools import cached_property, lru_cache

import numpy as np

from noonframe.types import FloatArray


class CubicSpline:
    """The twice continuous cubic through fixed nodes (n,), three or more and rising; n = 3 is a parabola.

    Linear in the node values, so it serves both as an operator (`weights`) and on given values (`through`).
    Beyond the nodes the end cubics go on.
    """

    def __init__(self, nodes: FloatArray) -> None:
        self.nodes = nodes
        self._system, self._right_side = _curvature_system(nodes)

    def weights(self, at: FloatArray) -> FloatArray:
        """Matrix (n_at, n) whose product with the node values is the spline at `at` (n_at,)."""
        return self._at(np.eye(self.nodes.size), self._curvature, at)

    def through(self, values: FloatArray, at: FloatArray) -> FloatArray:
        """The splines through values (n, k), at points (n_at,): shape (n_at, k)."""
        return self._at(values, self._curvature @ values, at)

    @cached_property
    def _curvature(self) -> FloatArray:
        """Matrix (n, n) from node values to second derivatives at the nodes."""
        matrix: FloatArray = np.linalg.solve(self._system, self._right_side).astype(np.float64)
        return matrix

    def _at(self, values: FloatArray, curvature: FloatArray, at: FloatArray) -> FloatArray:
        x = self.nodes
        cell = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
        step = x[cell + 1] - x[cell]
        right = (at - x[cell]) / step
        left = 1.0 - right
        result: FloatArray = left[:, None] * values[cell] + right[:, None] * values[cell + 1]
        result += ((left**3 - left) * step**2 / 6.0)[:, None] * curvature[cell]
        result += ((right**3 - right) * step**2 / 6.0)[:, None] * curvature[cell + 1]
        return result

    def end_slope(self) -> FloatArray:
        """Weights (n,) of the spline's slope at the last node."""
        curvature = self._curvature
        step = self.nodes[-1] - self.nodes[-2]
        slope: FloatArray = step * (curvature[-2] + 2.0 * curvature[-1]) / 6.0
        slope[-1] += 1.0 / step
        slope[-2] -= 1.0 / step
        return slope


def spline_over(nodes: FloatArray) -> CubicSpline:
    """The spline with these nodes, kept: skies over places of one height share theirs."""
    return _kept_spline(nodes.tobytes())


@lru_cache(maxsize=64)
def _kept_spline(nodes: bytes) -> CubicSpline:
    return CubicSpline(np.frombuffer(nodes))


def _curvature_system(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Matrices (n, n) S and R with S times the second derivatives equal to R times the node values."""
    count = x.size
    step = np.diff(x)
    system, right_side = np.zeros((count, count)), np.zeros((count, count))
    inner = np.arange(1, count - 1)
    before, after = step[:-1], step[1:]
    system[inner, inner - 1] = before / 6.0  # continuity of the first derivative
    system[inner, inner] = (before + after) / 3.0
    system[inner, inner + 1] = after / 6.0
    right_side[inner, inner - 1] = 1.0 / before
    right_side[inner, inner] = -1.0 / before - 1.0 / after
    right_side[inner, inner + 1] = 1.0 / after
    system[0, :3] = step[1], -step[0] - step[1], step[0]  # equal third derivatives across the second node
    system[-1, -3:] = (0.0, 1.0, -1.0) if count == 3 else (step[-1], -step[-2] - step[-1], step[-2])
    return system, right_side
