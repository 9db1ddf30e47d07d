"""Synthetic printers with known true targets and honest noise: is the belief as sure as it may be?"""

import math

import numpy as np
import pytest

from noonframe.bench.belief import Belief, Prior
from noonframe.bench.evidence import Circumstances
from noonframe.bench.judgement import judgement_for
from noonframe.bench.likelihood import BLUNDER_SPREAD_STOPS
from noonframe.bench.reading import (
    CAREFUL_BLUNDER_SHARE,
    JUDGEMENT_SPREAD_STOPS,
    PRINT_BLUNDER_SHARE,
    READING_SPREAD_STOPS,
    judged_print,
    read_strip,
)

MEDIAN_J_M2, SPREAD_STOPS = 24000.0, 1.0
LIGHT_SPREAD_STOPS = 0.1
"""What changes from one exposure to the next when both are followed live."""

BELIEF = Belief(Prior(MEDIAN_J_M2, SPREAD_STOPS, "published"))
LADDER = BELIEF.ladder()
LIGHT = Circumstances(LIGHT_SPREAD_STOPS)


def first_full(seen_stops: float) -> int | None:
    doses = np.log2(LADDER.totals_j_m2)
    return None if seen_stops > doses[-1] else int(np.searchsorted(doses, seen_stops)) + 1


def light_error(rng: np.random.Generator, blunder_share: float) -> float:
    blunder = rng.normal(0.0, BLUNDER_SPREAD_STOPS) if rng.random() < blunder_share else 0.0
    return rng.normal(0.0, LIGHT_SPREAD_STOPS) + blunder


def one_printer(rng: np.random.Generator, *, blunders: bool) -> tuple[float, Belief, Belief]:
    """True log2 target, belief after a strip, and after three prints at the dose then believed best."""
    target = math.log2(MEDIAN_J_M2) + rng.normal(0.0, SPREAD_STOPS)
    seen = target + light_error(rng, CAREFUL_BLUNDER_SHARE * blunders) + rng.normal(0.0, READING_SPREAD_STOPS)
    after_strip = BELIEF.updated(read_strip(LADDER, first_full(seen), LIGHT))
    belief = after_strip
    for _ in range(3):
        dose = belief.distribution.median_j_m2
        fell = math.log2(dose) - light_error(rng, PRINT_BLUNDER_SHARE * blunders)
        judgement = judgement_for(fell - target + rng.normal(0.0, JUDGEMENT_SPREAD_STOPS))
        belief = belief.updated(judged_print(dose, judgement, LIGHT))
    return target, after_strip, belief


def covers(belief: Belief, target: float) -> bool:
    return belief.distribution.low_j_m2 <= 2.0**target <= belief.distribution.high_j_m2


@pytest.mark.parametrize("blunders", [False, True])
def test_the_80_percent_range_covers_80_percent_of_500_printers(blunders):
    rng = np.random.default_rng(500)
    printers = [one_printer(rng, blunders=blunders) for _ in range(500)]
    covered = np.mean([covers(final, target) for target, _, final in printers])
    errors = [abs(math.log2(final.distribution.median_j_m2) - target) for target, _, final in printers]
    print(f"blunders {blunders}: covered {covered:.3f}, median error {np.median(errors):.3f} stop")
    assert 0.76 <= covered <= 0.84
    assert np.median(errors) < 0.12


def test_after_one_half_stop_strip_half_the_printers_know_their_target_to_0_15_stop():
    # many printers, so that the figure is the strip's and not the seed's: standard error 0.001 stop
    rng = np.random.default_rng(20000)
    n = 20000
    target = math.log2(MEDIAN_J_M2) + rng.normal(0.0, SPREAD_STOPS, n)
    seen = target + rng.normal(0.0, math.hypot(LIGHT_SPREAD_STOPS, READING_SPREAD_STOPS), n)
    full = np.searchsorted(np.log2(LADDER.totals_j_m2), seen) + 1
    outcomes = [step if step <= LADDER.count else None for step in range(1, LADDER.count + 2)]
    found = [BELIEF.updated(read_strip(LADDER, outcome, LIGHT)).distribution for outcome in outcomes]
    low, median, high = (
        np.log2([getattr(each, name) for each in found])[full - 1]
        for name in ("low_j_m2", "median_j_m2", "high_j_m2")
    )
    covered = np.mean((low <= target) & (target <= high))
    error = np.median(np.abs(median - target))
    print(f"one strip: covered {covered:.3f}, median error {error:.4f} stop")
    assert error < 0.15
    assert 0.78 <= covered <= 0.84  # a little over 80: some of these strips might have been blunders
