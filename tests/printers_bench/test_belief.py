"""The belief in a target: against brute force and simulation, in any order, with outliers, in words."""

import itertools
import math

import numpy as np
import pytest
from scipy.stats import norm

from noonframe.bench.belief import Belief, Prior
from noonframe.bench.covariates import ENOUGH
from noonframe.bench.distribution import Distribution
from noonframe.bench.evidence import Circumstances, Conditions, Evidence, EvidenceKind, Reading, ToneScale
from noonframe.bench.judgement import Judgement
from noonframe.bench.ladder import DoseLadder
from noonframe.bench.likelihood import BLUNDER_SPREAD_STOPS, log2_grid
from noonframe.bench.reading import judged_print, read_strip, read_wedge
from noonframe.bench.wedges import wedge_21
from noonframe.errors import OutOfDomain
from noonframe.stack.sensitizers import find_sensitizer

PRIOR = Prior(24000.0, 1.0, "published")
LIGHT = Circumstances(0.15)
LADDER = DoseLadder(6000.0, 0.5, 9)

BRUTE_TOLERANCE_STOPS = 0.002
"""Quantiles by brute force on steps of 0.01 and 0.02 stop; a fiftieth of what an eye can see."""

SAMPLING_TOLERANCE_STOPS = 0.02
"""Quantiles of some 40 000 accepted draws of a spread near 0.4 stop: standard error 0.003 to 0.004."""

STRIP = read_strip(LADDER, 4, LIGHT, first_toned=1, tone_scale=ToneScale(4.0, 0.6))
WEDGE = read_wedge(wedge_21(), 150e3, 9, LIGHT)
PRINTS = (
    judged_print(15e3, Judgement.A_LITTLE_PALE, LIGHT),
    judged_print(30e3, Judgement.FAR_TOO_DARK, LIGHT),
    judged_print(18e3, -0.5, LIGHT),
)


def quantiles(distribution: Distribution):
    return np.log2([distribution.low_j_m2, distribution.median_j_m2, distribution.high_j_m2])


def brute_force_quantiles(prior: Prior, evidence):
    """Sum over target and light error of every exposure, with nothing but normal densities and their sums."""
    x = np.arange(-2.0, 30.0, 0.01)
    error = np.arange(-16.0, 16.0, 0.02)
    shares = ((1.0 - prior.tail_share, 1.0), (prior.tail_share, 3.0))
    weight = sum(p * norm.pdf(x, math.log2(prior.median_j_m2), k * prior.spread_stops) for p, k in shares)
    for item in evidence:
        sound = norm.pdf(error, 0.0, item.light_spread_stops)
        blunder = norm.pdf(error, 0.0, math.hypot(item.light_spread_stops, BLUNDER_SPREAD_STOPS))
        density = (1.0 - item.blunder_share) * sound + item.blunder_share * blunder
        likelihood = np.ones((x.size, error.size))
        seen = x[:, None] + error
        for reading in item.readings:
            low = -math.inf if reading.low_j_m2 is None else math.log2(reading.low_j_m2)
            high = math.inf if reading.high_j_m2 is None else math.log2(reading.high_j_m2)
            if low == high:
                likelihood *= norm.pdf(low, seen, reading.spread_stops)
            else:
                likelihood *= norm.cdf(high, seen, reading.spread_stops) - norm.cdf(
                    low, seen, reading.spread_stops
                )
        weight = weight * (likelihood @ density)
    share = np.cumsum(weight) / weight.sum()
    return np.interp([0.1, 0.5, 0.9], share, x + 0.005)


@pytest.mark.reference
@pytest.mark.parametrize(
    "evidence",
    [(), (STRIP,), (WEDGE,), (PRINTS[0],), (PRINTS[1],), (STRIP, *PRINTS[::2])],
    ids=["none", "strip", "wedge", "words", "open words", "strip and prints"],
)
def test_the_posterior_is_that_of_brute_force(evidence):
    found = quantiles(Belief(PRIOR, evidence).distribution)
    assert found == pytest.approx(brute_force_quantiles(PRIOR, evidence), abs=BRUTE_TOLERANCE_STOPS)


@pytest.mark.reference
def test_exposures_that_share_an_error_agree_with_simulated_printers_who_saw_the_same():
    """Draw printers from the prior, let them err as stated, keep those who read what was read."""
    shared = Circumstances(0.15, occasion="the third of May", shared_spread_stops=0.4)
    prior = Prior(24000.0, 1.0, "published", tail_share=0.0)
    belief = Belief(prior, (read_strip(LADDER, 4, shared), judged_print(20e3, Judgement.RIGHT, shared)))
    rng = np.random.default_rng(20260503)
    n = 1_500_000
    target = rng.normal(math.log2(24000.0), 1.0, n)
    together = rng.normal(0.0, 0.4, n)
    kept = np.ones(n, dtype=bool)
    for item in belief.evidence:
        reading = item.readings[0]
        blundered = rng.random(n) < item.blunder_share
        error = rng.normal(0.0, 0.15, n) + np.where(blundered, rng.normal(0.0, BLUNDER_SPREAD_STOPS, n), 0.0)
        seen = target + together + error + rng.normal(0.0, reading.spread_stops, n)
        kept &= (seen > math.log2(reading.low_j_m2)) & (seen <= math.log2(reading.high_j_m2))
    assert kept.sum() > 20_000
    expected = np.quantile(target[kept], [0.1, 0.5, 0.9])
    assert quantiles(belief.distribution) == pytest.approx(expected, abs=SAMPLING_TOLERANCE_STOPS)


def test_a_shared_error_is_not_averaged_away_and_an_own_one_is():
    def spread(circumstances, count):
        evidence = [judged_print(20e3, 0.0, circumstances) for _ in range(count)]
        return Belief(PRIOR, tuple(evidence)).distribution.spread_stops

    shared = Circumstances(0.0, occasion="one day", shared_spread_stops=0.4)
    assert spread(Circumstances(0.4), 20) < 0.15
    assert spread(shared, 20) > 0.35
    assert spread(shared, 1) == pytest.approx(spread(Circumstances(0.4), 1), rel=1e-6)


def test_one_occasion_has_one_shared_spread():
    one = judged_print(2e4, 0.0, Circumstances(0.1, occasion="day", shared_spread_stops=0.3))
    other = judged_print(2e4, 0.0, Circumstances(0.1, occasion="day", shared_spread_stops=0.4))
    with pytest.raises(OutOfDomain, match="shared_spread_stops"):
        Belief(PRIOR, (one, other)).posterior  # noqa: B018 - worked out when asked


def test_the_order_of_evidence_does_not_matter_at_all():
    evidence = (STRIP, WEDGE, *PRINTS[:2])
    first = Belief(PRIOR, evidence)
    for order in itertools.permutations(evidence):
        belief = Belief(PRIOR)
        for item in order:
            belief = belief.updated(item)
        assert np.array_equal(belief.distribution.density, first.distribution.density)
        chances = dict(zip(order, belief.posterior.blunders, strict=True))
        assert [chances[item] for item in evidence] == list(first.posterior.blunders)


def test_without_evidence_the_belief_is_the_published_one():
    belief = Belief(Prior.of_sensitizer(find_sensitizer("citrate-classic")))
    found = belief.distribution
    # common practice, no source: 2 J/cm2 of UVA, 68 % between 1 and 4, 95 % between 0.5 and 8
    assert found.median_j_m2 == pytest.approx(24000.0, rel=1e-6)
    assert found.probability_below(48000.0) - found.probability_below(12000.0) == pytest.approx(
        0.68, abs=0.02
    )
    assert found.probability_below(96000.0) - found.probability_below(6000.0) == pytest.approx(0.95, abs=0.02)
    assert belief.sentence == "from the published figure alone: 24 kJ/m² ± 1 stop"
    assert belief.notes == ()


def test_one_print_that_came_out_right_is_a_calibration():
    belief = Belief(PRIOR).updated(judged_print(15e3, Judgement.RIGHT, LIGHT))
    assert abs(math.log2(belief.distribution.median_j_m2 / 15e3)) < 0.1
    assert belief.distribution.spread_stops < 0.4
    assert belief.sentence.startswith("from 1 print: 1")


def test_the_sentence_counts_its_evidence():
    light = Circumstances(0.1)
    prints = [judged_print(21e3, Judgement.RIGHT, light) for _ in range(3)]
    belief = Belief(PRIOR).updated(read_strip(LADDER, 5, light), *prints)
    assert belief.sentence.startswith("from 1 strip and 3 prints: 2")
    assert belief.sentence.endswith("± ⅛ stop")
    target = belief.target()
    assert target.target_j_m2 == belief.distribution.median_j_m2
    assert target.spread_stops == belief.distribution.spread_stops
    assert target.source == belief.sentence
    assert belief.updated(WEDGE).sentence.startswith("from 1 strip, 1 wedge and 3 prints: ")


def test_an_outlier_moves_the_belief_less_than_an_eye_can_see():
    good = [judged_print(20e3, Judgement.RIGHT, LIGHT) for _ in range(3)]
    strip = read_strip(LADDER, 5, LIGHT)
    clean = Belief(PRIOR, (strip, *good))
    for wrong in (Judgement.FAR_TOO_PALE, Judgement.FAR_TOO_DARK, 5.0, -5.0):
        spoilt = clean.updated(judged_print(20e3, wrong, LIGHT))
        moved = math.log2(spoilt.distribution.median_j_m2 / clean.distribution.median_j_m2)
        assert abs(moved) < 0.05
        assert spoilt.distribution.spread_stops < 1.15 * clean.distribution.spread_stops
        assert spoilt.posterior.blunders[-1] > 0.95
        assert max(spoilt.posterior.blunders[:-1]) < 0.05
        assert "1 print does not fit the rest and counts for little" in spoilt.notes


def test_a_careful_strip_far_from_the_published_figure_is_believed():
    far = DoseLadder(200e3, 0.5, 9)
    once = Belief(PRIOR).updated(read_strip(far, 5, LIGHT))
    twice = once.updated(read_strip(far, 5, LIGHT))
    assert twice.distribution.probability_below(500e3) < 0.1
    assert max(twice.posterior.blunders) < 0.1
    assert once.distribution.median_j_m2 > 10 * PRIOR.median_j_m2


def test_evidence_narrows_the_belief_and_a_doubtful_light_less_so():
    spreads = [
        Belief(PRIOR).updated(judged_print(2e4, 0.0, Circumstances(light))).distribution.spread_stops
        for light in (0.0, 0.3, 1.0, 4.0)
    ]
    assert spreads == sorted(spreads)
    assert spreads[-1] < Belief(PRIOR).distribution.spread_stops


def linear_evidence(rng, count, *, slope=0.0, span=(30.0, 80.0)):
    items = []
    for humidity in rng.uniform(*span, count):
        wanted = math.log2(20e3) + slope * (humidity - 55.0) / 10.0
        dose = 2.0 ** (wanted + rng.normal(0.0, 0.3))
        items.append(
            Evidence(
                EvidenceKind.PRINT,
                (Reading(dose, dose, 0.3),),
                0.0,
                0.001,
                Conditions(relative_humidity_percent=float(humidity)),
            )
        )
    return tuple(items)


@pytest.mark.reference
def test_a_humidity_slope_is_that_of_conjugate_linear_regression():
    prior = Prior(24000.0, 1.0, "published", tail_share=0.0)
    evidence = linear_evidence(np.random.default_rng(7), 24, slope=-0.15)
    belief = Belief(prior, evidence)
    humidity = np.array([item.conditions.relative_humidity_percent for item in evidence])
    y = np.log2([item.readings[0].low_j_m2 for item in evidence])
    # textbook normal model: precision = prior + X'X/s2, mean from the normal equations
    design = np.column_stack([np.ones(len(y)), (humidity - humidity.mean()) / 10.0])
    precision = np.diag([1.0, 1.0 / 0.1**2]) + design.T @ design / 0.3**2
    mean = np.linalg.solve(precision, np.array([math.log2(24000.0), 0.0]) + design.T @ y / 0.3**2)
    spread = np.sqrt(np.diag(np.linalg.inv(precision)))
    (term,) = belief.posterior.terms
    # the thousandth part that may be blunders shifts both by less than a hundredth of a stop
    assert term.slope_stops == pytest.approx(mean[1], abs=0.003)
    assert term.slope_spread_stops == pytest.approx(spread[1], rel=0.03)
    assert math.log2(belief.distribution.median_j_m2) == pytest.approx(mean[0], abs=0.005)
    assert belief.distribution.spread_stops == pytest.approx(spread[0], rel=0.03)
    dry = belief.under(Conditions(relative_humidity_percent=20.0))
    offset = (20.0 - humidity.mean()) / 10.0
    assert math.log2(dry.median_j_m2) == pytest.approx(mean[0] + offset * mean[1], abs=0.01)
    expected = math.sqrt(np.array([1.0, offset]) @ np.linalg.inv(precision) @ np.array([1.0, offset]))
    assert dry.spread_stops == pytest.approx(expected, rel=0.03)
    assert any("relative humidity the target changes by" in note for note in belief.notes)


def test_conditions_are_not_taken_into_account_before_there_is_enough():
    rng = np.random.default_rng(8)
    few = Belief(PRIOR, linear_evidence(rng, ENOUGH - 1, slope=-0.3))
    alike = Belief(PRIOR, linear_evidence(rng, 20, slope=-0.3, span=(50.0, 60.0)))
    for belief, why in ((few, "recorded 7 times"), (alike, "has varied by")):
        assert belief.posterior.terms == ()
        dry = belief.under(Conditions(relative_humidity_percent=10.0))
        assert dry.median_j_m2 == belief.distribution.median_j_m2
        assert any(why in note and "not taken into account" in note for note in belief.notes)


def test_a_single_odd_day_makes_no_slope():
    rng = np.random.default_rng(9)
    evidence = linear_evidence(rng, 12, span=(50.0, 52.0)) + linear_evidence(rng, 1, span=(5.0, 6.0))
    assert Belief(PRIOR, evidence).posterior.terms == ()


def test_two_slopes_are_found_together():
    rng = np.random.default_rng(10)
    evidence = []
    for _ in range(40):
        humidity, age = rng.uniform(30, 80), rng.uniform(0, 72)
        wanted = math.log2(20e3) - 0.1 * (humidity - 55) / 10 + 0.2 * (age - 36) / 24 + rng.normal(0, 0.2)
        conditions = Conditions(age, humidity, 20.0 + rng.normal(0.0, 0.5))
        evidence.append(judged_print(2.0**wanted, 0.0, Circumstances(0.05, conditions)))
    belief = Belief(PRIOR, tuple(evidence))
    found = {term.recorded.covariate.name: term for term in belief.posterior.terms}
    assert found.keys() == {"relative_humidity_percent", "coat_age_h"}
    for name, slope in (("relative_humidity_percent", -0.1), ("coat_age_h", 0.2)):
        assert abs(found[name].slope_stops - slope) < 2.5 * found[name].slope_spread_stops
    assert any("air temperature has varied" in note for note in belief.notes)
    fresh = belief.under(Conditions(coat_age_h=0.0)).median_j_m2
    assert fresh < belief.distribution.median_j_m2


def test_the_arrays_to_draw_hold_prior_posterior_and_spans():
    belief = Belief(PRIOR, (STRIP, PRINTS[1]))
    curves = belief.curves()
    assert curves.dose_j_m2.shape == curves.prior_density.shape == curves.posterior_density.shape
    stops = np.log2(curves.dose_j_m2)
    assert np.trapezoid(curves.prior_density, stops) == pytest.approx(1.0, abs=0.01)
    assert np.trapezoid(curves.posterior_density, stops) == pytest.approx(1.0, abs=0.01)
    assert stops[-1] - stops[0] < 20.0
    assert [span.kind for span in curves.spans] == [EvidenceKind.STRIP, EvidenceKind.PRINT]
    assert (curves.spans[0].low_j_m2, curves.spans[0].high_j_m2) == LADDER.totals_j_m2[2:4]
    assert curves.spans[1].low_j_m2 is None
    assert all(0.0 <= span.blunder_probability <= 1.0 for span in curves.spans)


@pytest.mark.reference
def test_a_distribution_has_the_quantiles_of_the_normal_it_is_made_of():
    x = log2_grid()
    found = Distribution.of(norm.pdf(x, 14.3, 0.21))
    for probability in (0.01, 0.1, 0.5, 0.9, 0.99):
        expected = norm.ppf(probability, 14.3, 0.21)
        assert math.log2(found.quantile_j_m2(probability)) == pytest.approx(expected, abs=2e-4)
    assert found.spread_stops == pytest.approx(0.21, rel=2e-3)
    assert found.standard_deviation_stops == pytest.approx(0.21, rel=1e-6)
    assert found.probability_below(2.0**14.3) == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Prior(0.5, 1.0, "x"), "target_j_m2"),
        (lambda: Prior(math.nan, 1.0, "x"), "target_j_m2"),
        (lambda: Prior(1e4, 0.0, "x"), "prior.spread_stops"),
        (lambda: Prior(1e4, math.nan, "x"), "prior.spread_stops"),
        (lambda: Prior(1e4, 1.0, "x", tail_share=0.6), "prior.tail_share"),
        (lambda: Belief(PRIOR).distribution.quantile_j_m2(1.0), "probability"),
        (lambda: Belief(PRIOR).distribution.probability_below(math.nan), "dose_j_m2"),
    ],
)
def test_a_belief_that_cannot_be_is_refused_by_field(make, field):
    with pytest.raises(OutOfDomain) as caught:
        make()
    assert caught.value.field == field
