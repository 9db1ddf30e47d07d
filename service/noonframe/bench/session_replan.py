"""A session that has begun: what has happened to each sheet, and what is under way.

The past is as it was told.  A sheet in the light stays there until its dose is there, whatever else is
planned; a sheet that has had its light goes through the wash; all others are planned anew from now on.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from noonframe.bench.session import Running, Washing, Work
from noonframe.dose.course import Course
from noonframe.errors import OutOfDomain, UnknownName


class State(StrEnum):
    """Where a sheet is on its way."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    DROPPED = "dropped"


@dataclass(frozen=True)
class Event:
    """What happened to a sheet: it "started" or "ended" its exposure, was "dropped", or its "dose" was told.

    `where` names the event in a request, for errors; `frame` and `spot` are only for a start, `dose_j_m2` is
    what had been gathered by `at_s`.
    """

    kind: str
    at_s: float
    sheet_id: str
    where: str
    frame: str | None = None
    spot: str | None = None
    dose_j_m2: float | None = None


@dataclass(frozen=True)
class SheetState:
    """What is known of a sheet; times unix seconds, `dose` the last dose told and when."""

    state: State = State.WAITING
    start_s: float | None = None
    end_s: float | None = None
    frame: str | None = None
    spot: str | None = None
    dose: tuple[float, float] | None = None


def follow(
    sheet_ids: Sequence[str],
    events: Iterable[Event],
    now_s: float,
    usual: Mapping[str, tuple[str, str]],
    frames: Sequence[str],
) -> dict[str, SheetState]:
    """The state of every sheet after events, in order of their times and, among equal ones, of telling.

    `usual` is the frame and spot that a sheet had in the plan, for starts that do not say; where that frame
    is taken, a free one of `frames`.  Raises `OutOfDomain` or `UnknownName`, naming the event, for what
    cannot have happened.
    """
    states = dict.fromkeys(sheet_ids, SheetState())
    for event in sorted(events, key=lambda each: each.at_s):
        if event.sheet_id not in states:
            raise UnknownName(f"{event.where}.sheet_id", event.sheet_id, f"one of {', '.join(sheet_ids)}")
        if event.at_s > now_s:
            raise OutOfDomain(f"{event.where}.at", event.at_s, "not in the future: this tells what happened")
        states[event.sheet_id] = _after(states, event, usual, frames)
    return states


def _after(
    states: Mapping[str, SheetState],
    event: Event,
    usual: Mapping[str, tuple[str, str]],
    frames: Sequence[str],
) -> SheetState:
    now = states[event.sheet_id]
    if event.kind == "started":
        _need(event, now, State.WAITING)
        frame, spot = usual.get(event.sheet_id, (None, None))
        taken = {state.frame for state in states.values() if state.state is State.RUNNING}
        if event.frame is not None:
            if event.frame not in frames:
                raise UnknownName(f"{event.where}.frame", event.frame, f"one of {', '.join(frames)}")
            if event.frame in taken:
                raise OutOfDomain(f"{event.where}.frame", event.frame, "a frame that no other sheet is in")
            frame = event.frame
        elif frame is None or frame in taken:
            free = [each for each in frames if each not in taken]
            if not free:
                raise OutOfDomain(
                    f"{event.where}.sheet_id", event.sheet_id, "started only when a frame is free"
                )
            frame = free[0]
        return SheetState(State.RUNNING, event.at_s, None, frame, event.spot or spot)
    if event.kind == "ended":
        _need(event, now, State.RUNNING)
        _not_before(event, now)
        return replace(now, state=State.DONE, end_s=event.at_s)
    if event.kind == "dose":
        _need(event, now, State.RUNNING)
        _not_before(event, now)
        return replace(now, dose=(event.at_s, event.dose_j_m2 or 0.0))
    if event.kind == "dropped":
        if now.state is State.DONE:
            raise OutOfDomain(f"{event.where}.sheet_id", event.sheet_id, "a sheet that has not had its light")
        end_s = event.at_s if now.state is State.RUNNING else None
        return replace(now, state=State.DROPPED, end_s=end_s)
    raise OutOfDomain(f"{event.where}.kind", event.kind, "started, ended, dose or dropped")


def _need(event: Event, now: SheetState, state: State) -> None:
    if now.state is not state:
        told = f"{event.sheet_id} is {now.state.value} by then"
        raise OutOfDomain(f"{event.where}.kind", event.kind, f"told of a sheet that is {state.value}; {told}")


def _not_before(event: Event, now: SheetState) -> None:
    if now.start_s is not None and event.at_s < now.start_s:
        raise OutOfDomain(f"{event.where}.at", event.at_s, "not before the exposure began")


def end_of_running(
    course: Course, start_s: float, target_j_m2: float, dose: tuple[float, float] | None = None
) -> float | None:
    """When a sheet in the light since `start_s` has its dose by a course of light; None: not before dark.

    `dose` is a time and what had been gathered by then, from there on the course counts.
    """
    from_s, wanted = start_s, target_j_m2
    if dose is not None:
        from_s, wanted = dose[0], target_j_m2 - dose[1]
        if wanted <= 0.0:
            return from_s
    exposure = course.expose(from_s, wanted)
    return None if exposure.length_s is None else exposure.end_s


def in_turn(
    running: Sequence[Running], washing: Sequence[Washing], work: Work, now_s: float
) -> tuple[Running, ...]:
    """Sheets in the light, taken in one after another.

    Where two ends come closer than one pair of hands can deal with, the later one stays in the light until
    the hands are free; an end that has gone by is now.
    """
    free_s = max((each.end_s + work.after_s for each in washing), default=-math.inf)
    found = []
    for sheet in sorted(running, key=lambda each: each.end_s):
        end_s = max(sheet.end_s, now_s, free_s)
        found.append(replace(sheet, end_s=end_s))
        free_s = end_s + work.after_s
    return tuple(found)
