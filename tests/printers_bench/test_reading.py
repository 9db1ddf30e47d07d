"""Strips, wedges and prints as people read them, turned into spans of the target."""

import math

import pytest

from noonframe.bench.evidence import Circumstances, Conditions, Evidence, EvidenceKind, Reading, ToneScale
from noonframe.bench.judgement import Judgement, judgement_band_stops, judgement_for
from noonframe.bench.ladder import DoseLadder
from noonframe.bench.reading import (
    JUDGEMENT_SPREAD_STOPS,
    NOT_READ,
    NUMBER_SPREAD_STOPS,
    judged_print,
    read_doses,
    read_strip,
    read_wedge,
)
from noonframe.bench.wedges import wedge_21
from noonframe.errors import Malformed, OutOfDomain

LADDER = DoseLadder(4000.0, 1.0, 4)  # 4, 8, 16, 32 kJ/m2
LIGHT = Circumstances(0.1)
SCALE = ToneScale(4.0, 0.6)


def span(evidence, index=0):
    return evidence.readings[index].low_j_m2, evidence.readings[index].high_j_m2


@pytest.mark.parametrize(
    ("first_full", "expected"),
    [(1, (None, 4000.0)), (3, (8000.0, 16000.0)), (4, (16000.0, 32000.0)), (None, (32000.0, None))],
)
def test_the_first_full_strip_and_the_one_before_enclose_the_target(first_full, expected):
    evidence = read_strip(LADDER, first_full, LIGHT)
    assert span(evidence) == expected
    assert evidence.kind is EvidenceKind.STRIP
    assert evidence.light_spread_stops == 0.1


def test_the_first_tone_lies_a_tone_scale_below_full_density():
    evidence = read_strip(LADDER, None, LIGHT, first_toned=2, tone_scale=SCALE)
    assert span(evidence, 1) == (4000.0 * 16.0, 8000.0 * 16.0)
    assert evidence.readings[1].spread_stops == pytest.approx(math.hypot(0.1, 0.6))
    blank = read_strip(LADDER, NOT_READ, LIGHT, first_toned=None, tone_scale=SCALE)
    assert span(blank) == (32000.0 * 16.0, None)


def test_a_tone_without_a_scale_is_not_used():
    assert len(read_strip(LADDER, 3, LIGHT, first_toned=1).readings) == 1


def test_the_densest_full_step_of_a_wedge_and_the_next_enclose_the_target():
    wedge = wedge_21()
    doses = wedge.doses_j_m2(100e3)
    evidence = read_wedge(wedge, 100e3, 5, LIGHT, last_toned=13, tone_scale=SCALE)
    assert span(evidence) == (doses[5], doses[4])
    assert span(evidence, 1) == pytest.approx((doses[13] * 16.0, doses[12] * 16.0))
    assert evidence.readings[0].spread_stops == pytest.approx(math.hypot(0.1, wedge.tolerance_stops(5)))
    assert span(read_wedge(wedge, 100e3, None, LIGHT)) == (doses[0], None)
    assert span(read_wedge(wedge, 100e3, 21, LIGHT)) == (None, doses[20])


def test_a_strip_can_be_read_by_the_doses_that_really_fell():
    evidence = read_doses(
        EvidenceKind.STRIP, (4100.0, 9000.0, 15500.0), 2, LIGHT, spreads_stops=(0.1, 0.1, 0.1)
    )
    assert span(evidence) == (4100.0, 9000.0)


@pytest.mark.parametrize("judgement", list(Judgement))
def test_a_print_in_words_encloses_the_target(judgement):
    pale, dark = judgement_band_stops(judgement)
    low, high = span(judged_print(20000.0, judgement, LIGHT))
    assert (low is None) == (dark == math.inf)
    assert (high is None) == (pale == -math.inf)
    if low is not None:
        assert math.log2(20000.0 / low) == pytest.approx(dark)
    if high is not None:
        assert math.log2(20000.0 / high) == pytest.approx(pale)


def test_the_words_cover_every_error_once_and_mirror_each_other():
    bands = [judgement_band_stops(judgement) for judgement in Judgement]
    assert [band[0] for band in bands[1:]] == [band[1] for band in bands[:-1]]
    assert [(-b, -a) for a, b in reversed(bands)] == bands
    for judgement in Judgement:
        pale, dark = judgement_band_stops(judgement)
        assert judgement_for(max(pale, -9.0) + 0.01) is judgement
        assert judgement_for(min(dark, 9.0) - 0.01) is judgement


def test_a_number_of_stops_is_a_point_and_too_dark_means_a_lower_target():
    evidence = judged_print(20000.0, 1.0, LIGHT)
    assert span(evidence) == (10000.0, 10000.0)
    assert evidence.readings[0].spread_stops == NUMBER_SPREAD_STOPS
    assert judged_print(20000.0, Judgement.RIGHT, LIGHT).readings[0].spread_stops == JUDGEMENT_SPREAD_STOPS
    assert judged_print(2e4, 0, LIGHT, judgement_spread_stops=0.5).readings[0].spread_stops == 0.5


def test_words_are_read_in_any_case_and_spacing():
    assert Judgement.from_text("  A_little-DARK ") is Judgement.A_LITTLE_DARK
    with pytest.raises(Malformed, match="far too dark"):
        Judgement.from_text("meh")


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: read_strip(LADDER, 5, LIGHT), "first_full"),
        (lambda: read_strip(LADDER, -1, LIGHT), "first_full"),
        (lambda: read_strip(LADDER, 2, LIGHT, first_toned=3), "first_toned"),
        (lambda: read_strip(LADDER, NOT_READ, LIGHT), "first_full"),
        (lambda: read_strip(LADDER, NOT_READ, LIGHT, first_toned=2), "first_full"),
        (lambda: read_strip(LADDER, 2, LIGHT, reading_spread_stops=0.0), "reading_spread_stops"),
        (lambda: read_strip(LADDER, 2, LIGHT, reading_spread_stops=math.nan), "reading_spread_stops"),
        (lambda: read_wedge(wedge_21(), 1e5, 22, LIGHT), "last_full"),
        (lambda: read_wedge(wedge_21(), 1e5, 5, LIGHT, last_toned=3), "last_toned"),
        (lambda: read_wedge(wedge_21(), math.nan, 5, LIGHT), "dose_j_m2"),
        (
            lambda: read_doses(EvidenceKind.STRIP, (2.0, 1.0), 1, LIGHT, spreads_stops=(0.1, 0.1)),
            "doses_j_m2",
        ),
        (lambda: judged_print(0.0, Judgement.RIGHT, LIGHT), "dose_j_m2"),
        (lambda: judged_print(math.nan, Judgement.RIGHT, LIGHT), "dose_j_m2"),
        (lambda: judged_print(1e4, math.nan, LIGHT), "judgement_stops"),
        (lambda: judged_print(1e4, 6.5, LIGHT), "judgement_stops"),
        (lambda: judgement_for(math.nan), "error_stops"),
        (lambda: judged_print(1e4, 0.0, Circumstances(math.nan)), "light_spread_stops"),
        (lambda: judged_print(1e4, 0.0, Circumstances(0.1, shared_spread_stops=0.2)), "occasion"),
        (lambda: Conditions(relative_humidity_percent=101.0), "relative_humidity_percent"),
        (lambda: Conditions(coat_age_h=math.nan), "coat_age_h"),
        (lambda: Conditions(air_temperature_c=-60.0), "air_temperature_c"),
        (lambda: Reading(None, None, 0.1), "high_j_m2"),
        (lambda: Reading(2000.0, 1000.0, 0.1), "low_j_m2"),
        (lambda: Reading(math.nan, 1000.0, 0.1), "low_j_m2"),
        (lambda: Evidence(EvidenceKind.PRINT, (), 0.1, 0.05), "readings"),
        (lambda: Evidence(EvidenceKind.PRINT, (Reading(1.0, 2.0, 0.1),), 0.1, 0.0), "blunder_share"),
        (lambda: ToneScale(math.nan, 0.5), "tone_scale.stops"),
        (lambda: ToneScale(4.0, -0.5), "tone_scale.spread_stops"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_by_field(make, field):
    with pytest.raises(OutOfDomain) as caught:
        make()
    assert caught.value.field == field
