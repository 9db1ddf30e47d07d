"""Following an exposure under a lamp: exact between the moments at which it is covered or switched.

A frame that is covered is taken to lie under a lamp that is off, so that it is cold again for a while when
the exposure goes on; `Covered` may say that the lamp stays on.
"""

import math
from collections.abc import Iterable
from dataclasses import replace

from noonframe.dose.course import LONGEST_S, quantile_factor
from noonframe.dose.lamp_scene import LampScene
from noonframe.dose.live_ahead import log2_over
from noonframe.dose.live_events import Covered, Event, MeterRead, Moved, SkySeen
from noonframe.dose.live_state import AssumedNow, LiveState
from noonframe.dose.live_timeline import AHEAD_LIMIT_S, LiveStatus, Timeline, check_events, timeline
from noonframe.dose.live_words import say_about
from noonframe.dose.scene import Target
from noonframe.errors import OutOfDomain

_SUN_ONLY = (SkySeen, Moved, MeterRead)
_OVER_STOPS = 0.15
_NEARLY_S = 45.0


class LampCourse:
    """Follows one exposure under a lamp; the same questions as a `LiveCourse` answers."""

    def __init__(self, scene: LampScene, target: Target) -> None:
        self._scene, self._target = scene, target

    def state(self, events: Iterable[Event], now_s: float, *, ahead_s: float = AHEAD_LIMIT_S) -> LiveState:
        """The exposure at `now_s`, with the events known by then; those ahead of it wait, up to `ahead_s`.

        Raises what `check_events` raises, and `OutOfDomain` on `kind` for what only the sun knows.
        """
        return self._followed(events, now_s, ahead_s)[0]

    def coldness(self, events: Iterable[Event], now_s: float, *, ahead_s: float = AHEAD_LIMIT_S) -> float:
        """How cold the lamp is at `now_s`."""
        return self._followed(events, now_s, ahead_s)[1].coldness

    def _followed(
        self, events: Iterable[Event], now_s: float, ahead_s: float
    ) -> tuple[LiveState, "_Gathered"]:
        if not math.isfinite(now_s):
            raise OutOfDomain("now_s", now_s, "a finite time")
        ordered = check_events(tuple(events), now_s, ahead_s)
        for event in ordered:
            if isinstance(event, _SUN_ONLY):
                raise OutOfDomain("kind", event.kind.value, "left out under a lamp: it is about the sun")
        line = timeline(self._target, ordered, now_s)
        kept_on = frozenset(e.at_s for e in ordered if isinstance(e, Covered) and e.lamp_on)
        gathered = _gather(self._scene, line, kept_on, now_s)
        return _state(self._scene, line, gathered, now_s), gathered


class _Gathered:
    """Dose, coldness and the moment the target was reached, on the way through an exposure."""

    def __init__(self, scene: LampScene, target_j_m2: float, start_s: float) -> None:
        self._scene, self._target_j_m2 = scene, target_j_m2
        self.at_s, self.coldness = start_s, scene.coldness
        self.dose_j_m2 = 0.0
        self.reached_s: float | None = None

    def lit(self, to_s: float) -> None:
        """Go on in the light."""
        gained = self._scene.dose_j_m2(to_s - self.at_s, self.coldness)
        if self.reached_s is None and self.dose_j_m2 + gained >= self._target_j_m2:
            missing = self._target_j_m2 - self.dose_j_m2
            self.reached_s = min(self.at_s + self._scene.time_s(missing, self.coldness), to_s)
        self.dose_j_m2 += gained
        self.coldness = self._scene.lamp.warm_up.burning(self.coldness, to_s - self.at_s)
        self.at_s = to_s

    def covered(self, to_s: float, *, lamp_on: bool) -> None:
        """Go on without light at the sheet."""
        warm_up = self._scene.lamp.warm_up
        change = warm_up.burning if lamp_on else warm_up.off
        self.coldness = change(self.coldness, to_s - self.at_s)
        self.at_s = to_s


def _gather(scene: LampScene, line: Timeline, kept_on: frozenset[float], now_s: float) -> _Gathered:
    if line.start_s is None:
        return _Gathered(scene, line.target.target_j_m2, now_s)
    gathered = _Gathered(scene, line.target.target_j_m2, line.start_s)
    stop_s = now_s if line.stopped_s is None else line.stopped_s
    for begin_s, end_s in line.covers:
        gathered.lit(min(begin_s, stop_s))
        gathered.covered(min(end_s, stop_s), lamp_on=begin_s in kept_on)
    gathered.lit(max(stop_s, gathered.at_s))
    return gathered


def _state(scene: LampScene, line: Timeline, gathered: _Gathered, now_s: float) -> LiveState:
    target, dose = line.target, gathered.dose_j_m2
    share = dose / target.target_j_m2
    reached = gathered.reached_s is not None
    running = line.status is LiveStatus.RUNNING
    ended = line.status in (LiveStatus.FINISHED, LiveStatus.DISCARDED)
    light_stops = scene.light_spread_stops
    low_s = end_s = high_s = None
    if not ended:
        factor = quantile_factor(math.hypot(target.spread_stops, light_stops))
        low_s, end_s, high_s = (
            _end(scene, gathered, now_s, target.target_j_m2 * each) for each in (1.0 / factor, 1.0, factor)
        )
        if gathered.reached_s is not None:
            low_s = end_s = gathered.reached_s
    remaining_s = None if end_s is None else max(end_s - now_s, 0.0)
    over = log2_over(dose, target.target_j_m2)
    return LiveState(
        now_s=now_s,
        status=line.status,
        start_s=line.start_s,
        stopped_s=line.stopped_s,
        target=target,
        dose_j_m2=dose,
        dose_low_j_m2=dose * 2.0 ** _evenness(scene)[0],
        dose_high_j_m2=dose * 2.0 ** _evenness(scene)[1],
        target_share=share,
        dose_spread_stops=light_stops if dose > 0.0 else 0.0,
        rate_w_m2=scene.rate_at(gathered.coldness) if running else 0.0,
        reached=reached,
        reached_s=gathered.reached_s,
        over_stops=over,
        end_s=end_s,
        end_low_s=low_s,
        end_high_s=high_s,
        remaining_s=remaining_s,
        remaining_sun_out_s=None,
        remaining_clouded_s=None,
        reached_share=None if ended else _chance(scene, gathered, target),
        looked_until_s=None if ended else now_s + LONGEST_S,
        dark_then=False,
        sky=AssumedNow("under a lamp", scene.lamp.says, None, None, None, 0.0, 1.0, 1.0),
        advice=_advice(line.status, share, over, remaining_s),
        waiting=line.waiting,
        readings_unused=0,
    )


def _end(scene: LampScene, gathered: _Gathered, now_s: float, dose_j_m2: float) -> float | None:
    """When a dose is reached if the light goes on now; None where a day does not do."""
    missing = dose_j_m2 - gathered.dose_j_m2
    if missing <= 0.0:
        return now_s
    length_s = scene.time_s(missing, gathered.coldness)
    return None if length_s > LONGEST_S else now_s + length_s


def _chance(scene: LampScene, gathered: _Gathered, target: Target) -> float:
    """Chance that a day more of the lamp is enough."""
    whole = gathered.dose_j_m2 + scene.dose_j_m2(LONGEST_S, gathered.coldness)
    stops = math.log2(whole / target.target_j_m2)
    spread = math.hypot(target.spread_stops, scene.light_spread_stops)
    if spread == 0.0:
        return float(stops >= 0.0)
    return 0.5 * (1.0 + math.erf(stops / (spread * math.sqrt(2.0))))


def _evenness(scene: LampScene) -> tuple[float, float]:
    sheet = scene.lamp.output.sheet
    return (0.0, 0.0) if sheet is None else (sheet.lowest_stops, sheet.highest_stops)


def _advice(status: LiveStatus, share: float, over_stops: float, remaining_s: float | None) -> str:
    done = f"{min(round(100.0 * share), 999)} per cent of the dose"
    if status in (LiveStatus.FINISHED, LiveStatus.DISCARDED):
        return f"{status.value.capitalize()} with {done}."
    if share >= 1.0 and status is not LiveStatus.READY:
        over = f", {over_stops:.1f} stops over" if over_stops >= _OVER_STOPS else ""
        next_step = "develop it" if status is LiveStatus.COVERED else "switch the lamp off and take it out"
        return f"It has had its dose{over}: {next_step}."
    if remaining_s is None:
        return f"{done[:1].upper()}{done[1:]} so far; a whole day of this lamp would not be enough."
    left = say_about(remaining_s)
    if status is LiveStatus.READY:
        return f"Ready: {left} under the lamp."
    if status is LiveStatus.COVERED:
        return f"Paused with {done}; {left} more once the lamp is on again."
    left = left[:1].upper() + left[1:]
    return (
        f"{left} left: stay with it."
        if remaining_s <= _NEARLY_S
        else f"{left} left; switch it off if you leave."
    )


def scene_now(scene: LampScene, coldness: float) -> LampScene:
    """The scene for what is asked from now on."""
    return replace(scene, coldness=coldness)
