"""An exposure under passing cloud, followed by what somebody beside it tells, against the true light."""

import numpy as np
import pytest
from dose.test_live_support import NOON_S, event, scene, target

from noonframe.dose.live import LiveCourse, follow
from noonframe.sky.evidence import steady_course
from noonframe.sky.words import COVERING_CLOUD_OPTICAL_DEPTH, CloudPart

HOURS = 3
SUN_MINUTES = 20
SEEDS = range(6)
WITHIN = 0.02
LATEST_S = 60.0
STEP_S = 5.0
SKIES = ("sun-out", "covered")
HALF = (CloudPart(0.5, 0.0), CloudPart(0.5, COVERING_CLOUD_OPTICAL_DEPTH))


class PassingCloud:
    """Sun and cloud by turns, each for a minute and then as long again as chance has it, five on average."""

    def __init__(self, seed):
        self.random = np.random.default_rng(seed)
        real, second = scene(), NOON_S + 0.5 + np.arange(3600.0 * HOURS)
        covered = np.zeros(second.size, dtype=np.int64)
        self.changes, at_s, now = [], 0.0, int(self.random.random() < 0.5)
        while at_s < second.size:
            self.changes.append((at_s, now))
            covered[int(at_s) :] = now
            at_s += float(np.round(60.0 + self.random.exponential(240.0)))
            now = 1 - now
        rates = np.stack([real.sun_out.rate(second), real.covered.rate(second)])
        self.dose = np.concatenate([[0.0], np.cumsum(rates[covered, np.arange(second.size)])])
        self.share_lost = float(1.0 - (rates[1] / rates[0]).min())
        self.target_j_m2 = float(rates[0][: 60 * SUN_MINUTES].sum())

    def off(self, length_s):
        """By what share the true dose after this length misses the target."""
        return float(np.interp(length_s, np.arange(self.dose.size), self.dose)) / self.target_j_m2 - 1.0

    def reports(self, *, dated):
        """(told after s, event): every change, up to a minute late, with its own time or that of telling."""
        told = [(0.0, event("started", 0.0))]
        for at_s, now in self.changes:
            late_s = float(self.random.uniform(0.0, LATEST_S)) if at_s > 0.0 else 0.0
            told.append((at_s + late_s, event("sky", at_s if dated else at_s + late_s, sky=SKIES[now])))
        return told


def forecast():
    return steady_course(HALF, NOON_S - 3600.0, NOON_S + 12 * 3600.0, 0.3, "layered cloud")


def followed(sky, *, dated):
    """Length at which the follower, who only knows the reports, says that the sheet has had its dose."""
    live, told = LiveCourse(scene(), target(sky.target_j_m2, 0.25), forecast()), sky.reports(dated=dated)
    for after_s in np.arange(STEP_S, 3600.0 * HOURS, STEP_S):
        known = tuple(one for told_s, one in told if told_s <= after_s)
        if live.state(known, NOON_S + float(after_s)).reached:
            return float(after_s)
    raise AssertionError("never reached")


def timer_s(sky):
    """A timer set at the start by the forecast and the sky of that moment, the best a timer can know."""
    known = [event("started", 0.0), event("sky", 0.0, sky=SKIES[sky.changes[0][1]])]
    return follow(scene(), target(sky.target_j_m2, 0.25), known, NOON_S, forecast()).remaining_s


@pytest.mark.parametrize("seed", SEEDS)
def test_told_of_every_change_within_a_minute_it_ends_within_two_per_cent(seed):
    sky = PassingCloud(seed)
    assert abs(sky.off(followed(sky, dated=True))) < WITHIN


def test_told_with_the_moment_of_telling_it_still_beats_a_timer_by_far():
    off, timer = [], []
    for seed in SEEDS:
        sky = PassingCloud(seed)
        length_s = followed(sky, dated=False)
        off.append(sky.off(length_s))
        timer.append(sky.off(timer_s(sky)))
        # Changes from cloud to sun, told late, add up; those from sun to cloud take some of it back.
        one_way = sum(at_s <= length_s for at_s, _ in sky.changes) // 2 + 1
        assert abs(off[-1]) <= one_way * sky.share_lost * LATEST_S / (60.0 * SUN_MINUTES)
    follower, plain = (float(np.sqrt(np.mean(np.square(each)))) for each in (off, timer))
    assert plain > 0.06
    assert follower < plain / 2.0
