"""The events of an exposure put in order: what held when.

Only the times and ids of the events count, never the order in which they came to be known.  After the end of
the exposure events are kept but do not count; a discard decides the state whenever it was.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from uuid import UUID

from noonframe.dose.live_events import (
    Covered,
    Discarded,
    Event,
    Finished,
    MeterRead,
    Moved,
    SkySeen,
    Started,
    TargetChanged,
    Uncovered,
)
from noonframe.dose.scene import Target
from noonframe.errors import OutOfDomain
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import OpenSpot

AHEAD_LIMIT_S = 120.0
"""How far an event may lie ahead of the clock: clocks of phones differ, but by less."""

_TARGET_CHANGED = "changed during the exposure"


class LiveStatus(StrEnum):
    """Where a followed exposure stands."""

    READY = "ready"  # not started yet
    RUNNING = "running"
    COVERED = "covered"
    FINISHED = "finished"
    DISCARDED = "discarded"


@dataclass(frozen=True)
class Timeline:
    """What held when; unix seconds, all in the order of time.

    `covers` are the stretches without light, the last one up to infinity while the frame is covered.
    `spots` are the moments from which the frame lay elsewhere than the scene says; `waiting` counts the
    events that lie ahead of the clock.
    """

    status: LiveStatus
    start_s: float | None
    stopped_s: float | None
    target: Target
    skies: tuple[SkySeen, ...]
    covers: tuple[tuple[float, float], ...]
    spots: tuple[tuple[float, OpenSpot | WindowSpot], ...]
    readings: tuple[MeterRead, ...]
    waiting: int

    @property
    def last_s(self) -> float:
        """The moment of the last thing that counted; minus infinity without a start."""
        if self.start_s is None:
            return float("-inf")
        ends = [end for stretch in self.covers for end in stretch if end < float("inf")]
        moments = [event.at_s for event in (*self.skies, *self.readings)]
        return max([self.start_s, *ends, *moments, *(at_s for at_s, _ in self.spots)])


def check_events(events: Iterable[Event], now_s: float, ahead_s: float = AHEAD_LIMIT_S) -> tuple[Event, ...]:
    """The events in the order of their own time, each id once; ties by `sequence`.

    Raises `OutOfDomain`: on `at_s` for an event more than `ahead_s` ahead of `now_s`, or before the start
    where that makes no sense (a sky seen or a target may come before); on `kind` for a second start; on
    `reference_s` for a reading against a moment before the start; on `event_id` when two events share one.
    """
    by_id: dict[UUID, Event] = {}
    for event in events:
        other = by_id.setdefault(event.event_id, event)
        if other != event:
            raise OutOfDomain("event_id", str(event.event_id), "the id of one event only")
        if event.at_s > now_s + ahead_s:
            limit = f"at most {ahead_s:.0f} s ahead of now, {now_s:.0f}"
            raise OutOfDomain("at_s", event.at_s, limit)
    ordered = tuple(sorted(by_id.values(), key=lambda event: (event.at_s, event.sequence)))
    starts = [event for event in ordered if isinstance(event, Started)]
    if len(starts) > 1:
        raise OutOfDomain("kind", starts[1].kind.value, "given once: the exposure has a start already")
    if starts:
        for event in ordered:
            _refuse_before(starts[0].at_s, event)
    return ordered


def _refuse_before(start_s: float, event: Event) -> None:
    if event.at_s < start_s and not isinstance(event, SkySeen | TargetChanged):
        limit = f"not before the start of the exposure, {start_s:.0f}"
        raise OutOfDomain("at_s", event.at_s, limit)
    if isinstance(event, MeterRead) and event.reference_s < start_s:
        limit = f"not before the start of the exposure, {start_s:.0f}"
        raise OutOfDomain("reference_s", event.reference_s, limit)


def timeline(target: Target, events: Sequence[Event], now_s: float) -> Timeline:
    """What held when, up to `now_s`, from events as `check_events` gives them.

    Events ahead of the clock wait until it gets there.  Without a start, only skies and targets count.
    """
    due = [event for event in events if event.at_s <= now_s]
    start_s = next((event.at_s for event in due if isinstance(event, Started)), None)
    ends = [event for event in due if isinstance(event, Finished | Discarded)]
    stopped_s = ends[0].at_s if ends and start_s is not None else None
    if stopped_s is not None:
        before_end = due.index(ends[0])
        counted = due[:before_end]
    else:
        counted = due
    if start_s is None:
        counted = [event for event in counted if isinstance(event, SkySeen | TargetChanged)]
    covers = _covers(counted, stopped_s)
    return Timeline(
        status=_status(start_s, ends, covers),
        start_s=start_s,
        stopped_s=stopped_s,
        target=_target(target, counted),
        skies=_last_of_each_moment([event for event in counted if isinstance(event, SkySeen)]),
        covers=covers,
        spots=tuple({e.at_s: (e.at_s, e.spot) for e in counted if isinstance(e, Moved)}.values()),
        readings=tuple(event for event in counted if isinstance(event, MeterRead)),
        waiting=len(events) - len(due),
    )


def _status(
    start_s: float | None, ends: Sequence[Event], covers: tuple[tuple[float, float], ...]
) -> LiveStatus:
    if any(isinstance(event, Discarded) for event in ends):
        return LiveStatus.DISCARDED
    if start_s is None:
        return LiveStatus.READY
    if ends:
        return LiveStatus.FINISHED
    is_covered = bool(covers) and covers[-1][1] == float("inf")
    return LiveStatus.COVERED if is_covered else LiveStatus.RUNNING


def _covers(counted: Sequence[Event], stopped_s: float | None) -> tuple[tuple[float, float], ...]:
    covers: list[tuple[float, float]] = []
    since_s: float | None = None
    for event in counted:
        if isinstance(event, Covered) and since_s is None:
            since_s = event.at_s
        elif isinstance(event, Uncovered) and since_s is not None:
            covers.append((since_s, event.at_s))
            since_s = None
    if since_s is not None:
        covers.append((since_s, float("inf") if stopped_s is None else stopped_s))
    return tuple((begin_s, end_s) for begin_s, end_s in covers if end_s > begin_s)


def _target(target: Target, counted: Sequence[Event]) -> Target:
    for event in counted:
        if isinstance(event, TargetChanged):
            spread = target.spread_stops if event.spread_stops is None else event.spread_stops
            target = Target(event.target_j_m2, spread, _TARGET_CHANGED)
    return target


def _last_of_each_moment(skies: Sequence[SkySeen]) -> tuple[SkySeen, ...]:
    return tuple({event.at_s: event for event in skies}.values())
