"""Dose as an integral of light, and the exact moment a target is reached."""

import math

import numpy as np

from noonframe.types import FloatArray


def cumulative_dose(time_s: FloatArray, rate_w_m2: FloatArray) -> FloatArray:
    """Dose (n,) from the first instant on, for a rate (n,) that is straight between instants.  [J m-2]"""
    dose = np.empty(rate_w_m2.shape)
    dose[0] = 0.0
    step_s = time_s[1:] - time_s[:-1]
    np.cumsum(0.5 * (rate_w_m2[1:] + rate_w_m2[:-1]) * step_s, out=dose[1:])
    return dose


def crossing_time_s(
    time_s: FloatArray, rate_w_m2: FloatArray, dose_j_m2: FloatArray, target_j_m2: float
) -> float | None:
    """The instant at which the dose reaches the target, inside its step; None if it never does.

    The rate is straight within a step, so the dose is a parabola there and the crossing is exact for
    that rate: never rounded to a step.
    """
    index = int(dose_j_m2.searchsorted(target_j_m2))
    if index >= dose_j_m2.size:
        return None
    if index == 0:
        return float(time_s[0])
    left = index - 1
    span = float(time_s[index] - time_s[left])
    low, high = float(rate_w_m2[left]), float(rate_w_m2[index])
    missing = target_j_m2 - float(dose_j_m2[left])
    # low x + (high - low) x^2 / (2 span) = missing, in the form that does not cancel
    root = math.sqrt(max(low * low + 2.0 * (high - low) * missing / span, 0.0))
    return float(time_s[left]) + min(2.0 * missing / (low + root), span)
