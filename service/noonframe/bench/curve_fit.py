"""Fitting a characteristic curve to readings of density, each under its own dose.

Least squares with a soft L1 loss: a residual beyond the reader's error counts by its size and not by its
square, so that one misread step hardly bends the curve.
"""

import math
from collections.abc import Sequence

import numpy as np

from noonframe.bench.curve import (
    READING_ERROR,
    SHOULDER_SHARE,
    TOE_NET_DENSITY,
    CharacteristicCurve,
    share_of_net,
)
from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

FEWEST_READINGS = 7
"""Five numbers are fitted; two more are the least that can gainsay them."""

LARGEST_FALL = 0.06
"""Density may fall this far below a reading at less dose: twice the usual error of a densitometer, 0.02 to
0.03 (common practice, no source).  More is a misread row or an overexposed coat that has bleached."""

LEAST_NET_DENSITY = 0.2


def fit_curve(dose_j_m2: Sequence[float], density: Sequence[float]) -> CharacteristicCurve:
    """The curve through readings of density, each with the dose under its step, in any order.

    At least 7 readings at different doses, densities between -0.1 and 5 (less than 0 only relative to paper
    white), rising with dose but for the reader's error, and 0.2 apart.
    """
    from scipy.optimize import least_squares

    _check(dose_j_m2, density)
    x, y = np.log10(np.asarray(dose_j_m2, dtype=np.float64)), np.asarray(density, dtype=np.float64)
    low, high = float(y.min()), float(y.max())
    middle = float(np.interp(0.5 * (low + high), np.maximum.accumulate(y[np.argsort(x)]), np.sort(x)))

    def misfit(parameters: FloatArray) -> FloatArray:
        d_min, net, centre, log_k, log_v = parameters
        off: FloatArray = d_min + net * share_of_net(x, centre, math.exp(log_k), math.exp(log_v)) - y
        return off

    # D_max may lie beyond the last reading, but not so far that the shoulder is pure invention
    span = high - low
    lower = [low - 0.3 * span, 0.5 * span, float(x.min()) - 3.0, math.log(0.5), math.log(0.05)]
    upper = [low + 0.1 * span, 1.6 * span, float(x.max()) + 3.0, math.log(60.0), math.log(20.0)]
    start = [low, span, middle, math.log(4.0), 0.0]
    fit = least_squares(
        misfit, start, bounds=(lower, upper), loss="soft_l1", f_scale=READING_ERROR, x_scale="jac", xtol=1e-12
    )
    d_min, net, centre, log_k, log_v = (float(value) for value in fit.x)
    if net <= TOE_NET_DENSITY / SHOULDER_SHARE:
        raise OutOfDomain("density", net, "spread over more than the toe of the curve")
    return CharacteristicCurve(
        d_min,
        d_min + net,
        centre,
        math.exp(log_k),
        math.exp(log_v),
        tuple((-misfit(fit.x)).tolist()),
        _scale_error(fit.x, np.asarray(fit.jac), float(np.sum(misfit(fit.x) ** 2)) / (len(x) - 5)),
        float(10.0 ** x.min()),
        float(10.0 ** x.max()),
        low,
        high,
    )


def _scale_error(parameters: FloatArray, jacobian: FloatArray, variance: float) -> float:
    """Standard error of the exposure scale by the linear propagation of the fit's."""

    def scale(p: FloatArray) -> float:
        k, v = math.exp(p[3]), math.exp(p[4])
        toe, shoulder = (TOE_NET_DENSITY / p[1]) ** (-1.0 / v), SHOULDER_SHARE ** (-1.0 / v)
        return (math.log(toe - 1.0) - math.log(shoulder - 1.0)) / k

    step = 1e-5
    gradient = np.array(
        [(scale(parameters + d) - scale(parameters - d)) / (2 * step) for d in np.eye(5) * step]
    )
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * variance
    return math.sqrt(max(float(gradient @ covariance @ gradient), 0.0))


def _check(dose_j_m2: Sequence[float], density: Sequence[float]) -> None:
    if len(dose_j_m2) != len(density):
        limit = f"as many as the doses, {len(dose_j_m2)}"
        raise OutOfDomain("density", len(density), limit)
    for index, dose in enumerate(dose_j_m2):
        if not (math.isfinite(dose) and dose > 0.0):
            raise OutOfDomain(f"dose_j_m2[{index}]", dose, "above 0 J/m2")
    for index, value in enumerate(density):
        if not (math.isfinite(value) and -0.1 <= value <= 5.0):
            raise OutOfDomain(f"density[{index}]", value, "a number between -0.1 and 5")
    different = len(set(dose_j_m2))
    if different < FEWEST_READINGS:
        raise OutOfDomain("dose_j_m2", different, f"at least {FEWEST_READINGS} different doses")
    order = sorted(range(len(density)), key=lambda index: dose_j_m2[index])
    highest = order[0]
    for index in order[1:]:
        if density[index] < density[highest] - LARGEST_FALL:
            limit = (
                f"at most {LARGEST_FALL} below density[{highest}], {density[highest]}, which had less dose: "
                "read it again, or leave out steps that overexposure has bleached"
            )
            raise OutOfDomain(f"density[{index}]", density[index], limit)
        if density[index] > density[highest]:
            highest = index
    if max(density) - min(density) < LEAST_NET_DENSITY:
        limit = f"spread over at least {LEAST_NET_DENSITY}"
        raise OutOfDomain("density", max(density) - min(density), limit)
