"""One exposure as long as nothing new is told of it."""

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from noonframe.dose.course import LONGEST_S
from noonframe.dose.live_ahead import Ahead, StandingNow, assumed_course, log2_over, look_ahead
from noonframe.dose.live_light import MINUTE_S, SpotLight
from noonframe.dose.live_meter import meter_track
from noonframe.dose.live_sky import SkyTrack
from noonframe.dose.live_state import AssumedNow, Following, LiveState
from noonframe.dose.live_tally import Tally, carry_on
from noonframe.dose.live_timeline import LiveStatus, Timeline
from noonframe.dose.live_words import advice
from noonframe.dose.scene import Scene
from noonframe.errors import OutOfDomain
from noonframe.sky.assume import AEROSOL_SPREAD_STOPS, MODEL_SPREAD_STOPS
from noonframe.sky.evidence import CloudCourse
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import OpenSpot
from noonframe.stack.curves import NO_PANE
from noonframe.stack.effective import dose_weights
from noonframe.stack.materials import parse_stack
from noonframe.types import FloatArray

_Ends = tuple[float | None, float | None, float | None]
_Steady = tuple[float | None, float | None]


class Run:
    """The exposure of a timeline, which holds from its newest event at `since_s` to the next at `until_s`."""

    def __init__(
        self,
        scene: Scene,
        line: Timeline,
        course: CloudCourse | None,
        following: Following,
        *,
        since_s: float,
        until_s: float,
        now_s: float,
    ) -> None:
        self._scene, self._line, self._given_course = scene, line, course
        self._following, self._common = following, common_spread_stops(scene)
        minute_s = math.floor(now_s / MINUTE_S) * MINUTE_S
        self._started = line.start_s is not None
        self._start_s = start_s = minute_s if line.start_s is None else line.start_s
        # an exposure that has not started has no past: it is looked at anew every minute
        self._since_s = since_s if self._started else max(since_s, minute_s)
        self._until_s = until_s if self._started else min(until_s, minute_s + MINUTE_S)
        self._check_course(start_s)
        self._ahead_course = course or assumed_course(scene, start_s - LONGEST_S, start_s + 2 * LONGEST_S)
        track = SkyTrack(
            self._spots(start_s),
            line.covers,
            line.skies,
            course,
            persistence_s=following.persistence_s,
            vouched_s=following.vouched_s,
        )
        self._track = track.with_meter(meter_track(track, line.readings, scene.reciprocity_exponent))
        self._weights = self._sheet_weights()
        self._first = Tally(start_s, np.zeros(self._track.points))
        self._tally = self._first
        self._ahead: Ahead | None = None
        self._ahead_s = -math.inf

    def holds_at(self, now_s: float) -> bool:
        """Whether no event has come due, or become undone, between the timeline and `now_s`."""
        return self._since_s <= now_s < self._until_s

    def state(self, now_s: float) -> LiveState:
        """The exposure at `now_s`, a time at which it holds."""
        line, target = self._line, self._line.target
        stop_s = now_s if line.stopped_s is None else line.stopped_s
        self._check_course(stop_s)
        here_s = max(math.floor(stop_s / MINUTE_S) * MINUTE_S, line.last_s, self._start_s)
        here_s = min(here_s, stop_s)
        at_here = self._at(here_s)
        tally = carry_on(at_here, self._track, stop_s if self._started else here_s, self._weights, self._goal)
        dose = tally.mean_j_m2(self._weights)
        running = line.status is LiveStatus.RUNNING
        reached = dose >= target.target_j_m2
        over = log2_over(dose, target.target_j_m2)
        share = dose / target.target_j_m2
        reached_s = tally.reached_s
        if line.status in (LiveStatus.FINISHED, LiveStatus.DISCARDED):
            ahead: Ahead | None = None
            ends: _Ends = (None, None, None)
            steady: _Steady = (None, None)
        else:
            ahead = self._look(here_s, at_here)
            ends, steady = self._ends(ahead, here_s, now_s, dose, reached_s if reached else None)
        remaining_s = None if ends[1] is None else max(ends[1] - now_s, 0.0)
        dark_s = None
        if ahead is not None and ahead.dark_then:
            dark_s = max(ahead.looked_until_s - now_s, 0.0) if ahead.edges_s.size > 1 else 0.0
        light_s = stop_s if self._started else here_s
        rate, metered = self._rate(light_s)
        return LiveState(
            now_s=now_s,
            status=line.status,
            start_s=line.start_s,
            stopped_s=line.stopped_s,
            target=target,
            dose_j_m2=dose,
            dose_low_j_m2=float(tally.dose_j_m2.min()),
            dose_high_j_m2=float(tally.dose_j_m2.max()),
            target_share=share,
            dose_spread_stops=self._spread(tally),
            rate_w_m2=rate if running else 0.0,
            reached=reached,
            reached_s=reached_s,
            over_stops=over,
            end_s=ends[1],
            end_low_s=ends[0],
            end_high_s=ends[2],
            remaining_s=remaining_s,
            remaining_sun_out_s=steady[0],
            remaining_clouded_s=steady[1],
            reached_share=None if ahead is None else ahead.reached_share,
            looked_until_s=None if ahead is None else ahead.looked_until_s,
            dark_then=ahead is not None and ahead.dark_then,
            sky=self._assumed(light_s, now_s, metered),
            advice=advice(
                line.status,
                share=share,
                over_stops=over,
                remaining_s=remaining_s,
                clouded_s=steady[1],
                dark_s=dark_s,
            ),
            waiting=line.waiting,
            readings_unused=self._track.meter.unused,
        )

    def _check_course(self, stop_s: float) -> None:
        course = self._given_course
        if course is not None and not (course.from_s <= self._start_s and stop_s <= course.to_s):
            span = f"one that reaches from {self._start_s:.0f} to {stop_s:.0f} at least"
            raise OutOfDomain("course", (course.from_s, course.to_s), span)

    @property
    def _goal(self) -> float:
        return self._line.target.target_j_m2

    def _at(self, here_s: float) -> Tally:
        """The tally at a full minute or an event, kept for the next time."""
        kept = self._tally if self._tally.at_s <= here_s else self._first
        self._tally = carry_on(kept, self._track, here_s, self._weights, self._goal)
        return self._tally

    def _look(self, here_s: float, tally: Tally) -> Ahead:
        if self._ahead is None or self._ahead_s != here_s:
            sky = self._track.sky_at(here_s)
            now = StandingNow(
                at_s=here_s,
                dose_j_m2=tally.mean_j_m2(self._weights),
                common_spread_stops=self._common,
                past_spread_stops=tally.cloud_spread_stops(self._weights),
                cloud=None if sky < 0 else self._track.skies[sky].word.parts,
                seen_s=None if sky < 0 else self._track.known_until_s(sky),
                meter_excess=self._track.meter.excess_ahead(here_s),
            )
            self._ahead = look_ahead(
                self._track.spot_at(here_s).scene,
                self._ahead_course,
                self._line.target,
                now,
                end_s=here_s + LONGEST_S,
                sampling=self._following.sampling,
            )
            self._ahead_s = here_s
        return self._ahead

    def _ends(
        self, ahead: Ahead, here_s: float, now_s: float, dose: float, reached_s: float | None
    ) -> tuple[_Ends, _Steady]:
        """Expected ends (10 %, 50 %, 90 %), and how long it takes from now in the sun and under cloud."""
        running = self._line.status is LiveStatus.RUNNING
        waited_s = 0.0 if running else now_s - here_s  # while it waits, all that is ahead moves along
        moved = [None if end is None else max(end + waited_s, now_s) for end in ahead.ends_s]
        low, likely, high = moved
        if reached_s is not None:
            low, likely = reached_s, reached_s
        missing = self._goal - dose
        seen_s = now_s if running else here_s
        steady = tuple(
            ahead.steady_s(course, seen_s, missing) for course in (ahead.sun_out_j_m2, ahead.clouded_j_m2)
        )
        return (low, likely, high), (steady[0], steady[1])

    def _rate(self, at_s: float) -> tuple[float, float]:
        """Rate of dose at a moment without any cover, and the meter's factor in it."""
        factor = 1.0 + self._track.meter.excess_ahead(at_s)
        mean = float(self._track.light(np.array([at_s])).mean_w_m2[0])
        return mean * factor, factor

    def _spread(self, tally: Tally) -> float:
        if tally.mean_j_m2(self._weights) <= 0.0:
            return 0.0
        return math.hypot(self._common, tally.cloud_spread_stops(self._weights))

    def _assumed(self, at_s: float, now_s: float, metered: float) -> AssumedNow:
        sky = self._track.sky_at(at_s)
        weight = self._track.weight(sky, at_s)
        spot = self._track.spot_at(at_s)
        open_share = 1.0 - float(spot.cover[spot.cell_of(np.array([at_s]))[0]])
        evidence, says = self._scene.sky.evidence, self._scene.sky.says
        if self._given_course is not None:
            piece = int(self._given_course.piece_of(np.array([at_s]))[0])
            evidence, says = str(self._given_course.evidence[piece]), _say_share(open_share)
        if sky < 0:
            return AssumedNow(says, evidence, None, None, None, 0.0, open_share, metered)
        seen = self._track.skies[sky]
        if weight >= 0.5:
            says = seen.word.says
        sun_out = weight * seen.word.beam_probability + (1.0 - weight) * open_share
        return AssumedNow(says, evidence, seen.sky, seen.at_s, now_s - seen.at_s, weight, sun_out, metered)

    def _spots(self, start_s: float) -> list[tuple[float, SpotLight]]:
        """The light of each place the frame lay in, a place that it came back to being the same."""
        known = {self._scene.spot: SpotLight(self._scene, self._given_course, start_s)}
        spots = [(-math.inf, known[self._scene.spot])]
        for at_s, spot in self._line.spots:
            if spot not in known:
                known[spot] = SpotLight(self._moved(spot), self._given_course, start_s)
            spots.append((at_s, known[spot]))
        _refuse_other_grids([light.scene.spot for _, light in spots])
        return spots

    def _moved(self, spot: OpenSpot | WindowSpot) -> Scene:
        pane = NO_PANE
        if isinstance(spot, WindowSpot) and not spot.is_open:
            own = self._scene.spot
            if isinstance(own, WindowSpot) and own.window.pane == spot.window.pane:
                pane = self._scene.pane
            else:
                pane = parse_stack(spot.window.pane, self._following.spectra_dir)
        return replace(self._scene, spot=spot, pane=pane)

    def _sheet_weights(self) -> FloatArray:
        for light in self._track.places:
            if light.weights.size == self._track.points:
                return light.weights
        raise AssertionError("some place has as many points as the most of them")


def common_spread_stops(scene: Scene) -> float:
    """One standard deviation of what air, model and stack do to all light alike, cloud left out."""
    given = dict(scene.sky.sources).get("aerosol_optical_depth") == "given"
    stack = math.hypot(
        scene.stack.spread_stops(dose_weights(scene.sensitizer)),
        scene.pane.spread_stops(dose_weights(scene.sensitizer)),
    )
    return math.hypot(MODEL_SPREAD_STOPS, 0.0 if given else AEROSOL_SPREAD_STOPS, stack)


def _refuse_other_grids(spots: Iterable[OpenSpot | WindowSpot]) -> None:
    grids = {spot.grid for spot in spots if isinstance(spot, WindowSpot)}
    if len(grids) > 1:
        raise OutOfDomain("spot.grid", sorted(grids), "the same throughout, so that points keep their places")


def _say_share(sun_out_share: float) -> str:
    if sun_out_share >= 0.9:
        return "the sun out"
    if sun_out_share >= 0.6:
        return "sun with some cloud"
    return "sun and cloud by turns" if sun_out_share > 0.2 else "cloud before the sun"
