"""Following a running exposure: the dose so far, and what it still takes.

Everything is worked out from the events and their own times, so it does not matter in which order they came
to be known, nor whether anybody was counting.  Light is integrated in closed form between the minutes
(between which a rate is straight) and all moments at which something changed; see `live_sky` for what the
sky is taken to be, `live_meter` for readings, `live_tally` for the errors, `live_timeline` for which events
count.

What lies ahead is worked out anew at every full minute and at every event, and read from there in between.
"""

import math
from collections.abc import Iterable

from noonframe.dose.live_events import Event, Kind, event_from, event_payload
from noonframe.dose.live_run import Run
from noonframe.dose.live_state import AssumedNow, Following, LiveState
from noonframe.dose.live_timeline import AHEAD_LIMIT_S, LiveStatus, check_events, timeline
from noonframe.dose.scene import Scene, Target
from noonframe.errors import OutOfDomain
from noonframe.sky.evidence import CloudCourse

__all__ = [
    "AHEAD_LIMIT_S",
    "AssumedNow",
    "Event",
    "Following",
    "Kind",
    "LiveCourse",
    "LiveState",
    "LiveStatus",
    "check_events",
    "event_from",
    "event_payload",
    "follow",
]

_USUAL = Following()


def follow(
    scene: Scene,
    target: Target,
    events: Iterable[Event],
    now_s: float,
    course: CloudCourse | None = None,
    *,
    following: Following = _USUAL,
) -> LiveState:
    """The exposure at `now_s`, worked out from its events alone.

    `scene` is as asked at the start; its sky holds where there is no `course`, which else must reach from the
    start to now.  Raises what `check_events` raises, and `OutOfDomain` on `course` when that does not reach.
    """
    return LiveCourse(scene, target, course, following=following).state(tuple(events), now_s)


class LiveCourse:
    """Follows one exposure time and again, keeping what does not change: the same answers as `follow`.

    Not for several threads at once.  Another scene, target or forecast is another `LiveCourse`.
    """

    def __init__(
        self,
        scene: Scene,
        target: Target,
        course: CloudCourse | None = None,
        *,
        following: Following = _USUAL,
    ) -> None:
        self._scene, self._target, self._course, self._following = scene, target, course, following
        self._told: tuple[Event, ...] | None = None
        self._run: Run | None = None

    def state(self, events: Iterable[Event], now_s: float, *, ahead_s: float = AHEAD_LIMIT_S) -> LiveState:
        """The exposure at `now_s`, with the events known by then; those ahead of it wait, up to `ahead_s`."""
        told = tuple(events)
        if not math.isfinite(now_s):
            raise OutOfDomain("now_s", now_s, "a finite time")
        run = self._run
        if run is None or told != self._told or not run.holds_at(now_s):
            ordered = check_events(told, now_s, ahead_s)
            run = Run(
                self._scene,
                timeline(self._target, ordered, now_s),
                self._course,
                self._following,
                since_s=max((event.at_s for event in ordered if event.at_s <= now_s), default=-math.inf),
                until_s=min((event.at_s for event in ordered if event.at_s > now_s), default=math.inf),
                now_s=now_s,
            )
            self._told, self._run = told, run
        return run.state(now_s)
