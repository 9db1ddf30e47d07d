"""From a prior and evidence to the posterior: exact on the grid, whatever the order of the evidence."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from noonframe.bench.covariates import Recorded, Term, recorded, to_fit
from noonframe.bench.distribution import Distribution
from noonframe.bench.evidence import Conditions, Evidence
from noonframe.bench.likelihood import (
    STEPS_PER_STOP,
    Group,
    by_occasion,
    exposure_likelihood,
    group_log_likelihood,
    log2_grid,
)
from noonframe.types import FloatArray

# Slopes are summed over even nodes within four prior spreads.  A sum over nodes h apart misses 2 exp(-2 (pi
# s/h)^2) of a normal of spread s: 0.1 % for a posterior at 0.06 of the prior with one term, 0.2 with two.
_NODES = {1: 81, 2: 25}
_NODE_REACH = 4.0

_NEGLIGIBLE = 30.0  # natural logarithm: 1e-13 of the highest density
_MARGIN_STOPS = 1.5  # slopes count from the mean of the conditions, so they hardly move the average


@dataclass(frozen=True, eq=False)
class Posterior:
    """What is believed of the target after all the evidence.

    `average` is the target under the mean conditions of the evidence (all conditions alike when no term is
    fitted).  `blunders` holds, in the order of the evidence given, the probability that an exposure tells
    nothing true.
    """

    average: Distribution
    recorded: tuple[Recorded, ...]
    terms: tuple[Term, ...]
    blunders: tuple[float, ...]
    slopes: FloatArray
    """Slopes (n_node, n_term) in stops per step of the covariate."""
    joint: FloatArray
    """Weights (n_node, n_window) of slopes and target together; empty when no term is fitted."""
    window: slice
    """The part of the grid on which `joint` is not 0."""

    def under(self, conditions: Conditions) -> Distribution:
        """The target under given conditions; a missing value counts as the mean."""
        offsets = np.array([term.recorded.offset(conditions) for term in self.terms])
        if not np.any(offsets):
            return self.average
        x = log2_grid()
        part = x[self.window]
        shifts = self.slopes @ offsets
        rows = zip(shifts, self.joint, strict=True)
        moved = [np.interp(x - shift, part, row, left=0.0, right=0.0) for shift, row in rows]
        return Distribution.of(np.sum(moved, axis=0))


def infer(prior: FloatArray, evidence: Sequence[Evidence]) -> Posterior:
    """The posterior for a prior density (n,) on the grid, above 0 everywhere."""
    # one order for all, so that sums round alike
    order = sorted(range(len(evidence)), key=lambda index: repr(evidence[index]))
    sorted_evidence = [evidence[index] for index in order]
    groups = by_occasion(sorted_evidence)
    members = np.zeros((len(evidence), log2_grid().size))
    blundered = np.zeros_like(members)
    for group in groups:
        alone = len(group.members) == 1
        for index in group.members:
            extra = group.spread_stops if alone else 0.0
            sound, wrong = exposure_likelihood(sorted_evidence[index], extra)
            members[index], blundered[index] = np.log(sound + wrong), np.log(wrong)
    groups = tuple(Group(g.members, g.spread_stops if len(g.members) > 1 else 0.0) for g in groups)
    log_prior = np.log(prior)
    plain = log_prior + _log_likelihood(members, groups)
    found = recorded(sorted_evidence)
    fitted = to_fit(found)
    offsets = np.array([[each.offset(item.conditions) for each in fitted] for item in sorted_evidence])
    average = Distribution.of_log(plain)
    slopes, joint = np.empty((0, 0)), np.empty((0, 0))
    terms: tuple[Term, ...] = ()
    moved, moved_blundered = members, blundered
    window = _window(plain)
    if fitted:
        slopes, joint = _with_slopes(log_prior, members, groups, fitted, offsets, window=window)
        weights = np.zeros(plain.size)
        weights[window] = joint.sum(axis=0)
        average = Distribution.of(weights)
        terms = _terms(fitted, slopes, joint)
        shifts = offsets @ np.array([term.slope_stops for term in terms])
        moved = _moved(members, shifts, log2_grid())
        moved_blundered = _moved(blundered, shifts, log2_grid())
    chances = _blunder_chances(log_prior, moved, moved_blundered, groups)
    given = np.empty(len(evidence))
    given[order] = chances
    return Posterior(average, found, terms, tuple(given.tolist()), slopes, joint, window)


def _log_likelihood(members: FloatArray, groups: Sequence[Group]) -> FloatArray:
    total = np.zeros(members.shape[1])
    for group in groups:
        total += group_log_likelihood(members[list(group.members)], group.spread_stops)
    return total


def _moved(members: FloatArray, shifts: FloatArray, x: FloatArray) -> FloatArray:
    """Log likelihoods (n_exposure, m) at `x` (m,) where each exposure's own target lies `shifts` higher."""
    grid = log2_grid()
    rows = [np.interp(x + shift, grid, row) for shift, row in zip(shifts, members, strict=True)]
    return np.array(rows)


def _window(log_weights: FloatArray) -> slice:
    """Where on the grid the target may be, slopes or not."""
    possible = np.flatnonzero(log_weights > log_weights.max() - _NEGLIGIBLE)
    margin = round(_MARGIN_STOPS * STEPS_PER_STOP)
    return slice(max(int(possible[0]) - margin, 0), int(possible[-1]) + margin + 1)


def _with_slopes(
    log_prior: FloatArray,
    members: FloatArray,
    groups: Sequence[Group],
    fitted: Sequence[Recorded],
    offsets: FloatArray,
    *,
    window: slice,
) -> tuple[FloatArray, FloatArray]:
    """Slopes (n_node, n_term) and joint weights (n_node, n_window); `offsets` (n_exposure, n_term)."""
    x = log2_grid()
    z = np.linspace(-_NODE_REACH, _NODE_REACH, _NODES[len(fitted)])
    standard = np.array(list(product(z, repeat=len(fitted))))
    slopes = standard * np.array([each.covariate.slope_spread_stops for each in fitted])
    log_joint = np.empty((len(slopes), x[window].size))
    for node, slope in enumerate(slopes):
        moved = _moved(members, offsets @ slope, x[window])
        log_joint[node] = _log_likelihood(moved, groups) + log_prior[window]
    log_joint -= 0.5 * np.sum(standard**2, axis=1)[:, None]
    return slopes, np.exp(log_joint - log_joint.max())


def _terms(fitted: Sequence[Recorded], slopes: FloatArray, joint: FloatArray) -> tuple[Term, ...]:
    weights = joint.sum(axis=1)
    weights /= weights.sum()
    means = weights @ slopes
    spreads = np.sqrt(weights @ (slopes - means) ** 2)
    return tuple(Term(r, float(m), float(s)) for r, m, s in zip(fitted, means, spreads, strict=True))


def _blunder_chances(
    log_prior: FloatArray, members: FloatArray, blundered: FloatArray, groups: Sequence[Group]
) -> FloatArray:
    """Probability (n_exposure,) that each is a blunder, all else as likely as the evidence has it.

    With fitted slopes these are taken at their means.
    """
    chances = np.empty(len(members))
    each = [group_log_likelihood(members[list(group.members)], group.spread_stops) for group in groups]
    total = log_prior + np.sum(each, axis=0) if each else log_prior
    highest = float(total.max())
    weight = np.exp(total - highest)
    for group, log_group in zip(groups, each, strict=True):
        rows = members[list(group.members)]
        for place, index in enumerate(group.members):
            swapped = rows.copy()
            swapped[place] = blundered[index]
            instead = group_log_likelihood(swapped, group.spread_stops)
            chances[index] = float((weight * np.exp(instead - log_group)).sum() / weight.sum())
    return np.minimum(chances, 1.0)
