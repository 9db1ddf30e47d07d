"""Following a running exposure from its events."""

import datetime as dt
import math
import random

import numpy as np
import pytest
from dose.test_live_support import (
    HALVING_DEPTH,
    NOON_S,
    SUN_W_M2,
    event,
    reading,
    scene,
    target,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from noonframe.dose.exposure import expose
from noonframe.dose.live import Following, LiveCourse, LiveStatus, check_events, follow
from noonframe.dose.live_light import straight_times_exponential
from noonframe.dose.live_run import common_spread_stops
from noonframe.dose.skies import Sampling, expose_under_skies, sample_skies
from noonframe.errors import OutOfDomain
from noonframe.sky.evidence import CloudCourse, steady_course
from noonframe.sky.words import COVERING_CLOUD_OPTICAL_DEPTH, SKY_WORDS, CloudPart
from noonframe.spot.indoors import WindowSpot, sheet_view
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.window import Window

CLOUD_W_M2 = SUN_W_M2 / (1.0 + COVERING_CLOUD_OPTICAL_DEPTH / HALVING_DEPTH)
PERSISTENCE_S = 300.0
EXACT = 1e-12
MINUTES = 3e-6
"""The rate counts as straight between the minutes; near noon in June its bend there is below this."""

MEDIAN = 0.02
"""A clear sky is 0.1 stops wide and the air as much: the median of 300 of them is good to 0.7 %."""

AT_WINDOW = WindowSpot(Window(180.0, 1.2, 0.0, 1.4), Frame(0.5, 0.0, 0.3, 0.4))
HALF = (CloudPart(0.5, 0.0), CloudPart(0.5, 10.0))


def half_covered(spread_stops=0.0, hours=48.0):
    return steady_course(HALF, NOON_S - 86400.0, NOON_S + 3600.0 * hours, spread_stops, "layered cloud")


def changing_course():
    edges = NOON_S - 600.0 + 700.0 * np.arange(13.0)
    cover = np.array([0.2, 0.4, 0.6, 0.8, 1.0, 0.5, 0.3, 0.0, 0.3, 0.7, 0.9, 0.5])
    depth = np.where(cover > 0.0, np.tile([6.0, 10.0, 16.0], 4), 0.0)
    return CloudCourse(
        edges, cover, depth, np.full(12, 0.2), np.full(12, "shortwave irradiance"), float(edges[-1])
    )


def at(after_s, *events, need=None, **values):
    return follow(
        values.pop("of", scene(even=True)),
        need or target(),
        events,
        NOON_S + after_s,
        *values.pop("course", ()),
        **values,
    )


@pytest.mark.parametrize("per_s", [0.0, 1e-9, -1e-3, 1.6e-3, -1.7e-3, 0.05, -2.0])
def test_a_line_times_an_exponential_is_integrated_exactly(per_s):
    # The series takes over at an exponent of 0.1: both sides of it are tried.
    for length in (60.0, 1e-6, 0.0):
        numeric, _ = quad(
            lambda t, n=length: (3.0 + 2.0 * t / (n or 1.0)) * math.exp(per_s * t), 0.0, length, epsabs=0.0
        )
        whole = straight_times_exponential(
            np.array([[3.0]]), np.array([[5.0]]), np.array([per_s]), np.array([length])
        )
        assert whole[0, 0] == pytest.approx(numeric, rel=1e-11)


def test_even_light_gathers_in_proportion_to_time():
    state = at(150.0, event("started", 0.0))
    assert state.dose_j_m2 == pytest.approx(150.0 * SUN_W_M2, rel=EXACT)
    assert state.dose_low_j_m2 == state.dose_high_j_m2 == state.dose_j_m2
    assert state.target_share == pytest.approx(0.25, rel=EXACT)
    assert (state.status, state.reached, state.rate_w_m2) == (LiveStatus.RUNNING, False, SUN_W_M2)
    assert state.remaining_s == pytest.approx(450.0, rel=MEDIAN)
    assert state.remaining_sun_out_s == pytest.approx(450.0, rel=1e-9)
    # between two kept depths the light under cloud is good to 1 % on level ground
    assert state.remaining_clouded_s == pytest.approx(450.0 * SUN_W_M2 / CLOUD_W_M2, rel=0.03)
    assert "8 minutes left" in state.advice


def test_a_dose_that_is_reached_says_when_and_by_how_much_it_is_over():
    state = at(900.0, event("started", 0.0))
    assert state.reached_s == pytest.approx(NOON_S + 600.0, abs=1e-5)
    assert state.end_s == state.reached_s
    assert state.over_stops == pytest.approx(math.log2(1.5), rel=1e-9)
    assert (state.reached, state.remaining_s, state.remaining_sun_out_s) == (True, 0.0, 0.0)
    assert "take it in now" in state.advice
    assert at(599.9, event("started", 0.0)).over_stops == 0.0


def test_covered_stretches_give_nothing():
    told = [
        event(kind, when) for when, kind in [(10.0, "started"), (100.5, "covered"), (161.25, "uncovered")]
    ]
    assert at(200.0, *told).dose_j_m2 == pytest.approx(SUN_W_M2 * (90.5 + 38.75), rel=EXACT)
    again = at(300.0, *told, event("covered", 250.0))
    assert again.dose_j_m2 == pytest.approx(SUN_W_M2 * (90.5 + 88.75), rel=EXACT)
    assert (again.status, again.rate_w_m2) == (LiveStatus.COVERED, 0.0)


def test_while_it_is_covered_the_end_moves_along_with_the_clock():
    told = [event("started", 0.0), event("covered", 60.0)]
    for after_s in (60.0, 95.0, 1200.0):
        state = at(after_s, *told)
        assert state.remaining_s == pytest.approx(540.0, rel=MEDIAN)
        assert state.end_s == NOON_S + after_s + state.remaining_s
        assert state.remaining_sun_out_s == pytest.approx(540.0, rel=1e-9)
    assert "uncover" in state.advice


def test_a_single_look_at_the_sky_goes_over_to_the_forecast():
    told = [event("started", 0.0), event("sky", 60.0, sky="covered", vouched_s=0.0)]
    for after_s in (61.0, 200.0, 2000.0):
        since = after_s - 60.0
        weight = math.exp(-since / PERSISTENCE_S)
        lost = (SUN_W_M2 - CLOUD_W_M2) * PERSISTENCE_S * (1.0 - weight)
        state = at(after_s, *told)
        assert state.dose_j_m2 == pytest.approx(SUN_W_M2 * after_s - lost, rel=EXACT)
        assert state.rate_w_m2 == pytest.approx(SUN_W_M2 - weight * (SUN_W_M2 - CLOUD_W_M2), rel=EXACT)
        assert state.sky.weight == pytest.approx(weight, rel=EXACT)
        assert state.sky.sun_out_share == pytest.approx(1.0 - weight, rel=EXACT)
        assert state.sky.age_s == pytest.approx(since)


def test_a_sky_that_is_vouched_for_holds_so_long():
    told = [event("started", 0.0), event("sky", 60.0, sky="covered", vouched_s=250.0)]
    assert at(310.0, *told).dose_j_m2 == pytest.approx(60.0 * SUN_W_M2 + 250.0 * CLOUD_W_M2, rel=EXACT)
    faded = (SUN_W_M2 - CLOUD_W_M2) * PERSISTENCE_S * -math.expm1(-100.0 / PERSISTENCE_S)
    expected = 160.0 * SUN_W_M2 + 250.0 * CLOUD_W_M2 - faded
    assert at(410.0, *told).dose_j_m2 == pytest.approx(expected, rel=EXACT)


def test_without_a_word_on_it_a_sky_holds_up_to_the_next_report():
    told = [event("started", 0.0), event("sky", 0.0, sky="covered"), event("sky", 3000.0, sky="sun-out")]
    usual = Following(vouched_s=600.0)
    expected = 3000.0 * CLOUD_W_M2 + 100.0 * SUN_W_M2
    assert at(3100.0, *told, following=usual).dose_j_m2 == pytest.approx(expected, rel=EXACT)
    # before the second report was known, the first one held for the usual time only
    faded = (SUN_W_M2 - CLOUD_W_M2) * PERSISTENCE_S * -math.expm1(-400.0 / PERSISTENCE_S)
    expected = 600.0 * CLOUD_W_M2 + 400.0 * SUN_W_M2 - faded
    assert at(1000.0, *told[:2], following=usual).dose_j_m2 == pytest.approx(expected, rel=EXACT)


def test_at_the_moment_of_a_report_the_light_is_that_of_the_sky_told():
    told = [event("started", 0.0), event("sky", 0.0, sky="sun-out"), event("sky", 90.0, sky="covered")]
    assert at(90.0, *told).rate_w_m2 == pytest.approx(CLOUD_W_M2, rel=EXACT)
    assert at(90.0, *told).dose_j_m2 == pytest.approx(90.0 * SUN_W_M2, rel=EXACT)


def test_a_sky_seen_before_the_start_counts_from_the_start_with_its_age():
    told = [event("sky", -300.0, sky="covered", vouched_s=0.0), event("started", 0.0)]
    lost = (SUN_W_M2 - CLOUD_W_M2) * PERSISTENCE_S * (math.exp(-1.0) - math.exp(-2.0))
    assert at(300.0, *told).dose_j_m2 == pytest.approx(300.0 * SUN_W_M2 - lost, rel=EXACT)


def test_a_cloud_of_half_an_hour():
    # the sun for ten minutes, cloud for thirty, the sun again, each told when it happened
    told = [event("started", 0.0)]
    told += [
        event("sky", when, sky=sky)
        for when, sky in [(0.0, "sun-out"), (600.0, "covered"), (2400.0, "sun-out")]
    ]
    real = scene()
    second = NOON_S + np.arange(0.0, 3000.5)
    spells = [(real.sun_out, 0, 600), (real.covered, 600, 2400), (real.sun_out, 2400, 3000)]
    under = [np.trapezoid(one.rate(second[a : b + 1]), second[a : b + 1]) for one, a, b in spells]
    state = at(3000.0, *told, of=real, course=(half_covered(),), need=target(150_000.0))
    assert state.dose_j_m2 == pytest.approx(sum(under), rel=MINUTES)
    in_the_cloud = at(2000.0, *told[:3], of=real, course=(half_covered(),), need=target(150_000.0))
    assert in_the_cloud.remaining_sun_out_s < in_the_cloud.remaining_s < in_the_cloud.remaining_clouded_s


def light_by_the_second(reports, course, until_s, spots):
    """The expected rate worked out second by second, from the light under whole skies alone."""
    second = NOON_S + np.arange(0.5, until_s)
    piece = course.piece_of(second)
    rate = np.zeros(second.size)
    bounds = [*(begin for begin, _ in spots), until_s]
    for (begin, one), end in zip(spots, bounds[1:], strict=True):
        here = (second - NOON_S >= begin) & (second - NOON_S < end)
        sun = one.sun_out.point_rates(second)
        forecast = sun.copy()
        for depth in np.unique(course.optical_depth[course.optical_depth > 0.0]):
            which = course.optical_depth[piece] == depth
            cover = course.cover[piece][which, None]
            under = one.under(CloudPart(1.0, float(depth))).point_rates(second[which])
            forecast[which] = (1.0 - cover) * sun[which] + cover * under
        mixed = forecast.copy()
        for report in reports:
            since = second - report.at_s
            told = since >= 0.0
            weight = np.exp(-np.maximum(since - report.vouched_s, 0.0) / PERSISTENCE_S)[:, None]
            seen = one.under(*report.word.parts).point_rates(second)
            mixed[told] = (forecast + weight * (seen - forecast))[told]
        mean = mixed @ (sheet_view(one.spot).weights if isinstance(one.spot, WindowSpot) else np.ones(1))
        rate[here] = mean[here]
    return rate


def test_every_kind_of_change_against_an_integration_by_the_second():
    real, propped = scene(), OpenSpot(Aim(30.0, 150.0))
    reports = [
        event("sky", when, sky=sky, vouched_s=vouched)
        for when, sky, vouched in [
            (37.0, "broken", 0.0),
            (800.0, "thin-cloud", 120.0),
            (2100.0, "clear", 600.0),
        ]
    ]
    told = [
        event("started", 0.0),
        event("covered", 500.0),
        event("uncovered", 700.0),
        event("moved", 1500.0, spot=propped),
    ]
    course, until_s = changing_course(), 5000
    rate = light_by_the_second(reports, course, until_s, [(0.0, real), (1500.0, scene(spot=propped))])
    rate[500:700] = 0.0
    state = at(float(until_s), *told, *reports, of=real, course=(course,), need=target(1e6))
    # the middle of a second is as good as the second's mean; the rest is the bend within a minute
    assert state.dose_j_m2 == pytest.approx(rate.sum(), rel=1e-5)
    assert state.sky.evidence == "shortwave irradiance"


def test_a_move_to_the_window_carries_the_points_of_the_sheet_along():
    real = scene()
    told = [event("started", 0.0), event("moved", 300.0, spot=AT_WINDOW)]
    inside = scene(spot=AT_WINDOW)
    minute = NOON_S + np.arange(0.0, 1201.0, 60.0)
    outdoors = np.trapezoid(real.rate(minute[:6]), minute[:6])
    points = outdoors + np.trapezoid(inside.point_rates(minute[5:]), minute[5:], axis=0)
    state = at(1200.0, *told, of=real)
    assert state.dose_low_j_m2 == pytest.approx(points.min(), rel=1e-9)
    assert state.dose_high_j_m2 == pytest.approx(points.max(), rel=1e-9)
    assert state.dose_j_m2 == pytest.approx(points @ sheet_view(AT_WINDOW).weights, rel=1e-9)
    assert state.dose_low_j_m2 < 0.98 * state.dose_high_j_m2
    back = at(1800.0, *told, event("moved", 1200.0, spot=OpenSpot()), of=real)
    more = np.trapezoid(real.rate(NOON_S + np.arange(1200.0, 1801.0, 60.0)), dx=60.0)
    assert back.dose_low_j_m2 == pytest.approx(points.min() + more, rel=1e-9)


def test_a_window_with_other_sample_points_is_refused():
    other = WindowSpot(AT_WINDOW.window, AT_WINDOW.frame, grid=(3, 3))
    with pytest.raises(OutOfDomain, match=r"spot\.grid"):
        at(
            60.0,
            event("started", 0.0),
            event("moved", 30.0, spot=AT_WINDOW),
            event("moved", 40.0, spot=other),
            of=scene(),
        )


COMPARED = (
    *("dose_j_m2", "dose_low_j_m2", "dose_high_j_m2", "dose_spread_stops", "reached_s"),
    *("end_s", "end_low_s", "end_high_s", "remaining_sun_out_s", "remaining_clouded_s"),
)

KINDS = st.sampled_from(["covered", "uncovered", "sky", "meter", "target", "moved"])


@st.composite
def stories(draw):
    told = [event("started", 0.0)]
    for _ in range(draw(st.integers(0, 8))):
        kind, when = draw(KINDS), float(draw(st.integers(1, 1500)))
        if kind == "sky":
            vouched = draw(st.sampled_from([None, 0.0, 300.0]))
            told.append(event("sky", when, sky=draw(st.sampled_from(sorted(SKY_WORDS))), vouched_s=vouched))
        elif kind == "meter":
            told.append(
                reading(
                    when, draw(st.sampled_from([0.3, 0.8, 1.2])), when * draw(st.sampled_from([0.0, 0.5]))
                )
            )
        elif kind == "target":
            told.append(event("target", when, target_j_m2=20_000.0))
        elif kind == "moved":
            told.append(
                event("moved", when, spot=draw(st.sampled_from([OpenSpot(), OpenSpot(Aim(20.0, 180.0))])))
            )
        else:
            told.append(event(kind, when))
    if draw(st.booleans()):
        told.append(event("finished", float(draw(st.integers(600, 1700)))))
    return told


@settings(max_examples=25, deadline=None)
@given(story=stories(), seed=st.integers(0, 10_000))
def test_no_order_of_arrival_changes_anything(story, seed):
    now_s, need, course = NOON_S + 1600.0, target(60_000.0, 0.25), half_covered(0.2)
    expected = follow(scene(), need, story, now_s, course)
    shuffled = list(story)
    random.Random(seed).shuffle(shuffled)
    live = LiveCourse(scene(), need, course)
    for count in range(1, len(shuffled) + 1):
        state = live.state(shuffled[:count], now_s)
    assert state == expected
    assert follow(scene(), need, [*shuffled, *story[:3]], now_s, course) == expected


def test_following_step_by_step_is_the_same_as_working_it_all_out():
    course, need = changing_course(), target(160_000.0, 0.25)
    told = [
        event("started", 17.0),
        event("sky", 100.0, sky="covered"),
        reading(590.0, 0.6, 405.0),
        event("sky", 400.0, sky="sun-out", vouched_s=0.0),
        event("moved", 700.0, spot=AT_WINDOW),
        event("covered", 800.0),
        event("uncovered", 931.0),
        event("moved", 1100.0, spot=OpenSpot(Aim(30.0, 180.0))),
    ]
    live, compared = LiveCourse(scene(), need, course), 0
    for after_s in np.arange(17.0, 4000.0, 35.0):
        now_s = NOON_S + float(after_s)
        known = [one for one in told if one.at_s <= now_s]
        state, whole = live.state(known, now_s), follow(scene(), need, known, now_s, course)
        for name in COMPARED:
            ours, theirs = getattr(state, name), getattr(whole, name)
            if theirs is None:
                assert ours is None
            else:
                assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-9)
                compared += 1
        assert state.advice == whole.advice
    assert state.reached
    assert compared > 500


def test_going_back_in_time_gives_what_was_then():
    told = [event("started", 0.0), event("sky", 300.0, sky="covered")]
    live = LiveCourse(scene(), target(60_000.0))
    early = live.state(told, NOON_S + 200.0)
    live.state(told, NOON_S + 700.0)
    assert live.state(told, NOON_S + 200.0) == early
    assert early.sky.seen is None


def test_what_is_told_after_the_end_does_not_count_but_late_news_from_before_does():
    told = [
        event("started", 0.0),
        event("finished", 300.0),
        event("sky", 310.0, sky="rain"),
        event("covered", 320.0),
    ]
    state = at(900.0, *told)
    assert state.dose_j_m2 == pytest.approx(300.0 * SUN_W_M2, rel=EXACT)
    assert (state.status, state.stopped_s, state.end_s, state.remaining_s) == (
        LiveStatus.FINISHED,
        NOON_S + 300.0,
        None,
        None,
    )
    late = at(900.0, *told, event("covered", 200.0), event("uncovered", 250.0))
    assert late.dose_j_m2 == pytest.approx(250.0 * SUN_W_M2, rel=EXACT)
    other = at(900.0, *told, event("target", 400.0, target_j_m2=500.0), event("moved", 400.0, spot=AT_WINDOW))
    assert (other.target.target_j_m2, other.dose_j_m2) == (24_000.0, state.dose_j_m2)
    earlier = at(900.0, *told, event("finished", 100.0))
    assert earlier.dose_j_m2 == pytest.approx(100.0 * SUN_W_M2, rel=EXACT)


def test_a_discard_stops_it_and_says_so():
    state = at(900.0, event("started", 0.0), event("discarded", 150.0))
    assert (state.status, state.target_share) == (LiveStatus.DISCARDED, pytest.approx(0.25, rel=EXACT))
    assert state.advice.startswith("Discarded")


def test_an_event_ahead_of_the_clock_waits_for_it():
    told = [event("started", 0.0), event("covered", 100.0)]
    live = LiveCourse(scene(even=True), target())
    assert live.state(told, NOON_S + 50.0).waiting == 1
    later = live.state(told, NOON_S + 150.0)
    assert (later.waiting, later.status) == (0, LiveStatus.COVERED)
    assert later.dose_j_m2 == pytest.approx(100.0 * SUN_W_M2, rel=EXACT)


def test_another_target_holds_for_the_whole_exposure():
    told = [event("started", 0.0), event("target", 100.0, target_j_m2=8000.0)]
    state = at(150.0, *told, need=target(24_000.0, 0.3))
    assert (state.target.target_j_m2, state.target.spread_stops) == (8000.0, 0.3)
    assert state.target_share == pytest.approx(0.75, rel=EXACT)
    lowered = at(250.0, *told)
    assert lowered.reached_s == pytest.approx(NOON_S + 200.0, abs=1e-5)


def test_before_the_start_it_says_how_long_it_would_take():
    state = at(30.0)
    assert (state.status, state.dose_j_m2, state.start_s) == (LiveStatus.READY, 0.0, None)
    assert state.remaining_s == pytest.approx(600.0, rel=MEDIAN)
    assert state.advice == "Ready: about 10 minutes if you start now."
    covered = at(30.0, event("sky", 0.0, sky="covered"))
    assert covered.remaining_s > state.remaining_s + 60.0


@pytest.mark.parametrize(("hour", "share"), [(20.3, 0.1), (23.0, 0.0)])
def test_when_the_light_goes_first_there_is_no_end(hour, share):
    # Porto at the solstice: the sun sets at 20:10 UTC, and an hour later there is no light to print by.
    start_s = dt.datetime(2026, 6, 21, tzinfo=dt.UTC).timestamp() + 3600.0 * hour
    state = at(start_s - NOON_S + 60.0, event("started", start_s - NOON_S), of=scene())
    assert (state.end_s, state.remaining_s, state.remaining_sun_out_s, state.remaining_clouded_s) == (
        None,
    ) * 4
    assert state.dark_then
    assert 0.0 <= state.target_share <= share
    assert state.reached_share == 0.0
    assert ("dark" if share == 0.0 else "light goes") in state.advice


def test_a_forecast_that_does_not_reach_is_refused():
    short = steady_course(HALF, NOON_S, NOON_S + 600.0, 0.0, "layered cloud")
    assert at(600.0, event("started", 0.0), course=(short,), of=scene()).looked_until_s == NOON_S + 600.0
    for after_s, start in [(601.0, 0.0), (60.0, -1.0)]:
        with pytest.raises(OutOfDomain, match="course"):
            at(after_s, event("started", start), course=(short,), of=scene())
    with pytest.raises(OutOfDomain, match="now_s"):
        at(math.nan, event("started", 0.0))


def test_events_far_ahead_of_the_clock_are_refused():
    with pytest.raises(OutOfDomain, match="at_s"):
        at(0.0, event("started", 121.0))
    assert at(0.0, event("started", 119.0)).status is LiveStatus.READY


def test_at_the_start_the_ends_are_those_of_the_sampled_skies():
    real, course = scene(), half_covered(0.2)
    state = at(0.0, event("started", 0.0), of=real, course=(course,), need=target(60_000.0, 0.25))
    spread = math.hypot(common_spread_stops(real), 0.25)
    likely = expose_under_skies(real, course, NOON_S, 60_000.0, other_spread_stops=spread).likely
    # the same skies with other draws of the target: quantiles of 300 paths differ by some per cent
    for end, length in [
        (state.end_low_s, likely.low_s),
        (state.end_s, likely.length_s),
        (state.end_high_s, likely.high_s),
    ]:
        assert end - NOON_S == pytest.approx(length, rel=0.06)


def test_the_nearer_the_end_the_surer_it_is():
    start = event("started", 0.0)
    widths = []
    for after_s in (0.0, 1000.0):
        state = at(
            after_s,
            start,
            event("sky", after_s, sky="sun-out"),
            of=scene(),
            course=(half_covered(),),
            need=target(80_000.0),
        )
        assert state.end_low_s <= state.end_s <= state.end_high_s
        widths.append(state.end_high_s - state.end_low_s)
    assert widths[0] > 1.1 * widths[1] > 0.0


def test_the_spread_of_a_sky_seen_is_its_own_with_air_and_model():
    state = at(600.0, event("started", 0.0), event("sky", 0.0, sky="sun-out"))
    expected = math.hypot(common_spread_stops(scene(even=True)), SKY_WORDS["clear"].spread_stops)
    assert state.dose_spread_stops == pytest.approx(expected, rel=1e-9)
    assert at(0.0, event("started", 0.0)).dose_spread_stops == 0.0


def test_the_spread_by_passing_cloud_is_that_of_the_sampled_skies():
    course, until_s = half_covered(), NOON_S + 1800.0
    real = scene()
    state = follow(real, target(1e6), [event("started", 0.0)], until_s, course)
    doses = sample_skies(real, course, NOON_S, until_s, sampling=Sampling(paths=3000)).rates_w_m2.sum(axis=1)
    own = math.sqrt(state.dose_spread_stops**2 - common_spread_stops(real) ** 2) * math.log(2.0)
    # 3000 paths know their deviation to 1.3 %; steps of a minute make it 1-2 % larger
    assert own == pytest.approx(doses.std() / doses.mean(), rel=0.06)
    assert state.dose_j_m2 == pytest.approx(doses.mean() * 60.0, rel=0.02)


def test_a_look_at_the_sky_ends_the_memory_of_what_nobody_saw():
    # Half covered, with a look at the sun at the start and another after a quarter of an hour: what passing
    # cloud did in each quarter is independent of the other, while the sun is wrong by the same in both.
    told = [event("started", 0.0)] + [
        event("sky", when, sky="sun-out", vouched_s=0.0) for when in (0.0, 900.0)
    ]
    common = common_spread_stops(scene(even=True))

    def spread_j_m2(after_s):
        state = at(after_s, *told[: 2 + (after_s > 900.0)], course=(half_covered(),))
        return math.log(2.0) * state.dose_j_m2 * math.sqrt(state.dose_spread_stops**2 - common**2)

    seen_s = PERSISTENCE_S * -math.expm1(-3.0)
    standing = math.log(2.0) * SKY_WORDS["clear"].spread_stops * SUN_W_M2 * seen_s
    switching = spread_j_m2(900.0) ** 2 - standing**2
    assert switching > standing**2
    # errors are taken at the middle of each minute: 0.2 % of the fading weight
    assert spread_j_m2(1800.0) ** 2 == pytest.approx(2.0 * switching + (2.0 * standing) ** 2, rel=1e-3)


def test_a_sky_of_passing_cloud_that_was_seen_shapes_what_lies_ahead():
    clear = steady_course((CloudPart(1.0, 0.0),), NOON_S - 86400.0, NOON_S + 86400.0, 0.0, "total cloud")
    ends = [
        at(
            60.0,
            event("started", 0.0),
            event("sky", 60.0, sky=sky),
            of=scene(),
            course=(clear,),
            need=target(40_000.0),
        ).end_s
        for sky in ("clear", "broken", "covered", "overcast")
    ]
    assert ends == sorted(ends)
    assert ends[3] > ends[0] + 60.0


def test_the_order_of_checked_events_is_that_of_their_times():
    told = [event("finished", 50.0), event("started", 0.0), event("covered", 20.0)]
    assert [one.at_s for one in check_events(told, NOON_S + 60.0)] == [NOON_S, NOON_S + 20.0, NOON_S + 50.0]


def test_the_assumed_sky_without_forecast_is_the_scenes_own():
    real = scene(sky="overcast")
    state = at(600.0, event("started", 0.0), of=real)
    plain = expose(real.rate, NOON_S, state.dose_j_m2)
    assert plain.length_s == pytest.approx(600.0, abs=0.01)
    assert (state.sky.says, state.sky.evidence) == ("an overcast sky", "sky seen: overcast")
    assert state.sky.sun_out_share == 0.0
