"""Exposures under a scripted sky, with its forecast, followed through the API by somebody beside them.

The true dose does not come from what is tested: it is the light of the cloudless sky, second by second, times
the script's clear-sky index to the power 0.81, as is published for the ultraviolet A of cloudy hours
(Badosa et al. 2014, Photochem. Photobiol., doi:10.1111/php.12272).
"""

from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pytest
from api.test_runs_support import YARD
from databases import KINDS, empty_database
from dose.test_live_support import scene
from weather_rig import NOON_S, rigged

from noonframe.weather.rehearsal_sky import ScriptedSky, Spell, quayside_sky

WITHIN = 0.02
LATEST_S = 60.0
SEEDS = range(4)
HOURS = 3
SUN_MINUTES = 20
STEP_S = 5.0
UVA_EXPONENT = 0.81
COVERED_LIGHT = 0.588
"""What "cloud before the sun" leaves of the light, by the reference run: libRadtran 2.0.2, DISORT 16 streams,
pseudo-spherical beam, for an optical depth of 12 and a high sun."""


class Truth:
    """What reaches a sheet under a scripted sky from `start_s` on."""

    def __init__(self, sky, start_s):
        self.start_s = start_s
        second = start_s + 0.5 + np.arange(3600.0 * HOURS)
        self.rate = scene().sun_out.rate(second) * sky.at(second)["clear_sky_index"] ** UVA_EXPONENT
        self.dose = np.concatenate([[0.0], np.cumsum(self.rate)])

    def off(self, length_s, target_j_m2):
        """By what share the true dose after this length misses the target."""
        return float(np.interp(length_s, np.arange(self.dose.size), self.dose)) / target_j_m2 - 1.0

    def ratio(self, after_s, reference_s):
        """What a meter shows over what it showed then."""
        return float(self.rate[int(after_s)] / self.rate[int(reference_s)])


def passing_cloud(random):
    """Sun and cloud by turns, each for a minute and then as long again as chance has it, five on average."""
    cloud = {"clear_sky_index": COVERED_LIGHT ** (1.0 / UVA_EXPONENT), "cloud_low": 0.9}
    spells, at_s, covered = [], NOON_S - 7200.0, bool(random.random() < 0.5)
    while at_s < NOON_S + 3600.0 * HOURS:
        spells.append(Spell(at_s, **(cloud if covered else {})))
        at_s += float(np.round(60.0 + random.exponential(240.0)))
        covered = not covered
    return ScriptedSky(tuple(spells), elevation_m=80.0)


def changes(sky, start_s):
    """(after so many seconds, word), from the start on."""
    words = [(s.start_s - start_s, "sun-out" if s.clear_sky_index > 0.9 else "covered") for s in sky.spells]
    before = [word for after_s, word in words if after_s <= 0.0]
    later = [(after_s, word) for after_s, word in words if 0.0 < after_s < 3600.0 * HOURS]
    return [(0.0, before[-1]), *later]


class Follower:
    """Tells an exposure of every change within a minute and stops it when it says so."""

    def __init__(self, rig, asker, target_j_m2):
        self.rig, self.asker, self.start_s = rig, asker, rig.clock.now_s
        body = {**YARD, "target_j_m2": target_j_m2}
        response = asker.client.post("/v1/runs", json=body)
        assert response.status_code == 201, response.text
        assert response.json()["basis"]["weather"]["freshness"] == "fresh"
        self.path = f"/v1/runs/{response.json()['id']}"

    def tell(self, kind, after_s, **fields):
        body = {"kind": kind, "at": iso(self.start_s + after_s), **fields}
        response = self.asker.client.post(f"{self.path}/events", json=body)
        assert response.status_code == 201, response.text
        return response.json()["run"]

    def follow(self, reports):
        """Length at which it ends; `reports` are (told after s, happened after s, kind, fields)."""
        timer_s, waiting = None, sorted(reports, key=lambda report: report[0])
        after_s = 0.0
        while True:
            self.rig.clock.now_s = self.start_s + after_s
            while waiting and waiting[0][0] <= after_s:
                _, happened_s, kind, fields = waiting.pop(0)
                self.tell(kind, happened_s, **fields)
            state = self.asker.client.get(self.path).json()
            timer_s = state["remaining_s"] if timer_s is None else timer_s
            if state["reached"]:
                ended = self.tell("finished", after_s)
                assert ended["status"] == "finished"
                return after_s, timer_s
            # as a stream would, but with less to read while nothing happens
            likely_s = min(state["remaining_s"] or 60.0, state["if_sun_stays_s"] or 60.0) / 2.0
            next_s = min(after_s + min(likely_s, 60.0), waiting[0][0] if waiting else np.inf)
            after_s = max(np.ceil(next_s / STEP_S) * STEP_S, after_s + STEP_S)
            assert after_s < 3600.0 * HOURS, "never reached"


@pytest.mark.parametrize("kind", KINDS)
def test_told_of_every_change_within_a_minute_it_ends_within_two_per_cent(kind, tmp_path, capsys):
    rows = []
    for seed in SEEDS:
        random = np.random.default_rng(seed)
        sky = passing_cloud(random)
        truth = Truth(sky, NOON_S)
        target = float(scene().sun_out.rate(NOON_S + np.arange(60.0 * SUN_MINUTES)).sum())
        folder = tmp_path / str(seed)
        with (
            rigged(folder, sky) as rig,
            empty_database(kind, folder) as url,
            rig.asking("open-meteo", database_url=url) as asker,
        ):
            reports = [
                (after_s + (random.uniform(0.0, LATEST_S) if after_s else 0.0), after_s, "sky", {"sky": word})
                for after_s, word in changes(sky, NOON_S)
            ]
            length_s, timer_s = Follower(rig, asker, target).follow(reports)
        rows.append((truth.off(length_s, target), truth.off(timer_s, target)))
    off, timer = (np.array(column) for column in zip(*rows, strict=True))
    with capsys.disabled():
        told = ", ".join(f"{100 * a:+.2f} % (timer {100 * b:+.1f} %)" for a, b in rows)
        print(f"\n  passing cloud, {kind}, {len(rows)} skies: {told}")
    assert (np.abs(off) < WITHIN).all()
    plain, followed = (float(np.sqrt(np.mean(each**2))) for each in (timer, off))
    assert plain > 0.05
    assert plain > 4.0 * followed


DEMO_START_S, DEMO_TARGET_J_M2 = NOON_S + 900.0, 150_000.0  # 37 minutes in the sun; two clouds pass
READ_EVERY_S = 180.0


@pytest.mark.parametrize("metered", [True, False])
def test_the_sky_of_the_demonstration(metered, tmp_path, capsys):
    """Its clouds are thicker than the word for them: by eye some per cent out, and a meter mends it."""
    sky, random = quayside_sky(NOON_S), np.random.default_rng(5)
    truth = Truth(sky, DEMO_START_S)
    seen = changes(sky, DEMO_START_S)
    reports = []
    for (after_s, word), (until_s, _) in pairwise([*seen, (3600.0 * HOURS, "")]):
        told_s = after_s + (random.uniform(20.0, LATEST_S) if after_s else 0.0)
        reports.append((told_s, after_s, "sky", {"sky": word}))
        # what a meter told fades into what is expected, so it is read anew every few minutes
        for read_s in np.arange(max(after_s, 10.0) + 10.0, until_s, READ_EVERY_S) if metered else ():
            ratio = truth.ratio(read_s, 5.0) * (1.0 + 0.01 * random.standard_normal())
            reading = {"quantity": "uv", "ratio": ratio, "relative_uncertainty": 0.03}
            at = {"reference": iso(DEMO_START_S + 5.0)}
            reports.append((max(told_s, read_s), read_s, "meter", reading | at))
    with (
        rigged(tmp_path, sky, DEMO_START_S) as rig,
        rig.asking("open-meteo", database_url=f"sqlite:///{tmp_path}/demo.db") as asker,
    ):
        length_s, timer_s = Follower(rig, asker, DEMO_TARGET_J_M2).follow(reports)
    off, timer = truth.off(length_s, DEMO_TARGET_J_M2), truth.off(timer_s, DEMO_TARGET_J_M2)
    with capsys.disabled():
        how = "with a meter" if metered else "by eye"
        print(f"\n  the demonstration's sky, {how}: {100 * off:+.2f} % (timer {100 * timer:+.1f} %)")
    assert abs(off) < (WITHIN if metered else 0.06)
    assert abs(off) < abs(timer)


def iso(unix_s):
    return datetime.fromtimestamp(float(unix_s), UTC).isoformat()
